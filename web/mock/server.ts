/** A small stand-in for the server, for tests and for work on the page: the mock clinic's answers and the built page. */
import { readFile } from "node:fs/promises";
import { createServer, type IncomingMessage, type ServerResponse } from "node:http";
import type { AddressInfo } from "node:net";
import { extname, join, normalize } from "node:path";
import type { Corrections, NewVisit } from "../src/api/model";
import { drawnEye } from "./eye";
import type { Said } from "./facts";
import { Clinic } from "./scenario";

/** The server's policy: what it forbids must show in these tests. */
const POLICY =
  "default-src 'self'; img-src 'self' data: blob:; style-src 'self' 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'";

const TYPES: Record<string, string> = {
  ".html": "text/html; charset=utf-8", ".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml",
};

export interface Mock {
  address: string;
  clinic: Clinic;
  /** Every call that changes something, as `"POST /path body"`. */
  calls: string[];
  /** Ends all live connections, as a restart would. */
  cut: () => void;
  /** While true, live connections are refused. */
  refuse: boolean;
  close: () => Promise<void>;
}

export async function startMock(dist: string, port = 0): Promise<Mock> {
  const clinic = new Clinic();
  const live = new Set<ServerResponse>();
  let last = 0;
  const mock: Mock = {
    address: "",
    clinic,
    calls: [],
    refuse: false,
    cut: () => {
      for (const one of live) one.destroy();
      live.clear();
    },
    close: () => Promise.resolve(),
  };

  function tell(kind: string, visit: number | null, frame: number | null): void {
    last += 1;
    const data = JSON.stringify({ id: last, kind, visit_id: visit, frame_id: frame });
    for (const one of live) one.write(`id: ${String(last)}\nevent: change\ndata: ${data}\n\n`);
  }

  function json(answer: ServerResponse, status: number, value: unknown): void {
    answer.writeHead(status, { "content-type": "application/json" }).end(JSON.stringify(value));
  }

  function missing(answer: ServerResponse, path: string): void {
    json(answer, 404, { schema: "serrata.error/1", path, code: "not_found", message: "There is no such thing here.", remedy: "Go back to the day." });
  }

  function get(path: string[], answer: ServerResponse, full: string): void {
    const [what, id = "", part] = path;
    if (what === "day") return json(answer, 200, clinic.day());
    if (what === "unassigned") return json(answer, 200, clinic.unassigned());
    if (what === "events") {
      if (mock.refuse) return json(answer, 503, {});
      answer.writeHead(200, { "content-type": "text/event-stream", "cache-control": "no-store" }).write(": here\n\n");
      live.add(answer);
      answer.on("close", () => live.delete(answer));
      return;
    }
    if (what === "visits" && part === "dye") {
      const run = clinic.dyeRun(Number(id));
      return run === null ? missing(answer, full) : json(answer, 200, run);
    }
    if (what === "visits" && part === "reading") return json(answer, 200, clinic.reading(Number(id)));
    if (what === "visits" && part === "montage") {
      const [, , , eye, file] = path;
      if (file === "picture") {
        answer.writeHead(200, { "content-type": "image/png" }).end(drawnEye(Number(id), eye === "L" ? "L" : "R", full.includes("faf")));
        return;
      }
      return json(answer, 200, clinic.montage(Number(id), eye === "L" ? "L" : "R", full.includes("with=") ? 77 : null));
    }
    if (what === "sending") return json(answer, 200, clinic.sending(null));
    if (what === "visits" && part === "sending") return json(answer, 200, clinic.sending(Number(id)));
    const row = clinic.row(Number(id));
    if (what === "frames" && part === "picture" && row !== undefined) {
      answer.writeHead(200, { "content-type": "image/png" }).end(drawnEye(row.id, row.eye ?? "R", row.modality !== "colour"));
      return;
    }
    const found = what === "visits" ? clinic.visit(Number(id)) : what === "frames" && part === undefined ? clinic.frame(Number(id)) : null;
    if (found === null) return missing(answer, full);
    json(answer, 200, found);
  }

  function post(path: string[], body: string, answer: ServerResponse, full: string): void {
    const [what, text = "", action, name, deed] = path;
    const id = Number(text);
    if (what === "files") {
      if (body === "") {
        return json(answer, 422, { schema: "serrata.error/1", path: full, code: "empty", message: "The file is empty.", remedy: "Copy it again from the camera." });
      }
      const fresh = clinic.take();
      tell("frame", null, fresh);
      return json(answer, 200, { frames: [fresh], duplicate: false });
    }
    if (what === "visits" && action === "montage" && body === "") {
      const eye = name === "L" ? "L" : "R";
      clinic.told.push(`montage ${eye}`);
      return json(answer, 200, clinic.montage(id, eye, full.includes("with=") ? 77 : null));
    }
    if (what === "visits" && action === "reading" && body === "") {
      clinic.told.push("read");
      return json(answer, 200, clinic.reading(id));
    }
    const value: unknown = JSON.parse(body);
    if (what === "visits" && action === "reading") {
      const { decision, index, who } = value as { decision: string; index: number; who: string };
      if (who === "") {
        return json(answer, 400, { schema: "serrata.error/1", path: full, code: "bad", message: "Nobody is named.", remedy: "Type your initials." });
      }
      clinic.told.push(`${decision} ${String(index)}`);
      return json(answer, 200, clinic.reading(id));
    }
    if ((what === "visits" && action === "montage" && deed === "measure") || (what === "frames" && action === "measure")) {
      const { points, closed, corner } = value as { points: [number, number][]; closed: boolean; corner: boolean };
      if (!closed && !corner && points.length === 3) {
        return json(answer, 400, { schema: "serrata.error/1", path: full, code: "bad", message: "They cannot be used.", remedy: "Draw it again." });
      }
      const [measured, interval, unit] = corner ? [57.31, [56.2, 58.4], "°"] : closed ? [12.34, [10.9, 13.9], "mm²"] : [3.206, [3.02, 3.404], "mm"];
      return json(answer, 200, {
        schema: what === "frames" ? "serrata.frame_measure/1" : "serrata.montage_measure/1", value: measured, interval, unit,
        degrees: closed || corner ? null : 15, radius_mm: corner ? null : 12.25, radius_source: corner ? null : "population", uncalibrated: null, warnings: [],
      });
    }
    if (what === "visits" && action === "send") {
      clinic.told.push(`sent ${text}`);
      return json(answer, 200, clinic.sending(id));
    }
    if (what === "sending") {
      clinic.told.push(action === "again" ? `again ${text}` : `withdrawn ${text}`);
      tell("visit", 5, null);
      return json(answer, 200, { ids: [id] });
    }
    if (what === "visits" && action === undefined) {
      const opened = clinic.openVisit(value as NewVisit);
      tell("visit", opened, null);
      return json(answer, 200, { ids: [opened] });
    }
    if (what === "visits" && (action === "close" || action === "reopen")) {
      if (action === "close" && clinic.facts.today(id, [], 0).calls_open > 0) {
        return json(answer, 400, { schema: "serrata.error/1", path: full, code: "bad", message: "A call for the clinician is unanswered.", remedy: "Write down who was reached." });
      }
      if (action === "close") clinic.closed.add(id);
      else clinic.closed.delete(id);
      tell("visit", id, null);
      return json(answer, 200, { ids: [id] });
    }
    if (what === "visits" && action === "facts") {
      const { who, reason, fact } = value as { who: string; reason: string | null; fact: Said };
      if (fact.kind === "identity_ticked" && (fact["identifiers"] as string[]).length < 2) {
        return json(answer, 400, { schema: "serrata.error/1", path: full, code: "bad", message: "One identifier is not enough.", remedy: "Let the patient say two." });
      }
      clinic.told.push(fact.kind);
      tell("visit", id, null);
      return json(answer, 200, { ids: [clinic.facts.add(id, who, reason, fact)] });
    }
    const row = clinic.row(id);
    if (row === undefined) return missing(answer, full);
    if (action === "assign") row.visit = (value as { visit_id: number }).visit_id;
    if (action === "set-aside") clinic.aside.set(id, (value as { reason: string }).reason);
    if (action === "bring-back") clinic.aside.delete(id);
    if (action === "correct") {
      const { eye, modality, gaze } = value as Corrections;
      clinic.corrected.set(id, { eye, modality, gaze });
    }
    tell("frame", row.visit, id);
    json(answer, 200, { ids: [id] });
  }

  async function page(path: string, answer: ServerResponse): Promise<void> {
    const name = extname(path) === "" ? "index.html" : normalize(path).replace(/^(\.\.[/\\])+/, "");
    try {
      const body = await readFile(join(dist, name));
      answer.writeHead(200, { "content-type": TYPES[extname(name)] ?? "application/octet-stream", "content-security-policy": POLICY }).end(body);
    } catch {
      answer.writeHead(404).end("not found");
    }
  }

  async function handle(request: IncomingMessage, answer: ServerResponse): Promise<void> {
    const url = new URL(request.url ?? "/", "http://localhost");
    const parts = url.pathname.split("/").filter((part) => part !== "");
    if (parts[0] !== "api") return page(url.pathname, answer);
    if (request.method === "GET") {
      get(parts.slice(2), answer, url.pathname + url.search);
      return;
    }
    const chunks: Buffer[] = [];
    for await (const chunk of request) chunks.push(chunk as Buffer);
    const body = Buffer.concat(chunks).toString("latin1");
    mock.calls.push(`${request.method ?? ""} ${url.pathname} ${body.slice(0, 200)}`);
    post(parts.slice(2), body, answer, url.pathname + url.search);
  }

  const server = createServer((request, answer) => void handle(request, answer));
  await new Promise<void>((ready) => server.listen(port, "127.0.0.1", ready));
  mock.address = `http://127.0.0.1:${String((server.address() as AddressInfo).port)}`;
  mock.close = () =>
    new Promise((done) => {
      mock.cut();
      server.closeAllConnections();
      server.close(() => {
        done();
      });
    });
  return mock;
}
