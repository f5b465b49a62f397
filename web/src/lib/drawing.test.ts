import { expect, test } from "vitest";
import type { DrawnMeasure, FrameGeometry } from "../api/model";
import { added, drawnLine, measureText } from "./drawing";

const measure: DrawnMeasure = {
  schema: "serrata.montage_measure/1", value: 3.206, interval: [3.02, 3.404], unit: "mm", degrees: 15.3, radius_mm: 12.25,
  radius_source: "population", uncalibrated: null, warnings: [],
};

test("a measure is never without its interval and its radius, and says why there is none", () => {
  expect(measureText(measure)).toBe("3.21 mm (3.02 to 3.40), 95 %; radius 12.25 mm, population");
  expect(measureText({ ...measure, value: 612.4, interval: [498, 731], unit: "mm²", radius_source: "axial_length" })).toBe(
    "612 mm² (498 to 731), 95 %; radius 12.25 mm, axial length",
  );
  expect(measureText({ ...measure, value: 57.31, interval: [56.2, 58.4], unit: "°", radius_mm: null, radius_source: null })).toBe("57.3° (56.2 to 58.4), 95 %");
  expect(measureText({ ...measure, value: null, interval: null, uncalibrated: "no projection known" })).toBe("No mm: no projection known.");
  expect(measureText({ ...measure, value: null, interval: null, unit: "°", uncalibrated: "no projection known" })).toBe("No angle: no projection known.");
});

test("a second touch on the same place adds nothing, and a whole corner begins anew", () => {
  expect(added([], [1, 1], 5, "length")).toEqual([[1, 1]]);
  expect(added([[1, 1]], [3, 2], 5, "area")).toEqual([[1, 1]]);
  expect(added([[1, 1]], [9, 2], 5, "area")).toEqual([[1, 1], [9, 2]]);
  expect(added([[1, 1], [9, 2], [20, 20]], [40, 40], 5, "angle")).toEqual([[40, 40]]);
});

test("lines go as they are measured: lengths on the sphere, outlines in the picture", () => {
  const g: FrameGeometry = { projection: "stereographic", size: [3600, 3000], degrees_per_pixel: [0.07, 0.07], coefficients: [], end_deg: 179 };
  const way = drawnLine([[600, 800], [3000, 800]], "length", g, g.size);
  expect(way.length).toBeGreaterThan(20);
  expect(Math.min(...way.map((p) => p[1]))).toBeLessThan(790);
  expect(drawnLine([[600, 800], [3000, 800]], "length", null, g.size)).toEqual([[600, 800], [3000, 800]]);
  const outline = drawnLine([[600, 800], [3000, 800], [3000, 2000]], "area", g, g.size);
  expect(outline.every((p) => p[1] >= 800)).toBe(true);
  expect(outline.at(-1)).toEqual([600, 800]);
});
