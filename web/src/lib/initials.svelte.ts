import { author, setAuthor } from "./author";

/** Who works at this page, for what shows it: changes as soon as it is typed. */
class Initials {
  value = $state(author());
  /** Whether somebody is being asked who they are. */
  asking = $state(false);
  #declined = false;
  #waiting: (() => void)[] = [];

  set(typed: string): void {
    this.value = setAuthor(typed);
  }

  /** Asks once who it is, where nobody said so yet, before something is kept that can wait as long as that. */
  async known(): Promise<void> {
    if (this.value !== "" || this.#declined) return;
    this.asking = true;
    await new Promise<void>((go) => this.#waiting.push(go));
  }

  /** Goes on, with initials or without: whoever left it open once is not asked again on this page. */
  answered(): void {
    this.asking = false;
    this.#declined = this.value === "";
    for (const go of this.#waiting.splice(0)) go();
  }
}

export const initials = new Initials();
