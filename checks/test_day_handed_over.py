"""The whole invented day leaves the house: every visit to an archive over a wire that is cut, with the server killed meanwhile, and
every visit as a package of its own. Nothing is lost, nothing is there twice, and what was not handed over is named.

The archive is Orthanc (Debian); what it holds is read by pydicom; packages are proven by `serrata verify`.
"""

from __future__ import annotations

import hashlib
import io
import json
import pathlib

import pydicom
import pytest

from house import Server, serrata, until
from test_sending import Archive, Cuts, same


@pytest.fixture
def day(tmp_path: pathlib.Path):
    """The invented day, made once and served, with an archive behind a wire that breaks three times."""
    made = serrata("demo", "--dir", tmp_path / "day", "--size", 600, "--no-serve")
    assert made.code == 0, made.err
    config = tmp_path / "serrata.toml"
    server = Server(tmp_path / "day" / "data", tmp_path / "in", tmp_path / "log", "--config", str(config))
    archive = Archive(tmp_path / "archive", server.dicom_port)
    wire = Cuts(archive.port, [2_000_000, 300_000, 4_000_000])
    config.write_text(f'[[destination]]\nname = "archive"\naddress = "127.0.0.1:{wire.port}"\nae_title = "ARCHIVE"\nproof = "commitment"\nsilence_s = 3\n')
    server.start()
    yield server, archive, wire
    code = server.stop()
    wire.close()
    archive.stop()
    assert code == 0, server.log.read_text()


def in_originals(data: pathlib.Path) -> dict[str, bytes]:
    """Everything that came in, by its hash."""
    return {f.parent.name + f.name: f.read_bytes() for f in (data / "originals").rglob("*") if f.is_file()}


def visits(server: Server) -> dict[int, list[dict]]:
    """Visits that have frames, with them."""
    numbers = [v["id"] for v in server.get("/api/v1/day")["visits"] if v["frames"]]
    return {n: server.get(f"/api/v1/visits/{n}")["frames"] for n in sorted(numbers)}


def test_the_invented_day_arrives_at_an_archive_and_leaves_as_packages(day: tuple, tmp_path: pathlib.Path) -> None:
    server, archive, wire = day
    kept = in_originals(server.data)
    all_visits = visits(server)
    assert len(all_visits) >= 5 and sum(map(len, all_visits.values())) > 30, "a day of several patients and two dye runs"

    # To the archive: all visits queued at once, the server killed in the middle.
    queued = {n: server.post(f"/api/v1/visits/{n}/send", json.dumps({"who": "RK", "destination": "archive"}).encode()) for n in all_visits}
    until("the wire was cut", lambda: wire.cuts >= 2, 60)
    server.kill()
    server.start()

    def rows() -> list[dict]:
        return [d for n in all_visits for d in server.get(f"/api/v1/visits/{n}/sending")["deliveries"]]

    until("all has arrived", lambda: all(d["state"] == "done" for d in rows()), 240)
    assert wire.cuts == 3
    sent = {f for d in rows() for f in d["frames"]}
    left = {x["frame"] for a in queued.values() for x in a["left_out"]}
    everything = {f["id"] for frames in all_visits.values() for f in frames}
    assert sent | left == everything and not sent & left, "each frame is sent or named with its reason"

    # What the archive holds is what came in: the same elements of every object, each once.
    held = [archive.get(f"/instances/{i}/file") for i in archive.get("/instances")]
    ours = {str(d.SOPInstanceUID): d for d in (pydicom.dcmread(io.BytesIO(b)) for b in kept.values())}
    theirs = [pydicom.dcmread(io.BytesIO(b)) for b in held]
    assert len(theirs) == len({d.SOPInstanceUID for d in theirs}) == len(sent)
    assert all(same(d, ours[str(d.SOPInstanceUID)]) for d in theirs)

    # And each visit as a package that proves itself.
    for number, frames in all_visits.items():
        place = tmp_path / f"package-{number}"
        done = serrata("handover", "--server", f"127.0.0.1:{server.port}", number, "--to", place, "--who", "RK", "--json")
        assert done.code == 0, done.err
        proven = serrata("verify", place)
        assert proven.code == 0 and "nothing wrong" in proven.out, proven.out + proven.err
        packed = {hashlib.sha256(f.read_bytes()).hexdigest() for f in (place / "originals").rglob("*") if f.is_file()}
        handed = [f["id"] for f in frames if f["id"] not in left]
        wanted = {server.get(f"/api/v1/frames/{i}")["appraisal"]["sha256"] for i in handed}
        assert wanted == packed and wanted <= set(kept), "the originals of the visit, byte for byte"
    closing = server.get("/api/v1/day/closing")["left"]
    assert not [line for line in closing if "not sent" in line], closing
