/**
 * Every word on the screens comes from the message file or from the server. The page is built in a language that nobody speaks, whose
 * messages stand between brackets; what is read on any screen without them, and was not in an answer, was written past the file.
 */
import { mkdtemp, rm } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { Browser, Page } from "playwright-core";
import { build } from "vite";
import { afterAll, beforeAll, beforeEach, expect, test } from "vitest";
import { startMock, type Mock } from "../mock/server";
import { PROTOCOLS } from "../src/lib/protocols";
import { upperFirst } from "../src/lib/words";
import { CLOSE, OPEN, pseudoText } from "../src/messages/pseudo";
import { drawnInFull, launch, newPage, overhang, shot } from "./browser";

let browser: Browser;
let built: string;
let mock: Mock;

beforeAll(async () => {
  built = await mkdtemp(join(tmpdir(), "serrata-words-"));
  await build({ mode: "pseudo", logLevel: "error", build: { outDir: built, emptyOutDir: true } });
  browser = await launch();
});
afterAll(async () => {
  await browser.close();
  await rm(built, { recursive: true, force: true });
});
beforeEach(async () => {
  mock = await startMock(built);
  return () => mock.close();
});

/** All strings in an answer. */
function strings(value: unknown): string[] {
  if (typeof value === "string") return [value];
  if (typeof value === "object" && value !== null) return Object.values(value).flatMap(strings);
  return [];
}

/** A page that keeps what the server said. */
async function open(path: string): Promise<{ page: Page; said: Set<string> }> {
  const { page } = await newPage(browser, 1280);
  const said = new Set<string>(PROTOCOLS.map((one) => one.title));
  page.on("response", (response) => {
    if (!(response.headers()["content-type"] ?? "").includes("json")) return;
    response.json().then((value: unknown) => { for (const one of strings(value)) said.add(one); }, () => undefined);
  });
  await page.goto(mock.address + path);
  return { page, said };
}

/** What is read or heard on the page as it stands: texts, names, tips, choices. */
function readable(page: Page): Promise<string[]> {
  return page.evaluate(() => {
    const out: string[] = [document.title];
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let node = walker.nextNode(); node !== null; node = walker.nextNode()) {
      const holder = node.parentElement;
      if (holder !== null && holder.closest("script, style, noscript") === null) out.push(node.textContent ?? "");
    }
    for (const one of document.querySelectorAll("*")) {
      for (const name of ["aria-label", "aria-description", "alt", "title", "placeholder"]) out.push(one.getAttribute(name) ?? "");
    }
    return [...new Set(out.map((text) => text.replace(/\s+/g, " ").trim()).filter((text) => text !== ""))];
  });
}

/** The texts with letters that are neither between brackets nor the server's. */
async function bare(page: Page, said: ReadonlySet<string>): Promise<string[]> {
  // A sentence of the server may begin a line.
  const known = [...said].flatMap((one) => [one, upperFirst(one)]).map((one) => one.replace(/\s+/g, " ").trim()).filter((one) => one.length > 1).sort((a, b) => b.length - a.length);
  const innermost = new RegExp(`${OPEN}[^${OPEN}${CLOSE}]*${CLOSE}`, "g");
  return (await readable(page)).filter((text) => {
    let rest = text;
    // Messages stand within messages.
    while (innermost.test(rest)) rest = rest.replace(innermost, " ");
    for (const one of known) rest = rest.replaceAll(one, " ");
    return /\p{L}{2}/u.test(rest.replaceAll("Serrata", " "));
  });
}

const button = (page: Page, text: string): ReturnType<Page["getByRole"]> => page.getByRole("button", { name: pseudoText(text), exact: true });

test.each([
  ["day", "/", "Who next"],
  ["visit", "/visits/1", "Are the pictures complete?"],
  ["visit with a dye run", "/visits/5", "Are the pictures complete?"],
  ["dye", "/visits/5/dye", "Pictures at their second"],
  ["frame", "/frames/101", "What to do"],
  ["frame that failed", "/frames/901", "Correct a label"],
  ["montage", "/visits/1/montage/R", "To the visit"],
  ["send", "/send", "Send"],
  ["unassigned", "/unassigned", "Open a visit …"],
  ["nowhere", "/nowhere", "There is no such page"],
  ["a visit that is not there", "/visits/4711", "Visit"],
])("%s", async (name, path, ready) => {
  const { page, said } = await open(path);
  await page.getByText(pseudoText(ready)).first().waitFor();
  await page.waitForTimeout(500);
  await shot(page, `words-${name.replaceAll(" ", "-")}-1280`);
  expect(await readable(page)).toContainEqual(expect.stringContaining(OPEN));
  expect(await bare(page, said)).toEqual([]);
  // Words grow in other languages.
  expect(await overhang(page)).toBe(0);
  await page.context().close();
});

test("what opens when it is asked for: tools, light and shape, reasons, a visit typed in", async () => {
  const { page, said } = await open("/frames/104");
  await drawnInFull(page);
  for (const name of ["Light, shape, marks", "True areas", "Angle"]) await button(page, name).click();
  const view = page.getByRole("application");
  for (const [x, y] of [[200, 200], [300, 220], [320, 300]] as const) await view.click({ position: { x, y } });
  await page.getByText("95 %").waitFor();
  await button(page, "Disc and fovea").click();
  await button(page, "Set aside …").click();
  await page.getByRole("dialog").waitFor();
  expect(await bare(page, said)).toEqual([]);
  await button(page, "Cancel").click();

  await page.goto(`${mock.address}/visits/1`);
  await button(page, "Not obtainable …").first().click();
  await page.getByRole("dialog").waitFor();
  expect(await bare(page, said)).toEqual([]);
  await page.getByRole("radio").first().check();
  await page.getByRole("button", { name: pseudoText("Close this view") }).click();
  await page.getByRole("dialog", { name: pseudoText("Who are you?") }).waitFor();
  expect(await bare(page, said)).toEqual([]);
  await page.getByLabel(pseudoText("Initials"), { exact: true }).fill("RK");
  await page.keyboard.press("Enter");
  await expect.poll(() => mock.calls.some((call) => call.includes('"kind":"view_ended"') && call.includes('"why":"declined"'))).toBe(true);

  for (const one of ["Right eye (OD) …", "Person …", "Compared …", "Chair …"]) {
    await page.goto(`${mock.address}/visits/1`);
    await page.getByRole("button", { name: one.endsWith("(OD) …") ? /\(ÖD\).* …/ : pseudoText(one), exact: true }).last().click();
    await page.getByRole("dialog").waitFor();
    expect(await bare(page, said)).toEqual([]);
  }

  await page.goto(`${mock.address}/visits/5/dye`);
  await page.getByRole("button", { name: /réçörd öf/ }).click();
  await page.getByRole("dialog").waitFor();
  expect(await bare(page, said)).toEqual([]);

  await page.goto(`${mock.address}/unassigned`);
  await button(page, "Open a visit …").click();
  await page.getByRole("dialog").waitFor();
  expect(await bare(page, said)).toEqual([]);
  await page.context().close();
});

test("a server that does not answer", async () => {
  const { page, said } = await open("/");
  await page.getByText(pseudoText("Who next")).waitFor();
  await mock.close();
  await page.getByText(pseudoText("not connected")).waitFor();
  expect(await bare(page, said)).toEqual([]);
  await page.context().close();
  mock = await startMock(built);
});
