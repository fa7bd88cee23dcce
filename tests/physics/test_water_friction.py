"""Water and friction against tables, another library and what must always hold."""

from __future__ import annotations

import fluids
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import schema
from pipeline.physics import friction, water
from pipeline.units import convert

GPM = float(convert(1.0, "gpm", "m**3/s"))
FT, IN = 0.3048, 0.0254


def test_reference_water_against_the_iapws_table():
    """schemas/reference/water.csv: rows of an IAPWS library, 40 to 100 degF."""
    rows = pd.DataFrame(schema.rows("reference/water"))
    celsius = convert(rows["temperature_degf"].astype(float), "degF", "degC")
    density = rows["density_kg_per_m3"].astype(float)
    viscosity = rows["viscosity_kinematic_ft2_per_s"].astype(float) * FT**2
    np.testing.assert_allclose(water.density_kg_per_m3(celsius), density, rtol=2e-5)
    np.testing.assert_allclose(water.viscosity_kinematic_m2_per_s(celsius), viscosity, rtol=1e-3)


@pytest.mark.parametrize(("degf", "lbf_per_ft3"), [(40, 62.42), (60, 62.34), (80, 62.19), (100, 62.0)])
def test_reference_specific_weight_against_a_pump_trade_table(degf, lbf_per_ft3):
    """Pump trade body's water table; its 60 degF row differs from IAPWS by 0.04 %."""
    expected = float(convert(lbf_per_ft3, "lbf/ft**3", "N/m**3"))
    assert water.weight_specific_n_per_m3((degf - 32) / 1.8) == pytest.approx(expected, rel=1e-3)


def test_water_outside_its_range_is_missing():
    with np.errstate(invalid="ignore"):
        assert np.isnan(water.density_kg_per_m3([-1.0, 101.0, np.nan])).all()
        assert np.isnan(water.viscosity_dynamic_pa_s([-1.0, 101.0, np.nan])).all()


def test_reference_colebrook_against_the_fluids_library():
    """The general library `fluids` solves the same implicit formula (Clamond's method)."""
    pick = np.random.default_rng(7)
    reynolds = 10 ** pick.uniform(np.log10(4001), 8, 400)
    rough = np.concatenate([10 ** pick.uniform(-7, np.log10(0.05), 380), np.zeros(20)])
    theirs = [fluids.friction.Colebrook(Re=r, eD=e) for r, e in zip(reynolds, rough, strict=True)]
    np.testing.assert_allclose(friction.factor_colebrook(reynolds, rough), theirs, rtol=1e-9)


def test_reference_whole_head_against_the_fluids_library():
    """Darcy head of 1 in steel at 10 gpm, from the library's one-phase pressure drop."""
    bore, rough, flow = 1.049 * IN, 0.00015 * FT, 10 * GPM
    rho, mu = float(water.density_kg_per_m3(15.5)), float(water.viscosity_dynamic_pa_s(15.5))
    velocity = flow / (np.pi / 4 * bore**2)
    factor = fluids.friction_factor(Re=rho * velocity * bore / mu, eD=rough / bore, Method="Colebrook")
    theirs = factor * 30.48 / bore * velocity**2 / 2 / 9.80665
    assert friction.head_friction_m(flow, 30.48, bore, rough, mu / rho) == pytest.approx(theirs, rel=1e-9)


def test_reference_laminar_flow_is_poiseuille():
    """Hagen-Poiseuille: h = 32 nu L V/(g d^2) (textbook)."""
    nu, bore, length = 1e-6, 0.02, 100.0
    velocity = 1500 * nu / bore
    flow = velocity * np.pi / 4 * bore**2
    expected = 32 * nu * length * velocity / (9.80665 * bore**2)
    assert friction.head_friction_m(flow, length, bore, 1.5e-6, nu) == pytest.approx(expected, rel=1e-12)


def test_friction_factor_joins_up_between_laminar_and_turbulent():
    rough = 1e-4
    ends = friction.factor_friction([2000.0 - 1e-9, 2000.0, 4000.0 - 1e-9, 4000.0], rough)
    assert ends[0] == pytest.approx(0.032) and ends[1] == pytest.approx(0.032)
    assert ends[2] == pytest.approx(ends[3], rel=1e-9)
    assert friction.factor_friction(3000.0, rough) == pytest.approx((ends[1] + ends[3]) / 2)


@pytest.mark.parametrize(("bore_in", "c", "ft_per_100ft"), [(1.049, 150, 5.54), (1.38, 150, 1.46), (1.38, 100, 3.09)])
def test_reference_hazen_williams(bore_in, c, ft_per_100ft):
    """Hazen-Williams pages, 0.2083 (100/C)^1.852 Q^1.852/d^4.8655; 1 % for the rounded exponents."""
    found = friction.head_hazen_williams_m(10 * GPM, 100 * FT, bore_in * IN, c) / FT
    assert found == pytest.approx(ft_per_100ft, rel=0.01)


def test_reference_hazen_williams_constant():
    """Printed SI constant 10.67 (hydraulics pages); ours follows from 1.318 C R^0.63 S^0.54."""
    assert pytest.approx(10.67, abs=0.005) == friction.HAZEN_WILLIAMS_SI


def test_reference_copper_tube_size_costs_friction():
    """1 in copper-tube-size SDR 9 (bore 0.862 in) against 1.049 in at 10 gpm: 14.4 against 5.54 ft/100 ft."""
    small, large = friction.head_hazen_williams_m(10 * GPM, 100 * FT, np.array([0.862, 1.049]) * IN, 150) / FT
    assert small == pytest.approx(14.4, rel=0.02)
    assert small / large == pytest.approx(2.6, rel=0.02)


def test_reference_minor_loss():
    """K V^2/2g: K = 1 at 3.71 ft/s is 0.214 ft (arithmetic, g = 32.174 ft/s2)."""
    assert friction.head_minor_m(1.0, 3.71 * FT) / FT == pytest.approx(3.71**2 / 2 / 32.174, rel=1e-5)


def test_no_flow_no_friction_and_missing_stays_missing():
    with np.errstate(invalid="ignore"):
        assert friction.head_friction_m(0.0, 100.0, 0.03, 1e-6, 1e-6) == 0.0
        for hole in range(5):
            values = [1e-3, 100.0, 0.03, 1e-6, 1e-6]
            values[hole] = np.nan
            assert np.isnan(friction.head_friction_m(*values))
        assert np.isnan(friction.head_friction_m(0.0, np.nan, 0.03, 1e-6, 1e-6))


flows = st.floats(1e-6, 0.05)
bores = st.floats(0.015, 0.12)
roughs = st.floats(0.0, 3e-4)


@settings(max_examples=150, deadline=None)
@given(flows, st.floats(1.0, 400.0), st.floats(0.0, 200.0), bores, roughs)
def test_property_longer_pipe_never_loses_less(flow, length, extra, bore, rough):
    short = friction.head_friction_m(flow, length, bore, rough, 1.1e-6)
    assert friction.head_friction_m(flow, length + extra, bore, rough, 1.1e-6) >= short


@settings(max_examples=150, deadline=None)
@given(flows, st.floats(1.001, 2.0), bores, roughs)
def test_property_more_flow_or_less_bore_never_loses_less(flow, ratio, bore, rough):
    base = friction.head_friction_m(flow, 100.0, bore, rough, 1.1e-6)
    assert friction.head_friction_m(flow * ratio, 100.0, bore, rough, 1.1e-6) > base
    assert friction.head_friction_m(flow, 100.0, bore / ratio, rough, 1.1e-6) > base


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(flows, bores, roughs), min_size=1, max_size=8))
def test_property_array_series_and_single_values_agree(cases):
    flow, bore, rough = np.array(cases).T
    whole = friction.head_friction_m(flow, 100.0, bore, rough, 1.1e-6)
    series = friction.head_friction_m(pd.Series(flow), 100.0, pd.Series(bore), pd.Series(rough), 1.1e-6)
    single = [friction.head_friction_m(f, 100.0, b, r, 1.1e-6) for f, b, r in cases]
    assert list(whole) == single == list(series)
