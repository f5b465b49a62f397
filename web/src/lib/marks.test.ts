import { describe, expect, test } from "vitest";
import type { Chart, RetinalPoint } from "../api/model";
import { chartSentence, dueMarks, frameMarks } from "./marks";

const ring = (size: number): RetinalPoint[] => [0, 90, 180, 270].map((meridian): RetinalPoint => [size, meridian]);
const chart: Chart = {
  eye: "R",
  rings: [],
  frames: [
    { frame_id: "a", modality: "colour", verdict: "usable", calibrated: false, outlines: [ring(60)] },
    { frame_id: "b", modality: "faf", verdict: "not_usable", calibrated: false, outlines: [ring(50)] },
    { frame_id: "c", modality: "faf", verdict: null, calibrated: false, outlines: [] },
  ],
  due: [{ view: "v", label: "down", outlines: [ring(70)] }],
};

describe("chart marks", () => {
  test("two frames on one place get two marks that a finger can meet", () => {
    const [a, b, ...rest] = frameMarks(chart, [], 17);
    expect(rest).toEqual([]);
    expect(Math.hypot((a?.at[0] ?? 0) - (b?.at[0] ?? 0), (a?.at[1] ?? 0) - (b?.at[1] ?? 0))).toBeGreaterThan(16.9);
    expect([a?.shape, b?.shape]).toEqual(["filled", "open"]);
  });

  test("say kind and result to those who do not see the shape", () => {
    expect(frameMarks(chart, [], 17).map((m) => m.name)).toEqual([
      "Open frame: colour, usable", "Open frame: autofluorescence (FAF), not usable",
    ]);
  });

  test("a name of what is due never stands on a mark", () => {
    const [due] = dueMarks(chart, [[0, 40]], 12);
    expect(Math.hypot(due?.at[0] ?? 0, (due?.at[1] ?? 0) - 40)).toBeGreaterThan(11.9);
  });

  test("the chart is told in a sentence", () => {
    expect(chartSentence(chart, frameMarks(chart, [], 17))).toBe("Frames placed: 2. Still due: down.");
    expect(chartSentence({ ...chart, due: [] }, [])).toBe("No frame is placed yet. Nothing is due.");
  });
});
