"""A dye run played live: a simulated instrument sends DICOM frames in real time, and the server is killed in the middle.

The frames are the phantom's, each sent with dcmtk's `storescu` at the second at which it was "taken". One patient's fluorescein went
in just below four minutes ago, so that the late frames fall due while another patient is in the transit of both dyes.
Windows: the shipped protocols `fa` and `fa-with-icg`. Invented people.
"""

from __future__ import annotations

import datetime
import json
import pathlib
import time

import pytest
from PIL import Image
from pydicom.dataset import Dataset
from pydicom.uid import generate_uid

import makers
from house import Server, http_error, serrata, until

SIDE = 640
ROO, SOL = ("INV-7", "Elmhurst^Roo", "19630412"), ("INV-8", "Fenwick^Sol", "19550830")
STUDY = {who[0]: generate_uid() for who in (ROO, SOL)}


class Instrument:
    """A simulated instrument with a clock of its own: it takes a picture and sends it at once."""

    def __init__(self, house: Server, folder: pathlib.Path, behind_s: float = 0.0):
        self.house, self.folder, self.behind, self.shots = house, folder, behind_s, 0
        self.pictures: dict[tuple[str, str], list[Image.Image]] = {}

    def load(self, eye: str, modality: str, seconds: int) -> None:
        """Makes pictures of a run beforehand, so that sending is all that takes time."""
        made = self.folder / f"{eye}-{modality}"
        done = serrata("phantom", "dye", "--seed", 91, "--eye", eye, "--size", SIDE, "--frames", seconds,
                       *(["--icg"] if modality == "icg" else []), "-o", made)  # fmt: skip
        assert done.code == 0, done.err
        files = sorted(made.glob(f"*-{modality}-*.png"))
        self.pictures[eye, modality] = [Image.open(p).convert("L") for p in files]

    def take(self, who: tuple[str, str, str], eye: str, modality: str, index: int,
             start: datetime.datetime | None = None) -> None:  # fmt: skip
        """Takes and sends a frame; `start` goes into the header as the agent's start."""
        self.shots += 1
        d = makers.dicom(self.pictures[eye, modality][index], patient_id=who[0], name=who[1],
                         study=STUDY[who[0]], eye=eye)  # fmt: skip
        d.PatientBirthDate = who[2]
        taken = datetime.datetime.now(datetime.UTC) - datetime.timedelta(seconds=self.behind)
        d.AcquisitionDateTime = taken.strftime("%Y%m%d%H%M%S.%f+0000")
        d.ManufacturerModelName = "demo-wide"
        d.ImageType = ["ORIGINAL", "PRIMARY", "", modality.upper()]
        if start is not None:
            local = start - datetime.timedelta(seconds=self.behind)
            d.TimezoneOffsetFromUTC = "+0000"
            d.ContrastBolusStartTime = local.strftime("%H%M%S.%f")
        gaze = Dataset()
        gaze.CodeValue, gaze.CodingSchemeDesignator, gaze.CodeMeaning = "408744005", "SCT", "Primary gaze"
        d.PatientEyeMovementCommandCodeSequence = [gaze]
        sent = self.house.send(makers.save(d, self.folder / f"{self.shots}.dcm"), options=("-R",))
        assert sent.returncode == 0, sent.stderr


class Room:
    """The people at the run."""

    def __init__(self, house: Server, visit: int):
        self.house, self.visit = house, visit

    def tell(self, kind: str, reason: str | None = None, **more) -> dict:
        body = {"who": "RK", "reason": reason, "fact": {"kind": kind, **more}}
        return self.house.post(f"/api/v1/visits/{self.visit}/facts", json.dumps(body).encode())

    def run(self) -> dict:
        return self.house.get(f"/api/v1/visits/{self.visit}/dye")

    def frame(self, run: dict, view: str) -> dict:
        (found,) = [f for f in run["frames"] if f["view"] == view]
        return found

    def settled(self) -> dict:
        until("all frames are checked", lambda: self.house.get("/api/v1/day")["waiting"] == 0, 120)
        return self.run()


def micro(when: float) -> int:
    return int(when * 1e6)


@pytest.fixture
def house(tmp_path: pathlib.Path):
    made = Server(tmp_path / "data", tmp_path / "in", tmp_path / "log").start()
    yield made
    assert made.stop() == 0, made.log.read_text()


def opened(house: Server, who: tuple[str, str, str], protocol: str) -> Room:
    born = f"{who[2][:4]}-{who[2][4:6]}-{who[2][6:]}"
    new = {"patient_id": who[0], "patient_name": who[1], "birth_date": born, "study_uid": STUDY[who[0]]}
    answer = house.post("/api/v1/visits", json.dumps({**new, "protocol": "first-look"}).encode())
    room = Room(house, answer["ids"][0])
    body = {"who": "RK", "protocol": protocol, "transit": "R"}
    house.post(f"/api/v1/visits/{room.visit}/protocol", json.dumps(body).encode())
    return room


def began(drug: str, start: float, error_us: int = 500_000) -> dict:
    return {"drug": drug, "route": "vein", "start_us": micro(start), "start_error_us": error_us}


def refused(room: Room, fact: dict) -> str:
    body = json.dumps({"who": "RK", "fact": {"kind": "needle_began", **fact}}).encode()
    return http_error(lambda: room.house.post(f"/api/v1/visits/{room.visit}/facts", body))["message"]


def test_a_run_in_real_time_with_a_kill_in_the_middle(house: Server, tmp_path: pathlib.Path) -> None:
    camera = Instrument(house, tmp_path)
    camera.load("R", "icg", 40)
    camera.load("R", "fa", 40)
    late, transit = opened(house, SOL, "fa"), opened(house, ROO, "fa-with-icg")
    assert transit.run()["sentence"].startswith("No injection is marked yet")
    assert "past" in refused(transit, began("icg", time.time() + 60))

    # The other patient's fluorescein went in 215 s ago; here both dyes go in now, ICG first.
    late.tell("needle_began", **began("fluorescein", time.time() - 215, 1_000_000))
    start = time.time()
    transit.tell("needle_began", **began("icg", start))
    transit.tell("needle_ended", drug="icg", end_us=micro(start + 4))
    transit.tell("needle_began", **began("fluorescein", start + 0.5))
    run = transit.run()
    assert [c["modality"] for c in run["clocks"]] == ["icg", "fa"]
    assert run["clocks"][0]["took_s"] == pytest.approx(4, abs=0.01)
    assert any("Who prescribed it?" in line for line in run["record_open"])
    assert "runs already" in refused(transit, began("icg", time.time())), "a second injection is a new prescription"
    assert transit.frame(run, "icg pairs R")["state"] in ("soon", "now")

    # The transit in real time, a frame a second; the blow falls in the middle.
    time.sleep(max(0.0, start + 9 - time.time()))
    for k in range(10):
        camera.take(ROO, "R", "icg", 4 + k)
        camera.take(ROO, "R", "fa", 20 + k)
        if k == 4:
            before = transit.run()
            house.kill()
            house.start()
            after = transit.run()
            assert [c["start_utc_us"] for c in after["clocks"]] == [c["start_utc_us"] for c in before["clocks"]]
            assert after["clocks"][0]["elapsed_s"] == pytest.approx(time.time() - start, abs=3.0), "no clock stood still"
        time.sleep(max(0.0, start + 10 + k * 1.5 - time.time()))
    pairs = transit.frame(transit.settled(), "icg pairs R")
    assert pairs["taken"] == 10 and pairs["state"] in ("done", "now"), pairs

    # Meanwhile the other patient's late frame falls due: a tone, a sentence and a short identity.
    until("the late frame is due", lambda: late.run()["tone"], 60, 0.5)
    run = late.run()
    assert run["who"] == "Fenwick S., 30 Aug" and run["sentence"].startswith("Now: Right eye (OD), fluorescein"), run
    assert run["tone"] == late.run()["tone"], "the same frame sounds once"
    loud = [a for a in house.get("/api/v1/day")["alarms"] if a["sounds"]]
    assert loud and loud[0]["sentence"].startswith("Fenwick S., 30 Aug: Right eye (OD), fluorescein"), loud

    # One dye alone, a stop, and back: by hand, at any moment.
    transit.tell("run_mode_chosen", mode="fa")
    assert all(f["state"] in ("done", "silent", "closed") for f in transit.run()["frames"] if f["modality"] == "icg")
    transit.tell("run_mode_chosen", mode="in_turn")
    late.tell("run_stopped")
    assert late.run()["tone"] is None
    assert not [a for a in house.get("/api/v1/day")["alarms"] if a["visit_id"] == late.visit]
    late.tell("run_resumed")

    # Unwell silences everything at once, and that survives a blow as well.
    late.tell("unwell")
    house.kill()
    house.start()
    quiet = late.run()
    assert quiet["unwell"] and quiet["tone"] is None and "Staff stay with the patient" in quiet["sentence"]
    assert not [f for f in quiet["frames"] if f["state"] in ("now", "soon", "missed")], quiet["frames"]
    assert not [a for a in house.get("/api/v1/day")["alarms"] if a["visit_id"] == late.visit]
    late.tell("well_again")
    camera.take(SOL, "R", "fa", 39)
    done = late.frame(late.settled(), "fa late at 5 min R")
    assert done["state"] == "done" and done["why"] == [], done
    said = serrata("visit", "--server", f"127.0.0.1:{house.port}", "run", late.visit)
    assert said.code == 0 and "after the injection" in said.out and said.out.startswith("Fenwick S."), said


def test_what_passed_while_unwell_is_closed_without_blame(house: Server) -> None:
    room = opened(house, SOL, "fa")
    room.tell("needle_began", **began("fluorescein", time.time() - 420))
    missed = [f["view"] for f in room.run()["frames"] if f["state"] == "missed"]
    assert missed, "the transit is over and nothing was taken"
    room.tell("unwell")
    shown = house.get(f"/api/v1/visits/{room.visit}")
    assert not [v for v in shown["views"] if v["state"] in ("due", "overdue")]
    assert shown["next_step"] is None


def test_a_header_starts_the_clock_and_a_wrong_clock_is_found_out(house: Server, tmp_path: pathlib.Path) -> None:
    """Contrast/Bolus Start Time (0018,1042); the instrument's clock is 90 s behind ours."""
    camera = Instrument(house, tmp_path, behind_s=90)
    camera.load("R", "fa", 20)
    room = opened(house, ROO, "fa")
    start = datetime.datetime.now(datetime.UTC) - datetime.timedelta(seconds=9)
    for k in range(4):
        camera.take(ROO, "R", "fa", 6 + k, start)
        if k < 3:
            time.sleep(7.5)
    run = room.settled()
    (clock,) = run["clocks"]
    assert clock["marked_by"] == "header" and clock["modality"] == "fa"
    (tie,) = run["instrument_clocks"]
    assert tie["offset_s"] == pytest.approx(90, abs=tie["error_s"] + 0.5) and tie["error_s"] <= 3.1, tie
    assert clock["start_utc_us"] / 1e6 == pytest.approx(start.timestamp(), abs=tie["error_s"] + 0.5)
    assert room.frame(run, "fa transit R")["taken"] == 4
    # A person's touch comes before any header.
    room.tell("needle_began", **began("fluorescein", start.timestamp()))
    (clock,) = room.run()["clocks"]
    assert clock["marked_by"] == "person"
