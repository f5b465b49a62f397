/** Calls to the server. Every failure is a {@link Failure} with one sentence and a remedy. */
import type { Day, Eye, FrameAnswer, Gaze, Modality, Unassigned, Visit } from "./model";

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
const UNREACHABLE = new Failure("The server does not answer.", "Check that Serrata is running; this page tries again.", 0);

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
    text(line["message"], `The server answered with status ${String(status)}.`),
    text(line["remedy"], "Try again; if it stays, look into the server's log."),
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
    throw new Failure("The server's answer cannot be read.", "Load the page again.", answer.status);
  }
}

function post(path: string, body: unknown): Promise<unknown> {
  return call(path, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) });
}

const id = encodeURIComponent;

export const api = {
  day: async () => (await call("/day")) as Day,
  visit: async (visit: string) => (await call(`/visits/${id(visit)}`)) as Visit,
  frame: async (frame: string) => (await call(`/frames/${id(frame)}`)) as FrameAnswer,
  unassigned: async () => (await call("/unassigned")) as Unassigned,
  assign: (frame: string, visit: string) => post(`/frames/${id(frame)}/assign`, { visit_id: visit }),
  setAside: (frame: string, reason: string) => post(`/frames/${id(frame)}/set-aside`, { reason }),
  bringBack: (frame: string) => post(`/frames/${id(frame)}/bring-back`, {}),
  correct: (frame: string, change: { eye?: Eye; modality?: Modality; gaze?: Gaze }) =>
    post(`/frames/${id(frame)}/correct`, change),
  closeView: (visit: string, view: string, state: "not_obtainable" | "not_done", reason: string) =>
    post(`/views/${id(visit)}/${id(view)}/close`, { state, reason }),
  /** Sends one file as it is; answers the ids of the frames in it. */
  send: async (file: Blob, name: string) => {
    const answer = await call(`/files?name=${id(name)}`, {
      method: "POST",
      headers: { "content-type": "application/octet-stream" },
      body: file,
    });
    return (answer as { frames: string[] }).frames;
  },
};

/** Any thrown value as a failure. */
export function asFailure(error: unknown): Failure {
  return error instanceof Failure ? error : new Failure("Something went wrong on this page.", "Load the page again.", 0);
}
