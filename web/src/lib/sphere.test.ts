import fc from "fast-check";
import { readFileSync } from "node:fs";
import { expect, test } from "vitest";
import type { FrameGeometry, Point } from "../api/model";
import { angleOf, azimuthElevation, project, radiusOf, toDirection, toPixel, unproject, type Lens } from "./sphere";

interface Golden {
  pictures: FrameGeometry[];
  points: { picture: number; lens: Lens; azimuth: number; elevation: number; plane: Point; pixel: Point | null }[];
}
const golden = JSON.parse(readFileSync(new URL("golden.json", import.meta.url), "utf8")) as Golden;

test("a place about a point of the sphere is shown by the pixel that the engine names", () => {
  let shown = 0;
  for (const { picture, lens, azimuth, elevation, plane, pixel } of golden.points) {
    const g = golden.pictures[picture];
    if (g === undefined) throw new Error("the table names a picture that it does not have");
    const d = unproject({ lens, azimuth, elevation }, plane);
    const found = d === null ? null : toPixel(g, d);
    if (pixel === null) {
      expect(found, `${g.projection} ${String(plane)}`).toBeNull();
    } else {
      shown += 1;
      expect(found?.[0]).toBeCloseTo(pixel[0], 4);
      expect(found?.[1]).toBeCloseTo(pixel[1], 4);
    }
  }
  expect(shown).toBeGreaterThan(200);
});

const lens = fc.constantFrom<Lens>("stereographic", "equal_area", "equidistant");
const inside = fc.record({ azimuth: fc.double({ min: -90, max: 90, noNaN: true }), elevation: fc.double({ min: -85, max: 85, noNaN: true }) });

test("plane and sphere, picture and sphere come back", () => {
  fc.assert(
    fc.property(lens, inside, fc.double({ min: -1, max: 1, noNaN: true }), fc.double({ min: -1, max: 1, noNaN: true }), fc.nat(5), (kind, at, x, y, which) => {
      const about = { lens: kind, ...at };
      const d = unproject(about, [x, y]);
      if (d === null) throw new Error("a place near the middle is always drawn");
      const back = project(about, d);
      expect(back?.[0]).toBeCloseTo(x, 6);
      expect(back?.[1]).toBeCloseTo(y, 6);
      const g = golden.pictures[which];
      const pixel = g === undefined ? null : toPixel(g, d);
      if (g === undefined || pixel === null) return;
      const again = toDirection(g, pixel);
      if (again === null) return;
      for (const i of [0, 1, 2] as const) expect(again[i]).toBeCloseTo(d[i], g.projection === "orthographic" ? 3 : 5);
    }),
  );
});

test("the ends of projections are no numbers, and a bearing comes back", () => {
  expect(radiusOf("gnomonic", Math.PI / 2)).toBeNull();
  expect(radiusOf("orthographic", 2)).toBeNull();
  expect(angleOf("equal_area", 2.1)).toBeNull();
  expect(angleOf("radial", 9, [1, 0.1], 100)).toBeNull();
  expect(radiusOf("stereographic", Math.PI / 2)).toBeCloseTo(2, 9);
  const d = unproject({ lens: "equidistant", azimuth: 30, elevation: -12 }, [0, 0]);
  expect(azimuthElevation(d ?? [0, 0, 1]).map((v) => Math.round(v * 1e6) / 1e6)).toEqual([30, -12]);
});
