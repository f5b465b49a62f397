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
      this.tell(notice);
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

  /** Passes a notice on to all listeners. */
  tell(notice: Notice): void {
    for (const listener of this.listeners) listener(notice);
  }

  /** Calls `listener` at each change; answers what ends that. */
  listen(listener: Listener): () => void {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }
}

export const live = new Live();

// Several changes in a row (a folder full of pictures) cause one load, not one each; but a stream of changes that never
// pauses must not keep a load from happening, so that the first change sets the time.
const SETTLE = 120;
const TRY_AGAIN = 4000;

/** One answer of the server, loaded again when a change concerns it. What was loaded stays while a load fails. */
export class Loaded<T> {
  value = $state.raw<T | null>(null);
  failure = $state.raw<Failure | null>(null);
  private turn = 0;
  private loading = 0;
  private again = false;
  private timer: ReturnType<typeof setTimeout> | null = null;
  private due = Infinity;

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
      this.again = false;
      this.forget();
    };
  }

  /** Loads now. A slow answer that a newer load has overtaken is dropped. */
  async now(): Promise<void> {
    this.turn += 1;
    this.loading += 1;
    const turn = this.turn;
    try {
      const value = await this.load();
      if (turn === this.turn) [this.value, this.failure] = [value, null];
    } catch (error) {
      if (turn === this.turn) this.failed(asFailure(error));
    } finally {
      this.loading -= 1;
      if (this.again && this.loading === 0) {
        this.again = false;
        this.soon(SETTLE);
      }
    }
  }

  private failed(failure: Failure): void {
    this.failure = failure;
    if (failure.status === 0 || failure.status >= 500) this.soon(TRY_AGAIN);
  }

  private soon(milliseconds: number): void {
    const due = Date.now() + milliseconds;
    if (due >= this.due) return;
    this.forget();
    this.due = due;
    this.timer = setTimeout(() => {
      this.forget();
      // A load that is under way may have started before the change: load once more after it, not beside it.
      if (this.loading > 0) this.again = true;
      else void this.now();
    }, milliseconds);
  }

  private forget(): void {
    if (this.timer !== null) clearTimeout(this.timer);
    this.timer = null;
    this.due = Infinity;
  }
}
