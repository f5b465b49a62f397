"""What is made of a visit's pictures as DICOM objects: valid by outside tools, true to what the API says, and sent like the pictures.

Outside: `dciodvfy` (dicom3tools), highdicom's tables of the standard's modules and its reader of structured reports, pydicom, and
Orthanc, over an association and over the web (STOW-RS, QIDO-RS).
"""

from __future__ import annotations

import http.server
import io
import json
import pathlib
import subprocess
import threading
import time
import urllib.request

import highdicom
import numpy as np
import pydicom
import pytest
from PIL import Image
from pydicom.dataset import Dataset
from pydicom.uid import generate_uid

from house import Server, free_port, serrata, until
from test_montage import Eye, frame, opened, sent
from test_sending import Archive, same

PHOTOGRAPH = "1.2.840.10008.5.1.4.1.1.77.1.5.1"
STEREOGRAPHIC = "1.2.840.10008.5.1.4.1.1.77.1.5.5"
REPORT = "1.2.840.10008.5.1.4.1.1.88.33"
TABLES = {p.stem: json.loads(p.read_text()) for p in (pathlib.Path(highdicom.__file__).parent / "_standard").glob("*_map.json")}


class Served:
    """A server with a visit of three frames of one eye, one of which came labelled as the other; its montage made."""

    def __init__(self, folder: pathlib.Path):
        self.folder = folder
        self.config = folder / "serrata.toml"
        self.config.write_text("")
        self.server = Server(folder / "data", folder / "in", folder / "log", "--config", str(self.config))
        self.archive = Archive(folder / "archive", self.server.dicom_port, web=True)
        web = f'[[destination]]\nname = "web"\naddress = "http://127.0.0.1:{self.archive.http}/dicom-web"\nsilence_s = 10\nderived = true\n'
        dimse = f'[[destination]]\nname = "archive"\naddress = "127.0.0.1:{self.archive.port}"\nae_title = "ARCHIVE"\nsilence_s = 10\nderived = true\n'
        self.dead = free_port()
        bad = f'[[destination]]\nname = "bad"\naddress = "http://127.0.0.1:{self.dead}"\nsilence_s = 2\n'
        self.config.write_text(web + dimse + bad)
        self.server.start()
        self.study = generate_uid()
        self.visit = opened(self.server, self.study)
        files = [frame(folder, self.study, 41, 1), frame(folder, self.study, 41, 2, "up"), frame(folder, self.study, 41, 3)]
        for file in files:
            asked = pydicom.dcmread(file)
            asked.AccessionNumber = "A-17"
            asked.save_as(file)
        wrong = pydicom.dcmread(files[2])
        wrong.ImageLaterality = "L"
        wrong.save_as(files[2])
        self.originals = {str(d.SOPInstanceUID): d for d in map(pydicom.dcmread, files)}
        self.wrong = str(wrong.SOPInstanceUID)
        sent(self.server, *files)
        frames = self.server.get(f"/api/v1/visits/{self.visit}")["frames"]
        self.corrected = next(f["id"] for f in frames if f["eye"] == "L")
        fix = {"who": "RK", "eye": "R", "modality": None, "gaze": None, "reason": "the right eye was at the instrument"}
        self.server.post(f"/api/v1/frames/{self.corrected}/correct", json.dumps(fix).encode())
        until("all frames are checked", lambda: self.server.get("/api/v1/day")["waiting"] == 0, 120)
        self.eye = Eye(self.server, self.visit, self.study)
        self.montage = self.eye.made()
        assert self.montage["state"] == "made" and self.montage["calibrated"], self.montage

    def deliveries(self, to: str) -> list[dict]:
        return [d for d in self.server.get(f"/api/v1/visits/{self.visit}/sending")["deliveries"] if d["destination"] == to]

    def send(self, to: str) -> dict:
        return self.server.post(f"/api/v1/visits/{self.visit}/send", json.dumps({"who": "RK", "destination": to}).encode())


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory):
    made = Served(tmp_path_factory.mktemp("derived"))
    yield made
    made.archive.stop()
    assert made.server.stop() == 0, made.server.log.read_text()


@pytest.fixture(scope="module")
def objects(served: Served) -> dict[str, Dataset]:
    """The package's derived objects by name; each as a file too."""
    place = served.folder / "package"
    done = serrata("handover", "--server", f"127.0.0.1:{served.server.port}", served.visit, "--to", place, "--who", "RK")
    assert done.code == 0, done.err
    assert serrata("verify", place).code == 0
    files = {f.stem: pydicom.dcmread(f) for f in (place / "dicom").glob("*.dcm")}
    assert not list((place / "dicom").glob("*-missing.txt"))
    return files


def test_every_kind_of_object_is_there(served: Served, objects: dict[str, Dataset]) -> None:
    assert sorted(objects) == [f"corrected-{served.corrected}", "imaging-record", "montage-R-colour", "report", "selection-1"]
    assert len({d.SOPInstanceUID for d in objects.values()}) == len(objects)
    assert {d.StudyInstanceUID for d in objects.values()} == {served.study}
    assert {(str(d.PatientID), str(d.PatientName)) for d in objects.values()} == {("INV-9", "Fernley^Ode")}
    assert {(d.AccessionNumber, d.StudyInstanceUID) for d in objects.values()} == {("A-17", served.study)}, "what the worklist gave"


def test_dciodvfy_finds_no_error(served: Served, objects: dict[str, Dataset], tmp_path: pathlib.Path) -> None:
    for name, d in objects.items():
        path = tmp_path / f"{name}.dcm"
        if d.SOPClassUID == STEREOGRAPHIC:
            # The tool has the modules of this class, but not the class: its shared modules are checked as those of a photograph.
            d = pydicom.dcmread(io.BytesIO(written(d)))
            d.SOPClassUID = d.file_meta.MediaStorageSOPClassUID = PHOTOGRAPH
        path.write_bytes(written(d))
        errors = dciodvfy(path)
        if name.startswith("corrected-"):
            # What is wrong with the original is wrong with its correction, and nothing else.
            was = tmp_path / "original.dcm"
            was.write_bytes(written(served.originals[served.wrong]))
            errors -= dciodvfy(was)
        assert not errors, f"{name}: {errors}"


def dciodvfy(path: pathlib.Path) -> set[str]:
    said = subprocess.run(["/usr/bin/dciodvfy", "-new", str(path)], capture_output=True, text=True)
    return {line for line in (said.stdout + said.stderr).splitlines() if line.startswith("Error")}


def written(d: Dataset) -> bytes:
    out = io.BytesIO()
    d.save_as(out, enforce_file_format=True)
    return out.getvalue()


def lacking(d: Dataset) -> list[str]:
    """Attributes of type 1 and 2 of the mandatory modules that are not there, by the standard's own tables; inside sequences where
    these have items."""
    key = TABLES["sop_class_iod_map"][d.SOPClassUID]
    out = []
    for module in TABLES["iod_module_map"][key]:
        # Content items have their own types by what they are, which these tables do not tell: `dsrdump` looks at those.
        if module["usage"] != "M" or module["key"] == "sr-document-content":
            continue
        for a in TABLES["module_attribute_map"][module["key"]]:
            if a["type"] not in ("1", "2"):
                continue
            holders = [d]
            for step in a["path"]:
                holders = [item for h in holders for item in (h.get(step) or [])]
            for h in holders:
                element = h.get(a["keyword"]) if a["keyword"] in h else None
                empty = a["keyword"] in h and (element is None or element == "" or (isinstance(element, pydicom.Sequence) and not element))
                if a["keyword"] not in h or (a["type"] == "1" and empty):
                    out.append("/".join([*a["path"], a["keyword"]]))
    return out


def test_types_1_and_2_are_there_by_the_tables_of_the_standard(served: Served, objects: dict[str, Dataset]) -> None:
    for name, d in objects.items():
        if name.startswith("corrected-"):
            # What the original lacked its correction lacks: nothing is made up.
            assert set(lacking(d)) <= set(lacking(served.originals[served.wrong]))
        else:
            assert lacking(d) == [], name
    broken = pydicom.dcmread(io.BytesIO(written(objects["montage-R-colour"])))
    del broken.XCoordinatesCenterPixelViewAngle
    assert lacking(broken) == ["XCoordinatesCenterPixelViewAngle"], "the check can fail"


def test_the_montage_is_the_picture_that_the_api_shows(served: Served, objects: dict[str, Dataset]) -> None:
    d = objects["montage-R-colour"]
    (shown,) = served.montage["pictures"]
    assert d.SOPClassUID == STEREOGRAPHIC and list(d.ImageType) == ["DERIVED", "PRIMARY", "MONTAGE", "COLOR"]
    assert d.ImageLaterality == "R" and d.OphthalmicAxialLengthMethod == "POPULATION"
    angles = [d.XCoordinatesCenterPixelViewAngle, d.YCoordinatesCenterPixelViewAngle]
    assert angles == pytest.approx([shown["degrees_per_pixel"]] * 2, rel=1e-6)
    placed = {f["id"] for f in served.montage["frames"] if f["status"] == "placed"}
    assert len(placed) == 2 and len(d.SourceImageSequence) == 2
    assert {i.ReferencedSOPInstanceUID for i in d.SourceImageSequence} <= set(served.originals)
    assert {i.PurposeOfReferenceCodeSequence[0].CodeValue for i in d.SourceImageSequence} == {"121329"}
    with urllib.request.urlopen(served.server.url(shown["address"]), timeout=60) as reply:
        picture = np.asarray(Image.open(io.BytesIO(reply.read())))
    assert d.pixel_array.shape == (*picture.shape[:2], 3)
    covered = picture[..., 3] > 0
    assert np.array_equal(d.pixel_array[covered], picture[covered][:, :3])
    assert not d.pixel_array[~covered].any()


def test_a_corrected_picture_differs_in_its_labels_only(served: Served, objects: dict[str, Dataset]) -> None:
    new, old = objects[f"corrected-{served.corrected}"], served.originals[served.wrong]
    assert new.ImageLaterality == "R" and old.ImageLaterality == "L"
    changed = {e.keyword for e in new if e.tag not in old or old[e.tag].value != e.value} | {e.keyword for e in old if e.tag not in new}
    told = {"ImageLaterality", "SOPInstanceUID", "SeriesInstanceUID", "SeriesNumber", "InstanceNumber"}
    assert changed - told <= {"OriginalAttributesSequence", "ReferencedImageSequence", "AnatomicRegionSequence", "Laterality"}
    assert new.PixelData == old.PixelData
    (was,) = new.OriginalAttributesSequence
    assert was.ReasonForTheAttributeModification == "CORRECT" and was.ModifiedAttributesSequence[0].ImageLaterality == "L"
    assert new.ReferencedImageSequence[0].ReferencedSOPInstanceUID == old.SOPInstanceUID


def test_the_report_says_what_the_api_says(served: Served, objects: dict[str, Dataset]) -> None:
    assert objects["report"].SOPClassUID == REPORT
    report = highdicom.sr.srread(served.folder / "package" / "dicom" / "report.dcm")
    groups = report.content.get_planar_roi_measurement_groups()
    frames = [served.server.get(f"/api/v1/frames/{f['id']}") for f in served.server.get(f"/api/v1/visits/{served.visit}")["frames"]]
    by_name = {g.tracking_identifier: g for g in groups}
    assert len(by_name) == len(groups)
    for f in frames:
        a, number = f["appraisal"], f["brief"]["id"] if "brief" in f else f["id"]
        retina = a["visible_retina"]
        g = by_name.get(f"picture {number}: visible retina") or by_name[f"picture {number}: visible retina (1 of {len(retina['polygons'])})"]
        assert g.finding_type.value == "visible_retina" and g.finding_sites[0].value.value == "5665001"
        assert g.finding_sites[0].laterality.value == "24028007", "the right eye, also where it came labelled as the left"
        ring = g.roi.value
        assert np.allclose(ring[:-1], retina["polygons"][0], atol=0.01) and np.array_equal(ring[0], ring[-1])
        (area,) = [m for m in g.get_measurements() if m.name.value == "42798000"]
        assert area.unit.value == "mm2" and area.value == pytest.approx(retina["area_mm2"], abs=0.006)
        below = {i.ConceptNameCodeSequence[0].CodeValue: i for i in area[0].ContentSequence}
        interval = [float(below[f"interval_95_{end}"].MeasuredValueSequence[0].NumericValue) for end in ("low", "high")]
        assert interval == pytest.approx(retina["area_interval_mm2"], abs=0.006)
        assert float(below["radius"].MeasuredValueSequence[0].NumericValue) == pytest.approx(retina["radius_mm"], abs=0.006)
        assert "half the axial length" in below["370129005"].TextValue
        for finding in a["findings"]:
            named = [g for n, g in by_name.items() if n.startswith(f"picture {number}: ") and g.finding_type.value == finding["kind"]]
            assert len(named) >= 1 or not finding.get("polygons"), finding["kind"]
    # dcmtk checks relations and value types of the class while it reads.
    said = subprocess.run(["/usr/bin/dsrdump", str(served.folder / "package" / "dicom" / "report.dcm")], capture_output=True, text=True)
    lines = [line for line in said.stderr.splitlines() if "ISO_IR 192" not in line]
    assert said.returncode == 0 and not lines, lines


def arrived(served: Served, to: str) -> list[dict]:
    def all_done() -> list[dict] | None:
        rows = served.deliveries(to)
        return rows if rows and all(d["state"] in ("done", "withdrawn") for d in rows) else None

    try:
        return until(f"all is at {to}", all_done, 90)
    except AssertionError as e:
        raise AssertionError(f"{e}: {json.dumps(served.deliveries(to), indent=1)}\n{served.server.log.read_text()[-2000:]}") from e


@pytest.mark.parametrize("to", ["web", "archive"])
def test_they_are_sent_with_the_pictures_and_once(served: Served, objects: dict[str, Dataset], to: str) -> None:
    answer = served.send(to)
    assert answer["left_out"] == []
    rows = arrived(served, to)
    assert sorted(d["name"] for d in rows if d["kind"] == "derived") == sorted(f"{n}.dcm" for n in objects)
    assert sum(d["kind"] == "original" for d in rows) == 3
    want = "found by query" if to == "web" else "answers for it"
    assert all(want in d["why"] for d in rows)
    held = {str(d.SOPInstanceUID): d for d in served.archive.objects()}
    assert all(same(held[uid], d) for uid, d in served.originals.items())
    for name, d in objects.items():
        there = held[str(d.SOPInstanceUID)]
        assert there.SOPClassUID == d.SOPClassUID, name
        if "PixelData" in d:
            assert there.PixelData == d.PixelData
    served.send(to)
    time.sleep(1)
    assert [d["id"] for d in served.deliveries(to)] == [d["id"] for d in rows], "the same is not sent twice as new"
    assert not [line for line in served.server.get("/api/v1/day/closing")["left"] if "not sent" in line]


class Page(http.server.BaseHTTPRequestHandler):
    """A place on the web that answers what it is told to."""

    answers: list[tuple[int, bytes]] = []

    def answer(self) -> None:
        self.rfile.read(int(self.headers.get("content-length", 0)))
        if not Page.answers:
            self.close_connection = True
            return
        status, body = Page.answers.pop(0) if len(Page.answers) > 1 else Page.answers[0]
        self.send_response(status)
        self.send_header("content-type", "application/dicom+json")
        self.send_header("content-length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    do_POST = do_GET = answer  # noqa: N815

    def log_message(self, *_: object) -> None:
        pass


def test_a_web_peer_that_misbehaves_is_told_and_nothing_counts_as_there(served: Served) -> None:
    def told(word: str) -> list[dict]:
        return until(f"it says {word}", lambda: [d for d in served.deliveries("bad") if word in (d["why"] or "")], 30)

    served.send("bad")
    told("does not answer")
    page = http.server.ThreadingHTTPServer(("127.0.0.1", served.dead), Page)
    threading.Thread(target=page.serve_forever, daemon=True).start()
    try:
        for answers, word in (
            ([], "127.0.0.1"),
            ([(503, b"")], "503"),
            ([(200, b"<html>Welcome</html>")], "no DICOM JSON"),
            ([(200, b"{}")], "does not name the object"),
            ([(401, b"")], "refuses us"),
            ([(400, b"")], "400"),
        ):
            Page.answers = answers
            for d in served.deliveries("bad"):
                served.server.post(f"/api/v1/sending/{d['id']}/again", json.dumps({"who": "RK"}).encode())
            told(word)
        assert not [d for d in served.deliveries("bad") if d["state"] in ("done", "stored")]
    finally:
        page.shutdown()


def test_a_montage_stays_once_one_of_its_frames_is_set_aside(served: Served) -> None:
    placed = next(f["id"] for f in served.montage["frames"] if f["status"] == "placed")
    served.server.post(f"/api/v1/frames/{placed}/set-aside", json.dumps({"who": "RK", "reason": "moved"}).encode())
    place = served.folder / "without"
    done = serrata("handover", "--server", f"127.0.0.1:{served.server.port}", served.visit, "--to", place, "--who", "RK")
    assert done.code == 0, done.err
    names = {f.stem for f in (place / "dicom").iterdir()}
    assert "report" in names and not [n for n in names if n.startswith("montage")]
