import { afterEach, describe, expect, test, vi } from "vitest";
import { api, asFailure, Failure, failureOf } from "./client";

afterEach(() => {
  vi.unstubAllGlobals();
});

describe("failures", () => {
  test("say what the server says", () => {
    const body = '{"schema":"serrata.error/1","path":"x","code":"empty","message":"The file is empty.","remedy":"Copy it again."}';
    const failure = failureOf(422, body);
    expect([failure.message, failure.remedy, failure.status]).toEqual(["The file is empty.", "Copy it again.", 422]);
  });

  test.each(["", "<html>", "null", "{}", '{"message":3}'])("still have a sentence and a remedy for the body %j", (body) => {
    const failure = failureOf(500, body);
    expect(failure.message).toBe("The server answered with status 500.");
    expect(failure.remedy).not.toBe("");
  });

  test("of unknown making become one", () => {
    expect(asFailure(new TypeError("x"))).toBeInstanceOf(Failure);
  });
});

describe("calls", () => {
  test("ids and names are escaped, bodies are sent as they are", async () => {
    const seen: [string, RequestInit | undefined][] = [];
    vi.stubGlobal("fetch", (path: string, init?: RequestInit) => {
      seen.push([path, init]);
      return Promise.resolve(new Response('{"frames":[1],"duplicate":false}'));
    });
    const file = new Blob(["abc"]);
    expect(await api.send(file, "a b&c.jpg")).toEqual({ frames: [1], duplicate: false });
    expect(seen[0]?.[0]).toBe("/api/v1/files?name=a%20b%26c.jpg");
    expect(seen[0]?.[1]?.body).toBe(file);
    await api.fact(1, { kind: "unwell" });
    expect(seen[1]?.[0]).toBe("/api/v1/visits/1/facts");
    expect(seen[1]?.[1]?.body).toBe('{"who":"page","reason":null,"fact":{"kind":"unwell"}}');
  });

  test("a server that does not answer is told so", async () => {
    vi.stubGlobal("fetch", () => Promise.reject(new TypeError("refused")));
    await expect(api.day()).rejects.toMatchObject({ message: "The server does not answer.", status: 0 });
  });

  test("an answer that is no JSON is a failure, not a crash", async () => {
    vi.stubGlobal("fetch", () => Promise.resolve(new Response("<html>")));
    await expect(api.day()).rejects.toBeInstanceOf(Failure);
  });
});
