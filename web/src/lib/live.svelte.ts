/** The page's one live connection, and data that follows it. */
import { asFailure, type Failure } from "../api/client";
import { Feed, type LiveState, type Notice } from "../api/events";

type Listener = (notice: Notice) => void;

class Live {
  state = $state<LiveState>("connecting");
  private readonly listeners = new Set<Listener>();
  private readonly feed = new Feed({
    open: () => new EventSource("/api/v1/events"),
    onNotice: (notice) => {
      for (const listener of this.listeners) listener(notice);
    },
    onState: (state) => {
      this.state = state;
    },
    later: (run, milliseconds) => window.setTimeout(run, milliseconds),
    cancel: (timer) => {
      window.clearTimeout(timer);
    },
  });

  /** Opens the connection; answers what closes it. */
  start(): () => void {
    this.feed.start();
    return () => {
      this.feed.stop();
    };
  }

  /** Calls `listener` at each change; answers what ends that. */
  listen(listener: Listener): () => void {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }
}

export const live = new Live();

// Several changes in a row (a folder full of pictures) cause one load, not one each.
const SETTLE = 120;
const TRY_AGAIN = 4000;

/** One answer of the server, loaded again when a change concerns it. What was loaded stays while a load fails. */
export class Loaded<T> {
  value = $state.raw<T | null>(null);
  failure = $state.raw<Failure | null>(null);
  private turn = 0;
  private timer: number | null = null;

  constructor(
    private readonly load: () => Promise<T>,
    private readonly concerns: (notice: Notice) => boolean,
  ) {}

  /** Loads now and follows the live connection; answers what ends both. For use in an effect. */
  follow(): () => void {
    void this.now();
    const end = live.listen((notice) => {
      if (notice === "missed" || this.concerns(notice)) this.soon(SETTLE);
    });
    return () => {
      end();
      this.turn += 1;
      if (this.timer !== null) window.clearTimeout(this.timer);
    };
  }

  /** Loads now. A slow answer that a newer load has overtaken is dropped. */
  async now(): Promise<void> {
    this.turn += 1;
    const turn = this.turn;
    try {
      const value = await this.load();
      if (turn !== this.turn) return;
      this.value = value;
      this.failure = null;
    } catch (error) {
      if (turn !== this.turn) return;
      this.failure = asFailure(error);
      if (this.failure.status === 0 || this.failure.status >= 500) this.soon(TRY_AGAIN);
    }
  }

  private soon(milliseconds: number): void {
    if (this.timer !== null) window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => {
      this.timer = null;
      void this.now();
    }, milliseconds);
  }
}
