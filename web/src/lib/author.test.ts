import { afterEach, expect, test, vi } from "vitest";
import { author, setAuthor } from "./author";

function browser(): Map<string, string> {
  const kept = new Map<string, string>();
  vi.stubGlobal("localStorage", {
    getItem: (key: string) => kept.get(key) ?? null,
    setItem: (key: string, value: string) => kept.set(key, value),
    removeItem: (key: string) => kept.delete(key),
  });
  return kept;
}

afterEach(() => {
  vi.unstubAllGlobals();
});

test("initials are kept without space around, and an empty field forgets them", () => {
  const kept = browser();
  expect(setAuthor("  RK ")).toBe("RK");
  expect(author()).toBe("RK");
  setAuthor("   ");
  expect(author()).toBe("");
  expect(kept.size).toBe(0);
});

test("a browser that keeps nothing is no trouble", () => {
  vi.stubGlobal("localStorage", {
    getItem: () => {
      throw new Error("refused");
    },
    setItem: () => {
      throw new Error("refused");
    },
  });
  expect(setAuthor("RK")).toBe("");
  expect(author()).toBe("");
});
