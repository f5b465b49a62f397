/** The graphics card's program against the engine's table of points: the pixel that it shows is the one that Rust names. */
import { readFile } from "node:fs/promises";
import { fileURLToPath } from "node:url";
import { build } from "vite";
import { afterAll, beforeAll, expect, test } from "vitest";
import type { Browser } from "playwright-core";
import type { FrameGeometry, Point } from "../src/api/model";
import type { Lens } from "../src/lib/sphere";
import { launch, newPage } from "./browser";

interface Golden {
  pictures: FrameGeometry[];
  points: { picture: number; lens: Lens; azimuth: number; elevation: number; plane: Point; pixel: Point | null }[];
}

/** A screen that holds nearly all of the table's places at a scale finer than the picture's. */
const SCREEN: [number, number] = [2200, 1700];

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

test("what the shader draws at each of the table's places is the pixel named there", async () => {
  const golden = JSON.parse(await readFile(new URL("../src/lib/golden.json", import.meta.url), "utf8")) as Golden;
  // The page's own modules, as one script.
  const made = await build({
    configFile: false, logLevel: "error",
    build: { write: false, minify: false, lib: { entry: fileURLToPath(new URL("../src/lib/glass.ts", import.meta.url)), formats: ["iife"], name: "page" } },
  });
  const [output] = Array.isArray(made) ? made : [made];
  if (output === undefined || !("output" in output)) throw new Error("the program was not built");
  const { page, troubles } = await newPage(browser, 1280);
  await page.evaluate(`${output.output[0].code}\nwindow.page = page;`);
  const results = await page.evaluate(
    async ({ pictures, points, screen }) => {
      const { Glass } = (window as unknown as { page: typeof import("../src/lib/glass") }).page;
      const canvas = document.createElement("canvas");
      [canvas.width, canvas.height] = screen;
      const glass = Glass.on(canvas);
      if (glass === null) throw new Error("no WebGL 2 here");
      const [w, h] = pictures[0]?.size ?? [0, 0];
      // Each pixel says where it is.
      const coded = new ImageData(w, h);
      for (let y = 0; y < h; y += 1) for (let x = 0; x < w; x += 1) coded.data.set([x & 255, (x >> 8) | ((y >> 8) << 4), y & 255, 255], 4 * (y * w + x));
      glass.take(0, await createImageBitmap(coded, { colorSpaceConversion: "none", premultiplyAlpha: "none" }));
      const gl = canvas.getContext("webgl2");
      const out: ({ found: [number, number] | null } | null)[] = [];
      let drawn = "";
      for (const { picture, lens, azimuth, elevation, plane } of points) {
        const geometry = pictures[picture];
        if (geometry === undefined || gl === null) throw new Error("the table names a picture that it does not have");
        const sheet = { size: geometry.size, geometry, screen };
        const seen = { lens, middle: [0, 0] as [number, number], azimuth, elevation, zoom: 1 };
        const whole = Math.max((w * geometry.degrees_per_pixel[0]) / screen[0], (h * geometry.degrees_per_pixel[1]) / screen[1]) * (Math.PI / 180);
        seen.zoom = whole / 0.001;
        const key = [picture, lens, azimuth, elevation].join();
        if (key !== drawn) glass.draw({ seen, sheet, tones: { channel: "all", window: 1, level: 0.5, inverted: false }, edge: 1 });
        drawn = key;
        const [x, y] = [Math.floor(screen[0] / 2 + plane[0] / 0.001), Math.floor(screen[1] / 2 - plane[1] / 0.001)];
        if (x < 0 || y < 0 || x >= screen[0] || y >= screen[1]) {
          out.push(null);
          continue;
        }
        const value = new Uint8Array(4);
        gl.readPixels(x, screen[1] - 1 - y, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, value);
        const [r = 0, g = 0, b = 0] = value;
        out.push({ found: r + g + b === 0 ? null : [r + 256 * (g & 15), b + 256 * (g >> 4)] });
      }
      return out;
    },
    { ...golden, screen: SCREEN },
  );
  let held = 0;
  golden.points.forEach((point, i) => {
    const result = results[i] ?? null;
    if (result === null) return;
    const size = golden.pictures[point.picture]?.size ?? [0, 0];
    const { pixel } = point;
    const within = pixel !== null && pixel[0] > 2 && pixel[1] > 2 && pixel[0] < size[0] - 2 && pixel[1] < size[1] - 2;
    const name = `${golden.pictures[point.picture]?.projection ?? "?"} ${point.lens} ${String(point.azimuth)} ${String(point.elevation)} ${String(point.plane)}`;
    if (!within) {
      if (pixel === null || pixel.some((v, k) => v < -2 || v > (size[k] ?? 0) + 2)) expect(result.found, name).toBeNull();
      return;
    }
    // Where a byte turns over, neighbours mix into a value of neither.
    if (pixel.some((v) => v % 256 < 4 || v % 256 > 252)) return;
    held += 1;
    expect(Math.abs((result.found?.[0] ?? -99) + 0.5 - pixel[0]), name).toBeLessThan(2);
    expect(Math.abs((result.found?.[1] ?? -99) + 0.5 - pixel[1]), name).toBeLessThan(2);
  });
  expect(held).toBeGreaterThan(150);
  expect(troubles).toEqual([]);
  await page.context().close();
});
