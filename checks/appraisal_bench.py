"""Every figure that the appraisal is held to, on real, spoiled and simulated pictures (`make appraisal-bench`).

    appraisal_bench.py [--quick] [--parts real,verdicts,narrow,vessels,lines,kinds,spoiled,disease,phantom,jumps,soft,gaze,bad,speed] [--engine PROGRAM] [--keep DIR]

Nothing is told to the tool but the file. Each line gives the figure, its 95 % interval (percentile bootstrap over whole eyes), the
number of pictures, the goal and whether it is reached. `--quick` takes fewer strengths, pictures and seeds. `--engine` runs another
program that takes the same words as the binary.

Nothing in the engine is learned from these pictures by a fit, so there is nothing to leave out; its limits were chosen by people
with the 18 ultra-widefield frames in view, and that is no validation.
"""

from __future__ import annotations

import argparse
import csv
import json
import pathlib
import re
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
from scipy.stats import rankdata

import house
import real_frames as real
from house import ROOT, SHARED
from spoilers import SPOILERS

SETTINGS = argparse.Namespace(quick=False, engine=None, keep=None)
missed: list[str] = []


def appraise(files: list[pathlib.Path], *more: str) -> list[dict]:
    """What the tool says of files, in their order."""
    program = SETTINGS.engine or str(house.BINARY)
    out = []
    for i in range(0, len(files), 200):
        words = [program, "appraise", "--json", *more, *map(str, files[i : i + 200])]
        done = subprocess.run(words, capture_output=True, check=False, timeout=1800)
        out += [json.loads(line) for line in done.stdout.decode().splitlines()]
    assert len(out) == len(files), f"{len(out)} answers to {len(files)} files"
    return out


def score(line: dict, *kinds: str) -> float:
    """The strongest score among kinds."""
    return max([f["score"] for f in line.get("findings", []) if f["kind"] in kinds], default=0.0)


def counted(line: dict) -> set[str]:
    """Findings that count against the verdict."""
    return {r["finding"] for r in line.get("reasons", []) if r["finding"]}


def auc(bad: list[float], good: list[float]) -> float:
    """Area under the curve of `bad` against `good` (Mann–Whitney)."""
    if not bad or not good:
        return float("nan")
    ranks = rankdata(np.r_[bad, good])
    n, m = len(bad), len(good)
    return float((ranks[:n].sum() - n * (n + 1) / 2) / (n * m))


def say(what: str, value: float, goal: str, n: int, span: tuple[float, float] | None = None, note: str = "") -> None:
    """One figure against its goal (`≥ x`, `≤ x` or empty)."""
    mark = ""
    if goal:
        limit = float(goal.split()[1])
        held = value >= limit - 1e-9 if goal[0] == "≥" else value <= limit + 1e-9
        mark = "held" if held else "MISSED"
        if not held:
            missed.append(f"{what}: {value:.3f}, goal {goal}")
    interval = f"[{span[0]:.3f}–{span[1]:.3f}]" if span else ""
    print(f"{what:66} {value:8.3f} {interval:15} n {n:5}  {goal:8} {mark:7} {note}", flush=True)


def boot(groups: dict[str, list], statistic) -> tuple[float, float]:
    """95 % interval over whole groups."""
    return real.interval(groups, statistic, draws=500)


# ---- real ultra-widefield frames


def part_real() -> None:
    """Visible retina, lids, eye side, disc and fovea on the annotated frames and their mirrored copies."""
    frames = real.read_frames(appraise)
    people = real.grouped(frames, lambda f: f.person)
    over = {k: [real.overlap(f, real.doubt(f)) for f in v] for k, v in people.items()}
    flat = sum(over.values(), [])
    say("visible retina: overlap outside the band, mean", float(np.mean(flat)), "≥ 0.95", len(flat), boot(over, np.mean))
    say("visible retina: overlap outside the band, worst", min(flat), "≥ 0.88", len(flat))
    peers = {k: [plain_peer(f) for f in v] for k, v in people.items()}
    say("   the better of a plain ellipse and 'not black', mean", float(np.mean(sum(peers.values(), []))), "", len(flat), boot(peers, np.mean))
    lids = {k: [x for f in v if (x := lid_recall(f)) is not None] for k, v in people.items()}
    areas = [x for v in lids.values() for x in v]
    whole = lambda items: sum(a for a, _ in items) / max(sum(b for _, b in items), 1e-9)  # noqa: E731
    say("lid area recalled", whole(areas), "≥ 0.85", len(areas), boot(lids, whole))
    said = [(f.line["eye"]["inferred"], f.truth["eye"]) for f in frames]
    said += [(f.mirrored["eye"]["inferred"], {"R": "L", "L": "R"}[f.truth["eye"]]) for f in frames]
    say("eye side with mirrored copies: wrong", sum(a is not None and a != b for a, b in said), "≤ 0", len(said))
    say("eye side with mirrored copies: abstained", sum(a is None for a, _ in said), "≤ 4", len(said))
    discs = {k: [f.disc_error is not None and f.disc_error <= 1 for f in v] for k, v in people.items()}
    say("disc within half a diameter", float(np.mean(sum(discs.values(), []))), "≥ 0.95", len(frames), boot(discs, np.mean))
    foveas = {k: [fovea_near(f) for f in v if f.truth["fovea"]] for k, v in people.items()}
    all_foveas = sum(foveas.values(), [])
    say("fovea within one disc diameter, of those marked", float(np.mean(all_foveas)), "≥ 0.85", len(all_foveas), boot(foveas, np.mean))


def fovea_near(f: real.RealFrame) -> bool:
    """Whether the fovea found is within one disc diameter of the marked one."""
    if f.line["fovea"] is None:
        return False
    (x, y), r = f.truth["fovea"], f.truth["disc"][2]
    return bool(np.hypot(f.line["fovea"]["x"] - x, f.line["fovea"]["y"] - y) <= 2 * r)


def plain_peer(f: real.RealFrame) -> float:
    """The better of an ellipse that fills the picture and of all that is not black."""
    h, w = f.truth["height"], f.truth["width"]
    y, x = np.mgrid[:h, :w]
    ellipse = ((x - w / 2) / (w / 2)) ** 2 + ((y - h / 2) / (h / 2)) ** 2 <= 1
    pixels = cv2.imread(str(f.path), cv2.IMREAD_COLOR)
    truth = real.painted(w, h, f.truth["visible_retina"])
    scored = real.scored(f, truth, real.doubt(f))
    return max(float((truth & m & scored).sum() / ((truth | m) & scored).sum()) for m in (ellipse, pixels.max(axis=2) > 12))


def lid_recall(f: real.RealFrame) -> tuple[float, float] | None:
    """Annotated lid area that is not called visible retina but lid (any finding that covers), and the area itself; shares."""
    if not f.truth.get("lids"):
        return None
    h, w = f.truth["height"], f.truth["width"]
    lids = real.painted(w, h, f.truth["lids"])
    mine = np.zeros_like(lids)
    for x in f.line["findings"]:
        if x["kind"] in ("lid", "lash", "too_close", "blink"):
            mine |= real.painted(w, h, x["polygons"], x["holes"])
    return float((lids & mine).sum()) / (w * h), float(lids.sum()) / (w * h)


# ---- verdicts


def part_verdicts() -> None:
    """Against two graders."""
    rows = list(csv.DictReader(open(SHARED / "verdicts" / "labels.csv", newline="")))
    lines = appraise([SHARED / "verdicts" / r["file"] for r in rows])
    items = list(zip(rows, lines, strict=True))
    people = real.grouped(items, lambda i: i[0]["source"].split("_")[0])
    between = real.weighted_kappa([r["verdict_a"] for r in rows], [r["verdict_b"] for r in rows])
    say("the graders' own weighted kappa", between, "", len(rows))
    for g in "ab":
        kappa = lambda some: real.weighted_kappa([r[f"verdict_{g}"] for r, _ in some], [v["verdict"] for _, v in some])  # noqa: B023, E731
        say(f"weighted kappa with grader {g.upper()}", kappa(items), f"≥ {between - 0.1:.3f}", len(rows), boot(people, kappa))
    both = lambda v: [x["verdict"] for r, x in items if r["verdict_a"] == r["verdict_b"] == v]  # noqa: E731
    say("both say not usable, called usable", both("not_usable").count("usable"), "≤ 0", len(both("not_usable")))
    say("both say usable, called not usable", both("usable").count("not_usable"), "≤ 0", len(both("usable")))


# ---- standard-field colour


def part_narrow() -> None:
    """Eye side and disc on pictures of 30° to 50°."""
    total = {"answered": 0, "right": 0, "unsure": 0, "n": 0}
    discs: list[bool] = []
    for name, column in (("hrf", "laterality_by_anatomy"), ("chase_db1", "laterality"), ("idrid_disc", "laterality_by_anatomy"), ("retina_cc0", "laterality")):
        rows = list(csv.DictReader(open(SHARED / name / "labels.csv", newline="")))
        lines = appraise([SHARED / name / r["file"] for r in rows])
        right = wrong = unsure = 0
        for r, line in zip(rows, lines, strict=True):
            true, said = {"OD": "R", "OS": "L"}[r[column]], line["eye"]["inferred"]
            right, wrong, unsure = right + (said == true), wrong + (said not in (None, true)), unsure + (said is None)
            if name == "idrid_disc":
                d, radius = line["disc"], (float(r["disc_w"]) + float(r["disc_h"])) / 4
                discs.append(bool(d and np.hypot(d["x"] - float(r["disc_cx"]), d["y"] - float(r["disc_cy"])) <= radius))
        verdicts = [v["verdict"] for v in lines]
        false = {k: sum(k in counted(v) for v in lines) for k in sorted(set().union(*map(counted, lines)))}
        print(f"  {name}: eye side right {right}, wrong {wrong}, not sure {unsure}; usable {verdicts.count('usable')}, limited {verdicts.count('limited')}, not usable {verdicts.count('not_usable')}; reasons {false}")
        total["n"] += len(rows)
        total["answered"] += right + wrong
        total["right"] += right
        total["unsure"] += unsure * (name != "chase_db1")
    say("eye side right, of those answered", total["right"] / max(total["answered"], 1), "≥ 0.98", total["answered"])
    say("eye side not sure (disc-centred pictures may be)", total["unsure"] / (total["n"] - 8), "≤ 0.05", total["n"] - 8)
    say("disc within half a diameter (idrid_disc)", float(np.mean(discs)), "≥ 0.95", len(discs), boot({str(i): [d] for i, d in enumerate(discs)}, np.mean))


def part_vessels() -> None:
    """The vessel map against the masks, inside the field."""
    with tempfile.TemporaryDirectory() as folder:
        for name in ("hrf", "chase_db1"):
            rows = list(csv.DictReader(open(SHARED / name / "labels.csv", newline="")))
            appraise([SHARED / name / r["file"] for r in rows], "--vessels", folder)
            areas = {}
            for r in rows:
                stem = pathlib.Path(r["file"]).stem
                found = next(pathlib.Path(folder).glob(f"{stem}.p*"))
                areas[stem] = [vessel_auc(SHARED / name / r["file"], SHARED / name / r["vessel_mask"], found)]
            flat = [v[0] for v in areas.values()]
            say(f"vessel map: area under the curve, {name}, mean", float(np.mean(flat)), "≥ 0.95", len(flat), boot(areas, np.mean), f"worst {min(flat):.3f}")


def vessel_lines(stem: str, folder: pathlib.Path) -> dict:
    return json.loads((folder / f"{stem}.json").read_text())


def drawn_lines(found: dict) -> np.ndarray:
    """Where the centre lines run, one pixel wide."""
    plane = np.zeros((found["height"], found["width"]), np.uint8)
    for line in found["lines"]:
        cv2.polylines(plane, [np.round(np.array(line["points"]) - 0.5).astype(np.int32)], False, 255, 1)
    return plane > 0


def near_share(some: np.ndarray, others: np.ndarray, far: float) -> float:
    """Share of some pixels that lie within `far` of any of the others."""
    away = cv2.distanceTransform((~others).astype(np.uint8), cv2.DIST_L2, 5)
    return float((away[some] <= far).mean()) if some.any() else 0.0


def part_lines() -> None:
    """Centre lines against the masks of narrow fields, branchings and crossings against the points annotated in wide ones. No goal
    is set for either: printed so that a change is seen."""
    from skimage.morphology import skeletonize

    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        for field in ("hrf", "chase_db1"):
            rows = list(csv.DictReader(open(SHARED / field / "labels.csv", newline="")))
            appraise([SHARED / field / r["file"] for r in rows], "--vessels", folder)
            right, seen, widths = {}, {}, {}
            for r in rows:
                stem = pathlib.Path(r["file"]).stem
                found = vessel_lines(stem, folder)
                w, h = found["width"], found["height"]
                mask = cv2.resize(cv2.imread(str(SHARED / field / r["vessel_mask"]), cv2.IMREAD_GRAYSCALE), (w, h), interpolation=cv2.INTER_NEAREST) > 127
                far = 0.004 * w
                mine, true = drawn_lines(found), skeletonize(mask)
                right[stem], seen[stem] = [near_share(mine, true, far)], [near_share(true, mine, far)]
                side = 2 * int(far) + 1
                half = cv2.dilate(cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5), np.ones((side, side)))
                widths[stem] = []
                for line in found["lines"]:
                    p = np.clip(np.round(np.array(line["points"]) - 0.5).astype(int), 0, [w - 1, h - 1])
                    there = half[p[:, 1], p[:, 0]]
                    if line["width_px"] and (there > 0).sum() > 8:
                        widths[stem].append(line["width_px"] / (2 * np.median(there[there > 0])))
            for what, values in (("on a vessel of the mask", right), ("of the mask's middle that is followed", seen)):
                flat = [v[0] for v in values.values()]
                say(f"centre lines, {field}: share {what}", float(np.mean(flat)), "", len(flat), boot(values, np.mean), f"worst {min(flat):.3f}")
            say(f"centre lines, {field}: width against the mask's, median", float(np.median(sum(widths.values(), []))), "", len(widths))
        hits: dict[str, list[float]] = {}
        chance: dict[str, list[float]] = {}
        random = np.random.default_rng(0)
        for file in sorted((SHARED / "annotations" / "points").glob("*.csv")):
            eye, *stems = file.stem.split("__")
            points = list(csv.DictReader(open(file, newline="")))
            for stem, (x, y) in zip(stems, (("xa", "ya"), ("xb", "yb")), strict=True):
                if not (folder / f"{stem}.json").exists():
                    (picture,) = (p for s in real.SETS for p in (SHARED / s).glob(f"{stem}.*"))
                    appraise([picture], "--modality", "fa" if "_fa" in stem else "colour", "--vessels", folder)
                found = vessel_lines(stem, folder)
                nodes = np.array([[n["x"], n["y"]] for n in found["nodes"] if n["kind"] != "end"]).reshape(-1, 2)
                for p in points:
                    at = np.array([float(p[x]), float(p[y])])
                    for to, place in ((hits, at), (chance, at + random.uniform(-0.05, 0.05, 2) * found["width"])):
                        away = np.hypot(*(nodes - place).T).min() if len(nodes) else np.inf
                        to.setdefault(eye, []).append(float(away <= 0.008 * found["width"]))
        flat = sum(hits.values(), [])
        say("annotated crossings and branchings with one found within 0.8 % of the width", float(np.mean(flat)), "", len(flat), boot(hits, np.mean), f"random places nearby {np.mean(sum(chance.values(), [])):.3f}")


# ---- arteries and veins


#: Rings about the disc, in disc radii, and that radius as a share of the width.
RINGS = ((1.5, 4), (4, 8))
RADIUS = 0.0225


def kind_of(line: dict) -> str | None:
    return line["kind"]["name"] if line.get("kind") else None


def length_of(line: dict) -> float:
    return float(np.hypot(*np.diff(np.array(line["points"]), axis=0).T).sum())


def part_kinds() -> None:
    """Arteries and veins told apart: right and how sure, on simulated frames; on real ones, where nobody says which is which, against the
    trunks that one person judged by eye and by what should hold: veins are wider, vessels that cross differ. No goal is set."""
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        simulated_kinds(folder)
        files = [p for s in real.SETS for p in sorted((SHARED / s).glob("*_colour.*"))]
        appraise(files, "--modality", "colour", "--vessels", folder)
        real_kinds(folder, [p.stem for p in files])
        for what, modality, frames in (("FA", "fa", [p for s in real.SETS for p in sorted((SHARED / s).glob("*_fa*"))]), ("hrf", "colour", sorted((SHARED / "hrf").glob("*.jpg"))), ("chase_db1", "colour", [p for p in sorted((SHARED / "chase_db1").glob("*.png")) if "_vessels" not in p.stem])):  # fmt: skip
            appraise(frames, "--modality", modality, "--vessels", folder)
            lines = [line for p in frames for line in vessel_lines(p.stem, folder)["lines"]]
            say(f"kinds, {what}: lines told (to be none)", sum(kind_of(line) is not None for line in lines), "", len(lines))


def simulated_kinds(folder: pathlib.Path) -> None:
    """A line's truth is the mask that holds 70 % of its length where the other one holds less than 40 %; a line with less than 30 % in
    either is none."""

    def one(i: int) -> tuple[str, dict]:
        words = ["phantom", "frame", "--seed", 95_000 + i, "--eye", "RL"[i % 2], "--modality", "colour", "--size", 1200, "--masks", "-o", folder, "--json"]
        truth = house.serrata(*words).lines[0]
        return truth["file"], truth["disc"]

    with ThreadPoolExecutor(2) as pool:
        discs = dict(pool.map(one, range(8 if SETTINGS.quick else 50)))
    files = list(discs)
    appraise([folder / f for f in files], "--modality", "colour", "--vessels", folder)
    rows: dict[str, list[tuple]] = {}
    for file in files:
        stem = pathlib.Path(file).stem
        masks = [cv2.dilate(cv2.imread(str(folder / f"{stem}-{k}.png"), cv2.IMREAD_GRAYSCALE), np.ones((5, 5))) > 0 for k in ("arteries", "veins")]
        rows[stem] = []
        for line in vessel_lines(stem, folder)["lines"]:
            p = np.array(line["points"])
            gone = np.r_[0, np.cumsum(np.hypot(*np.diff(p, axis=0).T))]
            steps = np.arange(0.5, gone[-1], 1.0)
            x, y = (np.clip(np.interp(steps, gone, p[:, k]).astype(int), 0, masks[0].shape[1 - k] - 1) for k in (0, 1))
            artery, vein = (float(m[y, x].mean()) if len(steps) else 0.0 for m in masks)
            true = "artery" if artery > 0.7 and vein < 0.4 else "vein" if vein > 0.7 and artery < 0.4 else "none" if max(artery, vein) < 0.3 else None
            near = np.hypot(*(p[len(p) // 2] - [discs[file]["x"], discs[file]["y"]])) < RINGS[-1][1] * RADIUS * masks[0].shape[1]
            rows[stem].append((gone[-1], kind_of(line), line["kind"]["probability"] if kind_of(line) else None, true, near))
    every = sum(rows.values(), [])
    vessel = {f: [r for r in v if r[3] in ("artery", "vein")] for f, v in rows.items()}
    told = {f: [r for r in v if r[1]] for f, v in vessel.items()}
    share = lambda part, of: sum(r[0] for r in part) / max(sum(r[0] for r in of), 1e-9)  # noqa: E731
    right = lambda v: share([r for r in v if r[1] == r[3]], v)  # noqa: E731
    flat = sum(told.values(), [])
    say("kinds, simulated: share of all line length that is told", share([r for r in every if r[1]], every), "", len(every))
    say("kinds, simulated: share of clear vessels' length that is told", share(flat, sum(vessel.values(), [])), "", len(flat))
    close = [r for r in sum(vessel.values(), []) if r[4]]
    say("kinds, simulated: the same within 8 disc radii of the disc", share([r for r in close if r[1]], close), "", len(close))
    say("kinds, simulated: right of the length told", right(flat), "", len(flat), boot(told, right), f"worst frame {min((right(v) for v in told.values() if v), default=float('nan')):.3f}")
    for k in ("artery", "vein"):
        say(f"kinds, simulated: right of lines held for {k}", float(np.mean([r[3] == k for r in flat if r[1] == k])), "", sum(r[1] == k for r in flat))
    for low, high in ((0.8, 0.9), (0.9, 0.95), (0.95, 1.01)):
        some = [r for r in flat if low <= r[2] < high]
        if some:
            say(f"kinds, simulated: right of lines told at {low:.2f} to {min(high, 1):.2f}", float(np.mean([r[1] == r[3] for r in some])), "", len(some), None, f"said {np.mean([r[2] for r in some]):.3f}")
    none = [r for r in every if r[3] == "none"]
    say("kinds, simulated: told share of lines that follow no vessel", share([r for r in none if r[1]], none), "", len(none))


def own_width(green: np.ndarray, points: list, step: float) -> float | None:
    """Width at half depth across a line in the frame's own pixels, median of stretches; `step`: a working pixel. Not the width that the
    answer gives, which is told to half a working pixel."""
    p = np.array(points) - 0.5
    gone = np.r_[0, np.cumsum(np.hypot(*np.diff(p, axis=0).T))]
    at = np.arange(4 * step, gone[-1] - 4 * step, step / 2)
    if len(at) < 12:
        return None
    q = np.c_[np.interp(at, gone, p[:, 0]), np.interp(at, gone, p[:, 1])]
    k = np.arange(len(q))
    along = q[np.clip(k + 6, None, len(q) - 1)] - q[np.clip(k - 6, 0, None)]
    along /= np.hypot(*along.T)[:, None]
    off = np.arange(-7, 7.01, 0.1) * step
    x, y = (q[:, 0, None] - along[:, 1, None] * off, q[:, 1, None] + along[:, 0, None] * off)
    across = np.log(cv2.remap(green, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE) + 5)
    widths = []
    for first in range(0, len(across) - 7, 8):
        m = across[first : first + 8].mean(axis=0)
        i = np.flatnonzero(np.abs(off) <= 1.5 * step)[m[np.abs(off) <= 1.5 * step].argmin()]
        half = 0.5 * (0.5 * (np.percentile(m[:i], 75) + np.percentile(m[i:], 75)) + m[i])
        left = next((j for j in range(i, -1, -1) if m[j] >= half), 0)
        right = next((j for j in range(i, len(m)) if m[j] >= half), len(m) - 1)
        widths.append((right - left) * 0.1 * step)
    return float(np.median(widths)) if widths else None


def real_kinds(folder: pathlib.Path, stems: list[str]) -> None:
    trunks: dict[tuple[str, str, str], list] = {}
    for r in csv.DictReader(open(ROOT / "checks" / "vessel_kinds.csv", newline="")):
        trunks.setdefault((r["frame"], r["trunk"], r["kind"]), []).append([float(r["x"]), float(r["y"])])
    wider, crossings, total = [], [], []
    for stem in stems:
        found = vessel_lines(stem, folder)
        lines, wide = found["lines"], found["width"]
        lengths = [length_of(line) for line in lines]
        part = sum(n for n, line in zip(lengths, lines) if kind_of(line)) / max(sum(lengths), 1e-9)
        own = np.concatenate([np.full(len(line["points"]), i) for i, line in enumerate(lines)])
        places = np.concatenate([np.array(line["points"]) for line in lines])
        agreed, against, all_of = [], [], 0
        for (frame, trunk, kind), points in trunks.items():
            if frame != stem:
                continue
            all_of += 1
            said = []
            for p in points:
                away = np.hypot(*(places - p).T)
                if away.min() < 0.008 * wide:
                    said.append(kind_of(lines[own[away.argmin()]]))
            most = max(set(said), key=said.count) if said else None
            if most:
                (agreed if most == kind else against).append(trunk)
        total.append((len(agreed), len(against), all_of))
        say(f"kinds, {stem}: share of line length told", part, "", len(lines), None, f"trunks by eye: {len(agreed)} agreed, {len(against)} against, of {all_of}")
        disc = json.load(open(next(SHARED.glob(f"annotations/*/{stem}.json"))))["disc"]
        green = cv2.imread(str(next(p for s in real.SETS for p in (SHARED / s).glob(f"{stem}.*"))))[..., 1].astype(np.float32)
        for low, high in RINGS:
            sides: dict[str, list] = {"artery": [], "vein": []}
            for line in lines:
                middle = np.array(line["points"])[len(line["points"]) // 2]
                if kind_of(line) and low <= np.hypot(*(middle - disc[:2])) / (RADIUS * wide) < high:
                    width = own_width(green, line["points"], -(-wide // 860))
                    if width:
                        sides[kind_of(line)].append(width)
            if min(map(len, sides.values())) >= 3:
                wider.append(float(np.median(sides["vein"]) / np.median(sides["artery"])))
        for node in found["nodes"]:
            kinds = [kind_of(lines[i]) for i in node["lines"]]
            if node["kind"] == "crossing" and len(kinds) == 4 and None not in kinds:
                crossings.append(sorted(kinds) == ["artery", "artery", "vein", "vein"])
    agreed, against, all_of = np.sum(total, axis=0)
    say("kinds, real: trunks judged by eye that are told", (agreed + against) / all_of, "", int(all_of))
    say("kinds, real: agreed of the trunks told", agreed / max(agreed + against, 1), "", int(agreed + against))
    if wider:
        say("kinds, real: width of veins against arteries, per frame and ring", float(np.mean(wider)), "", len(wider), None, ", ".join(f"{w:.2f}" for w in wider))
    if crossings:
        say("kinds, real: crossings of four told lines with two of each kind", float(np.mean(crossings)), "", len(crossings))


def vessel_auc(picture: pathlib.Path, mask: pathlib.Path, found: pathlib.Path) -> float:
    """All pixels inside the field, at the picture's own size."""
    pixels = cv2.imread(str(picture), cv2.IMREAD_COLOR)
    truth = cv2.imread(str(mask), cv2.IMREAD_GRAYSCALE)
    truth = cv2.resize(truth, pixels.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 127
    h, w = truth.shape
    mine = cv2.resize(cv2.imread(str(found), cv2.IMREAD_GRAYSCALE).astype(np.float32), (w, h), interpolation=cv2.INTER_LINEAR)
    n = max(3, w // 100) | 1
    field = cv2.erode((cv2.GaussianBlur(pixels.max(axis=2), (0, 0), w / 500) > 25).astype(np.uint8), np.ones((n, n)), borderValue=0) > 0
    some = np.random.default_rng(1).choice(np.flatnonzero(field), 400_000)
    t, m = truth.ravel()[some], mine.ravel()[some]
    return auc(list(m[t]), list(m[~t]))


# ---- spoiled on purpose


def originals() -> list[tuple[str, np.ndarray, str]]:
    """Name, pixels (at most 1400 wide) and eye of the 18 frames."""
    out = []
    for s in real.SETS:
        for path in sorted((SHARED / s).iterdir()):
            if path.suffix in (".jpg", ".png"):
                p = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
                p = p[..., 0] if p.ndim == 3 and "_fa" in path.stem else p
                p = p[..., ::-1] if p.ndim == 3 else p
                k = 1400 / p.shape[1]
                p = cv2.resize(p, None, fx=k, fy=k, interpolation=cv2.INTER_AREA) if k < 1 else p
                out.append((path.stem, np.ascontiguousarray(p), f"{s}/{path.stem.split('_')[0]}"))
    return out


def part_spoiled() -> None:
    """Each fault at ten strengths, two ways, against the untouched frames; what else is said; what is said of untouched ones."""
    strengths = [0.0, 0.4, 0.7, 1.0] if SETTINGS.quick else [i / 9 for i in range(10)]
    bases = originals()[:: 2 if SETTINGS.quick else 1]
    with tempfile.TemporaryDirectory() as folder:
        at = pathlib.Path(SETTINGS.keep or folder)
        at.mkdir(exist_ok=True)
        jobs = [(b, None, None, None) for b in bases]
        jobs += [(b, fault, way, s) for fault, (_, ways) in SPOILERS.items() for way in ways for b in bases for s in strengths]
        with ThreadPoolExecutor(2) as pool:
            files = list(pool.map(lambda j: spoil(at, *j), jobs))
        lines = appraise(files)
    clean = dict(zip([b[0] for b in bases], lines, strict=False))
    rows = [(b[0], b[2], fault, way.__name__, s, line) for (b, fault, way, s), line in list(zip(jobs, lines, strict=True))[len(bases) :]]
    report_spoiled(rows, clean, {b[0]: b[2] for b in bases}, strengths)
    false_alarms(clean)


def spoil(at: pathlib.Path, base: tuple, fault: str | None, way, s: float | None) -> pathlib.Path:
    """Writes one spoiled picture. The place of a fault depends on picture and way, not on the strength."""
    name, pixels, _ = base
    path = at / (f"{name}.png" if fault is None else f"{name}__{way.__name__}__{s:.2f}.png")
    if fault is not None:
        seed = [ord(c) for c in name + way.__name__]
        pixels = way(pixels, s, np.random.default_rng(seed))
    cv2.imwrite(str(path), pixels[..., ::-1] if pixels.ndim == 3 else pixels, [cv2.IMWRITE_PNG_COMPRESSION, 1])
    return path


def report_spoiled(rows: list, clean: dict, person: dict, strengths: list[float]) -> None:
    """Areas under the curve, monotony, confusion."""
    kinds = sorted({k for *_, line in rows for k in counted(line)})
    table = []
    for fault, (named, ways) in SPOILERS.items():
        for way in ways:
            mine = [r for r in rows if r[3] == way.__name__]
            strong = [r for r in mine if r[4] >= 0.25]
            people = {p: [("bad", score(r[5], *named)) for r in strong if r[1] == p] + [("good", score(v, *named)) for k, v in clean.items() if person[k] == p] for p in set(person.values())}
            area = lambda items: auc([v for k, v in items if k == "bad"], [v for k, v in items if k == "good"])  # noqa: E731
            say(f"spoiled, {fault} ({way.__name__}): area under the curve", area(sum(people.values(), [])), "≥ 0.97" if fault != "haze" else "", len(strong), boot(people, area))
            kept = falls = 0
            for name in clean:
                series = [score(r[5], *named) for r in sorted((r for r in mine if r[0] == name), key=lambda r: r[4])]
                steps = np.array(series) - np.maximum.accumulate(series)
                kept, falls = kept + bool((steps > -0.02).all()), falls + 1
            say("   scores monotone in strength (falls below 0.02 let pass), pictures", kept / falls, "≥ 1" if fault != "haze" else "", falls)
            said = [counted(r[5]) - counted(clean[r[0]]) for r in strong]
            hit = np.mean([bool(set(named) & counted(r[5])) for r in strong])
            table.append((way.__name__, hit, [np.mean([k in s for s in said]) for k in kinds], [r[5]["verdict"] for r in strong]))
    print("\nconfusion: share of the spoiled pictures (rows) in which a finding newly counts (columns); verdicts usable/limited/not")
    print(" " * 16 + " ".join(f"{k[:11]:>11}" for k in kinds))
    for name, _, shares, verdicts in table:
        print(f"{name:16}" + " ".join(f"{v:11.2f}" if v else "          ." for v in shares) + "   " + "/".join(f"{verdicts.count(v) / len(verdicts):.2f}" for v in real.VERDICTS))
    print()


def false_alarms(clean: dict) -> None:
    """Faults that count on untouched frames though neither grader named them (graded ones), per fault."""
    named: dict[str, set[str]] = {}
    for r in csv.DictReader(open(SHARED / "verdicts" / "labels.csv", newline="")):
        if not r["spoiled_with"]:
            named[pathlib.Path(r["source"]).stem] = {r["reason_a"], r["reason_b"]}
    for kind in ("blink", "motion", "blur", "underexposed", "overexposed", "off_centre", "iris_shadow", "haze", "lid", "lash", "reflex", "too_close", "too_far"):
        cases = [k for k, v in clean.items() if kind in counted(v) and kind not in named.get(k, set())]
        say(f"false alarms on untouched frames, {kind}", len(cases) / len(clean), "≤ 0.05", len(clean), None, ", ".join(cases))


# ---- disease


def part_disease() -> None:
    """Pictures with disease: what is called not usable, and why."""
    total = bad = 0
    for name in ("fa_phase", "fa_disease", "fa_area_masks", "hrf", "idrid_disc"):
        rows = list(csv.DictReader(open(SHARED / name / "labels.csv", newline="")))
        lines = appraise([SHARED / name / r["file"] for r in rows])
        refused = [(r["file"], sorted(counted(v)) or [x["rule"] for x in v["reasons"]]) for r, v in zip(rows, lines, strict=True) if v["verdict"] == "not_usable"]
        print(f"  {name}: {len(rows)} pictures, not usable {len(refused)}: {refused[:8]}")
        total, bad = total + len(rows), bad + len(refused)
    say("sets with disease: called not usable (to be looked at one by one)", bad / total, "", total)


# ---- phantom


PHANTOM_FAULTS = ("blink", "lid", "lash", "blur", "underexposed", "overexposed", "off_centre", "motion", "haze", "too_close", "too_far", "iris_shadow", "reflex", "floater", "smear", "dust")


def phantom_files(at: pathlib.Path) -> list[tuple[pathlib.Path, dict]]:
    """Simulated frames with truth, seeds from 50 000 on: none of them was looked at."""
    count = 64 if SETTINGS.quick else 640
    known = subprocess.run([str(house.BINARY), "phantom", "frame", "--help"], capture_output=True, check=False).stdout.decode()
    faults = [f for f in PHANTOM_FAULTS if f in known]

    def one(i: int) -> tuple[pathlib.Path, dict]:
        kind = ("colour", "fa", "colour", "fa", "faf")[i % 5]
        fault = [None, *faults][i // 5 % (len(faults) + 1)]
        words = ["phantom", "frame", "--seed", 50_000 + i, "--eye", "RL"[i % 2], "--modality", kind, "--size", 1200, "-o", at, "--json"]
        done = house.serrata(*words, *(["--fault", fault] if fault else []))
        truth = done.lines[0]
        return at / truth["file"], truth

    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(one, range(count)))


def part_phantom() -> None:
    """Per finding the area under the curve; rows, visible retina, verdicts, eye side."""
    with tempfile.TemporaryDirectory() as folder:
        made = phantom_files(pathlib.Path(folder))
        lines: list[dict] = [{}] * len(made)
        for kind in ("colour", "fa", "faf"):
            some = [i for i, (_, t) in enumerate(made) if t["modality"] == kind]
            for i, line in zip(some, appraise([made[i][0] for i in some], "--modality", kind), strict=True):
                lines[i] = line
    pairs = [(t, v) for (_, t), v in zip(made, lines, strict=True)]
    for kind in PHANTOM_FAULTS:
        bad = [score(v, kind) for t, v in pairs if any(f["kind"] == kind and f.get("score", 1) >= 0.5 and not everyday(f) for f in t["findings"])]
        good = [score(v, kind) for t, v in pairs if not any(f["kind"] == kind for f in t["findings"])]
        if bad:
            say(f"phantom, {kind}: area under the curve", auc(bad, good), "≥ 0.98", len(bad) + len(good))
    rows = [row_error(t, v, "blink") for t, v in pairs]
    rows = [r for r in rows if r is not None]
    if rows:
        say("phantom, blink rows within 1 % of the height", float(np.mean([r <= 0.01 for r in rows])), "≥ 0.95", len(rows), None, f"median error {np.median(rows):.4f}")
    jumps = [r for t, v in pairs if (r := row_error(t, v, "motion")) is not None]
    if jumps:
        say("phantom, jump row within 1 % of the height", float(np.mean([r <= 0.01 for r in jumps])), "≥ 0.95", len(jumps))
    overlaps = [phantom_overlap(t, v) for t, v in pairs if not t["findings"] or all(everyday(f) for f in t["findings"])]
    if overlaps:
        say("phantom, visible retina of frames without fault: overlap, mean", float(np.mean(overlaps)), "≥ 0.93", len(overlaps), None, f"worst {min(overlaps):.3f}")
    overlaps = [phantom_overlap(t, v) for t, v in pairs]
    say("phantom, visible retina of all frames: overlap, mean", float(np.mean(overlaps)), "≥ 0.93", len(overlaps), None, f"worst {min(overlaps):.3f}")
    same = [t["expected"] == v["verdict"] for t, v in pairs]
    say("phantom, verdict as the truth's rule", float(np.mean(same)), "≥ 0.95", len(same))
    for kind in ("colour", "fa", "faf"):
        other = real.grouped([f"{t['expected']} called {v['verdict']} ({', '.join(sorted(counted(v)))}; truth {', '.join(f['kind'] for f in t['findings'] if not everyday(f))})" for t, v in pairs if t["expected"] != v["verdict"] and t["modality"] == kind], str)
        print(f"  {kind}, verdicts that differ: " + "; ".join(f"{len(v)} × {k}" for k, v in sorted(other.items(), key=lambda i: -len(i[1]))[:8]))
    wrong = sum(v["eye"]["inferred"] not in (None, t["eye"]) for t, v in pairs)
    say("phantom, eye side: wrong", wrong, "≤ 0", len(pairs))
    say("phantom, eye side: not sure, share", float(np.mean([v["eye"]["inferred"] is None for _, v in pairs])), "", len(pairs))


def part_jumps() -> None:
    """Jumps where a sweep of 4 s lets a saccade take few lines, so that vessels break as in real frames: found, at which row, and how far. In the sweep of
    0.4 s of the other simulated frames the same saccade is spread over a thirteenth of the lines. No goal is set."""
    count = 24 if SETTINGS.quick else 120
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        slow = folder / "slow.toml"
        profile = (house.ROOT / "instruments" / "demo-wide.toml").read_text()
        longer, replaced = re.subn(r"(?m)^sweep_s = [0-9.]+", "sweep_s = 4.0", profile)
        assert replaced == 1, "the profile's sweep is not where it was"
        slow.write_text(longer)

        def one(i: int) -> tuple[bool, dict, dict]:
            kind, jump = ("colour", "fa", "faf")[i % 3], i // 3 % 2 == 0
            words = ["--seed", 66_000 + i, "--eye", "RL"[i % 2], "--modality", kind, "--size", 1200, "--sweep", 4]
            truth = house.serrata("phantom", "frame", *words, *(["--fault", "motion"] if jump else []), "-o", folder, "--json").lines[0]
            line = house.serrata("appraise", "--json", "--instrument", slow, "--modality", kind, folder / truth["file"]).lines[0]
            return jump, truth, line

        with ThreadPoolExecutor(2) as pool:
            made = list(pool.map(one, range(count)))
    for kind in ("colour", "fa", "faf"):
        some = [(jump, v) for jump, t, v in made if t["modality"] == kind]
        say(f"simulated jumps in few lines, {kind}: area under the curve", auc([score(v, "motion") for j, v in some if j], [score(v, "motion") for j, v in some if not j]), "", len(some))
        say("   of those with a jump, counted", float(np.mean(["motion" in counted(v) for j, v in some if j])), "", len(some) // 2)
        say("   of the others, counted", float(np.mean(["motion" in counted(v) for j, v in some if not j])), "", len(some) // 2)
    found = [f for j, _, v in made if j and (f := max((f for f in v["findings"] if f["kind"] == "motion"), key=lambda f: f["score"], default=None))]
    rows = [r for j, t, v in made if j and (r := row_error(t, v, "motion")) is not None]
    say("   row within 1 % of the height, of all with a jump", float(np.mean([r <= 0.01 for r in rows])), "", len(rows))
    sizes = [abs(f["shift_deg"] - 4.0) for f in found if f.get("shift_deg") is not None]
    if sizes:
        say("   size within 0.1°, of those told", float(np.mean([s <= 0.1 for s in sizes])), "", len(sizes), None, f"median error {np.median(sizes):.2f}°")


def part_soft() -> None:
    """Blur of one part, which the other simulated frames have none of: with its place against frames with a smear and without a fault. No
    goal is set."""
    count = 20 if SETTINGS.quick else 100
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)

        def one(i: int) -> tuple[str | None, dict, dict]:
            kind, fault = ("colour", "fa", "faf")[i % 3], ("regional_blur", "regional_blur", "smear", None, None)[i % 5]
            words = ["--seed", 60_000 + i, "--eye", "RL"[i % 2], "--modality", kind, "--size", 1200]
            truth = house.serrata("phantom", "frame", *words, *(["--fault", fault] if fault else []), "-o", folder, "--json").lines[0]
            return fault, truth, appraise([folder / truth["file"]], "--modality", kind)[0]

        with ThreadPoolExecutor(2) as pool:
            made = list(pool.map(one, range(count)))
    placed = lambda v: [f for f in v["findings"] if f["kind"] == "blur" and f["polygons"]]  # noqa: E731
    best = lambda v: max((f["score"] for f in placed(v)), default=0.0)  # noqa: E731
    bad = [best(v) for fault, _, v in made if fault == "regional_blur"]
    good = [best(v) for fault, _, v in made if fault != "regional_blur"]
    say("simulated, blur of one part with its place: area under the curve", auc(bad, good), "", count)
    say("   of those spoiled so, counted", float(np.mean([b >= 0.5 for b in bad])), "", len(bad))
    say("   of the others, counted", float(np.mean([g >= 0.5 for g in good])), "", len(good))
    overlaps = []
    for fault, t, v in made:
        if fault == "regional_blur" and placed(v):
            true = next(f for f in t["findings"] if f["kind"] == "blur")
            a, b = (real.painted(t["width"], t["height"], f["polygons"], f["holes"]) for f in (true, placed(v)[0]))
            overlaps.append(float((a & b).sum() / max((a | b).sum(), 1)))
    say("   overlap of its place with the truth, median of those told", float(np.median(overlaps)), "", len(overlaps))


GAZES = ("primary", "up", "down", "right", "left", "up_right", "up_left", "down_right", "down_left")


def part_gaze() -> None:
    """How the gaze is told on simulated frames of every commanded gaze, with the invented instrument's projection."""
    count = 54 if SETTINGS.quick else 324
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        profile = gaze_profile(folder)

        def one(i: int) -> tuple[str, dict | None]:
            gaze, kind, eye, turn = GAZES[i % 9], ("colour", "fa", "faf")[i // 9 % 3], "RL"[i // 27 % 2], (18, 25)[i // 54 % 2]
            words = ["--seed", 72_000 + i, "--eye", eye, "--modality", kind, "--size", 1200, "--gaze", gaze, "--turn", turn]
            truth = house.serrata("phantom", "frame", *words, "-o", folder, "--json").lines[0]
            done = house.serrata("appraise", folder / truth["file"], "--modality", kind, "--eye", eye, "--instrument", profile, "--json")
            return gaze, done.lines[0]["gaze"]

        with ThreadPoolExecutor(2) as pool:
            told = list(pool.map(one, range(count)))
    answered = [(gaze, g) for gaze, g in told if g and g["seen"]]
    say("gaze in words, of those told", float(np.mean([g["seen"] == gaze for gaze, g in answered])), "", len(answered), None, f"wrong {sum(g['seen'] != gaze for gaze, g in answered)}")
    say("gaze not told, share", 1 - len(answered) / len(told), "", len(told))


def gaze_profile(folder: pathlib.Path) -> pathlib.Path:
    """The invented wide instrument, for pictures of 1200 pixels."""
    text = (ROOT / "instruments" / "demo-wide.toml").read_text()
    for old, new in (('"demo-wide"', '"demo-wide-1200"'), ("3600", "1200"), ("0.074", "0.222")):
        text = text.replace(old, new)
    (folder / "profile.toml").write_text(text)
    return folder / "profile.toml"


def everyday(f: dict) -> bool:
    """A few lashes or a corner of lid, as in most pictures."""
    return f["kind"] in ("lid", "lash") and f["fraction"] < 0.1


def row_error(truth: dict, line: dict, kind: str) -> float | None:
    """Greatest error of the rows as a share of the height; 1 where nothing was found, none where nothing was drawn."""
    true = [f["rows"] for f in truth["findings"] if f["kind"] == kind and f["rows"]]
    if not true:
        return None
    found = [f["rows"] for f in line["findings"] if f["kind"] == kind and f["rows"]]
    ends = (0, 1) if kind == "blink" else (0,)
    return max(min((max(abs(t[e] - f[e]) for e in ends) / truth["height"] for f in found), default=1.0) for t in true)


def phantom_overlap(truth: dict, line: dict) -> float:
    """Intersection over union of the visible retina, plain."""
    h, w = truth["height"], truth["width"]
    t = real.painted(w, h, truth["visible_retina"]["polygons"], truth["visible_retina"]["holes"])
    m = real.painted(w, h, line["visible_retina"]["polygons"], line["visible_retina"]["holes"])
    return float((t & m).sum() / max((t | m).sum(), 1))


# ---- bad input


def part_bad() -> None:
    """Pictures that must never be called usable."""
    from skimage import data

    frames = {name: pixels for name, pixels, _ in originals()}
    colour, fa = frames["pair1_colour"], frames["pair2_fa"]
    h, w = colour.shape[:2]
    page = np.full((900, 1400, 3), 240, np.uint8)
    page[120:720, 80:844] = cv2.resize(colour, (764, 600))
    for i in range(18):
        cv2.putText(page, "result of the day, see the list below", (880, 140 + 32 * i), cv2.FONT_HERSHEY_SIMPLEX, 0.7, (40, 40, 40), 1)
    dark = np.full((900, 1400, 3), 24, np.uint8)
    dark[120:720, 80:844] = cv2.resize(colour, (764, 600))
    cv2.rectangle(dark, (0, 0), (1399, 60), (60, 60, 70), -1)
    small = {k: cv2.resize(p if p.ndim == 3 else np.repeat(p[..., None], 3, axis=2), (700, 550)) for k, p in frames.items()}
    four = np.vstack([np.hstack([small["pair1_colour"], small["pair2_colour"]]), np.hstack([small["eye02_colour"], small["eye03_colour"]])])
    grey = colour[..., 1]
    cases = {
        "photograph of a person": data.camera(), "printed page": data.page(), "coins": data.coins(), "cat": data.chelsea(),
        "coffee": data.coffee(), "brick": data.brick(), "grass": data.grass(), "text": data.text(), "astronaut": data.astronaut(),
        "one colour": np.full((800, 1000, 3), (90, 60, 10), np.uint8), "black": np.zeros((800, 1000), np.uint8),
        "left half of a retina": np.hstack([colour[:, : w // 2], np.zeros_like(colour[:, w // 2 :])]),
        "lower half of a retina": np.vstack([np.zeros_like(colour[: h // 2]), colour[h // 2 :]]),
        "half an angiogram": np.hstack([fa[:, : fa.shape[1] // 2], np.zeros_like(fa[:, fa.shape[1] // 2 :])]),
        "half a retina, cut off": np.ascontiguousarray(colour[:, : w // 2]),
        "a light page with a retina in it": page, "a dark page with a retina in it": dark, "mosaic of four eyes": four,
    }  # fmt: skip
    told = {"red-free passed as colour": grey, "infrared-like passed as colour": colour[..., 0], "angiogram passed as colour": fa}
    upside = {f"upside down, {k}": np.ascontiguousarray(p[::-1, ::-1]) for k, p in frames.items() if "colour" in k or "fa_late" in k}
    with tempfile.TemporaryDirectory() as folder:
        for title, some, more in (("", cases, ()), ("", told, ("--modality", "colour")), ("upside", upside, ())):
            files = [pathlib.Path(folder) / f"{k.replace(' ', '_').replace(',', '')}.png" for k in some]
            for f, p in zip(files, some.values(), strict=True):
                cv2.imwrite(str(f), p[..., ::-1] if p.ndim == 3 else p)
            lines = appraise(files, *more)
            if title:
                sides = [v["eye"]["inferred"] for v in lines]
                print(f"  upside down: eye side answered R {sides.count('R')}, L {sides.count('L')}, not sure {sides.count(None)} of {len(sides)}")
            for k, v in zip(some, lines, strict=True):
                reasons = ", ".join(r["rule"] for r in v["reasons"])
                print(f"  {k:40} {v['verdict']:11} {reasons}")
            say(f"bad input{', ' + title + ' down' if title else ''}: called usable", sum(v["verdict"] == "usable" for v in lines), "≤ 0", len(lines))


def part_speed() -> None:
    """Milliseconds by stage; the ratios against OpenCV are printed by `make bench`."""
    for kind in ("colour", "fa"):
        file = SHARED / "uwf_pairs_hires" / f"pair1_{kind}.jpg"
        lines = [house.serrata("appraise", "--json", "--timings", "--jobs", "1", file).lines[0] for _ in range(5)]
        for stage in ("decode", "observe"):
            say(f"speed, {kind} {file.name}: {stage}, median ms", float(np.median([v["milliseconds"][stage] for v in lines])), "", 5)


PARTS = {"real": part_real, "verdicts": part_verdicts, "narrow": part_narrow, "vessels": part_vessels, "lines": part_lines, "kinds": part_kinds, "spoiled": part_spoiled, "disease": part_disease, "phantom": part_phantom, "jumps": part_jumps, "soft": part_soft, "gaze": part_gaze, "bad": part_bad, "speed": part_speed}  # fmt: skip


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer strengths, pictures and seeds")
    parser.add_argument("--parts", default=",".join(PARTS), help="which parts, with commas")
    parser.add_argument("--engine", help="another program that takes the same words as the binary")
    parser.add_argument("--keep", help="keep the spoiled pictures in this folder")
    parser.parse_args(namespace=SETTINGS)
    if not (SHARED / "INDEX.md").exists():
        print(f"appraisal-bench: the real pictures are not on this machine ({SHARED}); only the phantom is measured.", file=sys.stderr)
        SETTINGS.parts = "phantom"
    for name in SETTINGS.parts.split(","):
        print(f"\n== {name}", flush=True)
        PARTS[name]()
    print(f"\n{len(missed)} figures missed" + "".join(f"\n  {m}" for m in missed))
    return 0


if __name__ == "__main__":
    sys.exit(main())
