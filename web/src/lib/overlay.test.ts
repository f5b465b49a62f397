import { describe, expect, test } from "vitest";
import type { Finding } from "../api/model";
import { findingPath, labelPlace, ringsPath } from "./overlay";

const finding: Finding = {
  kind: "blink", score: 0.9, fraction: 0.1, rows: null, onset_ms: null, duration_ms: null, shift_px: null, shift_deg: null, side: null, polygons: [], holes: [], advice: null,
};

describe("findings over the picture", () => {
  test("outlines win over rows", () => {
    const path = findingPath({ ...finding, rows: [1, 2], polygons: [[[0, 0], [4, 0], [4, 4]]] }, 10, 10);
    expect(path).toBe("M0 0L4 0L4 4Z");
  });

  test("rows are a half-open band across the frame, cut at its edge", () => {
    expect(findingPath({ ...finding, rows: [402, 655] }, 3600, 3600)).toBe("M0 402H3600V655H0Z");
    expect(findingPath({ ...finding, rows: [90, 200] }, 100, 100)).toBe("M0 90H100V100H0Z");
    expect(findingPath({ ...finding, rows: [5, 5] }, 100, 100)).toBe("");
  });

  test("a fault of the whole picture has no place", () => {
    expect(findingPath(finding, 100, 100)).toBe("");
    expect(labelPlace(finding, 100, 100)).toBeNull();
  });

  test("holes are rings of the same path", () => {
    expect(ringsPath([[[0, 0], [9, 0], [9, 9]]], [[[2, 1], [3, 1], [3, 2]]]).match(/M/g)).toHaveLength(2);
  });

  test("names keep off the edge, so that none is cut", () => {
    expect(labelPlace({ ...finding, rows: [0, 2] }, 100, 100)).toEqual([50, 12]);
    expect(labelPlace({ ...finding, polygons: [[[98, 50], [100, 50], [100, 52]]] }, 100, 100)).toEqual([88, 51]);
  });
});
