/** What people said in the mock clinic's visits, replayed as the server does. */
import type { EyeState, FactLine, Injection, PersonState, Today } from "../src/api/model";

export const EYE: EyeState = {
  dilated: null, small_pupil: false, drops_or_gel: false, clouded_media: false, cornea: false, gas: false, oil: false, lens_implant: false, no_lens: false,
  lens_worn: false, measured_before_surgery: false, no_touch: false, red_eye: false, ptosis: false, nystagmus: false, no_fixation: false,
  gaze_range_deg: null, spare: false, light_sensitive: false, worked: [],
};
export const PERSON: PersonState = {
  child: false, infant: false, learning_disability: false, pain: false, photophobia: false, wheelchair: false, tremor: false, deaf: false,
  photosensitised: false, seizures: false, language: null, worked: [],
};

/** A fact as it is posted. */
export interface Said {
  kind: string;
  [key: string]: unknown;
}
interface Kept {
  seq: number;
  visit: number;
  who: string;
  reason: string | null;
  fact: Said;
}

const UNDOABLE = new Set(["identity_ticked", "injected", "noted", "clinician_asked", "clinician_reached", "eye_noted", "person_noted", "answered", "remarked", "undone"]);

export class Facts {
  private readonly kept: Kept[] = [];

  add(visit: number, who: string, reason: string | null, fact: Said): number {
    const seq = this.kept.length + 1;
    this.kept.push({ seq, visit, who, reason, fact });
    return seq;
  }

  private undone(): Set<number> {
    const gone = new Set<number>();
    for (const k of [...this.kept].reverse()) if (k.fact.kind === "undone" && !gone.has(k.seq)) gone.add(Number(k.fact["seq"]));
    return gone;
  }

  private standing(visit: number, kind: string): Kept[] {
    const gone = this.undone();
    return this.kept.filter((k) => k.visit === visit && k.fact.kind === kind && !gone.has(k.seq));
  }

  /** Whether the last of two kinds that take each other back is the first. */
  holds(visit: number, kind: string, opposite: string): boolean {
    const last = this.kept.findLast((k) => k.visit === visit && (k.fact.kind === kind || k.fact.kind === opposite));
    return last?.fact.kind === kind;
  }

  chair(visit: number, otherwise: string | null): string | null {
    const last = this.kept.findLast((k) => k.visit === visit && (k.fact.kind === "seated" || k.fact.kind === "paused"));
    return last === undefined ? otherwise : last.fact.kind === "paused" ? null : String(last.fact["chair"]);
  }

  /** How a view was closed by hand, or null. */
  ended(visit: number, view: string): "not_obtainable" | "not_done" | null {
    const last = this.kept.findLast((k) => k.visit === visit && (k.fact.kind === "view_ended" || k.fact.kind === "view_reopened") && k.fact["view"] === view);
    return last?.fact.kind === "view_ended" ? (last.fact["end"] as "not_obtainable" | "not_done") : null;
  }

  record(visit: number): Injection | null {
    return (this.standing(visit, "injected").at(-1)?.fact["injection"] as Injection | undefined) ?? null;
  }

  today(visit: number, questions: readonly string[], at: number): Today {
    const gone = this.undone();
    const last = (kind: string, where: (f: Said) => boolean = () => true): Kept | null => this.standing(visit, kind).findLast((k) => where(k.fact)) ?? null;
    const eye = (of: string): EyeState => (last("eye_noted", (f) => f["eye"] === of)?.fact["state"] as EyeState | undefined) ?? EYE;
    const identity = last("identity_ticked");
    const calls = this.standing(visit, "clinician_asked").length - this.standing(visit, "clinician_reached").length;
    const stops = last("answered", (f) => f["question"] === "question-1" && f["answer"] === "yes") === null ? [] : ["Stop. The clinician decides before any picture."];
    const unwell = this.holds(visit, "unwell", "well_again");
    const line = (k: Kept): FactLine => ({
      seq: k.seq, at_utc_us: at, who: k.who, kind: k.fact.kind, reason: k.reason, text: k.fact.kind.replaceAll("_", " "),
      can_be_undone: UNDOABLE.has(k.fact.kind), undone: gone.has(k.seq), happened_utc_us: null,
    });
    return {
      orders: [], needle: [], light: [], scheduled: null, paused_until_utc_us: null, unwell, calls_open: Math.max(0, calls),
      stops,
      after_needle: this.standing(visit, "noted").map((k) => ({ fact: k.seq, text: String(k.fact["note"]), who: k.who, at_utc_us: at })),
      first: [...stops, ...(unwell ? ["The patient is unwell: nothing is due. Staff stay with the patient."] : []), ...(calls > 0 ? ["Clinician to look now: nobody was reached yet."] : [])],
      notes: eye("R").gas || eye("L").gas ? ["Gas in the eye: no mm, and the picture is distorted."] : [],
      right_eye: eye("R"), left_eye: eye("L"), person: (last("person_noted")?.fact["state"] as PersonState | undefined) ?? PERSON,
      identity: identity === null ? null : `${(identity.fact["identifiers"] as string[]).join(", ")} (${identity.who})`,
      answers: questions.map((question, i) => {
        const id = i === 0 ? "identity" : `question-${String(i)}`;
        const given = last("answered", (f) => f["question"] === id);
        return { id, question, answer: given === null ? null : String(given.fact["answer"]), who: given?.who ?? null, fact: given?.seq ?? null };
      }),
      remarks: this.standing(visit, "remarked").map((k) => ({ fact: k.seq, text: String(k.fact["text"]), who: k.who, at_utc_us: at })),
      facts: this.kept.filter((k) => k.visit === visit).map(line),
    };
  }
}
