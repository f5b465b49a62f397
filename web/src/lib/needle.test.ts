import { expect, test } from "vitest";
import { expiryOf, numberOf } from "./needle";

test("doses are numbers above zero, with point or comma", () => {
  expect(["500", " 2,5 ", "100.0", ""].map(numberOf)).toEqual([500, 2.5, 100, null]);
  expect(["0", "-1", "5 mL", "1e3", "1.2.3", "."].map(numberOf)).toEqual(Array(6).fill("wrong"));
});

test("an expiry is a month or a day that there is", () => {
  expect(["2027-08", "2028-02-29", ""].map(expiryOf)).toEqual(["2027-08", "2028-02-29", ""]);
  expect(["2027-8", "08/27", "2027-13", "2027-02-29", "2027-00"].map(expiryOf)).toEqual(Array(5).fill(null));
});
