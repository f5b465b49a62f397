"""Backup and verify: a copy is whole and can be served, and a spoiled byte is found.

Source: SHA-256 by Python's hashlib; SQLite's own `PRAGMA integrity_check` by Python's sqlite3.
"""

from __future__ import annotations

import hashlib
import sqlite3

import makers
from house import Server, serrata


def data_folder(tmp_path):
    """A data folder with three appraised frames; the server still runs."""
    house = Server(tmp_path / "data", tmp_path / "in", tmp_path / "log").start()
    hashes = set()
    for side in (300, 310, 320):
        picture = makers.png(makers.retina(side))
        house.post(f"/api/v1/files?name={side}.png", picture, "application/octet-stream")
        hashes.add(hashlib.sha256(picture).hexdigest())
    house.checked(hashes)
    return house, hashes


def test_a_backup_verifies_holds_every_original_and_can_be_served(tmp_path):
    house, hashes = data_folder(tmp_path)
    copy = tmp_path / "copy"
    assert house.stop() == 0
    answer = serrata("backup", copy, "--data", house.data)
    assert answer.code == 0, answer.err
    assert serrata("verify", copy).code == 0
    assert serrata("verify", house.data).code == 0
    for path in copy.rglob("*"):
        if path.is_file() and path.read_bytes()[:15] == b"SQLite format 3":
            with sqlite3.connect(path) as db:
                assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            db.close()
    found = {hashlib.sha256(p.read_bytes()).hexdigest() for p in copy.rglob("*") if p.is_file()}
    assert hashes <= found

    restored = Server(copy, tmp_path / "in2", tmp_path / "log2").start()
    try:
        restored.checked(hashes)
    finally:
        assert restored.stop() == 0


def test_a_backup_beside_a_running_server_is_whole_or_refused_in_one_sentence(tmp_path):
    house, _ = data_folder(tmp_path)
    copy = tmp_path / "copy"
    answer = serrata("backup", copy, "--data", house.data)
    assert house.healthy() and house.stop() == 0
    if answer.code == 0:
        assert serrata("verify", copy).code == 0
    else:
        assert answer.code == 1 and str(house.data) in answer.err and len(answer.err.strip().splitlines()) == 1
        assert not copy.exists() or list(copy.iterdir()) == []


def test_one_changed_byte_in_an_original_is_found(tmp_path):
    house, hashes = data_folder(tmp_path)
    assert house.stop() == 0
    victim = next(
        p for p in house.data.rglob("*") if p.is_file() and hashlib.sha256(p.read_bytes()).hexdigest() in hashes
    )
    data = bytearray(victim.read_bytes())
    data[len(data) // 2] ^= 1
    victim.chmod(0o600)
    victim.write_bytes(data)
    answer = serrata("verify", house.data)
    assert answer.code == 1
    assert victim.name.split(".")[0] in answer.out + answer.err


def test_one_missing_original_is_found(tmp_path):
    house, hashes = data_folder(tmp_path)
    assert house.stop() == 0
    victim = next(
        p for p in house.data.rglob("*") if p.is_file() and hashlib.sha256(p.read_bytes()).hexdigest() in hashes
    )
    victim.unlink()
    assert serrata("verify", house.data).code == 1


def test_a_fact_changed_behind_the_audit_trails_back_is_found(tmp_path):
    house, _ = data_folder(tmp_path)
    assert house.stop() == 0
    database = next(p for p in house.data.rglob("*") if p.is_file() and p.read_bytes()[:15] == b"SQLite format 3")
    with sqlite3.connect(database) as db:
        db.execute("DROP TRIGGER audit_stays")  # whoever would forge it would do the same
        done = db.execute("UPDATE audit SET body = replace(body, '{', '{\"x\":1,') WHERE seq = 1")
        assert done.rowcount > 0
    db.close()
    answer = serrata("verify", house.data)
    assert answer.code == 1 and "audit" in (answer.out + answer.err).lower()


def test_a_folder_that_is_no_data_folder_is_said_to_be_none(tmp_path):
    answer = serrata("verify", tmp_path / "nothing")
    assert answer.code == 1 and str(tmp_path / "nothing") in answer.err
