import fc from "fast-check";
import { expect, test } from "vitest";
import { parseRoute, routePath } from "./route";

test("known paths lead to their screens, anything else to none", () => {
  expect(parseRoute("/")).toEqual({ screen: "day" });
  expect(parseRoute("/visits/7")).toEqual({ screen: "visit", id: "7" });
  expect(parseRoute("/frames/a%2Fb")).toEqual({ screen: "frame", id: "a/b" });
  expect(parseRoute("/unassigned")).toEqual({ screen: "unassigned" });
  expect(parseRoute("/visits")).toEqual({ screen: "unknown", path: "/visits" });
  expect(parseRoute("/visits/7/8")).toEqual({ screen: "unknown", path: "/visits/7/8" });
  expect(parseRoute("/frames/%E0%A4%A")).toEqual({ screen: "unknown", path: "/frames/%E0%A4%A" });
});

test("a path with any id leads back to the same id", () => {
  fc.assert(fc.property(fc.string({ minLength: 1, unit: "grapheme" }), fc.constantFrom("visit" as const, "frame" as const), (id, screen) => {
    expect(parseRoute(routePath({ screen, id }))).toEqual({ screen, id });
  }));
});
