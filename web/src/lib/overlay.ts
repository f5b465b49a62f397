/** What is drawn over a picture, in the pixels of the full frame (x right, y down, edges at integers). */
import type { Appraisal, Finding, Point } from "../api/model";
import { t } from "../messages";
import { findingWord } from "./words";

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
export function findingRings(finding: Finding, width: number, height: number): Point[][] {
  if (finding.polygons.length > 0) return [...finding.polygons, ...finding.holes].filter((ring) => ring.length > 2);
  if (finding.rows === null) return [];
  const [from, to] = finding.rows.map((row) => Math.min(height, Math.max(0, row))) as [number, number];
  return to > from ? [[[0, from], [width, from], [width, to], [0, to]]] : [];
}

/** Something drawn over a picture, in its pixels. */
export interface Shape {
  key: string;
  kind: "retina" | "finding" | "anatomy";
  rings: Point[][];
  closed: boolean;
  near?: boolean;
  label?: { at: Point; text: string; small?: boolean };
}

/** What of an appraisal is drawn: weak findings only where they are pointed at. */
export function shapesOf(a: Appraisal, on: { retina: boolean; findings: boolean; anatomy: boolean; near: number | null }): Shape[] {
  const { width, height, disc, fovea, visible_retina: seen } = a;
  const out: Shape[] = [];
  if (on.retina) out.push({ key: "retina", kind: "retina", rings: [...seen.polygons, ...seen.holes], closed: true });
  a.findings.forEach((finding, index) => {
    const near = index === on.near;
    if (!near && !(on.findings && counts(a, finding.kind))) return;
    const at = labelPlace(finding, width, height);
    const shape: Shape = { key: `finding ${String(index)}`, kind: "finding", rings: findingRings(finding, width, height), closed: true, near };
    out.push(at === null ? shape : { ...shape, label: { at, text: findingWord(finding.kind) } });
  });
  if (on.anatomy && disc !== null) {
    const ring = Array.from({ length: 48 }, (_, i): Point => {
      const turn = (2 * Math.PI * i) / 48;
      return [disc.x + disc.radius * Math.cos(turn), disc.y + disc.radius * Math.sin(turn)];
    });
    out.push({ key: "disc", kind: "anatomy", rings: [ring], closed: true, label: { at: [disc.x, disc.y - 1.6 * disc.radius], text: t.disc, small: true } });
  }
  if (on.anatomy && fovea !== null) {
    const arm = Math.max(width, height) * 0.014;
    const arms: Point[][] = [[[fovea.x - arm, fovea.y], [fovea.x + arm, fovea.y]], [[fovea.x, fovea.y - arm], [fovea.x, fovea.y + arm]]];
    out.push({ key: "fovea", kind: "anatomy", rings: arms, closed: false, label: { at: [fovea.x, fovea.y - 2.3 * arm], text: t.fovea, small: true } });
  }
  return out;
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
