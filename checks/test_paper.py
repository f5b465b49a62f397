"""The imaging record: read back by poppler's pdftotext and pdfinfo, looked for what a reader must find on its first lines."""

from __future__ import annotations

import json
import pathlib
import subprocess

import pytest
from PIL import Image
from pydicom.uid import generate_uid

import makers
from house import Server, http_error, serrata, until

STUDY = generate_uid()
PATIENT = ("INV-52", "Marrowfat^Ines", "19480806")


@pytest.fixture(scope="module")
def visit(house: Server, tmp_path_factory: pytest.TempPathFactory) -> int:
    folder = tmp_path_factory.mktemp("made")
    new = {"patient_id": PATIENT[0], "patient_name": PATIENT[1], "birth_date": "1948-08-06", "study_uid": STUDY, "protocol": "first-look"}
    number = house.post("/api/v1/visits", json.dumps(new).encode())["ids"][0]
    sent = []
    for k, eye in enumerate("RL"):
        made = serrata("phantom", "frame", "--seed", 71, "--shot", k, "--eye", eye, "--size", 900, "-o", folder / str(k))
        assert made.code == 0, made.err
        picture = Image.open(next((folder / str(k)).glob("*.png"))).convert("RGB")
        d = makers.dicom(picture, patient_id=PATIENT[0], name=PATIENT[1], study=STUDY, eye=eye)
        d.PatientBirthDate, d.ImageType = PATIENT[2], ["ORIGINAL", "PRIMARY", "", "COLOR"]
        sent.append(makers.save(d, folder / f"{k}.dcm"))
    assert house.send(*sent, options=("-R",)).returncode == 0
    until("all are checked", lambda: house.get("/api/v1/day")["waiting"] == 0, 120)
    view = next(v["name"] for v in house.get(f"/api/v1/visits/{number}")["views"] if v["state"] == "due")
    for fact in [
        {"kind": "view_ended", "view": view, "end": "not_obtainable", "why": "declined"},
        {"kind": "remarked", "text": "Hearing aid on the left"},
    ]:
        house.post(f"/api/v1/visits/{number}/facts", json.dumps({"who": "RK", "fact": fact}).encode())
    return number


def paper(house: Server, visit: int, to: pathlib.Path):  # noqa: ANN201
    return serrata("visit", "--server", f"127.0.0.1:{house.port}", "paper", visit, "--to", to, "--who", "RK")


def text(path: pathlib.Path) -> str:
    return subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True).stdout


def test_what_could_not_be_done_stands_on_the_first_lines(house: Server, visit: int, tmp_path: pathlib.Path) -> None:
    place = tmp_path / "record.pdf"
    done = paper(house, visit, place)
    assert done.code == 0, done.err
    said = text(place)
    top = "\n".join(said.splitlines()[:14])
    assert "Marrowfat" in top and "INV-52" in top and "06 Aug 1948" in top
    assert "Not there, and why" in top and "not obtainable" in top and "declined" in top.lower()
    for part in ["What was ordered, and how each view was met", "Right eye (OD)", "Left eye (OS)", "Who did what", "no diagnosis", "left to the reader",
                 "Hearing aid on the left (RK)"]:  # fmt: skip
        assert part in " ".join(said.split()), part
    assert paper(house, visit, place).code == 1, "a paper that is there is not written over"


def test_it_is_a_pdf_for_the_archive_and_short(house: Server, visit: int, tmp_path: pathlib.Path) -> None:
    place = tmp_path / "record.pdf"
    assert paper(house, visit, place).code == 0
    info = subprocess.run(["pdfinfo", place], capture_output=True, text=True, check=True).stdout
    pages = int(next(line.split()[-1] for line in info.splitlines() if line.startswith("Pages")))
    assert pages == 1 and "Encrypted:       no" in info and "Tagged:          yes" in info
    data = place.read_bytes()
    # What PDF/A-2 asks for, as its own metadata and output intent say it (ISO 19005-2, from memory).
    assert b"pdfaid:part" in data and b"OutputIntent" in data and b"/JavaScript" not in data
    fonts = subprocess.run(["pdffonts", place], capture_output=True, text=True, check=True).stdout.splitlines()[2:]
    assert fonts and all(line.split()[-5] == "yes" for line in fonts), "every face is embedded"


def test_names_of_other_scripts_are_set_or_refused_never_boxes(house: Server, tmp_path: pathlib.Path) -> None:
    def named(name: str, number: str) -> int:
        new = {"patient_id": number, "patient_name": name, "birth_date": "1950-01-01", "study_uid": generate_uid(), "protocol": "first-look"}
        return house.post("/api/v1/visits", json.dumps(new).encode())["ids"][0]

    place = tmp_path / "greek.pdf"
    assert paper(house, named("Ωραία^Ñandú Čapek", "INV-60"), place).code == 0
    assert "Ωραία" in text(place) and "Čapek" in text(place)
    # A character that no face can have: for private use.
    said = paper(house, named("Odd^\U0010fffd", "INV-61"), tmp_path / "odd.pdf")
    assert said.code == 1 and "no font on this machine has the character" in said.err and not (tmp_path / "odd.pdf").exists()
    japanese = paper(house, named("山田^花子", "INV-62"), tmp_path / "japanese.pdf")
    if japanese.code == 0:
        assert "山田" in text(tmp_path / "japanese.pdf")
    else:
        assert "no font" in japanese.err and "install" in japanese.err


def test_a_template_of_the_clinics_own(tmp_path: pathlib.Path) -> None:
    (tmp_path / "own.typ").write_text('#let d = json("/data.json")\n#set document(title: "Ours", author: "Us")\nOur own: #d.patient.name')
    (tmp_path / "broken.typ").write_text("fine\n#nothing()\n")
    for name, code in [("own", 0), ("broken", 1), ("missing", None)]:
        (tmp_path / f"{name}.toml").write_text(f'paper_template = "{tmp_path / name}.typ"\n')
        at = tmp_path / name
        at.mkdir()
        if code is None:
            said = serrata("serve", "--data", at / "data", "--config", tmp_path / f"{name}.toml")
            assert said.code == 1 and "template cannot be read" in said.err
            continue
        house = Server(at / "data", at / "in", at / "log", "--config", str(tmp_path / f"{name}.toml")).start()
        try:
            new = {"patient_id": "INV-1", "patient_name": "Fig^Olu", "birth_date": "1950-01-01", "study_uid": generate_uid(), "protocol": "first-look"}
            number = house.post("/api/v1/visits", json.dumps(new).encode())["ids"][0]
            done = paper(house, number, at / "record.pdf")
            assert done.code == code, done.err
            if code == 0:
                assert text(at / "record.pdf").split() == ["Our", "own:", "Fig", "Olu"]
            else:
                assert "line 2" in done.err and "nothing" in done.err
        finally:
            house.stop()


def test_wishes_that_make_no_sense_are_refused(house: Server) -> None:
    assert http_error(lambda: house.get("/api/v1/visits/999/record.pdf?who=RK"))["code"] == "not_found"
    assert http_error(lambda: house.get("/api/v1/visits/1/record.pdf?who="))["remedy"]
