"""The dye run held against simulated runs of known times and against labelled real frames (`make dye-bench`).

Parts: `times regions singles areas pairs speed`; names as arguments run only those. Numbers of runs: `RUNS=60`,
`FIRST=9100` in the environment. Labels and masks are read here only, never by the engine. Features of single frames were
named before the labelled frames were looked at (docs/dye.md): one feature a question, no training.
"""

from __future__ import annotations

import csv
import json
import os
import pathlib
import subprocess
import sys
import tempfile
import time

import numpy as np
from PIL import Image, ImageDraw

from house import BINARY, SHARED

RUNS = int(os.environ.get("RUNS", "60"))
FIRST = int(os.environ.get("FIRST", "9100"))
DATA = SHARED
ROOT = pathlib.Path(__file__).resolve().parent.parent


def example(package: str, name: str, *words: object) -> None:
    """Runs one of the engine's own measuring programs and shows its last lines."""
    command = ["cargo", "run", "--release", "--locked", "-q", "-p", package, "--example", name, "--", *map(str, words)]
    out = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    print("\n".join(line for line in out.splitlines() if not line.startswith("  ")))


def read(path: pathlib.Path, *more: str) -> dict:
    """One frame as the command line reads it."""
    out = subprocess.run([BINARY, "dye", path, "--json", *more], capture_output=True, text=True, check=True).stdout
    return json.loads(out.splitlines()[0])


def auc(high: list[float], low: list[float]) -> float:
    a, b = np.array(high), np.array(low)
    return float(np.mean((a[:, None] > b) + 0.5 * (a[:, None] == b)))


def told(name: str, high: list[float], low: list[float]) -> None:
    """AUC with its bootstrap interval and the share of 20000 permutations that do as well."""
    rng = np.random.default_rng(1)
    value = auc(high, low)
    draws = [auc(rng.choice(high, len(high)), rng.choice(low, len(low))) for _ in range(4000)]
    both = np.array([*high, *low])
    as_good = 0
    for _ in range(20000):
        mixed = rng.permutation(both)
        as_good += auc(mixed[: len(high)], mixed[len(high) :]) >= value
    low_, high_ = np.percentile(draws, [2.5, 97.5])
    p = (as_good + 1) / 20001
    print(f"  {name}: AUC {value:.3f} ({low_:.2f} to {high_:.2f}), p {p:.4f}, {len(high)} against {len(low)}")


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name / "labels.csv").open() as f:
        return list(csv.DictReader(f))


def dark_share(line: dict) -> float:
    """Share of what can be graded that is proposed as dark, the fovea's place left out."""
    return sum(r["share_of_gradable"] for r in line["regions"] if r["what"].startswith("dark") and not r["note"])


def singles() -> None:
    print("single real frames (fa_phase, fa_disease)")
    lines: dict[str, list[dict]] = {}
    for name in ("fa_phase", "fa_disease"):
        for row in rows(name):
            line = read(DATA / name / row["file"], "--modality", "fa")
            lines.setdefault(row["label"], []).append(line)
    look = {k: [line["frames"][0]["look"] for line in v] for k, v in lines.items()}
    dye = look["arterial_phase"] + look["venous_phase"]
    told("angiogram or not, `bright`", [x["bright"] for x in dye], [x["bright"] for x in look["non_ffa"]])
    told(
        "veins filled or not, `rise`",
        [x["rise"] for x in look["venous_phase"]],
        [x["rise"] for x in look["arterial_phase"]],
    )
    told(
        "non-perfusion or none, share of `dark`",
        [dark_share(line) for line in lines["with_np"]],
        [dark_share(line) for line in lines["none_np"]],
    )
    for key, truth in (("angiogram", {"non_ffa": False}), ("veins_filled", {"arterial_phase": False, "non_ffa": None})):
        right = wrong = unsure = 0
        for label, all_looks in look.items():
            want = truth.get(label, True)
            if want is None:
                continue
            for one in all_looks:
                unsure += one[key] is None
                right += one[key] is want
                wrong += one[key] is (not want)
        print(f"  {key} said: right {right}, wrong {wrong}, not sure {unsure}")


def filled(regions: list[dict], size: tuple[int, int]) -> np.ndarray:
    picture = Image.new("L", size)
    draw = ImageDraw.Draw(picture)
    for region in regions:
        for ring, value in [(r, 1) for r in region["polygons"]] + [(r, 0) for r in region["holes"]]:
            draw.polygon([tuple(p) for p in ring], fill=value)
    return np.asarray(picture) > 0


def areas() -> None:
    print("non-perfusion outlined by people (fa_area_masks, class 2)")
    dices = []
    for row in rows("fa_area_masks"):
        mask = np.asarray(Image.open(DATA / "fa_area_masks" / row["mask"]))
        truth = (mask if mask.ndim == 2 else mask[..., 0]) == 2
        line = read(DATA / "fa_area_masks" / row["file"], "--modality", "fa")
        dark = [r for r in line["regions"] if r["what"].startswith("dark")]
        mine = filled(dark, truth.shape[::-1])
        both = 2 * int((mine & truth).sum()) / max(int(mine.sum() + truth.sum()), 1)
        dices.append(both)
        print(f"  {row['file']}: Dice {both:.2f}, proposed {mine.mean():.3f} of the picture, people {truth.mean():.3f}")
    print(f"  Dice mean {np.mean(dices):.3f}, median {np.median(dices):.3f}, at least 0.60 in {sum(d >= 0.6 for d in dices)} of {len(dices)}")


def pairs() -> None:
    print("real ultra-widefield early and late frames (uwf_triplets)")
    with tempfile.TemporaryDirectory() as folder:
        for k in range(1, 5):
            times = pathlib.Path(folder) / f"{k}.csv"
            early, late = (DATA / "uwf_triplets" / f"eye0{k}_fa_{w}.png" for w in ("early", "late"))
            # The source says early and late; the seconds are ours, within each word's meaning.
            times.write_text(f"{early.name},30\n{late.name},600\n")
            command = [BINARY, "dye", early, late, "--modality", "fa", "--times", times, "--json"]
            line = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()[0])
            late_found = [r for r in line["regions"] if r["what"].startswith("late")]
            registered = sum(f["registered"] for f in line["frames"])
            share = sum(r["share_of_gradable"] for r in late_found)
            print(f"  eye0{k}: {registered} of 2 registered, {len(late_found)} places brighten late, {100 * share:.1f} % of what can be graded")


def speed() -> None:
    print("60 frames of 4000 pixels (must: 60 s on 2 cores, 1 GiB)")
    with tempfile.TemporaryDirectory() as folder:
        made = pathlib.Path(folder) / "run"
        command = [BINARY, "phantom", "dye", "--seed", "77", "--size", "4000", "--frames", "60", "-o", made]
        subprocess.run(command, check=True, capture_output=True)
        seconds = {}
        for truth in made.glob("*-fa-*.json"):
            line = json.loads(truth.read_text())
            seconds[line["file"]] = line["dye"]["seconds"]
        times = pathlib.Path(folder) / "times.csv"
        times.write_text("".join(f"{n},{s}\n" for n, s in seconds.items()))
        start = time.monotonic()
        command = [BINARY, "dye", *sorted(made.glob("*.png")), "--times", times, "-o", pathlib.Path(folder) / "out"]
        child = subprocess.Popen(command, stdout=subprocess.DEVNULL)
        _, status, usage = os.wait4(child.pid, 0)
        assert status == 0, status
        wall = time.monotonic() - start
    print(f"  {wall:.1f} s, {usage.ru_maxrss / 2**20:.2f} GiB at the most")


def main() -> None:
    parts = {
        "times": lambda: example("serrata-dye", "dye_figures", RUNS, 512, FIRST),
        "regions": lambda: example("serrata-station", "dye_regions", max(RUNS // 6, 4), 720, FIRST),
        "singles": singles,
        "areas": areas,
        "pairs": pairs,
        "speed": speed,
    }
    chosen = sys.argv[1:] or list(parts)
    for name in chosen:
        if name not in parts:
            sys.exit(f"{name} is no part; there are {' '.join(parts)}")
        parts[name]()


if __name__ == "__main__":
    main()
