"""Assembly held against annotated points, known geometry and a plain OpenCV peer (`make assembly-bench`).

The points of `../shared/data/annotations` are read here only, never by the engine. Parts: `real rings others phantom
sets areas warps copies time`; names as arguments run only those, `--few` runs a tenth of the long ones.

The peer: OpenCV green or inverted FA, CLAHE, SIFT, ratio test, RANSAC homography; best of the grid PEER_GRID per pair,
which favours the peer, since the best is chosen by the points. Simulated frames are measured by the engine's own program
`figures`, whose truth is where each pixel really lies, the eye's movement during the sweep included.
"""

from __future__ import annotations

import concurrent.futures
import csv
import itertools
import json
import math
import pathlib
import random
import statistics
import subprocess
import sys
import tempfile
import time

import cv2
import numpy as np

from house import BINARY, SHARED

PEER_GRID = list(itertools.product((0.7, 0.8, 0.9), (3.0, 8.0), (2.0, 4.0)))  # ratio, RANSAC px per 853 of width, CLAHE
EYES = [f"eye0{i}" for i in range(1, 5)]
WORK = pathlib.Path(tempfile.mkdtemp(prefix="assembly-"))
DEGREES_WIDE = 0.074 * 3600  # plane degrees across a picture of the invented instrument demo-wide


def assemble(paths: list[pathlib.Path], *more: str) -> tuple[dict, pathlib.Path]:
    """The assembly's line and folder."""
    folder = WORK / f"a{random.getrandbits(60):x}"
    command = [BINARY, "assemble", *map(str, paths), "-o", str(folder), "--json", *(more or ("--no-mosaic",))]
    out = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return json.loads(out.splitlines()[-1]), folder


def transfer(folder: pathlib.Path, a: str, b: str, points: np.ndarray) -> np.ndarray:
    """Points of a in b; NaN where outside or not placed."""
    text = "\n".join(f"{x:.3f},{y:.3f}" for x, y in points)
    command = [BINARY, "transfer", str(folder), "--from", a, "--to", b]
    out = subprocess.run(command, input=text, capture_output=True, text=True)
    if out.returncode:
        return np.full((len(points), 2), np.nan)
    lines = [[math.nan] * 2 if l == "outside" else [float(v) for v in l.split(",")] for l in out.stdout.splitlines()]
    return np.array(lines)


def interval(values: list[float], of=np.mean) -> str:
    """A figure with its 95 % bootstrap interval."""
    rng = np.random.default_rng(1)
    v = np.array(values)
    draws = [of(rng.choice(v, len(v))) for _ in range(2000)]
    return f"{of(v):.3f} ({np.percentile(draws, 2.5):.3f} to {np.percentile(draws, 97.5):.3f})"


def say(what: str, figure: str, n: int, held: bool) -> None:
    print(f"{what:66} {figure:34} n = {n:4}  {'held' if held else 'NOT HELD'}", flush=True)


def real_pairs() -> list[tuple[pathlib.Path, pathlib.Path, np.ndarray]]:
    out = []
    for file in sorted((SHARED / "annotations/points").glob("*.csv")):
        _, a, b = file.stem.split("__")
        rows = np.array([[float(r[k]) for k in ("xa", "ya", "xb", "yb")] for r in csv.DictReader(file.open())])
        find = lambda stem: next(p for s in ("uwf_triplets", "uwf_pairs_hires") for p in (SHARED / s).glob(stem + ".*"))
        out.append((find(a), find(b), rows))
    return out


def grey(path: pathlib.Path, clip: float) -> np.ndarray:
    p = cv2.imread(str(path))
    g = 255 - p[:, :, 1] if "_fa" in path.stem else p[:, :, 1]
    return cv2.createCLAHE(clip, (8, 8)).apply(g)


def peer(a: pathlib.Path, b: pathlib.Path, rows: np.ndarray) -> float:
    """Mean error of the best of the grid, share of the width."""
    best = math.inf
    width = cv2.imread(str(a)).shape[1]
    sift = cv2.SIFT_create()
    for clip in sorted({g[2] for g in PEER_GRID}):
        (ka, da), (kb, db) = (sift.detectAndCompute(grey(p, clip), None) for p in (a, b))
        if len(ka) > 20000 or len(kb) > 20000:
            ia, ib = (np.argsort([-k.response for k in ks])[:20000] for ks in (ka, kb))
            ka, da, kb, db = [ka[i] for i in ia], da[ia], [kb[i] for i in ib], db[ib]
        found = cv2.BFMatcher().knnMatch(da, db, k=2)
        for ratio, px, c in PEER_GRID:
            good = [m for m, n in found if m.distance < ratio * n.distance]
            if c != clip or len(good) < 8:
                continue
            src, dst = (np.float32([k[i].pt for i in j]) for k, j in ((ka, [m.queryIdx for m in good]), (kb, [m.trainIdx for m in good])))
            cv2.setRNGSeed(1)
            h, _ = cv2.findHomography(src, dst, cv2.RANSAC, px * width / 853)
            if h is not None:
                q = cv2.perspectiveTransform(np.float32(rows[None, :, :2]), h)[0]
                best = min(best, float(np.hypot(*(q - rows[:, 2:]).T).mean() / width))
    return best


def part_real(few: bool) -> None:
    errors, worse = [], []
    for a, b, rows in real_pairs():
        line, folder = assemble([a, b])
        width = line["frames"][0]["width"]
        q = transfer(folder, a.name, b.name, rows[:, :2])
        e = float(np.mean(np.hypot(*(q - rows[:, 2:]).T)) / width)
        dof = [f["shape"]["degrees_of_freedom"] for f in line["frames"] if f["shape"]]
        dof = max(dof, default=[math.nan] * 2)
        other = math.nan if few else peer(a, b, rows)
        if other < 0.01:
            worse.append(e - other)
        errors.append(e)
        print(f"  {b.stem:16} {100 * e:6.3f} % of the width, peer {100 * other:7.3f} %, numbers fitted {dof[0]:.0f} + {dof[1]:.1f}", flush=True)
    good = [100 * e for e in errors if not math.isnan(e)]
    say("real pairs placed", f"{len(good)} of {len(errors)}", len(errors), len(good) == len(errors))
    say("mean point error, % of the width (≤ 0.35)", interval(good), len(good), np.mean(good) <= 0.35)
    say("largest of the pairs' mean errors (≤ 0.8)", f"{max(good):.3f}", len(good), max(good) <= 0.8)
    if worse:
        say("most above the peer where that is under 1 % (≤ 0.05)", f"{100 * max(worse):+.3f}", len(worse), max(worse) <= 5e-4)


def part_rings(_: bool) -> None:
    gaps = []
    for eye in EYES:
        frames = [SHARED / "uwf_triplets" / f"{eye}_{k}.png" for k in ("colour", "fa_early", "fa_late")]
        h, w = cv2.imread(str(frames[0])).shape[:2]
        start = np.stack(np.meshgrid(np.arange(20, w, 20), np.arange(20, h, 20)), -1).reshape(-1, 2).astype(float)
        p, inside = start, np.ones(len(start), bool)
        for a, b in zip(frames, frames[1:] + frames[:1]):
            _, folder = assemble([a, b])
            p = transfer(folder, a.name, b.name, np.nan_to_num(p, nan=-1.0))
            inside &= ~np.isnan(p[:, 0])
        mask = json.loads((SHARED / f"annotations/uwf_triplets/{eye}_colour.json").read_text())["visible_retina"]
        inside &= np.array([any(cv2.pointPolygonTest(np.float32(r), tuple(map(float, q)), False) > 0 for r in mask) for q in start])
        gap = np.hypot(*(p - start)[inside].T) / w * 100
        gaps.append(float(np.median(gap)) if len(gap) else math.inf)
        print(f"  {eye} round colour, early, late: {gaps[-1]:.3f} % of the width ({inside.sum()} places)", flush=True)
    say("largest gap of a ring, % of the width (≤ 0.4)", f"{max(gaps):.3f}", len(gaps), max(gaps) <= 0.4)


def placed(paths: list[pathlib.Path], *more: str) -> bool:
    line, _ = assemble(paths, "--no-mosaic", *more)
    return sum(f["status"] == "placed" for f in line["frames"]) > 1


def many(jobs: list, work) -> list:
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        return list(pool.map(work, jobs))


def part_others(few: bool) -> None:
    frames = sorted((SHARED / "uwf_triplets").glob("*.png")) + sorted((SHARED / "uwf_pairs_hires").glob("*.jpg"))
    eye = lambda p: p.stem[:5]
    mirrored = {}
    for p in frames:
        mirrored[p] = WORK / f"m_{p.stem}.png"
        cv2.imwrite(str(mirrored[p]), cv2.flip(cv2.imread(str(p)), 1))
    kind = lambda p: "fa" if "_fa" in p.stem else "colour"
    jobs = [(a, b) for a, b in itertools.combinations(frames, 2) if eye(a) != eye(b)]
    jobs += [(a, mirrored[b]) for a, b in itertools.combinations_with_replacement(frames, 2)]
    random.Random(1).shuffle(jobs)
    jobs = jobs[: 30 if few else len(jobs)]
    wrong = [(a, b) for (a, b), yes in zip(jobs, many(jobs, lambda j: placed(list(j)))) if yes]
    for a, b in wrong:
        print(f"  placed though of different eyes: {a.name} {b.name} ({kind(a)}, {kind(b)})")
    say("real pairs of different eyes, mirrored ones among them, placed (0)", str(len(wrong)), len(jobs), not wrong)
    same = [(a, b) for a, b in itertools.combinations(frames, 2) if eye(a) == eye(b)]
    yes = many(same, lambda j: placed(list(j)))
    say("real pairs of one eye placed (≥ 95 %)", f"{100 * sum(yes) / len(yes):.1f} %", len(same), sum(yes) >= 0.95 * len(yes))


def simulated(seed: int, shot: int, gaze: str, modality: str, size: int, eye: str = "R") -> tuple[pathlib.Path, dict]:
    folder = WORK / "phantom"
    out = subprocess.run([BINARY, "phantom", "frame", "--seed", str(seed), "--shot", str(shot), "--gaze", gaze, "--eye", eye,
                          "--modality", modality, "--size", str(size), "-o", str(folder), "--json"], check=True, capture_output=True, text=True).stdout
    return folder / f"{seed}-{shot}-{eye}-{modality}-{gaze}.png", json.loads(out)


GAZES = ["primary", "up", "down", "left", "right"]
SIZE = 1800
FIGURES = BINARY.parent / "examples" / "figures"


def figures(*parts: str) -> None:
    """Parts that need no peer and no file: the engine on simulated frames, against where each pixel really lies."""
    subprocess.run([str(FIGURES), *parts], check=True)


def part_phantom(few: bool) -> None:
    figures(*(("phantom=10", "aliens=20") if few else ("phantom=100", "aliens=500")))


def part_sets(few: bool) -> None:
    figures("sets=2" if few else "sets=20")


def part_areas(few: bool) -> None:
    """A patch of known area, painted where the simulated eye has it, measured on the mosaic of three gazes.

    The area is that of the pixels drawn in the frame straight ahead, summed by the closed form of the stereographic
    projection on half the axial length; the interval is that of `serrata measure`.
    """
    rng = random.Random(9)
    inside, off, tried = 0, [], 0
    for seed in range(7000, 7004 if few else 7024):
        area = rng.choice((8, 20, 40, 80))
        folder, frames, gazes = WORK / f"area{seed}", [], {}
        for shot, gaze in enumerate(("primary", *rng.sample(GAZES[1:], 2)), 1):
            out = subprocess.run([BINARY, "phantom", "frame", "--seed", str(seed), "--shot", str(shot), "--gaze", gaze, "--size", "1800",
                                  "--condition", f"atrophy={area}", "--masks", "-o", str(folder), "--json"], check=True, capture_output=True, text=True)  # fmt: skip
            truth = json.loads(out.stdout)
            name = folder / truth["file"]
            picture, mask = cv2.imread(str(name)), cv2.imread(str(name).replace(".png", "-lesions.png"), 0)
            picture[mask > 0] = (255, 0, 255)
            frames.append(WORK / f"area{seed}-{gaze}.png")
            cv2.imwrite(str(frames[-1]), picture)
            gazes[frames[-1].name] = gaze
            if gaze == "primary":
                y, x = np.nonzero(mask)
                d = math.radians(DEGREES_WIDE / 1800)
                square = ((x + 0.5 - 900) ** 2 + (y + 0.5 - 900) ** 2) * d * d
                true = float((d * d / (1 + square / 4) ** 2).sum()) * (truth["axial_length_mm"] / 2) ** 2
        line, made = assemble(frames, "--size", "4000", "--degrees-per-pixel", str(DEGREES_WIDE / 1800))
        tried += 1
        mosaic = next(iter(line["mosaics"]), None)
        if mosaic is None or any(f["status"] != "placed" for f in line["frames"]):
            print(f"  {seed}: not all placed")
            continue
        b, g, r, _ = cv2.split(cv2.imread(str(made / mosaic["file"]), cv2.IMREAD_UNCHANGED).astype(int))
        marked = ((r - g > 60) & (b - g > 60)).astype(np.uint8)
        rings, _ = cv2.findContours(marked, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        ring = max(rings, key=cv2.contourArea)[:, 0, :]
        # OpenCV's outline runs through the middles of the outermost pixels: half a pixel outwards is the edge.
        middle = ring.mean(0)
        edge = ring + 0.5 + 0.5 * (ring - middle) / np.linalg.norm(ring - middle, axis=1, keepdims=True)
        edge = cv2.approxPolyDP(edge.astype(np.float32)[:, None], 0.3, True)[:, 0]
        points = " ".join(f"{x:.2f},{y:.2f}" for x, y in edge)
        measured = subprocess.run([BINARY, "measure", str(made / mosaic["file"]), f"--polygon={points}", "--degrees-per-pixel",
                                   str(mosaic["degrees_per_pixel"]), "--axial-length", str(truth["axial_length_mm"]), "--eye", "R",
                                   "--gaze", gazes[line["reference"]], "--json"], check=True, capture_output=True, text=True)  # fmt: skip
        m = json.loads(measured.stdout)
        value, (low, high) = m["area_mm2"], m["area_interval_mm2"]
        inside += low <= true <= high
        off.append(100 * abs(value / true - 1))
        print(f"  {seed}: {true:.1f} mm², measured {value:.2f} ({low:.2f} to {high:.2f})", flush=True)
    say("areas on a mosaic within the stated interval (≥ 95 %)", f"{inside} of {tried}", tried, inside >= 0.95 * tried)
    say("areas on a mosaic: off by, %, median", interval(off, np.median), len(off), True)


def part_warps(few: bool) -> None:
    rng = np.random.default_rng(3)
    frames = sorted((SHARED / "uwf_triplets").glob("*.png"))
    errors, tried = [], 0
    for path in frames[: 3 if few else len(frames)]:
        p = cv2.imread(str(path))
        h, w = p.shape[:2]
        deg = 220 / w
        d = math.radians(deg) / 2
        for _ in range(2):
            tilt, at, turn, size = math.radians(rng.uniform(5, 40)), rng.uniform(0, 2 * math.pi), math.radians(rng.uniform(-8, 8)), rng.uniform(0.9, 1.1)
            axis = np.array([math.cos(at), math.sin(at), 0]) * tilt
            r = cv2.Rodrigues(np.array([0, 0, turn]))[0] @ cv2.Rodrigues(axis)[0]
            y, x = np.mgrid[0:h, 0:w] + 0.5
            u, v = (x - w / 2) * d / size, (h / 2 - y) * d / size
            n = 1 + u * u + v * v
            q = np.stack([2 * u / n, 2 * v / n, (2 - n) / n], -1) @ r.T
            k = 1 / (1 + q[..., 2])
            mx, my = w / 2 + q[..., 0] * k / d, h / 2 - q[..., 1] * k / d
            warped = cv2.remap(p, np.float32(mx - 0.5), np.float32(my - 0.5), cv2.INTER_LINEAR)
            warped = np.clip(warped + rng.normal(0, 4, warped.shape), 0, 255).astype(np.uint8)
            warped[: int(0.08 * h)] = 5
            name = WORK / f"w{rng.integers(1 << 40)}{'_fa' if '_fa' in path.stem else ''}.png"
            cv2.imwrite(str(name), warped)
            tried += 1
            # Scale is not known to the engine.
            _, folder = assemble([path, name], "--no-mosaic", "--degrees-per-pixel", str(deg))
            yy, xx = np.mgrid[20:h:20, 20:w:20]
            pts = np.stack([xx.ravel() + 0.5, yy.ravel() + 0.5], 1)
            got = transfer(folder, name.name, path.name, pts)
            true = np.stack([mx[yy.ravel(), xx.ravel()], my[yy.ravel(), xx.ravel()]], 1)
            ok = ~np.isnan(got[:, 0]) & (true[:, 0] > 0) & (true[:, 0] < w) & (true[:, 1] > 0) & (true[:, 1] < h)
            if ok.any():
                errors.append(float(np.median(np.hypot(*(got - true)[ok].T))))
    say("known warps of real frames placed", f"{len(errors)} of {tried}", tried, len(errors) == tried)
    if errors:
        say("known warps: median error, pixels, median over frames (≤ 1)", interval(errors, np.median), len(errors), np.median(errors) <= 1)


def spoiled(path: pathlib.Path, rng: np.random.Generator) -> pathlib.Path:
    p = cv2.imread(str(path))
    h, w = p.shape[:2]
    m = cv2.getRotationMatrix2D((w / 2, h / 2), rng.uniform(-6, 6), rng.uniform(0.95, 1.05))
    m[:, 2] += rng.uniform(-0.05, 0.05, 2) * w
    p = cv2.warpAffine(p, m, (w, h))
    p = cv2.GaussianBlur(p, (0, 0), rng.uniform(0.5, 0.002 * w))
    p = np.clip(p * rng.uniform(0.6, 1.3) + rng.normal(0, 5, p.shape), 0, 255).astype(np.uint8)
    out = WORK / f"s{rng.integers(1 << 40)}.png"
    cv2.imwrite(str(out), p)
    return out


def part_copies(few: bool) -> None:
    rng = np.random.default_rng(5)
    frames = [p for s in ("hrf", "chase_db1") for p in sorted((SHARED / s).glob("*.jpg")) + sorted((SHARED / s).glob("*.JPG")) + sorted((SHARED / s).glob("*.png")) if cv2.imread(str(p)).std(axis=2).mean() > 5]
    jobs = [(spoiled(p, rng), spoiled(p, rng)) for p in frames for _ in range(1 if few else 8)]
    yes = many(jobs, lambda j: placed(list(j), "--modality", "colour"))
    say("two spoiled copies of one narrow picture placed (≥ 99 %)", f"{100 * sum(yes) / max(len(yes), 1):.1f} %", len(yes), bool(yes) and sum(yes) >= 0.99 * len(yes))


def part_time(_: bool) -> None:
    ratios, seconds = [], []
    for i in (1, 2, 3):
        a, b = (SHARED / "uwf_pairs_hires" / f"pair{i}_{k}.jpg" for k in ("colour", "fa"))
        start = time.perf_counter()
        assemble([a, b])
        own = time.perf_counter() - start
        start = time.perf_counter()
        sift = cv2.SIFT_create()
        (ka, da), (kb, db) = (sift.detectAndCompute(grey(p, 2.0), None) for p in (a, b))
        found = cv2.BFMatcher().knnMatch(da, db, k=2)
        good = [m for m, n in found if m.distance < 0.8 * n.distance]
        if len(good) >= 4:
            cv2.findHomography(np.float32([ka[m.queryIdx].pt for m in good]), np.float32([kb[m.trainIdx].pt for m in good]), cv2.RANSAC, 10.0)
        other = time.perf_counter() - start
        ratios.append(own / other)
        seconds.append(own)
        print(f"  pair{i}: {own:.1f} s, peer {other:.1f} s", flush=True)
    say("time of a pair of 3.9k × 3.0k against the peer (≤ 0.5)", f"{statistics.median(ratios):.2f} ×", 3, statistics.median(ratios) <= 0.5)
    frames = [str(simulated(5000, k, g, "colour", 3600)[0]) for k, g in enumerate(GAZES, 1)]
    command = ["/usr/bin/time", "-f", "%e %M", BINARY, "assemble", *frames, "-o", str(WORK / "five"), "--size", "6000", "--degrees-per-pixel", "0.074", "--json"]
    out = subprocess.run(command, check=True, capture_output=True, text=True)
    wall, kib = out.stderr.split()[-2:]
    count = sum(f["status"] == "placed" for f in json.loads(out.stdout)["frames"])
    say(f"five frames into a 6k mosaic ({count} placed), seconds (≤ 30)", wall, 1, float(wall) <= 30)
    say("its memory, GiB (≤ 2)", f"{int(kib) / 2**20:.2f}", 1, int(kib) <= 2**21)


if __name__ == "__main__":
    parts = [p for p in sys.argv[1:] if not p.startswith("-")] or ["real", "rings", "others", "phantom", "sets", "areas", "warps", "copies", "time"]
    for name in parts:
        print(f"== {name}", flush=True)
        globals()[f"part_{name}"]("--few" in sys.argv)
