#!/usr/bin/env bash
# Runs all tests, part by part, and times each. Stops at the first part that fails. Nothing is left out silently:
# the last lines name every part with its time, or say that it was not run.
# With names of parts as arguments, only those are run (after `make test` has run once): scripts/test.sh format checks
set -euo pipefail
cd "$(dirname "$0")/.."
export CARGO_TERM_COLOR=${CARGO_TERM_COLOR:-never}

parts=(setup format page build lint licences rust docs browser checks)

part_setup() { scripts/setup.sh; }
part_format() { cargo fmt --all --check; }
# The page comes first: it is embedded in the binary.
part_page() {
    (cd web && npm run build && npm run check && npm run lint && npm run types:check && npm test)
}
part_build() { cargo build --release --workspace --all-targets --locked; }
part_lint() { cargo clippy --release --workspace --all-targets --locked -- -D warnings; }
part_licences() { python3 scripts/licences.py; }
part_rust() { cargo test --release --workspace --locked; }
part_docs() { RUSTDOCFLAGS="-D warnings" cargo doc --release --no-deps --workspace --locked; }
part_browser() { scripts/browser.sh; }
# Two at a time, each file by one of them: a file shares its server.
part_checks() { .venv/bin/python -m pytest checks -q -ra --strict-markers -n 2 --dist loadfile --durations 12; }

[ "$#" -eq 0 ] || parts=("$@")
for name in "${parts[@]}"; do
    declare -F "part_$name" >/dev/null || { echo "test: there is no part named '$name'; see scripts/test.sh" >&2; exit 2; }
done

# Fetching packages leaves the processors idle, so the compiler begins beside it. What it cannot build yet, for want of cmake or of
# the page, it leaves to the part 'build', whose word alone counts.
early=
if [ "$#" -eq 0 ] && [ ! -d target/release ]; then
    # A group of its own, so that compilers go with it.
    setsid cargo build --release --workspace --all-targets --locked --keep-going >/dev/null 2>&1 &
    early=$!
    trap '[ -z "$early" ] || kill -- "-$early" 2>/dev/null || true' EXIT
fi

lines=()
passed=0
failed=0
skipped=0
clock() { printf '%d:%02d' $(($1 / 60)) $(($1 % 60)); }
begin=$SECONDS
for name in "${parts[@]}"; do
    if [ "$failed" -gt 0 ]; then
        skipped=$((skipped + 1))
        lines+=("$(printf '%-10s not run' "$name")")
        continue
    fi
    if [ "$name" = build ] && [ -n "$early" ]; then
        wait "$early" || true
        early=
    fi
    printf '\n==== %s\n' "$name"
    start=$SECONDS
    # A child shell, so that `set -e` holds inside the part and its exit code can be read here.
    set +e
    (set -e; "part_$name")
    code=$?
    set -e
    took=$(clock $((SECONDS - start)))
    if [ "$code" -eq 0 ]; then
        passed=$((passed + 1))
        lines+=("$(printf '%-10s %6s' "$name" "$took")")
    else
        failed=1
        lines+=("$(printf '%-10s %6s  FAILED' "$name" "$took")")
    fi
done

printf '\n==== times (min:s)\n'
printf '%s\n' "${lines[@]}"
printf '%-10s %6s\n' total "$(clock $((SECONDS - begin)))"
closing="parts: $passed passed, $failed failed"
[ "$skipped" -eq 0 ] || closing+=", $skipped skipped"
echo "$closing"
[ "$failed" -eq 0 ]
