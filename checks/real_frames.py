"""Writes docs/real-frames.md: what Serrata says of the 18 real ultra-widefield frames and of the graded set.

Run by `make real-frames`; the figures are held by test_real_frames.py. The pictures are in ../shared/data and are never
committed; nothing is told to the tool but the file. Sources of pictures and labels: ../shared/data/INDEX.md (open data of
two published image-synthesis papers, 2023 and 2024; outlines and grades by the project's own annotators, no clinicians).
"""

from __future__ import annotations

import json
import pathlib
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from PIL import Image, ImageOps

from house import ROOT, SHARED, serrata

SETS = ("uwf_pairs_hires", "uwf_triplets")
VERDICTS = ("usable", "limited", "not_usable")
#: Half-width of the band round the annotated edge that is not scored, as a share of the picture's width. The annotator's
#: own accuracy: 0.4–0.7 % at sharp edges, 1–4 % at gradual ones (../shared/data/annotations/README.md).
BAND_SURE, BAND_UNSURE = 0.015, 0.04


@dataclass
class RealFrame:
    """One real frame: the annotation, and what was said of it and of its mirror image."""

    set: str
    path: pathlib.Path
    truth: dict
    line: dict
    mirrored: dict

    @property
    def name(self) -> str:
        """File name."""
        return self.path.name

    @property
    def person(self) -> str:
        """The eye that it belongs to: frames of one eye are not independent."""
        return f"{self.set}/{self.path.stem.split('_')[0]}"

    @property
    def disc_error(self) -> float | None:
        """Distance of the disc found from the annotated one, in annotated disc radii."""
        if self.line["disc"] is None or not self.truth["disc"]:
            return None
        x, y, r = self.truth["disc"]
        return float(np.hypot(self.line["disc"]["x"] - x, self.line["disc"]["y"] - y) / r)


def painted(width: int, height: int, polygons: list, holes: list = ()) -> np.ndarray:
    """Polygons in pixel coordinates (edges at integers) as a mask."""
    mask = np.zeros((height, width), np.uint8)
    for rings, value in ((polygons, 1), (holes, 0)):
        for ring in rings:
            cv2.fillPoly(mask, [np.round((np.array(ring) - 0.5) * 16).astype(np.int32)], value, shift=4)
    return mask.astype(bool)


def overlap(frame: RealFrame, band: float = 0.0) -> float:
    """Intersection over union of the visible retina with the annotation, outside a band round the annotated edge."""
    width, height = frame.truth["width"], frame.truth["height"]
    truth = painted(width, height, frame.truth["visible_retina"])
    seen = frame.line["visible_retina"]
    mine = painted(width, height, seen["polygons"], seen["holes"])
    inside = scored(frame, truth, band)
    return float((truth & mine & inside).sum() / ((truth | mine) & inside).sum())


def scored(frame: RealFrame, truth: np.ndarray, band: float) -> np.ndarray:
    """What is scored: not the painted-over box, nor a band of that share of the width round the annotated edge."""
    width = frame.truth["width"]
    scored = np.ones_like(truth)
    if box := frame.truth.get("source_inpainted_box"):  # painted over by the source: neither retina nor fault
        x0, y0, x1, y1 = (int(v) for v in box)
        scored[y0:y1, x0:x1] = False
    if band:
        padded = np.pad(truth.astype(np.uint8), 1)
        inside = cv2.distanceTransform(padded, cv2.DIST_L2, 5)[1:-1, 1:-1]
        outside = cv2.distanceTransform(1 - np.pad(truth.astype(np.uint8), 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
        scored &= np.maximum(inside, outside) > band * width
    return scored


def doubt(frame: RealFrame) -> float:
    """The band of this frame."""
    return BAND_SURE if frame.truth["boundary_sure"] else BAND_UNSURE


def by_binary(files: list[pathlib.Path]) -> list[dict]:
    """What the binary says of files."""
    return serrata("appraise", *files, "--json", timeout=900).lines


def read_frames(appraise: Callable[[list[pathlib.Path]], list[dict]] = by_binary) -> list[RealFrame]:
    """Runs the binary on all frames and on mirrored copies of them."""
    files = [(s, p) for s in SETS for p in sorted((SHARED / s).iterdir()) if p.suffix in (".jpg", ".png")]
    lines = appraise([p for _, p in files])
    with tempfile.TemporaryDirectory() as folder:
        copies = []
        for _, path in files:
            copies.append(pathlib.Path(folder) / f"{path.stem}.png")
            ImageOps.mirror(Image.open(path)).save(copies[-1], compress_level=1)
        mirrored = appraise(copies)
    frames = []
    for (name, path), line, mirror in zip(files, lines, mirrored, strict=True):
        truth = json.loads((SHARED / "annotations" / name / f"{path.stem}.json").read_text())
        frames.append(RealFrame(name, path, truth, line, mirror))
    return frames


def read_graded() -> list[tuple[dict, dict]]:
    """The graded set: a row of labels.csv and what was said."""
    import csv

    rows = list(csv.DictReader(open(SHARED / "verdicts" / "labels.csv", newline="")))
    lines = serrata("appraise", *(SHARED / "verdicts" / r["file"] for r in rows), "--json", timeout=900).lines
    return list(zip(rows, lines, strict=True))


def weighted_kappa(a: list[str], b: list[str]) -> float:
    """Cohen's kappa with quadratic weights (Cohen 1968, Psychological Bulletin 70:213–220)."""
    n = len(VERDICTS)
    seen = np.zeros((n, n))
    for x, y in zip(a, b, strict=True):
        seen[VERDICTS.index(x), VERDICTS.index(y)] += 1
    weights = np.subtract.outer(np.arange(n), np.arange(n)) ** 2
    by_chance = np.outer(seen.sum(1), seen.sum(0)) / seen.sum()
    return float(1 - (weights * seen).sum() / (weights * by_chance).sum())


def interval(groups: dict[str, list], statistic: Callable[[list], float], draws: int = 4000) -> tuple[float, float]:
    """95 % percentile bootstrap (Efron 1979) that draws whole eyes, since frames of one eye are not independent."""
    rng = np.random.default_rng(20)
    keys = sorted(groups)
    values = []
    for _ in range(draws):
        drawn = [item for k in rng.integers(0, len(keys), len(keys)) for item in groups[keys[k]]]
        value = statistic(drawn)
        if np.isfinite(value):
            values.append(value)
    low, high = np.percentile(values, [2.5, 97.5])
    return float(low), float(high)


def grouped(items: list, key: Callable) -> dict[str, list]:
    """Items by key."""
    groups: dict[str, list] = {}
    for item in items:
        groups.setdefault(key(item), []).append(item)
    return groups


def eye_word(value: str | None) -> str:
    """How the paper writes an eye side."""
    return value or "not sure"


def frame_table(frames: list[RealFrame]) -> list[str]:
    """One row a frame."""
    rows = [
        "| frame | kind seen | result | reasons | strongest findings (score) | eye: true / said / mirrored | visible share of the picture: "
        "annotated / said | overlap (outside the band) | overlap (plain) | disc error, radii |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    for f in frames:
        v = f.line
        reasons = ", ".join(r["rule"] for r in v["reasons"]) or "–"
        findings = ", ".join(f"{x['kind']} {x['score']:.2f}" for x in v["findings"][:4] if x["score"] >= 0.05) or "–"
        error = "–" if f.disc_error is None else f"{f.disc_error:.1f}"
        rows.append(
            f"| {f.name} | {v['modality']} | {v['verdict']} | {reasons} | {findings} "
            f"| {f.truth['eye']} / {eye_word(v['eye']['inferred'])} / {eye_word(f.mirrored['eye']['inferred'])} "
            f"| {f.truth['visible_fraction']:.2f} / {v['visible_retina']['fraction_of_picture']:.2f} "
            f"| {overlap(f, doubt(f)):.3f} | {overlap(f):.3f} | {error} |"
        )
    return rows


def set_table(frames: list[RealFrame]) -> list[str]:
    """One row a set, with intervals."""
    rows = [
        "| set | frames (eyes) | usable / limited / not usable | eye side right / not sure / wrong | mirrored: right / not sure / wrong "
        "| mean overlap outside the band [95 %] | mean overlap, plain [95 %] | mean absolute error of the visible share [95 %] |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for name, some in [*((s, [f for f in frames if f.set == s]) for s in SETS), ("both", frames)]:
        people = grouped(some, lambda f: f.person)
        banded = {k: [overlap(f, doubt(f)) for f in v] for k, v in people.items()}
        plain = {k: [overlap(f) for f in v] for k, v in people.items()}
        share = {
            k: [abs(f.truth["visible_fraction"] - f.line["visible_retina"]["fraction_of_picture"]) for f in v]
            for k, v in people.items()
        }
        cells = [f"{np.mean(sum(g.values(), [])):.3f} [{'–'.join(f'{x:.3f}' for x in interval(g, np.mean))}]" for g in (banded, plain, share)]
        verdicts = " / ".join(str(sum(f.line["verdict"] == v for f in some)) for v in VERDICTS)
        rows.append(
            f"| {name} | {len(some)} ({len(people)}) | {verdicts} | {sides(some, False)} | {sides(some, True)} | {' | '.join(cells)} |"
        )
    return rows


def sides(frames: list[RealFrame], mirrored: bool) -> str:
    """Right / not sure / wrong."""
    counts = [0, 0, 0]
    for f in frames:
        said = (f.mirrored if mirrored else f.line)["eye"]["inferred"]
        true = {"R": "L", "L": "R"}[f.truth["eye"]] if mirrored else f.truth["eye"]
        counts[1 if said is None else 0 if said == true else 2] += 1
    return " / ".join(map(str, counts))


def graded_section(graded: list[tuple[dict, dict]]) -> list[str]:
    """Agreement with the two graders, and every difference by name."""

    def kappa(grader: str) -> Callable[[list], float]:
        return lambda items: weighted_kappa([r[f"verdict_{grader}"] for r, _ in items], [v["verdict"] for _, v in items])

    def between(items: list) -> float:
        return weighted_kappa([r["verdict_a"] for r, _ in items], [r["verdict_b"] for r, _ in items])

    people = grouped(graded, lambda item: item[0]["source"].split("_")[0])
    lines = ["| pair | quadratic weighted κ [95 %] |", "|---|---|"]
    for title, statistic in (("tool – grader A", kappa("a")), ("tool – grader B", kappa("b")), ("grader A – grader B", between)):
        low, high = interval(people, statistic)
        lines.append(f"| {title} | {statistic(graded):.2f} [{low:.2f}–{high:.2f}] |")
    lines += ["", "Said (columns) against what both graders said where they agree (rows):", ""]
    lines += ["| | " + " | ".join(VERDICTS) + " |", "|---|---|---|---|"]
    agreed = [(r, v) for r, v in graded if r["verdict_a"] == r["verdict_b"]]
    for row in VERDICTS:
        some = [v["verdict"] for r, v in agreed if r["verdict_a"] == row]
        lines.append(f"| {row} | " + " | ".join(str(some.count(c)) for c in VERDICTS) + " |")
    lines += ["", "| picture | from | spoiled with | grader A | grader B | said | reasons |", "|---|---|---|---|---|---|---|"]
    for r, v in graded:
        spoiled = f"{r['spoiled_with']} {r['strength']}".strip() or "–"
        reasons = ", ".join(x["rule"] for x in v["reasons"]) or "–"
        lines.append(f"| {r['file']} | {r['source']} | {spoiled} | {r['verdict_a']} | {r['verdict_b']} | {v['verdict']} | {reasons} |")
    return lines


def document(frames: list[RealFrame], graded: list[tuple[dict, dict]]) -> str:
    """The whole paper."""
    method = frames[0].line["method"]
    parts = [
        "# The real frames",
        "",
        "Written by `make real-frames`; do not edit. What Serrata says of 18 real ultra-widefield frames (7 eyes) and of 36 graded",
        f"pictures made of them; method `{method['name']}`, revision {method['revision']}; nothing was told to it but the file.",
        "",
        "**What this can and cannot show.** The limits were chosen with these frames in view, so this is a check that the tool behaves",
        "on real pictures and no validation. Outlines and grades are by the project's own annotators, who are no clinicians; the graders",
        "saw spoiled and clean copies of one eye, so their agreement is an upper bound. Disease is no fault of capture.",
        "",
        "## By set",
        "",
        *set_table(frames),
        "",
        "The overlap is intersection over union with the annotated visible retina. The band that is not scored lies ± 1.5 % of the width",
        "round the annotated edge (± 4 % where the annotator was unsure of it). Intervals draw whole eyes (percentile bootstrap).",
        "",
        "## Frame by frame",
        "",
        *frame_table(frames),
        "",
        "## Against two graders",
        "",
        *graded_section(graded),
    ]
    return "\n".join(parts) + "\n"


def main() -> int:
    if not (SHARED / "INDEX.md").exists():
        print(f"real-frames: the real pictures are not on this machine ({SHARED}); docs/real-frames.md is left as it is.", file=sys.stderr)
        return 1
    target = ROOT / "docs" / "real-frames.md"
    target.write_text(document(read_frames(), read_graded()))
    print(f"real-frames: wrote {target.relative_to(ROOT)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
