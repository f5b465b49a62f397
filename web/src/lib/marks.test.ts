import { describe, expect, test } from "vitest";
import type { Chart, ChartFrame, RetinalPoint, VisitView } from "../api/model";
import { chartSentence, dueMarks, frameMarks, MOST_MARKS } from "./marks";

const ring = (size: number): RetinalPoint[] => [0, 90, 180, 270].map((meridian): RetinalPoint => [size, meridian]);
const chart: Chart = {
  eye: "R",
  rings: [],
  last: [],
  frames: [
    { frame_id: 1, modality: "colour", verdict: "usable", calibrated: false, outlines: [ring(60)] },
    { frame_id: 2, modality: "faf", verdict: "not_usable", calibrated: false, outlines: [ring(50)] },
    { frame_id: 3, modality: "faf", verdict: "usable", calibrated: false, outlines: [] },
  ],
  due: [{ view: "v", label: "down", outlines: [ring(70)] }],
  look: null,
};

describe("chart marks", () => {
  test("two frames on one place get two marks that a finger can meet", () => {
    const [a, b, ...rest] = frameMarks(chart, [], [], 17);
    expect(rest).toEqual([]);
    expect(Math.hypot((a?.at?.[0] ?? 0) - (b?.at?.[0] ?? 0), (a?.at?.[1] ?? 0) - (b?.at?.[1] ?? 0))).toBeGreaterThan(16.9);
    expect([a?.shape, b?.shape]).toEqual(["filled", "open"]);
  });

  test("say kind and result to those who do not see the shape", () => {
    expect(frameMarks(chart, [], [], 17).map((m) => m.name)).toEqual([
      "colour, usable", "autofluorescence (FAF), not usable",
    ]);
  });

  test("of many frames the best of each view keeps its mark, and all keep their outline", () => {
    const frames = Array.from({ length: 30 }, (_, i) => ({ ...(chart.frames[0] as ChartFrame), frame_id: i }));
    const view: VisitView = { name: "v", eye: "R", modality: "colour", gaze: "primary", rank: "must", state: "met", frames: [17, 3], why: [], tries: 2, last_frame: null };
    const marks = frameMarks({ ...chart, frames }, [], [view], 17);
    expect(marks).toHaveLength(30);
    expect(marks.filter((m) => m.at !== null)).toHaveLength(MOST_MARKS);
    expect(marks.find((m) => m.id === 17)?.at).not.toBeNull();
  });

  test("a name of what is due never stands on a mark", () => {
    const [due] = dueMarks(chart, [], [[0, 40]], 12);
    expect(Math.hypot(due?.at[0] ?? 0, (due?.at[1] ?? 0) - 40)).toBeGreaterThan(11.9);
  });

  test("views of one gaze are one outline with one short name; an unknown view keeps its own", () => {
    const view: VisitView = { name: "v", eye: "R", modality: "colour", gaze: "primary", rank: "must", state: "due", frames: [], why: [], tries: 0, last_frame: null };
    const due = ["v", "w", "x"].map((name) => ({ view: name, label: `${name} in full`, outlines: [ring(75)] }));
    const marks = dueMarks({ ...chart, due }, [view, { ...view, name: "w", modality: "faf" }], [], 12);
    expect(marks.map((m) => m.label)).toEqual(["ahead: colour, FAF; x in full"]);
  });

  test("the chart is told in a sentence", () => {
    expect(chartSentence(chart, frameMarks(chart, [], [], 17))).toBe("Frames placed: 2. Still due: down.");
    expect(chartSentence({ ...chart, last: [], due: [], look: null }, [])).toBe("No frame is placed yet. Nothing is due.");
  });
});
