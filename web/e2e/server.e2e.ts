/**
 * The page as the real server serves it. SERRATA_URL is its address; SERRATA_PICTURE a JPEG file to drop on it;
 * SERRATA_SHOTS, if named, gets pictures of the screens. Without SERRATA_URL these tests are left out.
 */
import { randomUUID } from "node:crypto";
import { readFile } from "node:fs/promises";
import { basename } from "node:path";
import type { Browser, Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import type { Day, FrameAnswer, Received, Sending, Unassigned, Visit } from "../src/api/model";
import { axe, drawnInFull, launch, newPage, overhang, shot, smallTargets, tabOrder, WIDTHS } from "./browser";

const URL_GIVEN = process.env["SERRATA_URL"]?.replace(/\/+$/, "") ?? "";

async function ask<T>(path: string): Promise<T> {
  const answer = await fetch(`${URL_GIVEN}/api/v1${path}`);
  expect(answer.status, path).toBe(200);
  return (await answer.json()) as T;
}

/** The same picture as another file: with a comment that no file had before. The server would know the same bytes again. */
function asNew(jpeg: Buffer): Buffer {
  if (jpeg[0] !== 0xff || jpeg[1] !== 0xd8) throw new Error("SERRATA_PICTURE is no JPEG file.");
  const text = Buffer.from(`test ${randomUUID()}`);
  const comment = Buffer.concat([Buffer.from([0xff, 0xfe, 0, text.length + 2]), text]);
  return Buffer.concat([jpeg.subarray(0, 2), comment, jpeg.subarray(2)]);
}

async function send(name: string, body: Buffer): Promise<number> {
  const answer = await fetch(`${URL_GIVEN}/api/v1/files?name=${encodeURIComponent(name)}`, {
    method: "POST",
    headers: { "content-type": "application/octet-stream" },
    body: new Uint8Array(body),
  });
  expect(answer.ok, `POST /files answered ${String(answer.status)}`).toBe(true);
  const { frames, duplicate } = (await answer.json()) as Received;
  expect(duplicate).toBe(false);
  const [first] = frames;
  if (first === undefined) throw new Error("The server took the picture but named no frame.");
  return first;
}

describe.skipIf(URL_GIVEN === "")("the server's page", () => {
  let browser: Browser;
  let picture: { name: string; body: Buffer };

  beforeAll(async () => {
    const path = process.env["SERRATA_PICTURE"];
    if (path === undefined || path === "") throw new Error("SERRATA_URL is set but SERRATA_PICTURE is not: name a JPEG file.");
    picture = { name: basename(path), body: await readFile(path) };
    browser = await launch();
  });
  afterAll(() => browser.close());

  async function hold(page: Page, name: string, width: number): Promise<void> {
    await shot(page, `${name}-${String(width)}`);
    expect(await axe(page), `${name} at ${String(width)} px: axe`).toEqual([]);
    expect(await overhang(page), `${name} at ${String(width)} px: sideways scroll`).toBe(0);
    expect(await smallTargets(page), `${name} at ${String(width)} px: small targets`).toEqual([]);
  }

  /** A visit with frames, and one of them that was checked. */
  async function known(): Promise<{ day: Day; visit: Visit; frame: FrameAnswer }> {
    const day = await ask<Day>("/day");
    const line = day.visits.find((v) => v.frames > 0 && v.state === "open") ?? day.visits.find((v) => v.frames > 0);
    if (line === undefined) throw new Error("The server holds no visit with frames: these tests want the demo day.");
    const visit = await ask<Visit>(`/visits/${String(line.id)}`);
    const brief = visit.frames.find((f) => f.verdict === "not_usable") ?? visit.frames.find((f) => f.state === "checked");
    if (brief === undefined) throw new Error("The visit holds no checked frame.");
    return { day, visit, frame: await ask<FrameAnswer>(`/frames/${String(brief.id)}`) };
  }

  test.each(WIDTHS)("Day, Visit, Frame and Unassigned stand at %i px", async (width) => {
    const { day, visit, frame } = await known();
    const { page, troubles } = await newPage(browser, width);

    await page.goto(`${URL_GIVEN}/`);
    await page.getByText(day.visits.find((v) => v.state === "open")?.patient_name ?? visit.patient_name).first().waitFor();
    await page.getByText("live", { exact: true }).waitFor();
    await hold(page, "day", width);

    await page.goto(`${URL_GIVEN}/visits/${String(visit.id)}`);
    await page.getByText("Are the pictures complete?").waitFor();
    expect(await page.locator("figure").count()).toBe(2);
    expect(await page.locator("figure h2").allInnerTexts()).toEqual(["Right eye (OD)", "Left eye (OS)"]);
    await hold(page, "visit", width);

    await page.goto(`${URL_GIVEN}/frames/${String(frame.brief.id)}`);
    await page.getByText("What to do").waitFor();
    await drawnInFull(page);
    await hold(page, "frame", width);

    await page.goto(`${URL_GIVEN}/unassigned`);
    await page.getByRole("heading", { name: "Unassigned" }).waitFor();
    await expect.poll(() => page.getByText("Loading", { exact: false }).count()).toBe(0);
    await hold(page, "unassigned", width);

    expect(troubles).toEqual([]);
    await page.context().close();
  });

  test("the way from the day to a frame can be gone by key alone", async () => {
    const { visit } = await known();
    const { page } = await newPage(browser, 1280);
    await page.goto(`${URL_GIVEN}/`);
    await page.getByText(visit.patient_name).first().waitFor();
    const names = await tabOrder(page);
    expect(names.some((name) => name.includes(visit.patient_name))).toBe(true);
    expect(names).toContain("To the content");
    await page.goto(`${URL_GIVEN}/visits/${String(visit.id)}`);
    await page.getByText("Frames of this visit").waitFor();
    const link = page.locator(`ul a[href="/frames/${String(visit.frames[0]?.id ?? "")}"]`);
    await link.focus();
    await page.keyboard.press("Enter");
    await page.getByRole("link", { name: "Back to the visit" }).waitFor();
    await page.context().close();
  });

  test("a picture that is sent in appears on the open page by itself, and then its result", async () => {
    const { page } = await newPage(browser, 1280);
    await page.goto(`${URL_GIVEN}/unassigned`);
    await page.getByText("live", { exact: true }).waitFor();
    const name = `live ${String(Date.now())} ${picture.name}`;
    const id = await send(name, asNew(picture.body));
    const brief = (await ask<FrameAnswer>(`/frames/${String(id)}`)).brief;
    const where = brief.visit_id === null ? "/unassigned" : `/visits/${String(brief.visit_id)}`;
    if (where !== "/unassigned") await page.goto(URL_GIVEN + where);
    const line = page.locator(`a[href="/frames/${String(id)}"]`).last();
    await line.waitFor({ timeout: 20_000 });
    await line.click();
    await page.getByText(/^(Usable|Usable with reservations|Not usable)$/).first().waitFor({ timeout: 40_000 });
    if (where === "/unassigned") {
      const list = await ask<Unassigned>("/unassigned");
      expect(list.frames.find((f) => f.id === id)?.why).not.toBe("");
    }
    await page.context().close();
  });

  async function named(page: Page): Promise<void> {
    const initials = page.getByLabel("Your initials");
    await initials.fill("RK");
    await initials.blur();
  }

  test.each(WIDTHS)("the invented day by touch at %i px: from the list to the hand-over, a dye run beside it", { timeout: 240_000 }, async (width) => {
    const day = await ask<Day>("/day");
    const open = day.visits.filter((v) => v.frames > 0 && v.state === "open");
    const dyed = open.find((v) => v.order.includes("Fluorescein"));
    const plain = open.find((v) => v.views_met > 0 && v !== dyed);
    if (dyed === undefined || plain === undefined) throw new Error("The demo day has a dye run and another open visit.");

    // Two visits at once, each from the day's list.
    const one = await newPage(browser, width, "dark", true);
    const two = await newPage(browser, width, "dark", true);
    for (const [{ page }, visit] of [[one, plain], [two, dyed]] as const) {
      await page.goto(`${URL_GIVEN}/`);
      await page.getByText("live", { exact: true }).waitFor();
      await page.getByText(visit.patient_name).first().tap();
      await page.waitForURL(`**/visits/${String(visit.id)}`);
      await page.getByText("Are the pictures complete?").waitFor();
    }

    // The dye run: unwell and well again at one button, then read in numbers while the other visit goes on.
    await two.page.goto(`${URL_GIVEN}/visits/${String(dyed.id)}/dye`);
    await named(two.page);
    await two.page.getByRole("button", { name: "Unwell", exact: true }).tap();
    await two.page.getByRole("button", { name: "Well again", exact: true }).waitFor();
    expect((await ask<Day>("/day")).visits.find((v) => v.id === dyed.id)?.unwell, "the board knows").toBe(true);
    await two.page.getByRole("button", { name: "Well again", exact: true }).tap();
    await two.page.getByRole("button", { name: "Unwell", exact: true }).waitFor();
    await two.page.getByRole("button", { name: /^Read (the run|it again)$/ }).first().tap();

    // Meanwhile the other visit's frames are laid on one sphere.
    const eye = (await ask<Visit>(`/visits/${String(plain.id)}`)).frames.find((f) => f.verdict !== "not_usable" && f.state === "checked")?.eye ?? "R";
    await one.page.goto(`${URL_GIVEN}/visits/${String(plain.id)}/montage/${eye}`);
    await one.page.getByRole("button", { name: /^Put them together/ }).tap();
    await one.page.getByRole("application").waitFor({ timeout: 120_000 });
    await drawnInFull(one.page);
    await hold(one.page, "montage", width);

    await two.page.getByRole("link", { name: "Curves as a table" }).first().waitFor({ timeout: 120_000 });
    await hold(two.page, "dye", width);

    // The hand-over: the paper, then a package that counts as sent.
    await one.page.goto(`${URL_GIVEN}/visits/${String(plain.id)}`);
    await named(one.page);
    const paper = await fetch(`${URL_GIVEN}/api/v1/visits/${String(plain.id)}/record.pdf?who=RK`);
    expect(paper.headers.get("content-type")).toBe("application/pdf");
    const [taken] = await Promise.all([one.page.waitForEvent("download"), one.page.getByRole("link", { name: "As a package (zip)" }).tap()]);
    const zip = await readFile(await taken.path());
    expect([...zip.subarray(0, 2)], "a zip").toEqual([0x50, 0x4b]);
    // And to the archive: originals, and what was made of them, each proven to have arrived.
    await one.page.getByRole("button", { name: "Send to archive" }).tap();
    const arrived = async (): Promise<boolean> => {
      const { deliveries } = await ask<Sending>(`/visits/${String(plain.id)}/sending`);
      const there = deliveries.filter((d) => d.state === "done");
      return there.some((d) => d.kind === "derived" && d.name.startsWith("montage")) && deliveries.every((d) => ["done", "withdrawn"].includes(d.state));
    };
    await expect.poll(arrived, { timeout: 60_000 }).toBe(true);
    await one.page.getByText("it answers for it (storage commitment)").first().waitFor();
    expect(await one.page.getByText("Somebody sends by name", { exact: false }).count(), "the initials are typed").toBe(0);
    await shot(one.page, `handover-${String(width)}`);
    await one.page.goto(`${URL_GIVEN}/send`);
    await one.page.getByRole("heading", { name: "Send" }).waitFor();
    await one.page.getByText("Everything that was sent has arrived.").waitFor();
    await expect.poll(() => one.page.getByText("Loading", { exact: false }).count()).toBe(0);
    await hold(one.page, "send", width);
    const closing = await ask<{ left: string[] }>("/day/closing");
    expect(closing.left.filter((line) => line.includes(plain.patient_name) && line.includes("not sent"))).toEqual([]);

    expect([...one.troubles, ...two.troubles]).toEqual([]);
    await one.page.context().close();
    await two.page.context().close();

    // The same screens for the desk.
    const light = await newPage(browser, width, "light", true);
    const shown: [string, string][] = [
      ["day", "/"],
      ["visit", `/visits/${String(plain.id)}`],
      ["frame", `/frames/${String((await known()).frame.brief.id)}`],
      ["dye", `/visits/${String(dyed.id)}/dye`],
      ["montage", `/visits/${String(plain.id)}/montage/${eye}`],
      ["send", "/send"],
    ];
    for (const [name, path] of shown) {
      await light.page.goto(URL_GIVEN + path);
      await light.page.getByText("live", { exact: true }).waitFor();
      await expect.poll(() => light.page.getByText("Loading", { exact: false }).count()).toBe(0);
      await light.page.waitForLoadState("networkidle", { timeout: 5000 }).catch(() => undefined);
      await shot(light.page, `${name}-light-${String(width)}`);
      expect(await axe(light.page), `${name}, light: axe`).toEqual([]);
    }
    expect(light.troubles).toEqual([]);
    await light.page.context().close();
  });
});
