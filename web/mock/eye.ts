/** Invented pictures: a drawn fundus with vessels, never a real one. */
import { crc32, deflateSync } from "node:zlib";

/** A small seeded generator (mulberry32), so that a picture is the same each time. */
export function seeded(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

/** Side of the drawn picture, pixels. */
const SIDE = 900;
/** Pixels of the invented frame along one drawn pixel. */
const STEP = 3600 / SIDE;

type Colour = [number, number, number];
/** A round dab: where, how large, its colour and how much of it. */
type Dab = (x: number, y: number, radius: number, colour: Colour, share: number) => void;

function vessel(random: () => number, dab: Dab, x: number, y: number, turn: number, width: number, colour: Colour): void {
  let [px, py, angle] = [x, y, turn];
  const bend = (random() - 0.5) * 0.12;
  for (let i = 0; i < 14; i += 1) {
    angle += bend + (random() - 0.5) * 0.25;
    for (let j = 0; j < 24; j += 1) {
      px += Math.cos(angle) * 4;
      py += Math.sin(angle) * 4;
      dab(px, py, width / 2, colour, 0.5);
    }
    if (width > 5 && i % 3 === 2) vessel(random, dab, px, py, angle + (random() < 0.5 ? 0.6 : -0.6), width * 0.55, colour);
  }
}

/** An invented fundus as PNG, square; the disc is on the right in a right eye. */
export function drawnEye(seed: number, eye: "R" | "L", grey: boolean): Buffer {
  const random = seeded(seed);
  const data = new Float64Array(SIDE * SIDE * 3);
  const [middle, rim, line, bright]: [Colour, Colour, Colour, Colour] = grey
    ? [[138, 138, 138], [60, 60, 60], [32, 32, 32], [22, 22, 22]]
    : [[181, 98, 0], [106, 47, 0], [122, 32, 0], [233, 192, 0]];
  const inside = (x: number, y: number): number => Math.hypot((x - 1800) / 1720, (y - 1800) / 1480);
  for (let i = 0; i < SIDE * SIDE; i += 1) {
    const far = inside(((i % SIDE) + 0.5) * STEP, (Math.floor(i / SIDE) + 0.5) * STEP);
    for (let c = 0; c < 3 && far < 1; c += 1) data[3 * i + c] = (middle[c] ?? 0) + ((rim[c] ?? 0) - (middle[c] ?? 0)) * far;
  }
  const dab: Dab = (x, y, radius, colour, share) => {
    const [cx, cy, r] = [x / STEP, y / STEP, Math.max(0.7, radius / STEP)];
    for (let py = Math.max(0, Math.floor(cy - r)); py <= Math.min(SIDE - 1, cy + r); py += 1) {
      for (let px = Math.max(0, Math.floor(cx - r)); px <= Math.min(SIDE - 1, cx + r); px += 1) {
        if (Math.hypot(px + 0.5 - cx, py + 0.5 - cy) > r || inside((px + 0.5) * STEP, (py + 0.5) * STEP) >= 1) continue;
        const i = 3 * (py * SIDE + px);
        for (let c = 0; c < 3; c += 1) data[i + c] = (data[i + c] ?? 0) * (1 - share) + (colour[c] ?? 0) * share;
      }
    }
  };
  const disc = eye === "R" ? 2270 : 1330;
  [0.6, 1.1, 2.1, 2.6, 3.6, 4.1, 5.2, 5.7].forEach((turn, i) => {
    vessel(random, dab, disc, 1790, turn, i % 2 === 0 ? 16 : 11, line);
  });
  dab(disc, 1790, 70, bright, 1);
  dab(1800, 1830, 110, [0, 0, 0], 0.25);
  return png(SIDE, SIDE, Uint8Array.from(data));
}

/** RGB pixels of 8 bits as PNG. */
export function png(width: number, height: number, rgb: Uint8Array): Buffer {
  const rows = Buffer.alloc(height * (3 * width + 1));
  for (let y = 0; y < height; y += 1) rows.set(rgb.subarray(3 * width * y, 3 * width * (y + 1)), y * (3 * width + 1) + 1);
  const chunk = (name: string, body: Buffer): Buffer => {
    const [head, tail] = [Buffer.alloc(4), Buffer.alloc(4)];
    head.writeUInt32BE(body.length);
    const named = Buffer.concat([Buffer.from(name, "latin1"), body]);
    tail.writeUInt32BE(crc32(named));
    return Buffer.concat([head, named, tail]);
  };
  const head = Buffer.alloc(13);
  head.writeUInt32BE(width);
  head.writeUInt32BE(height, 4);
  head.set([8, 2, 0, 0, 0], 8);
  const signature = Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]);
  return Buffer.concat([signature, chunk("IHDR", head), chunk("IDAT", deflateSync(rows)), chunk("IEND", Buffer.alloc(0))]);
}
