"""Limits for lasers against a second opinion: lasercalc 0.1.1 (PyPI, MIT), which follows IEC 60825-1.

Source of our own formulas: ICNIRP, coefficients as in the annex of directive 2006/25/EC; the constants of the limits
are from memory. IEC rounds 18 · 10^-0.25 = 10.12 W/m² to 10: a tolerance of 1.5 % covers that and nothing more.
The dwell of scanned beams, and pulses, are compared nowhere.
"""

from __future__ import annotations

import json

import pytest
from lasercalc import mpe_eye

from house import serrata

TOLERANCE = 0.015


def limit(nm: float, seconds: float, mrad: float = 1.5) -> dict:
    answer = serrata("instrument", "limit", "--nm", nm, "--seconds", seconds, "--mrad", mrad)
    assert answer.code == 0, answer.err
    return json.loads(answer.out)


@pytest.mark.parametrize("nm", [450, 488, 532, 635, 785, 802])
def test_a_point_source_over_100_seconds(nm):
    assert limit(nm, 100)["w_m2"] == pytest.approx(mpe_eye(nm, 100).irradiance_w_m2, rel=TOLERANCE)


def test_the_aversion_time():
    assert limit(532, 0.25)["w_m2"] == pytest.approx(25.4558, rel=TOLERANCE)
    assert mpe_eye(532, 0.25).irradiance_w_m2 == pytest.approx(25.4558, rel=1e-4)


@pytest.mark.parametrize("bad", [(399, 100, 1.5), (532, 0.1, 1.5), (532, 100, -1), ("nan", 100, 1.5)])
def test_outside_the_formulas_there_is_no_figure(bad):
    nm, seconds, mrad = bad
    answer = serrata("instrument", "limit", f"--nm={nm}", f"--seconds={seconds}", f"--mrad={mrad}")
    assert answer.code == 1 and answer.out == "" and "no limit" in answer.err
