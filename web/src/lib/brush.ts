/** A brush over a picture, in the pixels of the full frame: strokes, and the part of the picture that is shown. */
import type { Point, RegionOutline } from "../api/model";

/** One stroke of a round brush; one point is a dab. */
export interface Stroke {
  add: boolean;
  radius: number;
  points: Point[];
}

/** A window on the picture: left, top, width, height in its pixels. */
export type Part = readonly [number, number, number, number];

/** Radii of the brush as shares of the longer side. */
export const RADII = [0.004, 0.01, 0.025] as const;

/** The whole picture, or a square about an outline with room to paint around it. */
export function partAbout(outline: RegionOutline | null, size: readonly [number, number]): Part {
  const points = (outline?.polygons ?? []).flat();
  if (points.length === 0) return [0, 0, size[0], size[1]];
  const [xs, ys] = [points.map((p) => p[0]), points.map((p) => p[1])];
  const [left, right, top, bottom] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const side = Math.max(3 * (right - left), 3 * (bottom - top), 0.15 * Math.max(...size));
  return within([(left + right) / 2 - side / 2, (top + bottom) / 2 - side / 2, side, side], size);
}

/** The part grown or shrunk about a point by a factor, kept within the picture. Example: factor 0.5 shows half as much, twice as large. */
export function scaled(part: Part, about: Point, factor: number, size: readonly [number, number]): Part {
  const least = 0.03 * Math.max(...size);
  const k = Math.max(factor, least / Math.min(part[2], part[3]));
  return within([about[0] - (about[0] - part[0]) * k, about[1] - (about[1] - part[1]) * k, part[2] * k, part[3] * k], size);
}

/** A part moved, and shrunk where it must be, so that it lies within the picture. */
function within(part: Part, size: readonly [number, number]): Part {
  const [w, h] = [Math.min(part[2], size[0]), Math.min(part[3], size[1])];
  return [Math.max(0, Math.min(part[0], size[0] - w)), Math.max(0, Math.min(part[1], size[1] - h)), w, h];
}

/** A point moved by steps, kept on the picture. */
export function moved(at: Point, dx: number, dy: number, size: readonly [number, number]): Point {
  return [Math.max(0, Math.min(size[0], at[0] + dx)), Math.max(0, Math.min(size[1], at[1] + dy))];
}

/** The same stroke with a further point, left out where it lies closer to the last than a fifth of the radius. */
export function further(stroke: Stroke, at: Point): Stroke {
  const last = stroke.points.at(-1);
  if (last !== undefined && Math.hypot(at[0] - last[0], at[1] - last[1]) < stroke.radius / 5) return stroke;
  return { ...stroke, points: [...stroke.points, at] };
}

/** SVG path data of a stroke; a dab is a line of no length, which a round cap makes a disc. */
export function strokePath(stroke: Stroke): string {
  const [first, ...rest] = stroke.points;
  if (first === undefined) return "";
  const to = (p: Point): string => `${p[0].toFixed(1)} ${p[1].toFixed(1)}`;
  return `M${to(first)}L${[...(rest.length === 0 ? [first] : rest)].map(to).join("L")}`;
}
