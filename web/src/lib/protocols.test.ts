import { expect, test } from "vitest";
import { PROTOCOLS, protocolName } from "./protocols";

test("a protocol's name and title are those of its head, not of a view", () => {
  expect(protocolName('name = "a"\ntitle = "A b"\n[[view]]\nname = "v"\n')).toEqual({ name: "a", title: "A b" });
  expect(protocolName('name = "a"\n[[view]]\ntitle = "v"\n')).toBeNull();
});

test("every shipped protocol can be chosen", () => {
  expect(PROTOCOLS.map((p) => p.name)).toContain("first-look");
  expect(new Set(PROTOCOLS.map((p) => p.name)).size).toBe(PROTOCOLS.length);
});
