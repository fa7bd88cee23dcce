"""Hanging load, net section, stretch."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import schema
from pipeline.physics import handling, stretch, tension, well
from pipeline.units import convert

PSI, FT, IN = float(convert(1.0, "psi", "Pa")), 0.3048, 0.0254
LBF = float(convert(1.0, "lbf", "N"))
GAMMA = 0.43333 * PSI / FT
GAMMA_FT3 = 62.4 * LBF / FT**3
BORE, OUTSIDE = 1.049 * IN, 1.283 * IN  # 1 in SIDR 9
PUMP_VOLUME = 30 * LBF / 9.80665 / 7800  # 30 lb set, density of schemas/practice.csv
PE = (300 * FT, 200 * FT, 0.177 * LBF / FT, 0.15 * LBF / FT, 30 * LBF, PUMP_VOLUME, 0.0,
      float(tension.area_bore_m2(BORE)), float(tension.area_bore_m2(OUTSIDE)))  # fmt: skip
DEAD_HEAD = (390 - 200) * FT * GAMMA


def test_reference_hanger_load_of_pe():
    """Free body, computed by hand in lbf: running 60 psi 232.4; dead-head 390 ft 251.7; pulled full 180.5."""
    found = tension.load_hanging_n(*PE, np.array([60 * PSI, DEAD_HEAD, 0.0]), GAMMA) / LBF
    assert found == pytest.approx([232.4, 251.7, 180.5], rel=0.005)
    assert found[0] / 0.4287 == pytest.approx(543, rel=0.005)  # psi on the wall: 542 to 544


def test_reference_wall_tension_at_the_pump():
    """26.1 + 146.1 - 18.6 = 153.6 lbf at dead-head (free body of the pump)."""
    bore_pressure = DEAD_HEAD + 300 * FT * GAMMA
    assert tension.load_axial_n(300 * FT, *PE, bore_pressure, GAMMA) / LBF == pytest.approx(153.6, rel=0.005)


def test_reference_loads_of_pulling():
    """180.5 full, 170.3 just clear of the water, 128.1 drained (free body); no wellhead pressure."""
    assert tension.load_clear_of_water_n(*PE[:5], PE[7], GAMMA) / LBF == pytest.approx(170.3, rel=0.005)
    assert tension.load_drained_n(PE[0], *PE[2:5]) / LBF == pytest.approx(128.1, rel=0.005)
    assert tension.load_pulling_n(*PE, GAMMA) / LBF == pytest.approx(180.5, rel=0.005)


def test_reference_long_steel_string():
    """1-1/2 in Sch 40, 800 ft, water 700, pump 120 lb, cable 0.3 lb/ft, 60 psi: 3,225 lbf; pipe 2,176, water 617 lb."""
    bore, outside = tension.area_bore_m2(1.61 * IN), tension.area_bore_m2(1.9 * IN)
    found = tension.load_hanging_n(
        800 * FT, 700 * FT, 2.72 * LBF / FT, 0.3 * LBF / FT, 120 * LBF, 
        120 * LBF / 9.80665 / 7800, 0.0, bore, outside, 60 * PSI, GAMMA,
    )  # fmt: skip
    assert found / LBF == pytest.approx(3225, rel=0.005)
    assert well.volume_bore_m3(1.61 * IN, 700 * FT) * GAMMA / LBF == pytest.approx(617, rel=0.01)


@pytest.mark.parametrize(("pipe", "bore", "outside", "wet", "psi", "lbf"), [
    (1.69, 1.049, 1.315, 0, 0, 477.9), (0.402, 0.935, 1.315, 100, 60, 187.3),
])  # fmt: skip
def test_reference_two_more_strings(pipe, bore, outside, wet, psi, lbf):
    """200 ft of galvanised, and of PVC Sch 80 half in water; 35 lb pump, 0.15 lb/ft cable (computed)."""
    areas = (tension.area_bore_m2(bore * IN), tension.area_bore_m2(outside * IN))
    found = tension.load_hanging_n(
        200 * FT, (200 - wet) * FT, pipe * LBF / FT, 0.15 * LBF / FT, 35 * LBF, 0.0, 0.0, *areas, psi * PSI, GAMMA_FT3
    )
    assert found / LBF == pytest.approx(lbf, rel=0.005)


def test_reference_thread_root_against_the_table():
    """ASME B1.20.1 table, three copies: root diameter at the hand-tight plane."""
    for row in schema.rows("reference/threads"):
        if row["thread_code"] != "npt":
            continue
        pipe = next(r for r in schema.rows("reference/pipe_steel") if r["nominal_size"] == row["nominal_size"])
        sizes = (float(x) / 1000 for x in (pipe["diameter_outside_mm"], row["pitch_mm"], row["length_hand_tight_mm"]))
        assert tension.diameter_root_npt_m(*sizes) * 1000 == pytest.approx(float(row["diameter_root_mm"]), abs=0.005)


@pytest.mark.parametrize(("size", "outside", "bore", "in2"), [
    ("1 in", 1.315, 0.957, 0.3541), ("1-1/4 in", 1.66, 1.278, 0.5171),
    ("2 in", 2.375, 2.067, 0.5386), ("4 in", 4.5, 4.026, 1.7049),
])  # fmt: skip
def test_reference_net_section(size, outside, bore, in2):
    """Root area at the hand-tight plane, from the B1.20.1 table (computed)."""
    row = next(r for r in schema.rows("reference/threads") if r["nominal_size"] == size)
    found = tension.area_wall_m2(float(row["diameter_root_mm"]) / 1000, bore * IN)
    assert found / IN**2 == pytest.approx(in2, rel=0.002)


def test_reference_threaded_pvc_utilisation():
    """1-1/4 in Sch 80, 623 lbf: root x 2,000 psi 0.60, or gross x 1,000 psi 0.71; never both (1.20)."""
    root = tension.area_wall_m2(1.51381 * IN, 1.278 * IN) * 2000 * PSI
    gross = tension.area_wall_m2(1.66 * IN, 1.278 * IN) * 1000 * PSI
    assert 623 * LBF / root == pytest.approx(0.60, abs=0.005)
    assert 623 * LBF / gross == pytest.approx(0.71, abs=0.005)


def test_reference_stretch_of_pe():
    """300 ft of 1 in SIDR 9 running at 60 psi: 0.788 % after 50 years (28 ksi), 0.242 % at once (110 ksi)."""
    for modulus, poisson, share in ((28e3, 0.45, 0.788), (110e3, 0.35, 0.242)):
        found = stretch.stretch_m(*PE, 60 * PSI, GAMMA, modulus * PSI, poisson) / PE[0] * 100
        assert found == pytest.approx(share, rel=0.02)
        blind = stretch.stretch_m(*PE, 60 * PSI, GAMMA, modulus * PSI, 0.0) / PE[0] * 100
        assert blind > 1.3 * found  # without Poisson's ratio the figure is far too high


def test_reference_stretch_by_pressure_alone():
    """100 psi, 300 ft, nu 0.45, 28,000 psi: 2.59 in by the thick wall; the thin form gives 3.20."""
    found = stretch.stretch_pressure_m(100 * PSI, 300 * FT, OUTSIDE, BORE, 28e3 * PSI, 0.45) / IN
    assert found == pytest.approx(2.59, rel=0.005)


def test_reference_creep_and_warmth():
    """200 lbf on 200 ft of 1 in SIDR 7 after 50 years 30.34 in; PVC 300 ft, 30 degF 3.13 in (computed)."""
    wall = tension.area_wall_m2(1.349 * IN, BORE)
    assert stretch.stretch_creep_m(200 * LBF, 0.0, 200 * FT, wall, 28e3 * PSI) / IN == pytest.approx(30.34, rel=0.005)
    assert stretch.stretch_thermal_m(2.9e-5 * 1.8, 300 * FT, 30 / 1.8) / IN == pytest.approx(3.13, rel=0.001)


def test_stretch_against_numerical_integration():
    z = np.linspace(0.0, PE[0], 20_001)
    inside, outside = 60 * PSI + GAMMA * z, GAMMA * np.maximum(0.0, z - PE[1])
    load = tension.load_axial_n(z, *PE, inside, GAMMA)
    strain = stretch.strain_axial(load, inside, outside, PE[7], PE[8], 28e3 * PSI, 0.45)
    whole = stretch.stretch_m(*PE, 60 * PSI, GAMMA, 28e3 * PSI, 0.45)
    assert whole == pytest.approx(np.trapezoid(strain, z), rel=1e-7)


def test_missing_stays_missing():
    with np.errstate(invalid="ignore"):
        values = [*PE, 60 * PSI, GAMMA]
        for hole in (0, 1, 2, 3, 4, 5, 7, 8, 9, 10):
            assert np.isnan(tension.load_hanging_n(*(np.nan if i == hole else v for i, v in enumerate(values)))), hole
        for hole in (0, 1, 2, 3, 4):
            pulled = [np.nan if i == hole else v for i, v in enumerate([*PE, GAMMA])]
            assert np.isnan(tension.load_pulling_n(*pulled)), hole
        assert np.isnan(handling.piece_count(np.nan, 6.096))


@settings(max_examples=120, deadline=None)
@given(st.floats(10.0, 400.0), st.floats(0.0, 300.0), st.floats(0.0, 450.0), st.floats(0.0, 1e6))
def test_property_longer_string_never_hangs_lighter(length, extra, level, head):
    """Holds for pipe no lighter than the water it displaces with its bore full, as every option is with its cable."""
    rest = (level, 0.177 * LBF / FT, 0.15 * LBF / FT, 133.0, 0.0017, 0.0, PE[7], PE[8])
    short = tension.load_hanging_n(length, *rest, head, 9806.65)
    longer = tension.load_hanging_n(length + extra, *rest, head, 9806.65)
    buoyed_pump = 9806.65 * 0.0017  # the pump itself may dip into the water
    assert longer >= short - buoyed_pump - 1e-6


@settings(max_examples=120, deadline=None)
@given(st.floats(10.0, 400.0), st.floats(0.0, 450.0), st.floats(0.0, 1.0))
def test_property_tension_between_hanger_and_pump(length, level, share):
    """The load at the hanger is the load at any depth and the weight of what lies between, less its buoyancy."""
    depth = share * length
    rest = (length, level, 9.0, 2.0, 133.0, 0.0017, 1e-4, PE[7], PE[8])
    top = tension.load_axial_n(0.0, *rest, 0.0, 9806.65)
    here = tension.load_axial_n(depth, *rest, 9806.65 * depth, 9806.65)
    wet = max(0.0, depth - level)
    between = (9.0 + 2.0) * depth - 9806.65 * 1e-4 * wet
    assert top == pytest.approx(here + between, rel=1e-9, abs=1e-6)
