/** Shapes of the HTTP API `/api/v1`, as the server sends them. */

export type Eye = "R" | "L";
export type Modality = "colour" | "faf" | "fa" | "icg" | "infrared" | "red" | "green";
export type Gaze =
  | "primary" | "up" | "down" | "right" | "left" | "up_right" | "up_left" | "down_right" | "down_left";
export type Verdict = "usable" | "limited" | "not_usable";
export type Next = "keep" | "try_again" | "stop";
export type ViewState = "due" | "met" | "met_with_reservations" | "not_obtainable" | "not_done";
export type Completeness = "not_yet" | "as_far_as_possible" | "complete";

export interface DayVisit {
  id: number;
  patient_name: string;
  patient_id: string;
  birth_date: string | null;
  order: string;
  chair: string | null;
  opened_utc_us: number;
  state: "open" | "closed";
  views_due: number;
  views_met: number;
  frames: number;
  frames_not_usable: number;
  next_step: string | null;
  completeness: Completeness;
}

export interface Day {
  schema: "serrata.day/1";
  now_utc_us: number;
  visits: DayVisit[];
  unassigned: number;
  waiting: number;
}

export interface FrameBrief {
  id: number;
  visit_id: number | null;
  name: string;
  eye: Eye | null;
  modality: Modality | null;
  gaze: Gaze;
  acquired_utc_us: number | null;
  received_utc_us: number;
  state: "waiting" | "checked" | "failed";
  verdict: Verdict | null;
  next: Next | null;
  leading: string | null;
  set_aside: string | null;
}

export interface VisitView {
  name: string;
  eye: Eye | null;
  modality: Modality;
  gaze: Gaze;
  rank: "must" | "should";
  state: ViewState;
  frames: number[];
}

/** `[eccentricity, meridian]` in degrees of eye angle; meridian counter-clockwise from 3 o'clock as the observer sees the fundus. */
export type RetinalPoint = [number, number];

export interface ChartRing {
  name: string;
  degrees: number;
}

export interface ChartFrame {
  frame_id: number;
  modality: Modality;
  verdict: Verdict;
  calibrated: boolean;
  outlines: RetinalPoint[][];
}

export interface ChartDue {
  view: string;
  label: string;
  outlines: RetinalPoint[][];
}

export interface Chart {
  eye: Eye;
  rings: ChartRing[];
  frames: ChartFrame[];
  due: ChartDue[];
}

export interface Visit {
  schema: "serrata.visit/1";
  id: number;
  patient_name: string;
  patient_id: string;
  birth_date: string | null;
  order: string;
  chair: string | null;
  opened_utc_us: number;
  state: "open" | "closed";
  next_step: string | null;
  complete: { state: Completeness; sentence: string };
  views: VisitView[];
  frames: FrameBrief[];
  charts: Chart[];
  cautions: string[];
}

export type Point = [number, number];

export interface Finding {
  kind: string;
  score: number;
  fraction: number;
  rows: [number, number] | null;
  onset_ms: number | null;
  duration_ms: number | null;
  side: "top" | "bottom" | "left" | "right" | null;
  polygons: Point[][];
  holes: Point[][];
  advice: string | null;
}

export interface Appraisal {
  schema: "serrata.appraisal/1";
  path: string;
  frame: number;
  sha256: string;
  width: number;
  height: number;
  modality: Modality;
  instrument: string | null;
  method: { name: string; revision: number };
  view: { name: string; gaze: Gaze };
  eye: { labelled: Eye | null; inferred: Eye | null; probability: number; agrees: boolean | null };
  verdict: Verdict;
  next: Next;
  reasons: { rule: string; finding: string | null; must: boolean; text: string }[];
  advice: string[];
  visible_retina: {
    fraction: number;
    fraction_of_picture: number;
    polygons: Point[][];
    holes: Point[][];
    area_mm2: number | null;
    area_interval_mm2: [number, number] | null;
    radius_mm: number | null;
    radius_source: string | null;
    uncalibrated: string | null;
  };
  findings: Finding[];
  disc: { x: number; y: number; radius: number; probability: number } | null;
  fovea: { x: number; y: number; probability: number } | null;
  reach: { superior: number; inferior: number; nasal: number; temporal: number } | null;
  sharpness: { value: number; unit: string };
}

export interface FrameAnswer {
  schema: "serrata.frame/1";
  brief: FrameBrief;
  patient_name: string | null;
  error: { message: string; remedy: string } | null;
  appraisal: Appraisal | null;
  picture: string;
  corrections: Corrections;
}

/** What a person corrected, as a whole: null is a label as it came. */
export interface Corrections {
  eye: Eye | null;
  modality: Modality | null;
  gaze: Gaze | null;
}

export interface Received {
  frames: number[];
  /** Whether the same bytes were here before. */
  duplicate: boolean;
}

export interface NewVisit {
  patient_id: string;
  patient_name: string;
  /** As YYYY-MM-DD. */
  birth_date: string | null;
  protocol: string;
  chair: string | null;
}

export interface UnassignedFrame extends FrameBrief {
  why: string;
  patient_id: string | null;
}

export interface Unassigned {
  schema: "serrata.unassigned/1";
  frames: UnassignedFrame[];
}

export interface ErrorLine {
  schema: "serrata.error/1";
  path: string;
  code: string;
  message: string;
  remedy: string;
}
