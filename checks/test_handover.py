"""A visit handed over as a package: every original byte for byte, proven by its manifest, and nothing half done.

The zip is read by Python's own `zipfile` as a peer; hashes by `hashlib`.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import pathlib
import shutil
import subprocess
import urllib.request
import zipfile

import pydicom
import pytest
from PIL import Image
from pydicom.uid import generate_uid

import makers
from house import Server, http_error, serrata, until

STUDY = generate_uid()
PATIENT = ("INV-11", "Hollowell^Bree", "19710921")


@pytest.fixture(scope="module")
def visit(house: Server, tmp_path_factory: pytest.TempPathFactory) -> dict:
    """A visit with three pictures, one of them set aside, and one view that could not be had."""
    folder = tmp_path_factory.mktemp("made")
    new = {"patient_id": PATIENT[0], "patient_name": PATIENT[1], "birth_date": "1971-09-21", "study_uid": STUDY}
    number = house.post("/api/v1/visits", json.dumps({**new, "protocol": "first-look"}).encode())["ids"][0]
    sent = []
    for k, eye in enumerate("RRL"):
        made = serrata("phantom", "frame", "--seed", 61, "--shot", k, "--eye", eye, "--size", 700, "-o", folder / str(k))
        assert made.code == 0, made.err
        picture = Image.open(next((folder / str(k)).glob("*.png"))).convert("RGB")
        d = makers.dicom(picture, patient_id=PATIENT[0], name=PATIENT[1], study=STUDY, eye=eye)
        d.PatientBirthDate, d.ImageType = PATIENT[2], ["ORIGINAL", "PRIMARY", "", "COLOR"]
        d.AcquisitionDateTime = f"2026030209150{k}+0000"
        sent.append(makers.save(d, folder / f"{k}.dcm"))
    done = house.send(*sent, options=("-R",))
    assert done.returncode == 0, done.stderr
    until("all frames are checked", lambda: house.get("/api/v1/day")["waiting"] == 0, 120)
    frames = house.get(f"/api/v1/visits/{number}")["frames"]
    aside = min(f["id"] for f in frames)
    house.post(f"/api/v1/frames/{aside}/set-aside", json.dumps({"who": "RK", "reason": "a better one, \"later\""}).encode())
    view = next(v["name"] for v in house.get(f"/api/v1/visits/{number}")["views"] if v["state"] == "due")
    fact = {"kind": "view_ended", "view": view, "end": "not_obtainable", "why": "declined"}
    house.post(f"/api/v1/visits/{number}/facts", json.dumps({"who": "RK", "fact": fact}).encode())
    kept = {hashlib.sha256(p.read_bytes()).hexdigest() for p in house.data.rglob("*") if p.is_file() and p.stat().st_size > 100_000}
    return {"id": number, "aside": aside, "frames": {f["id"] for f in frames}, "view": view, "kept": kept}


def handed(house: Server, visit: dict, *more: object):  # noqa: ANN201
    return serrata("handover", "--server", f"127.0.0.1:{house.port}", visit["id"], "--who", "RK", *more)


@pytest.fixture(scope="module")
def package(house: Server, visit: dict, tmp_path_factory: pytest.TempPathFactory) -> pathlib.Path:
    place = tmp_path_factory.mktemp("reader") / "visit"
    before = house.get("/api/v1/day/closing")["left"]
    assert any("not sent" in line for line in before)
    done = handed(house, visit, "--to", place, "--json")
    assert done.code == 0, done.err
    assert done.lines[0]["originals"] == 2 and done.lines[0]["left_out"] == 1
    return place


def test_originals_are_byte_for_byte_and_the_manifest_names_every_file(visit: dict, package: pathlib.Path) -> None:
    manifest = json.loads((package / "manifest.json").read_text())
    assert manifest["schema"] == "serrata.package/1" and manifest["who"] == "RK" and manifest["deidentified"] is False
    named = {f["path"]: f for f in manifest["files"]}
    there = {p.relative_to(package).as_posix() for p in package.rglob("*") if p.is_file()} - {"manifest.json"}
    assert set(named) == there
    for path, f in named.items():
        data = (package / path).read_bytes()
        assert (len(data), hashlib.sha256(data).hexdigest()) == (f["bytes"], f["sha256"]), path
    originals = [f for f in named.values() if f["frames"]]
    assert {f["sha256"] for f in originals} <= visit["kept"]
    assert {i for f in originals for i in f["frames"]} == visit["frames"] - {visit["aside"]}
    assert [(x["frame"], x["reason"]) for x in manifest["left_out"]] == [(visit["aside"], 'set aside: a better one, "later"')]


def test_what_was_ordered_and_what_could_not_be_done_is_told(visit: dict, package: pathlib.Path) -> None:
    complete = json.loads((package / "completeness.json").read_text())
    view = next(v for v in complete["views"] if v["name"] == visit["view"])
    assert view["state"] == "not_obtainable" and view["closed"] == {"reason": "declined", "who": "RK"}
    rows = list(csv.DictReader(io.StringIO((package / "frames.csv").read_text())))
    assert {int(r["frame"]) for r in rows} == visit["frames"]
    assert next(r for r in rows if int(r["frame"]) == visit["aside"])["set aside"] == 'a better one, "later"'
    lines = [json.loads(line) for line in (package / "appraisals.jsonl").read_text().splitlines()]
    assert len(lines) == 3 and all(line["schema"] == "serrata.appraisal/1" for line in lines)
    record = list(csv.DictReader(io.StringIO((package / "record.csv").read_text())))
    assert ("view_ended", "RK") in {(r["what"], r["who"]) for r in record}
    assert "no diagnosis" in (package / "README.txt").read_text()


def test_paper_and_choice_of_pictures_are_objects_too(house: Server, visit: dict, package: pathlib.Path) -> None:
    made = {p.name: pydicom.dcmread(p) for p in (package / "dicom").iterdir()}
    for path in (package / "dicom").iterdir():
        said = subprocess.run(["dciodvfy", "-new", path], capture_output=True, text=True, check=False).stderr
        assert not [line for line in said.splitlines() if line.startswith("Error")], said
    paper, report = made.pop("imaging-record.dcm"), made.pop("report.dcm")
    assert report.Modality == "SR" and report.StudyInstanceUID == STUDY
    length = paper.EncapsulatedDocumentLength
    assert paper.EncapsulatedDocument[:length] == (package / "imaging-record.pdf").read_bytes()
    originals = {str(pydicom.dcmread(p, stop_before_pixels=True).SOPInstanceUID) for p in (package / "originals").iterdir()}
    assert originals < {str(r.ReferencedSOPInstanceUID) for r in paper.SourceInstanceSequence}
    assert (paper.PatientName, paper.PatientID, paper.StudyInstanceUID) == (PATIENT[1], PATIENT[0], STUDY)

    def told(d: pydicom.Dataset) -> tuple[str, list[str], set[str]]:
        words = [str(c.TextValue) for c in d.ContentSequence if c.ValueType == "TEXT"]
        named = {str(c.ReferencedSOPSequence[0].ReferencedSOPInstanceUID) for c in d.ContentSequence if c.ValueType == "IMAGE"}
        listed = {str(i.ReferencedSOPInstanceUID) for e in d.CurrentRequestedProcedureEvidenceSequence for s in e.ReferencedSeriesSequence for i in s.ReferencedSOPSequence}
        assert named == listed
        return str(d.ConceptNameCodeSequence[0].CodeValue), words, named

    all_of = [told(d) for d in made.values()]
    aside = next(x for x in all_of if x[0] == "113001")
    assert aside[1] == ['a better one, "later"'] and not aside[2] & originals
    chosen = [x for x in all_of if x[0] == "113000"]
    assert all(x[2] <= originals for x in chosen)
    # The same said again is the same object: nothing is twice as new.
    data = urllib.request.urlopen(house.url(f"/api/v1/visits/{visit['id']}/package?who=RK"), timeout=60).read()
    with zipfile.ZipFile(io.BytesIO(data)) as z:
        again = {n: pydicom.dcmread(io.BytesIO(z.read(n))) for n in z.namelist() if n.startswith("dicom/")}
    assert {d.SOPInstanceUID for d in again.values()} == {d.SOPInstanceUID for d in [*made.values(), paper, report]}


def test_it_counts_as_sent_and_is_proven_again_later(house: Server, package: pathlib.Path, tmp_path: pathlib.Path) -> None:
    assert not any("not sent" in line for line in house.get("/api/v1/day/closing")["left"])
    assert "nothing wrong" in serrata("verify", package).out
    copy = tmp_path / "copy"
    shutil.copytree(package, copy)
    victim = next((copy / "originals").iterdir())
    data = bytearray(victim.read_bytes())
    data[len(data) // 2] ^= 1
    victim.write_bytes(data)
    (copy / "stray.txt").write_text("?")
    said = serrata("verify", copy)
    assert said.code == 1 and "not those that were sent" in said.out and "stray.txt" in said.out


def test_a_zip_is_read_by_others_and_frames_set_aside_can_go_along(house: Server, visit: dict, tmp_path: pathlib.Path) -> None:
    place = tmp_path / "visit.zip"
    done = handed(house, visit, "--to", place, "--with-set-aside")
    assert done.code == 0, done.err
    with zipfile.ZipFile(place) as z:
        assert z.testzip() is None
        assert len([n for n in z.namelist() if n.startswith("originals/")]) == 3
    assert [p.name for p in tmp_path.iterdir()] == ["visit.zip"], "nothing half done stays beside it"
    again = handed(house, visit, "--to", place)
    assert again.code == 1 and "is there already" in again.err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--to", "nowhere/deep/visit"), "no folder"),
        (("--to", "{taken}"), "other files"),
    ],
)
def test_a_wrong_place_is_refused_and_nothing_counts_as_sent(house: Server, visit: dict, tmp_path: pathlib.Path, words: tuple, says: str) -> None:
    (tmp_path / "taken").mkdir()
    (tmp_path / "taken" / "mine.txt").write_text("mine")
    done = handed(house, visit, *[str(w).replace("{taken}", str(tmp_path / "taken")) for w in words])
    assert done.code == 1 and says in done.err
    assert (tmp_path / "taken" / "mine.txt").read_text() == "mine"


def test_a_visit_that_is_not_there_or_has_no_picture(house: Server, tmp_path: pathlib.Path) -> None:
    gone = serrata("handover", "--server", f"127.0.0.1:{house.port}", 999, "--who", "RK", "--to", tmp_path / "x")
    assert gone.code == 1 and "no such visit" in gone.err and not (tmp_path / "x").exists()
    new = {"patient_id": "INV-12", "patient_name": "Ivy^Sam", "birth_date": "1980-01-02", "protocol": "first-look"}
    empty = house.post("/api/v1/visits", json.dumps(new).encode())["ids"][0]
    assert "no picture" in http_error(lambda: house.get(f"/api/v1/visits/{empty}/package?who=RK"))["message"]
    assert http_error(lambda: house.get(f"/api/v1/visits/{empty}/package?who=%20"))["message"]


def test_a_changed_original_is_not_handed_over(tmp_path: pathlib.Path) -> None:
    house = Server(tmp_path / "data", tmp_path / "in", tmp_path / "log").start()
    picture = Image.open(io.BytesIO(makers.jpeg(makers.retina(600))))
    study = generate_uid()
    d = makers.dicom(picture, patient_id="INV-13", name="Juniper^Lee", study=study, eye="L")
    new = {"patient_id": "INV-13", "patient_name": "Juniper^Lee", "birth_date": "1961-03-07", "study_uid": study, "protocol": "first-look"}
    number = house.post("/api/v1/visits", json.dumps(new).encode())["ids"][0]
    assert house.send(makers.save(d, tmp_path / "a.dcm"), options=("-R",)).returncode == 0
    until("it is checked", lambda: house.get("/api/v1/day")["waiting"] == 0, 60)
    kept = next(p for p in house.data.rglob("*") if p.is_file() and p.read_bytes()[128:132] == b"DICM")
    kept.chmod(0o644)
    data = bytearray(kept.read_bytes())
    data[-1] ^= 1
    kept.write_bytes(data)
    done = serrata("handover", "--server", f"127.0.0.1:{house.port}", number, "--who", "RK", "--to", tmp_path / "out")
    assert done.code == 1 and not (tmp_path / "out").exists(), done
    assert any("not sent" in line for line in house.get("/api/v1/day/closing")["left"])
    assert house.stop() == 0


def test_the_zip_comes_with_its_length(house: Server, visit: dict) -> None:
    with urllib.request.urlopen(house.url(f"/api/v1/visits/{visit['id']}/package?who=RK")) as reply:
        assert reply.headers["Content-Type"] == "application/zip"
        assert len(reply.read()) == int(reply.headers["Content-Length"])
