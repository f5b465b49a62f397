/** The page against a stand-in server: every screen, what people do on them, and a connection that comes and goes. */
import { existsSync } from "node:fs";
import { fileURLToPath } from "node:url";
import type { Browser, Page } from "playwright-core";
import { afterAll, beforeAll, beforeEach, describe, expect, test } from "vitest";
import { startMock, type Mock } from "../mock/server";
import { axe, drawnInFull, launch, middleLight, newPage, overhang, shot, smallTargets, tabOrder, WIDTHS } from "./browser";

const DIST = fileURLToPath(new URL("../dist", import.meta.url));
const SCREENS = [
  { name: "day", path: "/", ready: "Pebble Lantern" },
  { name: "visit", path: "/visits/1", ready: "Are the pictures complete?" },
  { name: "dye", path: "/visits/5/dye", ready: "Pictures at their second" },
  { name: "frame", path: "/frames/101", ready: "What to do" },
  { name: "montage", path: "/visits/1/montage/R", ready: "3 frames can be put together" },
  { name: "send", path: "/send", ready: "could not be sent: look at each" },
  { name: "unassigned", path: "/unassigned", ready: "The picture names no study" },
];

/** A region's judgement as it is sent. */
interface Sent {
  decision: string;
  strokes: { add: boolean; radius: number; points: [number, number][] }[];
}

let browser: Browser;
let mock: Mock;

beforeAll(async () => {
  if (!existsSync(`${DIST}/index.html`)) throw new Error("The page is not built: run `npm run build` first.");
  browser = await launch();
});
afterAll(() => browser.close());
beforeEach(async () => {
  mock = await startMock(DIST);
  return () => mock.close();
});

async function open(path: string, ready: string, width = 1280, scheme: "dark" | "light" = "dark"): Promise<{ page: Page; troubles: string[] }> {
  const opened = await newPage(browser, width, scheme);
  await opened.page.goto(mock.address + path);
  await opened.page.getByText(ready).first().waitFor();
  return opened;
}

describe.each(SCREENS)("$name", ({ name, path, ready }) => {
  test.each(WIDTHS)("stands at %i px: no barrier, no sideways scroll, large targets", async (width) => {
    const { page, troubles } = await open(path, ready, width);
    await shot(page, `mock-${name}-${String(width)}`);
    expect(await axe(page)).toEqual([]);
    expect(await overhang(page)).toBe(0);
    expect(await smallTargets(page)).toEqual([]);
    expect(troubles).toEqual([]);
    expect(await page.getByText("Serrata advises; licensed staff decide. Local protocols come first.").isVisible()).toBe(true);
    await page.context().close();
  });

  test("stands in the light theme and at 200 % zoom (640 px)", async () => {
    const { page } = await open(path, ready, 640, "light");
    await shot(page, `mock-${name}-light-640`);
    expect(await axe(page)).toEqual([]);
    expect(await overhang(page)).toBe(0);
    await page.context().close();
  });

  test("prints without its controls", async () => {
    const { page } = await open(path, ready);
    await page.emulateMedia({ media: "print" });
    // Findings are pressed on the screen and read on paper.
    expect(await page.locator("nav:visible, button:visible:not(.findings button)").count()).toBe(0);
    expect(await page.locator(".findings button:visible").count()).toBe(await page.locator(".findings button").count());
    await page.context().close();
  });
});

describe("dye run", () => {
  test("the clock goes on by itself, and pictures hang at their second", async () => {
    const { page, troubles } = await open("/visits/5/dye", "Pictures at their second");
    const clock = page.getByRole("timer");
    const first = await clock.textContent();
    await expect.poll(() => clock.textContent(), { timeout: 5000 }).not.toBe(first);
    // Six frames, and where several would hang on one another the last of them.
    expect(await page.locator(".hung").count()).toBe(3);
    expect(await page.locator(".hung").last().textContent()).toContain("FA 1:55");
    expect(troubles).toEqual([]);
    await page.context().close();
  });

  test("unwell silences it by one touch, and a touch takes it back", async () => {
    const { page } = await open("/visits/5/dye", "119 s left");
    await page.getByRole("button", { name: "Unwell" }).click();
    await page.getByText("nothing is asked for. Staff stay with the patient.").waitFor();
    expect(await page.locator("li.now").count()).toBe(0);
    await page.getByRole("button", { name: "Well again" }).click();
    await page.getByText("119 s left").waitFor();
    expect(mock.clinic.told).toEqual(["unwell", "well_again"]);
    await page.context().close();
  });

  test("the needle's start is one touch, by key as well, and kept with a time", async () => {
    const { page } = await open("/visits/4/dye", "No injection is marked yet");
    await page.getByRole("button", { name: "Fluorescein goes in now" }).focus();
    await page.keyboard.press("Enter");
    await page.getByRole("timer").waitFor();
    expect(mock.calls.some((c) => c.startsWith("POST /api/v1/visits/4/facts") && c.includes('"start_us":'))).toBe(true);
    await page.context().close();
  });

  test("the record of the needle is typed in, with nothing filled in before, and refuses what cannot be", async () => {
    const { page, troubles } = await open("/visits/5/dye", "The record of the needle still lacks");
    await page.getByRole("button", { name: "Fluorescein: record of the needle …" }).click();
    for (const field of await page.getByRole("dialog").locator("input[type=text]").all()) expect(await field.inputValue()).toBe("");
    expect(await axe(page)).toEqual([]);
    await shot(page, "mock-dye-record-1280");
    await page.getByLabel("Prescribed by").fill("Dr Quill");
    await page.getByLabel("Dose as prescribed, mg").fill("500");
    await page.getByRole("button", { name: "Keep the record" }).click();
    await page.getByText("A dose needs the strength of the vial beside it.").waitFor();
    await page.getByLabel("Strength on the vial").fill("1oo");
    await page.getByRole("button", { name: "Keep the record" }).click();
    await page.getByText("Dose and strength are numbers above zero.").waitFor();
    await page.getByLabel("Strength on the vial").fill("100");
    await page.getByText("500 mg = 5.00 mL of 100 mg per mL").waitFor();
    await page.getByLabel("Expiry").fill("08/27");
    await page.getByRole("button", { name: "Keep the record" }).click();
    await page.getByText("Write the expiry as year-month").waitFor();
    await page.getByLabel("Expiry").fill("2027-08");
    await page.getByRole("button", { name: "Keep the record" }).click();
    await page.getByText("The record of the needle still lacks").waitFor({ state: "detached" });
    expect(mock.clinic.facts.record(5)).toMatchObject({ prescribed_by: "Dr Quill", mg: 500, strength: 100, expiry: "2027-08", start_error_us: 500_000 });

    await page.getByRole("button", { name: "Note after the needle …" }).click();
    await page.getByLabel("Nausea").check();
    expect(await page.getByText("follow the local emergency plan").count()).toBe(1);
    await page.getByRole("dialog").getByRole("button", { name: "Keep" }).click();
    await expect.poll(() => mock.calls.some((c) => c.includes('{"kind":"noted","note":"nausea"}'))).toBe(true);
    await page.getByLabel("Noted after the needle").getByText("Nausea").waitFor();
    expect(troubles).toEqual([]);
    await page.context().close();
  });

  test("the run is read, its curves lie on the same axis, and a region waits for a named person", async () => {
    const { page, troubles } = await open("/visits/5/dye", "What the run shows");
    await page.getByRole("button", { name: "Read the run" }).click();
    await page.getByText("Mean retinal circulation").waitFor();
    expect(await page.locator(".curves polyline").count()).toBe(2);
    await page.getByRole("button", { name: "Accept" }).first().click();
    await page.getByText("Nobody is named.").waitFor();
    await page.getByLabel("Your initials").fill("RK");
    await page.getByLabel("Your initials").blur();
    await page.getByRole("button", { name: "Accept" }).first().click();
    await page.getByText("accepted by RK").waitFor();
    await shot(page, "mock-dye-read-1280");
    expect(await axe(page)).toEqual([]);
    expect(await smallTargets(page)).toEqual([]);
    expect(troubles.filter((t) => !t.includes("400"))).toEqual([]);
    await page.context().close();
  });

  test("a region is corrected with a brush, by mouse and by key, and drawn anew", async () => {
    const { page, troubles } = await open("/visits/5/dye", "What the run shows");
    await page.getByLabel("Your initials").fill("RK");
    await page.getByLabel("Your initials").blur();
    await page.getByRole("button", { name: "Read the run" }).click();
    await page.getByRole("button", { name: "Correct" }).first().click();
    const sheet = page.getByRole("application");
    await sheet.scrollIntoViewIfNeeded();
    const box = await sheet.boundingBox();
    if (box === null) throw new Error("the brush has no sheet");
    const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
    await page.mouse.move(x, y);
    await page.mouse.down();
    await page.mouse.move(x + 60, y + 20, { steps: 6 });
    await page.mouse.up();
    await page.getByRole("button", { name: "Take away" }).click();
    await page.getByRole("button", { name: "Nearer" }).click();
    await sheet.focus();
    for (const key of ["ArrowLeft", "ArrowUp", "Space", "ArrowDown", "Space", "Backspace"]) await page.keyboard.press(key);
    await shot(page, "mock-dye-brush-1280");
    expect(await axe(page)).toEqual([]);
    expect(await smallTargets(page)).toEqual([]);
    expect(await overhang(page)).toBe(0);
    const asked = page.waitForRequest((r) => r.url().endsWith("/visits/5/reading/R/fa/regions"));
    await page.getByRole("button", { name: "Keep this outline" }).click();
    const sent = (await asked).postDataJSON() as Sent;
    await page.getByText("corrected by RK").waitFor();
    expect(sent.decision).toBe("corrected");
    expect(sent.strokes.map((s) => [s.add, s.points.length > 3, s.radius])).toEqual([[true, true, 36], [false, false, 36]]);
    await page.getByRole("button", { name: "Draw dark, unfilled" }).click();
    await sheet.click();
    await page.getByRole("button", { name: "Keep this outline" }).click();
    await expect.poll(() => mock.calls.some((c) => c.includes('"decision":"drawn","what":"dark, unfilled"'))).toBe(true);
    expect(troubles).toEqual([]);
    await page.context().close();
  });

  test("a late frame of another patient is told on every screen, and sounds only when that was asked for", async () => {
    const { page, troubles } = await open("/visits/1", "Are the pictures complete?");
    await page.getByRole("link", { name: /Kettle F., 11 Jun: .*now/ }).click();
    await page.getByText("Pictures at their second").waitFor();
    expect(await page.getByLabel("A tone when a late frame is due").isChecked()).toBe(false);
    await page.getByLabel("A tone when a late frame is due").check();
    expect(await page.evaluate(() => localStorage.getItem("serrata.tone"))).toBe("on");
    expect(troubles).toEqual([]);
    await page.context().close();
  });
});

describe("visit", () => {
  test("the right eye is on the page's left, at any width that holds both", async () => {
    for (const width of WIDTHS) {
      const { page } = await open("/visits/1", "Are the pictures complete?", width);
      const right = await page.locator("figure", { hasText: "Right eye (OD)" }).boundingBox();
      const left = await page.locator("figure", { hasText: "Left eye (OS)" }).boundingBox();
      expect(right?.y).toBe(left?.y);
      expect((right?.x ?? 0) + (right?.width ?? 0)).toBeLessThanOrEqual(left?.x ?? 0);
      await page.context().close();
    }
  });

  test("a frame opens from its mark on the chart, by key", async () => {
    const { page } = await open("/visits/1", "Are the pictures complete?");
    const names = await tabOrder(page);
    expect(names).toContain("Open frame: colour, straight ahead, not usable");
    expect(names.filter((n) => n.startsWith("Not obtainable")).length).toBeGreaterThan(0);
    await page.locator("a[aria-label='Open frame: colour, straight ahead, not usable']").focus();
    await page.keyboard.press("Enter");
    await page.getByText("A blink covers 11 %").waitFor();
    expect(new URL(page.url()).pathname).toBe("/frames/101");
    await page.goBack();
    await page.getByText("Are the pictures complete?").waitFor();
    await page.context().close();
  });

  test("where several frames show a touched place, it is asked which one is meant", async () => {
    const { page, troubles } = await open("/visits/1", "Are the pictures complete?");
    const chart = page.locator("figure", { hasText: "Right eye (OD)" });
    await chart.locator("svg").scrollIntoViewIfNeeded();
    // Off the marks, towards 10 o'clock.
    const at = await chart.locator("svg").evaluate((one) => {
      const square = one.getBoundingClientRect();
      return [square.x + square.width * 0.36, square.y + square.height * 0.42] as const;
    });
    await page.mouse.click(at[0], at[1]);
    await page.getByText(/frames show this place, \d+° out, towards 10 o'clock/).waitFor();
    expect(await axe(page)).toEqual([]);
    expect(await smallTargets(page)).toEqual([]);
    await shot(page, "mock-visit-touched-1280");
    await chart.locator(".touched a").first().click();
    await page.getByText("What to do").waitFor();
    expect(troubles).toEqual([]);
    await page.context().close();
  });

  test("what to say to the patient stands beside the next step, and a frame that needs another try sounds only where that was asked for", async () => {
    const { page, troubles } = await newPage(browser, 1280);
    await page.addInitScript(() => {
      const own = window as unknown as { rung: number; AudioContext: unknown };
      own.rung = 0;
      own.AudioContext = class {
        currentTime = 0;
        destination = {};
        createOscillator(): object {
          own.rung += 1;
          return { frequency: {}, connect: (to: unknown) => to, start: () => undefined, stop: () => undefined };
        }
        createGain(): object {
          return { gain: { setValueAtTime: () => undefined, linearRampToValueAtTime: () => undefined }, connect: (to: unknown) => to };
        }
      };
    });
    const rung = (): Promise<number> => page.evaluate(() => (window as unknown as { rung: number }).rung);
    /** A frame that waits gets its result; the page hears of it by another change. */
    const comes = async (id: number): Promise<void> => {
      const row = mock.clinic.row(id);
      if (row === undefined) throw new Error(`there is no frame ${String(id)}`);
      row.verdict = "not_usable";
      await fetch(`${mock.address}/api/v1/visits/1/facts`, { method: "POST", body: JSON.stringify({ who: "RK", reason: null, fact: { kind: "remarked", text: "." } }) });
    };
    await page.goto(`${mock.address}/visits/1`);
    await page.getByText("Say: “Head still. Look down. Both eyes wide open. Now keep still.”").waitFor();
    const waiting = mock.clinic.rows.filter((r) => r.visit === 1 && r.verdict === null).map((r) => r.id);
    expect(waiting.length).toBe(1);
    await comes(waiting[0] ?? 0);
    await page.getByText("Being checked").waitFor({ state: "detached" });
    expect(await rung()).toBe(0);
    await page.getByLabel("or a frame needs another try").check();
    expect(await rung(), "it is heard when it is turned on").toBe(2);
    mock.clinic.rows.push({ id: 1500, visit: 1, eye: "L", modality: "colour", gaze: "up", minute: 44, verdict: null });
    await comes(1500);
    await expect.poll(rung).toBe(4);
    expect(troubles).toEqual([]);
    await page.context().close();
  });

  test("the last visit is a thin line on the charts, and its frame stands beside what is due", async () => {
    const { page, troubles } = await open("/visits/1", "Are the pictures complete?");
    expect(await page.locator("figure .last path").count()).toBe(2);
    expect(await page.getByLabel("Key to the charts").getByText("the last visit").count()).toBe(1);
    const due = page.locator("li", { hasText: "Right eye (OD), colour, looking down" });
    await due.getByRole("link", { name: "the last visit: Right eye (OD), colour, looking down" }).click();
    await page.getByText("What to do").waitFor();
    expect(page.url()).toContain("/frames/104");
    expect(troubles).toEqual([]);
    await page.context().close();
  });

  test("what is said in the chair is kept, shown and undone, by touch and by key", async () => {
    const { page, troubles } = await open("/visits/1", "Are the pictures complete?");
    await page.getByLabel("Your initials").fill("RK");
    await page.keyboard.press("Tab");

    // A call for the clinician is answered with a name, and until then the visit does not close.
    await page.getByRole("button", { name: "Clinician to look now" }).press("Enter");
    await page.getByText("nobody is written down as reached").waitFor();
    await page.getByRole("button", { name: "Close the visit" }).click();
    await page.getByText("A call for the clinician is unanswered.").waitFor();
    await page.getByRole("button", { name: "Undo the call" }).click();
    await page.getByRole("button", { name: "Clinician to look now" }).click();
    await page.getByRole("button", { name: "Reached …" }).click();
    await page.getByLabel("Name").fill("Dr Quill");
    await page.keyboard.press("Enter");
    await page.getByRole("button", { name: "Clinician to look now" }).waitFor();
    await page.getByText("Clinician reached, 09:46").waitFor();

    // One identifier is not two.
    await page.getByRole("button", { name: "Compared …" }).click();
    await page.getByLabel("Name", { exact: true }).press(" ");
    await page.getByRole("dialog").getByRole("button", { name: "Keep" }).click();
    await page.getByText("One identifier is not enough.").waitFor();
    await page.getByLabel("Date of birth").check();
    await page.getByRole("dialog").getByRole("button", { name: "Keep" }).click();
    await page.getByText("name, date of birth (RK)").waitFor();
    const focused = (): Promise<string> => page.evaluate(() => document.activeElement?.id ?? "");
    await expect.poll(focused, { message: "the focus stays at the question" }).toBe("question-identity");

    const question = page.locator("li", { hasText: "seizures with flicker" });
    // A yes that stops stands before all else; it is answered anew.
    await question.getByRole("button", { name: "Yes: Light" }).press("Enter");
    await page.locator(".stop", { hasText: "The clinician decides before any picture." }).waitFor();
    expect(await axe(page)).toEqual([]);
    await page.keyboard.press("Tab");
    await page.keyboard.press("Enter");
    await expect.poll(() => page.locator(".stop").count()).toBe(0);
    await question.getByRole("button", { name: "No: Light" }).press("Enter");
    await question.getByText("No (RK)").waitFor();
    await shot(page, "mock-visit-answered-1280");
    expect(await axe(page)).toEqual([]);
    await question.getByRole("button", { name: "Undo the answer" }).press("Enter");
    await question.getByRole("button", { name: "Not known: Light" }).waitFor();

    // The state of an eye changes what is told for the chair.
    await page.getByRole("button", { name: "Right eye (OD) …" }).last().click();
    await page.getByLabel("Gas in the eye").check();
    await shot(page, "mock-visit-eye-1280");
    expect(await axe(page)).toEqual([]);
    await page.getByRole("dialog").getByRole("button", { name: "Keep" }).click();
    await page.getByText("Gas in the eye: no mm").waitFor();
    await page.getByText("Right eye (OD): Gas in the eye").waitFor();

    await page.getByLabel("A note for whoever comes after").fill("Hearing aid on the left");
    await page.keyboard.press("Enter");
    await page.getByText("Hearing aid on the left").waitFor();
    await page.getByRole("button", { name: "Undo the note: Hearing aid on the left" }).click();
    await page.getByText("No note yet.").waitFor();

    // All of it stays in the list of what happened, where it is undone too.
    await page.getByText("What happened (").click();
    await page.getByRole("button", { name: "Undo: eye noted" }).click();
    await page.getByText("Nothing noted.").waitFor();
    expect(await page.getByText("undone", { exact: true }).count()).toBeGreaterThanOrEqual(4);
    await shot(page, "mock-visit-happened-1280");
    expect(await axe(page)).toEqual([]);
    expect(await smallTargets(page)).toEqual([]);

    await page.getByRole("button", { name: "Close the visit" }).click();
    await page.getByText("· closed").waitFor();
    await page.getByRole("button", { name: "Open the visit again" }).click();
    await page.getByRole("button", { name: "Close the visit" }).waitFor();
    // What was refused is the browser's own line too.
    expect(troubles.filter((line) => !line.includes("400"))).toEqual([]);
    await page.context().close();
  });

  test("a due view is closed with a reason, and the next step moves on", async () => {
    const { page } = await open("/visits/1", "Are the pictures complete?");
    const step = page.getByLabel("Next step").getByRole("status");
    expect(await step.innerText()).toBe("Right eye (OD), colour, looking down");
    await page.locator("li", { hasText: "Right eye (OD), colour, looking down" }).getByRole("button", { name: "Not obtainable" }).click();
    await page.getByLabel("Lids in the way").check();
    expect(await axe(page)).toEqual([]);
    await page.getByRole("button", { name: "Close this view" }).click();
    // Who it is is asked once, before the first thing that is kept.
    await page.getByRole("dialog", { name: "Who are you?" }).getByLabel("Initials").fill("RK");
    await page.keyboard.press("Enter");
    await expect.poll(() => step.innerText()).toBe("Left eye (OS), colour, looking up");
    await expect.poll(() => page.evaluate(() => document.activeElement?.id ?? ""), { message: "the focus stays at the view" }).toBe("view-R colour down");
    expect(mock.calls).toContain(
      'POST /api/v1/visits/1/facts {"who":"RK","reason":null,"fact":{"kind":"view_ended","view":"R colour down","end":"not_obtainable","why":"lids"}}',
    );
    await page.getByRole("button", { name: "Open again: Right eye (OD), colour, looking down" }).click();
    await expect.poll(() => step.innerText()).toBe("Right eye (OD), colour, looking down");
    await page.context().close();
  });
});

describe("montage", () => {
  test("frames are put together, looked around in, measured by mouse and key, and held beside the last visit", async () => {
    const { page, troubles } = await open("/visits/1/montage/R", "3 frames can be put together");
    const sizes = new Set<string>();
    page.on("request", (request) => sizes.add(/longest=(\d+)/.exec(request.url())?.[1] ?? ""));
    await page.getByRole("button", { name: "Put them together" }).click();
    const sheet = page.getByRole("application");
    await sheet.scrollIntoViewIfNeeded();
    expect(await page.getByText("too little of it is seen").count()).toBe(1);
    await drawnInFull(page);
    const whole = await middleLight(page);
    await page.getByRole("button", { name: "Nearer" }).click();
    await drawnInFull(page);
    const near = await middleLight(page);
    expect(near).not.toEqual(whole);
    expect([sizes.has("2048"), sizes.has("4096"), sizes.has("8192")]).toEqual([true, true, false]);
    // More closely still, as many pixels as the montage has; coming back, they stay.
    await page.getByRole("button", { name: "Nearer" }).click();
    await expect.poll(() => sizes.has("8192")).toBe(true);
    await drawnInFull(page);
    await page.getByRole("button", { name: "Farther" }).click();
    await drawnInFull(page);
    const box = await sheet.boundingBox();
    if (box === null) throw new Error("the montage has no sheet");
    const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
    await page.mouse.move(x, y);
    await page.mouse.down();
    await page.mouse.move(x - 120, y - 30, { steps: 5 });
    await page.mouse.up();
    await drawnInFull(page);
    expect(await middleLight(page)).not.toEqual(near);
    await page.getByRole("button", { name: "Length" }).click();
    await page.mouse.click(x - 100, y);
    await page.getByText("Touch 1 more point.").waitFor();
    await page.mouse.click(x + 90, y + 20);
    await page.getByText("3.21 mm (3.02 to 3.40), 95 %; radius 12.25 mm, population").waitFor();
    await page.getByRole("button", { name: "Area" }).click();
    await sheet.focus();
    for (const key of ["Space", "ArrowRight", "Space", "ArrowDown", "Space"]) await page.keyboard.press(key);
    await page.getByText("12.3 mm² (10.9 to 13.9)").waitFor();
    await page.keyboard.press("Backspace");
    await page.getByText("Touch 1 more point.").waitFor();
    await page.getByRole("button", { name: "Beside the last visit" }).click();
    await page.getByLabel("Earlier visit on the right of the line").fill("30");
    expect(await page.locator("svg .edge").count()).toBe(1);
    await shot(page, "mock-montage-made-1280");
    expect(await axe(page)).toEqual([]);
    expect(await smallTargets(page)).toEqual([]);
    expect(await overhang(page)).toBe(0);
    await page.getByRole("button", { name: "Difference" }).click();
    await page.getByText("grey is no change").first().waitFor();
    expect(await page.locator("svg .edge").count()).toBe(0);
    await page.getByRole("button", { name: "Autofluorescence" }).click();
    expect(troubles).toEqual([]);
    await page.context().close();
  });

  test("a measure that cannot be had says why and what to do", async () => {
    const { page } = await open("/visits/1/montage/R", "3 frames can be put together");
    await page.getByRole("button", { name: "Put them together" }).click();
    await page.getByRole("button", { name: "Length" }).click();
    await page.getByRole("application").focus();
    for (const key of ["Space", "ArrowRight", "Space", "ArrowRight", "Space"]) await page.keyboard.press(key);
    await page.getByText("Draw it again.").waitFor();
    await page.context().close();
  });
});

describe("hand-over", () => {
  test("what needs a person is tried again at a touch or taken out with a reason", async () => {
    const { page, troubles } = await open("/send", "could not be sent: look at each");
    await page.getByLabel("Your initials").fill("RK");
    await page.getByLabel("Your initials").blur();
    const line = page.locator("li", { hasText: "501.dcm" });
    expect(await line.textContent()).toContain("no such patient here");
    expect(await page.locator("li", { hasText: "502.dcm" }).textContent()).toMatch(/tried again in 1 min \d+ s/);
    await line.getByRole("button", { name: "Try now" }).click();
    await page.getByText("2 files not proven to have arrived yet.").waitFor();
    await page.locator("li", { hasText: "502.dcm" }).getByRole("button", { name: "Take out …" }).click();
    await page.getByLabel("Sent another way").check();
    expect(await axe(page)).toEqual([]);
    await page.getByRole("button", { name: "Take out", exact: true }).click();
    await expect.poll(() => page.locator("li", { hasText: "502.dcm" }).count()).toBe(0);
    expect(mock.calls.filter((c) => c.startsWith("POST"))).toEqual([
      'POST /api/v1/sending/1/again {"who":"RK"}',
      'POST /api/v1/sending/2/withdraw {"who":"RK","reason":"Sent another way"}',
    ]);
    expect(troubles).toEqual([]);
    await page.context().close();
  });

  test("a visit is sent from its own page, and what stays behind is said", async () => {
    const { page, troubles } = await open("/visits/1", "Are the pictures complete?");
    await page.getByLabel("Your initials").fill("RK");
    await page.getByLabel("Your initials").blur();
    await page.getByRole("button", { name: "Send to archive" }).click();
    await page.getByText("104.dcm does not go along: set aside: a better one.").waitFor();
    await page.getByText("arrived, proven").waitFor();
    await shot(page, "mock-handover-1280");
    expect(await axe(page)).toEqual([]);
    const link = page.getByRole("link", { name: "As a package (zip)" });
    await link.click();
    expect(await link.getAttribute("href")).toBe("/api/v1/visits/1/package?who=RK");
    // The stand-in has no package to give.
    expect(troubles.filter((t) => !t.includes("404"))).toEqual([]);
    await page.context().close();
  });
});

describe("frame", () => {
  test("layers go and come, and a finding is pointed out", async () => {
    const { page } = await open("/frames/104", "What to do");
    const drawn = page.locator(".view svg .finding");
    expect(await drawn.count()).toBe(1);
    await page.getByRole("button", { name: "Light, shape, marks" }).click();
    await page.getByRole("button", { name: "Findings", exact: true }).click();
    expect(await drawn.count()).toBe(0);
    await page.getByRole("button", { name: /Lashes in the way/ }).click();
    expect(await page.locator(".view svg .finding.near").count()).toBe(1);
    await page.context().close();
  });

  test("a correction keeps those that were made before, and can be taken back", async () => {
    const { page } = await open("/frames/104", "What to do");
    const save = page.getByRole("button", { name: "Save correction" });
    const why = page.getByRole("combobox", { name: "Why" });
    await page.getByLabel("Your initials").fill("RK");
    await page.getByRole("combobox", { name: /^Kind/ }).selectOption("faf");
    expect(await save.isDisabled()).toBe(true);
    await why.selectOption("The anatomy shows it");
    await save.click();
    await page.getByText("Kind, corrected by a person").waitFor();
    await page.getByRole("combobox", { name: /^Eye/ }).selectOption("R");
    await why.selectOption("Labelled wrongly at the camera");
    await save.click();
    await page.getByText("Eye, corrected by a person").waitFor();
    await page.getByRole("combobox", { name: /^Kind/ }).selectOption("");
    await why.selectOption("Corrected by mistake before");
    await save.click();
    await expect.poll(() => page.getByText("Kind, corrected by a person").count()).toBe(0);
    expect(mock.calls).toEqual([
      'POST /api/v1/frames/104/correct {"eye":null,"modality":"faf","gaze":null,"reason":"The anatomy shows it","who":"RK"}',
      'POST /api/v1/frames/104/correct {"eye":"R","modality":"faf","gaze":null,"reason":"Labelled wrongly at the camera","who":"RK"}',
      'POST /api/v1/frames/104/correct {"eye":"R","modality":null,"gaze":null,"reason":"Corrected by mistake before","who":"RK"}',
    ]);
    await page.context().close();
  });

  test("it is set aside with a reason and brought back", async () => {
    const { page } = await open("/frames/104", "What to do");
    await page.getByRole("button", { name: "Set aside …" }).click();
    await page.getByLabel("A better frame is there").check();
    await page.getByRole("button", { name: "Set aside", exact: true }).click();
    await page.getByText("It stays kept and is left out of the hand-over").waitFor();
    await page.getByRole("button", { name: "Bring back" }).click();
    await page.getByRole("button", { name: "Set aside …" }).waitFor();
    await page.context().close();
  });

  test("it is looked at closely: nearer, in one channel, in other light, about another point, and measured while drawing", async () => {
    const { page, troubles } = await open("/frames/104", "What to do");
    const sheet = page.getByRole("application");
    await drawnInFull(page);
    const taken = await middleLight(page);
    expect(taken[2]).toBeLessThan(3);
    await page.getByRole("button", { name: "Light, shape, marks" }).click();
    await page.getByRole("button", { name: "Red-free", exact: true }).click();
    await drawnInFull(page);
    const green = await middleLight(page);
    expect(Math.max(...green) - Math.min(...green)).toBeLessThan(0.5);
    expect(green[0]).toBeCloseTo(taken[1], 0);
    await page.getByRole("button", { name: "Inverted" }).click();
    await drawnInFull(page);
    expect((await middleLight(page))[0]).toBeCloseTo(255 - green[0], 0);
    await page.getByLabel("Window").fill("40");
    await page.getByLabel("Level").fill("30");
    await shot(page, "mock-frame-light-shape-1280");
    expect(await axe(page)).toEqual([]);
    expect(await smallTargets(page)).toEqual([]);
    expect(await overhang(page)).toBe(0);
    await page.getByRole("button", { name: "Light as taken" }).click();
    const outline = page.locator("path.retina");
    const flat = await outline.getAttribute("d");
    await page.getByRole("button", { name: "True areas" }).click();
    await page.getByText("Areas are true everywhere").waitFor();
    await expect.poll(() => outline.getAttribute("d")).not.toBe(flat);
    const about = await outline.getAttribute("d");
    await sheet.focus();
    for (const key of ["ArrowRight", "ArrowUp", "+"]) await page.keyboard.press(key);
    await expect.poll(() => outline.getAttribute("d")).not.toBe(about);
    await page.getByRole("button", { name: "Angle" }).click();
    await page.getByText("Touch 3 more points; the second is the corner.").waitFor();
    await sheet.focus();
    for (const key of ["Space", "ArrowRight", "ArrowRight", "Space", "ArrowDown", "ArrowDown", "Space"]) await page.keyboard.press(key);
    await page.getByText("57.3° (56.2 to 58.4), 95 %").waitFor();
    await page.getByRole("button", { name: "Length" }).click();
    await sheet.evaluate((one) => one.scrollIntoView({ block: "start" }));
    const box = await sheet.boundingBox();
    if (box === null) throw new Error("the picture has no sheet");
    const [x, y] = [box.x + box.width / 2, box.y + Math.min(box.height, 500) / 2];
    await page.mouse.click(x - 80, y);
    await page.mouse.move(x + 40, y + 30);
    // Told before the second point stands.
    await page.getByText("3.21 mm (3.02 to 3.40), 95 %; radius 12.25 mm, population").waitFor();
    await shot(page, "mock-frame-measured-1280");
    expect(await axe(page)).toEqual([]);
    expect(mock.calls.some((c) => c.startsWith("POST /api/v1/frames/104/measure"))).toBe(true);
    expect(troubles).toEqual([]);
    await page.context().close();
  });

  test("two fingers come nearer, and a browser without WebGL shows the picture as taken", async () => {
    const { page, troubles } = await newPage(browser, 1280, "dark", true);
    await page.addInitScript(() => {
      HTMLCanvasElement.prototype.getContext = () => null;
    });
    await page.goto(`${mock.address}/frames/104`);
    await page.getByText("This browser cannot draw with its graphics").waitFor();
    await drawnInFull(page);
    const sheet = page.getByRole("application");
    const outline = page.locator("path.retina");
    const whole = await outline.getAttribute("d");
    await sheet.evaluate((one) => {
      const box = one.getBoundingClientRect();
      one.setPointerCapture = () => undefined;
      const touch = (kind: string, pointerId: number, dx: number): boolean =>
        one.dispatchEvent(new PointerEvent(kind, { pointerId, clientX: box.x + box.width / 2 + dx, clientY: box.y + 200, button: 0, pointerType: "touch", bubbles: true }));
      touch("pointerdown", 1, -40);
      touch("pointerdown", 2, 40);
      touch("pointermove", 1, -90);
      touch("pointermove", 2, 90);
      touch("pointerup", 1, -90);
      touch("pointerup", 2, 90);
    });
    await expect.poll(() => outline.getAttribute("d")).not.toBe(whole);
    expect(await page.locator(".view img").evaluate((one: HTMLImageElement) => one.clientWidth / one.naturalWidth)).toBeGreaterThan(1);
    expect(await page.getByRole("button", { name: "Red-free" }).count()).toBe(0);
    await page.getByRole("button", { name: "Light, shape, marks" }).click();
    expect(await page.getByRole("button", { name: "Inverted" }).count()).toBe(0);
    expect(await axe(page)).toEqual([]);
    expect(troubles).toEqual([]);
    await page.context().close();
  });

  test("a file that could not be read says what to do", async () => {
    const { page } = await open("/frames/903", "Could not be read");
    await page.getByText("Copy it again from the camera.").waitFor();
    expect(await axe(page)).toEqual([]);
    await page.context().close();
  });

  test("an unknown frame says so in a sentence", async () => {
    const { page } = await open("/frames/77777", "There is no such thing here.");
    expect(await axe(page)).toEqual([]);
    await page.context().close();
  });
});

describe("intake", () => {
  test("chosen pictures are sent as they are and counted; a bad one is named", async () => {
    const { page } = await open("/", "Pebble Lantern");
    await page.locator("input[type=file]").setInputFiles([
      { name: "a b.jpg", mimeType: "image/jpeg", buffer: Buffer.from("picture") },
      { name: "empty.jpg", mimeType: "image/jpeg", buffer: Buffer.alloc(0) },
    ]);
    await page.getByText("1 picture received.").waitFor();
    await page.getByText("The file is empty. Copy it again from the camera.").waitFor();
    expect(mock.calls[0]).toBe("POST /api/v1/files picture");
    await page.locator(".waits strong", { hasText: "4" }).waitFor();
    await page.context().close();
  });

  test("an unassigned frame goes to the visit that a person names", async () => {
    const { page } = await open("/unassigned", "901.jpg");
    const item = page.locator("li", { hasText: "901.jpg" });
    await item.getByLabel("Visit").selectOption("3");
    await item.getByRole("button", { name: /^Assign\s+901\.jpg$/ }).click();
    await page.getByText("901.jpg is assigned to Moss Umbrella.").waitFor();
    // The list is loaded after the sentence is there.
    await expect.poll(() => page.locator("li", { hasText: "patient number" }).filter({ hasText: "901.jpg" }).count()).toBe(0);
    expect(mock.calls).toEqual(['POST /api/v1/frames/901/assign {"visit_id":3}']);
    await page.context().close();
  });
});

test("a number in the file that is not the visit's is shown beside it before a frame is assigned", async () => {
  const { page } = await open("/unassigned", "902.jpg");
  const item = page.locator("li", { hasText: "902.jpg" });
  await item.getByLabel("Visit").selectOption("2");
  expect(await item.locator("dl").count()).toBe(0);
  await item.getByLabel("Visit").selectOption("3");
  expect(await item.locator("dd").allInnerTexts()).toEqual(["DEMO-0012", "DEMO-0015, Moss Umbrella"]);
  await item.getByRole("button", { name: "Assign all the same" }).waitFor();
  expect(await axe(page)).toEqual([]);
  await shot(page, "mock-other-number-1280");
  await page.context().close();
});

describe("a visit that is typed in", () => {
  test("opens with number, name, birth date and order, and can be chosen at once", async () => {
    const { page } = await open("/unassigned", "901.jpg");
    await page.getByRole("button", { name: "Open a visit" }).click();
    await page.getByLabel("Patient's number").fill("DEMO-0099");
    await page.getByLabel("Patient's name").fill("Bramble Kettle");
    await page.getByLabel("Day", { exact: true }).fill("31");
    await page.getByLabel("Month").selectOption("Apr");
    await page.getByLabel("Year").fill("1972");
    await page.getByRole("button", { name: "Open the visit" }).click();
    await page.getByText("There is no such day.").waitFor();
    expect(mock.calls).toEqual([]);
    await page.getByLabel("Day", { exact: true }).fill("9");
    await page.getByLabel("Month").selectOption("May");
    await page.getByLabel("Order").selectOption("first-look");
    await shot(page, "mock-open-visit-1280");
    expect(await axe(page)).toEqual([]);
    await page.getByRole("button", { name: "Open the visit" }).click();
    await page.getByText("A visit is open for Bramble Kettle.").waitFor();
    expect(mock.calls).toEqual([
      'POST /api/v1/visits {"patient_id":"DEMO-0099","patient_name":"Bramble Kettle","birth_date":"1972-05-09","protocol":"first-look","chair":null}',
    ]);
    await page.locator("li", { hasText: "901.jpg" }).getByLabel("Visit").selectOption({ label: "Bramble Kettle, DEMO-0099, born 1972-05-09" });
    await page.context().close();
  });
});

describe("live connection", () => {
  test("a picture that comes in by another way appears by itself", async () => {
    const { page } = await open("/unassigned", "901.jpg");
    await page.getByText("live", { exact: true }).waitFor();
    await fetch(`${mock.address}/api/v1/files?name=x.jpg`, { method: "POST", body: "x" });
    await page.getByText("1001.jpg").first().waitFor();
    await page.context().close();
  });

  test("what came while the connection was refused is there when it is back", async () => {
    const { page } = await open("/unassigned", "901.jpg");
    await page.getByText("live", { exact: true }).waitFor();
    mock.refuse = true;
    mock.cut();
    await page.getByText("not connected").waitFor();
    await fetch(`${mock.address}/api/v1/files?name=x.jpg`, { method: "POST", body: "x" });
    mock.refuse = false;
    await page.getByText("1001.jpg").first().waitFor({ timeout: 30_000 });
    await page.getByText("live", { exact: true }).waitFor();
    await page.context().close();
  });
});
