"""The phantom from outside: its command line, its masks against its truth, and the classifier of the report.

Sources: the contract of this project (docs/guide.md); logistic regression against scipy's general minimiser.
"""

from __future__ import annotations

import json
import os
import pathlib

import cv2
import numpy as np
import pytest
from scipy.optimize import minimize

import phantom_report
import phantom_stats
from house import serrata


def test_a_frame_s_masks_agree_with_its_truth(tmp_path: pathlib.Path) -> None:
    answer = serrata("phantom", "frame", "--seed", 3, "--size", 600, "--height", 480, "--fault", "lid", "--masks", "--json",
                     "-o", tmp_path)
    assert answer.code == 0, answer.err
    truth = answer.lines[0]
    stem = pathlib.Path(truth["file"]).stem
    seen = cv2.imread(str(tmp_path / f"{stem}-visible_retina.png"), cv2.IMREAD_GRAYSCALE) > 0
    drawn = phantom_stats.mask_of(truth["visible_retina"], 600, 480)
    assert (seen & drawn).sum() / (seen | drawn).sum() > 0.98
    lid = cv2.imread(str(tmp_path / f"{stem}-lids.png"), cv2.IMREAD_GRAYSCALE) > 0
    assert lid.mean() > 0.1 and not (lid & seen).any()
    assert {p.name.split("-")[-1] for p in tmp_path.glob("*-*.png")} >= {"arteries.png", "veins.png", "lesions.png"}


def test_the_same_seed_gives_the_same_bytes(tmp_path: pathlib.Path) -> None:
    made = []
    for name, threads in (("a", "1"), ("b", "3")):
        answer = serrata("phantom", "frame", "--seed", 8, "--size", 300, "-o", tmp_path / name,
                         env={**os.environ, "RAYON_NUM_THREADS": threads})
        assert answer.code == 0, answer.err
        made.append(next((tmp_path / name).glob("*.png")).read_bytes())
    assert made[0] == made[1]


def test_a_dye_run_tells_its_times_and_phases(tmp_path: pathlib.Path) -> None:
    answer = serrata("phantom", "dye", "--seed", 2, "--frames", 12, "--size", 96, "--icg", "--arm-to-retina", 16, "-o",
                     tmp_path)
    assert answer.code == 0, answer.err
    run = json.loads((tmp_path / "2-R-dye.json").read_text())
    assert abs(run["times"]["arm_to_retina_s"] - 16) < 0.1
    assert len(run["frames"]) == 12 and all((tmp_path / f["file"]).exists() for f in run["frames"])
    assert [f["modality"] for f in run["frames"][:4]] == ["icg", "fa", "icg", "fa"]


def test_a_dye_run_has_masks_where_asked(tmp_path: pathlib.Path) -> None:
    answer = serrata("phantom", "dye", "--seed", 2, "--frames", 2, "--size", 96, "--masks", "-o", tmp_path)
    assert answer.code == 0, answer.err
    assert len(list(tmp_path.glob("2-R-fa-00?-veins.png"))) == 2


@pytest.mark.parametrize("what", ["eye", "frame", "dye", "day"])
def test_each_command_s_help_has_an_example(what: str) -> None:
    answer = serrata("phantom", what, "--help")
    assert answer.code == 0 and f"serrata phantom {what} --seed" in answer.out


def test_a_later_visit_has_the_change_that_was_asked_for(tmp_path: pathlib.Path) -> None:
    answer = serrata("phantom", "eye", "--seed", 2, "--size", 96, "--condition", "drusen=5", "--visits", 2, "--new-marks", 3,
                     "--json", "-o", tmp_path)
    assert answer.code == 0, answer.err
    assert [len(v["lesions"]) for v in answer.lines] == [5, 8]


@pytest.mark.parametrize(("words", "said"), [
    (["frame", "--axial-length", "-3"], "axial length in mm is -3: it must lie from 18 to 32"),
    (["frame", "--gaze", "up", "--turn", "90"], "gaze turn in degrees is 90: it must lie from 0 to 60"),
    (["frame", "--size", "0"], "picture width in pixels is 0: it must lie from 16 to 8192"),
    (["frame", "--size", "300", "--blink-rows", "10-400"], "is 400: it must lie from 10 to 300"),
    (["frame", "--size", "-5"], "it must be a whole number from 16 to 8192"),
    (["frame", "--height", "9"], "picture height in pixels is 9: it must lie from 16 to 8192"),
    (["frame", "--sweep", "0"], "sweep in seconds is 0: it must lie from 0.01 to 60"),
    (["frame", "--modality", "fa", "--seconds", "-4000"], "seconds since injection is -4000: it must lie from -3600 to 7200"),
    (["frame", "--condition", "haze=1.5"], "vitreous haze is 1.5: it must lie from 0 to 1"),
    (["frame", "--condition", "drusen=-3"], "it must be a whole number from 0 to 3000"),
    (["frame", "--condition", "atrophy=900"], "area of a region in mm² is 900: it must lie from 0 to 400"),
    (["eye", "--axial-length", "40"], "axial length in mm is 40: it must lie from 18 to 32"),
    (["eye", "--visits", "0"], "0 is not in 1..=100"),
    (["eye", "--growth", "-2"], "growth a visit is -2: it must lie from -0.5 to 2"),
    (["eye", "--new-marks", "900"], "new marks a visit is 900: it must lie from 0 to 500"),
    (["dye", "--frames", "0"], "frames of a dye run is 0: it must lie from 1 to 2000"),
    (["dye", "--arm-to-retina", "-3"], "arm-to-retina time in seconds is -3: it must lie from 4 to 60"),
    (["dye", "--speed", "0"], "speed of the circulation is 0: it must lie from 0.2 to 4"),
    (["dye", "--size", "9000"], "picture width in pixels is 9000: it must lie from 16 to 8192"),
    (["day", "--size", "0"], "0 is not in 64..=8192"),
])
def test_impossible_parameters_are_named_with_their_range(tmp_path: pathlib.Path, words: list[str], said: str) -> None:
    answer = serrata("phantom", words[0], "--seed", 1, *words[1:], "-o", tmp_path / "made")
    assert answer.code != 0 and said in answer.err
    assert not (tmp_path / "made").exists(), "nothing half-written"


def test_the_report_s_regression_is_the_minimum() -> None:
    rng = np.random.default_rng(1)
    x = rng.normal(size=(60, 4))
    y = x[:, 0] + rng.normal(size=60) > 0.5
    w = phantom_report.fit(x, y)
    weight = np.where(y, 0.5 / y.mean(), 0.5 / (~y).mean())

    def cost(w: np.ndarray) -> float:
        z = w[0] + x @ w[1:]
        return float((weight * np.logaddexp(0, np.where(y, -z, z))).sum() + 0.5 * (w[1:] ** 2).sum())

    assert np.allclose(w, minimize(cost, np.zeros(5)).x, atol=1e-3)


def test_the_report_s_auc_counts_pairs() -> None:
    # Reference brief, metric vectors.
    assert phantom_report.auc(np.array([0.1, 0.4, 0.35, 0.8]), np.array([False, False, True, True])) == 0.75
