"""Montages through the API: made in the background, fetched, points carried over, measured, compared with an earlier visit.

The frames are simulated; where their parts lie is known by `serrata.truth/1`. Areas are held against the cap that the
simulated lesion is, on a sphere of half the axial length: a closed form, 2π R² (1 − cos ρ).
"""

from __future__ import annotations

import io
import json
import math
import pathlib
import urllib.error
import urllib.request

import numpy as np
import pytest
from PIL import Image
from pydicom.dataset import Dataset
from pydicom.uid import generate_uid

import makers
from house import Server, http_error, serrata, until

SIDE = 900
#: View angle of the centre pixel of the invented instrument demo-wide at that size.
DEGREES = 0.074 * 3600 / SIDE
GAZES = {"primary": ("408744005", "Primary gaze"), "up": ("255533007", "Upward gaze")}


def frame(folder: pathlib.Path, study: str, seed: int, shot: int, gaze: str = "primary", patient: str = "INV-9") -> pathlib.Path:
    """A simulated colour frame as DICOM with its view angle, but no axial length."""
    made = folder / f"{seed}-{shot}"
    done = serrata("phantom", "frame", "--seed", seed, "--shot", shot, "--gaze", gaze, "--size", SIDE, "-o", made)
    assert done.code == 0, done.err
    (png,) = made.glob("*.png")
    d = makers.dicom(Image.open(png).convert("RGB"), patient_id=patient, name="Fernley^Ode", study=study, eye="R")
    d.PatientBirthDate, d.ImageType = "19550505", ["ORIGINAL", "PRIMARY", "", "COLOR"]
    d.XCoordinatesCenterPixelViewAngle = d.YCoordinatesCenterPixelViewAngle = DEGREES
    code = Dataset()
    code.CodeValue, code.CodeMeaning = GAZES[gaze]
    code.CodingSchemeDesignator = "SCT"
    d.PatientEyeMovementCommandCodeSequence = [code]
    return makers.save(d, folder / f"{seed}-{shot}.dcm")


class Eye:
    """The montage of one eye of one visit."""

    def __init__(self, server: Server, visit: int, study: str = ""):
        self.server, self.study, self.path = server, study, f"/api/v1/visits/{visit}/montage/R"

    def get(self, with_: str = "") -> dict:
        return self.server.get(self.path + with_)

    def made(self, with_: str = "") -> dict:
        """Asks for it and waits."""
        begun = self.server.post(self.path + with_, b"")
        assert begun["state"] in ("making", "made")
        return until("the montage is made", lambda: (m := self.get(with_))["state"] in ("made", "failed") and m, 120)

    def ask(self, what: str, with_: str = "", **body) -> dict:
        return self.server.post(f"{self.path}/{what}{with_}", json.dumps(body).encode())

    def picture(self, address: str) -> Image.Image:
        with urllib.request.urlopen(self.server.url(address), timeout=60) as reply:
            assert reply.headers["content-type"] == "image/png"
            return Image.open(io.BytesIO(reply.read()))


def opened(server: Server, study: str, patient: str = "INV-9") -> int:
    body = {"patient_id": patient, "patient_name": "Fernley^Ode", "birth_date": "1955-05-05", "protocol": "first-look", "study_uid": study}
    return server.post("/api/v1/visits", json.dumps(body).encode())["ids"][0]


def sent(server: Server, *files: pathlib.Path) -> None:
    done = server.send(*files, options=("-R",))
    assert done.returncode == 0, done.stderr
    until("all frames are checked", lambda: server.get("/api/v1/day")["waiting"] == 0, 120)


@pytest.fixture(scope="module")
def made_eye(tmp_path_factory):
    """An eye with its montage, which the tests only ask about."""
    folder = tmp_path_factory.mktemp("made")
    house = Server(folder / "data", folder / "in", folder / "log").start()
    study = generate_uid()
    one = Eye(house, opened(house, study), study)
    sent(house, frame(folder, study, 41, 1), frame(folder, study, 41, 2, "up"))
    assert one.made()["state"] == "made"
    yield one
    assert house.stop() == 0, house.log.read_text()


@pytest.fixture
def eye(server, tmp_path):
    study = generate_uid()
    visit = opened(server, study)
    sent(server, frame(tmp_path, study, 41, 1), frame(tmp_path, study, 41, 2, "up"))
    return Eye(server, visit, study)


def test_a_montage_is_made_shown_and_measured(eye, server, tmp_path):
    before = eye.get()
    assert (before["state"], before["frames_now"], before["pictures"]) == ("none", 2, [])
    assert "not been made" in http_error(lambda: eye.ask("measure", points=[[1, 1], [2, 2]], closed=False))["message"]
    m = eye.made()
    assert m["state"] == "made" and not m["outdated"] and m["calibrated"], m
    assert sorted(f["status"] for f in m["frames"]) == ["placed", "placed"]
    (picture,) = m["pictures"]
    full = eye.picture(picture["address"])
    assert full.size == (picture["width"], picture["height"]) and full.mode == "RGBA"
    assert abs((np.array(full)[:, :, 3] > 0).mean() - picture["covered"]) < 1e-3
    assert max(eye.picture(picture["address"] + "&longest=200").size) == 200

    # A point of one frame and back, by the server alone.
    a, b = (f["id"] for f in m["frames"])
    there = eye.ask("transfer", **{"from": a, "to": b, "points": [[450, 380], [-5, 5]]})["points"]
    assert there[1] is None
    back = eye.ask("transfer", **{"from": b, "to": a, "points": there[:1]})["points"][0]
    assert math.dist(back, (450, 380)) < 0.1

    # Circles of a stereographic picture about its middle are caps: the closed form tells their area and diameter.
    w, h, deg = picture["width"], picture["height"], picture["degrees_per_pixel"]
    px, ring = 120, np.linspace(0, 2 * np.pi, 181)[:-1]
    circle = [[w / 2 + px * math.cos(t), h / 2 + px * math.sin(t)] for t in ring]
    area = eye.ask("measure", points=circle, closed=True)
    radius = area["radius_mm"]
    cap = 2 * math.atan(math.radians(px * deg) / 2)
    assert area["unit"] == "mm²" and area["radius_source"] == "population"
    assert area["interval"][0] < area["value"] < area["interval"][1]
    across = eye.ask("measure", points=[[w / 2 - px, h / 2], [w / 2 + px, h / 2]], closed=False)
    half = math.radians(across["degrees"]) / 2
    assert abs(half / cap - 1) < 0.02
    assert abs(area["value"] / (2 * math.pi * radius**2 * (1 - math.cos(half))) - 1) < 2e-3
    assert abs(across["value"] / (2 * half * radius) - 1) < 1e-5

    # A frame more: the montage is out of date until it is made again, and stands meanwhile.
    sent(server, frame(tmp_path, eye.study, 41, 3))
    later = eye.get()
    assert later["state"] == "made" and later["outdated"] and later["pictures"] == m["pictures"]
    # While it is made anew the earlier one is shown.
    assert server.post(eye.path, b"")["pictures"] == m["pictures"]
    assert not eye.made()["outdated"]


def test_an_earlier_visit_is_compared(eye, server, tmp_path):
    study = generate_uid()
    now = Eye(server, opened(server, study))
    sent(server, frame(tmp_path, study, 41, 8))
    told = now.get()
    earlier = told["earlier_visit"]
    assert f"visits/{earlier}/" in eye.path and told["with"] is None
    beside = f"?with={earlier}"
    m = now.made(beside)
    assert m["state"] == "made", m
    assert {p["what"] for p in m["pictures"]} == {"montage", "earlier", "difference"}
    assert len({(p["width"], p["height"]) for p in m["pictures"]}) == 1
    assert "no earlier visit" in http_error(lambda: eye.get(f"?with={now.path.split('/')[4]}"))["message"]
    assert sorted(f["earlier"] for f in m["frames"]) == [False, True, True]
    by = {p["what"]: np.array(eye.picture(p["address"])) for p in m["pictures"]}
    difference = by["difference"]
    seen = difference[:, :, 1] > 0
    assert (seen == ((by["montage"][:, :, 3] > 0) & (by["earlier"][:, :, 3] > 0))).all()
    assert abs(np.median(difference[:, :, 0][seen]) - 127) < 10

    h, w = seen.shape
    turn = np.linspace(0, 2 * np.pi, 181)[:-1]
    circle = lambda px: [[w / 2 + px * math.cos(t), h / 2 + px * math.sin(t)] for t in turn]
    same = now.ask("growth", beside, earlier=circle(60), later=circle(60.2))
    assert same["conclusion"] == "within measuring error" and same["radius_source"] == "population"
    grown = now.ask("growth", beside, earlier=circle(60), later=circle(80))
    deg = m["pictures"][0]["degrees_per_pixel"]
    a, b = (1 - math.cos(2 * math.atan(math.radians(px * deg) / 2)) for px in (60, 80))
    assert grown["conclusion"] == "larger" and abs(grown["growth_share"] - (b / a - 1)) < 0.005
    low, high = grown["growth_interval_mm2"]
    assert low < grown["growth_mm2"] < high


@pytest.mark.parametrize(
    ("what", "body", "word"),
    [
        ("measure", {"points": [[300, 300], [420, 420], [420, 300], [300, 420]], "closed": True}, "cross"),
        ("measure", {"points": [[-50, 10], [420, 420], [420, 300]], "closed": True}, ""),
        ("measure", {"points": [[10, 10]], "closed": False}, "two points"),
        ("measure", {"points": [], "closed": False}, "two points"),
        ("measure", {"points": [[10, 10], [20, 20]], "closed": True}, "at least 3"),
        ("transfer", {"from": 424242, "to": 424242, "points": []}, "no frame"),
        ("growth", {"earlier": [[300, 300], [420, 420], [420, 300]], "later": []}, "two visits"),
    ],
)
def test_what_cannot_be_measured_or_carried_is_told(made_eye, what: str, body: dict, word: str):
    answer = http_error(lambda: made_eye.ask(what, **body))
    assert answer["message"] and answer["remedy"] and word in answer["message"], answer


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b'{"points":[[1e999,0]],"closed":true}', b'{"points":"x","closed":1}'])
def test_rubbish_is_refused(made_eye, body: bytes):
    """Whatever is sent, the answer says that it is the sender's fault, and the server goes on."""
    for what in ("measure", "transfer", "growth"):
        with pytest.raises(urllib.error.HTTPError) as told:
            made_eye.server.post(f"{made_eye.path}/{what}", body)
        assert 400 <= told.value.code < 500, told.value
    assert made_eye.get()["state"] == "made"


def test_another_patients_visit_and_a_broken_wish_are_refused(eye, server, tmp_path):
    other = opened(server, generate_uid(), "INV-10")
    assert "same patient" in http_error(lambda: eye.made(f"?with={other}"))["message"]
    assert "R or L" in http_error(lambda: server.get(eye.path[:-1] + "X"))["message"]
    none = Eye(server, other)
    assert "no frame" in http_error(none.made)["message"]
    eye.made()
    # Neither a file beside the montage nor one elsewhere is a picture of it.
    for file in ("../../serrata.sqlite", "montage.json", "", "mosaic-colour.png/.."):
        assert "no such picture" in http_error(lambda: eye.picture(eye.path + f"/picture?file={file}"))["message"]


def test_a_kill_in_the_middle_leaves_nothing_half_made(eye, server):
    server.post(eye.path, b"")
    server.kill()
    server.start()
    assert eye.get()["state"] in ("none", "made")
    assert eye.made()["state"] == "made"
    root = server.data / "montages"
    assert [p.name for p in root.iterdir() if p.name.startswith(".")] == []
