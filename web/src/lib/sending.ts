/** What is on its way to other places, in words. */
import type { Delivery, Sending } from "../api/model";

/** States as people read them. */
export const DELIVERY_STATES: Record<Delivery["state"], string> = {
  waiting: "waits",
  stored: "stored there, not proven yet",
  asked: "stored there, asked to answer for it",
  done: "arrived, proven",
  failed: "could not be sent",
  withdrawn: "taken out",
};

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
  if (seconds <= 0) return "tried now";
  const minutes = Math.floor(seconds / 60);
  return minutes === 0 ? `tried again in ${String(seconds)} s` : `tried again in ${String(minutes)} min ${String(seconds % 60)} s`;
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
    d.failed > 0 ? `${String(d.failed)} could not be sent` : "",
    d.waiting > 0 ? `${String(d.waiting)} waiting` : "",
    d.unproven > 0 ? `${String(d.unproven)} not proven yet` : "",
    d.done > 0 ? `${String(d.done)} arrived` : "",
  ].filter((part) => part !== "");
  return parts.length === 0 ? "nothing sent yet" : parts.join(", ");
}
