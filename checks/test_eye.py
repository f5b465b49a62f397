"""The sphere against other people's libraries, at least 1,000 random cases each.

Peers: PROJ by pyproj (great circles, polygon areas, five projections about any centre), s2sphere (distances), SciPy
(rotations), spherical_geometry (union and intersection), healpy (areas by equal-area pixels). Frames: azimuth and
elevation are taken as longitude and latitude. The sphere answers by `examples/geometry`, a line of JSON each.

Tolerances: closed forms 1e-9, polygons 1e-6, grid areas 5e-4 for regions beyond 30 degrees across (where two borders
share cells, as in an intersection, the error is that of the borders: measured against the union's area).
"""

from __future__ import annotations

import json
import math
import subprocess

import healpy
import numpy as np
import pyproj
import pytest
import s2sphere
from scipy.spatial.transform import Rotation
from spherical_geometry.polygon import SphericalPolygon

from house import BINARY

GEOMETRY = BINARY.parent / "examples" / "geometry"
CASES = 1000


def ask(questions: list[dict]) -> list[dict]:
    """All answers to a list of questions, in order."""
    text = "".join(json.dumps(q) + "\n" for q in questions)
    done = subprocess.run([str(GEOMETRY)], input=text, capture_output=True, text=True, check=True, timeout=300)
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(answers) == len(questions)
    return answers


def places(rng: np.random.Generator, n: int) -> np.ndarray:
    """Longitudes and latitudes, even on the sphere."""
    return np.stack([rng.uniform(-180, 180, n), np.degrees(np.arcsin(rng.uniform(-1, 1, n)))], axis=1)


def vector(lonlat) -> np.ndarray:
    """Unit vectors with latitude's pole along z, as maps have them."""
    lon, lat = np.radians(np.asarray(lonlat, float)).T
    return np.stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)], axis=-1)


def circle(centre, half_deg: float, n: int) -> list[list[float]]:
    """A circle on the sphere, as longitudes and latitudes."""
    geod = pyproj.Geod(a=1, b=1)
    bearing = np.linspace(0, 360, n, endpoint=False)[::-1]
    lon, lat, _ = geod.fwd([centre[0]] * n, [centre[1]] * n, bearing, [math.radians(half_deg)] * n)
    return np.stack([lon, lat], axis=1).tolist()


def opposite(place) -> list[float]:
    """The point on the other side."""
    return [float(place[0]) - 180 if place[0] > 0 else float(place[0]) + 180, -float(place[1])]


def test_great_circles_are_those_of_pyproj_and_s2sphere():
    rng = np.random.default_rng(11)
    a, b = places(rng, CASES), places(rng, CASES)
    # A tenth of them very near each other, a tenth nearly opposite.
    b[:100] = a[:100] + rng.normal(0, 1e-4, (100, 2)) * [1, 0.1]
    b[100:200] = [np.add(opposite(p), rng.normal(0, 1e-2, 2)) for p in a[100:200]]
    b[:, 1] = np.clip(b[:, 1], -89.99, 89.99)
    questions = [{"op": op, "a": p.tolist(), "b": q.tolist()} for op in ("distance", "bearing") for p, q in zip(a, b)]
    got = ask(questions)
    azimuth, _, distance = pyproj.Geod(a=1, b=1).inv(*a.T, *b.T)
    mine = np.array([g["value"] for g in got[:CASES]])
    assert np.abs(mine - distance).max() < 1e-9
    s2 = [s2sphere.LatLng.from_degrees(p[1], p[0]).get_distance(s2sphere.LatLng.from_degrees(q[1], q[0])).radians for p, q in zip(a, b)]
    assert np.abs(mine - np.array(s2)).max() < 2e-8  # its haversine form loses digits near opposite points
    # A bearing counts counter-clockwise from east, an azimuth clockwise from north.
    turned = np.radians(90 - azimuth) - np.array([g["value"] for g in got[CASES:]])
    off = np.abs((turned + np.pi) % (2 * np.pi) - np.pi)
    assert (off * np.sin(distance)).max() < 1e-9


def test_polygon_areas_are_those_of_pyproj():
    rng = np.random.default_rng(12)
    geod = pyproj.Geod(a=1, b=1)
    questions, want = [], []
    for centre in places(rng, CASES):
        n = int(rng.integers(3, 40))
        bearing = np.sort(rng.uniform(0, 360, n))[::-1]
        size = rng.uniform(0.2, 1.0) * rng.uniform(1, 80)
        lon, lat, _ = geod.fwd([centre[0]] * n, [centre[1]] * n, bearing, np.radians(size * rng.uniform(0.5, 1, n)))
        questions.append({"op": "area", "ring": np.stack([lon, lat], axis=1).tolist(), "inside": centre.tolist()})
        want.append(geod.polygon_area_perimeter(lon, lat)[0])
    got = np.array([g["value"] for g in ask(questions)])
    # PROJ says the area to the left modulo the sphere.
    off = np.abs((got - np.array(want) + 2 * np.pi) % (4 * np.pi) - 2 * np.pi)
    assert (off / np.maximum(np.abs(got), 1e-2)).max() < 1e-6


@pytest.mark.parametrize("kind", ["stere", "laea", "aeqd", "gnom", "ortho"])
def test_projections_about_any_centre_are_those_of_proj(kind):
    rng = np.random.default_rng(13)
    centres, at = places(rng, CASES), places(rng, CASES)
    limit = {"gnom": 85, "ortho": 89}.get(kind, 175)
    geod = pyproj.Geod(a=1, b=1)
    lon, lat, _ = geod.fwd(*centres.T, rng.uniform(0, 360, CASES), np.radians(rng.uniform(0, limit, CASES)))
    at = np.stack([lon, lat], axis=1)
    got = ask([{"op": "project", "kind": kind, "centre": c.tolist(), "at": p.tolist()} for c, p in zip(centres, at)])
    mine = np.array([g["values"] for g in got])
    want = np.array(
        [
            pyproj.Proj(proj=kind, lon_0=c[0], lat_0=c[1], R=1)(*p)
            for c, p in zip(centres, at)
        ]
    )
    assert (np.abs(mine - want) / np.maximum(1, np.abs(want))).max() < 1e-9
    back = ask([{"op": "unproject", "kind": kind, "centre": c.tolist(), "at": p} for c, p in zip(centres, mine.tolist())])
    there = vector([b["values"] for b in back])
    off = np.linalg.norm(np.cross(there, vector(at)), axis=1)
    assert off.max() < (1e-6 if kind == "ortho" else 1e-9)


def test_rotations_are_those_of_scipy():
    rng = np.random.default_rng(14)
    towards, tilt, turn = rng.uniform(0, 360, CASES), rng.uniform(-180, 180, CASES), rng.uniform(-180, 180, CASES)
    at = rng.normal(size=(CASES, 3))
    got = ask(
        [
            {"op": "rotate", "towards": a, "tilt": b, "turn": c, "at": d}
            for a, b, c, d in zip(towards.tolist(), tilt.tolist(), turn.tolist(), at.tolist())
        ]
    )
    m = np.radians(towards)
    axis = np.stack([-np.sin(m), np.cos(m), np.zeros(CASES)], axis=1)
    want = (Rotation.from_euler("z", turn[:, None], degrees=True) * Rotation.from_rotvec(axis * np.radians(tilt)[:, None])).apply(
        at / np.linalg.norm(at, axis=1, keepdims=True)
    )
    assert np.abs(np.array([g["values"] for g in got]) - want).max() < 1e-12


def test_footprints_are_those_of_healpy_and_of_closed_forms():
    rng = np.random.default_rng(15)
    half = rng.uniform(15, 120, CASES)
    centres = places(rng, CASES)
    questions = []
    for c, h in zip(centres, half):
        r = circle(c, h, 720)
        away = opposite(c)
        questions.append({"op": "footprints", "a": r, "a_outside": away, "b": [], "b_outside": away})
    got = np.array([g["values"] for g in ask(questions)])
    exact = 2 * np.pi * (1 - np.cos(np.radians(half)))
    assert np.abs(got[:, 0] / exact - 1).max() < 5e-4
    assert (got[:, 0] == got[:, 2]).all() and (got[:, 0] == got[:, 3]).all() and (got[:, 4] == 0).all()
    pixel = healpy.nside2pixarea(1024)
    disc = np.array([len(healpy.query_disc(1024, v, math.radians(h))) for v, h in zip(vector(centres), half)]) * pixel
    assert np.abs(got[:, 0] / disc - 1).max() < 1e-3


def test_union_and_intersection_are_those_of_spherical_geometry_and_healpy():
    rng = np.random.default_rng(16)
    questions, polygons, discs = [], [], []
    for _ in range(CASES):
        a = places(rng, 1)[0]
        size = rng.uniform(20, 50, 2)
        b = circle(a, rng.uniform(0.3, 0.9) * size.sum(), 12)[int(rng.integers(12))]
        rings = [circle(a, size[0], 48), circle(b, size[1], 48)]
        questions.append({"op": "footprints", "a": rings[0], "a_outside": opposite(a), "b": rings[1], "b_outside": opposite(b)})
        polygons.append([(r, c) for r, c in zip(rings, (a, b))])
        discs.append((a, b, size))
    got = np.array([g["values"] for g in ask(questions)])
    for mine, pair in zip(got, polygons):
        shapes = []
        for ring, centre in pair:
            closed = np.array([*ring, ring[0]])
            shapes.append(SphericalPolygon.from_lonlat(closed[:, 0], closed[:, 1], center=tuple(centre)))
        areas = [s.area() for s in shapes]
        both = shapes[0].intersection(shapes[1]).area()
        assert abs(mine[0] / areas[0] - 1) < 5e-4 and abs(mine[1] / areas[1] - 1) < 5e-4
        union = areas[0] + areas[1] - both
        assert abs(mine[2] - union) < 5e-4 * union and abs(mine[3] - both) < 5e-4 * union
        assert abs(mine[4] - (areas[0] - both)) < 5e-4 * union


def test_pixels_become_the_footprint_of_their_cap():
    rng = np.random.default_rng(17)
    questions, exact = [], []
    for _ in range(CASES):
        half = rng.uniform(15, 50)
        # Within the picture of ± 90 degrees and more, seen along the view axis.
        e, m = rng.uniform(0, 85 - half), rng.uniform(0, 2 * np.pi)
        d = np.array([np.sin(np.radians(e)) * np.cos(m), np.sin(np.radians(e)) * np.sin(m), np.cos(np.radians(e))])
        lon, lat = np.degrees(np.arctan2(d[0], d[2])), np.degrees(np.arcsin(d[1]))
        questions.append({"op": "mask_cap", "size": 600, "deg_per_px": 230 / 600, "centre": [lon, lat], "half_deg": half})
        exact.append(2 * np.pi * (1 - np.cos(np.radians(half))))
    got = np.array([g["value"] for g in ask(questions)])
    # Pixels of 0.38 degrees in the middle: their own error is below 1e-3.
    assert np.abs(got / np.array(exact) - 1).max() < 2e-3


def test_what_cannot_be_is_an_error():
    far = {"op": "project", "kind": "gnom", "centre": [0, 0], "at": [120, 0]}
    same = {"op": "bearing", "a": [3, 4], "b": [3, 4]}
    beyond = {"op": "unproject", "kind": "ortho", "centre": [0, 0], "at": [1.2, 0]}
    answers = ask([far, same, beyond, {"op": "rubbish"}])
    assert "120.000" in answers[0]["error"] and "90" in answers[0]["error"]
    assert all("error" in a for a in answers)
