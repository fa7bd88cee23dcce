"""Geometry and colours of the charts."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.report import charts


@given(st.floats(1e-6, 1e12))
def test_property_ticks_are_round_and_reach_the_top(top):
    marks = charts.ticks(top)
    assert marks[0] == 0 and marks[-1] >= top * (1 - 1e-9)
    assert 2 <= len(marks) <= 8
    step = marks[1]
    mantissa = step / 10 ** math.floor(math.log10(step) + 1e-9)
    assert min(abs(mantissa - m) for m in (1, 2, 2.5, 5, 10)) < 1e-6


@pytest.mark.parametrize("top", [0.0, float("nan"), -1.0])
def test_ticks_of_nothing(top):
    assert charts.ticks(top) == [0.0, 1.0]


def test_bars_are_in_proportion():
    drawn = charts.bars([("a", 10, "10", "#000"), ("b", 5, "5", "#000"), ("c", 0, "0", "#000")])["bars"]
    assert drawn[0]["w"] == pytest.approx(2 * drawn[1]["w"], abs=0.2) and drawn[2]["w"] == 0


def test_stacked_parts_fill_the_bar():
    drawn = charts.stacked([("r", {"x": 1, "y": 3}, "4")], [("x", "X", "#000"), ("y", "Y", "#111")])
    assert sum(part["w"] for part in drawn["rows"][0]["parts"]) == pytest.approx(drawn["room"], abs=0.3)


def test_reference_map_has_equal_aspect():
    # a degree of longitude is cos(latitude) of a degree of latitude on a sphere (geometry)
    panel = charts.Panel(10.0, 11.0, 59.5, 60.5, 400)
    wide, high = panel.x(11.0) - panel.x(10.0), panel.y(60.0) - panel.y(61.0)
    assert wide / high == pytest.approx(math.cos(math.radians(60.0)), rel=1e-9)
    assert panel.x(10.0) < panel.x(11.0) and panel.y(60.5) < panel.y(59.5)
    length, drawn = panel.scale_bar(1000.0)
    # 111.195 km a degree on a sphere of 6,371.0 km mean radius
    assert drawn == pytest.approx(length / 111.195 * high, rel=0.01)
    assert drawn <= panel.width * 0.45 + 0.1


def test_one_point_still_makes_a_map():
    panel = charts.Panel(10.0, 10.0, 5.0, 5.0, 300)
    assert math.isfinite(panel.x(10.0)) and 0 < panel.width <= 300 and panel.graticule()


def _lab(rgb):
    """CIE L*a*b* of linear sRGB under D65 (IEC 61966-2-1 matrix, CIE 15 formulas; from memory)."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ rgb
    t = xyz / np.array([0.9505, 1.0, 1.089])
    f = np.where(t > (6 / 29) ** 3, np.cbrt(np.maximum(t, 0)), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def _linear(colour):
    c = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


# Machado, Oliveira, Fernandes 2009, doi 10.1109/TVCG.2009.113, severity 1.0 (from memory)
SIGHT = {
    "full": np.eye(3),
    "no red cones": [
        [0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "no green cones": [
        [0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "no blue cones": [
        [1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


@pytest.mark.parametrize("sight", list(SIGHT))
def test_reference_families_stay_apart_in_every_sight(sight):
    # a difference of 20 in CIELAB is plain to see side by side (2.3 is just noticeable: Mahy and others 1994, memory)
    seen = {k: _lab(np.clip(np.array(SIGHT[sight]) @ _linear(c), 0, 1)) for k, c in charts.COLOURS.items()}
    for a, b in itertools.combinations(seen, 2):
        assert np.linalg.norm(seen[a] - seen[b]) > 20, (sight, a, b)
