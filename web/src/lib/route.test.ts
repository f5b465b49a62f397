import fc from "fast-check";
import { expect, test } from "vitest";
import { parseRoute, routePath } from "./route";

test("known paths lead to their screens, anything else to none", () => {
  expect(parseRoute("/")).toEqual({ screen: "day" });
  expect(parseRoute("/visits/7")).toEqual({ screen: "visit", id: 7 });
  expect(parseRoute("/frames/12/")).toEqual({ screen: "frame", id: 12 });
  expect(parseRoute("/unassigned")).toEqual({ screen: "unassigned" });
  expect(parseRoute("/visits/7/montage/R")).toEqual({ screen: "montage", id: 7, eye: "R" });
  expect(routePath({ screen: "montage", id: 7, eye: "L" })).toBe("/visits/7/montage/L");
  expect(parseRoute("/send")).toEqual({ screen: "send" });
  for (const path of ["/visits", "/visits/7/8", "/visits/-1", "/frames/x", "/frames/1e3", "/other", "/unassigned/1", "/send/1", "/visits/7/montage/B", "/visits/7/montage"]) {
    expect(parseRoute(path)).toEqual({ screen: "unknown", path });
  }
});

test("a path with any id leads back to the same id", () => {
  fc.assert(fc.property(fc.nat(), fc.constantFrom("visit" as const, "frame" as const), (id, screen) => {
    expect(parseRoute(routePath({ screen, id }))).toEqual({ screen, id });
  }));
});

test("any path is read without a crash, and an unknown one keeps itself", () => {
  fc.assert(fc.property(fc.string(), (text) => {
    const path = `/${text}`;
    const route = parseRoute(path);
    if (route.screen === "unknown") expect(route.path).toBe(path);
  }));
});
