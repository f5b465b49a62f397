/** Points drawn on a picture, and what they measure, in words. */
import type { DrawnMeasure, FrameGeometry, Point } from "../api/model";
import { t } from "../messages";
import { dense, greatCircle } from "./seen";

/** What is drawn: a path, an outline that closes itself, or a corner. */
export type Tool = "length" | "area" | "angle";

/** Fewest points that can be measured. */
export const FEWEST: Record<Tool, number> = { length: 2, area: 3, angle: 3 };

/** What is drawn so far, pixels of the picture: lengths and angles go straight on the sphere, an outline straight in the picture, as they are measured. */
export function drawnLine(points: readonly Point[], tool: Tool, geometry: FrameGeometry | null, size: readonly [number, number]): Point[] {
  if (tool === "area") {
    const whole = points.length > 2;
    return [...dense(points, whole, Math.max(...size) / 60), ...(whole ? points.slice(0, 1) : [])];
  }
  return points.flatMap((p, i) => {
    const next = points[i + 1];
    return next === undefined ? [p] : greatCircle(geometry, p, next).slice(0, -1);
  });
}

function short(value: number): string {
  return value >= 100 ? value.toFixed(0) : value >= 10 ? value.toFixed(1) : value.toFixed(2);
}

/**
 * A measure as people read it, with its interval and the radius that it stands on. Example: "3.21 mm (3.02 to 3.40), 95 %; radius 12.25 mm,
 * population".
 */
export function measureText(m: DrawnMeasure): string {
  if (m.value === null || m.interval === null) return t.picture.noMeasure(m.unit === "°" ? t.picture.angleWord : m.unit, m.uncalibrated ?? t.picture.whyNotKnown);
  const radius = m.radius_mm === null ? "" : t.picture.radius(m.radius_mm.toFixed(2), (m.radius_source ?? "").replace("_", " "));
  const unit = m.unit === "°" ? "°" : ` ${m.unit}`;
  return t.picture.measured(`${short(m.value)}${unit}`, short(m.interval[0]), short(m.interval[1]), radius);
}

/** The same points with one more, left out where it lies on the last, as a double touch makes it; a corner that was whole begins anew. */
export function added(points: readonly Point[], at: Point, least: number, tool: Tool): Point[] {
  if (tool === "angle" && points.length === FEWEST.angle) return [at];
  const last = points.at(-1);
  if (last !== undefined && Math.hypot(at[0] - last[0], at[1] - last[1]) < least) return [...points];
  return [...points, at];
}
