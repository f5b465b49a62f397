import fc from "fast-check";
import { expect, test } from "vitest";
import type { DayVisit } from "../api/model";
import { boardOf } from "./board";

const base: DayVisit = {
  id: 1, patient_name: "Lantern, Pebble", patient_id: "DEMO-1", birth_date: null, order: "First look", chair: null,
  opened_utc_us: 0, state: "open", views_due: 1, views_met: 0, frames: 0, frames_not_usable: 0, next_step: null, completeness: "not_yet",
  calls_open: 0, paused_until_utc_us: null, scheduled: null, unwell: false,
};

test("chairs are sorted as people count: 2 before 10", () => {
  const board = boardOf([{ ...base, id: 1, chair: "Chair 10" }, { ...base, id: 2, chair: "Chair 2" }]);
  expect(board.seated.map((v) => v.chair)).toEqual(["Chair 2", "Chair 10"]);
});

test("who waits longest is next, but not before those who still need pictures", () => {
  const board = boardOf([
    { ...base, id: 1, opened_utc_us: 9 },
    { ...base, id: 2, opened_utc_us: 1, completeness: "complete" },
    { ...base, id: 3, opened_utc_us: 5 },
  ]);
  expect(board.waiting.map((v) => v.id)).toEqual([3, 1, 2]);
});

test("every visit stands on the board once", () => {
  const visit = fc.record({
    chair: fc.option(fc.string()), completeness: fc.constantFrom("not_yet" as const, "complete" as const), opened_utc_us: fc.nat(),
  });
  fc.assert(fc.property(fc.array(visit), (list) => {
    const visits = list.map((v, i) => ({ ...base, ...v, id: i }));
    const { seated, waiting } = boardOf(visits);
    expect([...seated, ...waiting].map((v) => v.id).sort((a, b) => a - b)).toEqual(visits.map((_, i) => i));
  }));
});
