"""What the outside checks share: the binary, its output, and a server of its own on free loopback ports."""

from __future__ import annotations

import hashlib
import json
import os
import pathlib
import signal
import socket
import subprocess
import time
import urllib.error
import urllib.request
from dataclasses import dataclass, field

import pydicom

ROOT = pathlib.Path(__file__).resolve().parent.parent
BINARY = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")).absolute() / "release" / "serrata"
#: Real pictures that are never committed; where they are missing, the checks that need them say so.
SHARED = ROOT.parent / "shared" / "data"

STORESCU = "/usr/bin/storescu"
DCMSEND = "/usr/bin/dcmsend"
STORESCP = "/usr/bin/storescp"


@dataclass
class Answer:
    """What one run of the binary said."""

    code: int
    out: str
    err: str
    lines: list[dict] = field(default_factory=list)

    def by_name(self) -> dict[str, dict]:
        """The JSON lines by file name."""
        return {pathlib.Path(line["path"]).name: line for line in self.lines}


def serrata(*arguments: object, timeout: float = 300, **options: object) -> Answer:
    """Runs the binary to its end. With --json among the arguments, every line of its output is read."""
    words = [str(a) for a in arguments]
    done = subprocess.run([str(BINARY), *words], capture_output=True, timeout=timeout, check=False, **options)
    out, err = done.stdout.decode(), done.stderr.decode()
    lines = [json.loads(line) for line in out.splitlines()] if "--json" in words else []
    return Answer(done.returncode, out, err, lines)


def free_port() -> int:
    """A loopback port that nobody listens on just now."""
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def until(what: str, test, seconds: float = 60, step: float = 0.1):
    """Waits until `test()` is true and returns it; fails with `what` after `seconds`."""
    end = time.monotonic() + seconds
    while True:
        value = test()
        if value:
            return value
        assert time.monotonic() < end, f"after {seconds:.0f} s still not: {what}"
        time.sleep(step)


class Server:
    """`serrata serve` on free loopback ports, with a data folder and a watched folder."""

    def __init__(self, data: pathlib.Path, watch: pathlib.Path, log: pathlib.Path, *options: str):
        self.data, self.watch, self.log, self.options = data, watch, log, options
        self.port, self.dicom_port = free_port(), free_port()
        self.process: subprocess.Popen | None = None

    def command(self) -> list[str]:
        """The command line."""
        return [
            str(BINARY), "serve", "--data", str(self.data), "--listen", f"127.0.0.1:{self.port}",
            "--dicom-listen", f"127.0.0.1:{self.dicom_port}", "--watch", str(self.watch),
            *self.options,
        ]  # fmt: skip

    def start(self) -> Server:
        """Starts it and waits until it says where it is and answers."""
        self.watch.mkdir(exist_ok=True)
        out = open(self.log, "ab")
        start = self.log.stat().st_size
        self.process = subprocess.Popen(self.command(), stdout=out, stderr=out, stdin=subprocess.DEVNULL)
        out.close()

        def ready() -> bool:
            assert self.process.poll() is None, f"the server stopped: {self.log.read_text()}"
            return b"Serrata is at http://" in self.log.read_bytes()[start:] and self.healthy()

        until("the server is ready", ready)
        return self

    def healthy(self) -> bool:
        """Whether it answers."""
        try:
            with urllib.request.urlopen(self.url("/api/v1/health"), timeout=5) as reply:
                return reply.status == 200
        except OSError:
            return False

    def kill(self) -> None:
        """kill -9: no chance to tidy up."""
        if self.process and self.process.poll() is None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()

    def stop(self) -> int:
        """Asks it to stop and gives its exit code."""
        if self.process is None:
            return 0
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(30)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
                raise
        return self.process.returncode

    def url(self, path: str) -> str:
        """The address of a path."""
        return f"http://127.0.0.1:{self.port}{path}"

    def get(self, path: str) -> dict:
        """A JSON answer."""
        with urllib.request.urlopen(self.url(path), timeout=30) as reply:
            return json.load(reply)

    def post(self, path: str, body: bytes, kind: str = "application/json") -> dict:
        """Posts and reads the JSON answer."""
        request = urllib.request.Request(self.url(path), data=body, headers={"Content-Type": kind}, method="POST")
        with urllib.request.urlopen(request, timeout=60) as reply:
            return json.load(reply)

    def frame_ids(self) -> set[str]:
        """All frames: those of the day's visits, and those that are unassigned."""
        ids = {frame["id"] for frame in self.get("/api/v1/unassigned")["frames"]}
        for visit in self.get("/api/v1/day")["visits"]:
            ids |= {frame["id"] for frame in self.get(f"/api/v1/visits/{visit['id']}")["frames"]}
        return ids

    def frames(self) -> list[dict]:
        """All frames in full."""
        return [self.get(f"/api/v1/frames/{id}") for id in sorted(self.frame_ids(), key=str)]

    def checked(self, sha256: set[str], seconds: float = 180) -> list[dict]:
        """Waits until every original with these hashes is an appraised frame, and gives those frames."""

        def all_there() -> list[dict] | None:
            if self.get("/api/v1/day")["waiting"]:
                return None
            found = [f for f in self.frames() if f["appraisal"] and f["appraisal"]["sha256"] in sha256]
            return found if {f["appraisal"]["sha256"] for f in found} >= sha256 else None

        return until(f"{len(sha256)} originals are appraised frames", all_there, seconds, 0.5)

    def send(self, *files: pathlib.Path, tool: str = STORESCU, options: tuple[str, ...] = ()) -> subprocess.CompletedProcess:
        """Sends DICOM files with a dcmtk tool."""
        return subprocess.run(
            [tool, "-v", *options, "-aec", "SERRATA", "127.0.0.1", str(self.dicom_port), *map(str, files)],
            capture_output=True, text=True, timeout=300, check=False,
        )  # fmt: skip


def logged_as_stored(log: str) -> list[str]:
    """The files that `storescu -v` or `dcmsend -d` logged as stored with success, in order."""
    stored, current = [], None
    for line in log.splitlines():
        if "Sending file: " in line:
            current = line.split("Sending file: ", 1)[1].strip()
        elif "Response (Success)" in line and current:
            stored.append(current)
            current = None
    return stored


def dicom_files(data: pathlib.Path) -> list[pathlib.Path]:
    """The DICOM originals in a data folder, found by their bytes, whatever they are called."""
    found = []
    for path in data.rglob("*"):
        if path.is_file() and path.stat().st_size > 132:
            with open(path, "rb") as file:
                if file.read(132)[128:] == b"DICM":
                    found.append(path)
    return found


def originals(data: pathlib.Path) -> dict[str, str]:
    """The DICOM originals in a data folder: SHA-256 of the file by SOP Instance UID."""
    return {
        str(pydicom.dcmread(path, stop_before_pixels=True).SOPInstanceUID): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in dicom_files(data)
    }


def http_error(call) -> dict:
    """The error line that a call ends with."""
    try:
        call()
    except urllib.error.HTTPError as error:
        return json.load(error)
    raise AssertionError("the call was expected to fail")
