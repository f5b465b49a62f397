"""`make phantom-report`: writes docs/phantom.md: how near simulated frames come to real ones.

The real frames are read from ../shared/data and never copied; pairs of real and simulated pictures go to a local folder
only (--pairs DIR). Simulated eyes are drawn from fresh seeds with a spread of disease, haze and faults of everyday,
chosen once for the whole set; none is made after a certain real eye.
"""

from __future__ import annotations

import argparse
import json
import os
import pathlib
import re
import resource
import subprocess
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np

import phantom_stats as stats
from house import ROOT, SHARED

EXAMPLES = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "release" / "examples"
#: First of the seeds of the simulated eyes: fresh ones, none of which was looked at while the phantom was set.
SEED = 47000

#: Size classes: set of the real frames, width and height of the simulated ones, and how often larger they are drawn
#: before they are scaled down: the small set is a scaled copy of larger pictures too.
CLASSES = {"large": ("uwf_pairs_hires", 3868, 3000, 1), "small": ("uwf_triplets", 853, 682, 2)}
EYES = 30
#: Where `make phantom-use` leaves its figures, and the most of the AUC that a fault may lose there.
USE = ROOT / "docs" / "phantom-use.json"
USE_LOSS = 0.03
#: Quality of the JPEG that a simulated frame passes through before it is measured. The large real files say 75 with
#: halved colour, and 87 for grey; the small ones are kept without loss, but were JPEG once (92, read from a tag).
QUALITY = {("large", "colour"): 75, ("large", "fa"): 87, ("small", "colour"): 92, ("small", "fa"): 92}


def stored(picture: np.ndarray, size: str, kind: str) -> np.ndarray:
    """The frame as its source kept it: JPEG, and the small ones scaled down."""
    _, width, height, over = CLASSES[size]
    if over > 1:
        picture = cv2.resize(picture, (width, height), interpolation=cv2.INTER_AREA)
    bytes_ = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, QUALITY[size, kind]])[1]
    return cv2.imdecode(bytes_, cv2.IMREAD_UNCHANGED)


def real() -> list[dict]:
    """All real ultra-widefield frames with their statistics."""
    out = []
    for name, (folder, *_) in CLASSES.items():
        for path in sorted((SHARED / folder).glob("*.[jp][pn]g")):
            note = json.loads((SHARED / "annotations" / folder / f"{path.stem}.json").read_text())
            colour = "colour" in path.stem
            picture = cv2.imread(str(path), cv2.IMREAD_COLOR if colour else cv2.IMREAD_GRAYSCALE)
            picture = cv2.cvtColor(picture, cv2.COLOR_BGR2RGB) if colour else picture
            mask = stats.mask_of(note["visible_retina"], note["width"], note["height"])
            out.append({"class": name, "kind": "colour" if colour else "fa", "eye": path.stem.split("_")[0],
                        "real": True, "row": stats.row(picture, mask), "path": path})
    return out


def example(name: str, *words: object) -> str:
    """What an example of the phantom's crate prints."""
    return subprocess.run([EXAMPLES / name, *map(str, words)], check=True, capture_output=True, text=True).stdout


def measured(work: pathlib.Path, name: str, kind: str, i: int) -> dict:
    """One simulated frame with its statistics; the large file is gone afterwards."""
    over = CLASSES[name][3]
    path = work / f"{name}-{kind}-{i}.pnm"
    truth = json.loads(path.with_suffix(".json").read_text())
    picture = stored(cv2.imread(str(path), cv2.IMREAD_UNCHANGED), name, kind)
    path.unlink()
    shown = path.with_suffix(".png")
    cv2.imwrite(str(shown), cv2.resize(picture, (1200, 960), interpolation=cv2.INTER_AREA))
    height, width = picture.shape[:2]
    mask = stats.mask_of({k: [np.array(r) / over for r in truth["visible_retina"][k]]
                          for k in ("polygons", "holes")}, width, height)
    picture = cv2.cvtColor(picture, cv2.COLOR_BGR2RGB) if picture.ndim == 3 else picture
    return {"class": name, "kind": kind, "eye": f"s{i}", "real": False, "row": stats.row(picture, mask), "path": shown}


def simulated(work: pathlib.Path, eyes: int) -> list[dict]:
    """Simulated frames with their statistics: how each eye and shot is drawn stands in the example `series`."""
    example("series", work, SEED, eyes)

    cv2.setNumThreads(1)
    with ThreadPoolExecutor(2) as pool:
        jobs = [(c, k, i) for c in CLASSES for k in ("colour", "fa") for i in range(eyes)]
        return list(pool.map(lambda job: measured(work, *job), jobs))


def auc(scores: np.ndarray, real_flags: np.ndarray) -> float:
    """Area under the curve by counting pairs."""
    a, b = scores[real_flags], scores[~real_flags]
    return float(np.mean((a[:, None] > b) + 0.5 * (a[:, None] == b)))


def fit(x: np.ndarray, y: np.ndarray, decay: float = 1.0) -> np.ndarray:
    """Logistic regression with balanced classes and an L2 penalty, by Newton's steps."""
    x = np.column_stack([np.ones(len(x)), x])
    weight = np.where(y, 0.5 / y.mean(), 0.5 / (~y).mean())
    w = np.zeros(x.shape[1])
    ridge = np.diag([0.0] + [decay] * (x.shape[1] - 1))
    for _ in range(50):
        p = 1 / (1 + np.exp(-np.clip(x @ w, -30, 30)))
        slope = x.T @ (weight * (p - y)) + ridge @ w
        curve = (x * (weight * p * (1 - p))[:, None]).T @ x + ridge + 1e-9 * np.eye(len(w))
        step = np.linalg.solve(curve, slope)
        w -= step
        if np.abs(step).max() < 1e-9:
            break
    return w


def told_apart(frames: list[dict]) -> float:
    """AUC of telling real from simulated, every eye scored by a classifier that saw none of its frames. Statistics are
    put on one scale within their size class."""
    rows = np.array([f["row"] for f in frames])
    y = np.array([f["real"] for f in frames])
    eyes = np.array([f["eye"] for f in frames])
    classes = np.array([f["class"] for f in frames])
    scores = np.zeros(len(frames))
    for eye in np.unique(eyes):
        out = eyes == eye
        x = np.zeros_like(rows)
        for c in np.unique(classes):
            here = classes == c
            train = rows[here & ~out]
            x[here] = (rows[here] - train.mean(0)) / (train.std(0) + 1e-9)
        w = fit(x[~out], y[~out])
        scores[out] = np.column_stack([np.ones(out.sum()), x[out]]) @ w
    return auc(scores, y)


def distances(frames: list[dict], names: list[str]) -> list[tuple[str, float, float, float, float]]:
    """Per statistic: mean of the real eyes, of the simulated ones, their distance, and the largest between two real eyes."""
    def means(real_flag: bool) -> np.ndarray:
        of = [f for f in frames if f["real"] is real_flag]
        return np.array([np.mean([f["row"] for f in of if f["eye"] == e], 0) for e in sorted({f["eye"] for f in of})])
    a, b = means(True), means(False)
    return [(n, a[:, k].mean(), b[:, k].mean(), abs(a[:, k].mean() - b[:, k].mean()), np.ptp(a[:, k]))
            for k, n in enumerate(names)]


def table(frames: list[dict]) -> tuple[list[str], int, int]:
    """The tables of statistics, and how many of all distances are within their gate."""
    lines, good, all_ = [], 0, 0
    for kind, names in (("colour", stats.COLOUR), ("fa", stats.GREY)):
        for name in CLASSES:
            of = [f for f in frames if f["kind"] == kind and f["class"] == name]
            n = [len([f for f in of if f["real"] is r]) for r in (True, False)]
            lines += ["", f"### {kind}, {name} ({n[0]} real, {n[1]} simulated frames)", "",
                      "| statistic | real | simulated | distance | largest between two real eyes | within |",
                      "|---|---|---|---|---|---|"]
            for what, a, b, d, most in distances(of, names):
                good, all_ = good + (d <= most), all_ + 1
                lines.append(f"| {what} | {a:.3g} | {b:.3g} | {d:.3g} | {most:.3g} | {'yes' if d <= most else '**no**'} |")
    return lines, good, all_


def pairs(frames: list[dict], folder: pathlib.Path) -> None:
    """Twenty pairs at 600 pixels of width as NN-A.png and NN-B.png, real and simulated in a drawn order; the key lies
    beside the folder, so that whoever looks does not see it. Local only."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(4)
    key = []
    reals = [f for f in frames if f["real"]]
    for k in range(20):
        r = reals[k % len(reals)]
        others = [f for f in frames if not f["real"] and (f["kind"], f["class"]) == (r["kind"], r["class"])]
        s = others[int(rng.integers(len(others)))]
        order = [r, s] if rng.random() < 0.5 else [s, r]
        shown = [cv2.resize(cv2.imread(str(f["path"])), (600, 480), interpolation=cv2.INTER_AREA) for f in order]
        for letter, picture in zip("AB", shown, strict=True):
            cv2.imwrite(str(folder / f"{k + 1:02d}-{letter}.png"), picture)
        key.append({"pair": k + 1, "real": "A" if order[0]["real"] else "B"})
    folder.with_name(f"{folder.name}-key.json").write_text(json.dumps(key, indent=1))


def page(frames: list[dict], dye: str, gallery: list[str], looks: str) -> str:
    lines, good, all_ = table(frames)
    scores = {k: told_apart([f for f in frames if f["kind"] == k]) for k in ("colour", "fa")}
    per_class = [(k, c, told_apart([f for f in frames if f["kind"] == k and f["class"] == c]))
                 for k in scores for c in CLASSES]
    counted = ", ".join(f"{len([f for f in frames if (f['kind'], f['class'], f['real']) == (k, c, False)])} {c} {k}"
                        for k in scores for c in CLASSES)
    text = f"""# The phantom beside real frames

Written by `make phantom-report`; do not edit but for the last section, which is kept in `docs/phantom-looks.md`. {counted}
simulated frames against all {sum(f["real"] for f in frames)} real ultra-widefield frames (7 eyes). Real
pictures are measured where they lie and stay out of the repository.

**What this can and cannot show.** Seven real eyes are few: the largest distance between two of them is a wide gate in the
triplets and a narrow one in the pairs. Physical and optical parameters of the phantom (levels, scatter, calibres, noise) were
set on these frames' statistics (the ranges from which exposure, tone, noise and spot of each set are drawn stand in
`crates/phantom/examples/sets/mod.rs`), so this is a fit and no validation, although no eye is scored by a classifier that saw it. No autofluorescence and no ICG picture of this field was
found in the open: these two kinds are held by tests of their physics only. Statistics are computed by
`checks/phantom_stats.py`; simulated frames pass through JPEG first, at the quality that the real files name (75 colour, 87 grey, 92
small); small ones are scaled down from twice the size, as their source did in some such way.

## (a) Statistics

{good} of {all_} distances are within the largest distance between two real eyes.
""" + "\n".join(lines) + f"""

## (b) Told apart by a classifier

Logistic regression on these statistics, every eye scored without having been seen; the gate is 0.85.

| kind | AUC | within |
|---|---|---|
""" + "\n".join(f"| {k} | {v:.3f} | {'yes' if v <= 0.85 else '**no**'} |" for k, v in scores.items()) + """

By size class (three and four real eyes: coarse):

| kind | class | AUC |
|---|---|---|
""" + "\n".join(f"| {k} | {c} | {v:.3f} |" for k, c, v in per_class) + f"""

## (c) The test of use

{use()}

## (d) Twenty pairs

`make phantom-report PAIRS=DIR` makes them locally, and their key beside the folder. Who looked at them and what was seen is told
at the end of this page.

## Dye times

{dye}

## Speed

Budgets: 2 s and 1 GiB for a colour frame with its truth, 60 s for the run, on two cores ({os.cpu_count()} here). Wall time is
that of a machine that also did the work that the load tells of; on a quiet one it is a little above half of the processor time.

| what | seconds, peak memory | processor seconds, load meanwhile |
|---|---|---|
| colour frame of 3900 × 3072 with its truth (`pace colour`) | {pace("colour")} |
| dye run of 60 frames at 2000 × 2000 (`pace dye`) | {pace("dye")} |

## Pictures

Simulated, none of them a real eye.

""" + "\n\n".join(gallery) + "\n\n" + looks
    return text


def pace(what: str) -> str:
    """Two cells: wall time and memory as the example says, then processor time and load."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    said = example("pace", what).splitlines()[-1]
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return f"{' '.join(said.split())} | {spent:.2f} s, {os.getloadavg()[0]:.1f}"


def use() -> str:
    """What `make phantom-use` found last."""
    if not USE.exists():
        return "Not run yet: `make phantom-use`."
    found = json.loads(USE.read_text())
    good, one_way = (sum(r[f"real{k}"] - r[f"phantom{k}"] <= USE_LOSS for r in found["rows"]) for k in ("", "_one_way"))
    return "\n".join([
        "`make phantom-use`: for each fault a limit is fitted on the scores that the appraisal gives (logistic regression over all",
        "kinds of findings), once on simulated frames with the phantom's own faults, once on real frames spoiled on purpose with every",
        f"eye left out in turn. Both are asked of the same spoiled real frames ({found['eyes']} simulated eyes of two kinds,",
        f"{found['strengths']} strengths of two unrelated spoilers a fault, one for haze).",
        "A free limit may weigh scores either way, also by chance; in a one-way limit no score speaks for a frame and no retina seen against it.",
        f"{good} of {len(found['rows'])} faults lose at most {USE_LOSS} by free limits, {one_way} by one-way limits; more is bold.",
        "The spoilers of the real frames' fit are those that it is asked about, so that the phantom has the harder task.", "",
        *use_table(found["rows"])])


def use_table(rows: list[dict]) -> list[str]:
    """The test of use as a table, with whether each fault keeps the gate by both kinds of plane."""
    out = ["| fault | spoiled, good frames | AUC, fitted on the phantom | AUC, fitted on real frames | lost | one-way: phantom | real | lost |",
           "|---|---|---|---|---|---|---|---|"]

    def lost(r: dict, name: str) -> str:
        loss = r[f"real{name}"] - r[f"phantom{name}"]
        return f"{loss:+.3f}" if loss <= USE_LOSS else f"**{loss:+.3f}**"

    for r in rows:
        out.append(f"| {r['fault']} | {r['spoiled']}, {r['good']} | {r['phantom']:.3f} | {r['real']:.3f} | {lost(r, '')} | "
                   f"{r['phantom_one_way']:.3f} | {r['real_one_way']:.3f} | {lost(r, '_one_way')} |")
    return out


def dye_times() -> str:
    """Times of ten eyes at default parameters beside the published ones."""
    rows = [[float(v) for v in re.findall(r"(-?[0-9.]+) s", line)] for line in example("times", 10).splitlines()]
    names = ["arm_to_retina_s", "choroid_s", "arteriovenous_passage_s", "mean_circulation_s", "venous_peak_s"]
    assert all(len(r) == len(names) for r in rows), rows
    def say(name: str) -> str:
        v = [r[names.index(name)] for r in rows]
        return f"{np.mean(v):.2f} ({min(v):.2f} to {max(v):.2f})"
    return "\n".join([
        "Ten eyes at default parameters, seconds: mean (range), beside what was published.", "",
        "| time | phantom | published |", "|---|---|---|",
        f"| arm to retina | {say('arm_to_retina_s')} | about 12; 7 to 14 (label) |",
        f"| choroid | {say('choroid_s')} | about 10; 1 to 2 before the artery |",
        f"| arterio-venous passage | {say('arteriovenous_passage_s')} | 1.46 ± 0.57 |",
        f"| mean circulation | {say('mean_circulation_s')} | 4.7 ± 1.1 (Hickam & Frayser 1965) |",
        f"| venous peak after injection | {say('venous_peak_s')} | veins full within 10 s of the artery; peak about 30 |"])


def write(frames: list[dict]) -> None:
    """Writes the page and its pictures."""
    gallery = []
    for kind, name, i in (("colour", "large", 1), ("fa", "large", 1), ("colour", "small", 2), ("fa", "small", 2)):
        f = next(f for f in frames if (f["kind"], f["class"], f["eye"]) == (kind, name, f"s{i}"))
        shown = cv2.resize(cv2.imread(str(f["path"])), (600, 480), interpolation=cv2.INTER_AREA)
        to = ROOT / "docs" / "pictures" / f"phantom-{kind}-{name}.jpg"
        cv2.imwrite(str(to), shown, [cv2.IMWRITE_JPEG_QUALITY, 82])
        gallery.append(f"![Simulated {kind} frame, {name} class](pictures/{to.name})")
    looks = (ROOT / "docs" / "phantom-looks.md").read_text()
    (ROOT / "docs" / "phantom.md").write_text(page(frames, dye_times(), gallery, looks))


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--pairs", type=pathlib.Path, help="folder outside the repository for twenty pairs and their key")
    ask.add_argument("--eyes", type=int, default=EYES)
    ask.add_argument("--print", action="store_true", help="print the numbers only; write nothing")
    said = ask.parse_args()
    if not SHARED.exists():
        raise SystemExit(f"{SHARED}: not there, and the report needs the real frames; nothing was written")
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as d:
        frames = real() + simulated(pathlib.Path(d), said.eyes)
        if said.pairs:
            pairs(frames, said.pairs)
        if said.print:
            print("\n".join(table(frames)[0]))
            for k in ("colour", "fa"):
                print(k, round(told_apart([f for f in frames if f["kind"] == k]), 3))
            return
        write(frames)
    print(f"docs/phantom.md written in {time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()
