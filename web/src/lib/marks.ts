/** Which marks a chart shows, and where. */
import type { Chart, FrameBrief, Point } from "../api/model";
import { outlineCentre, outlineNamePlace, outlinePath, spread } from "./chart";
import { RESULTS, lowerFirst, MODALITIES, GAZES, resultShape, type Shape } from "./words";

export interface FrameMark {
  id: string;
  path: string;
  at: Point;
  shape: Shape | "waiting";
  /** What a screen reader says and the tip shows. */
  name: string;
}

export interface DueMark {
  view: string;
  path: string;
  label: string;
  at: Point;
}

/**
 * Marks of the frames that are placed on a chart, at least `apart` degrees from each other; frames without an outline
 * are not on it.
 */
export function frameMarks(chart: Chart, briefs: readonly FrameBrief[], apart: number): FrameMark[] {
  const known = new Map(briefs.map((brief) => [brief.id, brief]));
  const placed = chart.frames.flatMap((frame) => {
    const centre = outlineCentre(frame.outlines);
    return centre === null ? [] : [{ frame, centre }];
  });
  const at = spread(placed.map(({ centre }) => centre), apart);
  return placed.map(({ frame, centre }, i) => {
    const brief = known.get(frame.frame_id);
    const gaze = brief === undefined ? "" : `, ${GAZES[brief.gaze]}`;
    const result = frame.verdict === null ? "being checked" : RESULTS[frame.verdict];
    return {
      id: frame.frame_id,
      path: outlinePath(frame.outlines),
      at: at[i] ?? centre,
      shape: frame.verdict === null ? "waiting" : resultShape(frame.verdict),
      name: `Open frame: ${lowerFirst(MODALITIES[frame.modality])}${gaze}, ${result}`,
    };
  });
}

/** Outlines of what is still due; each keeps its own place, its name keeps off the others and off what is `taken`. */
export function dueMarks(chart: Chart, taken: readonly Point[], apart: number): DueMark[] {
  const placed = chart.due.flatMap((due) => {
    const at = outlineNamePlace(due.outlines);
    return at === null ? [] : [{ due, at }];
  });
  const at = spread([...taken, ...placed.map((one) => one.at)], apart, taken.length).slice(taken.length);
  return placed.map(({ due, at: own }, i) => ({
    view: due.view,
    path: outlinePath(due.outlines),
    label: due.label,
    at: at[i] ?? own,
  }));
}

/** The chart in a sentence, for those who do not see it. */
export function chartSentence(chart: Chart, frames: readonly FrameMark[]): string {
  const seen = frames.length === 0 ? "No frame is placed yet." : `Frames placed: ${String(frames.length)}.`;
  const due = chart.due.length === 0 ? "Nothing is due." : `Still due: ${chart.due.map((d) => d.label).join("; ")}.`;
  return `${seen} ${due}`;
}
