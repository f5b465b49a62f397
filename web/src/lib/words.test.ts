import { readFileSync } from "node:fs";
import fc from "fast-check";
import { describe, expect, test } from "vitest";
import type { FrameBrief } from "../api/model";
import { en } from "../messages/en";
import { findingWord, frameTitle, percent, reasons, recorded, resultShape, shortLine, upperFirst, viewLine } from "./words";

/** The `Self::Name => "text"` lines of a `screen()` in the words crate, keyed as JSON writes the name. */
function serverWords(file: string): Record<string, string> {
  const source = readFileSync(new URL(`../../../crates/words/src/${file}.rs`, import.meta.url), "utf8");
  const keys = new Map([...source.matchAll(/^\s+(\w+) = "(\w+)",$/gm)].map((m) => [m[1], m[2]]));
  const screen = source.slice(source.indexOf("fn screen"));
  const lines = [...screen.matchAll(/Self::(\w+) => "([^"]+)"/g)];
  return Object.fromEntries(lines.map((m) => [keys.get(m[1]) ?? m[1], m[2] ?? ""]));
}

describe("the page says what the server says", () => {
  test.each([
    ["gaze", en.gazes],
    ["modality", en.modalities],
    ["verdict", en.results],
    ["eye", en.eyes],
  ])("%s", (file, words) => {
    const theirs = serverWords(file);
    expect(Object.keys(theirs).length).toBeGreaterThan(1);
    expect(words).toEqual(theirs);
  });

  test("finding", () => {
    const theirs = serverWords("finding");
    expect(Object.keys(theirs).length).toBeGreaterThan(15);
    for (const [kind, word] of Object.entries(theirs)) expect(findingWord(kind)).toBe(word);
  });
});

describe("shapes", () => {
  test("tell results apart without colour", () => {
    expect([resultShape("usable"), resultShape("limited"), resultShape("not_usable")]).toEqual(["filled", "half", "open"]);
  });
});

describe("lines", () => {
  test("name eye, kind and gaze in that order", () => {
    expect(viewLine("R", "colour", "primary")).toBe("Right eye (OD), colour, straight ahead");
    expect(viewLine(null, "faf", "down")).toBe("Eye not known, autofluorescence (FAF), looking down");
    expect(viewLine("L", null, "primary")).toBe("Left eye (OS), kind not known, straight ahead");
  });

  test("a file that could not be read is called by its name, not by a guess", () => {
    const frame: FrameBrief = {
      id: 1, visit_id: null, name: "a.jpg", eye: null, modality: "colour", gaze: "primary", acquired_utc_us: null,
      received_utc_us: 0, state: "failed", verdict: null, next: null, leading: null, set_aside: null,
      quarantined: false, query: null,
    };
    expect(frameTitle(frame)).toBe("a.jpg");
    expect(frameTitle({ ...frame, state: "checked", eye: "L" })).toBe("Left eye (OS), colour, straight ahead");
  });

  test("an unknown finding is still readable", () => {
    expect(upperFirst(findingWord("new_kind"))).toBe("New kind");
  });

  test("of one gaze fit on a chart", () => {
    expect(shortLine(["colour", "faf"], "primary")).toBe("ahead: colour, FAF");
  });

  test("one frame, two frames", () => {
    expect([0, 1, 2].map(en.day.beingChecked)).toEqual(["0 frames being checked …", "1 frame being checked …", "2 frames being checked …"]);
  });

  test("of a reason, what is kept is English", () => {
    expect(reasons("aside")[0]).toEqual({ code: "better", kept: "A better frame is there", shown: "A better frame is there" });
    const [first] = reasons("aside");
    if (first !== undefined) expect([recorded(first, ""), recorded(first, "the third")]).toEqual(["A better frame is there", "A better frame is there: the third"]);
    for (const what of ["aside", "correct", "not_done", "not_obtainable", "withdraw"] as const) {
      expect(reasons(what).map((r) => r.kept)).toEqual(Object.values(en.reasons[what]));
    }
  });
});

describe("per cent", () => {
  test("never rounds to all or to nothing", () => {
    expect([percent(0), percent(0.001), percent(0.84), percent(0.998), percent(1), percent(Number.NaN)].map((p) => p.replace("\u00a0", " "))).toEqual([
      "0 %", "less than 1 %", "84 %", "99 %", "100 %", "0 %",
    ]);
    fc.assert(fc.property(fc.double({ min: 1e-6, max: 0.9999, noNaN: true }), (share) => {
      expect(percent(share)).not.toMatch(/^100\b/);
      expect(percent(share)).not.toMatch(/^0\b/);
    }));
  });
});
