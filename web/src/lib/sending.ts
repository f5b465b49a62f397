/** What is on its way to other places, in words. */
import type { Delivery, Sending } from "../api/model";
import { t } from "../messages";

/** The mark beside a state: filled only where the arrival is proven. */
export const DELIVERY_SHAPES = {
  waiting: "waiting", stored: "half", asked: "half", done: "filled", failed: "failed", withdrawn: "open",
} as const satisfies Record<Delivery["state"], string>;

/** Whether a delivery still goes on by itself. */
export function moving(delivery: Delivery): boolean {
  return delivery.state === "waiting" || delivery.state === "stored" || delivery.state === "asked";
}

/** When it is tried next, in words. Example: 75 s ahead is "in 1 min 15 s". */
export function nextTry(delivery: Delivery, nowUtcUs: number): string {
  if (delivery.next_try_utc_us === null || !moving(delivery)) return "";
  const seconds = Math.ceil((delivery.next_try_utc_us - nowUtcUs) / 1e6);
  if (seconds <= 0) return t.sending.triedNow;
  return t.sending.triedIn(Math.floor(seconds / 60), seconds % 60);
}

/** Deliveries by visit, in the order in which they came. */
export function byVisit(deliveries: readonly Delivery[]): { visit: number; patient: string; all: Delivery[] }[] {
  const out: { visit: number; patient: string; all: Delivery[] }[] = [];
  for (const one of deliveries) {
    const group = out.find((g) => g.visit === one.visit_id);
    if (group === undefined) out.push({ visit: one.visit_id, patient: one.patient, all: [one] });
    else group.all.push(one);
  }
  return out;
}

/** How a destination stands, one line. */
export function destinationLine(d: Sending["destinations"][number]): string {
  const parts = [
    d.failed > 0 ? t.sending.failed(d.failed) : "",
    d.waiting > 0 ? t.sending.waiting(d.waiting) : "",
    d.unproven > 0 ? t.sending.unproven(d.unproven) : "",
    d.done > 0 ? t.sending.done(d.done) : "",
  ].filter((part) => part !== "");
  return parts.length === 0 ? t.sending.nothingYet : parts.join(", ");
}
