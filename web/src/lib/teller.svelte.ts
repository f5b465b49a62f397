/** Tells the server what happened in a visit, and keeps why it could not. */
import { api, asFailure, type Failure } from "../api/client";

export class Teller {
  failure = $state.raw<Failure | null>(null);

  /** `changed` loads anew what the fact changes. */
  constructor(
    private readonly visit: () => number,
    private readonly changed: () => Promise<void>,
  ) {}

  /** Has a fact kept; false where it was not. */
  async say(fact: object): Promise<boolean> {
    this.failure = null;
    try {
      await api.fact(this.visit(), fact);
      await this.changed();
      return true;
    } catch (error) {
      this.failure = asFailure(error);
      return false;
    }
  }
}
