import { expect, test } from "vitest";
import { AS_TAKEN, levelsOf, weightsOf } from "./tones";

test("as taken, nothing is changed; a narrow window spreads", () => {
  expect(levelsOf(AS_TAKEN)).toEqual([0, 1]);
  expect(levelsOf({ ...AS_TAKEN, window: 0.5 })).toEqual([0.25, 2]);
  expect(levelsOf({ ...AS_TAKEN, window: 0 })[1]).toBe(50);
  expect(weightsOf(AS_TAKEN)).toEqual([0, 0, 0]);
  expect(weightsOf({ ...AS_TAKEN, channel: "green" })).toEqual([0, 1, 0]);
});
