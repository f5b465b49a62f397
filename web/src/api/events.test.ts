import fc from "fast-check";
import { beforeEach, describe, expect, test } from "vitest";
import { Feed, parseChange, type LiveState, type Notice, type Source } from "./events";

class FakeSource implements Source {
  readyState = 0;
  onopen: Source["onopen"] = null;
  onerror: Source["onerror"] = null;
  closed = false;
  private listener: ((event: MessageEvent<string>) => void) | null = null;

  addEventListener(type: string, listener: (event: MessageEvent<string>) => void): void {
    if (type === "change") this.listener = listener;
  }
  close(): void {
    this.closed = true;
  }
  opens(): void {
    this.readyState = 1;
    this.onopen?.({} as Event);
  }
  /** 0: the browser tries by itself; 2: it gave up. */
  fails(readyState: 0 | 2): void {
    this.readyState = readyState;
    this.onerror?.({} as Event);
  }
  says(id: number, frame = 1): void {
    this.listener?.({ data: JSON.stringify({ id, kind: "frame", visit_id: null, frame_id: frame }) } as MessageEvent<string>);
  }
}

let sources: FakeSource[];
let notices: Notice[];
let states: LiveState[];
let timers: { run: () => void; pause: number }[];
let feed: Feed;

function source(i: number): FakeSource {
  const one = sources[i];
  if (one === undefined) throw new Error(`no connection ${String(i)}`);
  return one;
}
const ids = (): (number | "missed")[] => notices.map((n) => (n === "missed" ? n : n.id));

beforeEach(() => {
  [sources, notices, states, timers] = [[], [], [], []];
  feed = new Feed({
    open: () => {
      const one = new FakeSource();
      sources.push(one);
      return one;
    },
    onNotice: (n) => notices.push(n),
    onState: (s) => states.push(s),
    later: (run, pause) => timers.push({ run, pause }),
    cancel: () => timers.splice(0),
  });
  feed.start();
});

describe("feed", () => {
  test("passes each change on once, though the server repeats", () => {
    source(0).opens();
    for (const id of [1, 2, 2, 1, 3]) source(0).says(id);
    expect(ids()).toEqual([1, 2, 3]);
    expect(states).toEqual(["connecting", "live"]);
  });

  test("loads anew after a gap that the browser closed by itself", () => {
    source(0).opens();
    source(0).says(7);
    source(0).fails(0);
    source(0).opens();
    source(0).says(8);
    expect(ids()).toEqual([7, "missed", 8]);
    expect(states).toEqual(["connecting", "live", "lost", "live"]);
    expect(sources).toHaveLength(1);
  });

  test("connects anew where the browser gave up, with growing pauses, and loads anew", () => {
    source(0).fails(2);
    expect(source(0).closed).toBe(true);
    timers[0]?.run();
    source(1).fails(2);
    timers[1]?.run();
    expect(timers.map((t) => t.pause)).toEqual([1000, 2000]);
    source(2).opens();
    expect(ids()).toEqual(["missed"]);
    source(2).fails(2);
    expect(timers[2]?.pause).toBe(1000);
  });

  test("never pauses longer than 15 s", () => {
    for (let i = 0; i < 9; i += 1) {
      source(i).fails(2);
      timers[i]?.run();
    }
    expect(Math.max(...timers.map((t) => t.pause))).toBe(15_000);
  });

  test("is not deaf after the server's store was restored and counts from 1 again", () => {
    source(0).opens();
    source(0).says(900);
    source(0).fails(0);
    source(0).opens();
    source(0).says(1);
    expect(ids()).toEqual([900, "missed", 1]);
  });

  test("an old connection that speaks late is not heard", () => {
    source(0).opens();
    source(0).fails(2);
    timers[0]?.run();
    source(0).says(5);
    source(0).opens();
    expect(ids()).toEqual([]);
  });

  test("stops for good", () => {
    source(0).fails(2);
    feed.stop();
    expect(timers).toEqual([]);
    expect(source(0).closed).toBe(true);
  });
});

describe("event data", () => {
  test("is read where it is a change", () => {
    expect(parseChange('{"id":3,"kind":"visit","visit_id":4,"frame_id":null,"more":1}')).toEqual({
      id: 3, kind: "visit", visit_id: 4, frame_id: null,
    });
  });

  test.each(["", "{", "null", "[]", '{"id":"3","kind":"visit"}', '{"id":1.5,"kind":"visit"}', '{"id":1,"kind":"other"}'])(
    "that is none is left alone: %s",
    (data) => {
      expect(parseChange(data)).toBeNull();
    },
  );

  test("never throws", () => {
    fc.assert(fc.property(fc.oneof(fc.string(), fc.json()), (data) => {
      expect(() => parseChange(data)).not.toThrow();
    }));
  });
});
