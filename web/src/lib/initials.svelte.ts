import { author, setAuthor } from "./author";

/** Who works at this page, for what shows it: changes as soon as it is typed. */
class Initials {
  value = $state(author());

  set(typed: string): void {
    this.value = setAuthor(typed);
  }
}

export const initials = new Initials();
