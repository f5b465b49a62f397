#!/usr/bin/env bash
# Browser tests: serves an invented clinic day from a folder of its own on a free loopback port, lets the page's tests
# loose on it with Chromium, and stops it. Pictures of the screens go to SERRATA_SHOTS (default: a throw-away folder).
set -euo pipefail
cd "$(dirname "$0")/.."

bin="${CARGO_TARGET_DIR:-target}/release/serrata"
[ -x "$bin" ] || { echo "browser: $bin is not there: run 'make build' first." >&2; exit 1; }
work=$(mktemp -d)
server= archive=
finish() {
    for one in $server $archive; do kill "$one" 2>/dev/null && wait "$one" 2>/dev/null || true; done
    rm -rf "$work"
}
trap finish EXIT
stop() { echo "browser: $1" >&2; cat "$2" >&2; exit 1; }

"$bin" demo --dir "$work/day" --size "${SERRATA_DAY_SIZE:-900}" --no-serve >"$work/out" 2>"$work/err" || stop "the demo day was not made:" "$work/err"
read -r port ours theirs web < <(python3 -c 'import socket; all = [socket.create_server(("127.0.0.1", 0)) for _ in range(4)]; print(*(s.getsockname()[1] for s in all))')

# An archive to send to: Orthanc, which answers for what it has over an association of its own.
cat >"$work/orthanc.json" <<JSON
{"StorageDirectory": "$work/store", "IndexDirectory": "$work/store", "DicomAet": "ARCHIVE", "DicomPort": $theirs, "HttpPort": $web,
 "RemoteAccessAllowed": false, "AuthenticationEnabled": false, "DicomAlwaysAllowStore": true, "UnknownSopClassAccepted": true, "Plugins": [],
 "DicomModalities": {"ours": ["SERRATA", "127.0.0.1", $ours]}}
JSON
/usr/sbin/Orthanc "$work/orthanc.json" >"$work/archive" 2>&1 &
archive=$!
cat >"$work/serrata.toml" <<TOML
[[destination]]
name = "archive"
address = "127.0.0.1:$theirs"
ae_title = "ARCHIVE"
derived = true
TOML
"$bin" serve --config "$work/serrata.toml" --data "$work/day/data" --watch "$work/day/incoming" --listen "127.0.0.1:$port" \
    --dicom-listen "127.0.0.1:$ours" >"$work/out" 2>"$work/err" &
server=$!
for _ in $(seq 240); do
    grep -qs 'Serrata is at http' "$work/out" "$work/err" && break
    kill -0 "$server" 2>/dev/null || { server=; stop "the demo day stopped before it was served:" "$work/err"; }
    sleep 0.5
done
grep -qs 'Serrata is at http' "$work/out" "$work/err" || stop "the demo day was not served within 2 minutes:" "$work/err"

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
