/** Tells the server what happened in a visit, and keeps why it could not. */
import { api, asFailure, type Failure } from "../api/client";
import { initials } from "./initials.svelte";

export class Teller {
  failure = $state.raw<Failure | null>(null);

  /** `changed` loads anew what the fact changes. */
  constructor(
    private readonly visit: () => number,
    private readonly changed: () => Promise<void>,
  ) {}

  /** Has a fact kept; false where it was not. What is urgent asks nobody who they are first. */
  async say(fact: object, urgent = false): Promise<boolean> {
    this.failure = null;
    try {
      if (!urgent) await initials.known();
      await api.fact(this.visit(), fact);
      await this.changed();
      return true;
    } catch (error) {
      this.failure = asFailure(error);
      return false;
    }
  }
}
