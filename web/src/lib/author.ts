/** Who works at this page: kept in this browser, and written beside every correction. No account: it is as typed. */

const KEY = "serrata.author";

/** The initials as they were typed last, or "". */
export function author(): string {
  try {
    return localStorage.getItem(KEY) ?? "";
  } catch {
    return ""; // a browser that keeps nothing
  }
}

/** Keeps the initials; at most 40 characters, without space around. Answers what is kept. */
export function setAuthor(typed: string): string {
  const name = typed.trim().slice(0, 40);
  try {
    if (name === "") localStorage.removeItem(KEY);
    else localStorage.setItem(KEY, name);
  } catch {
    return "";
  }
  return name;
}
