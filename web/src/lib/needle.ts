/** What is typed into the record of the needle. */

/** A number above zero, null where nothing is typed, else "wrong". A comma is a point. Example: `"2,5"` is 2.5. */
export function numberOf(text: string): number | null | "wrong" {
  const typed = text.trim().replace(",", ".");
  if (typed === "") return null;
  const value = /^\d+(\.\d+)?$/.test(typed) ? Number(typed) : Number.NaN;
  return value > 0 && Number.isFinite(value) ? value : "wrong";
}

/** An expiry as it is kept, `""` where nothing is typed, or null where it is none. Example: `"2027-8"` is null, `"2027-08"` stays. */
export function expiryOf(text: string): string | null {
  const typed = text.trim();
  if (typed === "") return "";
  const [, year, month, day] = /^(\d{4})-(\d{2})(?:-(\d{2}))?$/.exec(typed) ?? [];
  if (year === undefined || month === undefined || Number(month) < 1 || Number(month) > 12) return null;
  if (day === undefined) return typed;
  const last = new Date(Date.UTC(Number(year), Number(month), 0)).getUTCDate();
  return Number(day) >= 1 && Number(day) <= last ? typed : null;
}
