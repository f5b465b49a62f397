/** The measures of a frame, as lines of name and value. */
import type { Appraisal } from "../api/model";
import { EYES, GAZES, percent } from "./words";

/** Six significant digits at most, for areas. */
function digits(value: number): string {
  return String(Number(value.toPrecision(4)));
}

function eyeSide({ eye }: Appraisal): string {
  if (eye.inferred === null) return "not sure";
  const sure = `${EYES[eye.inferred]}, ${percent(eye.probability)} sure`;
  if (eye.agrees === null) return sure;
  return eye.agrees ? `${sure}; agrees with the label` : `${sure}; the label says otherwise`;
}

function area({ visible_retina: seen }: Appraisal): string {
  if (seen.area_mm2 === null) return `not given: ${seen.uncalibrated ?? "not calibrated"}`;
  const interval = seen.area_interval_mm2;
  // No mm² stands without its interval and its radius.
  if (interval === null || seen.radius_mm === null) return "not given: without interval or radius";
  const radius = `on R = ${seen.radius_mm.toFixed(2)} mm${seen.radius_source === null ? "" : ` (${seen.radius_source})`}`;
  return `${digits(interval[0])} to ${digits(interval[1])} mm² (95 %); on the sphere ${digits(seen.area_mm2)} mm², ${radius}`;
}

/** How far the gaze is turned, by disc and fovea. */
function turned({ gaze }: Appraisal): string | null {
  if (gaze === null) return null;
  const side = (value: number, more: string, less: string): string => `${Math.abs(value).toFixed(0)}° ${value >= 0 ? more : less}`;
  const far = `${side(gaze.up_deg, "up", "down")}, ${side(gaze.right_deg, "to the patient's right", "to the patient's left")}`;
  return `${gaze.seen === null ? "between straight ahead and turned" : GAZES[gaze.seen]} (${far}, by the ${gaze.from})`;
}

/** Lines for the screen. A measure without a value says why; none is left out in silence. */
export function measures(a: Appraisal): [string, string][] {
  const reach = a.reach;
  const far = (value: number): string => value.toFixed(1);
  return [
    ["Eye by anatomy", eyeSide(a)],
    ["Judged as", `${a.view.name}, ${GAZES[a.view.gaze]}`],
    ...(turned(a) === null ? [] : ([["Gaze by anatomy", turned(a) ?? ""]] as [string, string][])),
    ["Visible retina", `${percent(a.visible_retina.fraction)} of the field`],
    ["Area", [area(a), ...(a.visible_retina.warnings ?? [])].join("; ")],
    [
      "Reach",
      reach === null
        ? "not known"
        : `up ${far(reach.superior)}, down ${far(reach.inferior)}, nasal ${far(reach.nasal)}, temporal ${far(reach.temporal)} disc diameters`,
    ],
    ["Sharpness", `${a.sharpness.value.toFixed(2)} ${a.sharpness.unit}`],
    ["Picture", `${String(a.width)} × ${String(a.height)} pixels`],
    [
      "Instrument",
      a.instrument ?? (a.visible_retina.area_mm2 == null ? "no profile: uncalibrated" : "no profile; projection told by the file"),
    ],
    ["Method", `${a.method.name}, revision ${String(a.method.revision)}`],
  ];
}
