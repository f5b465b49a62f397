"""An invented clinic day from worklist to "complete", by command line and API. Nobody in it exists.

Two instruments, second tries, a wrong label, a patient of whom only two frames can be had, one who is unwell during dye,
an outage, a frame that belongs to somebody else. The worklist is dcmtk's; the pictures are the phantom's, sent with
dcmtk's `storescu`. Rules of the imaging room: the notes on practice that the protocols name.
"""

from __future__ import annotations

import datetime
import json
import pathlib

import pytest
from PIL import Image
from pydicom.dataset import Dataset
from pydicom.uid import generate_uid

import makers
from house import Server, free_port, http_error, serrata, until
from worklists import entry, wlmscpfs

DAY = datetime.date.today().isoformat()
SIDE = 1000


class Clinic:
    """The server of the day, and the ways in which people talk to it."""

    def __init__(self, house: Server, folder: pathlib.Path):
        self.house, self.folder, self.shots = house, folder, 0

    def cli(self, *words: object, ok: bool = True):
        """Runs a command against the running server."""
        command, *rest = words
        done = serrata(command, "--server", f"127.0.0.1:{self.house.port}", *rest)
        assert done.code == (0 if ok else 1), (words, done)
        return done

    def post(self, path: str, **body) -> dict:
        """Tells the API something."""
        return self.house.post(f"/api/v1{path}", json.dumps(body).encode())

    def refused(self, path: str, **body) -> str:
        """The sentence with which the API refuses."""
        return http_error(lambda: self.post(path, **body))["message"]

    def tell(self, visit: int, kind: str, reason: str | None = None, who: str = "RK", **more) -> dict:
        """Keeps a fact."""
        return self.post(f"/visits/{visit}/facts", who=who, reason=reason, fact={"kind": kind, **more})

    def visit(self, visit: int) -> dict:
        """A visit."""
        return self.house.get(f"/api/v1/visits/{visit}")

    def shoot(self, study: str, patient: tuple[str, str, str], seed: int, eye: str, modality: str = "colour",
              label: str | None = None, fault: str | None = None, when: datetime.datetime | None = None,
              instrument: str = "demo-wide") -> None:  # fmt: skip
        """The camera makes a picture and sends it."""
        self.shots += 1
        made = self.folder / f"shot-{self.shots}"
        wrong = ("--fault", fault) if fault else ()
        done = serrata("phantom", "frame", "--seed", seed, "--shot", self.shots, "--eye", eye, "--modality", modality,
                   "--size", SIDE, *wrong, "-o", made)  # fmt: skip
        assert done.code == 0, done.err
        (png,) = made.glob("*.png")
        picture = Image.open(png)
        number, name, born = patient
        d = makers.dicom(picture.convert("RGB" if modality == "colour" else "L"), patient_id=number, name=name, study=study,
                         eye=label or eye)  # fmt: skip
        d.PatientBirthDate = born
        d.ManufacturerModelName = instrument
        taken = when or datetime.datetime.now(datetime.UTC)
        d.AcquisitionDateTime = taken.strftime("%Y%m%d%H%M%S.%f+0000")
        if modality == "colour":
            d.ImageType = ["ORIGINAL", "PRIMARY", "", "COLOR"]
        else:
            d.ImageType = ["ORIGINAL", "PRIMARY", "", ""]
            d.LightPathFilterPassThroughWavelength, d.ImagePathFilterPassBand = 476, [510, 750]
        code = Dataset()
        code.CodeValue, code.CodingSchemeDesignator, code.CodeMeaning = "408744005", "SCT", "Primary gaze"
        d.PatientEyeMovementCommandCodeSequence = [code]
        file = makers.save(d, self.folder / f"{self.shots}.dcm")
        sent = self.house.send(file, options=("-R",))
        assert sent.returncode == 0, sent.stderr
        until("the frame is checked", lambda: self.house.get("/api/v1/day")["waiting"] == 0, 60)


ADA, BO = ("INV-1", "Alderwick^Juna", "19610307"), ("INV-2", "Brambly^Tove", "19481119")
CY, DEE = ("INV-3", "Cindermoor^Pell", "19900214"), ("INV-4", "Dovetail^Wren", "19750630")
STUDY = {who[0]: generate_uid() for who in (ADA, BO, CY, DEE)}


def orders() -> list:
    """The worklist of the day."""
    plans = {"INV-1": "first-look", "INV-2": "first-look", "INV-3": "first-look", "INV-4": "fa"}
    return [
        entry(f"A-{i}", who[0], who[1], who[2], plans[who[0]], DAY, f"{8 + i:02}00", study=STUDY[who[0]])
        for i, who in enumerate((ADA, BO, CY, DEE), 1)
    ]


@pytest.fixture
def clinic(tmp_path):
    """A server whose worklist is not there yet: each part starts its own."""
    port = free_port()
    house = Server(tmp_path / "data", tmp_path / "in", tmp_path / "log", "--worklist", f"127.0.0.1:{port}")
    house.worklist_port = port
    house.start()
    yield Clinic(house, tmp_path)
    assert house.stop() == 0, house.log.read_text()


def taken(clinic: Clinic, tmp_path: pathlib.Path, monkeypatch) -> dict[str, int]:
    """Opens the day: takes the worklist by command line; visit by patient number."""
    monkeypatch.setattr("worklists.free_port", lambda: clinic.house.worklist_port)
    with wlmscpfs(tmp_path / "wl", orders()):
        done = clinic.cli("order", "worklist", "--take", "--who", "RK")
        assert done.out.count("opened") == 4, done.out
    return {v["patient_id"]: v["id"] for v in clinic.house.get("/api/v1/day")["visits"]}


def test_the_invented_day_from_worklist_to_complete(clinic, tmp_path, monkeypatch):
    # Opening: chairs with their instruments, the list of the day on paper.
    clinic.cli("config", "chair", "By the window", "--instrument", "demo-wide")
    clinic.cli("config", "chair", "By the door", "--instrument", "demo-small")
    visits = taken(clinic, tmp_path, monkeypatch)
    opening = clinic.house.get("/api/v1/day/opening")["items"]
    clinic.post("/day/tick", who="RK", item=opening[0]["id"], chair="By the window")
    assert clinic.house.get("/api/v1/day/opening")["items"][0]["ticked"] == ["RK (By the window)"]
    paper = clinic.cli("visit", "print").out
    assert "Cindermoor" in paper and "14 Feb 1990" in paper and "INV-3" in paper

    complete_with_a_second_try(clinic, visits["INV-1"])
    wrong_label_and_a_frame_of_somebody_else(clinic, visits)
    only_two_frames(clinic, visits["INV-3"])
    unwell_during_dye(clinic, visits["INV-4"])

    # Closing: nothing unsent, unassigned or unanswered is left unsaid.
    left = clinic.cli("visit", "closing").out
    assert "not sent" in left and "clinician" not in left.lower(), left
    done = serrata("verify", clinic.house.data, "--json") if clinic.house.stop() == 0 else None
    assert done.code == 0, done


def complete_with_a_second_try(clinic: Clinic, visit: int) -> None:
    """The first patient: two identifiers, a blink, a second try, complete."""
    who = ADA
    clinic.cli("visit", "seat", visit, "By the window", "--who", "RK")
    assert "Two identifiers are not ticked yet." in clinic.cli("visit", "show", visit).out
    assert "one identifier is not enough" in clinic.refused(f"/visits/{visit}/facts", who="RK", fact={"kind": "identity_ticked", "identifiers": ["name"]})
    clinic.tell(visit, "identity_ticked", identifiers=["name", "date of birth"])
    clinic.shoot(STUDY[who[0]], who, 12, "R")
    clinic.shoot(STUDY[who[0]], who, 12, "L", fault="underexposed")
    shown = clinic.visit(visit)
    assert shown["complete"]["state"] == "not_yet" and "a second try" in shown["next_step"], shown["next_step"]
    clinic.shoot(STUDY[who[0]], who, 12, "L")
    for eye in "RL":
        clinic.shoot(STUDY[who[0]], who, 12, eye, "faf")
    shown = clinic.visit(visit)
    assert shown["complete"]["state"] in ("complete", "as_far_as_possible"), clinic.cli("visit", "show", visit).out
    assert not [v for v in shown["views"] if v["state"] == "due"]
    assert "Identifiers: name, date of birth (RK)" in clinic.cli("visit", "show", visit).out
    clinic.cli("visit", "close", visit, "--who", "RK")


def wrong_label_and_a_frame_of_somebody_else(clinic: Clinic, visits: dict[str, int]) -> None:
    """The second patient, at the other instrument: a wrong label is raised and corrected; a stray frame goes home."""
    visit, other = visits["INV-2"], visits["INV-3"]
    clinic.cli("visit", "seat", visit, "By the door", "--who", "RK")
    assert "Another patient" in clinic.refused(f"/visits/{other}/facts", who="RK", fact={"kind": "seated", "chair": "By the door"})
    clinic.tell(visit, "identity_ticked", identifiers=["name", "date of birth"])
    clinic.shoot(STUDY["INV-2"], BO, 21, "R", label="L", instrument="demo-small")
    shown = clinic.visit(visit)
    frame = shown["frames"][0]["id"]
    assert any("check which eye" in s for s in shown["today"]["first"]), shown["today"]["first"]
    clinic.post(f"/frames/{frame}/correct", who="RK", reason="labelled as the other eye", eye="R")
    shown = clinic.visit(visit)
    assert not any("check which eye" in s for s in shown["today"]["first"])
    assert shown["frames"][0]["eye"] == "R"

    # The camera still had the last patient's entry: this frame is the third patient's.
    clinic.shoot(STUDY["INV-2"], BO, 13, "L", instrument="demo-small")
    stray = clinic.visit(visit)["frames"][0]["id"]
    clinic.post(f"/frames/{stray}/sent", who="RK", recipient="ARCHIVE")
    asked = clinic.cli("visit", "move", stray, other, "--who", "RK", "--reason", "entry of the last patient").out
    assert "quarantine" in asked and "ARCHIVE" in asked
    due = {v["name"] for v in clinic.visit(visit)["views"] if v["state"] == "due"}
    assert any("colour" in name and name.endswith("L") for name in due), "a frame in quarantine meets no view"
    assert "second person" in clinic.cli("visit", "decide", stray, "--who", "RK", ok=False).err
    assert "ARCHIVE" in clinic.cli("visit", "decide", stray, "--who", "MN").out
    assert [f["id"] for f in clinic.visit(other)["frames"]] == [stray]

    # A frame for somebody whose chair is elsewhere is queried; one that is dated tomorrow is told.
    tomorrow = datetime.datetime.now(datetime.UTC) + datetime.timedelta(days=1)
    clinic.shoot(STUDY["INV-3"], CY, 13, "R", instrument="demo-small", when=tomorrow)
    queried = clinic.visit(other)["frames"]
    assert any(f["query"] and "Another patient sat" in f["query"] for f in queried), queried
    (late,) = [f for f in queried if f["query"]]
    clinic.post(f"/frames/{late['id']}/answer", who="RK")
    (late,) = [f for f in clinic.visit(other)["frames"] if f["id"] == late["id"]]
    assert "clock" in late["query"]
    clinic.tell(visit, "paused")
    assert clinic.visit(visit)["chair"] is None


def only_two_frames(clinic: Clinic, visit: int) -> None:
    """The third patient: two frames can be had; the rest ends with coded reasons, who, and the short sentence."""
    clinic.tell(visit, "identity_ticked", identifiers=["name", "date of birth"])
    for view in clinic.visit(visit)["views"]:
        if view["state"] == "due":
            clinic.tell(visit, "view_ended", view=view["name"], end="not_obtainable", why="declined")
    shown = clinic.visit(visit)
    assert shown["complete"]["state"] == "as_far_as_possible"
    assert "as far as possible" in shown["complete"]["sentence"]
    clinic.cli("visit", "close", visit, "--who", "RK")


def unwell_during_dye(clinic: Clinic, visit: int) -> None:
    """The fourth patient: dye, unwell, the clinician is called, and the visit closes only when somebody was reached."""
    assert "transit eye" in clinic.refused(f"/visits/{visit}/protocol", who="RK", protocol="fa")
    clinic.post(f"/visits/{visit}/protocol", who="RK", protocol="fa", transit="R")
    clinic.tell(visit, "identity_ticked", identifiers=["name", "number"])
    clinic.tell(visit, "answered", question="dye-allergy", answer="yes, hives as a child")
    assert any(s.startswith("Stop. Tell the prescriber") for s in clinic.visit(visit)["today"]["first"])
    needle = {
        "drug": "fluorescein", "route": "vein", "prescribed_by": "PQ", "given_by": "MN", "site": "left forearm",
        "flow_checked": True, "strength": None, "lot": "L1", "expiry": "2027-01", "mg": 500.0, "rule": "adult",
        "second_person": None, "seconds": 8.0, "start_us": int(datetime.datetime.now().timestamp() * 1e6),
        "start_error_us": 1_000_000,
    }  # fmt: skip
    assert "strength" in clinic.refused(f"/visits/{visit}/facts", who="MN", fact={"kind": "injected", "injection": needle})
    for wrong, says in [({"strength": -1.0}, "above zero"), ({"mg": 0.0}, "above zero"), ({"expiry": "08/27"}, "expiry"), ({"expiry": "2027-13"}, "expiry")]:
        body = {"kind": "injected", "injection": {**needle, "strength": 100.0, **wrong}}
        assert says in clinic.refused(f"/visits/{visit}/facts", who="MN", fact=body), wrong
    clinic.tell(visit, "injected", who="MN", injection={**needle, "strength": 100.0})
    assert "mg per mL" in clinic.visit(visit)["today"]["needle"][0]
    clinic.tell(visit, "unwell", who="MN")
    shown = clinic.visit(visit)
    assert shown["next_step"] is None and shown["today"]["unwell"]
    assert not [v for v in shown["views"] if v["state"] in ("due", "overdue")]
    assert [a for a in clinic.house.get("/api/v1/day")["alarms"] if a["visit_id"] == visit] == []
    clinic.tell(visit, "clinician_asked", who="MN", frame=None)
    assert "unanswered" in clinic.cli("visit", "close", visit, "--who", "RK", ok=False).err
    clinic.tell(visit, "clinician_reached", who="MN", whom="PQ")
    for view in shown["views"]:
        clinic.tell(visit, "view_ended", view=view["name"], end="not_done", why="unwell")
    assert clinic.visit(visit)["complete"]["state"] == "as_far_as_possible"
    clinic.cli("visit", "close", visit, "--who", "RK")


def test_an_outage_is_worked_through_and_merged_by_a_person_who_sees_both(clinic, tmp_path, monkeypatch):
    who = ADA
    assert "does not answer" in clinic.cli("order", "worklist", ok=False).err
    new = ["--patient-id", "INV-1", "--family", "Alderwick", "--given", "Juna", "--born", "1961-03-07",
           "--protocol", "first-look", "--who", "RK"]  # fmt: skip
    typed = json.loads(clinic.cli("order", "--json", "new", *new).out)
    (order,) = typed["good"]
    visit, number = order["visit_id"], order["number"]
    assert order["provisional"] and number.startswith("P-")
    # The camera made a study of its own: the frame waits for a person, who sees both sides.
    clinic.shoot(generate_uid(), (who[0], who[1], "19610703"), 11, "R")
    (waiting,) = clinic.house.get("/api/v1/unassigned")["frames"]
    (beside,) = waiting["beside"]
    assert beside["visit_id"] == visit and len(beside["differences"]) == 1, beside
    assert {beside["differences"][0]["here"], beside["differences"][0]["there"]} == {"3 Jul 1961", "7 Mar 1961"}
    clinic.post(f"/frames/{waiting['id']}/assign", visit_id=visit)
    # The worklist is back.
    taken(clinic, tmp_path, monkeypatch)
    seen = clinic.cli("order", "merge", number, "A-1", ok=False)
    assert "Alderwick" in seen.out and "not merged" in seen.err
    clinic.cli("order", "merge", number, "A-1", "--who", "RK", "--seen-both")
    shown = clinic.visit(visit)
    assert [f["id"] for f in shown["frames"]] == [waiting["id"]], "the merge loses no frame"
    clinic.shoot(STUDY["INV-1"], who, 11, "L")
    assert len(clinic.visit(visit)["frames"]) == 2, "the study of the worklist finds the merged visit"
    assert "provisional" not in clinic.house.get("/api/v1/day/closing")["left"]


def test_where_to_look_next_and_what_was_corrected(clinic):
    """The chart proposes a gaze within the instrument's range, and corrections keep who and why."""
    new = {"patient_id": ADA[0], "patient_name": ADA[1], "birth_date": "1961-03-07", "protocol": "five-gazes"}
    (visit,) = clinic.post("/visits", study_uid=STUDY["INV-1"], **new)["ids"]
    clinic.shoot(STUDY["INV-1"], ADA, 11, "R")
    charts = {c["eye"]: c for c in clinic.visit(visit)["charts"]}
    look = charts["R"]["look"]
    assert charts["L"]["look"] is None, "no frame of that eye tells what lids leave free"
    assert look is not None and 0 < look["turn_deg"] <= 28, look
    assert look["share"] >= 0.05 and look["clock_hours"] and "patient looks" in look["sentence"], look
    assert f"Look next: {look['sentence']}" in clinic.cli("visit", "show", visit).out

    # This person cannot turn the eye: nothing is proposed; the state comes along to the next visit.
    clinic.tell(visit, "eye_noted", eye="R", state={"no_fixation": True, "worked": ["a light at the ceiling"]})
    clinic.tell(visit, "person_noted", state={"child": True, "pain": True})
    assert {c["eye"]: c["look"] for c in clinic.visit(visit)["charts"]}["R"] is None
    table = "number,patient_id,family,given,born,protocol\nT-9,INV-1,Alderwick,Juna,1961-03-07,first-look\n"
    later = clinic.house.post("/api/v1/orders/table?take=RK", table.encode(), "text/csv")["good"][0]["visit_id"]
    notes = " ".join(clinic.visit(later)["today"]["notes"])
    assert "a light at the ceiling" in notes and "A child" in notes, notes

    # What was there last time lies on the next visit's chart, and beside the view that it stood for.
    (before,) = [f["id"] for f in clinic.visit(visit)["frames"]]
    shown = clinic.visit(later)
    assert {c["eye"]: [f["frame_id"] for f in c["last"]] for c in shown["charts"]} == {"R": [before], "L": []}
    assert {v["name"]: v["last_frame"] for v in shown["views"]} == {
        v["name"]: before if (v["eye"], v["modality"], v["gaze"]) == ("R", "colour", "primary") else None for v in shown["views"]}  # fmt: skip

    # Corrections are facts with author, time and reason; the original stays.
    frame = clinic.visit(visit)["frames"][0]["id"]
    assert "reason" in clinic.refused(f"/frames/{frame}/correct", who="RK", reason=" ", gaze="up")
    clinic.post(f"/frames/{frame}/correct", who="RK", reason="the target stood above", gaze="up")
    clinic.post(f"/frames/{frame}/set-aside", who="MN", reason="a better one is there")
    clinic.post(f"/frames/{frame}/bring-back", who="MN", reason="it was the only one")
    assert "has no order" in clinic.refused(f"/frames/{frame}/order", who="RK", reason="two orders", order="A-77")
    clinic.post(f"/frames/{frame}/assign", who="RK", visit_id=later)
    clinic.post(f"/frames/{frame}/order", who="RK", reason="two orders", order="T-9")
    assert clinic.house.get(f"/api/v1/frames/{frame}")["order"] == "T-9"
    assert ("order_corrected", "RK", "two orders") in [
        (f["kind"], f["who"], f["reason"]) for f in clinic.visit(later)["today"]["facts"]
    ]
    facts = [(f["kind"], f["who"], f["reason"]) for f in clinic.visit(visit)["today"]["facts"]]
    for fact in [("gaze_corrected", "RK", "the target stood above"), ("set_aside", "MN", "a better one is there"),
                 ("taken_back", "MN", "it was the only one")]:  # fmt: skip
        assert fact in facts, facts


def test_what_was_a_mistake_is_undone_and_both_stay(clinic):
    new = {"patient_id": ADA[0], "patient_name": ADA[1], "birth_date": "1961-03-07", "protocol": "five-gazes"}
    (visit,) = clinic.post("/visits", **new)["ids"]

    def today() -> dict:
        return clinic.visit(visit)["today"]

    def answer() -> str | None:
        return next(a["answer"] for a in today()["answers"] if a["id"] == "light")

    clinic.tell(visit, "answered", question="light", answer="yes")
    assert answer() == "yes"
    assert "no such question" in clinic.refused(f"/visits/{visit}/facts", who="RK", fact={"kind": "answered", "question": "moon", "answer": "yes"})
    assert "empty" in clinic.refused(f"/visits/{visit}/facts", who="RK", fact={"kind": "remarked", "text": " "})
    assert "too long" in clinic.refused(f"/visits/{visit}/facts", who="RK", fact={"kind": "remarked", "text": "x" * 2001})
    seq = next(a["fact"] for a in today()["answers"] if a["id"] == "light")
    clinic.tell(visit, "undone", seq=seq, reason="asked the wrong patient")
    assert answer() is None
    assert "undone before" in clinic.refused(f"/visits/{visit}/facts", who="RK", fact={"kind": "undone", "seq": seq})

    clinic.tell(visit, "eye_noted", eye="L", state={"gas": True})
    assert today()["left_eye"]["gas"]
    clinic.tell(visit, "undone", seq=today()["facts"][-1]["seq"])
    assert not today()["left_eye"]["gas"]
    clinic.tell(visit, "remarked", text="hearing aid on the left")
    assert [r["text"] for r in today()["remarks"]] == ["hearing aid on the left"]

    view = clinic.visit(visit)["views"][0]["name"]
    clinic.post(f"/visits/{visit}/views/{view.replace(' ', '%20')}/close", state="not_done", reason="no time")
    clinic.tell(visit, "view_reopened", view=view)
    assert clinic.visit(visit)["views"][0]["state"] == "due"

    facts = today()["facts"]
    assert [(f["text"], f["undone"]) for f in facts if f["kind"] in ("answered", "undone")][:2] == [
        ("light: yes", True), ("undone: light: yes", False)]  # fmt: skip


def test_a_folder_that_is_not_served_is_read_by_the_same_commands(tmp_path):
    house = Server(tmp_path / "data", tmp_path / "in", tmp_path / "log").start()
    assert house.stop() == 0
    new = serrata("order", "--data", house.data, "new", "--patient-id", "INV-1", "--family", "Alderwick", "--born", "1961-03-07",
              "--protocol", "first-look", "--who", "RK")  # fmt: skip
    assert new.code == 0, new.err
    board = serrata("visit", "--data", house.data, "list")
    assert board.code == 0 and "Alderwick" in board.out, board


def test_eye_state_is_carried_to_the_next_visit(server):
    def opened(number: str) -> int:
        table = f"number,patient_id,family,given,born,protocol\n{number},INV-1,Alderwick,Juna,1961-03-07,first-look\n"
        return server.post("/api/v1/orders/table?take=RK", table.encode(), "text/csv")["good"][0]["visit_id"]

    def tell(visit: int, fact: dict) -> None:
        server.post(f"/api/v1/visits/{visit}/facts", json.dumps({"who": "RK", "fact": fact}).encode())

    first = opened("T-1")
    tell(first, {"kind": "eye_noted", "eye": "R", "state": {"dilated": True, "oil": True, "worked": ["chin up, look far"]}})
    second = opened("T-2")
    assert second != first
    notes = server.get(f"/api/v1/visits/{second}")["today"]["notes"]
    assert "Worked last time: chin up, look far" in notes
