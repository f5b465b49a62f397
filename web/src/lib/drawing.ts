/** Points drawn on a picture, and what they measure, in words. */
import type { DrawnMeasure, Point } from "../api/model";

/** What is drawn: a path, or an outline that closes itself. */
export type Tool = "length" | "area";

/** Fewest points that can be measured. */
export const FEWEST: Record<Tool, number> = { length: 2, area: 3 };

/** SVG path data of what is drawn so far. */
export function drawnPath(points: readonly Point[], tool: Tool): string {
  if (points.length === 0) return "";
  const line = points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L");
  return `M${line}${tool === "area" && points.length > 2 ? "Z" : ""}`;
}

function short(value: number): string {
  return value >= 100 ? value.toFixed(0) : value >= 10 ? value.toFixed(1) : value.toFixed(2);
}

/**
 * A measure as people read it, with its interval and the radius that it stands on. Example: "3.21 mm (3.02 to 3.40), 95 %; radius 12.25 mm,
 * population".
 */
export function measureText(m: DrawnMeasure): string {
  if (m.value === null || m.interval === null) return `No mm: ${m.uncalibrated ?? "not known why"}.`;
  const radius = m.radius_mm === null ? "" : `; radius ${m.radius_mm.toFixed(2)} mm, ${(m.radius_source ?? "").replace("_", " ")}`;
  return `${short(m.value)} ${m.unit} (${short(m.interval[0])} to ${short(m.interval[1])}), 95 %${radius}`;
}

/** The same points without one that lies on the last, as a double touch makes them. */
export function added(points: readonly Point[], at: Point, least: number): Point[] {
  const last = points.at(-1);
  if (last !== undefined && Math.hypot(at[0] - last[0], at[1] - last[1]) < least) return [...points];
  return [...points, at];
}
