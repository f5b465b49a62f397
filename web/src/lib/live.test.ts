import { afterEach, beforeEach, describe, expect, test, vi } from "vitest";
import { Failure } from "../api/client";
import { live, Loaded } from "./live.svelte";

beforeEach(() => {
  vi.useFakeTimers();
});
afterEach(() => {
  vi.useRealTimers();
});

/** A load that ends when the test says so. */
function slow(): { load: () => Promise<number>; end: (value: number) => void; calls: () => number } {
  const waiting: ((value: number) => void)[] = [];
  let calls = 0;
  return {
    load: () => {
      calls += 1;
      return new Promise((resolve) => waiting.push(resolve));
    },
    end: (value) => waiting.shift()?.(value),
    calls: () => calls,
  };
}

const tick = (milliseconds: number): Promise<unknown> => vi.advanceTimersByTimeAsync(milliseconds);

describe("loaded data", () => {
  test("follows changes that concern it, and any gap", async () => {
    let n = 0;
    const data = new Loaded(() => Promise.resolve((n += 1)), (notice) => notice !== "missed" && notice.frame_id === 7);
    const end = data.follow();
    await tick(0);
    live.tell({ id: 1, kind: "frame", visit_id: null, frame_id: 8 });
    await tick(1000);
    expect(data.value).toBe(1);
    live.tell({ id: 2, kind: "frame", visit_id: null, frame_id: 7 });
    await tick(1000);
    expect(data.value).toBe(2);
    live.tell("missed");
    await tick(1000);
    expect(data.value).toBe(3);
    end();
    live.tell("missed");
    await tick(1000);
    expect(data.value).toBe(3);
  });

  test("a burst of changes is one load, and a stream without pause does not starve it", async () => {
    let n = 0;
    const data = new Loaded(() => Promise.resolve((n += 1)), () => true);
    const end = data.follow();
    await tick(0);
    for (let i = 0; i < 5; i += 1) live.tell("missed");
    await tick(200);
    expect(n).toBe(2);
    for (let i = 0; i < 40; i += 1) {
      live.tell("missed");
      await tick(50);
    }
    expect(n).toBeGreaterThan(10);
    expect(n).toBeLessThan(25);
    end();
  });

  test("a change during a slow load is not lost: it is loaded once more after it", async () => {
    const source = slow();
    const data = new Loaded(source.load, () => true);
    const end = data.follow();
    live.tell("missed");
    await tick(500);
    expect(source.calls()).toBe(1);
    source.end(1);
    await tick(500);
    expect(source.calls()).toBe(2);
    source.end(2);
    await tick(0);
    expect(data.value).toBe(2);
    end();
  });

  test("an answer that a newer one has overtaken is dropped", async () => {
    const waiting: ((value: string) => void)[] = [];
    const data = new Loaded(() => new Promise<string>((resolve) => waiting.push(resolve)), () => true);
    const [first, second] = [data.now(), data.now()];
    waiting[1]?.("new");
    await second;
    waiting[0]?.("old");
    await first;
    expect(data.value).toBe("new");
  });

  test("stays while the server is away, says so, and comes back by itself; what is not there is not asked for again", async () => {
    let state: "there" | "away" | "gone" = "there";
    let calls = 0;
    const data = new Loaded(() => {
      calls += 1;
      if (state === "there") return Promise.resolve(calls);
      return Promise.reject(new Failure("x", "y", state === "away" ? 0 : 404));
    }, () => true);
    const end = data.follow();
    await tick(0);
    state = "away";
    live.tell("missed");
    await tick(500);
    expect([data.value, data.failure?.status]).toEqual([1, 0]);
    state = "there";
    await tick(5000);
    expect([data.value, data.failure]).toEqual([3, null]);
    state = "gone";
    live.tell("missed");
    await tick(500);
    await tick(60_000);
    expect([calls, data.failure?.status]).toEqual([4, 404]);
    end();
  });
});
