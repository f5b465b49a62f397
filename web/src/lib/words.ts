/** Results, views and reasons in words and shapes. */
import type { Eye, FrameBrief, Gaze, Modality, Verdict } from "../api/model";
import { t } from "../messages";
import { en, type Messages } from "../messages/en";

/** A finding as screens write it. An unknown kind is written as it came: `"new_kind"` is `"new kind"`. */
export function findingWord(kind: string): string {
  return t.findings[kind] ?? kind.replaceAll("_", " ");
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
  const kind = modality === null ? t.kindNotKnown : t.modalitiesWithin[modality];
  return t.viewLine(eye === null ? t.eyeNotKnown : t.eyes[eye], kind, t.gazes[gaze]);
}

/** What a frame is called on screens: its view, or the name of its file where nothing could be read from it. */
export function frameTitle(frame: FrameBrief): string {
  return frame.state === "failed" ? frame.name : viewLine(frame.eye, frame.modality, frame.gaze);
}

/** Views of one gaze as a chart has room for them. Example: `"ahead: colour, FAF"`. */
export function shortLine(kinds: readonly Modality[], gaze: Gaze): string {
  return t.viewsShort(t.gazesShort[gaze], kinds.map((kind) => t.modalitiesShort[kind]));
}

/** `"blink"` to `"Blink"`. */
export function upperFirst(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/**
 * A share between 0 and 1 as whole per cent, never rounded up to 100 or down to 0, with a space at which no line breaks.
 * Example: `0.998` is `"99 %"`.
 */
export function percent(share: number): string {
  const cut = Math.min(1, Math.max(0, Number.isFinite(share) ? share : 0));
  if (cut > 0 && cut < 0.01) return t.lessThanOnePercent;
  const whole = cut < 1 ? Math.min(99, Math.round(cut * 100)) : 100;
  return t.percent(whole);
}

/** A reason to choose: its code, what the record keeps (in English, as all of the record), and what the page shows. */
export interface Reason {
  code: string;
  kept: string;
  shown: string;
}

/** The reasons there are for something. Example: `reasons("aside")[0].kept` is `"A better frame is there"`. */
export function reasons(what: keyof Messages["reasons"]): Reason[] {
  const shown: Record<string, string> = t.reasons[what];
  return Object.entries<string>(en.reasons[what]).map(([code, kept]) => ({ code, kept, shown: shown[code] ?? kept }));
}

/** A reason with a note, as the record keeps it. Example: `"Not usable: lashes"`. */
export function recorded(reason: Reason, note: string): string {
  return note === "" ? reason.kept : `${reason.kept}: ${note}`;
}
