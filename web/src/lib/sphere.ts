/**
 * The sphere of the eye: where a picture's pixels lie on it, and how a part of it is drawn about any point. The same
 * formulas as in `crates/eye` (Snyder, Map Projections: A Working Manual, USGS PP 1395, 1987), held against its table of points.
 *
 * View frame: unit sphere, +z at the picture's middle, +x right, +y up. Angles are eye angles, radians inside.
 */
import type { FrameGeometry, Point } from "../api/model";

/** A direction on the unit sphere. */
export type Direction = readonly [number, number, number];

/** How angles from the middle become distances from it. */
export type Projection = FrameGeometry["projection"];

/** Ways to draw a part of the sphere about a point. */
export type Lens = "stereographic" | "equal_area" | "equidistant";

const DEG = Math.PI / 180;

/** Distance from the middle in radii for an angle in radians; null where the projection shows nothing. Example: stereographic, 90° → 2. */
export function radiusOf(kind: Projection, angle: number, coefficients: readonly number[] = [], endDeg = 180): number | null {
  if (!(angle <= endDeg * DEG + 1e-9)) return null;
  switch (kind) {
    case "stereographic":
      return 2 * Math.tan(angle / 2);
    case "equidistant":
      return angle;
    case "equal_area":
      return 2 * Math.sin(angle / 2);
    case "orthographic":
      return angle <= Math.PI / 2 + 1e-9 ? Math.sin(angle) : null;
    case "gnomonic":
      return angle < Math.PI / 2 ? Math.tan(angle) : null;
    case "radial":
      return coefficients.reduceRight((sum, k) => (sum + k) * angle, 0);
  }
}

/** Angle in radians for a distance in radii: the inverse. Example: equal-area, 1.414 → 90°. */
export function angleOf(kind: Projection, radius: number, coefficients: readonly number[] = [], endDeg = 180): number | null {
  switch (kind) {
    case "stereographic":
      return 2 * Math.atan(radius / 2);
    case "equidistant":
      return radius <= Math.PI ? radius : null;
    case "equal_area":
      return radius <= 2 ? 2 * Math.asin(radius / 2) : null;
    case "orthographic":
      return radius <= 1 ? Math.asin(radius) : null;
    case "gnomonic":
      return Math.atan(radius);
    case "radial": {
      // It grows all the way, so halving finds it.
      let [low, high] = [0, endDeg * DEG];
      if (radius > (radiusOf(kind, high, coefficients, endDeg) ?? 0)) return null;
      for (let i = 0; i < 50; i += 1) {
        const middle = (low + high) / 2;
        if ((radiusOf(kind, middle, coefficients, endDeg) ?? 0) < radius) low = middle;
        else high = middle;
      }
      return (low + high) / 2;
    }
  }
}

/** The direction that a pixel shows; null outside of the sphere's image. */
export function toDirection(g: FrameGeometry, [px, py]: Point): Direction | null {
  const [x, y] = [(px - g.size[0] / 2) * g.degrees_per_pixel[0] * DEG, (g.size[1] / 2 - py) * g.degrees_per_pixel[1] * DEG];
  const r = Math.hypot(x, y);
  const angle = angleOf(g.projection, r, g.coefficients, g.end_deg);
  return angle === null ? null : onSphere(x, y, r, angle);
}

/** The pixel that shows a direction; null where none does. */
export function toPixel(g: FrameGeometry, d: Direction): Point | null {
  const s = Math.hypot(d[0], d[1]);
  const r = radiusOf(g.projection, Math.atan2(s, d[2]), g.coefficients, g.end_deg);
  if (r === null) return null;
  const k = s === 0 ? 1 : r / s;
  return [g.size[0] / 2 + (k * d[0]) / DEG / g.degrees_per_pixel[0], g.size[1] / 2 - (k * d[1]) / DEG / g.degrees_per_pixel[1]];
}

function onSphere(x: number, y: number, r: number, angle: number): Direction {
  const k = r === 0 ? 0 : Math.sin(angle) / r;
  return [k * x, k * y, Math.cos(angle)];
}

/** A part of the sphere drawn about a point: azimuth to the right and elevation upwards of +z, degrees. */
export interface About {
  lens: Lens;
  azimuth: number;
  elevation: number;
}

/** Rows of the rotation into the frame whose +z is the point looked at, with growing elevation up. */
export function turnTo({ azimuth, elevation }: About): [Direction, Direction, Direction] {
  const [sl, cl] = [Math.sin(azimuth * DEG), Math.cos(azimuth * DEG)];
  const [sp, cp] = [Math.sin(elevation * DEG), Math.cos(elevation * DEG)];
  return [
    [cl, 0, -sl],
    [-sp * sl, cp, -sp * cl],
    [cp * sl, sp, cp * cl],
  ];
}

const dot = (a: Direction, b: Direction): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

/** Where a direction is drawn, in radii from the middle, y up; null where it is not. */
export function project(about: About, d: Direction): Point | null {
  const [x, y, z] = turnTo(about).map((row) => dot(row, d)) as [number, number, number];
  const s = Math.hypot(x, y);
  // The opposite point has no one place in any of them.
  if (z < -0.9999) return null;
  const r = radiusOf(about.lens, Math.atan2(s, z));
  if (r === null) return null;
  const k = s === 0 ? 1 : r / s;
  return [k * x, k * y];
}

/** The direction that is drawn at a place in radii from the middle; null where none is. */
export function unproject(about: About, [x, y]: Point): Direction | null {
  const r = Math.hypot(x, y);
  const angle = angleOf(about.lens, r);
  if (angle === null) return null;
  const v = onSphere(x, y, r, angle);
  const [a, b, c] = turnTo(about);
  return [0, 1, 2].map((i) => (a[i] ?? 0) * v[0] + (b[i] ?? 0) * v[1] + (c[i] ?? 0) * v[2]) as unknown as Direction;
}

/** Azimuth and elevation of a direction, degrees. */
export function azimuthElevation(d: Direction): [number, number] {
  return [Math.atan2(d[0], d[2]) / DEG, Math.asin(Math.max(-1, Math.min(1, d[1]))) / DEG];
}
