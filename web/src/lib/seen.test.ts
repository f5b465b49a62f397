import fc from "fast-check";
import { expect, test } from "vitest";
import type { FrameGeometry } from "../api/model";
import { centred, dense, dragged, drawnBy, fromScreen, greatCircle, scaleOf, screenPath, toScreen, WHOLE, zoomed, type Seen, type Sheet } from "./seen";
import type { Lens } from "./sphere";

const geometry: FrameGeometry = { projection: "stereographic", size: [3600, 3000], degrees_per_pixel: [0.07, 0.07], coefficients: [], end_deg: 179 };
const sheet: Sheet = { size: [3600, 3000], geometry, screen: [900, 700] };
const lenses = fc.constantFrom<Lens | null>(null, "stereographic", "equal_area", "equidistant");
const anything: fc.Arbitrary<Seen> = fc.record({
  lens: lenses, middle: fc.tuple(fc.integer({ min: 900, max: 2700 }), fc.integer({ min: 900, max: 2100 })),
  azimuth: fc.integer({ min: -50, max: 50 }), elevation: fc.integer({ min: -50, max: 50 }), zoom: fc.integer({ min: 2, max: 20 }),
});
const place = fc.tuple(fc.integer({ min: 100, max: 800 }), fc.integer({ min: 100, max: 600 }));

test("screen and picture come back, whatever is seen", () => {
  fc.assert(
    fc.property(anything, place, (seen, at) => {
      const p = fromScreen(seen, sheet, at);
      const back = p === null ? null : toScreen(seen, sheet, p);
      expect(back?.[0]).toBeCloseTo(at[0], 4);
      expect(back?.[1]).toBeCloseTo(at[1], 4);
    }),
  );
});

test("what is taken stays under the finger, nearer or dragged", () => {
  fc.assert(
    fc.property(anything, place, fc.tuple(fc.integer({ min: -60, max: 60 }), fc.integer({ min: -60, max: 60 })), (seen, at, by) => {
      fc.pre(seen.zoom > 3);
      const p = fromScreen(seen, sheet, at);
      const to: [number, number] = [at[0] + by[0], at[1] + by[1]];
      // Held at the rim it would lead the picture off the screen.
      const led = dragged(seen, sheet, at, to);
      const there = p === null ? null : toScreen(led, sheet, p);
      const free = seen.lens !== null || [0, 1].every((i) => Math.abs((led.middle[i] ?? 0) - (seen.middle[i] ?? 0) + (by[i] ?? 0) * scaleOf(seen, sheet)) < 1e-6);
      if (free) expect(Math.hypot((there?.[0] ?? 1e9) - to[0], (there?.[1] ?? 1e9) - to[1])).toBeLessThan(seen.lens === null ? 1e-6 : 12);
      if (seen.lens === null) return;
      const near = zoomed(seen, sheet, at, 1.5);
      const still = p === null ? null : toScreen(near, sheet, p);
      expect(Math.hypot((still?.[0] ?? 1e9) - at[0], (still?.[1] ?? 1e9) - at[1])).toBeLessThan(12);
    }),
  );
});

test("the whole picture is seen at first, and the middle stays when it is drawn in another way", () => {
  const whole = WHOLE(sheet.size);
  expect(toScreen(whole, sheet, [0, 0])?.map(Math.round)).toEqual([30, 0]);
  expect(zoomed(whole, sheet, [10, 10], 0.5).zoom).toBe(1);
  const near = zoomed(whole, sheet, [700, 200], 8);
  const middle = fromScreen(near, sheet, [450, 350]);
  const round = drawnBy(near, sheet, "equal_area");
  expect(fromScreen(round, sheet, [450, 350])?.map(Math.round)).toEqual(middle?.map(Math.round));
  const again = drawnBy(round, sheet, null);
  expect(again.middle.map(Math.round)).toEqual(near.middle.map(Math.round));
  expect(drawnBy(near, { ...sheet, geometry: null }, "equal_area")).toBe(near);
  const put = centred(round, sheet, [600, 300]);
  const wanted = fromScreen(round, sheet, [600, 300]);
  const got = fromScreen(put, sheet, [450, 350]);
  expect(Math.hypot((got?.[0] ?? 0) - (wanted?.[0] ?? 0), (got?.[1] ?? 0) - (wanted?.[1] ?? 0))).toBeLessThan(8);
});

test("true areas are true: a square of the sphere takes as much of the screen wherever it lies", () => {
  const size = (azimuth: number): number => {
    const seen: Seen = { ...WHOLE(sheet.size), lens: "equal_area", azimuth, elevation: 0 };
    const step = 20;
    // By the picture: its pixels shrink on the sphere with cos⁴(c/2) of the angle from its middle.
    const at = toScreen(seen, sheet, [2600, 1500]);
    const [b, c] = [toScreen(seen, sheet, [2600 + step, 1500]), toScreen(seen, sheet, [2600, 1500 + step])];
    if (at === null || b === null || c === null) throw new Error("not drawn");
    return Math.abs((b[0] - at[0]) * (c[1] - at[1]) - (b[1] - at[1]) * (c[0] - at[0]));
  };
  expect(size(60) / size(-20)).toBeCloseTo(1, 2);
});

test("lines bend with the sphere and break where nothing is drawn", () => {
  expect(dense([[0, 0], [10, 0]], false, 5)).toEqual([[0, 0], [5, 0], [10, 0]]);
  const way = greatCircle(geometry, [600, 800], [3000, 800]);
  // A great circle above the middle rises away from it between its ends.
  expect(Math.min(...way.map((p) => p[1]))).toBeLessThan(790);
  expect(greatCircle(null, [0, 0], [1, 1])).toEqual([[0, 0], [1, 1]]);
  const flat = screenPath(WHOLE(sheet.size), sheet, [[[0, 0], [3600, 0], [3600, 3000]]], true);
  expect(flat).toBe("M30.0 0.0L870.0 0.0L870.0 700.0Z");
  const ortho: Sheet = { ...sheet, geometry: { ...geometry, projection: "orthographic", end_deg: 90 } };
  const round: Seen = { ...WHOLE(sheet.size), lens: "equidistant" };
  const broken = screenPath(round, ortho, [[[0, 0], [1800, 1500]]], false);
  expect(broken.startsWith("M")).toBe(true);
});
