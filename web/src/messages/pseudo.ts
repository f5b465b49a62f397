/**
 * A language that nobody speaks: every message with accents and between brackets. Text on a screen that does not carry them was written
 * past the message file. Built only for that test (`vite build --mode pseudo`).
 */

export const OPEN = "⟦";
export const CLOSE = "⟧";

const ACCENTS: Record<string, string> = {
  a: "á", c: "ç", e: "é", i: "í", n: "ñ", o: "ö", s: "š", u: "ü", y: "ý", z: "ž", A: "Á", C: "Ç", E: "É", I: "Í", N: "Ñ", O: "Ö", S: "Š", U: "Ü",
};

/** One text with its brackets. Example: `"Send"` is `"⟦Šéñd⟧"`. */
export function pseudoText(text: string): string {
  return `${OPEN}${text.replaceAll(/[a-z]/gi, (letter) => ACCENTS[letter] ?? letter)}${CLOSE}`;
}

/** A tree of messages in that language; functions answer in it. The names of the tree stay. */
export function pseudo<T>(messages: T): T {
  return turned(messages) as T;
}

function turned(part: unknown): unknown {
  if (typeof part === "string") return pseudoText(part);
  if (typeof part === "function") return (...args: unknown[]) => turned(Reflect.apply(part, undefined, args));
  if (Array.isArray(part)) return part.map(turned);
  if (typeof part === "object" && part !== null) return Object.fromEntries(Object.entries(part).map(([key, value]) => [key, turned(value)]));
  return part;
}
