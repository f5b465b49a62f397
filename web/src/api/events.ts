/**
 * Live events of the server. The browser resumes a dropped connection by itself and sends the last id that it saw;
 * where it gives up, this feed connects anew with growing pauses. After every gap the listeners are told to load
 * again: a browser that had seen no id yet resumes from nowhere, and a restored server may count anew.
 */

export interface Change {
  id: number;
  kind: "frame" | "visit" | "intake";
  visit_id: number | null;
  frame_id: number | null;
}

/** `"missed"`: events may have been lost, load again. */
export type Notice = Change | "missed";
export type LiveState = "connecting" | "live" | "lost";

/** The part of `EventSource` that the feed uses. */
export interface Source {
  readonly readyState: number;
  onopen: ((event: Event) => unknown) | null;
  onerror: ((event: Event) => unknown) | null;
  addEventListener(type: string, listener: (event: MessageEvent<string>) => void): void;
  close(): void;
}

export interface FeedOptions {
  open: () => Source;
  onNotice: (notice: Notice) => void;
  onState: (state: LiveState) => void;
  later: (run: () => void, milliseconds: number) => number;
  cancel: (timer: number) => void;
}

const CLOSED = 2;
const FIRST_PAUSE = 1000;
const LONGEST_PAUSE = 15_000;

/** Reads the data of one event; null where it is no change that this page knows. */
export function parseChange(data: string): Change | null {
  let value: unknown;
  try {
    value = JSON.parse(data);
  } catch {
    return null;
  }
  if (typeof value !== "object" || value === null) return null;
  const { id, kind, visit_id: visit, frame_id: frame } = value as Record<string, unknown>;
  if (typeof id !== "number" || !Number.isSafeInteger(id)) return null;
  if (kind !== "frame" && kind !== "visit" && kind !== "intake") return null;
  const number = (v: unknown): number | null => (typeof v === "number" ? v : null);
  return { id, kind, visit_id: number(visit), frame_id: number(frame) };
}

/** Keeps one connection alive and passes each change on once, in order. */
export class Feed {
  private source: Source | null = null;
  private last = -1;
  private pause = FIRST_PAUSE;
  private timer: number | null = null;
  private gap = false;

  constructor(private readonly options: FeedOptions) {}

  start(): void {
    this.options.onState("connecting");
    this.connect();
  }

  stop(): void {
    if (this.timer !== null) this.options.cancel(this.timer);
    this.timer = null;
    this.source?.close();
    this.source = null;
  }

  private connect(): void {
    const source = this.options.open();
    this.source = source;
    source.onopen = () => {
      if (this.source !== source) return;
      this.pause = FIRST_PAUSE;
      this.options.onState("live");
      if (this.gap) this.options.onNotice("missed");
      this.gap = false;
    };
    source.onerror = () => {
      if (this.source !== source) return;
      this.options.onState("lost");
      // Ids from before the gap say nothing about those after it.
      this.last = -1;
      this.gap = true;
      if (source.readyState === CLOSED) this.reconnect();
    };
    source.addEventListener("change", (event) => {
      if (this.source === source) this.take(event.data);
    });
  }

  private take(data: string): void {
    const change = parseChange(data);
    // A server repeats what it is not sure of; an id that was seen is not news.
    if (change === null || change.id <= this.last) return;
    this.last = change.id;
    this.options.onNotice(change);
  }

  private reconnect(): void {
    this.source?.close();
    this.source = null;
    this.timer = this.options.later(() => {
      this.timer = null;
      this.connect();
    }, this.pause);
    this.pause = Math.min(this.pause * 2, LONGEST_PAUSE);
  }
}
