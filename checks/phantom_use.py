"""`make phantom-use`: are limits fitted on the phantom alone as good on real frames as limits fitted on real ones?

    phantom_use.py [--eyes N] [--strengths N] [--engine PROGRAM]

The appraisal looks at every frame, is told nothing but the file, and gives its scores of all findings. For each fault a limit is
fitted on them: a plane in the space of these scores (logistic regression, balanced classes, L2), spoiled against good. Two kinds of plane:
a free one, and a one-way one, in which no score may speak for a frame and no retina seen against it. Each is fitted twice:

* **on the phantom**: simulated frames with the phantom's own faults (example `faulty`), no real frame seen;
* **on real frames**: real frames spoiled on purpose (`spoilers.py`), every eye scored by a fit that saw none of its frames.

Both are asked the same question: real frames spoiled on purpose against the same frames unspoiled. The gate: the phantom's
AUC is at most 0.03 below the real one's, fault by fault. Real frames are read where they lie and never copied into the repository.
"""

from __future__ import annotations

import argparse
import json
import os
import pathlib
import subprocess
import tempfile
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
from scipy.optimize import minimize

from house import BINARY, ROOT, SHARED
from phantom_report import CLASSES, EXAMPLES, QUALITY, USE, auc, fit, use_table
from spoilers import SPOILERS

#: First of the seeds of the simulated eyes: apart from those of the report.
SEED = 21000
#: Scores that a limit may use, and two figures of the frame as a whole.
KINDS = ["blink", "lid", "lash", "too_close", "too_far", "off_centre", "motion", "blur", "haze", "underexposed", "overexposed",
         "reflex", "iris_shadow", "floater", "smear", "dust", "wrong_modality", "no_retina"]


def features(line: dict) -> list[float]:
    """What a limit sees of a frame: the strongest score of each kind of finding, and the share of visible retina."""
    best = {k: 0.0 for k in KINDS}
    for f in line["findings"]:
        if f["kind"] in best:
            best[f["kind"]] = max(best[f["kind"]], f["score"])
    return [*best.values(), line["visible_retina"]["fraction"] or 0.0]


def appraise(engine: pathlib.Path, files: list[pathlib.Path]) -> list[list[float]]:
    """Features of files, in their order."""
    out = []
    for i in range(0, len(files), 100):
        done = subprocess.run([engine, "appraise", "--json", *map(str, files[i:i + 100])], capture_output=True, check=False)
        out += [features(json.loads(line)) for line in done.stdout.decode().splitlines()]
    assert len(out) == len(files), f"{len(out)} answers to {len(files)} files"
    return out


def save(picture: np.ndarray, to: pathlib.Path, size: str, kind: str) -> dict:
    """A picture as its source would have stored it."""
    cv2.imwrite(str(to), picture, [cv2.IMWRITE_JPEG_QUALITY, QUALITY[size, kind]])
    return {"path": to, "kind": kind}


def real(work: pathlib.Path, strengths: int) -> list[dict]:
    """Real frames, as they are and spoiled; large ones at a third of their size, as the simulated ones are."""
    rng = np.random.default_rng(11)
    out = []
    for name, (folder, *_) in CLASSES.items():
        for path in sorted((SHARED / folder).glob("*.[jp][pn]g")):
            kind = "colour" if "colour" in path.stem else "fa"
            picture = cv2.imread(str(path), cv2.IMREAD_COLOR if kind == "colour" else cv2.IMREAD_GRAYSCALE)
            if name == "large":
                picture = cv2.resize(picture, None, fx=1 / 3, fy=1 / 3, interpolation=cv2.INTER_AREA)
            eye = path.stem.split("_")[0]
            out.append(save(picture, work / f"{path.stem}-good.jpg", name, kind) | {"eye": eye, "fault": "good"})
            for fault, (_, ways) in SPOILERS.items():
                for w, way in enumerate(ways):
                    for s in range(strengths):
                        # The spoilers paint in the order red, green, blue.
                        rgb = picture[..., ::-1] if kind == "colour" else picture
                        bad = way(np.ascontiguousarray(rgb), s / (strengths - 1) if strengths > 1 else 0.5, rng)
                        bad = bad[..., ::-1] if kind == "colour" else bad
                        made = save(bad, work / f"{path.stem}-{fault}-{w}-{s}.jpg", name, kind)
                        out.append(made | {"eye": eye, "fault": fault})
    return out


def simulated(work: pathlib.Path, eyes: int) -> list[dict]:
    """Simulated frames, good and with the phantom's own faults."""
    subprocess.run([EXAMPLES / "faulty", work, str(SEED), str(eyes)], check=True, capture_output=True)
    out = []
    for path in sorted(work.glob("*.pnm")):
        kind, i, fault = path.stem.split("-")
        size = "large" if int(i) // 2 % 2 == 0 else "small"
        made = save(cv2.imread(str(path), cv2.IMREAD_UNCHANGED), path.with_suffix(".jpg"), size, kind)
        path.unlink()
        out.append(made | {"eye": f"s{i}", "fault": fault})
    return out


def fit_one_way(x: np.ndarray, y: np.ndarray, decay: float = 1.0) -> np.ndarray:
    """The same regression as `fit`, with no weight of a score below 0 and none of the last column, the retina seen, above it."""
    rows = np.column_stack([np.ones(len(x)), x])
    sign = np.where(y, 1.0, -1.0)
    weight = np.where(y, 0.5 / y.mean(), 0.5 / (~y).mean())

    def loss(w: np.ndarray) -> tuple[float, np.ndarray]:
        margin = sign * (rows @ w)
        pull = weight * sign / (1 + np.exp(np.clip(margin, -30, 30)))
        flat = np.r_[0.0, w[1:]]
        return float((weight * np.logaddexp(0, -margin)).sum() + 0.5 * decay * flat @ flat), decay * flat - rows.T @ pull

    bounds = [(None, None), *[(0, None)] * (x.shape[1] - 1), (None, 0)]
    return minimize(loss, np.zeros(rows.shape[1]), jac=True, bounds=bounds, method="L-BFGS-B").x


def plane(x: np.ndarray, bad: np.ndarray, fitted=fit):
    """A fitted limit: from features to a score."""
    mean, spread = x.mean(0), x.std(0) + 0.02
    w = fitted((x - mean) / spread, bad)
    return lambda rows: np.column_stack([np.ones(len(rows)), (rows - mean) / spread]) @ w


def compare(frames: list[dict], made: list[dict], fault: str) -> dict:
    """AUC of one fault on real frames by both fits, of free and of one-way planes."""
    here = [f for f in frames if f["fault"] in ("good", fault)]
    x, bad = np.array([f["row"] for f in here]), np.array([f["fault"] == fault for f in here])
    eyes = np.array([f["eye"] for f in here])
    own = [f for f in made if f["fault"] in ("good", fault)]
    mine, spoiled = np.array([f["row"] for f in own]), np.array([f["fault"] == fault for f in own])
    row = {"fault": fault, "spoiled": int(bad.sum()), "good": int((~bad).sum())}
    for name, fitted in (("", fit), ("_one_way", fit_one_way)):
        theirs = np.zeros(len(here))
        for eye in np.unique(eyes):
            out = eyes == eye
            theirs[out] = plane(x[~out], bad[~out], fitted)(x[out])
        row[f"phantom{name}"] = round(auc(plane(mine, spoiled, fitted)(x), bad), 4)
        row[f"real{name}"] = round(auc(theirs, bad), 4)
    return row


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--eyes", type=int, default=60, help="simulated eyes")
    ask.add_argument("--strengths", type=int, default=3, help="strengths of each spoiler")
    ask.add_argument("--engine", type=pathlib.Path, default=BINARY, help="the binary that appraises")
    said = ask.parse_args()
    if not SHARED.exists():
        raise SystemExit(f"{SHARED}: not there, and the test of use needs the real frames; nothing was written")
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as d:
        work = pathlib.Path(d)
        (work / "real").mkdir()
        with ThreadPoolExecutor(2) as pool:
            jobs = [pool.submit(real, work / "real", said.strengths), pool.submit(simulated, work / "made", said.eyes)]
            frames, made = [j.result() for j in jobs]
        for f, row in zip(frames + made, appraise(said.engine, [f["path"] for f in frames + made]), strict=True):
            f["row"] = row
    rows = [compare(frames, made, fault) for fault in SPOILERS]
    USE.write_text(json.dumps({"eyes": said.eyes, "strengths": said.strengths, "rows": rows}, indent=1) + "\n")
    print("\n".join(use_table(rows)))
    print(f"{os.path.relpath(USE, ROOT)} written; make phantom-report puts it into docs/phantom.md")


if __name__ == "__main__":
    main()
