import fc from "fast-check";
import { describe, expect, test } from "vitest";
import type { FrameBrief } from "../api/model";
import { clockText, hung, place, ticks, timed } from "./run";

function frame(id: number, seconds: number): FrameBrief {
  return {
    id, visit_id: 1, name: "", eye: "R", modality: "fa", gaze: "primary", acquired_utc_us: seconds * 1e6, received_utc_us: 0, state: "checked",
    verdict: "usable", next: "keep", leading: null, set_aside: null, quarantined: false, query: null,
  };
}

describe("a dye run's clock and axis", () => {
  test("reads like a clock", () => {
    expect(clockText(245)).toBe("4:05");
    expect(clockText(-3)).toBe("0:00");
  });

  test("the first minute takes about half of ten", () => {
    expect(place(60, 600)).toBeGreaterThan(0.4);
    expect(place(60, 600)).toBeLessThan(0.5);
    expect(ticks(130).map((t) => t.label)).toEqual(["10 s", "20 s", "30 s", "1 min", "2 min"]);
  });

  test("frames before the start, and of other kinds, hang nowhere", () => {
    const colour: FrameBrief = { ...frame(3, 30), modality: "colour" };
    const all = timed([frame(1, 20), frame(2, 8), colour, { ...frame(4, 31), set_aside: "blink" }], 10e6, 0);
    expect(all.map((t) => [t.frame.id, t.seconds])).toEqual([[1, 10]]);
    expect(timed([frame(2, 8)], 10e6, 5).map((t) => t.seconds)).toEqual([3]);
  });

  test("no two pictures hang in one place, and the order is that of time", () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 0, max: 600 }), { maxLength: 80 }), fc.integer({ min: 1, max: 12 }), (seconds, columns) => {
        const all = timed(seconds.map((s, i) => frame(i, s)), 0, 0);
        const some = hung(all, 640, columns);
        expect(some.length).toBeLessThanOrEqual(columns + 1);
        some.slice(1).forEach((s, i) => expect(s.x - (some[i]?.x ?? 0)).toBeGreaterThan(0.999 / columns));
        expect(some.map((s) => s.at.seconds)).toEqual([...some.map((s) => s.at.seconds)].sort((a, b) => a - b));
        if (all.length > 0) expect(some.at(-1)?.at).toBe(all.at(-1));
      }),
    );
  });
});
