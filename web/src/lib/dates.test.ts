import fc from "fast-check";
import { describe, expect, test } from "vitest";
import { dateText, dayText, isoDate, timeText, whenText } from "./dates";

const us = (...parts: [number, number, number, number, number, number]): number => new Date(...parts).getTime() * 1000;

describe("dates", () => {
  test("have the month in letters, so that 03/07 is never read two ways", () => {
    expect(dateText(us(1961, 2, 7, 0, 0, 0))).toBe("07 Mar 1961");
    expect(dayText(us(2026, 10, 25, 9, 0, 0))).toBe("Wednesday 25 Nov 2026");
  });

  test("say so where there is none", () => {
    expect([dateText(null), timeText(null), whenText(null, 0), dateText(Number.NaN)]).toEqual([
      "date not known", "time not known", "time not known", "date not known",
    ]);
  });

  test("times have 24 hours and two digits", () => {
    expect(timeText(us(2026, 10, 25, 9, 5, 7))).toBe("09:05");
    expect(timeText(us(2026, 10, 25, 21, 5, 7), true)).toBe("21:05:07");
  });

  test("the date is left out for the same day only", () => {
    const now = us(2026, 10, 25, 23, 0, 0);
    expect(whenText(us(2026, 10, 25, 0, 1, 0), now)).toBe("00:01");
    expect(whenText(us(2026, 10, 24, 23, 59, 0), now)).toBe("24 Nov 2026, 23:59");
  });

  test("that are typed are real days, or none", () => {
    expect(isoDate("7", 3, "1961")).toBe("1961-03-07");
    expect(isoDate(" 29", 2, "2024 ")).toBe("2024-02-29");
    for (const [day, month, year] of [["29", 2, "2023"], ["31", 4, "2000"], ["0", 1, "2000"], ["7", 13, "2000"], ["7", 3, "61"], ["x", 1, "2000"]] as const) {
      expect(isoDate(day, month, year)).toBeNull();
    }
  });

  test("any instant reads as day, month in letters and year", () => {
    fc.assert(fc.property(fc.date({ min: new Date(1900, 0, 1), max: new Date(2200, 0, 1), noInvalidDate: true }), (d) => {
      expect(dateText(d.getTime() * 1000)).toMatch(/^\d\d (Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec) \d{4}$/);
    }));
  });
});
