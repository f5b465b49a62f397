import fc from "fast-check";
import { describe, expect, test } from "vitest";
import type { Point, RetinalPoint } from "../api/model";
import {
  angleBetween, chartArea, clockMeridian, densify, holds, lookPath, outlineCentre, outlineNamePlace, outlinePath, ringAt, ringPath, sides, spread, toChart,
  toRetina, usualDisc,
} from "./chart";

const point = fc.tuple(fc.double({ min: 0.01, max: 179, noNaN: true }), fc.double({ min: 0, max: 359.999, noNaN: true }));
const mark = fc.tuple(fc.double({ min: -100, max: 100, noNaN: true }), fc.double({ min: -100, max: 100, noNaN: true }));

function square(eccentricity: number, meridian: number, half: number): RetinalPoint[] {
  const [x, y] = toChart([eccentricity, meridian]);
  const corners: Point[] = [[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]];
  return corners.map(toRetina);
}

describe("polar drawing", () => {
  test("12 o'clock is up, 3 o'clock is right, 9 o'clock is left", () => {
    const at = (hour: number): Point => toChart([50, clockMeridian(hour)]).map((v) => Math.round(v) + 0) as Point;
    expect([at(12), at(3), at(6), at(9)]).toEqual([[0, -50], [50, 0], [0, 50], [-50, 0]]);
  });

  test("the clock turns clockwise by 30° an hour", () => {
    expect([1, 2, 10].map(clockMeridian)).toEqual([60, 30, 150]);
  });

  test("is equidistant: the distance from the middle is the eye angle", () => {
    fc.assert(fc.property(point, (p) => {
      expect(Math.hypot(...toChart(p))).toBeCloseTo(p[0], 9);
    }));
  });

  test("goes there and back", () => {
    fc.assert(fc.property(point, (p) => {
      const [eccentricity, meridian] = toRetina(toChart(p));
      expect(eccentricity).toBeCloseTo(p[0], 9);
      expect(angleBetween([eccentricity, meridian], p)).toBeCloseTo(0, 6);
      expect(meridian).toBeGreaterThanOrEqual(0);
      expect(meridian).toBeLessThan(360.0000001);
    }));
  });
});

describe("angle", () => {
  test("of fovea and disc is the published 15.5706° for (15.5°, 1.5°)", () => {
    // Rohrschneider 2004: 15.5° horizontal and 1.5° vertical; as a great circle 15.570640°, azimuth 84.4036°.
    expect(angleBetween([0, 0], [15.57064, 90 - 84.4036])).toBeCloseTo(15.57064, 6);
  });

  test("is symmetric, and along one meridian the difference of eccentricities", () => {
    fc.assert(fc.property(point, point, (a, b) => {
      expect(angleBetween(a, b)).toBeCloseTo(angleBetween(b, a), 9);
      expect(angleBetween([a[0], a[1]], [b[0], a[1]])).toBeCloseTo(Math.abs(a[0] - b[0]), 6);
    }));
  });
});

describe("densify", () => {
  test("keeps the given points in order and leaves no long side", () => {
    fc.assert(fc.property(fc.array(point, { minLength: 3, maxLength: 8 }), (ring) => {
      const dense = densify(ring, 4);
      let from = 0;
      for (const given of ring) {
        from = dense.indexOf(given, from);
        expect(from).toBeGreaterThanOrEqual(0);
      }
      dense.forEach((a, i) => {
        const b = dense[(i + 1) % dense.length] ?? a;
        const angle = angleBetween(a, b);
        expect(angle <= 4.001 || angle > 179.8).toBe(true);
      });
    }));
  });

  test("adds points on the great circle: both parts add up to the whole", () => {
    fc.assert(fc.property(point, point, (a, b) => {
      const whole = angleBetween(a, b);
      fc.pre(whole > 5 && whole < 179);
      const middle = densify([a, b], whole / 2 + 1e-6)[1];
      expect(middle).toBeDefined();
      if (middle !== undefined) expect(angleBetween(a, middle) + angleBetween(middle, b)).toBeCloseTo(whole, 6);
    }));
  });
});

describe("outlines", () => {
  test("have their centre of area where they lie", () => {
    fc.assert(fc.property(fc.double({ min: 0, max: 60, noNaN: true }), fc.double({ min: 0, max: 359, noNaN: true }), (e, m) => {
      const centre = outlineCentre([square(e, m, 3)]);
      const [x, y] = toChart([e, m]);
      expect(centre?.[0]).toBeCloseTo(x, 0);
      expect(centre?.[1]).toBeCloseTo(y, 0);
    }));
  });

  test("of several, the largest tells the centre; without any there is none", () => {
    const centre = outlineCentre([square(40, 0, 2), square(40, 180, 10)]);
    expect(centre?.[0]).toBeLessThan(-35);
    expect(outlineCentre([])).toBeNull();
    expect(outlineCentre([[[1, 1], [2, 2]]])).toBeNull();
    expect(outlineNamePlace([])).toBeNull();
  });

  test("are named towards their far end, and below where they surround the fovea", () => {
    const up = outlineNamePlace([square(40, 90, 20)]);
    expect(up?.[1]).toBeLessThan(-45);
    const middle = outlineNamePlace([square(0, 0, 30)]);
    expect(middle?.[1]).toBeGreaterThan(10);
  });

  test("become one closed path per ring, without rings of fewer than three points", () => {
    const path = outlinePath([square(10, 0, 5), [[1, 1], [2, 2]]]);
    expect(path.match(/M/g)).toHaveLength(1);
    expect(path.endsWith("Z")).toBe(true);
    expect(path).not.toContain("NaN");
  });

  test("of a square have the square's area", () => {
    expect(chartArea([[0, 0], [4, 0], [4, 2], [0, 2]])).toBe(8);
  });
});

describe("marks", () => {
  test("that stand alone stay; the fixed ones always do", () => {
    expect(spread([[0, 0], [50, 0]], 10)).toEqual([[0, 0], [50, 0]]);
    const [a, b] = spread([[0, 0], [1, 0]], 10, 1);
    expect(a).toEqual([0, 0]);
    expect(b?.[0]).toBeGreaterThanOrEqual(10);
  });

  test("part until each can be touched, also from one spot", () => {
    fc.assert(fc.property(fc.array(mark, { maxLength: 8 }), (marks) => {
      const out = spread(marks, 12, 0, 2000);
      out.forEach((a, i) => {
        out.slice(i + 1).forEach((b) => {
          expect(Math.hypot(a[0] - b[0], a[1] - b[1])).toBeGreaterThan(11.9);
        });
      });
    }));
    expect(new Set(spread(Array.from({ length: 6 }, (): Point => [3, 3]), 12).map(String)).size).toBe(6);
  });
});

describe("sides of an eye", () => {
  test("the disc is nasal: on the right of a right eye's chart, on the left of a left eye's, above the horizontal", () => {
    expect(Math.hypot(...usualDisc("R").centre)).toBeCloseTo(22.26, 2);
    expect(usualDisc("R").centre[0]).toBeGreaterThan(20);
    expect(usualDisc("L").centre[0]).toBeCloseTo(-usualDisc("R").centre[0], 9);
    expect(usualDisc("L").centre[1]).toBeLessThan(0);
    expect(sides("R")).toEqual({ left: "temporal", right: "nasal" });
    expect(sides("L")).toEqual({ left: "nasal", right: "temporal" });
  });
});

test("a landmark is drawn by its outline, and as a circle where it has none", () => {
  const round = { name: "ora", degrees: 100, outline: [] };
  expect(ringPath(round).startsWith("M100 0L")).toBe(true);
  expect(ringAt(round, 270)).toBe(100);
  const oval = { ...round, outline: [0, 90, 180, 270].map((m): RetinalPoint => [m === 0 ? 80 : 60, m]) };
  expect([ringAt(oval, 355), ringAt(oval, 268)]).toEqual([80, 60]);
  expect(ringPath(oval).startsWith("M80 0L")).toBe(true);
});

test("a proposed gaze is an arrow from the fovea, and nothing where it is straight ahead", () => {
  expect(lookPath([0, -40], 0.5)).toBe("M0 -4L0 -40M-4 -33.5L0 -40L4 -33.5");
  expect(lookPath([0, 0], 0.5)).toBe("");
});

test("a place lies in an outline and not in its hole", () => {
  const ring = (far: number): [number, number][] => Array.from({ length: 36 }, (_, i) => [far, i * 10]);
  const outlines = [ring(60), ring(20)];
  expect(holds(outlines, [40, 0])).toBe(true);
  expect(holds(outlines, [0, -40])).toBe(true);
  expect(holds(outlines, [5, 5])).toBe(false);
  expect(holds(outlines, [61, 0])).toBe(false);
  expect(holds([], [0, 0])).toBe(false);
});
