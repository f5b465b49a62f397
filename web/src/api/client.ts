/** Calls to the server. Every failure is a {@link Failure} with one sentence and a remedy. */
import { author } from "../lib/author";
import { t } from "../messages";
import type { Corrections, Day, Drawn, DrawnMeasure, DyeRun, Eye, FrameAnswer, Montage, NewVisit, Reading, Received, Sending, Unassigned, Visit } from "./model";

/** A call that failed, told in words for people. */
export class Failure extends Error {
  constructor(
    message: string,
    readonly remedy: string,
    readonly status: number,
  ) {
    super(message);
    this.name = "Failure";
  }
}

const BASE = "/api/v1";
const UNREACHABLE = new Failure(t.failures.unreachable, t.failures.unreachableRemedy, 0);

function text(value: unknown, otherwise: string): string {
  return typeof value === "string" && value !== "" ? value : otherwise;
}

/** Reads an error answer; works for any body, also one that is no JSON. */
export function failureOf(status: number, body: string): Failure {
  let line: Record<string, unknown> = {};
  try {
    const value: unknown = JSON.parse(body);
    if (typeof value === "object" && value !== null) line = value as Record<string, unknown>;
  } catch {
    line = {};
  }
  return new Failure(
    text(line["message"], t.failures.status(status)),
    text(line["remedy"], t.failures.statusRemedy),
    status,
  );
}

async function call(path: string, init?: RequestInit): Promise<unknown> {
  let answer: Response;
  try {
    answer = await fetch(BASE + path, init);
  } catch {
    throw UNREACHABLE;
  }
  const body = await answer.text();
  if (!answer.ok) throw failureOf(answer.status, body);
  if (body === "") return null;
  try {
    return JSON.parse(body);
  } catch {
    throw new Failure(t.failures.unreadable, t.failures.reload, answer.status);
  }
}

function post(path: string, body: unknown): Promise<unknown> {
  return call(path, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) });
}

/** Tells the server something that is kept with its author, where this page knows who that is. */
function tell(path: string, body: object): Promise<unknown> {
  const name = author();
  return post(path, name === "" ? body : { ...body, who: name });
}

function readingPath(visit: number, eye: Eye, dye: "fa" | "icg"): string {
  return `/visits/${String(visit)}/reading/${eye}/${dye}`;
}

function montagePath(visit: number, eye: Eye, part: string, earlier: number | null): string {
  return `/visits/${String(visit)}/montage/${eye}${part}${earlier === null ? "" : `?with=${String(earlier)}`}`;
}

export const api = {
  day: async () => (await call("/day")) as Day,
  dyeRun: async (visit: number) => (await call(`/visits/${String(visit)}/dye`)) as DyeRun,
  reading: async (visit: number, eye: Eye, dye: "fa" | "icg") => (await call(readingPath(visit, eye, dye))) as Reading,
  /** Reads an eye's run in the background. */
  readRun: (visit: number, eye: Eye, dye: "fa" | "icg") => call(readingPath(visit, eye, dye), { method: "POST" }),
  /** Keeps what a named person makes of a region. */
  judgeRegion: (visit: number, eye: Eye, dye: "fa" | "icg", body: object) =>
    post(`${readingPath(visit, eye, dye)}/regions`, { ...body, who: author() }),
  /** Keeps what happened in a visit. A fact always has an author: "page" where nobody typed their initials. */
  fact: (visit: number, fact: object, reason: string | null = null) =>
    post(`/visits/${String(visit)}/facts`, { who: author() === "" ? "page" : author(), reason, fact }),
  visit: async (visit: number) => (await call(`/visits/${String(visit)}`)) as Visit,
  frame: async (frame: number) => (await call(`/frames/${String(frame)}`)) as FrameAnswer,
  unassigned: async () => (await call("/unassigned")) as Unassigned,
  /** Opens a visit; answers its id. */
  openVisit: async (visit: NewVisit) => {
    const [id] = ((await post("/visits", visit)) as { ids: number[] }).ids;
    if (id === undefined) throw new Failure(t.failures.noVisit, t.failures.reload, 200);
    return id;
  },
  assign: (frame: number, visit: number) => tell(`/frames/${String(frame)}/assign`, { visit_id: visit }),
  setAside: (frame: number, reason: string) => tell(`/frames/${String(frame)}/set-aside`, { reason }),
  bringBack: (frame: number) => tell(`/frames/${String(frame)}/bring-back`, {}),
  /** Sets all corrections of a frame with the reason; null takes one back. */
  correct: (frame: number, corrections: Corrections, reason: string) =>
    tell(`/frames/${String(frame)}/correct`, { ...corrections, reason }),
  /** Closes the visit, or opens it again. */
  closeVisit: (visit: number) => post(`/visits/${String(visit)}/close`, { who: author() === "" ? "page" : author() }),
  reopenVisit: (visit: number) => post(`/visits/${String(visit)}/reopen`, { who: author() === "" ? "page" : author() }),
  montage: async (visit: number, eye: Eye, earlier: number | null) => (await call(montagePath(visit, eye, "", earlier))) as Montage,
  /** Has the frames of an eye put together in the background, beside an earlier visit where one is named. */
  makeMontage: (visit: number, eye: Eye, earlier: number | null) => call(montagePath(visit, eye, "", earlier), { method: "POST" }),
  /** Measures a path, an outline or a corner drawn in a montage. */
  measureMontage: async (visit: number, eye: Eye, earlier: number | null, drawn: Drawn) =>
    (await post(montagePath(visit, eye, "/measure", earlier), drawn)) as DrawnMeasure,
  /** The same, drawn in a frame. */
  measureFrame: async (frame: number, drawn: Drawn) => (await post(`/frames/${String(frame)}/measure`, drawn)) as DrawnMeasure,
  /** What is sent to other places, over all visits. */
  sending: async () => (await call("/sending")) as Sending,
  visitSending: async (visit: number) => (await call(`/visits/${String(visit)}/sending`)) as Sending,
  /** Queues the originals of a visit for a destination. */
  sendVisit: async (visit: number, destination: string) =>
    (await post(`/visits/${String(visit)}/send`, { destination, who: author() })) as Sending,
  sendAgain: (delivery: number) => post(`/sending/${String(delivery)}/again`, { who: author() }),
  withdraw: (delivery: number, reason: string) => post(`/sending/${String(delivery)}/withdraw`, { who: author(), reason }),
  /** Where a visit's package is fetched from; it is kept who asked for it. */
  packagePath: (visit: number) => `${BASE}/visits/${String(visit)}/package?who=${encodeURIComponent(author() === "" ? "page" : author())}`,
  /** Where a visit's printed record is. */
  recordPath: (visit: number) => `${BASE}/visits/${String(visit)}/record.pdf?who=${encodeURIComponent(author() === "" ? "page" : author())}`,
  /** Gives the server one file as it is. */
  send: async (file: Blob, name: string) =>
    (await call(`/files?name=${encodeURIComponent(name)}`, {
      method: "POST",
      headers: { "content-type": "application/octet-stream" },
      body: file,
    })) as Received,
};

/** Any thrown value as a failure. */
export function asFailure(error: unknown): Failure {
  return error instanceof Failure ? error : new Failure(t.failures.page, t.failures.reload, 0);
}
