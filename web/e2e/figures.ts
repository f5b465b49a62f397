/**
 * How fast the page is, on the real server: one line of JSON a figure, for `make bench`. SERRATA_URL is the server's address,
 * SERRATA_PICTURE a JPEG file to send, SERRATA_PICTURE_4K one of 4000 pixels. Nothing is asserted but that it could be measured.
 */
import { randomUUID } from "node:crypto";
import { readdir, readFile } from "node:fs/promises";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { gzipSync } from "node:zlib";
import type { Browser, Page } from "playwright-core";
import { afterAll, beforeAll, test } from "vitest";
import type { Day, FrameAnswer, Received, Visit } from "../src/api/model";
import { drawnInFull, launch, newPage } from "./browser";

const SERVER = process.env["SERRATA_URL"]?.replace(/\/+$/, "") ?? "";
const ROUNDS = 7;

let browser: Browser;
beforeAll(async () => {
  if (SERVER === "") throw new Error("SERRATA_URL is not set: run `make bench`.");
  browser = await launch();
});
afterAll(() => browser.close());

function say(what: string, unit: string, budget: number, sign: "≤" | "≥", values: number[]): void {
  const sorted = [...values].sort((a, b) => a - b);
  const [low, middle, high] = [sorted[0], sorted[Math.floor(sorted.length / 2)], sorted.at(-1)];
  process.stdout.write(`figure ${JSON.stringify({ what, unit, budget, sign, low, middle, high })}\n`);
}

async function ask<T>(path: string): Promise<T> {
  return (await (await fetch(`${SERVER}/api/v1${path}`)).json()) as T;
}

/** Milliseconds from now until a selector's text matches, by the page's own clock. */
function until(page: Page, selector: string, pattern: string): Promise<number> {
  return page.evaluate(
    ([where, text]) =>
      new Promise<number>((done) => {
        const look = (): boolean => {
          const there = [...document.querySelectorAll(where)].some((one) => new RegExp(text, "i").test(one.textContent));
          if (there) done(Date.now());
          return there;
        };
        if (look()) return;
        const watch = new MutationObserver(() => {
          if (look()) watch.disconnect();
        });
        watch.observe(document, { childList: true, subtree: true, characterData: true });
      }),
    [selector, pattern] as const,
  );
}

test("script that the page loads", async () => {
  const folder = fileURLToPath(new URL("../dist/assets", import.meta.url));
  const scripts = (await readdir(folder)).filter((name) => name.endsWith(".js"));
  const bytes = await Promise.all(scripts.map(async (name) => gzipSync(await readFile(join(folder, name))).length));
  say("page script, gzip", "kB", 150, "≤", [bytes.reduce((a, b) => a + b, 0) / 1000]);
});

test("first useful paint", async () => {
  const times: number[] = [];
  const first = (await ask<Day>("/day")).visits[0];
  for (let i = 0; i < ROUNDS; i += 1) {
    const { page } = await newPage(browser, 1280);
    const began = Date.now();
    await page.goto(`${SERVER}/`, { waitUntil: "commit" });
    times.push((await until(page, "main", first?.patient_name.split(" ")[0] ?? "day")) - began);
    await page.context().close();
  }
  say("first useful paint: the day's list", "ms", 1000, "≤", times);
});

/** The same picture as another file: with a comment that no file had before. */
function asNew(jpeg: Buffer): Buffer {
  const text = Buffer.from(`figure ${randomUUID()}`);
  return Buffer.concat([jpeg.subarray(0, 2), Buffer.from([0xff, 0xfe, 0, text.length + 2]), text, jpeg.subarray(2)]);
}

test("a verdict on the screen after the server has it", async () => {
  const picture = await readFile(process.env["SERRATA_PICTURE"] ?? "");
  const times: number[] = [];
  for (let i = 0; i < ROUNDS; i += 1) {
    const answer = await fetch(`${SERVER}/api/v1/files?name=figure-${String(i)}.jpg`, {
      method: "POST", headers: { "content-type": "application/octet-stream" }, body: new Uint8Array(asNew(picture)),
    });
    const id = ((await answer.json()) as Received).frames[0] ?? 0;
    const { page } = await newPage(browser, 1280);
    await page.goto(`${SERVER}/frames/${String(id)}`, { waitUntil: "commit" });
    const shown = until(page, ".result", "usable|limited");
    let had = 0;
    while (had === 0) {
      if ((await ask<FrameAnswer>(`/frames/${String(id)}`)).brief.verdict !== null) had = Date.now();
    }
    times.push(Math.max(0, (await shown) - had));
    await page.context().close();
  }
  say("a new frame's verdict on the screen after the server has it", "ms", 300, "≤", times);
});

/**
 * Frames a second, and milliseconds of script a frame, while `act` runs once for each frame drawn. What the page itself does before a
 * frame is drawn counts: {@link counted} sums it.
 */
async function drawn(page: Page, frames: number, act: string): Promise<{ rate: number; script: number; longest: number }> {
  return page.evaluate(
    async ([many, body]) => {
      const one = new Function("i", body) as (i: number) => void;
      const own = window as unknown as { nextFrame?: typeof requestAnimationFrame; spent?: number };
      const next = own.nextFrame ?? requestAnimationFrame;
      const gaps: number[] = [];
      const spent: number[] = [];
      let last = performance.now();
      for (let i = 0; i < many; i += 1) {
        await new Promise((go) => next(go));
        const now = performance.now();
        gaps.push(now - last);
        last = now;
        own.spent = 0;
        one(i);
        // What the page hangs on a change runs before the next task; what it does before the frame is drawn, after it.
        await new Promise((go) => setTimeout(go));
        spent.push(own.spent);
      }
      const middle = (all: number[]): number => [...all].sort((a, b) => a - b)[Math.floor(all.length / 2)] ?? 0;
      return { rate: 1000 / middle(gaps.slice(2)), script: middle(spent), longest: Math.max(...gaps.slice(2)) };
    },
    [frames, act] as const,
  );
}

/** Sums the time that the page spends in what it hangs on frames, and in what events set off. */
async function counted(page: Page): Promise<void> {
  await page.addInitScript(() => {
    const own = window as unknown as { nextFrame: typeof requestAnimationFrame; spent: number };
    own.nextFrame = window.requestAnimationFrame.bind(window);
    own.spent = 0;
    window.requestAnimationFrame = (act) =>
      own.nextFrame((time) => {
        const began = performance.now();
        act(time);
        own.spent += performance.now() - began;
      });
    const dispatch = EventTarget.prototype.dispatchEvent;
    EventTarget.prototype.dispatchEvent = function (event) {
      const began = performance.now();
      const answer = dispatch.call(this, event);
      // What the page hangs on a change runs in the microtasks after the event.
      queueMicrotask(() => queueMicrotask(() => (own.spent += performance.now() - began)));
      return answer;
    };
  });
}

/** Drags a looked-at picture round in a loop, four steps nearer than the whole. */
const DRAG = `
  const sheet = document.querySelector('[role="application"]');
  const box = sheet.getBoundingClientRect();
  const at = { clientX: box.x + box.width / 2 + 80 * Math.sin(i / 9), clientY: box.y + box.height / 2 + 60 * Math.cos(i / 7), pointerId: 1, button: 0, bubbles: true };
  if (i === 0) { sheet.setPointerCapture = () => undefined; for (let k = 0; k < 4; k += 1) sheet.dispatchEvent(new WheelEvent("wheel", { ...at, deltaY: -1, cancelable: true })); sheet.dispatchEvent(new PointerEvent("pointerdown", at)); }
  sheet.dispatchEvent(new PointerEvent("pointermove", at));`;

test("looking around in a montage", async () => {
  const { visits } = await ask<Day>("/day");
  const visit = visits.filter((v) => v.frames > 1).sort((a, b) => b.frames - a.frames)[0]?.id ?? 1;
  const eye = (await ask<Visit>(`/visits/${String(visit)}`)).frames.find((f) => f.eye !== null && f.verdict === "usable")?.eye ?? "R";
  await fetch(`${SERVER}/api/v1/visits/${String(visit)}/montage/${eye}`, { method: "POST" });
  while ((await ask<{ state: string }>(`/visits/${String(visit)}/montage/${eye}`)).state === "making") await new Promise((r) => setTimeout(r, 300));
  const { page } = await newPage(browser, 1280, "dark", true);
  await counted(page);
  await page.goto(`${SERVER}/visits/${String(visit)}/montage/${eye}`);
  await drawnInFull(page);
  const { rate, script } = await drawn(page, 120, DRAG);
  say("frames a second while a montage is moved, software drawing, 1280 × 800", "1/s", 20, "≥", [rate]);
  say("script a frame while a montage is moved", "ms", 4, "≤", [script]);
  await page.context().close();
});

test("looking around in a 4k frame", async () => {
  const picture = await readFile(process.env["SERRATA_PICTURE_4K"] ?? "");
  const answer = await fetch(`${SERVER}/api/v1/files?name=figure-4k.jpg`, {
    method: "POST", headers: { "content-type": "application/octet-stream" }, body: new Uint8Array(asNew(picture)),
  });
  const id = ((await answer.json()) as Received).frames[0] ?? 0;
  let frame = await ask<FrameAnswer>(`/frames/${String(id)}`);
  while (frame.appraisal === null) frame = await ask<FrameAnswer>(`/frames/${String(id)}`);
  const { width, height } = frame.appraisal;
  for (const [name, lens] of [["as taken", null], ["drawn about a point", "True areas"]] as const) {
    const rates: number[] = [];
    const scripts: number[] = [];
    for (let round = 0; round < 3; round += 1) {
      const { page } = await newPage(browser, 1280, "dark", true);
      await counted(page);
      // A loose JPEG has no instrument: where its pixels lie is said for it.
      const geometry = { projection: "stereographic", size: [width, height], degrees_per_pixel: [0.066, 0.066], coefficients: [], end_deg: 179 };
      await page.route(`**/api/v1/frames/${String(id)}`, (route) => route.fulfill({ json: { ...frame, geometry } }));
      await page.goto(`${SERVER}/frames/${String(id)}`);
      await drawnInFull(page);
      if (lens !== null) {
        await page.getByRole("button", { name: "Light, shape, marks" }).click();
        await page.getByRole("button", { name: lens }).click();
      }
      await page.getByRole("button", { name: "Nearer" }).click();
      // The picture of 4k follows where it is looked at closely.
      await page.waitForResponse((r) => r.url().includes("longest=4096"), { timeout: 30_000 }).catch(() => undefined);
      await page.waitForTimeout(2500);
      const { rate, script } = await drawn(page, 120, DRAG);
      rates.push(rate);
      scripts.push(script);
      await page.context().close();
    }
    say(`frames a second while a frame of 4k is moved, ${name}, 1280 × 800`, "1/s", 20, "≥", rates);
    say(`script a frame while a frame of 4k is moved, ${name}`, "ms", 4, "≤", scripts);
  }
});

test("a thousand visits in a day, five hundred frames in a visit", async () => {
  const day = await ask<Day>("/day");
  const { page } = await newPage(browser, 1280);
  const many = Array.from({ length: 1000 }, (_, i) => ({ ...day.visits[i % day.visits.length], id: 10_000 + i }));
  await page.route("**/api/v1/day", (route) => route.fulfill({ json: { ...day, visits: many } }));
  const began = Date.now();
  await page.goto(`${SERVER}/`, { waitUntil: "commit" });
  say("1,000 visits in a day: until they are listed", "ms", 1000, "≤", [(await until(page, 'main a[href="/visits/10999"]', ".")) - began]);
  await page.waitForTimeout(1000);
  const scroll = "window.scrollTo(0, (i % 60) * 160);";
  say("frames a second while that day is scrolled", "1/s", 20, "≥", [(await drawn(page, 120, scroll)).rate]);
  const id = day.visits.find((v) => v.frames > 0)?.id ?? 1;
  const visit = await ask<Visit>(`/visits/${String(id)}`);
  const frames = Array.from({ length: 500 }, (_, i) => ({ ...visit.frames[i % visit.frames.length], id: 50_000 + i }));
  await page.route(`**/api/v1/visits/${String(id)}`, (route) => route.fulfill({ json: { ...visit, frames } }));
  const opened = Date.now();
  await page.goto(`${SERVER}/visits/${String(id)}`, { waitUntil: "commit" });
  say("500 frames in a visit: until they are listed", "ms", 1000, "≤", [(await until(page, 'main a[href="/frames/50499"]', ".")) - opened]);
  await page.waitForTimeout(1000);
  say("frames a second while that visit is scrolled", "1/s", 20, "≥", [(await drawn(page, 120, scroll)).rate]);
  await page.context().close();
});
