"""Copies that do not name the patient: searched byte by byte for every value of the originals that does, read back by pydicom, held
against dciodvfy; what cannot be made safe stays behind and is said.

Profile: DICOM PS3.15 Annex E, basic, with modified dates.
"""

from __future__ import annotations

import datetime
import hashlib
import io
import json
import pathlib
import subprocess
import zipfile

import numpy as np
import pydicom
import pytest
from PIL import Image, ImageDraw
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence
from pydicom.uid import generate_uid

import makers
from house import Server, http_error, serrata, until

STUDY = generate_uid()
NAME, NUMBER, BORN, ACCESSION = "Umbelbrook^Tamsin^Wren", "INV-77431", "19590417", "ACC-2026-0099"


def object_(seed: int, eye: str, taken: str, picture: Image.Image | None = None, **options: object) -> pydicom.FileDataset:
    """A picture whose header names the patient wherever it can."""
    soft = Image.fromarray(np.random.default_rng(seed).integers(0, 200, (9, 9, 3), dtype=np.uint8)).resize((500, 500), Image.Resampling.BICUBIC)
    shown = picture or soft
    d = makers.dicom(shown, patient_id=NUMBER, name=NAME, study=STUDY, eye=eye, **options)
    d.PatientBirthDate, d.PatientSex, d.PatientAge, d.AccessionNumber = BORN, "F", "066Y", ACCESSION
    d.ImageType = ["ORIGINAL", "PRIMARY", "", "FA"]
    d.AcquisitionDateTime, d.ContentDate, d.StudyDate, d.SeriesDate = taken, taken[:8], taken[:8], taken[:8]
    d.OtherPatientIDs, d.PatientAddress, d.PatientComments = "OLD-55123", "7 Thistle Lane", "Tamsin likes the left chair"
    d.OperatorsName, d.ReferringPhysicianName, d.InstitutionName = "Larkspur^Odo", "Fennimore^Ida", "Invented Eye Clinic"
    d.StudyDescription, d.ImageComments, d.StationName = "Wren's retina", "umbelbrook, second try", "CHAIR-2"
    d.DeviceSerialNumber = "SN-0042"
    agent = Dataset()
    agent.ContrastBolusStartTime = "091452"
    agent.CodeValue, agent.CodingSchemeDesignator, agent.CodeMeaning = "350086004", "SCT", "Fluorescein"
    d.ContrastBolusAgentSequence = Sequence([agent])
    request = Dataset()
    request.AccessionNumber, request.RequestedProcedureID = ACCESSION, "RP-1"
    d.RequestAttributesSequence = Sequence([request])
    block = d.private_block(0x2201, "HIDDENMAKER", create=True)
    block.add_new(0x01, "LO", NAME)
    return d


NAMING = [
    *NAME.split("^"), NUMBER, BORN, ACCESSION, "OLD-55123", "Thistle", "Larkspur", "Fennimore", "Invented Eye Clinic", "CHAIR-2", "SN-0042",
    "HIDDENMAKER", STUDY,
]  # fmt: skip


@pytest.fixture(scope="module")
def visit(house: Server, tmp_path_factory: pytest.TempPathFactory) -> dict:
    """Three frames of a dye run, one with writing in its corner, one whose header says so, a plain JPEG, and what a person said."""
    folder = tmp_path_factory.mktemp("made")
    new = {"patient_id": NUMBER, "patient_name": NAME, "birth_date": "1959-04-17", "study_uid": STUDY, "protocol": "first-look"}
    number = house.post("/api/v1/visits", json.dumps(new).encode())["ids"][0]
    written = Image.new("RGB", (900, 900))
    ImageDraw.Draw(written).text((14, 10), "UMBELBROOK T.  17.04.1959", fill="white", font_size=22)
    burnt = object_(5, "L", "20260302091700+0000")
    burnt.BurnedInAnnotation = "YES"
    objects = [
        object_(1, "R", "20260302091500.500000+0000"), object_(2, "R", "20260302091512.250000+0000"), object_(3, "L", "20260302092001+0000", compressed=True),
        object_(4, "L", "20260302091600+0000", written), burnt,
    ]  # fmt: skip
    files = [makers.save(d, folder / f"{k}.dcm") for k, d in enumerate(objects)]
    done = house.send(*files[:2], *files[3:], options=("-R",))
    assert done.returncode == 0, done.stderr
    assert house.send(files[2], options=("-R", "-xy")).returncode == 0
    until("all are checked", lambda: house.get("/api/v1/day")["waiting"] == 0, 120)
    view = next(v["name"] for v in house.get(f"/api/v1/visits/{number}")["views"] if v["state"] == "due")
    fact = {"kind": "view_ended", "view": view, "end": "not_obtainable", "why": "declined"}
    house.post(f"/api/v1/visits/{number}/facts", json.dumps({"who": "LARKSPUR", "fact": fact, "reason": "Tamsin is tired"}).encode())
    drawn_of_all(house, number)
    return {"id": number, "objects": objects}


def drawn_of_all(house: Server, visit: int) -> None:
    """A picture in the place of a visit's montage, as the server keeps one."""
    place = house.data / "montages" / f"{visit}-R"
    place.mkdir(parents=True)
    Image.new("L", (40, 30), 90).save(place / "mosaic-fa.png")


def handed(house: Server, visit: dict, *more: object):  # noqa: ANN201
    return serrata("handover", "--server", f"127.0.0.1:{house.port}", visit["id"], "--who", "RK", *more)


@pytest.fixture(scope="module")
def package(house: Server, visit: dict, tmp_path_factory: pytest.TempPathFactory) -> pathlib.Path:
    place = tmp_path_factory.mktemp("reader") / "case"
    done = handed(house, visit, "--to", place, "--deidentify", "--code", "SUBJ-012", "--json")
    assert done.code == 0, done.err
    assert (done.lines[0]["originals"], done.lines[0]["left_out"]) == (3, 2)
    return place


def copies(package: pathlib.Path) -> list[pydicom.FileDataset]:
    return [pydicom.dcmread(p) for p in sorted((package / "copies").iterdir())]


def test_no_value_that_names_the_patient_is_in_any_byte(visit: dict, package: pathlib.Path) -> None:
    values = [v.encode().lower() for v in NAMING]
    values += [str(d.SOPInstanceUID).encode() for d in visit["objects"]] + [str(d.SeriesInstanceUID).encode() for d in visit["objects"]]
    for path in package.rglob("*"):
        if path.is_file():
            data = path.read_bytes().lower()
            there = [v for v in values if v in data or v in str(path.relative_to(package)).lower().encode()]
            assert there == [], path
            assert b"20260302" not in data and b"2026-03-02" not in data, path


def test_pixels_geometry_and_the_dyes_clock_are_true(visit: dict, package: pathlib.Path) -> None:
    made = copies(package)
    kept = visit["objects"][:3]
    by_pixels = {hashlib.sha256(d.PixelData).hexdigest(): d for d in made}
    assert set(by_pixels) == {hashlib.sha256(d.PixelData).hexdigest() for d in kept}
    shifts = set()
    for old in kept:
        new = by_pixels[hashlib.sha256(old.PixelData).hexdigest()]
        assert (new.Rows, new.Columns, new.ImageLaterality) == (old.Rows, old.Columns, old.ImageLaterality)
        assert new.ContrastBolusAgentSequence[0].ContrastBolusStartTime == "091452"
        a, b = (datetime.datetime.strptime(str(d.AcquisitionDateTime)[:14], "%Y%m%d%H%M%S") for d in (old, new))
        assert a.time() == b.time()
        assert str(old.AcquisitionDateTime)[14:] == str(new.AcquisitionDateTime)[14:]
        shifts.add((b - a).days)
        assert str(new.StudyDate) == b.strftime("%Y%m%d")
        assert (new.PatientName, new.PatientID, new.PatientBirthDate, new.PatientSex) == ("SUBJ-012", "SUBJ-012", "", "")
        assert new.PatientIdentityRemoved == "YES" and new.LongitudinalTemporalInformationModified == "MODIFIED"
        assert [c.CodeValue for c in new.DeidentificationMethodCodeSequence] == ["113100", "113107"]
        assert "PatientAge" not in new and "RequestAttributesSequence" not in new and "OtherPatientIDs" not in new
        assert not any(e.tag.is_private for e in new)
        assert new.file_meta.TransferSyntaxUID == old.file_meta.TransferSyntaxUID
        assert new.file_meta.MediaStorageSOPInstanceUID == new.SOPInstanceUID
        _ = new.pixel_array
    assert len(shifts) == 1 and -1000 <= shifts.pop() <= -1
    assert len({d.StudyInstanceUID for d in made}) == 1 and len({d.SOPInstanceUID for d in made}) == 3


def test_the_validator_finds_nothing_that_it_does_not_find_in_the_originals(visit: dict, package: pathlib.Path, tmp_path: pathlib.Path) -> None:
    def errors(path: pathlib.Path) -> set[str]:
        said = subprocess.run(["dciodvfy", "-new", path], capture_output=True, text=True, check=False).stderr
        return {line for line in said.splitlines() if line.startswith("Error")}

    original = makers.save(visit["objects"][0], tmp_path / "original.dcm")
    for path in (package / "copies").iterdir():
        assert errors(path) <= errors(original), path


def test_what_stays_behind_is_said_without_naming_anybody(package: pathlib.Path) -> None:
    manifest = json.loads((package / "manifest.json").read_text())
    assert manifest["deidentified"] is True and manifest["who"] == "" and manifest["visit_id"] == 0
    reasons = sorted(x["reason"] for x in manifest["left_out"])
    assert "burnt into the picture" in reasons[0] and "writing in the picture's top left corner" in reasons[1]
    changes = json.loads((package / "changes.json").read_text())
    assert changes["code"] == "SUBJ-012" and len(changes["files"]) == 3
    told = {(c["name"], c["what"]) for c in changes["files"][0]["changes"]}
    assert {("PatientName", "replaced"), ("StudyDate", "moved by whole days"), ("private", "removed"), ("StudyInstanceUID", "numbered anew")} <= told
    complete = json.loads((package / "completeness.json").read_text())
    assert any(v["closed"] == {"reason": "declined"} for v in complete["views"])
    # A montage may show what had to stay.
    assert not list(package.rglob("*.png"))
    assert {"path": "montage-R/mosaic-fa.png", "reason": "it may show a picture that was kept back"} in changes["left_out"]
    assert not (package / "visit.json").exists() and not (package / "record.csv").exists()
    lines = [json.loads(line) for line in (package / "appraisals.jsonl").read_text().splitlines()]
    paths = {line["path"]: line["sha256"] for line in lines}
    assert len(paths) == 3
    assert all(hashlib.sha256((package / p).read_bytes()).hexdigest() == sha for p, sha in paths.items())
    assert "nothing wrong" in serrata("verify", package).out


def test_copies_of_one_house_fit_together_and_options_keep_what_they_say(house: Server, visit: dict, package: pathlib.Path, tmp_path: pathlib.Path) -> None:
    place = tmp_path / "again.zip"
    done = handed(house, visit, "--to", place, "--deidentify", "--keep-characteristics", "--keep-device")
    assert done.code == 0, done.err
    with zipfile.ZipFile(place) as z:
        again = [pydicom.dcmread(io.BytesIO(z.read(n))) for n in sorted(z.namelist()) if n.startswith("copies/")]
    first = copies(package)
    assert [d.SOPInstanceUID for d in again] == [d.SOPInstanceUID for d in first]
    assert [d.AcquisitionDateTime for d in again] == [d.AcquisitionDateTime for d in first]
    assert {str(d.PatientID) for d in again} != {"SUBJ-012"} and all(str(d.PatientID).startswith("C-") for d in again)
    assert all((d.PatientSex, d.PatientAge, d.StationName, d.DeviceSerialNumber) == ("F", "066Y", "CHAIR-2", "SN-0042") for d in again)
    key = house.data / "deidentify.key"
    assert key.stat().st_mode & 0o077 == 0 and key.stat().st_size == 32


def test_wishes_that_make_no_sense_are_refused(house: Server, visit: dict, tmp_path: pathlib.Path) -> None:
    said = handed(house, visit, "--to", tmp_path / "x", "--deidentify", "--code", "a b/c")
    assert said.code == 1 and "a code has at most 40" in said.err and not (tmp_path / "x").exists()
    assert handed(house, visit, "--to", tmp_path / "x", "--code", "A").code == 2
    said = http_error(lambda: house.get("/api/v1/visits/999/package?who=RK&deidentify=true"))
    assert said["schema"] == "serrata.error/1"


def test_real_pictures_have_no_writing_in_their_corners(house: Server, real: pathlib.Path, tmp_path: pathlib.Path) -> None:
    """False alarms would keep pictures back: none on the real frames that are at hand."""
    pictures = [*sorted(real.glob("uwf_*/*.jpg")), *sorted(real.glob("uwf_*/*.png")), *sorted(real.glob("fa_phase/*.*g"))[:12], makers.RETINA]
    assert len(pictures) > 20
    new = {"patient_id": "INV-5", "patient_name": "Nobody^Known", "birth_date": "1950-01-01", "study_uid": generate_uid(), "protocol": "first-look"}
    number = house.post("/api/v1/visits", json.dumps(new).encode())["ids"][0]
    files = []
    for k, path in enumerate(pictures):
        d = makers.dicom(Image.open(path).convert("RGB"), patient_id="INV-5", name="Nobody^Known", study=new["study_uid"], eye="R")
        d.PatientBirthDate = "19500101"
        files.append(makers.save(d, tmp_path / f"{k}.dcm"))
    done = house.send(*files, options=("-R",))
    assert done.returncode == 0, done.stderr
    drawn_of_all(house, number)
    place = tmp_path / "real"
    done = handed(house, {"id": number}, "--to", place, "--deidentify", "--json")
    assert done.code == 0, done.err
    left = json.loads((place / "manifest.json").read_text())["left_out"]
    assert left == []
    assert (place / "montage-R" / "mosaic-fa.png").exists(), "where nothing is kept back, what is drawn goes along"
