"""Intake by network and by folder, with dcmtk as the sender.

Source: DICOM PS3.4 annex B (storage) and PS3.7 §9.1 (C-STORE, C-ECHO); the peers are dcmtk 3.6.7's `echoscu`, `storescu`
and `dcmsend` out of Debian, which share no code with us.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import sqlite3
import subprocess
import time
import urllib.request

import numpy as np
import pydicom
import pytest
from PIL import Image
from pydicom.uid import generate_uid

import makers
from house import DCMSEND, STORESCU, Server, dicom_files, http_error, logged_as_stored, originals, until


def test_storescu_dcmsend_and_a_copy_into_the_folder_all_end_as_appraised_frames(server, tmp_path):
    study = generate_uid()
    visit = open_visit(server, study)
    by_storescu = [
        makers.save(makers.dicom(makers.retina(500), study=study, eye="L", kind=kind), tmp_path / f"a{i}.dcm")
        for i, kind in enumerate([makers.PHOTOGRAPH_OP8, makers.VL_PHOTOGRAPHIC, makers.SECONDARY_CAPTURE])
    ]
    by_dcmsend = [
        makers.save(makers.dicom(makers.retina(510), study=study, compressed=True), tmp_path / "b0.dcm"),
        makers.save(makers.dicom(makers.retina(520).convert("L"), study=study), tmp_path / "b1.dcm"),
    ]
    by_folder = tmp_path / "c.dcm"
    makers.save(makers.dicom(makers.retina(530), study=study, eye="L"), by_folder)

    # -R proposes only the contexts that are needed, one kind of object after another.
    for file in by_storescu:
        done = server.send(file, tool=STORESCU, options=("-R",))
        assert done.returncode == 0 and logged_as_stored(done.stdout + done.stderr) == [str(file)], done.stderr
    # -xy proposes JPEG baseline and uncompressed.
    done = server.send(by_dcmsend[0], tool=STORESCU, options=("-R", "-xy"))
    assert done.returncode == 0, done.stderr
    done = server.send(*by_dcmsend, tool=DCMSEND)
    assert done.returncode == 0 and done.stderr.count("Received C-STORE Response (Success)") + done.stdout.count(
        "Received C-STORE Response (Success)"
    ) == len(by_dcmsend), done.stderr
    shutil.copy(by_folder, server.watch / "copied.dcm")
    shutil.copy(makers.RETINA, server.watch / "picture.jpg")

    hash_of_picture = hashlib.sha256(makers.RETINA.read_bytes()).hexdigest()
    hash_of_copied = hashlib.sha256(by_folder.read_bytes()).hexdigest()
    server.checked({hash_of_picture, hash_of_copied})
    kept = originals(server.data)
    for file in [*by_storescu, *by_dcmsend, by_folder]:
        assert str(pydicom.dcmread(file).SOPInstanceUID) in kept, f"{file.name} is not among the originals"
    frames = server.checked(set(kept.values()) | {hash_of_picture})
    assert all(f["brief"]["state"] == "checked" and f["brief"]["verdict"] for f in frames)
    # All of the study are in its visit; the plain picture names no patient and waits.
    for f in frames:
        assert f["brief"]["visit_id"] == (visit if f["appraisal"]["sha256"] in kept.values() else None)


def open_visit(server: Server, study: str, patient_id: str = "H-1001") -> int:
    """Opens a visit as the page does, and gives its id."""
    body = {
        "patient_id": patient_id, "patient_name": "Probe^Ada", "birth_date": "1961-03-07",
        "protocol": "first-look", "study_uid": study,
    }  # fmt: skip
    return server.post("/api/v1/visits", json.dumps(body).encode())["ids"][0]


def test_a_frame_of_the_right_study_with_another_patients_number_waits_under_unassigned(server, tmp_path):
    study = generate_uid()
    open_visit(server, study)
    file = makers.save(makers.dicom(makers.retina(300), study=study, patient_id="H-2002"), tmp_path / "x.dcm")
    assert server.send(file, options=("-R",)).returncode == 0
    server.checked(set(originals(server.data).values()))
    (waiting,) = server.get("/api/v1/unassigned")["frames"]
    assert "another patient" in waiting["why"]


def test_a_request_that_names_another_machine_or_comes_from_another_page_is_refused(server):
    """DNS rebinding and cross-site requests: a server on loopback is still reachable by every page of the browser."""
    foreign = [
        urllib.request.Request(server.url("/api/v1/day"), headers={"Host": "clinic.example"}),
        urllib.request.Request(
            server.url("/api/v1/files?name=x.jpg"), data=b"x", headers={"Origin": "http://evil.example"}, method="POST"
        ),
    ]
    for request in foreign:
        error = http_error(lambda request=request: urllib.request.urlopen(request, timeout=10))
        assert error["schema"] == "serrata.error/1" and error["code"] == "forbidden"
    assert server.frame_ids() == set()


def test_the_pixels_that_dcmtk_sent_are_the_pixels_that_are_kept(server, tmp_path):
    file = makers.save(makers.dicom(makers.retina(333)), tmp_path / "odd.dcm")
    assert server.send(file, options=("-R",)).returncode == 0
    uid = str(pydicom.dcmread(file).SOPInstanceUID)
    server.checked({originals(server.data)[uid]})
    (kept,) = dicom_files(server.data)
    assert pydicom.dcmread(kept).pixel_array.tobytes() == pydicom.dcmread(file).pixel_array.tobytes()


def test_verification_is_answered(server):
    done = subprocess.run(
        ["/usr/bin/echoscu", "-v", "-aec", "SERRATA", "127.0.0.1", str(server.dicom_port)],
        capture_output=True, text=True, check=False, timeout=30,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def test_the_same_object_twice_is_one_original_and_other_bytes_under_its_uid_are_kept_beside_it(server, tmp_path):
    first = makers.dicom(makers.retina(200))
    twin = makers.dicom(makers.disc(200))
    twin.SOPInstanceUID = twin.file_meta.MediaStorageSOPInstanceUID = first.SOPInstanceUID
    a, b = makers.save(first, tmp_path / "a.dcm"), makers.save(twin, tmp_path / "b.dcm")
    for file in (a, a, b):
        assert server.send(file, options=("-R",)).returncode == 0
    until("both originals are kept", lambda: len(list(dicom_files(server.data))) == 2)
    server.checked({hashlib.sha256(p.read_bytes()).hexdigest() for p in dicom_files(server.data)})


def test_a_file_that_still_grows_is_read_once_it_is_whole(server):
    whole = makers.RETINA.read_bytes()
    target = server.watch / "slow.jpg"
    with open(target, "wb") as file:
        for at in range(0, len(whole), len(whole) // 6):
            file.write(whole[at : at + len(whole) // 6])
            file.flush()
            time.sleep(0.7)
    server.checked({hashlib.sha256(whole).hexdigest()})
    assert len(server.frame_ids()) == 1, "no half of it became a frame"


def test_a_file_renamed_into_place_and_a_duplicate_under_another_name(server, tmp_path):
    half = tmp_path / "upload.part"
    half.write_bytes(makers.RETINA.read_bytes())
    os.replace(half, server.watch / "renamed.jpg") if half.stat().st_dev == server.watch.stat().st_dev else shutil.move(
        half, server.watch / "renamed.jpg"
    )
    sha = hashlib.sha256(makers.RETINA.read_bytes()).hexdigest()
    server.checked({sha})
    shutil.copy(makers.RETINA, server.watch / "again.jpg")
    time.sleep(8)
    assert len(server.frame_ids()) == 1, "the same picture is one frame"


def test_a_broken_file_in_the_folder_is_shown_with_its_reason_and_does_not_stop_the_next(server):
    (server.watch / "a_empty.jpg").write_bytes(b"")
    (server.watch / "b_cut.jpg").write_bytes(makers.RETINA.read_bytes()[:60_000])
    shutil.copy(makers.RETINA, server.watch / "c_good.jpg")
    server.checked({hashlib.sha256(makers.RETINA.read_bytes()).hexdigest()})
    failed = until(
        "the cut file is shown as failed",
        lambda: [f for f in server.frames() if f["brief"]["state"] == "failed"],
    )
    assert all(f["error"]["message"] and f["error"]["remedy"] for f in failed)
    assert server.healthy()


def test_a_class_that_is_not_kept_is_refused_and_never_told_as_stored(server, tmp_path):
    file = makers.save(makers.dicom(makers.disc(32), kind="1.2.840.10008.5.1.4.1.1.128"), tmp_path / "other.dcm")
    done = server.send(file, options=("-R",))
    assert done.returncode != 0 and logged_as_stored(done.stdout + done.stderr) == []


def test_an_object_without_a_picture_is_never_lost_once_it_is_told_as_stored(server, tmp_path):
    file = makers.save(makers.dicom(makers.disc(32), pixels=False), tmp_path / "none.dcm")
    done = server.send(file, options=("-R",))
    if logged_as_stored(done.stdout + done.stderr):
        assert len(list(dicom_files(server.data))) == 1
        until("it is shown as failed", lambda: [f for f in server.frames() if f["brief"]["state"] == "failed"])


def test_a_second_instance_on_the_same_data_folder_is_refused(server, tmp_path):
    second = Server(server.data, tmp_path / "in2", tmp_path / "log2")
    second.watch.mkdir()
    done = subprocess.run(second.command(), capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 1
    assert len(done.stderr.strip().splitlines()) == 1 and str(server.data) in done.stderr, done.stderr
    assert server.healthy()


@pytest.mark.parametrize("which", ["port", "dicom_port"])
def test_a_port_that_is_taken_is_named(server, tmp_path, which):
    second = Server(tmp_path / "data2", tmp_path / "in2", tmp_path / "log2")
    second.watch.mkdir()
    setattr(second, which, getattr(server, which))
    done = subprocess.run(second.command(), capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 1
    assert len(done.stderr.strip().splitlines()) == 1 and str(getattr(server, which)) in done.stderr, done.stderr


def test_data_of_a_newer_version_is_refused_and_left_as_it_is(tmp_path):
    house = Server(tmp_path / "data", tmp_path / "in", tmp_path / "log").start()
    assert house.stop() == 0
    database = next(p for p in house.data.rglob("*") if p.is_file() and p.read_bytes()[:15] == b"SQLite format 3")
    with sqlite3.connect(database) as db:
        make_newer(db)
    db.close()
    done = subprocess.run(house.command(), capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 1
    assert "newer" in done.stderr and str(house.data) in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def make_newer(db: sqlite3.Connection) -> None:
    """Writes a version that no program of today knows."""
    db.execute("PRAGMA user_version = 9999")


@pytest.mark.skipif(os.geteuid() != 0, reason="a small disk of its own needs root: the full-disk check did not run")
def test_a_full_disk_refuses_instead_of_losing(tmp_path):
    """An 8 MiB file system: what is told as stored is there, the rest is refused, and the server lives on."""
    disk = tmp_path / "disk"
    disk.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=8m", "none", str(disk)], check=True)
    house = Server(disk / "data", tmp_path / "in", tmp_path / "log")
    try:
        house.start()
        made = makers.objects(tmp_path / "many", 40, side=400)  # 480 kB each: 19 MB
        stored = []
        for file in made.values():
            done = house.send(file, options=("-R",))
            stored += logged_as_stored(done.stdout + done.stderr)
            assert house.healthy()
        assert 0 < len(stored) < 40
        kept = originals(house.data)
        uid_of = {str(path): uid for uid, path in made.items()}
        assert all(uid_of[path] in kept for path in stored)
    finally:
        house.stop()
        subprocess.run(["umount", "-l", str(disk)], check=True)


def test_pictures_dropped_on_the_page_are_frames(server):
    answer = server.post("/api/v1/files?name=dropped.jpg", makers.RETINA.read_bytes(), "application/octet-stream")
    assert len(answer["frames"]) == 1
    server.checked({hashlib.sha256(makers.RETINA.read_bytes()).hexdigest()})


def test_the_station_listens_on_loopback_only_unless_told(tmp_path):
    """Any other address needs accounts and TLS, which there are none of yet: refused in one sentence."""
    house = Server(tmp_path / "data", tmp_path / "in", tmp_path / "log")
    house.watch.mkdir()
    command = [word.replace(f"127.0.0.1:{house.port}", f"0.0.0.0:{house.port}") for word in house.command()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode in (1, 2) and done.stderr.strip()


def test_an_image_survives_the_way_through(server):
    """The page's picture of a frame is the frame: compared with Pillow's own reduction of the file."""
    answer = server.post("/api/v1/files?name=retina.jpg", makers.RETINA.read_bytes(), "application/octet-stream")
    server.checked({hashlib.sha256(makers.RETINA.read_bytes()).hexdigest()})
    with urllib.request.urlopen(server.url(f"/api/v1/frames/{answer['frames'][0]}/picture?longest=400")) as reply:
        shown = Image.open(io.BytesIO(reply.read())).convert("RGB")
    assert 200 <= max(shown.size) <= 400 and shown.width == shown.height
    mine = makers.retina().resize(shown.size, Image.Resampling.BOX)
    difference = np.abs(np.asarray(shown, float) - np.asarray(mine, float)).mean()
    assert difference < 6
