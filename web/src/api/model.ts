/**
 * The shapes of the API as the page uses them. All come from `types.ts`, which is made from the server's description;
 * here the words that the description writes as plain texts get their values, and keys that the server always sends
 * are no longer optional. A key that the description does not have, or has with another type, does not compile.
 */
import type { components } from "./types";

type Schemas = components["schemas"];

/** A schema with some of its keys narrowed. */
type Narrow<
  Name extends keyof Schemas,
  Keys extends { [Key in keyof Keys]: Key extends keyof Schemas[Name] ? Required<Schemas[Name]>[Key] : never },
> = Omit<Required<Schemas[Name]>, keyof Keys> & Keys;

export type Eye = "R" | "L";
export type Modality = "colour" | "faf" | "fa" | "icg" | "infrared" | "red" | "green";
export type Gaze =
  | "primary" | "up" | "down" | "right" | "left" | "up_right" | "up_left" | "down_right" | "down_left";
export type Verdict = "usable" | "limited" | "not_usable";
export type Next = "keep" | "try_again" | "stop";
export type ViewState =
  | "due" | "later" | "overdue" | "silent" | "not_wanted" | "met" | "met_with_reservations" | "not_obtainable" | "not_done";
export type Completeness = "not_yet" | "as_far_as_possible" | "complete";

/** `[x, y]`: pixels of the full frame (x right, y down), or degrees of the chart. */
export type Point = [number, number];

/**
 * `[eccentricity, meridian]` in degrees of eye angle; the meridian runs counter-clockwise from 3 o'clock as the
 * observer sees the fundus.
 */
export type RetinalPoint = [number, number];

export type DayVisit = Narrow<"VisitBrief", { state: "open" | "closed"; completeness: Completeness }>;
export type Alarm = Required<Schemas["AlarmLine"]>;
export type Day = Narrow<"Day", { visits: DayVisit[]; alarms: Alarm[] }>;

export type FrameBrief = Narrow<
  "FrameBrief",
  {
    eye: Eye | null;
    modality: Modality | null;
    gaze: Gaze;
    state: "waiting" | "checked" | "failed";
    verdict: Verdict | null;
    next: Next | null;
  }
>;

export type VisitView = Narrow<
  "ViewLine",
  { eye: Eye | null; modality: Modality; gaze: Gaze; rank: "must" | "should"; state: ViewState }
>;

export type ChartRing = Narrow<"ChartRing", { outline: RetinalPoint[] }>;
export type ChartFrame = Narrow<"ChartFrame", { modality: Modality; verdict: Verdict; outlines: RetinalPoint[][] }>;
export type ChartDue = Narrow<"ChartDue", { outlines: RetinalPoint[][] }>;
export type ChartLook = Required<Schemas["ChartLook"]>;
export type Chart = Narrow<"Chart", { eye: Eye; rings: ChartRing[]; frames: ChartFrame[]; last: ChartFrame[]; due: ChartDue[]; look: ChartLook | null }>;

/** What is known of an eye today, as a person noted it; a key that nobody noted is false or null. */
export interface EyeState {
  dilated: boolean | null;
  small_pupil: boolean;
  drops_or_gel: boolean;
  clouded_media: boolean;
  cornea: boolean;
  gas: boolean;
  oil: boolean;
  lens_implant: boolean;
  no_lens: boolean;
  lens_worn: boolean;
  measured_before_surgery: boolean;
  no_touch: boolean;
  red_eye: boolean;
  ptosis: boolean;
  nystagmus: boolean;
  no_fixation: boolean;
  /** Degrees. */
  gaze_range_deg: number | null;
  spare: boolean;
  light_sensitive: boolean;
  worked: string[];
}
/** The same of the person. */
export interface PersonState {
  child: boolean;
  infant: boolean;
  learning_disability: boolean;
  pain: boolean;
  photophobia: boolean;
  wheelchair: boolean;
  tremor: boolean;
  deaf: boolean;
  photosensitised: boolean;
  seizures: boolean;
  language: string | null;
  worked: string[];
}
export type Answered = Required<Schemas["Answered"]>;
export type FactLine = Required<Schemas["FactLine"]>;
export type Remark = Required<Schemas["Remark"]>;
export type Today = Omit<Narrow<"Today", { answers: Answered[]; remarks: Remark[]; after_needle: Remark[]; facts: FactLine[] }>, "right_eye" | "left_eye" | "person"> & {
  right_eye: EyeState;
  left_eye: EyeState;
  person: PersonState;
};
/** The record of an injection. Times in microseconds since 1970 UTC; nothing is known unless somebody wrote it. */
export interface Injection {
  drug: "fluorescein" | "icg";
  route: "vein" | "mouth";
  prescribed_by: string;
  given_by: string;
  site: string;
  flow_checked: boolean;
  /** As read from the vial in hand, mg per mL. */
  strength: number | null;
  lot: string;
  /** As printed, year and month, or with the day. */
  expiry: string;
  mg: number | null;
  rule: "adult" | "child" | null;
  second_person: string | null;
  seconds: number | null;
  start_us: number;
  start_error_us: number;
}

export type Visit = Omit<
  Narrow<
    "Visit",
    {
      state: "open" | "closed";
      complete: Narrow<"CompleteAnswer", { state: Completeness }>;
      views: VisitView[];
      frames: FrameBrief[];
      charts: Chart[];
    }
  >,
  "today"
> & { today: Today };

export type DyeClock = Narrow<"DyeClock", { modality: "fa" | "icg"; marked_by: "person" | "header" }>;
export type DyeDue = Narrow<
  "DyeDue",
  { eye: Eye | null; modality: "fa" | "icg"; state: "now" | "soon" | "later" | "missed" | "done" | "closed" | "silent" }
>;
export type DyeRun = Omit<
  Narrow<
    "DyeRun",
    {
      mode: "in_turn" | "fa" | "icg";
      clocks: DyeClock[];
      frames: DyeDue[];
      instrument_clocks: Required<Schemas["InstrumentClock"]>[];
    }
  >,
  "records"
> & { records: Injection[] };

/** A number of seconds with its 95 % interval. */
export interface DyeSpan {
  seconds: number;
  interval: [number, number];
}
/** Outlines and holes, pixels of the full frame. */
export interface RegionOutline {
  polygons: Point[][];
  holes: Point[][];
}
/** `serrata.dye/1`, as far as the page shows it. */
export interface DyeLine {
  schema: string;
  /** Id of the frame that regions are drawn in. */
  reference: string | null;
  arm_to_retina: DyeSpan | null;
  arteriovenous_passage: DyeSpan | null;
  mean_circulation: DyeSpan | null;
  problem: string | null;
  curves: { what: string; points: Point[] }[];
  index: { denominator: string; dark: number; late: number } | null;
}
export type ReadRegion = Omit<
  Narrow<"ReadRegion", { status: "proposed" | "accepted" | "corrected" | "refused" | "drawn"; area_interval_mm2: [number, number] | null }>,
  "proposed" | "outline"
> & { proposed: RegionOutline | null; outline: RegionOutline | null };
export type Reading = Omit<
  Narrow<"Reading", { state: "none" | "making" | "made" | "failed"; progress: [number, number] | null; size: [number, number] | null }>,
  "reading" | "regions"
> & { reading: DyeLine | null; regions: ReadRegion[] };

export type Finding = Narrow<
  "AppraisalFinding",
  { rows: [number, number] | null; side: "top" | "bottom" | "left" | "right" | null; polygons: Point[][]; holes: Point[][] }
>;

export type Appraisal = Narrow<
  "Appraisal",
  {
    modality: Modality;
    view: Narrow<"AppraisalView", { gaze: Gaze }>;
    eye: Narrow<"AppraisalEye", { labelled: Eye | null; inferred: Eye | null }>;
    verdict: Verdict;
    next: Next;
    gaze: Narrow<"AppraisalGaze", { seen: Gaze | null; from: "fovea" | "disc" }> | null;
    reasons: Required<Schemas["AppraisalReason"]>[];
    visible_retina: Narrow<
      "AppraisalRetina",
      { polygons: Point[][]; holes: Point[][]; area_interval_mm2: [number, number] | null }
    >;
    findings: Finding[];
  }
>;

/** What a person corrected, as a whole: null is a label as it came. */
export type Corrections = Narrow<"Corrections", { eye: Eye | null; modality: Modality | null; gaze: Gaze | null }>;

/** Where the pixels of a picture lie on the sphere. */
export type FrameGeometry = Narrow<
  "FrameGeometry",
  {
    projection: "stereographic" | "equidistant" | "equal_area" | "orthographic" | "gnomonic" | "radial";
    size: [number, number];
    degrees_per_pixel: [number, number];
  }
>;

export type FrameAnswer = Narrow<
  "Frame",
  { brief: FrameBrief; appraisal: Appraisal | null; geometry: FrameGeometry | null; corrections: Corrections }
>;

export type UnassignedFrame = FrameBrief & Required<Pick<Schemas["UnassignedFrame"], "why" | "patient_id" | "patient_name" | "birth_date" | "beside">>;
export type Unassigned = Narrow<"Unassigned", { frames: UnassignedFrame[] }>;
export type Received = Schemas["Received"];
export type NewVisit = Schemas["NewVisit"];

export type Delivery = Narrow<"DeliveryLine", { state: "waiting" | "stored" | "asked" | "done" | "failed" | "withdrawn" }>;
export type Sending = Narrow<
  "Sending",
  {
    destinations: Narrow<"DestinationLine", { proof: "commitment" | "query" }>[];
    deliveries: Delivery[];
    left_out: Required<Schemas["NotQueued"]>[];
  }
>;

export type MontagePicture = Narrow<"MontagePicture", { what: "montage" | "earlier" | "difference" }>;
export type Montage = Narrow<
  "Montage",
  {
    eye: Eye;
    state: "none" | "making" | "made" | "failed";
    progress: [number, number] | null;
    frames: Narrow<"MontageFrame", { residual_interval_deg: [number, number] | null }>[];
    pictures: MontagePicture[];
  }
>;
export type Drawn = Narrow<"Drawn", { points: Point[] }>;
export type DrawnMeasure = Narrow<"DrawnMeasure", { interval: [number, number] | null }>;
