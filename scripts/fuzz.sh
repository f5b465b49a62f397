#!/usr/bin/env bash
# Fuzzing, by hand: every target of fuzz/ for SECONDS_EACH seconds (default 60), or only TARGET_NAME.
# What it finds is kept in fuzz/artifacts; copy a find into the crate's tests before mending it.
set -euo pipefail
cd "$(dirname "$0")/.."
stop() { printf 'fuzz: %s\n' "$*" >&2; exit 1; }

cargo fuzz --version >/dev/null 2>&1 || stop "cargo-fuzz is missing: run 'cargo install cargo-fuzz', then run this again."
[ -f fuzz/Cargo.toml ] || stop "there is no fuzz/Cargo.toml: nothing to fuzz yet."
mapfile -t targets < <(cd fuzz && cargo fuzz list)
[ -z "${TARGET_NAME:-}" ] || targets=("$TARGET_NAME")
[ "${#targets[@]}" -gt 0 ] || stop "fuzz/ has no targets."
# The sanitiser's flags are for nightly compilers only; a stable one is let to use them here and nowhere else.
export RUSTC_BOOTSTRAP=1
for target in "${targets[@]}"; do
    printf '==== %s\n' "$target"
    # New inputs go to a folder of their own: those in fuzz/corpus are seeds that the tests replay.
    found="fuzz/artifacts/found/$target"
    mkdir -p "$found"
    seeds="fuzz/corpus/${target%_round_trip}"
    [ -d "$seeds" ] || seeds=fuzz/corpus/dicom
    cargo fuzz run "$target" "$found" "$seeds" -- -max_total_time="${SECONDS_EACH:-60}" -rss_limit_mb=4096
done
