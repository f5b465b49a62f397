"""The papers say what is there: links lead somewhere, and every command, option and make target in them exists."""

from __future__ import annotations

import re
import subprocess

import pytest

from house import ROOT, serrata

PAPERS = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md")])


@pytest.mark.parametrize("paper", PAPERS, ids=lambda p: p.name)
def test_links_lead_somewhere(paper):
    text = paper.read_text()
    links = [link.split("#")[0] for link in re.findall(r"\]\(([^)\s]+)\)", text) if "://" not in link]
    assert [link for link in links if link and not (paper.parent / link).exists()] == []


@pytest.mark.parametrize("paper", PAPERS, ids=lambda p: p.name)
def test_files_named_in_code_marks_exist(paper):
    named = re.findall(r"`((?:checks|crates|docs|scripts|web|instruments|protocols|fuzz)/[\w./-]*)`", paper.read_text())
    assert [name for name in named if not (ROOT / name).exists()] == []


def test_commands_and_options_in_the_papers_exist():
    help_of: dict[str, str] = {}
    for paper in PAPERS:
        for block in re.findall(r"```sh\n(.*?)```", paper.read_text(), re.S):
            for line in re.findall(r"^(?:target/release/)?serrata (.*)$", block, re.M):
                words = line.split("#")[0].split("|")[0].split()
                command = " ".join(words[:2]) if words[0] == "phantom" else words[0]
                if command not in help_of:
                    answer = serrata(*command.split(), "--help")
                    assert answer.code == 0, f"{paper.name}: there is no command '{command}'"
                    help_of[command] = answer.out
                for option in (w for w in words if w.startswith("--")):
                    assert option in help_of[command], f"{paper.name}: '{command}' has no option {option}"
    assert "appraise" in help_of and "serve" in help_of


def test_make_targets_in_the_papers_exist():
    listed = subprocess.run(["make", "-s", "help"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    targets = {line.split()[0] for line in listed.splitlines()}
    for paper in PAPERS:
        for name in re.findall(r"(?:^|`)make ([a-z-]+)", paper.read_text(), re.M):
            assert name in targets, f"{paper.name} speaks of 'make {name}'"
