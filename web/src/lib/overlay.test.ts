import { describe, expect, test } from "vitest";
import { Clinic } from "../../mock/scenario";
import type { Finding } from "../api/model";
import { findingRings, labelPlace, ringsPath, shapesOf } from "./overlay";

const finding: Finding = {
  kind: "blink", score: 0.9, fraction: 0.1, rows: null, onset_ms: null, duration_ms: null, shift_px: null, shift_deg: null, side: null, polygons: [], holes: [], advice: null,
};

describe("findings over the picture", () => {
  test("outlines win over rows", () => {
    const outline: [number, number][] = [[0, 0], [4, 0], [4, 4]];
    expect(findingRings({ ...finding, rows: [1, 2], polygons: [outline] }, 10, 10)).toEqual([outline]);
  });

  test("rows are a half-open band across the frame, cut at its edge", () => {
    expect(findingRings({ ...finding, rows: [402, 655] }, 3600, 3600)).toEqual([[[0, 402], [3600, 402], [3600, 655], [0, 655]]]);
    expect(findingRings({ ...finding, rows: [90, 200] }, 100, 100)).toEqual([[[0, 90], [100, 90], [100, 100], [0, 100]]]);
    expect(findingRings({ ...finding, rows: [5, 5] }, 100, 100)).toEqual([]);
  });

  test("a fault of the whole picture has no place", () => {
    expect(findingRings(finding, 100, 100)).toEqual([]);
    expect(labelPlace(finding, 100, 100)).toBeNull();
  });

  test("what does not count is drawn only where it is pointed at", () => {
    const appraisal = new Clinic().frame(101)?.appraisal;
    if (appraisal == null) throw new Error("the invented frame was not checked");
    const all = { retina: true, findings: true, anatomy: true, near: null };
    const keys = (near: number | null): string[] => shapesOf(appraisal, { ...all, near }).map((s) => s.key);
    const weak = appraisal.findings.findIndex((f) => !appraisal.reasons.some((r) => r.finding === f.kind));
    expect(keys(null)).toContain("retina");
    expect(keys(null)).not.toContain(`finding ${String(weak)}`);
    expect(keys(weak)).toContain(`finding ${String(weak)}`);
    expect(shapesOf(appraisal, { retina: false, findings: false, anatomy: false, near: null })).toEqual([]);
  });

  test("holes are rings of the same path", () => {
    expect(ringsPath([[[0, 0], [9, 0], [9, 9]]], [[[2, 1], [3, 1], [3, 2]]]).match(/M/g)).toHaveLength(2);
  });

  test("names keep off the edge, so that none is cut", () => {
    expect(labelPlace({ ...finding, rows: [0, 2] }, 100, 100)).toEqual([50, 12]);
    expect(labelPlace({ ...finding, polygons: [[[98, 50], [100, 50], [100, 52]]] }, 100, 100)).toEqual([88, 51]);
  });
});
