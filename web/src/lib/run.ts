/** A dye run in numbers and words: clocks, and where a second lies on the axis of time. */
import type { DyeDue, FrameBrief } from "../api/model";
import { t } from "../messages";

/** Seconds as people read a clock. Example: `clockText(245)` is `"4:05"`. */
export function clockText(seconds: number): string {
  const whole = Math.max(0, Math.floor(seconds));
  return `${String(Math.floor(whole / 60))}:${String(whole % 60).padStart(2, "0")}`;
}

/** A frame at its second. */
export interface Timed {
  frame: FrameBrief;
  seconds: number;
}

/** The frames of the dyes that were taken after the start, earliest first. A clock's offset is added to each. */
export function timed(frames: readonly FrameBrief[], startUtcUs: number, offsetS: number): Timed[] {
  return frames
    .filter((f) => (f.modality === "fa" || f.modality === "icg") && f.acquired_utc_us !== null && f.set_aside === null)
    .map((frame) => ({ frame, seconds: ((frame.acquired_utc_us ?? 0) - startUtcUs) / 1e6 + offsetS }))
    .filter((one) => one.seconds >= 0)
    .sort((a, b) => a.seconds - b.seconds);
}

/** Where a second lies, 0 to 1: the first minute takes half of a ten-minute axis, since most happens in it. */
export function place(seconds: number, last: number): number {
  const bend = (s: number): number => Math.log1p(Math.max(0, s) / 15);
  return Math.min(1, bend(seconds) / Math.max(1e-9, bend(last)));
}

const TICKS = [10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600];

/** Marks of an axis that ends at `last` seconds: where and what. */
export function ticks(last: number): { x: number; label: string }[] {
  return TICKS.filter((s) => s <= last).map((s) => ({ x: place(s, last), label: s < 60 ? t.dye.seconds(s) : t.dye.minutes(s / 60) }));
}

/** Where an axis ends: a little beyond the last frame due or taken, and beyond now. */
export function axisEnd(due: readonly DyeDue[], startUtcUs: number, taken: readonly Timed[], now: number): number {
  const ends = due.map((d) => (d.to_utc_us === null ? 0 : (d.to_utc_us - startUtcUs) / 1e6));
  return 1.05 * Math.max(40, now, ...ends, ...taken.map((t) => t.seconds));
}

/** Frames to hang on the axis, each at its second and none on another: the latest, then the next that has room before it. */
export function hung(taken: readonly Timed[], last: number, columns: number): { x: number; at: Timed }[] {
  const chosen: { x: number; at: Timed }[] = [];
  let free = Infinity;
  for (const at of [...taken].reverse()) {
    const x = place(at.seconds, last);
    if (x > free) continue;
    chosen.unshift({ x, at });
    free = x - 1 / columns;
  }
  return chosen;
}
