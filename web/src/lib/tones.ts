/** Which channels of a picture are seen, and how bright: for the eye only, never for the check. */

/** All colours, or one channel as grey; green alone is what is called red-free. */
export type Channel = "all" | "red" | "green";

export interface Tones {
  channel: Channel;
  /** Width of the window of light that is spread over the screen's range, as a share of the picture's range. */
  window: number;
  /** Middle of that window. */
  level: number;
  inverted: boolean;
}

export const AS_TAKEN: Tones = { channel: "all", window: 1, level: 0.5, inverted: false };

/** Weights of red, green and blue; zeros for all colours as they are. */
export function weightsOf({ channel }: Tones): [number, number, number] {
  return channel === "red" ? [1, 0, 0] : channel === "green" ? [0, 1, 0] : [0, 0, 0];
}

/** The darkest light that is not black, and by how much the rest is spread. Example: window 0.5, level 0.5 → 0.25 and 2. */
export function levelsOf({ window, level }: Tones): [number, number] {
  const wide = Math.max(window, 0.02);
  return [level - wide / 2, 1 / wide];
}
