import { expect, test } from "vitest";
import type { DrawnMeasure } from "../api/model";
import { added, drawnPath, measureText } from "./drawing";

const MEASURE: DrawnMeasure = {
  schema: "serrata.montage_measure/1", value: 3.2061, interval: [3.02, 3.404], unit: "mm", degrees: 15, radius_mm: 12.25, radius_source: "population",
  uncalibrated: null, warnings: [],
};

test("a measure stands with its interval and its radius, or says why there is none", () => {
  expect(measureText(MEASURE)).toBe("3.21 mm (3.02 to 3.40), 95 %; radius 12.25 mm, population");
  expect(measureText({ ...MEASURE, value: 123.4, interval: [99.5, 141], unit: "mm²", radius_source: "axial_length" })).toBe(
    "123 mm² (99.5 to 141), 95 %; radius 12.25 mm, axial length",
  );
  expect(measureText({ ...MEASURE, value: null, interval: null, uncalibrated: "no projection known" })).toBe("No mm: no projection known.");
});

test("an outline closes itself, a path does not, and a double touch is one point", () => {
  expect(drawnPath([[1, 2], [3, 4], [5, 6]], "area")).toBe("M1.0 2.0L3.0 4.0L5.0 6.0Z");
  expect(drawnPath([[1, 2], [3, 4], [5, 6]], "length")).toBe("M1.0 2.0L3.0 4.0L5.0 6.0");
  expect(drawnPath([], "area")).toBe("");
  expect(added([[1, 1]], [1.5, 1], 2)).toEqual([[1, 1]]);
  expect(added([[1, 1]], [9, 1], 2)).toEqual([[1, 1], [9, 1]]);
});
