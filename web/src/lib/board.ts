/** The order of the day's board. */
import type { DayVisit } from "../api/model";

export interface Board {
  /** Open visits that sit in a chair, by chair. */
  seated: DayVisit[];
  /** Open visits without a chair: those with views due first, longest waiting first. */
  waiting: DayVisit[];
  /** Closed visits, latest first. */
  done: DayVisit[];
}

/** Sorts visits onto the board; each stands on it once. */
export function boardOf(visits: readonly DayVisit[]): Board {
  const open = visits.filter((v) => v.state === "open");
  const byTime = (a: DayVisit, b: DayVisit): number => a.opened_utc_us - b.opened_utc_us || compare(a.id, b.id);
  return {
    seated: open.filter((v) => v.chair !== null).sort((a, b) => compare(a.chair ?? "", b.chair ?? "") || byTime(a, b)),
    waiting: open
      .filter((v) => v.chair === null)
      .sort((a, b) => Number(a.completeness !== "not_yet") - Number(b.completeness !== "not_yet") || byTime(a, b)),
    done: visits.filter((v) => v.state === "closed").sort((a, b) => byTime(b, a)),
  };
}

function compare(a: string, b: string): number {
  return a.localeCompare(b, "en", { numeric: true });
}
