"""What must hold on real ultra-widefield pictures, always.

Source: ../shared/data (open data; annotations and grades by the project's annotators, no clinicians, see its INDEX.md).
The bars of overlap and agreement are floors a little under what was reached, so that a fall is noticed; they are no claim.
"""

from __future__ import annotations

import numpy as np
import pytest

import real_frames
from real_frames import doubt, overlap, weighted_kappa


@pytest.fixture(scope="module")
def frames(request):
    request.getfixturevalue("real")
    return real_frames.read_frames()


@pytest.fixture(scope="module")
def graded(request):
    request.getfixturevalue("real")
    return real_frames.read_graded()


def test_all_18_frames_are_there(frames):
    assert len(frames) == 18


def test_the_eye_side_is_right_or_abstained_on_every_frame(frames):
    wrong = [f.name for f in frames if f.line["eye"]["inferred"] not in (f.truth["eye"], None)]
    assert wrong == []


def test_the_eye_side_is_right_or_abstained_on_every_mirrored_frame(frames):
    wrong = [f.name for f in frames if f.mirrored["eye"]["inferred"] == f.truth["eye"]]
    assert wrong == []


def test_no_frame_that_both_graders_call_not_usable_is_called_usable(graded):
    bad = [r["file"] for r, v in graded if r["verdict_a"] == r["verdict_b"] == "not_usable" and v["verdict"] == "usable"]
    assert bad == []


def test_no_frame_that_both_graders_call_usable_is_called_not_usable(graded):
    bad = [r["file"] for r, v in graded if r["verdict_a"] == r["verdict_b"] == "usable" and v["verdict"] == "not_usable"]
    assert bad == []


def test_the_kind_of_picture_is_seen(frames):
    for f in frames:
        assert f.line["modality"] == ("colour" if "colour" in f.name else "fa"), f.name


def test_the_visible_retina_agrees_with_the_annotation(frames):
    assert np.mean([overlap(f, doubt(f)) for f in frames]) > 0.90
    assert min(overlap(f, doubt(f)) for f in frames) > 0.75


def test_verdicts_agree_with_both_graders(graded):
    for grader in "ab":
        said = [v["verdict"] for _, v in graded]
        assert weighted_kappa([r[f"verdict_{grader}"] for r, _ in graded], said) > 0.6


def test_kappa_is_the_published_one():
    """All agree = 1, swapped ends = −1, and a small example worked by hand."""
    assert weighted_kappa(["usable", "limited", "not_usable"], ["usable", "limited", "not_usable"]) == 1
    assert weighted_kappa(["usable", "not_usable"], ["not_usable", "usable"]) == -1
    a = ["usable", "usable", "limited", "not_usable"]
    b = ["usable", "limited", "limited", "limited"]
    # o: (u,u) 1, (u,l) 1, (l,l) 1, (n,l) 1 → Σw·o = 2. Rows u 2, l 1, n 1; columns u 1, l 3.
    # e: u→l 2·3/4 = 1.5, l→u 1·1/4 = 0.25, n→u 1·1/4·4 = 1, n→l 1·3/4 = 0.75 → 3.5.
    assert weighted_kappa(a, b) == pytest.approx(1 - 2 / 3.5)
