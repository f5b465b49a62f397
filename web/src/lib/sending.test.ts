import { expect, test } from "vitest";
import type { Delivery } from "../api/model";
import { byVisit, destinationLine, moving, nextTry } from "./sending";

const ONE: Delivery = {
  id: 1, destination: "archive", visit_id: 4, patient: "Kettle F., 11 Jun", name: "a.dcm", kind: "original", frames: [7], state: "waiting", why: null, tries: 2,
  next_try_utc_us: 75_000_000, who: "RK", queued_utc_us: 0, done_utc_us: null,
};

test("the next try is told in minutes and seconds, and only of what goes on by itself", () => {
  expect(nextTry(ONE, 0)).toBe("tried again in 1 min 15 s");
  expect(nextTry(ONE, 70_000_000)).toBe("tried again in 5 s");
  expect(nextTry(ONE, 80_000_000)).toBe("tried now");
  expect(nextTry({ ...ONE, state: "failed" }, 0)).toBe("");
  expect(moving({ ...ONE, state: "done" })).toBe(false);
});

test("deliveries stand by visit, in their order", () => {
  const groups = byVisit([ONE, { ...ONE, id: 2, visit_id: 9, patient: "B" }, { ...ONE, id: 3 }]);
  expect(groups.map((g) => [g.visit, g.all.map((d) => d.id)])).toEqual([[4, [1, 3]], [9, [2]]]);
});

test("a destination's line names only what there is", () => {
  const d = { name: "a", address: "h:1", ae_title: "A", proof: "query" as const, waiting: 0, unproven: 2, done: 5, failed: 1 };
  expect(destinationLine(d)).toBe("1 could not be sent, 2 not proven yet, 5 arrived");
  expect(destinationLine({ ...d, unproven: 0, done: 0, failed: 0 })).toBe("nothing sent yet");
});
