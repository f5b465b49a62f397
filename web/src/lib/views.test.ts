import { expect, test } from "vitest";
import type { VisitView } from "../api/model";
import { byRank, chartPair, nextView } from "./views";

const view = (name: string, rank: VisitView["rank"], state: VisitView["state"]): VisitView => ({
  name, rank, state, eye: "R", modality: "colour", gaze: "primary", frames: [], why: [], tries: 0, last_frame: null,
});

test("musts come before shoulds, and what is due before what is met", () => {
  const names = byRank([
    view("should due", "should", "due"), view("must met", "must", "met"), view("must due 1", "must", "due"), view("must due 2", "must", "due"),
  ]).map((v) => v.name);
  expect(names).toEqual(["must due 1", "must due 2", "must met", "should due"]);
});

test("the right eye's chart is first, whatever the server sends first or leaves out", () => {
  const rings = [{ name: "ora", degrees: 108, outline: [] }];
  const left = { eye: "L" as const, rings, frames: [], last: [], due: [], look: null };
  expect(chartPair([left]).map((c) => c.eye)).toEqual(["R", "L"]);
  expect(chartPair([left])[0]?.rings).toEqual(rings);
  expect(chartPair([left, { ...left, eye: "R" }]).map((c) => c.eye)).toEqual(["R", "L"]);
});

test("the next step's view is the one whose line it begins with, the longest where several do", () => {
  const all = [
    { ...view("a", "must", "due"), gaze: "up" as const },
    { ...view("b", "must", "due"), gaze: "up_right" as const },
    { ...view("c", "must", "met"), gaze: "primary" as const },
  ];
  expect(nextView(all, "Right eye (OD), colour, looking up and to the patient's right, a second try")?.name).toBe("b");
  expect(nextView(all, "Right eye (OD), colour, looking up")?.name).toBe("a");
  expect(nextView(all, "Right eye (OD), colour, straight ahead")).toBeNull();
  // Nothing is said to the patient for a picture that is not to be taken.
  expect(nextView(all, "Right eye (OD), colour, looking up: dye was given before it; close it with a reason")).toBeNull();
  expect([nextView(all, "Something else"), nextView(all, null), nextView([], "x")]).toEqual([null, null, null]);
});
