"""Edges of the formulas, worked by hand: where a clamp, a range or a small quantity decides."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.physics import stretch, tension, water, well


def test_stretch_of_an_even_weight():
    """T L/(A E) + w L^2/(2 A E): 100 m, 50 N and 4 N/m on 2e-4 m2 of 1e9 Pa: 0.025 + 0.1 m."""
    assert stretch.stretch_creep_m(50.0, 4.0, 100.0, 2e-4, 1e9) == pytest.approx(0.125, rel=1e-12)


def test_loads_at_the_edges():
    assert tension.area_wall_m2(0.03, 0.04) == 0.0
    # water above the hanger: nothing hangs clear of it but the pump
    assert tension.load_clear_of_water_n(50.0, -1.0, 3.0, 1.0, 90.0, 1e-3, 9800.0) == pytest.approx(90.0)
    string = (50.0, 10.0, 3.0, 1.0, 90.0, 0.001, 1e-4, 1e-3, 1.3e-3)
    full = float(tension.load_hanging_n(*string, 0.0, 9800.0))
    assert tension.load_pulling_n(*string, 9800.0) == max(full, float(tension.load_clear_of_water_n(*string[:5], 1e-3, 9800.0)), 290.0)


def test_water_at_the_ends_of_its_range():
    """IAPWS: 0.0 degC 999.84 kg/m3 and 1.792 mPa s; 100 degC 958.35 and 0.2818 mPa s."""
    assert water.density_kg_per_m3([0.0, 100.0]) == pytest.approx([999.84, 958.35], rel=3e-5)
    assert water.viscosity_dynamic_pa_s([0.0, 100.0]) == pytest.approx([1.792e-3, 0.2818e-3], rel=2e-3)


def test_small_wells_and_short_times():
    assert well.volume_available_m3(10.0, 4.95, 5.0, 0.2, 0.0, 60.0) == pytest.approx(np.pi / 4 * 0.04 * 0.05)
    assert well.depth_least_m(0.05, 5.0, 5.0, 0.2, 0.0, 60.0) == pytest.approx(10.0 + 0.05 / (np.pi / 4 * 0.04))
    assert well.flow_mean_m3_per_s(1.0, 0.05) == pytest.approx(20.0)
    assert well.specific_capacity_m2_per_s(1e-3, 0.05) == pytest.approx(0.02)
    # 2.25 T t/(r^2 S) of 26 and 260: the straight line holds from 25
    assert well.ratio_capacity_time(26 / 2.25, 1.0, 1.0, 1.0, 10.0) == pytest.approx(np.log(26) / np.log(260))
