/** The words of the screens. They are those of the server's `screen()` strings; keep both the same. */
import type { Eye, FrameBrief, Gaze, Modality, Next, Verdict, ViewState } from "../api/model";

export const EYES: Record<Eye, string> = { R: "Right eye (OD)", L: "Left eye (OS)" };

export const MODALITIES: Record<Modality, string> = {
  colour: "Colour",
  faf: "Autofluorescence (FAF)",
  fa: "Fluorescein (FA)",
  icg: "Indocyanine green (ICG)",
  infrared: "Infrared",
  red: "Red channel",
  green: "Green channel",
};

export const GAZES: Record<Gaze, string> = {
  primary: "straight ahead",
  up: "looking up",
  down: "looking down",
  right: "looking to the patient's right",
  left: "looking to the patient's left",
  up_right: "looking up and to the patient's right",
  up_left: "looking up and to the patient's left",
  down_right: "looking down and to the patient's right",
  down_left: "looking down and to the patient's left",
};

export const RESULTS: Record<Verdict, string> = {
  usable: "usable",
  limited: "usable with reservations",
  not_usable: "not usable",
};

export const NEXT_STEPS: Record<Next, string> = {
  keep: "Keep it.",
  try_again: "Try again.",
  stop: "Stop here: another try cannot help.",
};

export const VIEW_STATES: Record<ViewState, string> = {
  due: "due",
  later: "due later",
  overdue: "overdue: late is better than none",
  silent: "nothing is asked now",
  not_wanted: "not wanted",
  met: "met",
  met_with_reservations: "met with reservations",
  not_obtainable: "not obtainable",
  not_done: "not done",
};

const FINDINGS: Record<string, string> = {
  blink: "blink",
  lid: "lid in the way",
  lash: "lashes in the way",
  too_close: "too near",
  too_far: "too far",
  off_centre: "off centre",
  motion: "eye moved",
  blur: "not sharp",
  haze: "haze",
  underexposed: "too dark",
  overexposed: "too bright",
  reflex: "reflection",
  iris_shadow: "shadow of the iris",
  floater: "floater",
  smear: "smear",
  dust: "dust",
  wrong_eye: "labelled as the other eye",
  wrong_modality: "labelled as another kind",
  no_retina: "no retina",
};

/** A finding as screens write it. An unknown kind is written as it came: `"new_kind"` is `"new kind"`. */
export function findingWord(kind: string): string {
  return FINDINGS[kind] ?? kind.replaceAll("_", " ");
}

export type Shape = "filled" | "half" | "open";

/** The disc that stands for a result. Shape and word tell it; colour only repeats them. */
export function resultShape(verdict: Verdict): Shape {
  switch (verdict) {
    case "usable":
      return "filled";
    case "limited":
      return "half";
    case "not_usable":
      return "open";
  }
}

/** One view or frame in a line: `"Right eye (OD), colour, straight ahead"`. */
export function viewLine(eye: Eye | null, modality: Modality | null, gaze: Gaze): string {
  const kind = modality === null ? "kind not known" : lowerFirst(MODALITIES[modality]);
  return `${eye === null ? "Eye not known" : EYES[eye]}, ${kind}, ${GAZES[gaze]}`;
}

/** What a frame is called on screens: its view, or the name of its file where nothing could be read from it. */
export function frameTitle(frame: FrameBrief): string {
  return frame.state === "failed" ? frame.name : viewLine(frame.eye, frame.modality, frame.gaze);
}

const SHORT_KINDS: Record<Modality, string> = {
  colour: "colour", faf: "FAF", fa: "FA", icg: "ICG", infrared: "infrared", red: "red", green: "green",
};

const SHORT_GAZES: Record<Gaze, string> = {
  primary: "ahead", up: "up", down: "down", right: "to their right", left: "to their left",
  up_right: "up right", up_left: "up left", down_right: "down right", down_left: "down left",
};

/** Views of one gaze as a chart has room for them. Example: `"ahead: colour, FAF"`. */
export function shortLine(kinds: readonly Modality[], gaze: Gaze): string {
  return `${SHORT_GAZES[gaze]}: ${kinds.map((kind) => SHORT_KINDS[kind]).join(", ")}`;
}

/** `"Colour"` to `"colour"`. */
export function lowerFirst(text: string): string {
  return text.charAt(0).toLowerCase() + text.slice(1);
}

/** `"blink"` to `"Blink"`. */
export function upperFirst(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/** `count(1, "frame")` is `"1 frame"`, `count(2, "frame")` is `"2 frames"`. */
export function count(n: number, thing: string): string {
  return `${String(n)} ${thing}${n === 1 ? "" : "s"}`;
}

/**
 * A share between 0 and 1 as whole per cent, never rounded up to 100 or down to 0, with a space at which no line breaks.
 * Example: `0.998` is `"99 %"`.
 */
export function percent(share: number): string {
  const cut = Math.min(1, Math.max(0, Number.isFinite(share) ? share : 0));
  if (cut > 0 && cut < 0.01) return "less than 1\u00a0%";
  const whole = cut < 1 ? Math.min(99, Math.round(cut * 100)) : 100;
  return `${String(whole)}\u00a0%`;
}

/** Coded reasons for a view that ends without a picture. */
export const CLOSE_REASONS: Record<"not_obtainable" | "not_done", readonly string[]> = {
  not_obtainable: ["Clouded media", "Small pupil", "Lids or lashes", "Cannot fixate", "Other, see note"],
  not_done: [
    "Patient declined", "Patient unwell", "Stopped by clinician", "Instrument not available", "No time", "Other, see note",
  ],
};

/** Reasons for setting a frame aside. */
export const ASIDE_REASONS: readonly string[] = [
  "A better frame is there", "Not usable", "Taken by mistake", "Another patient", "Test of the instrument",
];
