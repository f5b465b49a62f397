/** The order of the day's board. */
import type { DayVisit } from "../api/model";

export interface Board {
  /** Open visits that sit in a chair, by chair. */
  seated: DayVisit[];
  /** Open visits without a chair: those with views due first, longest waiting first. */
  waiting: DayVisit[];
}

/** Sorts open visits onto the board; each stands on it once. */
export function boardOf(open: readonly DayVisit[]): Board {
  const byTime = (a: DayVisit, b: DayVisit): number => a.opened_utc_us - b.opened_utc_us || a.id - b.id;
  return {
    seated: open.filter((v) => v.chair !== null).sort((a, b) => compare(a.chair ?? "", b.chair ?? "") || byTime(a, b)),
    waiting: open
      .filter((v) => v.chair === null)
      .sort((a, b) => Number(a.completeness !== "not_yet") - Number(b.completeness !== "not_yet") || byTime(a, b)),
  };
}

function compare(a: string, b: string): number {
  return a.localeCompare(b, "en", { numeric: true });
}
