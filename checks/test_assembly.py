"""Assembly from outside: what becomes of each frame, good or bad, and what is written.

The frames are simulated (their place on the sphere is known by `serrata.truth/1`); the spoiled ones are made of them.
The geometry's figures are held by `make assembly-bench`.
"""

from __future__ import annotations

import json
import pathlib
import subprocess

import numpy as np
import pytest
from PIL import Image

from house import BINARY, serrata

SIZE = 720
#: View angle of the centre pixel of the invented instrument demo-wide at that size.
DEGREES = ("--degrees-per-pixel", 0.074 * 3600 / SIZE)


def simulated(folder: pathlib.Path, name: str, *more: object) -> pathlib.Path:
    made = serrata("phantom", "frame", *more, "--size", SIZE, "-o", folder / f"of-{name}")
    assert made.code == 0, made.err
    picture = next(p for p in (folder / f"of-{name}").iterdir() if p.suffix == ".png" and "mask" not in p.name)
    return picture.rename(folder / f"{name}.png")


@pytest.fixture(scope="module")
def frames(tmp_path_factory: pytest.TempPathFactory) -> dict[str, pathlib.Path]:
    folder = tmp_path_factory.mktemp("frames")
    out = {
        "ahead": simulated(folder, "ahead", "--seed", 31, "--shot", 1),
        "up": simulated(folder, "up", "--seed", 31, "--shot", 2, "--gaze", "up"),
        "stranger": simulated(folder, "stranger", "--seed", 32, "--shot", 1),
    }
    picture = Image.open(out["ahead"])
    made = {
        "mirrored": picture.transpose(Image.Transpose.FLIP_LEFT_RIGHT),
        "quarter": picture.transpose(Image.Transpose.ROTATE_90),
        "lid": Image.fromarray(np.full((SIZE, SIZE, 3), (150, 60, 0), np.uint8)),
        "half": picture.resize((SIZE // 2, SIZE // 2), Image.Resampling.BOX),
    }
    for name, p in made.items():
        out[name] = folder / f"{name}.png"
        p.save(out[name])
    return out


def leftovers(folder: pathlib.Path) -> list[str]:
    return [p.name for p in folder.iterdir() if ".making-" in p.name or ".old-" in p.name]


@pytest.fixture(scope="module")
def assembled(frames: dict, tmp_path_factory: pytest.TempPathFactory) -> tuple[pathlib.Path, dict]:
    out = tmp_path_factory.mktemp("result") / "assembled"
    chosen = [frames[k] for k in ("ahead", "up", "stranger")]
    answer = serrata("assemble", *chosen, "-o", out, *DEGREES, "--size", 900, "--json")
    assert answer.code == 0, answer.err
    assert leftovers(out.parent) == []
    (line,) = answer.lines
    assert line == json.loads((out / "assembly.json").read_text())
    return out, line


def test_two_gazes_are_placed_and_a_stranger_is_not(assembled):
    _, line = assembled
    assert line["schema"] == "serrata.assembly/1" and line["calibrated"] is True
    status = {f["name"]: f["status"] for f in line["frames"]}
    assert status == {"ahead.png": "placed", "up.png": "placed", "stranger.png": "not placed"}
    for f in line["frames"]:
        assert {"path", "status", "reason", "residual_deg", "residual_px", "rotation", "overlap"} <= f.keys()
        if f["status"] == "placed":
            w, x, y, z = f["rotation"]
            assert w >= 0 and abs(w * w + x * x + y * y + z * z - 1) < 1e-6 and f["reason"] is None
            low, high = f["residual_interval_deg"]
            assert low <= f["residual_deg"] <= high < 0.5
        else:
            assert f["reason"] and f["rotation"] is None and f["residual_deg"] is None


def test_coverage_and_provenance_say_the_same(assembled):
    folder, line = assembled
    (mosaic,) = line["mosaics"]
    picture = np.array(Image.open(folder / mosaic["file"]))
    source = np.array(Image.open(folder / mosaic["provenance"]))
    assert list(picture.shape[1::-1]) == mosaic["size"] and max(mosaic["size"]) <= 900
    covered = picture[:, :, -1] > 0
    assert (covered == (source > 0)).all()
    assert abs(covered.mean() - mosaic["covered"]) < 1e-3
    # Only the two placed frames are drawn, each somewhere.
    assert set(np.unique(source)) == {0, 1, 2}
    assert sorted(p.name for p in folder.iterdir()) == sorted(["assembly.json", mosaic["file"], mosaic["provenance"]])


def transfer(folder: pathlib.Path, a: str, b: str, text: str) -> subprocess.CompletedProcess:
    command = [BINARY, "transfer", folder, "--from", a, "--to", b]
    return subprocess.run(command, input=text, capture_output=True, text=True, check=False)


def test_points_go_there_and_come_back(assembled):
    folder, _ = assembled
    there = transfer(folder, "ahead.png", "up.png", "360,300\n300.5,320\n\n5000,1\n")
    assert there.returncode == 0
    *found, outside = there.stdout.split()
    assert outside == "outside" and len(found) == 2
    back = transfer(folder, "up.png", "ahead.png", "\n".join(found)).stdout.split()
    p = np.array([[float(v) for v in line.split(",")] for line in back])
    assert np.abs(p - [[360, 300], [300.5, 320]]).max() < 0.1


@pytest.mark.parametrize(
    ("a", "b", "text", "word"),
    [("nobody.png", "up.png", "1,1", "no frame"), ("stranger.png", "up.png", "1,1", "not placed"), ("up.png", "ahead.png", "one,two", "line 1")],
)
def test_what_cannot_be_carried_over_is_said(assembled, a: str, b: str, text: str, word: str):
    done = transfer(assembled[0], a, b, text)
    assert done.returncode == 1 and word in done.stderr and done.stdout == ""


def test_each_odd_frame_gets_a_reason(frames, tmp_path):
    names = ["ahead", "mirrored", "quarter", "lid"]
    answer = serrata("assemble", *(frames[n] for n in names), "-o", tmp_path / "out", "--no-mosaic", "--json")
    assert answer.code == 0, answer.err
    for f in answer.lines[0]["frames"]:
        assert f["status"] != "placed" and f["reason"], f
    assert answer.lines[0]["reference"] is None and answer.lines[0]["mosaics"] == []


def test_sizes_may_differ_and_without_a_projection_nothing_is_calibrated(frames, tmp_path):
    answer = serrata("assemble", frames["ahead"], frames["half"], "-o", tmp_path / "out", "--no-mosaic")
    assert answer.code == 0, answer.err
    assert answer.out.count(" placed") == 2 and "no mm" in answer.out


def test_one_frame_is_an_assembly_and_replaces_an_earlier_one(frames, tmp_path):
    for _ in range(2):
        answer = serrata("assemble", frames["ahead"], "-o", tmp_path / "out", "--size", 64, "--json")
        assert answer.code == 0, answer.err
        assert [f["status"] for f in answer.lines[0]["frames"]] == ["placed"]
        assert leftovers(tmp_path) == []


def test_an_unreadable_file_is_told_and_the_others_are_answered(frames, tmp_path):
    bad = tmp_path / "bad.png"
    bad.write_bytes(frames["ahead"].read_bytes()[:5000])
    answer = serrata("assemble", bad, frames["ahead"], "-o", tmp_path / "out", "--no-mosaic", "--json")
    assert answer.code == 1
    error, line = answer.lines
    assert error["schema"] == "serrata.error/1" and error["path"] == str(bad) and error["remedy"]
    assert [f["name"] for f in line["frames"]] == ["ahead.png"]
    alone = serrata("assemble", bad, "-o", tmp_path / "none", "--no-mosaic", "--json")
    assert alone.code == 1 and not (tmp_path / "none").exists()


def test_a_folder_with_other_files_is_left_alone(frames, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "letter.txt").write_text("keep me")
    answer = serrata("assemble", frames["ahead"], "-o", tmp_path / "out", "--no-mosaic")
    assert answer.code == 1 and "name a new folder" in answer.err
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["letter.txt"] and leftovers(tmp_path) == []


@pytest.mark.parametrize("command", ["assemble", "transfer", "compare"])
def test_help_shows_an_example(command: str):
    assert "Example:" in serrata(command, "--help").out


@pytest.mark.parametrize(
    "words",
    [
        ["assemble", "-o", "x"],
        ["assemble", "a.png", "-o", "x", "--degrees-per-pixel", "0"],
        ["compare", "a.png", "-o", "x"],
        ["compare", "a.png", "--with", "b.png", "-o", "x", "--outline", "a.png:1,1 2,2 3,1"],
        ["compare", "a.png", "--with", "b.png", "-o", "x", "--axial-length", "-3"],
    ],
)
def test_wrong_usage_is_two(words: list[str], tmp_path):
    assert serrata(*words, cwd=tmp_path).code == 2
    assert list(tmp_path.iterdir()) == []


def test_the_same_area_drawn_twice_is_within_measuring_error(frames, tmp_path):
    square = "300,300 420,300 420,420 300,420"
    outlines = [w for n in ("ahead", "half") for w in ("--outline", f"{n}.png:" + (square if n == "ahead" else "150,150 210,150 210,210 150,210"))]
    answer = serrata("compare", frames["ahead"], "--with", frames["half"], "-o", tmp_path / "out", "--size", 600, *outlines, "--json")
    assert answer.code == 0, answer.err
    (line,) = answer.lines
    assert line["schema"] == "serrata.comparison/1" and line["earlier"] == 1
    growth = line["growth"]
    assert growth["conclusion"] == "within measuring error" and abs(growth["growth_share"]) < 0.05
    assert growth["growth_mm2"] is None and growth["uncalibrated"] and growth["radius_source"] == "population"
    for _, file in line["differences"]:
        d = np.array(Image.open(tmp_path / "out" / file))
        assert abs(np.median(d[:, :, 0][d[:, :, 1] > 0]) - 127) < 10


def test_two_eyes_are_not_compared_and_nothing_is_written(frames, tmp_path):
    answer = serrata("compare", frames["ahead"], "--with", frames["stranger"], "-o", tmp_path / "out")
    assert answer.code == 1 and "do not fit together" in answer.err
    assert list(tmp_path.iterdir()) == []


def test_growth_in_mm2_says_whose_radius_and_widens_where_it_is_the_populations(frames, tmp_path):
    outlines = ["--outline", "ahead.png:300,300 420,300 420,420 300,420", "--outline", "up.png:UP"]
    assembled = serrata("assemble", frames["ahead"], frames["up"], "-o", tmp_path / "a", *DEGREES, "--no-mosaic")
    assert assembled.code == 0, assembled.err
    # The same square, half as large again, as the other frame shows it.
    square = "\n".join(f"{x},{y}" for x, y in ((285, 285), (435, 285), (435, 435), (285, 435)))
    moved = transfer(tmp_path / "a", "ahead.png", "up.png", square).stdout.split()
    assert len(moved) == 4 and "outside" not in moved
    outlines[3] = "up.png:" + " ".join(moved)
    answers = []
    for more in ([], ["--axial-length", 24.5]):
        done = serrata("compare", frames["ahead"], "--with", frames["up"], "-o", tmp_path / "out", "--size", 400, *DEGREES,
                       *outlines, *more, "--json")  # fmt: skip
        assert done.code == 0, done.err
        answers.append(done.lines[0]["growth"])
    whose, known = answers
    assert (whose["radius_source"], known["radius_source"]) == ("population", "axial_length")
    assert abs(known["growth_share"] - 0.5625) < 0.08 and known["conclusion"] == "larger"
    (a, b), (c, d) = whose["growth_interval_mm2"], known["growth_interval_mm2"]
    assert a < c < known["growth_mm2"] < d < b
    told = serrata("compare", frames["ahead"], "--with", frames["up"], "-o", tmp_path / "out", "--size", 400, *DEGREES, *outlines)
    assert "mm²" in told.out and "population" in told.out


@pytest.mark.parametrize(
    ("outline", "word"),
    [
        ("nobody.png:300,300 420,300 420,420", "its frames are ahead.png, up.png"),
        ("up.png:300,300 420,420 420,300 300,420", "cross itself"),
        ("up.png:-50,-50 9000,300 420,420", "within the picture"),
    ],
)
def test_an_outline_that_makes_no_area_is_told_and_nothing_is_written(frames, tmp_path, outline: str, word: str):
    done = serrata("compare", frames["ahead"], "--with", frames["up"], "-o", tmp_path / "out", *DEGREES,
                   "--outline", "ahead.png:300,300 420,300 420,420", "--outline", outline)  # fmt: skip
    assert done.code == 1 and word in done.err, done.err
    assert list(tmp_path.iterdir()) == []
