/** The browser of the tests, and what every screen is held to. */
import { mkdir, readFile } from "node:fs/promises";
import { createRequire } from "node:module";
import { join } from "node:path";
import { chromium, type Browser, type Page } from "playwright-core";

const AXE = createRequire(import.meta.url).resolve("axe-core/axe.min.js");

export const WIDTHS = [1280, 768] as const;

export function launch(): Promise<Browser> {
  return chromium.launch({
    executablePath: process.env["SERRATA_CHROMIUM"] ?? "/usr/bin/chromium",
    args: [
      "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
      "--disable-component-update", "--disable-sync",
    ],
  });
}

/** A page that keeps every script error and every failed request of its own, for a test to look at. `touch`: for gloved fingers, 800 high. */
export async function newPage(browser: Browser, width: number, scheme: "dark" | "light" = "dark", touch = false): Promise<{ page: Page; troubles: string[] }> {
  const viewport = { width, height: touch ? 800 : 900 };
  const context = await browser.newContext({ viewport, hasTouch: touch, colorScheme: scheme, timezoneId: "UTC" });
  const page = await context.newPage();
  const troubles: string[] = [];
  page.on("pageerror", (error) => troubles.push(error.message));
  page.on("console", (message) => {
    if (message.type() === "error") troubles.push(message.text());
  });
  return { page, troubles };
}

/** What axe finds against WCAG 2.2 A and AA, as sentences; empty where there is nothing. */
export async function axe(page: Page): Promise<string[]> {
  // Not by a script tag: the server's policy forbids foreign scripts, and that policy stays on here.
  await page.evaluate(await readFile(AXE, "utf8"));
  return page.evaluate(async () => {
    interface Axe {
      run: (context: Document, options: object) => Promise<{
        violations: { id: string; help: string; nodes: { html: string; failureSummary: string }[] }[];
      }>;
    }
    const { axe: tool } = window as unknown as { axe: Axe };
    const tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
    const { violations } = await tool.run(document, { runOnly: { type: "tag", values: tags } });
    return violations.flatMap((one) => one.nodes.map((node) => `${one.id}: ${one.help}: ${node.html} ${node.failureSummary}`));
  });
}

/** By how many pixels the page is wider than its window; 0 where it is not. */
export function overhang(page: Page): Promise<number> {
  return page.evaluate(() => Math.max(0, document.documentElement.scrollWidth - window.innerWidth));
}

/** Controls that are smaller than `least` pixels in either direction; links inside sentences and drawings excepted. */
export function smallTargets(page: Page, least = 44): Promise<string[]> {
  return page.evaluate((limit) => {
    const all = [...document.querySelectorAll<HTMLElement>("main a, main button, main select, header a")];
    return all
      .filter((one) => one.closest("svg") === null && one.offsetParent !== null)
      .map((one) => ({ one, box: one.getBoundingClientRect() }))
      .filter(({ box }) => box.height < limit - 0.5 || box.width < limit - 0.5)
      .map(({ one, box }) => `${one.outerHTML.slice(0, 90)} ${String(box.width)} × ${String(box.height)}`);
  }, least);
}

/** Names of everything that the Tab key reaches, in order, until the focus comes round. */
export async function tabOrder(page: Page, most = 120): Promise<string[]> {
  const names: string[] = [];
  await page.evaluate(() => {
    (document.activeElement as HTMLElement | null)?.blur();
  });
  for (let i = 0; i < most; i += 1) {
    await page.keyboard.press("Tab");
    const name = await page.evaluate(() => {
      const one = document.activeElement;
      if (one === null || one === document.body) return null;
      return (one.getAttribute("aria-label") ?? one.textContent).trim().replace(/\s+/g, " ");
    });
    if (name === null) break;
    names.push(name);
  }
  return names;
}

/** Writes a picture of the whole page into the folder named by SERRATA_SHOTS; without it, nothing is written. */
export async function shot(page: Page, name: string): Promise<void> {
  const folder = process.env["SERRATA_SHOTS"];
  if (folder === undefined || folder === "") return;
  await mkdir(folder, { recursive: true });
  await page.screenshot({ path: join(folder, `${name}.png`), fullPage: true });
}

/** Waits until a looked-at picture is there and drawn. */
export async function drawnInFull(page: Page): Promise<void> {
  await page.locator('[role="application"][aria-busy="false"]').waitFor({ timeout: 60_000 });
  // Drawn in full at rest.
  await page.waitForTimeout(400);
}

/** Mean brightness, 0 to 255, of each channel of the drawn picture's middle. */
export function middleLight(page: Page): Promise<[number, number, number]> {
  return page.evaluate(() => {
    const canvas = document.querySelector<HTMLCanvasElement>('[role="application"] canvas');
    if (canvas === null) throw new Error("there is no picture");
    const copy = new OffscreenCanvas(canvas.width, canvas.height).getContext("2d");
    copy?.drawImage(canvas, 0, 0);
    const side = Math.round(Math.min(canvas.width, canvas.height) / 3);
    const data = copy?.getImageData((canvas.width - side) / 2, (canvas.height - side) / 2, side, side).data ?? [];
    const sum: [number, number, number] = [0, 0, 0];
    for (let i = 0; i < data.length; i += 4) for (const c of [0, 1, 2] as const) sum[c] += data[i + c] ?? 0;
    return sum.map((v) => (4 * v) / data.length) as [number, number, number];
  });
}
