/** Dates and times on screens: the month always in letters, 24 hours, the browser's zone. */
import { t } from "../messages";

function two(n: number): string {
  return String(n).padStart(2, "0");
}

function local(utcUs: number): Date | null {
  const date = new Date(utcUs / 1000);
  return Number.isNaN(date.getTime()) ? null : date;
}

/** `"25 Nov 2026"`; `"date not known"` where there is none. */
export function dateText(utcUs: number | null): string {
  const d = utcUs === null ? null : local(utcUs);
  return d === null ? t.dates.dateNotKnown : t.dates.date(two(d.getDate()), t.dates.months[d.getMonth()] ?? "", String(d.getFullYear()));
}

/** `"Wednesday 25 Nov 2026"`. */
export function dayText(utcUs: number): string {
  const d = local(utcUs);
  return d === null ? t.dates.dateNotKnown : t.dates.day(t.dates.weekdays[d.getDay()] ?? "", dateText(utcUs));
}

/** `"10:42"`, or with seconds `"10:42:07"`; `"time not known"` where there is none. */
export function timeText(utcUs: number | null, seconds = false): string {
  const d = utcUs === null ? null : local(utcUs);
  if (d === null) return t.dates.timeNotKnown;
  const minutes = `${two(d.getHours())}:${two(d.getMinutes())}`;
  return seconds ? `${minutes}:${two(d.getSeconds())}` : minutes;
}

/** A typed date as YYYY-MM-DD, or null where there is no such day. Example: `isoDate("7", 3, "1961")` is `"1961-03-07"`. */
export function isoDate(day: string, month: number, year: string): string | null {
  if (!/^\d{1,2}$/.test(day.trim()) || !/^\d{4}$/.test(year.trim())) return null;
  const [d, y] = [Number(day), Number(year)];
  const date = new Date(Date.UTC(y, month - 1, d));
  date.setUTCFullYear(y);
  const same = date.getUTCFullYear() === y && date.getUTCMonth() === month - 1 && date.getUTCDate() === d;
  return same ? `${year.trim()}-${two(month)}-${two(d)}` : null;
}

/** The time alone for the day of `nowUtcUs`, else with its date: `"10:42"`, `"24 Nov 2026, 10:42"`. */
export function whenText(utcUs: number | null, nowUtcUs: number): string {
  if (utcUs === null) return t.dates.timeNotKnown;
  const time = timeText(utcUs);
  return dateText(utcUs) === dateText(nowUtcUs) ? time : t.dates.dateAndTime(dateText(utcUs), time);
}
