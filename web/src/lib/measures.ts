/** The measures of a frame, as lines of name and value. */
import type { Appraisal } from "../api/model";
import { t } from "../messages";
import { percent } from "./words";

/** Six significant digits at most, for areas. */
function digits(value: number): string {
  return String(Number(value.toPrecision(4)));
}

function eyeSide({ eye }: Appraisal): string {
  if (eye.inferred === null) return t.measures.notSure;
  const sure = t.measures.sure(t.eyes[eye.inferred], percent(eye.probability));
  if (eye.agrees === null) return sure;
  return eye.agrees ? t.measures.agrees(sure) : t.measures.contradicts(sure);
}

function area({ visible_retina: seen }: Appraisal): string {
  if (seen.area_mm2 === null) return t.measures.notGiven(seen.uncalibrated ?? t.measures.notCalibrated);
  const interval = seen.area_interval_mm2;
  // No mm² stands without its interval and its radius.
  if (interval === null || seen.radius_mm === null) return t.measures.notGiven(t.measures.noInterval);
  return t.measures.area(digits(interval[0]), digits(interval[1]), digits(seen.area_mm2), seen.radius_mm.toFixed(2), seen.radius_source);
}

/** How far the gaze is turned, by disc and fovea. */
function turned({ gaze }: Appraisal): string | null {
  if (gaze === null) return null;
  const m = t.measures;
  const far = (value: number, more: (d: string) => string, less: (d: string) => string): string => (value >= 0 ? more : less)(Math.abs(value).toFixed(0));
  return m.turned(gaze.seen === null ? m.between : t.gazes[gaze.seen], far(gaze.up_deg, m.up, m.down), far(gaze.right_deg, m.toRight, m.toLeft), m.from[gaze.from]);
}

/** Lines for the screen. A measure without a value says why; none is left out in silence. */
export function measures(a: Appraisal): [string, string][] {
  const { names, ...m } = t.measures;
  const reach = a.reach;
  const far = (value: number): string => value.toFixed(1);
  return [
    [names.eye, eyeSide(a)],
    [names.judged, m.judgedAs(a.view.name, t.gazes[a.view.gaze])],
    ...(turned(a) === null ? [] : ([[names.gaze, turned(a) ?? ""]] as [string, string][])),
    [names.retina, m.share(percent(a.visible_retina.fraction))],
    [names.area, [area(a), ...(a.visible_retina.warnings ?? [])].join("; ")],
    [
      names.reach,
      reach === null ? m.notKnown : m.reach(far(reach.superior), far(reach.inferior), far(reach.nasal), far(reach.temporal)),
    ],
    [names.sharpness, `${a.sharpness.value.toFixed(2)} ${a.sharpness.unit}`],
    [names.picture, m.pixels(a.width, a.height)],
    [
      names.instrument,
      a.instrument ?? (a.visible_retina.area_mm2 == null ? m.noProfile : m.byFile),
    ],
    [names.method, m.revision(a.method.name, a.method.revision)],
  ];
}
