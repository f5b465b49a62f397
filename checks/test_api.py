"""The documented API held against its server: schemathesis makes requests out of the OpenAPI document, good and bad, and looks at
each answer. None may be a server error, of a status or a type that the document does not name, or of another form than it says.

The stream of events, which never ends, is left out.
"""

from __future__ import annotations

import pathlib
import subprocess
import sys

import pytest

from house import Server, serrata

SCHEMATHESIS = pathlib.Path(sys.executable).parent / "schemathesis"
#: Requests of each kind for each operation: what CI has time for (judgement).
EXAMPLES = 6


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory):
    """The invented day: visits, frames, orders and a dye run for the requests to meet."""
    folder = tmp_path_factory.mktemp("api")
    made = serrata("demo", "--dir", folder / "day", "--size", 300, "--no-serve")
    assert made.code == 0, made.err
    server = Server(folder / "day" / "data", folder / "in", folder / "log").start()
    yield server
    assert server.stop() == 0, server.log.read_text()


def test_no_request_breaks_the_server_or_the_document(day: Server) -> None:
    document = day.get("/api/v1/openapi.json")
    assert len(document["paths"]) > 40
    command = [
        SCHEMATHESIS, "run", day.url("/api/v1/openapi.json"), "--url", day.url(""), "--max-examples", EXAMPLES,
        "--generation-deterministic", "--no-color", "--mode", "all", "--phases", "examples,coverage,fuzzing",
        "--checks", "not_a_server_error,status_code_conformance,content_type_conformance,response_schema_conformance",
        "--exclude-path-regex", "/events", "--request-timeout", "30", "--continue-on-failure", "--workers", "1",
    ]  # fmt: skip
    said = subprocess.run([str(c) for c in command], capture_output=True, text=True, timeout=900)
    log = day.log.read_text()
    assert "panicked" not in log, log[-3000:]
    assert said.returncode == 0, said.stdout[-6000:] + said.stderr[-1000:]
    assert day.get("/api/v1/day")["visits"], "it still serves the day"
