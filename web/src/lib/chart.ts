/**
 * Geometry of the retinal chart: polar, azimuthal, equidistant. The fovea is in the middle and the radius is the
 * eye angle in degrees. Points are `[eccentricity, meridian]` in degrees of the retinal frame: the meridian runs
 * counter-clockwise from 3 o'clock as the observer sees the fundus. Chart points are `[x, y]` in degrees, x right,
 * y DOWN as in SVG.
 */
import type { ChartRing, Eye, Point, RetinalPoint } from "../api/model";
import { t } from "../messages";

const RAD = Math.PI / 180;

/** Retina to chart. Example: 40° towards 12 o'clock (meridian 90°) is `[0, -40]`. */
export function toChart([eccentricity, meridian]: RetinalPoint): Point {
  return [eccentricity * Math.cos(meridian * RAD), -eccentricity * Math.sin(meridian * RAD)];
}

/** Chart to retina; the meridian is in 0..360, and 0 at the fovea. */
export function toRetina([x, y]: Point): RetinalPoint {
  const eccentricity = Math.hypot(x, y);
  const meridian = eccentricity === 0 ? 0 : Math.atan2(-y, x) / RAD;
  return [eccentricity, meridian < 0 ? meridian + 360 : meridian];
}

/** The meridian of a clock hour as the observer sees the fundus. Example: 12 is 90°, 3 is 0°. */
export function clockMeridian(hour: number): number {
  return (((90 - 30 * hour) % 360) + 360) % 360;
}

type Vector = [number, number, number];

function toVector([eccentricity, meridian]: RetinalPoint): Vector {
  const s = Math.sin(eccentricity * RAD);
  return [s * Math.cos(meridian * RAD), s * Math.sin(meridian * RAD), Math.cos(eccentricity * RAD)];
}

function fromVector([x, y, z]: Vector): RetinalPoint {
  const meridian = Math.atan2(y, x) / RAD;
  return [Math.atan2(Math.hypot(x, y), z) / RAD, meridian < 0 ? meridian + 360 : meridian];
}

/** Angle between two points of the retina in degrees, by the atan2 form (exact for small and large angles). */
export function angleBetween(a: RetinalPoint, b: RetinalPoint): number {
  const [p, q] = [toVector(a), toVector(b)];
  const cross = [p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]] as const;
  return Math.atan2(Math.hypot(...cross), p[0] * q[0] + p[1] * q[1] + p[2] * q[2]) / RAD;
}

/**
 * A ring with points added along great circles, so that no side is longer than `maxStep` degrees: sides that are
 * straight on the sphere are then drawn with their true bend. The given points stay, in order.
 */
export function densify(ring: readonly RetinalPoint[], maxStep = 4): RetinalPoint[] {
  const out: RetinalPoint[] = [];
  ring.forEach((from, i) => {
    out.push(from);
    const to = ring[(i + 1) % ring.length];
    if (to === undefined) return;
    const angle = angleBetween(from, to);
    const steps = Math.ceil(angle / maxStep);
    // Opposite points have no single great circle between them; leave that side as it is.
    if (steps < 2 || angle > 179.9) return;
    const [p, q, sin] = [toVector(from), toVector(to), Math.sin(angle * RAD)];
    for (let k = 1; k < steps; k += 1) {
      const t = k / steps;
      const [a, b] = [Math.sin((1 - t) * angle * RAD) / sin, Math.sin(t * angle * RAD) / sin];
      out.push(fromVector([a * p[0] + b * q[0], a * p[1] + b * q[1], a * p[2] + b * q[2]]));
    }
  });
  return out;
}

function short(n: number): string {
  return String(Math.round(n * 100) / 100 + 0);
}

/** SVG path data of outlines (outer rings and holes alike, to be filled by the even-odd rule). */
export function outlinePath(outlines: readonly (readonly RetinalPoint[])[]): string {
  return outlines
    .filter((ring) => ring.length > 2)
    .map((ring) => `M${densify(ring).map((p) => toChart(p).map(short).join(" ")).join("L")}Z`)
    .join("");
}

/** Whether outlines (outer rings and holes alike) hold a place of the chart, by the even-odd rule. */
export function holds(outlines: readonly (readonly RetinalPoint[])[], [x, y]: Point): boolean {
  let inside = false;
  for (const outline of outlines) {
    const ring = densify(outline).map(toChart);
    ring.forEach((a, i) => {
      const b = ring[(i + 1) % ring.length] ?? a;
      if (a[1] > y !== b[1] > y && x < a[0] + ((y - a[1]) / (b[1] - a[1])) * (b[0] - a[0])) inside = !inside;
    });
  }
  return inside;
}

/** Signed area of a chart polygon by the shoelace sum, in square degrees of the drawing. */
export function chartArea(ring: readonly Point[]): number {
  let sum = 0;
  ring.forEach((a, i) => {
    const b = ring[(i + 1) % ring.length];
    if (b !== undefined) sum += a[0] * b[1] - b[0] * a[1];
  });
  return sum / 2;
}

/** The centre of area of the largest outline on the chart, or null where there is none. */
export function outlineCentre(outlines: readonly (readonly RetinalPoint[])[]): Point | null {
  let best: { area: number; centre: Point } | null = null;
  for (const outline of outlines) {
    const ring = densify(outline).map(toChart);
    const area = chartArea(ring);
    if (ring.length < 3 || Math.abs(area) < 1e-9) continue;
    if (best !== null && Math.abs(area) <= best.area) continue;
    let [x, y] = [0, 0];
    ring.forEach((a, i) => {
      const b = ring[(i + 1) % ring.length] ?? a;
      const cross = a[0] * b[1] - b[0] * a[1];
      x += (a[0] + b[0]) * cross;
      y += (a[1] + b[1]) * cross;
    });
    best = { area: Math.abs(area), centre: [x / (6 * area), y / (6 * area)] };
  }
  return best?.centre ?? null;
}

/**
 * Where the name of an outline stands: towards its far end, so that names of neighbours part; below the fovea for an
 * outline around it. Null without an outline.
 */
export function outlineNamePlace(outlines: readonly (readonly RetinalPoint[])[]): Point | null {
  const centre = outlineCentre(outlines);
  if (centre === null) return null;
  const eccentricity = Math.hypot(...centre);
  const [ux, uy] = eccentricity < 12 ? [0, 1] : [centre[0] / eccentricity, centre[1] / eccentricity];
  const reach = Math.max(...outlines.flat().map((p) => {
    const [x, y] = toChart(p);
    return (x - centre[0]) * ux + (y - centre[1]) * uy;
  }));
  return [centre[0] + ux * reach * 0.62, centre[1] + uy * reach * 0.62];
}

/**
 * Moves marks apart so that each can be touched: no two end nearer than `distance` where `rounds` suffice. Marks that
 * stand alone stay where they are, and so do the first `fixed`. Deterministic: equal marks part along fixed directions.
 */
export function spread(marks: readonly Point[], distance: number, fixed = 0, rounds = 200): Point[] {
  const out = marks.map(([x, y]): Point => [x, y]);
  for (let round = 0; round < rounds; round += 1) {
    let moved = false;
    out.forEach((a, i) => {
      out.slice(i + 1).forEach((b, k) => {
        const other = i + 1 + k;
        if (other < fixed) return;
        const gap = Math.hypot(b[0] - a[0], b[1] - a[1]);
        if (gap >= distance - 1e-6) return;
        const turn = (i * 2 + k) * 2.399963; // the golden angle, so that no two pairs part along one line
        const [ux, uy] = gap > 1e-6 ? [(b[0] - a[0]) / gap, (b[1] - a[1]) / gap] : [Math.cos(turn), Math.sin(turn)];
        const held = i < fixed;
        const push = (distance - gap) / (held ? 1 : 2) + 1e-3;
        if (!held) {
          a[0] -= ux * push;
          a[1] -= uy * push;
        }
        b[0] += ux * push;
        b[1] += uy * push;
        moved = true;
      });
    });
    if (!moved) break;
  }
  return out;
}

/**
 * Where the optic disc usually is, for orientation on an empty chart, as a circle in degrees. Its centre is that of
 * `RetinalPoint::mean_disc` in the eye crate: 22.26° from the fovea (4.76 mm, Jonas et al., PLoS One 2015 e0138701, on
 * R = 12.25 mm), 5.5964° above the horizontal (Rohrschneider, IOVS 2004;45:3257). 1.85 mm wide (mean of 1.75 and
 * 1.95 mm, Optom Vis Sci 1992;69:369-77). Nasal is on the chart's right in a right eye.
 */
export function usualDisc(eye: Eye): { centre: Point; radius: number } {
  const rise = 5.5964;
  return {
    centre: toChart([4.76 / 12.25 / RAD, eye === "R" ? rise : 180 - rise]),
    radius: 1.85 / 2 / 12.25 / RAD,
  };
}

/** What lies on the chart's left and right: nasal is on the right in a right eye. */
export function sides(eye: Eye): { left: string; right: string } {
  return eye === "R" ? { left: t.chart.temporal, right: t.chart.nasal } : { left: t.chart.nasal, right: t.chart.temporal };
}

/** A landmark's outline, or its circle where the server sends none, as path data. */
export function ringPath({ degrees, outline }: ChartRing): string {
  return outlinePath([outline.length > 2 ? outline : Array.from({ length: 72 }, (_, i): RetinalPoint => [degrees, 5 * i])]);
}

/** How far out a landmark lies on a meridian, in degrees. */
export function ringAt({ degrees, outline }: ChartRing, meridian: number): number {
  const off = (p: RetinalPoint): number => Math.abs(((p[1] - meridian + 540) % 360) - 180);
  return outline.reduce<RetinalPoint>((best, p) => (off(p) < off(best) ? p : best), outline[0] ?? [degrees, meridian])[0];
}

/** The mark of a proposed gaze: an arrow from the fovea's cross to the point, in chart degrees; straight ahead none. */
export function lookPath([x, y]: Point, unit: number): string {
  const far = Math.hypot(x, y);
  if (far < 12 * unit) return "";
  const [ux, uy] = [x / far, y / far];
  const barb = (side: 1 | -1): string => {
    const [bx, by] = [x - (13 * ux + side * 8 * -uy) * unit, y - (13 * uy + side * 8 * ux) * unit];
    return `${short(bx)} ${short(by)}`;
  };
  return `M${short(8 * unit * ux)} ${short(8 * unit * uy)}L${short(x)} ${short(y)}M${barb(1)}L${short(x)} ${short(y)}L${barb(-1)}`;
}
