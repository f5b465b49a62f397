"""Protocols by the command line: all that ship read, and a broken one is told with line and reason.

Times: the protocol comparison in IOVS abstract 2373310 (times only, its doses are no advice); EVEREST's frames at 1, 3,
5, 10 and 20 min in IOVS 2672888.
"""

from __future__ import annotations

import json
import pathlib
import tomllib

from house import ROOT, serrata

FILES = sorted((ROOT / "protocols").glob("*.toml"))


def seconds(text: str) -> tuple[float, float]:
    def one(t: str) -> float:
        number, unit = t.split()
        return float(number) * {"s": 1, "min": 60}[unit]

    start, end = text.split(" to ")
    return one(start), one(end)


def plan(name: str, *more: str) -> list[dict]:
    answer = serrata("protocol", "show", name, "--transit", "R", "--json", *more)
    assert answer.code == 0, answer.err
    return json.loads(answer.out)["view"]


def test_every_shipped_protocol_reads_and_names_its_source():
    answer = serrata("protocol", "check", *FILES, "--json")
    assert answer.code == 0, answer.err
    assert len(answer.lines) == len(FILES) >= 8
    for file in FILES:
        text = tomllib.loads(file.read_text())
        assert text["source"].strip() and text["one_shot"], file.name


def test_times_of_the_published_comparison():
    views = [v for v in plan("fa") if v.get("window")]

    def held(eye: str, at: float) -> bool:
        return any(v["eye"] == eye and seconds(v["window"])[0] <= at <= seconds(v["window"])[1] for v in views)

    assert all(held("R", s) for s in range(10, 31))
    assert all(held("L", s) for s in range(30, 51))
    assert all(held(eye, m * 60) for eye in "RL" for m in (5, 10))


def test_times_of_indocyanine_green():
    views = [v for v in plan("icg") if v["modality"] == "icg" and v.get("window")]
    for minute in (1, 3, 5, 10, 20):
        assert any(seconds(v["window"])[0] <= minute * 60 <= seconds(v["window"])[1] for v in views), minute


def test_no_dose_stands_in_a_protocol():
    for file in FILES:
        text = file.read_text().lower()
        assert not any(word in text for word in (" mg", " ml", "mg/kg")), file.name


def test_the_transit_eye_is_asked():
    answer = serrata("protocol", "show", "fa")
    assert answer.code == 1 and "transit eye" in answer.err


def test_a_broken_protocol_is_told_with_line_and_reason(tmp_path: pathlib.Path):
    text = (ROOT / "protocols" / "fa.toml").read_text()
    broken = tmp_path / "broken.toml"
    broken.write_text(text.replace('"8 s to 35 s"', '"35 s to 8 s"'))
    line = 1 + next(i for i, row in enumerate(broken.read_text().splitlines()) if "35 s to 8 s" in row)
    answer = serrata("protocol", "check", broken)
    assert answer.code == 1 and f"line {line}:" in answer.err and "before it starts" in answer.err
    broken.write_text(text.replace('gaze = "temporal"', 'gaze = "sideways"'))
    answer = serrata("protocol", "check", broken)
    assert answer.code == 1 and "sideways" in answer.err and "line " in answer.err
    assert serrata("protocol", "check", tmp_path / "none.toml").code == 1
