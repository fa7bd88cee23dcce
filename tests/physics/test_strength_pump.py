"""Hoop and axial together by class of material; pumps at another speed; storage against a need."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import schema
from pipeline.physics import pressure, pump, strength, tension, well

PSI, IN, LBF = 6894.757293168, 0.0254, 4.4482216152605
ROOT, BORE = 1.51381 * IN, 1.380 * IN  # 1-1/4 in schedule 40 at the hand-tight plane
YIELD = 30_000 * PSI  # ASTM A53 grade A, from memory


def test_reference_steel_at_the_thread_root():
    """By hand: 3,000 lbf and 150 psi on the root of 1-1/4 in schedule 40 (area by ASME B1.20.1 0.3041 in2).

    axial 9,865 psi; hoop 150 (1.51381^2 + 1.38^2)/(1.51381^2 - 1.38^2) = 1,625 psi; radial -150 psi; distortion
    energy gives 9,255 psi, over 0.6 of 30,000 psi 0.514.
    """
    given_ = (3000 * LBF, 150 * PSI, 0.0, ROOT, BORE)
    assert strength.stress_axial_pa(given_[0], ROOT, BORE) / PSI == pytest.approx(9865, rel=1e-3)
    assert strength.stress_combined_pa(*given_) / PSI == pytest.approx(9255, rel=1e-3)
    assert strength.use_combined_steel(*given_, YIELD, 0.6) == pytest.approx(0.514, abs=0.001)


def test_reference_pressure_relieves_tension_a_little_and_adds_to_compression():
    """Distortion energy (textbook): hoop of the sign of the axial stress lowers the equivalent stress, of the other raises it."""
    quiet, pressed = (float(strength.stress_combined_pa(3000 * LBF, p, 0.0, ROOT, BORE)) for p in (0.0, 150 * PSI))
    assert quiet == pytest.approx(float(strength.stress_axial_pa(3000 * LBF, ROOT, BORE)))
    assert pressed < quiet
    low, high = (float(strength.stress_combined_pa(-3000 * LBF, p, 0.0, ROOT, BORE)) for p in (0.0, 150 * PSI))
    assert high > low
    squeezed = strength.stress_combined_pa(0.0, 1e6, 1e6, ROOT, BORE)
    # even pressure without end load: hoop and radial -p, axial nothing
    assert squeezed == pytest.approx(1e6)


def test_no_wall_left_is_past_any_limit_and_missing_stays_missing():
    assert strength.use_combined_steel(1e3, 1e5, 0.0, BORE, BORE, YIELD, 0.6) == np.inf
    assert strength.use_axial_plastic(1e3, 0.9 * BORE, BORE, 1.0, 1e7) == np.inf
    assert np.isnan(strength.stress_axial_pa(1e3, BORE, BORE))
    for hole in range(7):
        values = [1e4, 1e6, 0.0, ROOT, BORE, YIELD, 0.6]
        values[hole] = np.nan
        assert np.isnan(strength.use_combined_steel(*values)), hole
    assert np.isnan(strength.use_combined_plastic(0.5, np.nan)) and np.isnan(strength.use_combined_plastic(np.nan, 0.5))
    assert np.isnan(strength.use_axial_plastic(np.nan, ROOT, BORE, 1.0, 1e7))


def test_reference_plastic_hoop_is_used_up_at_the_rating():
    """ASTM D3035 and D1785: at the rating by 2 S/(DR - 1) the hoop stress is the design stress; outside pressure relieves."""
    for stress, outside, wall in ((1000 * PSI, 1.315 * IN, 0.1195 * IN), (2000 * PSI, 1.66 * IN, 0.191 * IN)):
        rating = pressure.rating_outside_pa(stress, outside, wall)
        assert strength.use_hoop_plastic(rating, 0.0, outside, wall, stress) == pytest.approx(1.0)
        assert strength.use_hoop_plastic(rating, rating / 4, outside, wall, stress) == pytest.approx(0.75)


def test_reference_plastic_takes_root_or_joint_factor():
    """1-1/4 in Sch 80, 623 lbf, 2,000 psi: 0.60 by the root, 0.71 by half of the gross section (computed); never 1.20."""
    root = strength.use_axial_plastic(623 * LBF, ROOT, 1.278 * IN, 1.0, 2000 * PSI)
    gross = strength.use_axial_plastic(623 * LBF, 1.66 * IN, 1.278 * IN, 0.5, 2000 * PSI)
    assert root == pytest.approx(0.60, abs=0.005) and gross == pytest.approx(0.71, abs=0.005)
    hoop = strength.use_hoop_plastic(130 * PSI, 0.0, 1.66 * IN, 0.191 * IN, 2000 * PSI)
    assert strength.use_combined_plastic(hoop, root) == root > hoop
    assert strength.use_combined_plastic(0.9, root) == 0.9


@settings(max_examples=80, deadline=None)
@given(st.floats(0, 2e4), st.floats(0, 2e4), st.floats(0.02, 0.1), st.floats(1.05, 1.4))
def test_property_a_heavier_pull_never_uses_less_without_pressure(load, extra, bore, ratio):
    section = bore * ratio
    light, heavy = strength.use_combined_steel(np.array([load, load + extra]), 0.0, 0.0, section, bore, YIELD, 0.6)
    assert heavy >= light
    light, heavy = strength.use_axial_plastic(np.array([load, load + extra]), section, bore, 1.0, 1e7)
    assert heavy >= light


@settings(max_examples=80, deadline=None)
@given(st.floats(0, 2e4), st.floats(0, 3e6), st.floats(0.02, 0.1), st.floats(1.05, 1.4))
def test_property_equivalent_stress_lies_between_the_largest_difference_and_its_share(load, p, bore, ratio):
    """Distortion energy is at most the largest shear criterion and at least sqrt(3)/2 of it (textbook)."""
    section = bore * ratio
    stresses = [float(pressure.stress_hoop_bore_pa(p, 0.0, section, bore)), load / float(tension.area_wall_m2(section, bore)), -p]
    widest = max(stresses) - min(stresses)
    found = float(strength.stress_combined_pa(load, p, 0.0, section, bore))
    assert 0.75**0.5 * widest * (1 - 1e-9) <= found + 1e-6 <= widest * (1 + 1e-9) + 2e-6


def test_reference_affinity_laws():
    """Pump handbooks: flow with speed, head with its square; 80 Hz on a pump for 60 Hz is 1.78 times the head."""
    assert pump.head_at_speed_m(100.0, 80 / 60, 2.0) == pytest.approx(177.8, abs=0.05)
    assert pump.flow_at_speed_m3_per_s(1e-3, 50 / 60) == pytest.approx(8.333e-4, rel=1e-3)
    assert pump.head_at_speed_m(100.0, 50 / 60, 2.0) == pytest.approx(69.4, abs=0.05)
    assert pump.head_shutoff_m(100.0, 1.3, 80 / 60, 2.0) == pytest.approx(231.1, abs=0.1)
    assert pump.head_shutoff_m(100.0, 1.3, 1.0, 2.0) == pytest.approx(130.0)


def test_a_pump_without_shutoff_head_has_none():
    assert np.isnan(pump.head_shutoff_m(100.0, np.nan, 1.0, np.nan))
    assert np.isnan(pump.head_at_speed_m(100.0, -1.0, 2.0)) and pump.head_at_speed_m(100.0, 0.0, 2.0) == 0.0


def test_data_shutoff_ratios_of_pump_kinds():
    rows = pd.DataFrame(schema.rows("reference/pump_shutoff")).set_index("pump_kind_code")
    assert set(rows.index) <= set(schema.codes("pump_kind")) and rows.index.is_unique
    assert set(rows["reference_id"]) <= {row["reference_id"] for row in schema.rows("references")}
    for kind, row in rows.iterrows():
        numbers = [row[f"ratio_shutoff_{end}"] for end in ("low", "base", "high")] + [row["exponent_speed"]]
        if row["has_shutoff"] == "yes":
            low, base, high, exponent = map(float, numbers)
            assert 1.0 < low <= base <= high <= 1.6 and exponent == 2.0, kind
        else:
            assert numbers == [""] * 4, kind
    practice = next(row for row in schema.rows("practice") if row["practice_id"] == "ratio_shutoff")
    for end in ("low", "base", "high"):  # the value the engine uses is the one of the common submersible
        assert float(rows.loc["submersible", f"ratio_shutoff_{end}"]) == float(practice[end])


def test_storage_below_the_intake_is_not_counted():
    assert well.volume_available_m3(10.0, 12.0, 1.0, 0.15, 1e-4, 3600.0) == pytest.approx(0.36)
    assert well.depth_least_m(0.2, 12.0, 1.0, 0.15, 1e-4, 3600.0) == 13.0
    assert np.isnan(well.flow_mean_m3_per_s(1.0, 0.0))
    for hole in range(6):
        values = [40.0, 5.0, 5.0, 0.152, 1e-4, 7200.0]
        values[hole] = np.nan
        assert np.isnan(well.volume_available_m3(*values)), hole
        assert np.isnan(well.depth_least_m(*values)), hole
