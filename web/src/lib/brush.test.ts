import { describe, expect, test } from "vitest";
import type { Point } from "../api/model";
import { further, moved, partAbout, scaled, strokePath, type Stroke } from "./brush";

const SIZE: [number, number] = [4000, 3000];

describe("brush", () => {
  test("a part lies about its outline and within the picture", () => {
    const square: Point[] = [[100, 100], [500, 100], [500, 400], [100, 400]];
    expect(partAbout({ polygons: [square], holes: [] }, SIZE)).toEqual([0, 0, 1200, 1200]);
    expect(partAbout(null, SIZE)).toEqual([0, 0, 4000, 3000]);
  });

  test("nearer and farther keep the point under the brush and the picture's edges", () => {
    const near = scaled([0, 0, 4000, 3000], [2000, 1500], 0.5, SIZE);
    expect(near).toEqual([1000, 750, 2000, 1500]);
    expect(scaled(near, [2000, 1500], 2, SIZE)).toEqual([0, 0, 4000, 3000]);
    expect(scaled(near, [2000, 1500], 9, SIZE)).toEqual([0, 0, 4000, 3000]);
    // Not nearer than what an outline can be drawn in.
    expect(scaled(near, [2000, 1500], 1e-6, SIZE)[3]).toBeCloseTo(120);
  });

  test("a brush moved by key stays on the picture", () => {
    expect(moved([10, 10], -40, 5, SIZE)).toEqual([0, 15]);
    expect(moved([3990, 2990], 40, 40, SIZE)).toEqual([4000, 3000]);
  });

  test("a stroke keeps no points on top of one another, and a dab is a disc", () => {
    const dab: Stroke = { add: true, radius: 10, points: [[5, 5]] };
    expect(further(dab, [6, 5])).toBe(dab);
    expect(further(dab, [8, 5]).points).toEqual([[5, 5], [8, 5]]);
    expect(strokePath(dab)).toBe("M5.0 5.0L5.0 5.0");
    expect(strokePath(further(dab, [8, 5]))).toBe("M5.0 5.0L8.0 5.0");
    expect(strokePath({ ...dab, points: [] })).toBe("");
  });
});
