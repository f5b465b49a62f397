/** What of a picture is seen on a screen: a part as it was taken, or a part of the sphere drawn about a point. */
import type { FrameGeometry, Point } from "../api/model";
import { azimuthElevation, project, toDirection, toPixel, unproject, type Direction, type Lens } from "./sphere";

/** A picture and the screen that it is seen on. */
export interface Sheet {
  /** Width and height in picture pixels. */
  size: readonly [number, number];
  /** Where its pixels lie on the sphere; null where nobody knows. */
  geometry: FrameGeometry | null;
  /** Width and height of the screen's part, CSS pixels. */
  screen: readonly [number, number];
}

export interface Seen {
  /** Null: as taken. */
  lens: Lens | null;
  /** The picture's pixel in the middle of the screen, where it is seen as taken. */
  middle: Point;
  /** The point of the sphere in the middle, degrees, where it is drawn about a point. */
  azimuth: number;
  elevation: number;
  /** How many times nearer than the whole. */
  zoom: number;
}

export const WHOLE = (size: readonly [number, number]): Seen => ({ lens: null, middle: [size[0] / 2, size[1] / 2], azimuth: 0, elevation: 0, zoom: 1 });

const NEAREST = 40;
const DEG = Math.PI / 180;
/** Beyond this the turn of the picture about the point grows odd. */
const STEEPEST = 85;

/** Picture pixels, or radii of the sphere, along one pixel of the screen. */
export function scaleOf(seen: Seen, { size, geometry, screen }: Sheet): number {
  const [w, h] = [Math.max(1, screen[0]), Math.max(1, screen[1])];
  const whole =
    seen.lens === null || geometry === null
      ? Math.max(size[0] / w, size[1] / h)
      : Math.max((size[0] * geometry.degrees_per_pixel[0] * DEG) / w, (size[1] * geometry.degrees_per_pixel[1] * DEG) / h);
  return whole / seen.zoom;
}

/** The place on the screen of a pixel of the picture; null where it is not drawn. */
export function toScreen(seen: Seen, sheet: Sheet, p: Point): Point | null {
  const k = scaleOf(seen, sheet);
  const [w, h] = sheet.screen;
  if (seen.lens === null || sheet.geometry === null) return [w / 2 + (p[0] - seen.middle[0]) / k, h / 2 + (p[1] - seen.middle[1]) / k];
  const d = toDirection(sheet.geometry, p);
  const at = d === null ? null : project({ ...seen, lens: seen.lens }, d);
  return at === null ? null : [w / 2 + at[0] / k, h / 2 - at[1] / k];
}

/** The pixel of the picture under a place of the screen; null where none is shown. */
export function fromScreen(seen: Seen, sheet: Sheet, at: Point): Point | null {
  const k = scaleOf(seen, sheet);
  const [w, h] = sheet.screen;
  if (seen.lens === null || sheet.geometry === null) return [seen.middle[0] + (at[0] - w / 2) * k, seen.middle[1] + (at[1] - h / 2) * k];
  const d = under(seen, sheet, at);
  return d === null ? null : toPixel(sheet.geometry, d);
}

function under(seen: Seen, sheet: Sheet, at: Point): Direction | null {
  const k = scaleOf(seen, sheet);
  if (seen.lens === null) return null;
  return unproject({ ...seen, lens: seen.lens }, [(at[0] - sheet.screen[0] / 2) * k, (sheet.screen[1] / 2 - at[1]) * k]);
}

function clamp(value: number, low: number, high: number): number {
  return Math.min(Math.max(value, low), Math.max(low, high));
}

/** The picture stays on the screen: its middle cannot be led away from it, and nothing outside is shown that need not be. */
function kept(seen: Seen, sheet: Sheet): Seen {
  if (seen.lens !== null) {
    const reach = sheet.geometry?.end_deg ?? 90;
    return { ...seen, azimuth: clamp(seen.azimuth, -reach, reach), elevation: clamp(seen.elevation, -STEEPEST, STEEPEST) };
  }
  const k = scaleOf(seen, sheet);
  const free = (size: number, screen: number, at: number): number =>
    screen * k >= size ? size / 2 : clamp(at, (screen * k) / 2, size - (screen * k) / 2);
  return { ...seen, middle: [free(sheet.size[0], sheet.screen[0], seen.middle[0]), free(sheet.size[1], sheet.screen[1], seen.middle[1])] };
}

/** What is seen after what lies at one place of the screen was dragged to another. */
export function dragged(seen: Seen, sheet: Sheet, from: Point, to: Point): Seen {
  if (seen.lens === null) {
    const k = scaleOf(seen, sheet);
    return kept({ ...seen, middle: [seen.middle[0] - (to[0] - from[0]) * k, seen.middle[1] - (to[1] - from[1]) * k] }, sheet);
  }
  const held = under(seen, sheet, from);
  if (held === null) return seen;
  // The turn that brings it there has no short formula with the elevation kept upwards: three steps are close to a pixel.
  let out = seen;
  for (let i = 0; i < 3; i += 1) {
    const there = under(out, sheet, to);
    if (there === null) return out;
    const [a, b] = [azimuthElevation(held), azimuthElevation(there)];
    out = kept({ ...out, azimuth: out.azimuth + around(a[0] - b[0]), elevation: out.elevation + a[1] - b[1] }, sheet);
  }
  return out;
}

function around(degrees: number): number {
  return ((((degrees + 180) % 360) + 360) % 360) - 180;
}

/** Nearer by a factor; what lies at a place of the screen stays there. */
export function zoomed(seen: Seen, sheet: Sheet, at: Point, factor: number): Seen {
  const next = { ...seen, zoom: clamp(seen.zoom * factor, 1, NEAREST) };
  if (next.lens === null) {
    const p = fromScreen(seen, sheet, at);
    const there = toScreen(next, sheet, p ?? seen.middle);
    return there === null ? kept(next, sheet) : dragged(next, sheet, there, at);
  }
  const d = under(seen, sheet, at);
  const there = d === null ? null : project({ ...next, lens: next.lens }, d);
  if (there === null) return next;
  const k = scaleOf(next, sheet);
  return dragged(next, sheet, [sheet.screen[0] / 2 + there[0] / k, sheet.screen[1] / 2 - there[1] / k], at);
}

/** The same point in the middle, drawn in another way. */
export function drawnBy(seen: Seen, sheet: Sheet, lens: Lens | null): Seen {
  const g = sheet.geometry;
  if (lens === seen.lens || g === null) return seen;
  if (seen.lens !== null && lens !== null) return { ...seen, lens };
  if (lens === null) {
    const p = fromScreen(seen, sheet, [sheet.screen[0] / 2, sheet.screen[1] / 2]);
    return kept({ ...seen, lens, middle: p ?? [g.size[0] / 2, g.size[1] / 2] }, sheet);
  }
  const d = toDirection(g, seen.middle);
  const [azimuth, elevation] = d === null ? [0, 0] : azimuthElevation(d);
  return kept({ ...seen, lens, azimuth, elevation }, sheet);
}

/** A place of the screen brought to the middle. */
export function centred(seen: Seen, sheet: Sheet, at: Point): Seen {
  return dragged(seen, sheet, at, [sheet.screen[0] / 2, sheet.screen[1] / 2]);
}

/** A ring or a path with points added where they lie far apart, so that it bends with what is drawn. */
export function dense(points: readonly Point[], closed: boolean, step: number): Point[] {
  const out: Point[] = [];
  points.forEach((a, i) => {
    out.push(a);
    const b = points[i + 1] ?? (closed ? points[0] : undefined);
    if (b === undefined) return;
    const pieces = Math.min(64, Math.ceil(Math.hypot(b[0] - a[0], b[1] - a[1]) / step));
    for (let j = 1; j < pieces; j += 1) out.push([a[0] + ((b[0] - a[0]) * j) / pieces, a[1] + ((b[1] - a[1]) * j) / pieces]);
  });
  return out;
}

/** The way between two pixels that is straight on the sphere: what a length measures. Straight in the picture where nobody knows the sphere. */
export function greatCircle(g: FrameGeometry | null, a: Point, b: Point, pieces = 24): Point[] {
  const [from, to] = g === null ? [null, null] : [toDirection(g, a), toDirection(g, b)];
  if (g === null || from === null || to === null) return [a, b];
  const angle = Math.acos(clamp(from[0] * to[0] + from[1] * to[1] + from[2] * to[2], -1, 1));
  if (angle < 1e-3) return [a, b];
  const out: Point[] = [a];
  for (let i = 1; i < pieces; i += 1) {
    const [p, q] = [Math.sin((angle * (pieces - i)) / pieces) / Math.sin(angle), Math.sin((angle * i) / pieces) / Math.sin(angle)];
    const at = toPixel(g, [p * from[0] + q * to[0], p * from[1] + q * to[1], p * from[2] + q * to[2]]);
    if (at !== null) out.push(at);
  }
  return [...out, b];
}

/** SVG path data of rings or of a path on the screen; what is not drawn interrupts it. */
export function screenPath(seen: Seen, sheet: Sheet, lines: readonly (readonly Point[])[], closed: boolean): string {
  let out = "";
  // Bent by the sphere, a side needs points between its ends.
  const step = seen.lens === null ? Infinity : Math.max(...sheet.size) / 60;
  for (const line of lines) {
    let pen = "M";
    let whole = true;
    for (const p of step === Infinity ? line : dense(line, closed, step)) {
      const at = toScreen(seen, sheet, p);
      if (at === null) {
        [pen, whole] = ["M", false];
      } else {
        out += `${pen}${at[0].toFixed(1)} ${at[1].toFixed(1)}`;
        pen = "L";
      }
    }
    if (closed && whole && line.length > 2) out += "Z";
  }
  return out;
}
