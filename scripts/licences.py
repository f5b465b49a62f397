#!/usr/bin/env python3
"""Checks the licence of every dependency: the Rust packages that are built here, and the npm packages of the page.

A licence expression passes where one of its alternatives is made of allowed licences only. Everything else is named and
the exit code is 1. What goes into the binary (Rust packages; npm packages that are no dev tool) must have a permissive
licence; a tool that only works on our code (npm dev packages) may be MPL-2.0 or CC-BY-4.0 too.
"""

import json
import pathlib
import re
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parent.parent

# IJG: permissive, but asks that the work of the Independent JPEG Group be named: README.md does.
ALLOWED = {
    "0BSD", "Apache-2.0", "Apache-2.0 WITH LLVM-exception", "BSD-1-Clause", "BSD-2-Clause", "BSD-3-Clause", "BSL-1.0",
    "CC0-1.0", "IJG", "ISC", "MIT", "MIT-0", "NCSA", "PostgreSQL", "Unicode-3.0", "Unlicense", "Zlib", "bzip2-1.0.6", "blessing",
}
ALLOWED_TOOLS = ALLOWED | {"MPL-2.0", "CC-BY-4.0", "BlueOak-1.0.0", "Python-2.0"}
# Packages that say their licence in a way that is no SPDX expression, after reading it: name -> licence.
READ_BY_HAND: dict[str, str] = {}


def allowed(expression: str, licences: set[str]) -> bool:
    """Whether an SPDX expression (`/` as in old Rust manifests means OR) can be met with these licences alone."""
    tokens = re.findall(r"\(|\)|[^\s()]+", expression.replace("/", " OR "))
    position = 0

    def peek() -> str | None:
        return tokens[position] if position < len(tokens) else None

    def take() -> str:
        nonlocal position
        position += 1
        return tokens[position - 1]

    def one() -> bool:
        if peek() is None:
            return False
        token = take()
        if token == "(":
            value = either()
            if peek() == ")":
                take()
            return value
        if peek() == "WITH":
            take()
            token = f"{token} WITH {take() if peek() else ''}"
        return token in licences

    def both() -> bool:
        value = one()
        while peek() == "AND":
            take()
            value = one() and value
        return value

    def either() -> bool:
        value = both()
        while peek() == "OR":
            take()
            value = both() or value
        return value

    value = either()
    return value and position == len(tokens)


def rust_packages() -> list[tuple[str, str]]:
    """Every package that Cargo.lock brings on this platform, with its licence expression."""
    host = re.search(r"host: (\S+)", subprocess.run(["rustc", "-vV"], check=True, capture_output=True, text=True).stdout)
    command = ["cargo", "metadata", "--format-version", "1", "--locked"]
    command += ["--filter-platform", host.group(1)] if host else []
    metadata = json.loads(subprocess.run(command, check=True, capture_output=True, cwd=ROOT).stdout)
    built = {node["id"] for node in metadata["resolve"]["nodes"]}
    return [
        (f"{package['name']} {package['version']} (Rust)", package["license"] or "")
        for package in metadata["packages"]
        if package["id"] in built
    ]


def npm_packages() -> list[tuple[str, str, bool]]:
    """Every installed npm package of the lock file, with its licence and whether it is a dev tool only."""
    lock = json.loads((ROOT / "web/package-lock.json").read_text())
    found = []
    for place, entry in lock["packages"].items():
        manifest = ROOT / "web" / place / "package.json"
        if place == "" or not manifest.exists():  # ourselves, or made for another platform and not installed
            continue
        package = json.loads(manifest.read_text())
        licence = package.get("license") or package.get("licenses") or ""
        if isinstance(licence, list):
            licence = " OR ".join(item.get("type", "") if isinstance(item, dict) else str(item) for item in licence)
        if isinstance(licence, dict):
            licence = licence.get("type", "")
        found.append((f"{package.get('name', place)} {package.get('version', '')} (npm)", licence, bool(entry.get("dev"))))
    return found


def main() -> int:
    # The judge itself, first: it must be able to say no.
    assert allowed("MIT OR GPL-3.0", ALLOWED) and allowed("(MIT OR Apache-2.0) AND Unicode-3.0", ALLOWED)
    assert not allowed("MIT AND GPL-3.0", ALLOWED) and not allowed("", ALLOWED) and not allowed("MPL-2.0", ALLOWED)

    rust, npm = rust_packages(), npm_packages()
    if len(rust) < 50 or len(npm) < 20:
        print(f"licences: only {len(rust)} Rust and {len(npm)} npm packages found: run 'make setup' first.", file=sys.stderr)
        return 1
    bad = []
    for name, licence in rust:
        licence = READ_BY_HAND.get(name.split()[0], licence)
        if not allowed(licence, ALLOWED):
            bad.append(f"{name}: {licence or 'says no licence'}")
    for name, licence, tool in npm:
        licence = READ_BY_HAND.get(name.split()[0], licence)
        if not allowed(licence, ALLOWED_TOOLS if tool else ALLOWED):
            bad.append(f"{name}: {licence or 'says no licence'}")
    for line in bad:
        print(f"licences: {line} is not on the list of scripts/licences.py: read it, then allow it or drop the package.")
    print(f"licences: {len(rust)} Rust and {len(npm)} npm packages read, {len(bad)} not allowed")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
