/** Invented pictures: a drawn fundus with vessels, never a real one. */

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

function vessel(random: () => number, x: number, y: number, turn: number, width: number): string {
  let [px, py, angle] = [x, y, turn];
  let path = `M${px.toFixed(0)} ${py.toFixed(0)}`;
  let branches = "";
  const bend = (random() - 0.5) * 0.12;
  for (let i = 0; i < 14; i += 1) {
    angle += bend + (random() - 0.5) * 0.25;
    px += Math.cos(angle) * 95;
    py += Math.sin(angle) * 95;
    path += `L${px.toFixed(0)} ${py.toFixed(0)}`;
    if (width > 5 && i % 3 === 2) {
      branches += vessel(random, px, py, angle + (random() < 0.5 ? 0.6 : -0.6), width * 0.55);
    }
  }
  return `<path d="${path}" stroke-width="${width.toFixed(1)}"/>${branches}`;
}

/** An SVG of an invented fundus, 3600 × 3600; the disc is on the right in a right eye. */
export function drawnEye(seed: number, eye: "R" | "L", grey: boolean): string {
  const random = seeded(seed);
  const disc = eye === "R" ? 2270 : 1330;
  const tree = [0.6, 1.1, 2.1, 2.6, 3.6, 4.1, 5.2, 5.7].map((turn, i) =>
    vessel(random, disc, 1790, turn, i % 2 === 0 ? 16 : 11),
  );
  const [middle, rim, line, bright] = grey
    ? ["#8a8a8a", "#3c3c3c", "#202020", "#161616"]
    : ["#b5623a", "#6a2f22", "#7a2018", "#e9c07c"];
  return `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 3600 3600" width="1400" height="1400"><defs>
<radialGradient id="g"><stop offset="0" stop-color="${middle}"/><stop offset=".75" stop-color="${rim}"/><stop offset="1" stop-color="#1a0d0b"/></radialGradient>
<clipPath id="c"><ellipse cx="1800" cy="1800" rx="1720" ry="1480"/></clipPath></defs>
<rect width="3600" height="3600"/><g clip-path="url(#c)"><rect width="3600" height="3600" fill="url(#g)"/>
<g fill="none" stroke="${line}" stroke-linecap="round" stroke-opacity=".8">${tree.join("")}</g>
<circle cx="${String(disc)}" cy="1790" r="70" fill="${bright}"/>
<circle cx="1800" cy="1830" r="110" fill="#000" fill-opacity=".25"/></g></svg>`;
}
