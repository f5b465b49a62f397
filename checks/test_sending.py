"""A visit sent by DICOM: to an archive that answers for it, through a network that is cut, with a server that is killed; and to
peers that refuse, accept half, hang, hang up or warn. What the API says of each file is true at every moment.

Peers from outside: Orthanc (Debian), dcmtk's storescp, and pynetdicom for what no well-behaved peer does.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import pathlib
import socket
import subprocess
import threading
import time
import urllib.request

import pydicom
import pytest
from PIL import Image
from pydicom.dataset import Dataset
from pydicom.uid import generate_uid
from pynetdicom import AE, ALL_TRANSFER_SYNTAXES, AllStoragePresentationContexts, evt
from pynetdicom.sop_class import StorageCommitmentPushModel

import makers
from house import STORESCP, Server, free_port, http_error, serrata, until

ORTHANC = "/usr/sbin/Orthanc"
PATIENT = ("INV-31", "Quillfeather^Osk", "19660214")


class Cuts:
    """A wire to a peer that breaks after so many bytes, once for each number given; then it holds."""

    def __init__(self, port: int, after: list[int]):
        self.to, self.after, self.cuts = port, list(after), 0
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        threading.Thread(target=self.serve, daemon=True).start()

    def serve(self) -> None:
        while True:
            try:
                near, _ = self.listener.accept()
            except OSError:
                return
            threading.Thread(target=self.carry, args=(near,), daemon=True).start()

    def carry(self, near: socket.socket) -> None:
        far = socket.create_connection(("127.0.0.1", self.to))
        left = [self.after.pop(0)] if self.after else [None]

        def pump(a: socket.socket, b: socket.socket, counted: bool) -> None:
            while True:
                try:
                    piece = a.recv(65536)
                    if counted and left[0] is not None:
                        left[0] -= len(piece)
                        if left[0] < 0:
                            self.cuts += 1
                            piece = b""
                    if not piece:
                        break
                    b.sendall(piece)
                except OSError:
                    break
            for s in (a, b):
                try:
                    s.shutdown(socket.SHUT_RDWR)
                except OSError:
                    pass

        threading.Thread(target=pump, args=(far, near, False), daemon=True).start()
        pump(near, far, True)

    def close(self) -> None:
        self.listener.close()


class Archive:
    """Orthanc on free loopback ports, with an empty store. It opens an association of its own to answer for what it has."""

    def __init__(self, folder: pathlib.Path, ours: int, web: bool = False):
        self.port, self.http = free_port(), free_port()
        folder.mkdir()
        config = {
            "StorageDirectory": str(folder / "store"), "IndexDirectory": str(folder / "store"), "DicomAet": "ARCHIVE",
            "DicomPort": self.port, "HttpPort": self.http, "RemoteAccessAllowed": False, "AuthenticationEnabled": False,
            "DicomAlwaysAllowStore": True, "DicomAlwaysAllowFind": True, "UnknownSopClassAccepted": True,
            "Plugins": ["/usr/share/orthanc/plugins/libOrthancDicomWeb.so"] if web else [],
            "DicomWeb": {"Enable": web, "Root": "/dicom-web/"},
            "DicomModalities": {"ours": ["SERRATA", "127.0.0.1", ours]},
        }  # fmt: skip
        (folder / "orthanc.json").write_text(json.dumps(config))
        log = open(folder / "log", "wb")
        self.process = subprocess.Popen([ORTHANC, folder / "orthanc.json"], stdout=log, stderr=log)
        until("the archive is ready", self.ready, 60)

    def ready(self) -> bool:
        assert self.process.poll() is None, "the archive stopped"
        try:
            return bool(self.get("/system"))
        except OSError:
            return False

    def get(self, path: str):  # noqa: ANN201
        with urllib.request.urlopen(f"http://127.0.0.1:{self.http}{path}", timeout=30) as reply:
            data = reply.read()
        return json.loads(data) if path.split("/")[-1] != "file" else data

    def objects(self) -> list[Dataset]:
        return [pydicom.dcmread(io.BytesIO(self.get(f"/instances/{i}/file"))) for i in self.get("/instances")]

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(30)


class House:
    """A server with a visit of some pictures, one of them set aside, and a config that names its destinations."""

    def __init__(self, folder: pathlib.Path):
        self.folder, self.destinations = folder, {}
        self.config = folder / "serrata.toml"
        self.config.write_text("")
        self.server = Server(folder / "data", folder / "in", folder / "log", "--config", str(self.config))

    def names(self, name: str, port: int, proof: str = "commitment", silence: int = 3, title: str = "ARCHIVE") -> None:
        self.destinations[name] = f'[[destination]]\nname = "{name}"\naddress = "127.0.0.1:{port}"\nae_title = "{title}"\nproof = "{proof}"\nsilence_s = {silence}\n'
        self.config.write_text("".join(self.destinations.values()))

    def visit(self, pictures: int = 4) -> dict:
        study = generate_uid()
        new = {"patient_id": PATIENT[0], "patient_name": PATIENT[1], "birth_date": "1966-02-14", "study_uid": study}
        number = self.server.post("/api/v1/visits", json.dumps({**new, "protocol": "first-look"}).encode())["ids"][0]
        sent = []
        for k in range(pictures):
            picture = Image.effect_noise((600, 600), 30 + k).convert("RGB")
            d = makers.dicom(picture, patient_id=PATIENT[0], name=PATIENT[1], study=study, eye="RL"[k % 2])
            d.PatientBirthDate, d.ImageType = PATIENT[2], ["ORIGINAL", "PRIMARY", "", "COLOR"]
            d.AcquisitionDateTime = f"202603020915{k:02}+0000"
            sent.append(makers.save(d, self.folder / f"{study}.{k}.dcm"))
        done = self.server.send(*sent, options=("-R",))
        assert done.returncode == 0, done.stderr
        frames = self.server.get(f"/api/v1/visits/{number}")["frames"]
        aside = min(f["id"] for f in frames)
        self.server.post(f"/api/v1/frames/{aside}/set-aside", json.dumps({"who": "RK", "reason": "a better one"}).encode())
        return {"id": number, "aside": aside, "frames": {f["id"] for f in frames} - {aside}, "files": sent}

    def queue(self, visit: dict, to: str) -> dict:
        return self.server.post(f"/api/v1/visits/{visit['id']}/send", json.dumps({"who": "RK", "destination": to}).encode())

    def deliveries(self, visit: dict, to: str) -> list[dict]:
        all_of = self.server.get(f"/api/v1/visits/{visit['id']}/sending")["deliveries"]
        return [d for d in all_of if d["destination"] == to]

    def until_all(self, visit: dict, to: str, state: str, seconds: float = 60) -> list[dict]:
        def there() -> list[dict] | None:
            all_of = self.deliveries(visit, to)
            return all_of if all_of and all(d["state"] == state for d in all_of) else None

        try:
            return until(f"all {state}", there, seconds)
        except AssertionError as e:
            raise AssertionError(f"{e}: {json.dumps(self.deliveries(visit, to), indent=1)}\n{self.server.log.read_text()[-2000:]}") from e

    def unsent(self, visit: dict) -> list[str]:
        return [line for line in self.server.get("/api/v1/day/closing")["left"] if "not sent" in line]


@pytest.fixture
def house(tmp_path: pathlib.Path):
    made = House(tmp_path)
    yield made
    assert made.server.stop() == 0, made.server.log.read_text()


@pytest.fixture
def archive(house: House, tmp_path: pathlib.Path):
    made = Archive(tmp_path / "archive", house.server.dicom_port)
    yield made
    made.stop()


def same(a: Dataset, b: Dataset) -> bool:
    """Whether two data sets are the same, their file's own header aside."""
    return {e.tag: e.value for e in a} == {e.tag: e.value for e in b}


def test_a_visit_arrives_though_the_wire_is_cut_and_the_server_killed(house: House, archive: Archive) -> None:
    # Cut in the middle of the second object, then in the middle of an answer's wait, then at once.
    wire = Cuts(archive.port, [1_600_000, 500_000, 0])
    house.names("archive", wire.port)
    house.server.start()
    visit = house.visit(8)
    assert house.unsent(visit)
    answer = house.queue(visit, "archive")
    assert [(x["frame"], x["reason"]) for x in answer["left_out"]] == [(visit["aside"], "set aside: a better one")]
    until("the wire was cut", lambda: wire.cuts >= 2, 30)
    # Not one counts as sent before the archive has answered for it.
    states = {d["state"] for d in house.deliveries(visit, "archive")}
    assert "done" not in states and house.unsent(visit)
    assert any(d["why"] and "127.0.0.1" in d["why"] for d in house.deliveries(visit, "archive"))
    house.server.kill()
    house.server.start()
    done = house.until_all(visit, "archive", "done", 120)
    assert all("answers for it" in d["why"] for d in done)
    assert {f for d in done for f in d["frames"]} == visit["frames"]
    assert not house.unsent(visit)
    kept = {str(d.SOPInstanceUID): d for d in map(pydicom.dcmread, visit["files"])}
    got = archive.objects()
    assert len(got) == 7 == len({d.SOPInstanceUID for d in got}), "nothing is lost, nothing is there twice"
    assert all(same(d, kept[str(d.SOPInstanceUID)]) for d in got)
    # Sent again it stays as it is; the record names each step.
    before = len(archive.get("/changes?limit=1000")["Changes"])
    house.queue(visit, "archive")
    time.sleep(1)
    assert {d["state"] for d in house.deliveries(visit, "archive")} == {"done"}
    assert len(archive.get("/changes?limit=1000")["Changes"]) == before
    assert "nothing wrong" in serrata("verify", house.server.data).out
    wire.close()


def test_a_peer_without_commitment_is_asked_by_query(house: House, archive: Archive) -> None:
    house.names("reader", archive.port, proof="query")
    house.server.start()
    visit = house.visit(3)
    said = serrata("handover", "--server", f"127.0.0.1:{house.server.port}", visit["id"], "--to", "reader", "--who", "RK", "--json")
    assert said.code == 0, said.err
    assert said.lines[0]["arrived"] == 2 and said.lines[0]["open"] == [] and said.lines[0]["left_out"] == 1
    assert all("found by query" in d["why"] for d in house.deliveries(visit, "reader"))


def test_what_only_stores_is_never_told_as_arrived(house: House, tmp_path: pathlib.Path) -> None:
    port = free_port()
    (tmp_path / "got").mkdir()
    storescp = subprocess.Popen([STORESCP, "-od", tmp_path / "got", "+xa", str(port)])
    try:
        house.names("disk", port)
        house.server.start()
        visit = house.visit(3)
        house.queue(visit, "disk")
        house.until_all(visit, "disk", "stored")
        until("it says why", lambda: all("commitment" in (d["why"] or "") for d in house.deliveries(visit, "disk")), 30)
        assert len(list((tmp_path / "got").iterdir())) == 2
        assert house.unsent(visit), "stored is not arrived"
        said = serrata("handover", "--server", f"127.0.0.1:{house.server.port}", visit["id"], "--to", "disk", "--who", "RK", "--wait", 1)
        assert said.code == 1 and "has not arrived" in said.err and "commitment" in said.err
    finally:
        storescp.kill()


class Peer:
    """A peer of pynetdicom that does to each object what `behave` says."""

    def __init__(self, behave, commit=None, title: str = "ARCHIVE"):  # noqa: ANN001
        self.port, self.seen, self.question = free_port(), [], None
        self.commit = commit
        ae = AE(title)
        ae.require_called_aet = True
        for context in AllStoragePresentationContexts:
            ae.add_supported_context(context.abstract_syntax, ALL_TRANSFER_SYNTAXES)
        if commit:
            ae.add_supported_context(StorageCommitmentPushModel)

        def stored(event):  # noqa: ANN001, ANN202
            self.seen.append(str(event.request.AffectedSOPInstanceUID))
            return behave(event, len(self.seen))

        def asked(event):  # noqa: ANN001, ANN202
            self.question = event.action_information
            return 0x0000, None

        handlers = [(evt.EVT_C_STORE, stored), (evt.EVT_N_ACTION, asked)]
        self.server = ae.start_server(("127.0.0.1", self.port), block=False, evt_handlers=handlers)

    def report(self, port: int, failed: list[str], transaction: str | None = None) -> int:
        """Answers for what was asked, but for some, over an association of its own; gives the status that came back."""
        # The question is kept as asked before it leaves, so it may come a moment later.
        until("the question came", lambda: self.question, 10)
        event = Dataset()
        event.TransactionUID = transaction or self.question.TransactionUID
        named = {str(i.ReferencedSOPInstanceUID): i for i in self.question.ReferencedSOPSequence}
        event.ReferencedSOPSequence = [i for uid, i in named.items() if uid not in failed]
        if failed:
            event.FailedSOPSequence = []
            for uid in failed:
                item = Dataset()
                item.update(named[uid])
                item.FailureReason = 0x0112
                event.FailedSOPSequence.append(item)
        from pynetdicom import build_role

        ae = AE("ARCHIVE")
        ae.add_requested_context(StorageCommitmentPushModel)
        assoc = ae.associate("127.0.0.1", port, ext_neg=[build_role(StorageCommitmentPushModel, scp_role=True)])
        assert assoc.is_established
        status, _ = assoc.send_n_event_report(event, 2 if failed else 1, StorageCommitmentPushModel, "1.2.840.10008.1.20.1.1")
        assoc.release()
        return status.Status

    def stop(self) -> None:
        self.server.shutdown()


def with_comment(status: int, comment: str) -> Dataset:
    d = Dataset()
    d.Status, d.ErrorComment = status, comment
    return d


def test_an_answer_by_an_association_of_its_own_and_half_of_it_no(house: House) -> None:
    peer = Peer(lambda _event, _n: 0x0000, commit=True)
    house.names("archive", peer.port)
    house.server.start()
    visit = house.visit(4)
    house.queue(visit, "archive")
    house.until_all(visit, "archive", "asked")
    lost = peer.seen[1]
    assert peer.report(house.server.dicom_port, [], transaction=generate_uid()) == 0xC000, "nobody asked under that number"
    assert peer.report(house.server.dicom_port, [lost]) == 0x0000
    states = sorted(d["state"] for d in house.deliveries(visit, "archive"))
    assert states.count("done") == 2
    # What it does not have is sent again, and asked again.
    until("it came again", lambda: peer.seen.count(lost) == 2, 30)
    until("it was asked again", lambda: len(peer.question.ReferencedSOPSequence) == 1, 30)
    until("all others are left alone", lambda: any(d["state"] == "asked" for d in house.deliveries(visit, "archive")), 10)
    assert peer.report(house.server.dicom_port, []) == 0x0000
    house.until_all(visit, "archive", "done")
    assert all(peer.seen.count(uid) == 1 for uid in set(peer.seen) - {lost})
    peer.stop()


def slow(_event, _n) -> int:  # noqa: ANN001
    time.sleep(6)
    return 0x0000


def hang_up(event, n: int) -> int:  # noqa: ANN001
    if n == 1:
        event.assoc.abort()
    return 0x0000


@pytest.mark.parametrize(
    ("name", "behave", "state", "says"),
    [
        ("no room", lambda _e, _n: with_comment(0xA700, "disk full"), "waiting", "status A700: disk full"),
        ("will not", lambda _e, _n: with_comment(0xC000, "no such thing"), "failed", "status C000: no such thing"),
        ("hangs", slow, "waiting", "was silent for 3 s"),
    ],
)
def test_peers_that_do_not_take_it(house: House, name: str, behave, state: str, says: str) -> None:  # noqa: ANN001
    peer = Peer(behave, commit=True)
    house.names("archive", peer.port)
    house.server.start()
    visit = house.visit(2)
    house.queue(visit, "archive")
    until(name, lambda: says in json.dumps(house.deliveries(visit, "archive")), 30)
    line = house.deliveries(visit, "archive")[0]
    assert line["state"] == state and line["tries"] >= 1
    board = house.server.get("/api/v1/sending")
    assert [d["id"] for d in board["deliveries"]] == [line["id"]]
    assert ("could not be sent" in board["sentence"]) == (state == "failed")
    assert house.unsent(visit)
    peer.stop()


def test_a_warning_counts_as_stored_and_a_peer_that_hangs_up_gets_it_again(house: House) -> None:
    peer = Peer(lambda e, n: hang_up(e, n) or 0xB000, commit=True)
    house.names("archive", peer.port)
    house.server.start()
    visit = house.visit(3)
    house.queue(visit, "archive")
    house.until_all(visit, "archive", "asked")
    assert peer.report(house.server.dicom_port, []) == 0x0000
    house.until_all(visit, "archive", "done")
    assert len(set(peer.seen)) == 2 and len(peer.seen) == 3
    peer.stop()


def test_another_name_is_refused_in_a_sentence_and_tried_again_at_a_touch(house: House) -> None:
    peer = Peer(lambda _e, _n: 0x0000, commit=True, title="OTHER")
    house.names("archive", peer.port)
    house.server.start()
    visit = house.visit(2)
    house.queue(visit, "archive")
    until("it is told", lambda: "refuses us" in json.dumps(house.deliveries(visit, "archive")), 30)
    line = house.deliveries(visit, "archive")[0]
    assert line["state"] == "waiting" and "AE title" in line["why"]
    peer.stop()
    there = Peer(lambda _e, _n: 0x0000, commit=True)
    house.names("archive", there.port)
    assert house.server.stop() == 0
    house.server.start()
    house.server.post(f"/api/v1/sending/{line['id']}/again", json.dumps({"who": "RK"}).encode())
    house.until_all(visit, "archive", "asked", 20)
    there.stop()


def test_what_leaves_the_hand_over_while_it_waits_does_not_go(house: House) -> None:
    port = free_port()
    house.names("archive", port)
    house.server.start()
    visit = house.visit(3)
    house.queue(visit, "archive")
    until("nobody answers", lambda: "does not answer" in json.dumps(house.deliveries(visit, "archive")), 30)
    gone = min(visit["frames"])
    house.server.post(f"/api/v1/frames/{gone}/set-aside", json.dumps({"who": "RK", "reason": "the other eye"}).encode())
    peer = Peer(lambda _e, _n: 0x0000, commit=True)
    # The peer is there now, at the address that was named.
    wire = socket.socket()
    wire.close()
    house.names("archive", peer.port)
    assert house.server.stop() == 0
    house.server.start()
    for d in house.deliveries(visit, "archive"):
        house.server.post(f"/api/v1/sending/{d['id']}/again", json.dumps({"who": "RK"}).encode())
    until("one is asked, one withdrawn", lambda: sorted(d["state"] for d in house.deliveries(visit, "archive")) == ["asked", "withdrawn"], 30)
    assert len(peer.seen) == 1
    withdrawn = next(d for d in house.deliveries(visit, "archive") if d["state"] == "withdrawn")
    assert withdrawn["frames"] == [gone] and "set aside" in withdrawn["why"]
    peer.stop()


def test_an_original_that_changed_on_the_disk_is_not_sent(house: House) -> None:
    peer = Peer(lambda _e, _n: 0x0000, commit=True)
    house.names("archive", peer.port)
    house.server.start()
    visit = house.visit(2)
    kept = [p for p in (house.server.data / "originals").rglob("*") if p.is_file()]
    for path in kept:
        data = bytearray(path.read_bytes())
        data[-100] ^= 1
        path.chmod(0o600)
        path.write_bytes(data)
    house.queue(visit, "archive")
    line = house.until_all(visit, "archive", "failed")[0]
    assert "has changed" in line["why"] and peer.seen == []
    peer.stop()


def test_wishes_that_make_no_sense_are_refused_in_a_sentence(house: House) -> None:
    house.names("archive", free_port())
    house.server.start()
    visit = house.visit(2)

    def post(path: str, body: dict) -> dict:
        return http_error(lambda: house.server.post(path, json.dumps(body).encode()))

    said = post(f"/api/v1/visits/{visit['id']}/send", {"who": "RK", "destination": "nowhere"})
    assert said["message"] == "there is no such destination" and "archive" in said["remedy"]
    assert post(f"/api/v1/visits/{visit['id']}/send", {"who": " ", "destination": "archive"})["remedy"]
    assert "no such delivery" in post("/api/v1/sending/99/again", {"who": "RK"})["message"]
    assert "reason" in post("/api/v1/sending/1/withdraw", {"who": "RK"})["message"]
    assert "set aside" in serrata("handover", "--server", f"127.0.0.1:{house.server.port}", visit["id"], "--to", "archive", "--who", "RK", "--with-set-aside").err
    for text, says in [
        ('[[destination]]\nname = "a"\naddress = "x"\nae_title = "A"\n', "HOST:PORT"),
        ('[[destination]]\nname = "a"\naddress = "x:1"\nae_title = "A"\nspeed = 3\n', "speed"),
        (2 * '[[destination]]\nname = "a"\naddress = "x:1"\nae_title = "A"\n', "two destinations"),
    ]:
        bad = house.folder / "bad.toml"
        bad.write_text(text)
        said = serrata("serve", "--data", house.folder / "other", "--config", bad)
        assert said.code == 1 and says in said.err and "bad.toml" in said.err, said.err


@pytest.mark.skipif(os.geteuid() != 0, reason="a small disk of its own needs root: the full disk while sending did not run")
def test_a_full_disk_of_ours_while_sending_loses_nothing_and_claims_nothing(tmp_path: pathlib.Path) -> None:
    """What cannot be written down has not arrived; once there is room again it is sent to its end, as the same objects."""
    disk = tmp_path / "disk"
    disk.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=24m", "none", str(disk)], check=True)
    house = House(tmp_path)
    house.server = Server(disk / "data", tmp_path / "in", tmp_path / "log", "--config", str(house.config))
    archive = Archive(tmp_path / "archive", house.server.dicom_port)
    try:
        # It goes through a wire that is dead at first, so that the disk fills up between queue and sending.
        wire = Cuts(archive.port, [0] * 2)
        house.names("archive", wire.port)
        house.server.start()
        visit = house.visit(4)
        house.queue(visit, "archive")
        until("the first tries were in vain", lambda: wire.cuts >= 2, 60)
        ballast = disk / "ballast"
        with open(ballast, "wb", buffering=0) as f:
            for size in (1 << 20, 4096, 1):
                with contextlib.suppress(OSError):
                    while True:
                        f.write(b"x" * size)
        until("the disk is full for the queue as well", lambda: "disk is full" in house.server.log.read_text(), 120)
        assert house.server.healthy()
        claimed = [d["name"] for d in house.deliveries(visit, "archive") if d["state"] == "done"]
        assert len(claimed) <= len(archive.objects()), "nothing is told as arrived that is not there"
        ballast.unlink()
        house.until_all(visit, "archive", "done", 120)
        there = [str(d.SOPInstanceUID) for d in archive.objects()]
        assert len(there) == len(set(there)) == 3
        assert not house.unsent(visit)
    finally:
        house.server.stop()
        archive.stop()
        subprocess.run(["umount", "-l", str(disk)], check=True)
