/** Views and charts in the order of the screen. */
import type { Chart, Eye, VisitView } from "../api/model";
import { viewLine } from "./words";

const EARLIER: Record<VisitView["state"], number> = {
  due: 0,
  overdue: 0,
  later: 0,
  silent: 0,
  met_with_reservations: 1,
  met: 2,
  not_obtainable: 3,
  not_done: 3,
  not_wanted: 3,
};

/** Views in order of rank: musts before shoulds; within a rank what is due comes first, else the protocol's order. */
export function byRank(views: readonly VisitView[]): VisitView[] {
  return [...views].sort(
    (a, b) => Number(a.rank === "should") - Number(b.rank === "should") || EARLIER[a.state] - EARLIER[b.state],
  );
}

/**
 * The view that the next step has taken, or null where it has none. The server's sentence begins with the view's own line; after a colon
 * it says why that view cannot be taken any more.
 */
export function nextView(views: readonly VisitView[], step: string | null): VisitView | null {
  const named = views.filter((v) => {
    const line = viewLine(v.eye, v.modality, v.gaze);
    return step?.startsWith(line) === true && !step.startsWith(`${line}:`) && EARLIER[v.state] === 0;
  });
  // The longest line that fits: "looking up" also begins "looking up and to the patient's right".
  return named.sort((a, b) => viewLine(b.eye, b.modality, b.gaze).length - viewLine(a.eye, a.modality, a.gaze).length)[0] ?? null;
}

/**
 * Both charts, the right eye first: it is on the page's left, as one faces the patient. A chart that the server did
 * not send is drawn empty, with the rings of the other one.
 */
export function chartPair(charts: readonly Chart[]): Chart[] {
  const rings = charts[0]?.rings ?? [];
  return (["R", "L"] satisfies Eye[]).map(
    (eye) => charts.find((chart) => chart.eye === eye) ?? { eye, rings, frames: [], last: [], due: [], look: null },
  );
}
