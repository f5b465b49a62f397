"""Fixtures of the outside checks."""

from __future__ import annotations

import pathlib
import shutil
import tempfile

import pytest

from house import BINARY, SHARED, Server


def pytest_sessionstart(session: pytest.Session) -> None:
    if not BINARY.exists():
        pytest.exit(f"{BINARY} is not there: run 'make build' first.", returncode=1)


@pytest.fixture
def server(tmp_path: pathlib.Path):
    """A running server on an empty data folder, stopped at the end; it must stop cleanly."""
    house = Server(tmp_path / "data", tmp_path / "in", tmp_path / "log").start()
    yield house
    assert house.stop() == 0, house.log.read_text()


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory):
    """A running server that a module's checks share, on an empty data folder; it must stop cleanly."""
    folder = tmp_path_factory.mktemp("house")
    made = Server(folder / "data", folder / "in", folder / "log").start()
    yield made
    assert made.stop() == 0, made.log.read_text()


@pytest.fixture(scope="session")
def real() -> pathlib.Path:
    """The folder of real pictures; skips in plain words where it is not there."""
    if not (SHARED / "INDEX.md").exists():
        pytest.skip(f"the real pictures are not on this machine ({SHARED}): this check did not run")
    return SHARED


@pytest.fixture
def open_folder():
    """A folder that other users may enter too (pytest's own are private)."""
    folder = pathlib.Path(tempfile.mkdtemp(prefix="serrata-checks-"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder, ignore_errors=True)
