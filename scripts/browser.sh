#!/usr/bin/env bash
# Browser tests: serves an invented clinic day from a folder of its own on a free loopback port, lets the page's tests
# loose on it with Chromium, and stops it. Pictures of the screens go to SERRATA_SHOTS (default: a throw-away folder).
set -euo pipefail
cd "$(dirname "$0")/.."

bin="${CARGO_TARGET_DIR:-target}/release/serrata"
[ -x "$bin" ] || { echo "browser: $bin is not there: run 'make build' first." >&2; exit 1; }
work=$(mktemp -d)
server=
finish() {
    [ -z "$server" ] || { kill "$server" 2>/dev/null && wait "$server" 2>/dev/null; } || true
    rm -rf "$work"
}
trap finish EXIT

port=$(python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')
"$bin" demo --dir "$work/day" --size "${SERRATA_DAY_SIZE:-900}" --listen "127.0.0.1:$port" >"$work/out" 2>"$work/err" &
server=$!
for _ in $(seq 600); do
    grep -q 'Serrata is at http' "$work/out" && break
    kill -0 "$server" 2>/dev/null || { echo "browser: the demo day stopped before it was served:" >&2; cat "$work/err" >&2; server=; exit 1; }
    sleep 0.5
done
grep -q 'Serrata is at http' "$work/out" || { echo "browser: the demo day was not served within 5 minutes:" >&2; cat "$work/err" >&2; exit 1; }

# One picture to drop on the page: an invented eye, as the JPEG that a camera would write.
"$bin" phantom frame --seed 11 --size 1200 -o "$work/picture" >/dev/null
export SERRATA_PICTURE="$work/picture/dropped.jpg"
.venv/bin/python - "$work/picture" "$SERRATA_PICTURE" <<'PYTHON'
import pathlib, sys
from PIL import Image
(made,) = (p for p in pathlib.Path(sys.argv[1]).iterdir() if p.suffix in (".png", ".tif", ".jpg"))
Image.open(made).convert("RGB").save(sys.argv[2], quality=92)
PYTHON
export SERRATA_URL="http://127.0.0.1:$port"
export SERRATA_SHOTS="${SERRATA_SHOTS:-$work/shots}"
mkdir -p "$SERRATA_SHOTS"
(cd web && npm run e2e) || { code=$?; echo "browser: the server's last words:" >&2; tail -n 20 "$work/err" >&2; exit "$code"; }
