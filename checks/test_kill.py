"""kill -9 in the middle of 200 incoming objects: nothing that the sender was told is stored may be missing.

The sender's own log (dcmtk's `storescu -v`) is the witness, not ours.
"""

from __future__ import annotations

import subprocess
import time

import pytest

import makers
from house import STORESCU, Server, logged_as_stored, originals

OBJECTS = 200


@pytest.mark.parametrize("after", [25, 110])
def test_every_object_whose_success_the_sender_logged_is_there_and_appraised_after_kill_9(tmp_path, after):
    made = makers.objects(tmp_path / "many", OBJECTS)
    files = [str(p) for p in made.values()]
    house = Server(tmp_path / "data", tmp_path / "in", tmp_path / "log").start()

    # Two senders at once, so that the blow falls on several half-received objects.
    logs = [tmp_path / f"sender{i}.log" for i in range(2)]
    senders = []
    for i, log in enumerate(logs):
        with open(log, "wb") as out:
            command = [STORESCU, "-v", "-R", "-aec", "SERRATA", "127.0.0.1", str(house.dicom_port), *files[i::2]]
            senders.append(subprocess.Popen(command, stdout=out, stderr=out))

    def stored() -> list[str]:
        return [file for log in logs for file in logged_as_stored(log.read_text(errors="replace"))]

    end = time.monotonic() + 120
    while len(stored()) < after and time.monotonic() < end:
        time.sleep(0.005)
    house.kill()
    for sender in senders:
        sender.wait(60)
    told = stored()
    assert after <= len(told) < OBJECTS, f"{len(told)} were stored: the blow did not fall in the middle"

    house.start()
    kept = originals(house.data)
    uid_of = {str(path): uid for uid, path in made.items()}
    missing = [file for file in told if uid_of[file] not in kept]
    assert missing == []
    frames = house.checked({kept[uid_of[file]] for file in told}, seconds=300)
    assert all(f["brief"]["state"] == "checked" for f in frames)

    # The rest can be sent again, and then all 200 are there, each once.
    rest = [file for file in files if file not in told]
    done = house.send(*rest, options=("-R",))
    assert done.returncode == 0, done.stderr
    kept = originals(house.data)
    assert set(kept) == set(made)
    house.checked(set(kept.values()), seconds=300)
    assert house.stop() == 0
