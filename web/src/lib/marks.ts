/** Which marks a chart shows, and where. */
import type { Chart, ChartDue, FrameBrief, Gaze, Modality, Point, VisitView } from "../api/model";
import { t } from "../messages";
import { outlineCentre, outlineNamePlace, outlinePath, spread } from "./chart";
import { resultShape, shortLine, type Shape } from "./words";

export interface FrameMark {
  id: number;
  path: string;
  /** Where its mark stands, or null where it has none. */
  at: Point | null;
  shape: Shape;
  /** The frame in words. */
  name: string;
}

export interface DueMark {
  path: string;
  label: string;
  at: Point;
}

/** Most marks on one chart: more would hide the retina that they lie on. */
export const MOST_MARKS = 8;

/**
 * Marks of the frames that are placed on a chart, at least `apart` degrees from each other; frames without an outline
 * are not on it. Where there are too many, the best of each view keeps its mark, then the latest; the others keep their
 * outline (and their line in the list of frames).
 */
export function frameMarks(
  chart: Chart, briefs: readonly FrameBrief[], views: readonly VisitView[], apart: number,
): FrameMark[] {
  const known = new Map(briefs.map((brief) => [brief.id, brief]));
  const best = new Set(views.flatMap((view) => view.frames.slice(0, 1)));
  const when = (id: number): number => known.get(id)?.acquired_utc_us ?? known.get(id)?.received_utc_us ?? 0;
  const placed = chart.frames.flatMap((frame) => {
    const centre = outlineCentre(frame.outlines);
    return centre === null ? [] : [{ frame, id: frame.frame_id, centre }];
  });
  const marked = [...placed]
    .sort((a, b) => Number(best.has(b.id)) - Number(best.has(a.id)) || when(b.id) - when(a.id))
    .slice(0, MOST_MARKS);
  const places = spread(marked.map(({ centre }) => centre), apart);
  const at = new Map(marked.map(({ id }, i) => [id, places[i] ?? null]));
  return placed.map(({ frame, id }) => {
    const brief = known.get(id);
    return {
      id,
      path: outlinePath(frame.outlines),
      at: at.get(id) ?? null,
      shape: resultShape(frame.verdict),
      name: t.chart.frame(t.modalitiesWithin[frame.modality], brief === undefined ? null : t.gazes[brief.gaze], t.results[frame.verdict]),
    };
  });
}

/**
 * Outlines of what is still due. Views of one gaze share their outline and are named together, in short where `views`
 * knows them. Each outline keeps its place; its name keeps off the others and off what is `taken`.
 */
export function dueMarks(chart: Chart, views: readonly VisitView[], taken: readonly Point[], apart: number): DueMark[] {
  const known = new Map(views.map((view) => [view.name, view]));
  const groups = new Map<string, { outlines: ChartDue["outlines"]; kinds: Modality[]; gaze: Gaze | null; labels: string[] }>();
  for (const due of chart.due) {
    const view = known.get(due.view);
    const path = outlinePath(due.outlines);
    const group = groups.get(path) ?? { outlines: due.outlines, kinds: [], gaze: view?.gaze ?? null, labels: [] };
    if (view !== undefined && view.gaze === group.gaze) group.kinds.push(view.modality);
    else group.labels.push(due.label);
    groups.set(path, group);
  }
  const placed = [...groups].flatMap(([path, group]) => {
    const at = outlineNamePlace(group.outlines);
    const short = group.gaze === null || group.kinds.length === 0 ? [] : [shortLine(group.kinds, group.gaze)];
    return at === null ? [] : [{ path, at, label: [...short, ...group.labels].join("; ") }];
  });
  const at = spread([...taken, ...placed.map((one) => one.at)], apart, taken.length).slice(taken.length);
  return placed.map((one, i) => ({ ...one, at: at[i] ?? one.at }));
}

/** The chart in a sentence, for those who do not see it. */
export function chartSentence(chart: Chart, frames: readonly FrameMark[]): string {
  const seen = frames.length === 0 ? t.chart.nonePlaced : t.chart.placed(frames.length);
  const due = chart.due.length === 0 ? t.chart.nothingDue : t.chart.stillDue(chart.due.map((d) => d.label));
  return `${seen} ${due}`;
}
