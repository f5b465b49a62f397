/** What is drawn over a picture, in the pixels of the full frame (x right, y down, edges at integers). */
import type { Appraisal, Finding, Point } from "../api/model";

/** Whether findings of a kind count against the result: only those that a reason names do; others are weak. */
export function counts(appraisal: Appraisal, kind: string): boolean {
  return appraisal.reasons.some((reason) => reason.finding === kind);
}

/** SVG path data of rings and their holes, to be filled by the even-odd rule. */
export function ringsPath(rings: readonly (readonly Point[])[], holes: readonly (readonly Point[])[] = []): string {
  return [...rings, ...holes]
    .filter((ring) => ring.length > 2)
    .map((ring) => `M${ring.map(([x, y]) => `${String(x)} ${String(y)}`).join("L")}Z`)
    .join("");
}

/**
 * The place of a finding: its outlines where it has them, else its band of rows across the frame, else nothing (a
 * fault of the whole picture, as blur, has no place).
 */
export function findingPath(finding: Finding, width: number, height: number): string {
  if (finding.polygons.length > 0) return ringsPath(finding.polygons, finding.holes);
  if (finding.rows === null) return "";
  const [from, to] = finding.rows.map((row) => Math.min(height, Math.max(0, row))) as [number, number];
  return to > from ? `M0 ${String(from)}H${String(width)}V${String(to)}H0Z` : "";
}

/** Where the name of a place stands: the middle of its box, kept off the frame's edge; null without a place. */
export function labelPlace(finding: Finding, width: number, height: number): Point | null {
  const points = finding.polygons.flat();
  if (points.length === 0) {
    if (finding.rows === null) return null;
    return [width / 2, inside((finding.rows[0] + finding.rows[1]) / 2, height)];
  }
  let [left, top, right, bottom] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const [x, y] of points) {
    [left, right] = [Math.min(left, x), Math.max(right, x)];
    [top, bottom] = [Math.min(top, y), Math.max(bottom, y)];
  }
  return [inside((left + right) / 2, width), inside((top + bottom) / 2, height)];
}

function inside(value: number, size: number): number {
  return Math.min(0.88 * size, Math.max(0.12 * size, value));
}
