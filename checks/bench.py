"""Ratios against open peers on the same files in the same run, timed from outside the process (`make bench`).

Peers: OpenCV's `imdecode` (pinned in requirements.txt), dcmtk's `storescp` and `storescu` (Debian). Rounds alternate, the median ratio
is printed with its range. A busy machine moves the seconds, much less the ratios; run it on a quiet one all the same.
"""

from __future__ import annotations

import os
import pathlib
import statistics
import subprocess
import sys
import tempfile
import time

# One thread for the peer, before its libraries are loaded.
os.environ.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")

import cv2  # noqa: E402
import numpy as np  # noqa: E402
import pydicom  # noqa: E402
from PIL import Image  # noqa: E402

import makers  # noqa: E402
from house import BINARY, DCMSEND, SHARED, STORESCP, STORESCU, Server, free_port, originals, serrata, until  # noqa: E402

ROUNDS = 5
OBJECTS = 48


def wall(command: list[str], **options: object) -> float:
    """Seconds from start to end of a command that must succeed."""
    start = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, **options)
    return time.perf_counter() - start


def say(what: str, ratios: list[float], sign: str, budget: float, seconds: str) -> None:
    """One line of the result."""
    middle = statistics.median(ratios)
    held = middle <= budget if sign == "≤" else middle >= budget
    mark = "held" if held else "NOT HELD"
    print(f"{what:58} {middle:6.2f} ×  ({min(ratios):.2f}–{max(ratios):.2f})  budget {sign} {budget:g} ×  {mark:8}  {seconds}")


def picture(kind: str, folder: pathlib.Path) -> pathlib.Path:
    """A colour or grey JPEG of about 3.9k × 3.0k: a real one where there is one, else the open retina blown up."""
    real = SHARED / "uwf_pairs_hires" / f"pair1_{kind}.jpg"
    if real.exists():
        return real
    large = makers.retina().resize((3869, 3038), Image.Resampling.BICUBIC)
    path = folder / f"{kind}.jpg"
    path.write_bytes(makers.jpeg(large if kind == "colour" else large.convert("L")))
    print(f"bench: no real picture on this machine, {kind} is the open retina blown up to 3869 × 3038", file=sys.stderr)
    return path


def verdict(kind: str, budget: float, folder: pathlib.Path) -> None:
    """(wall of 21 files − wall of 1 file) / 20 with --jobs 1, against decoding alone by the peer on one thread."""
    cv2.setNumThreads(1)
    file = picture(kind, folder)
    data = np.frombuffer(file.read_bytes(), np.uint8)
    command = [str(BINARY), "appraise", "--json", "--jobs", "1"]
    wall([*command, str(file)])  # warm the page cache
    ratios, mine, theirs = [], [], []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        for _ in range(20):
            assert cv2.imdecode(data, cv2.IMREAD_UNCHANGED) is not None
        theirs.append((time.perf_counter() - start) / 20)
        mine.append((wall([*command, *[str(file)] * 21]) - wall([*command, str(file)])) / 20)
        ratios.append(mine[-1] / theirs[-1])
    seconds = f"{statistics.median(mine) * 1e3:.0f} ms against {statistics.median(theirs) * 1e3:.0f} ms"
    say(f"verdict on a file, {kind}, decode included", ratios, "≤", budget, seconds)


def steps(folder: pathlib.Path) -> None:
    """Where the milliseconds of an appraisal go, step by step, timed inside one process on one thread."""
    program = BINARY.parent / "examples" / "steps"
    files = [str(picture(kind, folder)) for kind in ("colour", "fa")]
    print(subprocess.run([str(program), *files], capture_output=True, text=True, check=True).stdout, end="")


def objects(folder: pathlib.Path) -> list[pathlib.Path]:
    """Objects of real size, JPEG baseline inside, all different."""
    Image.MAX_IMAGE_PIXELS = None
    base = Image.open(picture("colour", folder)).convert("RGB")
    made = []
    dataset = makers.dicom(base, compressed=True)
    for i in range(OBJECTS):
        dataset.SOPInstanceUID = dataset.file_meta.MediaStorageSOPInstanceUID = makers.generate_uid()
        dataset.InstanceNumber = i + 1
        made.append(makers.save(dataset, folder / f"{i:03}.dcm"))
    return made


def send_all(files: list[pathlib.Path], port: int, senders: int) -> float:
    """Seconds that `senders` dcmtk senders at once need for all files."""
    start = time.perf_counter()
    running = [
        subprocess.Popen(
            [DCMSEND, "-aec", "SERRATA", "127.0.0.1", str(port), *map(str, files[i::senders])], stdout=subprocess.DEVNULL
        )
        for i in range(senders)
    ]
    codes = [process.wait() for process in running]
    assert codes == [0] * senders, "a sender failed"
    return time.perf_counter() - start


def peer(files: list[pathlib.Path], folder: pathlib.Path, senders: int) -> float:
    """The same into dcmtk's storescp, one process a sender, which writes files and syncs nothing."""
    port = free_port()
    folder.mkdir()
    options = ["--fork"] if senders > 1 else []
    process = subprocess.Popen(
        [STORESCP, *options, "-aet", "SERRATA", "+xa", "-od", str(folder), str(port)],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        until("the peer listens", lambda: listens(port))
        seconds = send_all(files, port, senders)
        assert len(list(folder.iterdir())) == len(files)
        return seconds
    finally:
        process.terminate()
        process.wait()


def listens(port: int) -> bool:
    """Whether the peer answers a verification."""
    command = ["/usr/bin/echoscu", "127.0.0.1", str(port)]
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


def intake(folder: pathlib.Path) -> None:
    """Objects told as stored a second (here synced and indexed, checked in the background), against the peer."""
    files = objects(folder)
    for senders, budget in ((1, 1.0), (4, 2.0)):
        ratios, mine, theirs = [], [], []
        for round_ in range(3):
            at = folder / f"{senders}-{round_}"
            at.mkdir()
            theirs.append(peer(files, at / "peer", senders))
            house = Server(at / "data", at / "in", at / "log").start()
            try:
                mine.append(send_all(files, house.dicom_port, senders))
                assert len(originals(house.data)) == len(files)
            finally:
                house.kill()
            ratios.append(theirs[-1] / mine[-1])
        seconds = f"{OBJECTS / statistics.median(mine):.0f} a second against {OBJECTS / statistics.median(theirs):.0f}"
        say(f"DICOM intake, {senders} sender{'s' * (senders > 1)}, {files[0].stat().st_size / 1e6:.1f} MB objects", ratios, "≥", budget, seconds)


def sending(folder: pathlib.Path) -> None:
    """Objects from the queue to dcmtk's storescp, each hashed again and each step kept synced, against dcmtk's storescu from plain files."""
    import json

    at = folder / "sending"
    at.mkdir()
    files = objects(at)
    ratios, mine, theirs = [], [], []
    for round_ in range(3):
        into = at / str(round_)
        into.mkdir()
        port = free_port()
        process = subprocess.Popen([STORESCP, "--fork", "-aet", "READER", "+xa", "-od", str(into), str(port)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        config = at / f"{round_}.toml"
        config.write_text(f'[[destination]]\nname = "reader"\naddress = "127.0.0.1:{port}"\nae_title = "READER"\n')
        house = Server(at / f"data-{round_}", at / f"in-{round_}", at / f"log-{round_}", "--config", str(config)).start()
        try:
            until("the peer listens", lambda: listens(port))
            start = time.perf_counter()
            subprocess.run([STORESCU, "-R", "-xy", "-aec", "READER", "127.0.0.1", str(port), *map(str, files)], check=True, capture_output=True)
            theirs.append(time.perf_counter() - start)
            d = pydicom.dcmread(files[0], stop_before_pixels=True)
            new = {"patient_id": d.PatientID, "patient_name": str(d.PatientName), "study_uid": d.StudyInstanceUID, "protocol": "first-look"}
            visit = house.post("/api/v1/visits", json.dumps(new).encode())["ids"][0]
            send_all(files, house.dicom_port, 1)
            until("all are checked", lambda: house.get("/api/v1/day")["waiting"] == 0, 600)
            start = time.perf_counter()
            house.post(f"/api/v1/visits/{visit}/send", json.dumps({"who": "bench", "destination": "reader"}).encode())

            def stored() -> bool:
                line = house.get("/api/v1/sending")["destinations"][0]
                assert line["failed"] == 0
                return line["unproven"] == len(files)

            until("all are stored", stored, 300, 0.02)
            mine.append(time.perf_counter() - start)
        finally:
            house.kill()
            process.terminate()
            process.wait()
        ratios.append(theirs[-1] / mine[-1])
    seconds = f"{OBJECTS / statistics.median(mine):.0f} a second against {OBJECTS / statistics.median(theirs):.0f}"
    say(f"DICOM sending, one association, {files[0].stat().st_size / 1e6:.1f} MB objects", ratios, "≥", 0.8, seconds)


def geometry() -> None:
    """Footprints and polygon areas on the sphere, each timed inside its own process, against pyproj and healpy."""
    import json
    import math

    import healpy
    import pyproj

    rng = np.random.default_rng(3)
    ring = [[float(20 * math.cos(a) * r), float(20 * math.sin(a) * r)] for a, r in zip(np.linspace(0, 2 * math.pi, 2000, endpoint=False), rng.uniform(0.9, 1, 2000))]
    convex = [[float(20 * math.cos(a)), float(20 * math.sin(a))] for a in np.linspace(0, 2 * math.pi, 64, endpoint=False)]
    asked = [
        {"op": "time_mask", "width": 3900, "height": 3000, "deg_per_px": 0.05, "rounds": 15},
        {"op": "time_area", "ring": ring, "inside": [0, 0], "rounds": 200},
        # healpy takes convex polygons only.
        {"op": "time_area", "ring": convex, "inside": [0, 0], "rounds": 200},
        {"op": "area", "ring": convex, "inside": [0, 0]},
    ]
    text = "".join(json.dumps(q) + "\n" for q in asked)
    done = subprocess.run([str(BINARY.parent / "examples" / "geometry")], input=text, capture_output=True, text=True, check=True)
    *timed, ours = [json.loads(line) for line in done.stdout.splitlines()]
    footprints, areas, convex_areas = [answer["values"] for answer in timed]

    # healpy: the same picture by asking for every cell of the grid whether its centre is covered.
    cells = np.arange(healpy.nside2npix(256))
    across, down = np.arange(3900), np.arange(3000)[:, None]
    mask = ((across - 1950) / 1950) ** 2 + ((down - 1500) / 1500) ** 2 < 0.9
    theirs = []
    for _ in range(5):
        start = time.perf_counter()
        x, y, z = healpy.pix2vec(256, cells, nest=True)
        k = 2 / np.maximum(1 + z, 1e-9) / math.radians(0.05)
        i, j = np.floor(1950 + k * x).astype(int), np.floor(1500 - k * y).astype(int)
        inside = (i >= 0) & (i < 3900) & (j >= 0) & (j < 3000)
        covered = mask[j[inside], i[inside]].sum() * healpy.nside2pixarea(256)
        theirs.append(time.perf_counter() - start)
    assert covered > 1
    ms = statistics.median(footprints) * 1e3
    mark = "held" if ms <= 60 else "NOT HELD"
    print(f"{'footprint of a 3.9k × 3.0k mask, partial cells kept':58} {ms:6.1f} ms ({min(footprints) * 1e3:.1f}–{max(footprints) * 1e3:.1f})  budget ≤ 60 ms  {mark:8}  healpy, centres only: {statistics.median(theirs) * 1e3:.1f} ms")

    geod = pyproj.Geod(a=1, b=1)
    lon, lat = np.array(ring).T
    theirs = []
    for _ in range(200):
        start = time.perf_counter()
        geod.polygon_area_perimeter(lon, lat)
        theirs.append(time.perf_counter() - start)
    ratio = statistics.median(areas) / statistics.median(theirs)
    print(f"{'area of a polygon of 2,000 points':58} {ratio:6.2f} ×  of pyproj's  {statistics.median(areas) * 1e6:.0f} µs against {statistics.median(theirs) * 1e6:.0f} µs")

    corners = healpy.ang2vec(*np.array(convex).T, lonlat=True)
    theirs = []
    for _ in range(20):
        start = time.perf_counter()
        grid = len(healpy.query_polygon(1024, corners)) * healpy.nside2pixarea(1024)
        theirs.append(time.perf_counter() - start)
    exact = geod.polygon_area_perimeter(*np.array(convex).T)[0]
    assert abs(grid / exact - 1) < 1e-3 and abs(ours["value"] / exact - 1) < 1e-9, (grid, ours, exact)
    ratio = statistics.median(convex_areas) / statistics.median(theirs)
    print(f"{'area of a convex polygon of 64 points':58} {ratio:6.4f} ×  of healpy's (cells of nside 1024)  {statistics.median(convex_areas) * 1e6:.1f} µs against {statistics.median(theirs) * 1e6:.0f} µs")


def page(folder: pathlib.Path) -> None:
    """The page on the real server with the invented day, in Chromium without a graphics card."""
    import json

    made = serrata("demo", "--dir", folder / "day", "--size", 900, "--no-serve")
    assert made.code == 0, made.err
    dropped = folder / "dropped.jpg"
    makers.retina(1200).save(dropped, quality=92)
    large = folder / "large.jpg"
    makers.retina(4000).save(large, quality=90)
    server = Server(folder / "day" / "data", folder / "page-in", folder / "page-log").start()
    until("all frames are checked", lambda: server.get("/api/v1/day")["waiting"] == 0, 300)
    environment = {**os.environ, "SERRATA_URL": server.url("").rstrip("/"), "SERRATA_PICTURE": str(dropped), "SERRATA_PICTURE_4K": str(large)}
    web = pathlib.Path(__file__).parent.parent / "web"
    command = ["npx", "vitest", "run", "--config", "vitest.figures.config.ts"]
    said = subprocess.run(command, cwd=web, env=environment, capture_output=True, text=True)
    assert server.stop() == 0, server.log.read_text()
    assert said.returncode == 0, said.stdout[-3000:] + said.stderr[-3000:]
    for line in said.stdout.splitlines():
        if line.startswith("figure "):
            f = json.loads(line.removeprefix("figure "))
            held = f["middle"] <= f["budget"] if f["sign"] == "≤" else f["middle"] >= f["budget"]
            spread = f"({f['low']:.1f}–{f['high']:.1f})" if f["low"] != f["high"] else ""
            print(f"page: {f['what']:72} {f['middle']:7.1f} {f['unit']:3}  {spread:15}  budget {f['sign']} {f['budget']}  {'held' if held else 'NOT HELD'}", flush=True)


def main() -> int:
    with tempfile.TemporaryDirectory(prefix="serrata-bench-") as name:
        folder = pathlib.Path(name)
        verdict("colour", 2.0, folder)
        verdict("fa", 4.0, folder)
        steps(folder)
        geometry()
        intake(folder)
        sending(folder)
        page(folder)
    return 0


if __name__ == "__main__":
    sys.exit(main())
