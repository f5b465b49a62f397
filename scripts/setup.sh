#!/usr/bin/env bash
# Installs what the build, the demo and the tests need. Quick when everything is there; may be run any number of times.
# What it may not install, it names in one sentence, with what to do.
set -euo pipefail
cd "$(dirname "$0")/.."

say() { printf 'setup: %s\n' "$*"; }
stop() { printf 'setup: %s\n' "$*" >&2; exit 1; }

# --- What a person brings ------------------------------------------------------------------------------------------
need_rust=$(sed -n 's/^rust-version = "\(.*\)"/\1/p' Cargo.toml)
command -v cargo >/dev/null \
    || stop "Rust is missing, and setup does not install compilers: install Rust $need_rust or newer with rustup, then run this again."
cargo fmt --version >/dev/null 2>&1 && cargo clippy --version >/dev/null 2>&1 \
    || stop "rustfmt or clippy is missing: run 'rustup component add rustfmt clippy', then run this again."
command -v node >/dev/null && command -v npm >/dev/null \
    || stop "Node is missing, and setup does not install it: install Node 20.19 or newer with npm, then run this again."
node -e 'const [a, b] = process.versions.node.split(".").map(Number); process.exit(a > 20 || (a === 20 && b >= 19) ? 0 : 1)' \
    || stop "Node $(node --version) is too old: install Node 20.19 or newer, then run this again."
command -v python3 >/dev/null \
    || stop "Python is missing: install python3 (3.11 or newer), then run this again."
python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))' \
    || stop "$(python3 --version) is too old: install Python 3.11 or newer, then run this again."

# --- Packages from Debian ------------------------------------------------------------------------------------------
missing=()
lacks() { command -v "$1" >/dev/null || missing+=("$2"); }
lacks g++ g++
lacks cmake cmake                     # builds the JPEG-LS decoder
lacks chromium chromium               # browser tests
[ -x /usr/bin/storescu ] && [ -x /usr/bin/dcmsend ] && [ -x /usr/bin/storescp ] && [ -x /usr/bin/wlmscpfs ] || missing+=(dcmtk)
lacks dciodvfy dicom3tools
lacks pdftotext poppler-utils         # reads the papers
[ -x /usr/sbin/Orthanc ] && [ -e /usr/share/orthanc/plugins/libOrthancDicomWeb.so ] || missing+=(orthanc orthanc-dicomweb) # an archive, as a peer to send to
python3 -c 'import venv, ensurepip' 2>/dev/null || missing+=(python3-venv)

if [ "${#missing[@]}" -gt 0 ]; then
    sentence="may not install ${missing[*]} here: run 'apt-get install ${missing[*]}' as root (or install them your system's way), then run this again."
    command -v apt-get >/dev/null || stop "$sentence"
    if [ "$(id -u)" -eq 0 ]; then
        as_root=(env)
    elif command -v sudo >/dev/null && { sudo -n true 2>/dev/null || [ -t 0 ]; }; then
        as_root=(sudo env)
    else
        stop "$sentence"
    fi
    apt=("${as_root[@]}" DEBIAN_FRONTEND=noninteractive apt-get -qq -y -o DPkg::Lock::Timeout=300)
    install=("${apt[@]}" install --no-install-recommends "${missing[@]}")
    say "installing from Debian: ${missing[*]}"
    # A fresh machine has no package list yet, and one that is not fresh may have an old one: fetch it only then.
    "${install[@]}" >/dev/null 2>&1 || { "${apt[@]}" update >/dev/null && "${install[@]}" >/dev/null; } || stop "$sentence"
fi

mkdir -p .setup
digest() { sha256sum | cut -d' ' -f1; }
# A stamp holds the digest of everything that the step depends on; the place counts, for an environment cannot be moved.
fresh() { [ -f ".setup/$1" ] && [ "$(cat ".setup/$1")" = "$2" ]; }

# --- Python environment of the outside checks ----------------------------------------------------------------------
key=$({ cat checks/requirements.txt; python3 --version; pwd; } | digest)
if ! { fresh python "$key" && .venv/bin/python -c 'import numpy, cv2, pydicom, pytest' 2>/dev/null; }; then
    say "Python environment in .venv"
    rm -f .setup/python
    python3 -m venv --clear .venv
    .venv/bin/pip install --quiet --disable-pip-version-check --no-deps --only-binary :all: -r checks/requirements.txt \
        || stop "the Python packages of checks/requirements.txt could not be installed: see pip's message above, mend the network or the package index, then run this again."
    .venv/bin/pip check >/dev/null || stop "checks/requirements.txt does not fit together: run '.venv/bin/pip check' and mend it."
    printf '%s\n' "$key" >.setup/python
fi

# --- Packages of the page ------------------------------------------------------------------------------------------
key=$({ cat web/package-lock.json; node --version; pwd; } | digest)
if ! { fresh npm "$key" && [ -f web/node_modules/.package-lock.json ]; }; then
    say "npm packages in web/node_modules"
    rm -f .setup/npm
    (cd web && npm ci --no-audit --no-fund --loglevel=error) \
        || stop "the packages of web/package-lock.json could not be installed: see npm's message above, mend the network or the registry, then run this again."
    printf '%s\n' "$key" >.setup/npm
fi
say "ready"
