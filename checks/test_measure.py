"""`serrata measure` against numbers from outside.

Sources beside the checks: DICOM PS3.3 C.8.17.11 (stereographic form; vectors computed from its text with an
independent script), Eye 2018 s41433-018-0270-5 (892.3 mm² for 200° at R = 11 mm), pyproj as a live peer.
"""

from __future__ import annotations

import json
import math
import pathlib

import jsonschema
import numpy as np
import pyproj
import pytest
from PIL import Image

import makers
from house import serrata

SCHEMA = json.loads((pathlib.Path(__file__).parent / "schema" / "measure.schema.json").read_text())
SIDE, DEG = 400, 0.5  # the vectors' picture, ten times coarser


@pytest.fixture(scope="module")
def picture(tmp_path_factory) -> pathlib.Path:
    at = tmp_path_factory.mktemp("measure") / "plain.png"
    Image.new("RGB", (SIDE, SIDE), (90, 40, 20)).save(at)
    return at


def wide_field(at: pathlib.Path, **values) -> pathlib.Path:
    """A wide-field stereographic object with the geometry given by keyword."""
    d = makers.dicom(Image.new("RGB", (SIDE, SIDE), (90, 40, 20)), kind="1.2.840.10008.5.1.4.1.1.77.1.5.5", eye="R")
    for key, value in values.items():
        setattr(d, key, value)
    return makers.save(d, at)


def one(*arguments) -> dict:
    answer = serrata("measure", *arguments, "--json")
    (line,) = answer.lines
    assert answer.code == (1 if line["schema"].startswith("serrata.error/") else 0)
    if answer.code == 0:
        jsonschema.validate(line, SCHEMA, cls=jsonschema.Draft202012Validator)
    return line


def points(ps) -> str:
    return " ".join(f"{float(x)!r},{float(y)!r}" for x, y in ps)


def test_the_vectors_of_the_standard(picture):
    for (x, y), deg in {(400, 200): 82.220105723, (300, 200): 47.146397119, (300, 100): 63.354738386}.items():
        line = one(picture, "--path", f"200,200 {x},{y}", "--degrees-per-pixel", DEG, "--axial-length", 24)
        assert line["length_deg"] == pytest.approx(deg, abs=1e-9)
        assert line["length_mm"] == pytest.approx(math.radians(deg) * 12, abs=1e-9)
        assert (line["radius_mm"], line["radius_source"], line["angle"]) == (12.0, "axial_length", "eye")
    # Through the centre the arc is longer than straight from end to end.
    straight = one(picture, "--path", "300,200 200,100", "--degrees-per-pixel", DEG)
    assert straight["length_deg"] == pytest.approx(62.446714376, abs=1e-9)
    assert straight["radius_source"] == "population"


def test_the_published_area_of_200_degrees(tmp_path):
    at = tmp_path / "wide.png"
    Image.new("L", (600, 600), 60).save(at)
    radius = math.degrees(2 * math.tan(math.radians(50))) / 0.5
    ring = [(300 + radius * math.cos(t), 300 + radius * math.sin(t)) for t in np.linspace(0, 2 * math.pi, 3000)[:-1]]
    line = one(at, "--polygon", points(ring), "--degrees-per-pixel", 0.5, "--radius", 11)
    assert line["area_mm2"] == pytest.approx(892.3, abs=0.05)
    low, high = line["area_interval_mm2"]
    assert low < line["area_mm2"] < high and line["radius_source"] == "given"


def test_lengths_and_areas_of_random_figures_are_those_of_pyproj(picture):
    """PROJ on a sphere, over its own stereographic projection with the same scale; edges cut into short pieces."""
    r = 11_500.0  # metres in PROJ, here 11.5 mm
    stere = pyproj.Proj(proj="stere", lat_0=0, lon_0=0, R=r, k_0=1)
    geod = pyproj.Geod(a=r, b=r)
    metres = r * math.radians(DEG)
    rng = np.random.default_rng(4)

    def sphere(p):
        return stere((p[:, 0] - SIDE / 2) * metres, (SIDE / 2 - p[:, 1]) * metres, inverse=True)

    for _ in range(25):
        path = rng.uniform(0, SIDE, (5, 2))
        line = one(picture, "--path", points(path), "--degrees-per-pixel", DEG, "--radius", 11.5)
        assert line["length_mm"] == pytest.approx(geod.line_length(*sphere(path)) / 1000, rel=1e-9)
        turn = np.sort(rng.uniform(0, 2 * math.pi, 7))
        out = rng.uniform(30, 190, 7)
        ring = np.c_[200 + out * np.cos(turn), 200 + out * np.sin(turn)]
        line = one(picture, "--polygon", points(ring), "--degrees-per-pixel", DEG, "--radius", 11.5)
        closed = np.r_[ring, ring[:1]]
        steps = np.linspace(0, 1, 400, endpoint=False)[:, None]
        dense = np.concatenate([a + (b - a) * steps for a, b in zip(closed[:-1], closed[1:])])
        area = abs(geod.polygon_area_perimeter(*sphere(dense))[0]) / 1e6
        assert line["area_mm2"] == pytest.approx(area, rel=2e-5)


def test_geometry_comes_from_the_object(tmp_path):
    at = wide_field(
        tmp_path / "w.dcm",
        XCoordinatesCenterPixelViewAngle=DEG,
        YCoordinatesCenterPixelViewAngle=DEG,
        OphthalmicAxialLength=24.0,
        OphthalmicAxialLengthMethod="MEASURED",
    )
    line = one(at, "--path", "200,200 400,200")
    assert line["geometry"] == "file" and line["radius_source"] == "axial_length"
    assert line["length_mm"] == pytest.approx(17.220138674, abs=1e-6)
    assert one(at, "--path", "200,200 400,200", "--degrees-per-pixel", 0.4)["code"] == "geometry"
    assert "45" not in one(at, "--polygon", "10,10 90,10 50,90")["radius_source"]


@pytest.mark.parametrize(
    ("values", "word"),
    [
        ({"XCoordinatesCenterPixelViewAngle": DEG}, "(0022,1529)"),
        ({"YCoordinatesCenterPixelViewAngle": DEG}, "(0022,1528)"),
        ({"XCoordinatesCenterPixelViewAngle": -1.0, "YCoordinatesCenterPixelViewAngle": DEG}, "above 0"),
        ({"XCoordinatesCenterPixelViewAngle": 50.0, "YCoordinatesCenterPixelViewAngle": 50.0}, "expected"),
        (
            {
                "XCoordinatesCenterPixelViewAngle": DEG,
                "YCoordinatesCenterPixelViewAngle": DEG,
                "PixelSpacing": [0.01, 0.01],
            },
            "Pixel Spacing",
        ),
    ],
)
def test_wide_field_attributes_that_contradict(tmp_path, values, word):
    line = one(wide_field(tmp_path / "w.dcm", **values), "--path", "200,200 400,200")
    assert line["schema"] == "serrata.error/1" and word in line["message"]


def test_without_projection_there_are_shares_and_a_reason(picture):
    line = one(picture, "--polygon", "0,0 200,0 200,200 0,200")
    assert line["fraction_of_picture"] == 0.25 and line["area_mm2"] is None and line["area_sr"] is None
    assert line["uncalibrated"] == "no projection known" and line["radius_mm"] is None
    line = one(picture, "--path", "0,0 200,0")
    assert line["share_of_width"] == 0.5 and line["length_mm"] is None and line["length_deg"] is None


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["--polygon", "0,0 10,10 10,0 0,10"], "crosses itself"),
        (["--polygon", "0,0 10,10"], "2 point"),
        (["--polygon", "5,5 5,5 5,5"], "no area"),
        (["--path", "5,5"], "one point"),
        (["--path", "5,5 5,401"], "outside"),
        (["--path", "5,5 9,9", "--axial-length", "5"], "expected 14 to 40 mm"),
        (["--path", "5,5 9,9", "--axial-length", "60"], "expected 14 to 40 mm"),
        (["--path", "5,5 9,9", "--radius", "nan"], "expected 7 to 20 mm"),
        (["--path", "5,5 9,9", "--degrees-per-pixel", "0"], "view angle"),
        (["--path", "5,5 9,9", "--frame", "3"], "no frame 3"),
        (["--path", "5,5 9,9", "--instrument", "demo-missing"], "demo-missing"),
    ],
)
def test_what_cannot_be_measured_is_named(picture, arguments, word):
    answer = serrata("measure", picture, *arguments, "--json")
    assert answer.code == 1 and word in answer.err and "panicked" not in answer.err


def test_a_lens_on_a_long_eye_is_a_warning(picture):
    """Lim et al., BMC Ophthalmol 2021, 10.1186/s12886-021-01900-y: more than 10 % in half of the eyes of 26 mm and up."""
    arguments = (picture, "--path", "5,5 90,90", "--degrees-per-pixel", DEG, "--axial-length")
    assert one(*arguments, 27, "--contact-lens")["warnings"]
    assert not one(*arguments, 24, "--contact-lens")["warnings"] and not one(*arguments, 27)["warnings"]


def test_usage_is_told_apart(picture):
    for arguments in (["--path", "5,x 9,9"], [], ["--path", "1,1 2,2", "--visible"]):
        assert serrata("measure", picture, *arguments).code == 2


def test_what_is_visible_of_a_real_retina(tmp_path):
    at = tmp_path / "retina.jpg"
    at.write_bytes(makers.RETINA.read_bytes())
    line = one(at, "--visible", "--degrees-per-pixel", 0.03, "--axial-length", 24)
    appraised = serrata("appraise", at, "--json").lines[0]["visible_retina"]
    assert 0.3 < line["fraction_of_picture"] < 1 and line["area_mm2"] > 0
    assert appraised["fraction"] > 0
