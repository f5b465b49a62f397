"""The JSON of `serrata appraise --json` against a schema written from the contract, not from the code.

Source: the contract of this project (docs/guide.md, "For scripts"); JSON Schema draft 2020-12.
"""

from __future__ import annotations

import hashlib
import itertools
import json
import pathlib
import subprocess
import tempfile

import cv2
import jsonschema
import numpy as np
import pytest

import makers
from house import BINARY, serrata

SCHEMAS = {
    name: json.loads((pathlib.Path(__file__).parent / "schema" / f"{name}.schema.json").read_text())
    for name in ("appraisal", "error")
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> pathlib.Path:
    """A folder with a real retina, others, and files that cannot be read."""
    at = tmp_path_factory.mktemp("contract")
    (at / "b_retina.jpg").write_bytes(makers.RETINA.read_bytes())
    (at / "C_empty.jpg").write_bytes(b"")
    (at / "a").mkdir()
    (at / "a" / "z_disc.png").write_bytes(makers.png(makers.disc()))
    (at / "a" / ".hidden.png").write_bytes(makers.png(makers.disc()))
    makers.save(makers.dicom(makers.retina(700), eye="L"), at / "a" / "object.dcm")
    (at / "d_notes.dat").write_text("no picture")
    (at / "e_list.csv").write_text("lies beside,pictures")
    return at


@pytest.fixture(scope="module")
def answer(folder: pathlib.Path):
    return serrata("appraise", folder, "--json", "--jobs", 1)


def test_every_line_keeps_the_contract(answer):
    for line in answer.lines:
        kind = "error" if line["schema"].startswith("serrata.error/") else "appraisal"
        jsonschema.validate(line, SCHEMAS[kind], cls=jsonschema.Draft202012Validator)
        assert "milliseconds" not in line


def test_the_schema_itself_can_say_no(answer):
    line = dict(next(line for line in answer.lines if line["schema"] == "serrata.appraisal/1"))
    for spoiled in ({"verdict": "good"}, {"sha256": "12"}, {"eye": {**line["eye"], "probability": 0.2}}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({**line, **spoiled}, SCHEMAS["appraisal"])


def test_lines_come_in_byte_order_of_paths_and_every_input_once(answer, folder):
    names = [line["path"].removeprefix(f"{folder}/") for line in answer.lines]
    assert names == ["C_empty.jpg", "a/object.dcm", "a/z_disc.png", "b_retina.jpg", "d_notes.dat"]


def test_some_failed_inputs_mean_exit_code_1_and_a_sentence_each(answer, folder):
    failed = [line for line in answer.lines if line["schema"] == "serrata.error/1"]
    assert [pathlib.Path(line["path"]).name for line in failed] == ["C_empty.jpg", "d_notes.dat"]
    assert answer.code == 1
    left_out, *sentences = answer.err.splitlines()
    assert left_out.startswith(str(folder)) and "left out" in left_out, "a list beside the pictures is named, not judged"
    assert len(sentences) == 2
    for line, sentence in zip(failed, sentences, strict=True):
        assert line["path"] in sentence and line["remedy"].rstrip(".") in sentence


def test_the_hash_and_the_size_are_those_of_the_file(answer, folder):
    line = answer.by_name()["b_retina.jpg"]
    assert line["sha256"] == hashlib.sha256(makers.RETINA.read_bytes()).hexdigest()
    assert (line["width"], line["height"]) == (1411, 1411)


def test_one_job_and_two_jobs_give_the_same_bytes(answer, folder):
    assert serrata("appraise", folder, "--json", "--jobs", 2).out == answer.out


def test_numbers_are_rounded_as_the_contract_says(answer):
    def decimals(number: float) -> int:
        text = repr(number)
        return len(text.split(".")[1]) if "." in text and not text.endswith(".0") else 0

    for line in (a for a in answer.lines if a["schema"] == "serrata.appraisal/1"):
        rings = itertools.chain(
            line["visible_retina"]["polygons"],
            line["visible_retina"]["holes"],
            *(f["polygons"] + f["holes"] for f in line["findings"]),
        )
        assert all(decimals(c) <= 1 for ring in rings for point in ring for c in point)
        shares = [line["visible_retina"]["fraction"], line["eye"]["probability"]]
        shares += [f[k] for f in line["findings"] for k in ("score", "fraction")]
        assert all(decimals(s) <= 4 for s in shares)
        scores = [f["score"] for f in line["findings"]]
        assert scores == sorted(scores, reverse=True), "findings are listed strongest first"


def test_the_visible_retina_is_what_its_polygons_enclose(answer):
    """Painted by OpenCV's fillPoly, the share of the picture agrees with the number beside it."""
    line = answer.by_name()["b_retina.jpg"]
    seen = line["visible_retina"]
    canvas = np.zeros((line["height"], line["width"]), np.uint8)
    for rings, value in ((seen["polygons"], 1), (seen["holes"], 0)):
        for ring in rings:
            # Pixel (i, j) has its centre at (i + ½, j + ½); OpenCV puts centres at integers.
            cv2.fillPoly(canvas, [np.round((np.array(ring) - 0.5) * 16).astype(np.int32)], value, shift=4)
    assert canvas.mean() == pytest.approx(seen["fraction_of_picture"], abs=0.01)
    for ring in seen["polygons"]:
        x, y = np.array(ring).T
        assert 0 <= x.min() and x.max() <= line["width"] and 0 <= y.min() and y.max() <= line["height"]
        assert ring[0] != ring[-1], "rings are not closed"


def test_timings_only_when_asked_for(folder):
    line = serrata("appraise", folder / "b_retina.jpg", "--json", "--timings").lines[0]
    assert line["milliseconds"]["decode"] > 0 and line["milliseconds"]["observe"] > 0


def test_a_label_on_the_command_line_is_held_against_the_anatomy(folder):
    right = serrata("appraise", folder / "b_retina.jpg", "--json", "--eye", "R").lines[0]
    assert right["eye"]["labelled"] == "R"
    assert right["eye"]["agrees"] == (None if right["eye"]["inferred"] is None else right["eye"]["inferred"] == "R")


@pytest.mark.parametrize("words", [[], ["appraise"], ["appraise", "x.jpg", "--eye", "left"], ["paint"]])
def test_wrong_usage_is_exit_code_2(words):
    answer = serrata(*words)
    assert answer.code == 2 and answer.err.strip()


@pytest.mark.parametrize("command", ["appraise", "serve", "demo", "phantom", "backup", "verify"])
def test_every_command_explains_itself_with_an_example(command):
    answer = serrata(command, "--help")
    assert answer.code == 0 and f"xample:\n  serrata {command}" in answer.out


def test_a_reader_that_closes_the_pipe_early_is_no_failure(folder):
    import subprocess

    from house import BINARY

    done = subprocess.run(
        ["bash", "-c", 'set -o pipefail; "$0" appraise "$1" "$1" "$1" --json --jobs 1 | head -n 1 >/dev/null',
         str(BINARY), str(folder / "b_retina.jpg")], capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0 and "panick" not in done.stderr


def test_a_reader_that_goes_away_early_has_what_it_wanted():
    """`serrata phantom dye --json | head -c 100` panicked on the closed pipe."""
    with tempfile.TemporaryDirectory() as out:
        made = f"'{BINARY}' phantom dye --seed 3 --size 64 --frames 400 --json -o '{out}'"
        command = f"{made} | head -c 100 > /dev/null; exit ${{PIPESTATUS[0]}}"
        done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0 and "panicked" not in done.stderr, done.stderr
