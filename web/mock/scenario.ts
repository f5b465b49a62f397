/** An invented clinic day. Names, numbers and pictures are made up, and look it. */
import type {
  Appraisal, Chart, Corrections, Day, DayVisit, Delivery, DyeRun, Eye, Finding, FrameAnswer, FrameBrief, Gaze, Modality, Montage, MontagePicture, NewVisit, Point, Reading, RetinalPoint, Sending,
  Unassigned, UnassignedFrame, Verdict, Visit, VisitView,
} from "../src/api/model";
import { resultShape, viewLine, findingWord } from "../src/lib/words";
import { en } from "../src/messages/en";
import { Facts } from "./facts";

export const START = Date.UTC(2026, 10, 25, 9, 0, 0) * 1000;
const MINUTE = 60_000_000;
const RINGS = [{ name: "arcades", degrees: 32.2, outline: [] }, { name: "equator", degrees: 67.6, outline: [] }, { name: "ora", degrees: 108.9, outline: [] }];

/** A retinal outline: an oval round a centre, given in degrees on the chart, with a gentle wave. */
function oval(cx: number, cy: number, rx: number, ry: number, wave = 0): RetinalPoint[] {
  return Array.from({ length: 48 }, (_, i): RetinalPoint => {
    const t = (i / 48) * 2 * Math.PI;
    const k = 1 + wave * Math.sin(5 * t);
    const [x, y] = [cx + rx * k * Math.cos(t), cy + ry * k * Math.sin(t)];
    return [Math.hypot(x, y), (Math.atan2(y, x) * 180) / Math.PI];
  });
}

const LOOK: Partial<Record<Gaze, Point>> = { primary: [0, 0], up: [0, 42], down: [0, -42], left: [-40, 0], right: [40, 0] };

function outlineOf(gaze: Gaze, verdict: Verdict | null): RetinalPoint[] {
  const [x, y] = LOOK[gaze] ?? [0, 0];
  const shrink = verdict === "not_usable" ? 0.72 : 1;
  return oval(x + 3, y * 0.6 + 2, 76 * shrink, 60 * shrink, 0.03);
}

/** What is due: a cap of 75° about the middle of the gaze. */
function cap(gaze: Gaze): RetinalPoint[] {
  const [x, y] = LOOK[gaze] ?? [0, 0];
  return oval(x * 0.6, y * 0.6, 75, 75);
}

const NONE: Corrections = { eye: null, modality: null, gaze: null };

interface Row {
  id: number;
  visit: number | null;
  eye: Eye | null;
  modality: Modality;
  gaze: Gaze;
  minute: number;
  verdict: Verdict | null;
  fault?: { kind: string; text: string; advice: string; rows?: [number, number]; polygon?: Point[] };
  failed?: boolean;
}

const BLINK = {
  kind: "blink",
  text: "A blink covers 11 % of the field and crosses the macula.",
  advice: "Let the patient blink, then both eyes wide open, and try again.",
  rows: [1640, 2060] as [number, number],
};
const LASH = {
  kind: "lash",
  text: "Lashes cover 14 % of the field below.",
  advice: "Both eyes wide open, chin a little up.",
  polygon: [[500, 2900], [900, 2700], [1500, 2640], [2200, 2680], [2900, 2740], [3080, 2960], [2500, 3200], [1200, 3210]] as Point[],
};

const ROWS: Row[] = [
  { id: 101, visit: 1, eye: "R", modality: "colour", gaze: "primary", minute: 31, verdict: "not_usable", fault: BLINK },
  { id: 102, visit: 1, eye: "R", modality: "colour", gaze: "primary", minute: 32, verdict: "usable" },
  { id: 103, visit: 1, eye: "R", modality: "colour", gaze: "up", minute: 34, verdict: "usable" },
  { id: 104, visit: 1, eye: "L", modality: "colour", gaze: "primary", minute: 36, verdict: "limited", fault: LASH },
  { id: 105, visit: 1, eye: "L", modality: "colour", gaze: "up", minute: 38, verdict: null },
  { id: 201, visit: 2, eye: "L", modality: "faf", gaze: "primary", minute: 12, verdict: "usable" },
  { id: 901, visit: null, eye: null, modality: "colour", gaze: "primary", minute: 20, verdict: "usable" },
  { id: 902, visit: null, eye: "R", modality: "faf", gaze: "primary", minute: 22, verdict: "limited", fault: LASH },
  { id: 903, visit: null, eye: null, modality: "colour", gaze: "primary", minute: 25, verdict: null, failed: true },
  ...[0.15, 0.25, 0.35, 0.5, 1.1, 1.8].map((after, i): Row => ({
    id: 501 + i, visit: 5, eye: i < 4 ? "R" : "L", modality: "fa", gaze: "primary", minute: 42 + after, verdict: i === 5 ? "limited" : "usable",
  })),
];

/** The dye run of visit 5, whose fluorescein went in at this minute of the day. */
const NEEDLE = START + 42 * MINUTE;

interface Person {
  id: number;
  name: string;
  number: string;
  born: string | null;
  order: string;
  chair: string | null;
  minute: number;
  want: [Eye, Modality, Gaze, "must" | "should"][];
  cautions: string[];
}

const PEOPLE: Person[] = [
  {
    id: 1, name: "Pebble Lantern", number: "DEMO-0007", born: "07 Mar 1961", order: "Five-gaze set", chair: "Chair 1", minute: 27,
    want: (["R", "L"] as Eye[]).flatMap((eye) =>
      (["primary", "up", "down"] as Gaze[]).map((gaze): [Eye, Modality, Gaze, "must" | "should"] => [eye, "colour", gaze, "must"]),
    ),
    cautions: ["Two identifiers said by the patient and compared, before the first frame?", "Light-sensitive, photosensitising drugs, or seizures with flicker? Then the clinician decides first."],
  },
  {
    id: 2, name: "Juniper Teacup", number: "DEMO-0012", born: "19 Sep 1984", order: "Macular autofluorescence", chair: "Chair 2", minute: 8,
    want: [["R", "faf", "primary", "must"], ["L", "faf", "primary", "must"], ["R", "colour", "primary", "must"], ["L", "colour", "primary", "must"]],
    cautions: [],
  },
  {
    id: 3, name: "Moss Umbrella", number: "DEMO-0015", born: null, order: "First look", chair: null, minute: 33,
    want: [["L", "colour", "primary", "must"], ["R", "colour", "primary", "must"], ["R", "faf", "primary", "should"], ["L", "faf", "primary", "should"]],
    cautions: ["Autofluorescence comes before dye, drops and gel."],
  },
  { id: 4, name: "Clover Thimble", number: "DEMO-0021", born: "30 Jan 1949", order: "First look", chair: null, minute: 40, want: [["R", "colour", "primary", "must"], ["L", "colour", "primary", "must"]], cautions: [] },
];

const FA: Person = {
  id: 5, name: "Fern Kettle", number: "DEMO-0033", born: "11 Jun 1957", order: "Fluorescein angiography", chair: "Chair 2", minute: 35,
  want: [["R", "fa", "primary", "must"], ["L", "fa", "primary", "must"]], cautions: [],
};

/** The state of the mock clinic; each answer is made from it anew. */
export class Clinic {
  readonly rows: Row[] = ROWS.map((row) => ({ ...row }));
  readonly aside = new Map<number, string>();
  readonly facts = new Facts();
  readonly closed = new Set<number>();
  readonly corrected = new Map<number, Corrections>();
  readonly people: Person[] = [...PEOPLE, FA];
  /** What was told of the dye run: kinds of facts, in order. */
  readonly told: string[] = [];
  private fresh = 0;

  /** A frame that was dropped on the page: it waits under unassigned. */
  take(): number {
    this.fresh += 1;
    const id = 1000 + this.fresh;
    this.rows.push({ id, visit: null, eye: null, modality: "colour", gaze: "primary", minute: 45, verdict: "usable" });
    return id;
  }

  /** A visit that was typed in. */
  openVisit(visit: NewVisit): number {
    const id = this.people.length + 1;
    this.people.push({
      id, name: visit.patient_name, number: visit.patient_id, born: visit.birth_date ?? null, order: visit.protocol, chair: visit.chair ?? null,
      minute: 46, want: [["R", "colour", "primary", "must"]], cautions: [],
    });
    return id;
  }

  private records(id: number, given: boolean): DyeRun["records"] {
    const touched: DyeRun["records"][number] = {
      drug: "fluorescein", route: "vein", prescribed_by: "", given_by: "", site: "", flow_checked: false, strength: null, lot: "", expiry: "", mg: null,
      rule: null, second_person: null, seconds: 7, start_us: NEEDLE, start_error_us: 500_000,
    };
    return given ? [this.facts.record(id) ?? touched] : [];
  }

  dyeRun(id: number): DyeRun | null {
    const person = this.people.find((one) => one.id === id);
    if (person === undefined) return null;
    const [given, unwell] = [id === FA.id || this.told.includes("needle_began"), this.told.lastIndexOf("unwell") > this.told.lastIndexOf("well_again")];
    const stopped = this.told.lastIndexOf("run_stopped") > this.told.lastIndexOf("run_resumed");
    const due = (view: string, eye: Eye, state: DyeRun["frames"][number]["state"], from: number, to: number, taken: number): DyeRun["frames"][number] => ({
      view, what: `${en.eyes[eye]}, fluorescein (FA)`, eye, modality: "fa", required: true, state: unwell && state !== "done" ? "silent" : state,
      from_utc_us: given ? NEEDLE + from * 1_000_000 : null, to_utc_us: given ? NEEDLE + to * 1_000_000 : null, taken, why: [],
    });
    return {
      schema: "serrata.dye_run/1", visit_id: id, who: `${person.name.split(" ")[1] ?? ""} ${person.name.slice(0, 1)}., 11 Jun`,
      now_utc_us: START + 46 * MINUTE,
      sentence: unwell
        ? "The patient is unwell: nothing is asked for. Staff stay with the patient."
        : !given
          ? "No injection is marked yet: touch when the needle goes in."
          : stopped
            ? "The run is stopped by hand; its clocks go on."
            : "Now: Right eye (OD), fluorescein (FA), straight ahead, 4 min to 6 min; 119 s left.",
      tone: given && !unwell && !stopped ? "fa late at 5 min R" : null, unwell, stopped,
      mode: this.told.includes("run_mode_chosen") ? "fa" : "in_turn",
      clocks: given
        ? [{ modality: "fa", start_utc_us: NEEDLE, start_error_s: 0.5, elapsed_s: 241, by_mouth: false, superseded: false, marked_by: "person", took_s: 7 }]
        : [],
      frames: [
        due("late R", "R", "now", 240, 360, 0), due("late L", "L", "now", 240, 360, 0), due("ten R", "R", "later", 540, 660, 0),
        due("transit R", "R", "done", 8, 35, 4), due("fellow L", "L", "done", 35, 75, 1),
      ],
      record_open: !given ? [] : this.facts.record(id) === null ? ["Who prescribed it?", "Lot?", "Expiry?"] : [],
      records: this.records(id, given),
      instrument_clocks: given ? [{ name: "demo-wide", offset_s: 0, error_s: 3.1 }] : [],
    };
  }

  /** A montage of two kinds beside an earlier visit, once it was asked for. */
  montage(id: number, eye: Eye, earlier: number | null): Montage {
    const made = this.told.includes(`montage ${eye}`);
    const picture = (modality: Modality, what: MontagePicture["what"]): MontagePicture => ({
      modality, what, address: `/api/v1/visits/${String(id)}/montage/${eye}/picture?file=${what}-${modality}.png`, width: 6000, height: 4800,
      degrees_per_pixel: 0.0333, covered: what === "difference" ? null : 0.7,
    });
    const frame = (number: number, before: boolean, reason: string | null): Montage["frames"][number] => ({
      id: number, earlier: before, modality: "colour", status: reason === null ? "placed" : "not placed", reason,
      residual_deg: reason === null ? 0.04 : null, residual_interval_deg: reason === null ? [0.03, 0.06] : null,
    });
    const both = earlier === null ? [] : [picture("colour", "earlier"), picture("colour", "difference")];
    return {
      schema: "serrata.montage/1", eye, state: made ? "made" : "none", progress: null, problem: null, outdated: false, with: earlier, earlier_visit: 77,
      frames_now: 3, calibrated: true, method: "assemble 2",
      frames: made ? [frame(101, false, null), frame(104, false, "too little of it is seen to tell where it lies")] : [],
      pictures: made ? [picture("colour", "montage"), picture("faf", "montage"), ...both] : [],
    };
  }

  /** What is on its way: a file that waits, one that the archive answers for, one that it refuses. */
  sending(visit: number | null): Sending {
    const file = (id: number, visit_id: number, patient: string, frame: number, state: Delivery["state"], why: string | null): Delivery => ({
      id, destination: "archive", visit_id, patient, name: `${String(frame)}.dcm`, kind: "original", frames: [frame], state, why, tries: state === "waiting" ? 3 : 0,
      next_try_utc_us: state === "waiting" ? START + 46 * MINUTE + 95_000_000 : null, who: "RK", queued_utc_us: START + 40 * MINUTE,
      done_utc_us: state === "done" ? START + 41 * MINUTE : null,
    });
    const kettle = "Kettle F., 11 Jun";
    const silent = "127.0.0.1:104 does not answer (connection refused). Check its address and the network; it is tried again by itself.";
    const refused = "it will not take it: status C000: no such patient here";
    const all = [
      file(1, FA.id, kettle, 501, this.told.includes("again 1") ? "waiting" : "failed", this.told.includes("again 1") ? null : refused),
      file(2, FA.id, kettle, 502, this.told.includes("withdrawn 2") ? "withdrawn" : "waiting", silent),
      ...(this.told.includes("sent 1") ? [file(3, 1, "Lantern P., 7 Mar", 101, "done", "it answers for it (storage commitment)")] : []),
    ];
    const shown = all.filter((d) => (visit === null ? d.state !== "done" && d.state !== "withdrawn" : d.visit_id === visit));
    const many = (...states: Delivery["state"][]): number => all.filter((d) => states.includes(d.state)).length;
    return {
      schema: "serrata.sending/1", now_utc_us: START + 46 * MINUTE,
      sentence: many("failed") > 0 ? "1 file could not be sent: look at each. 1 file on the way." : "2 files not proven to have arrived yet.",
      destinations: [
        {
          name: "archive", address: "127.0.0.1:104", ae_title: "ARCHIVE", proof: "commitment", waiting: many("waiting"), unproven: 0,
          done: many("done"), failed: many("failed"),
        },
      ],
      deliveries: shown,
      left_out: visit === 1 ? [{ frame: 104, name: "104.dcm", reason: "set aside: a better one" }] : [],
    };
  }

  reading(id: number): Reading {
    const bell = (t: number, from: number, high: number): number => (t <= from ? 0.03 : 0.03 + high * ((t - from) / 9) * Math.exp(1 - (t - from) / 9));
    const seconds = Array.from({ length: 50 }, (_, i) => 6 + 0.8 * i);
    const made = id === FA.id && this.told.includes("read");
    const region = (index: number, what: string, mm2: number, note: string | null): Reading["regions"][number] => {
      const done = this.told.some((t) => t === `accepted ${String(index)}` || t === `corrected ${String(index)}`);
      const [x, y] = [1500 + 900 * index, 1400];
      const outline = { polygons: [[[x, y], [x + 300, y - 40], [x + 340, y + 260], [x + 20, y + 300]] as Point[]], holes: [] };
      return {
        index, what, status: this.told.includes(`corrected ${String(index)}`) ? "corrected" : done ? "accepted" : "proposed", who: done ? "RK" : null,
        at_utc_us: done ? START + 46 * MINUTE : null, proposed: outline, outline, area_mm2: mm2, area_interval_mm2: [0.8 * mm2, 1.2 * mm2], score: 0.8, note,
      };
    };
    return {
      schema: "serrata.reading/1", state: made ? "made" : "none", progress: null, problem: null, outdated: false, frames_now: 6,
      size: made ? [3600, 3600] : null,
      reading: made
        ? {
            schema: "serrata.dye/1", problem: null, reference: "504",
            arm_to_retina: { seconds: 12.1, interval: [11.4, 12.8] },
            arteriovenous_passage: { seconds: 1.6, interval: [0.9, 2.3] },
            mean_circulation: { seconds: 4.8, interval: [3.6, 6] },
            curves: [
              { what: "arteries", points: seconds.map((t): Point => [t, bell(t, 11, 0.6)]) },
              { what: "veins", points: seconds.map((t): Point => [t, bell(t, 13.5, 0.5)]) },
            ],
            index: { denominator: "gradable area in the frame, by solid angle", dark: 0.04, late: 0.01 },
          }
        : null,
      regions: made
        ? [region(0, "late brightening", 2.31, null), region(1, "dark, unfilled", 0.9, "it holds the fovea, which is dark in every eye")]
        : [],
    };
  }

  row(id: number): Row | undefined {
    return this.rows.find((row) => row.id === id);
  }

  brief(row: Row): FrameBrief {
    const fix = this.corrected.get(row.id) ?? NONE;
    const verdict = row.failed === true ? null : row.verdict;
    return {
      id: row.id,
      visit_id: row.visit,
      name: `${String(row.id)}.jpg`,
      eye: fix.eye ?? row.eye,
      modality: row.failed === true ? null : (fix.modality ?? row.modality),
      gaze: fix.gaze ?? row.gaze,
      acquired_utc_us: row.failed === true ? null : START + row.minute * MINUTE + 7_000_000,
      received_utc_us: START + row.minute * MINUTE + 9_000_000,
      state: row.failed === true ? "failed" : verdict === null ? "waiting" : "checked",
      verdict,
      next: verdict === null ? null : verdict === "usable" ? "keep" : "try_again",
      leading: row.fault?.text ?? null,
      set_aside: this.aside.get(row.id) ?? null,
      quarantined: false,
      query: null,
    };
  }

  private views(person: Person): VisitView[] {
    return person.want.map(([eye, modality, gaze, rank]) => {
      const frames = this.rows.filter(
        (r) => r.visit === person.id && r.eye === eye && r.modality === modality && r.gaze === gaze && !this.aside.has(r.id),
      );
      const shapes = frames.flatMap((r) => (r.verdict === null ? [] : [resultShape(r.verdict)]));
      const name = `${eye} ${modality} ${gaze}`;
      const state =
        this.facts.ended(person.id, name) ??
        (shapes.includes("filled") ? "met" : shapes.includes("half") ? "met_with_reservations" : "due");
      // The first patient was here before.
      const last_frame = person.id === 1 && gaze === "down" ? 104 : null;
      return { name, eye, modality, gaze, rank, state, frames: frames.map((r) => r.id), why: [], tries: frames.length, last_frame };
    });
  }

  private chart(eye: Eye, person: Person, views: VisitView[]): Chart {
    const rows = this.rows.flatMap((r) =>
      r.visit === person.id && r.eye === eye && r.verdict !== null && !this.aside.has(r.id) ? [{ ...r, verdict: r.verdict }] : [],
    );
    return {
      eye,
      rings: RINGS,
      frames: rows.map((r) => ({
        frame_id: r.id, modality: r.modality, verdict: r.verdict, calibrated: false, outlines: [outlineOf(r.gaze, r.verdict)],
      })),
      last: person.id === 1
        ? [{ frame_id: 104, modality: "colour", verdict: "usable", calibrated: false, outlines: [outlineOf("down", "usable")] }]
        : [],
      due: views
        .filter((view) => view.eye === eye && view.state === "due")
        .map((view) => ({
          view: view.name,
          label: viewLine(view.eye, view.modality, view.gaze),
          outlines: [cap(view.gaze)],
        })),
      look: rows.some((r) => r.verdict === "limited")
        ? {
            turn_deg: 21, meridian_deg: 270, share: 0.07, area_sr: 0.31, clock_hours: [5, 6, 7],
            sentence: `${en.eyes[eye]}: patient looks down, about 21°; adds about 7 % of the wanted retina, at 5, 6, 7 o'clock`,
          }
        : null,
    };
  }

  private line(person: Person): DayVisit {
    const views = this.views(person);
    const due = views.filter((view) => view.state === "due");
    const first = due[0];
    const frames = this.rows.filter((r) => r.visit === person.id);
    return {
      id: person.id,
      patient_name: person.name,
      patient_id: person.number,
      birth_date: person.born,
      order: person.order,
      chair: this.facts.chair(person.id, person.chair),
      opened_utc_us: START + person.minute * MINUTE,
      state: this.closed.has(person.id) ? "closed" : "open",
      views_due: due.length,
      views_met: views.filter((view) => view.state.startsWith("met")).length,
      frames: frames.length,
      frames_not_usable: frames.filter((r) => r.verdict === "not_usable").length,
      next_step: first === undefined ? null : viewLine(first.eye, first.modality, first.gaze),
      calls_open: this.facts.today(person.id, [], 0).calls_open,
      paused_until_utc_us: null,
      scheduled: null,
      unwell: this.facts.holds(person.id, "unwell", "well_again"),
      completeness: due.length > 0 ? "not_yet" : views.some((view) => view.state.startsWith("not")) ? "as_far_as_possible" : "complete",
    };
  }

  day(): Day {
    return {
      schema: "serrata.day/1",
      now_utc_us: START + 46 * MINUTE,
      visits: this.people.map((person) => this.line(person)),
      unassigned: this.rows.filter((r) => r.visit === null).length,
      waiting: this.rows.filter((r) => r.verdict === null && r.failed !== true).length,
      alarms: [
        {
          visit_id: FA.id, who: "Kettle F., 11 Jun", chair: "Chair 2", what: "Right eye (OD), fluorescein (FA), 4 min to 6 min", now: true, clash: null,
          sounds: true, sentence: "Kettle F., 11 Jun: Right eye (OD), fluorescein (FA), straight ahead, 4 min to 6 min, now.",
          from_utc_us: NEEDLE + 4 * MINUTE, to_utc_us: NEEDLE + 6 * MINUTE,
        },
        {
          visit_id: 2, who: "J. Teacup, 1984", chair: "Chair 2", what: "Left eye: fluorescein, late frame", now: false, clash: null,
          sounds: false, sentence: "J. Teacup, 1984: Left eye: fluorescein, late frame.",
          from_utc_us: START + 53 * MINUTE, to_utc_us: START + 61 * MINUTE,
        },
      ],
    };
  }

  visit(id: number): Visit | null {
    const person = this.people.find((one) => one.id === id);
    if (person === undefined) return null;
    const views = this.views(person);
    const line = this.line(person);
    const open = views.filter((view) => view.state === "due").map((view) => viewLine(view.eye, view.modality, view.gaze));
    return {
      schema: "serrata.visit/1",
      id,
      patient_name: line.patient_name,
      patient_id: line.patient_id,
      birth_date: line.birth_date,
      order: line.order,
      chair: line.chair,
      opened_utc_us: line.opened_utc_us,
      state: line.state,
      next_step: line.next_step,
      complete: {
        state: line.completeness,
        sentence: open.length === 0 ? "The pictures are complete." : `Not yet: ${open.join("; ")}.`,
      },
      views,
      frames: this.rows.filter((r) => r.visit === id).map((r) => this.brief(r)),
      charts: [this.chart("R", person, views), this.chart("L", person, views)],
      cautions: person.cautions,
      today: this.facts.today(id, person.cautions, START + 46 * MINUTE),
    };
  }

  frame(id: number): FrameAnswer | null {
    const row = this.row(id);
    if (row === undefined) return null;
    const brief = this.brief(row);
    return {
      schema: "serrata.frame/1",
      brief,
      patient_name: this.people.find((person) => person.id === row.visit)?.name ?? null,
      error: row.failed === true ? { message: "The file ends in the middle of the picture.", remedy: "Copy it again from the camera." } : null,
      appraisal: brief.verdict === null ? null : appraisalOf(brief, brief.verdict, row),
      picture: `/api/v1/frames/${String(id)}/picture`,
      geometry: { projection: "stereographic", size: [3600, 3600], degrees_per_pixel: [0.074, 0.074], coefficients: [], end_deg: 179 },
      corrections: this.corrected.get(id) ?? NONE,
      order: null,
    };
  }

  unassigned(): Unassigned {
    const frames = this.rows
      .filter((r) => r.visit === null)
      .map((r): UnassignedFrame => ({
        ...this.brief(r),
        why: r.failed === true ? "The file could not be read, so it names no patient." : "The picture names no study and no patient.",
        patient_id: r.id === 902 ? "DEMO-0012" : null,
        patient_name: r.id === 902 ? "Juniper Teacup" : null,
        birth_date: r.id === 902 ? "19 Sep 1948" : null,
        beside: r.id === 902 ? [{ visit_id: 2, same_study: false, differences: [{ field: "birth date", here: "19 Sep 1948", there: "19 Sep 1984" }] }] : [],
      }));
    return { schema: "serrata.unassigned/1", frames };
  }
}

function appraisalOf(brief: FrameBrief, verdict: Verdict, row: Row): Appraisal {
  const fault = row.fault;
  const findings: Finding[] = [];
  const place = { rows: null, onset_ms: null, duration_ms: null, shift_px: null, shift_deg: null, side: null, polygons: [] as Point[][], holes: [] as Point[][] };
  if (fault !== undefined) {
    findings.push({
      ...place, kind: fault.kind, score: 0.94, fraction: 0.12, rows: fault.rows ?? null,
      polygons: fault.polygon === undefined ? [] : [fault.polygon], advice: fault.advice,
    });
  }
  findings.push({ ...place, kind: "floater", score: 0.18, fraction: 0.004, polygons: [[[1500, 1200], [1620, 1190], [1640, 1300], [1510, 1310]]], advice: null });
  const edge = Array.from({ length: 60 }, (_, i): Point => {
    const t = (i / 60) * 2 * Math.PI;
    const k = 0.9 + 0.05 * Math.sin(3 * t) + 0.02 * Math.sin(11 * t);
    return [Math.round(1800 + 1720 * k * Math.cos(t)), Math.round(1800 + 1480 * k * Math.sin(t))];
  });
  return {
    schema: "serrata.appraisal/1", path: brief.name, frame: 0, sha256: "0".repeat(64), width: 3600, height: 3600,
    modality: row.modality, instrument: null, method: { name: "observe", revision: 1 },
    view: { name: `default ${row.modality}`, gaze: brief.gaze },
    eye: { labelled: row.eye, inferred: row.eye ?? "R", probability: 0.98, agrees: row.eye === null ? null : true },
    verdict, next: brief.next ?? "keep",
    reasons: fault === undefined ? [] : [{ rule: "obstructed", finding: fault.kind, must: verdict === "not_usable", text: fault.text }],
    advice: fault === undefined ? [] : [fault.advice],
    visible_retina: {
      fraction: fault === undefined ? 0.84 : 0.71, fraction_of_picture: 0.6, polygons: [edge],
      holes: [], area_mm2: null, area_interval_mm2: null, radius_mm: null, radius_source: null, uncalibrated: "no projection known", warnings: null,
    },
    findings,
    disc: { x: brief.eye === "L" ? 1330 : 2270, y: 1790, radius: 70, probability: 0.99 },
    fovea: { x: 1800, y: 1830, probability: 0.9 },
    gaze: { seen: brief.gaze, right_deg: 1.2, up_deg: brief.gaze === "up" ? 24.1 : -0.8, from: "fovea" },
    reach: { superior: 7.4, inferior: fault?.kind === "lash" ? 5.3 : 7.1, nasal: 9.2, temporal: 8.8 },
    sharpness: { value: fault?.kind === "blink" ? 0.52 : 0.71, unit: `of the sharpest seen (${findingWord("blur")} below 0.3)` },
  };
}
