"""What must hold whatever the numbers: of single formulas and of options held against wells."""

from __future__ import annotations

import inspect
from functools import cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from wells import G1, design_of, sized

from pipeline import schema
from pipeline.materials import catalogue
from pipeline.physics import (
    chemistry,
    friction,
    handling,
    pressure,
    pump,
    strength,
    stretch,
    surge,
    tension,
    water,
    well,
)
from pipeline.settings import Settings
from pipeline.sizing.choose import groups, sheets
from pipeline.sizing.constants import temperature_factors
from pipeline.sizing.inputs import matrix
from pipeline.sizing.layout import CHECKS, W

MODULES = (chemistry, friction, handling, pressure, pump, strength, stretch, surge, tension, water, well)
FORMULAS = {
    f"{module.__name__.rpartition('.')[2]}.{name}": function
    for module in MODULES for name, function in vars(module).items() if hasattr(function, "scalar")
}  # fmt: skip
PLASTICS = [row["material_id"] for row in schema.rows("materials") if row["family_code"] in ("pe", "pvc", "pex")]
SETTINGS = Settings(draws=0)
MARKETS = ("us", "metric")


@cache
def group_of(market):
    return groups(design_of(G1).assign(market_code=market), SETTINGS, catalogue(SETTINGS))[0][0]


def test_every_formula_is_found():
    assert len(FORMULAS) > 60


@pytest.mark.parametrize("name", sorted(FORMULAS))
def test_property_array_form_is_the_scalar_form_for_every_formula(name):
    """Same numbers, bit for bit, for whole columns, one value and a broadcast; NaN where an input is NaN."""
    function = FORMULAS[name]
    count = len(inspect.signature(function.scalar.py_func).parameters)
    pick = np.random.default_rng(len(name))
    columns = pick.uniform(0.05, 4.0, (count, 12))
    whole = np.asarray(function(*columns))
    single = [float(function(*column)) for column in columns.T]
    np.testing.assert_array_equal(whole, single)
    by_scalar = [float(function.scalar(*column)) for column in columns.T.tolist()]
    np.testing.assert_array_equal(np.isnan(whole), np.isnan(by_scalar))
    np.testing.assert_allclose(whole, by_scalar, rtol=1e-13)
    spread = np.asarray(function(columns[0], *columns[1:, 0]))
    assert spread.shape == (12,)
    np.testing.assert_array_equal(spread[0], whole[0])


@settings(max_examples=60, deadline=None)
@given(st.floats(0.0, 95.0), st.floats(0.0, 40.0))
def test_property_hotter_water_never_raises_a_plastic_rating(celsius, rise):
    """Every plastic of materials.csv by the rule the engine uses for it, design basis or table."""
    for group in map(group_of, MARKETS):
        factors = temperature_factors(group, np.array([celsius, celsius + rise]))
        for place, name in enumerate(group.material_ids):
            if name in PLASTICS:
                assert 0.0 <= factors[1, place] <= factors[0, place] <= 1.0, name


def test_data_every_plastic_has_a_rating_that_falls_and_ends():
    for group in map(group_of, MARKETS):
        factors = temperature_factors(group, np.array([10.0, 35.0, 99.0]))
        for place, name in enumerate(group.material_ids):
            if name in PLASTICS:
                assert factors[0, place] == 1.0 > factors[1, place] > 0.0 == factors[2, place], name
            else:
                assert (factors[:, place] == 1.0).all(), name


CARRIED = ["pressure_running", "pressure_dead_head", "tension_sustained", "tension_pulling"]


@settings(max_examples=60, deadline=None)
@given(
    market=st.sampled_from(["us", "metric"]), head=st.floats(20.0, 600.0), flow=st.floats(1e-4, 4e-3),
    length=st.floats(10.0, 400.0), celsius=st.floats(5.0, 55.0), pump_weight=st.floats(60.0, 900.0),
    shutoff=st.floats(1.0, 1.6),
)  # fmt: skip
def test_property_a_stronger_class_never_fails_where_a_weaker_passes(
    market, head, flow, length, celsius, pump_weight, shutoff
):
    """Of one material, standard, size and joint: what the wall must carry at a given running head.

    Surge is left out: a thicker wall of one outside diameter leaves less bore, so faster water and a harder surge.
    """
    group = group_of(market)
    row = matrix(design_of(G1), SETTINGS)[0]
    changes = {"head": head, "head_is_given": 1.0, "flow": flow, "length": length, "temperature": celsius,
               "level_static": length / 3, "level_pumping": length / 2, "weight_pump": pump_weight,
               "head_shutoff": shutoff * head}  # fmt: skip
    for name, value in changes.items():
        row[W[name]] = value
    m = len(group.index)
    found = sheets(group, np.repeat(row[None, :], m, axis=0), np.arange(m))
    passes = (found.use[:, [CHECKS.index(c) for c in CARRIED]] <= 1.0).all(axis=1)
    options = group.frame.assign(passes=passes, rating=pd.to_numeric(group.frame["rating_kpa"], errors="coerce"))
    options["strength"] = options["rating"].fillna(pd.to_numeric(options["wall_min_mm"]))
    for key, same in options.groupby(["material_id", "standard", "nominal_size", "joint_code"]):
        ordered = same.sort_values("strength")["passes"].to_list()
        assert ordered == sorted(ordered), (key, same[["option_id", "strength", "passes"]])


@settings(max_examples=80, deadline=None)
@given(st.floats(1e-5, 0.02), st.floats(5.0, 300.0), st.floats(0.015, 0.1), st.floats(1.0, 3.0), st.floats(0, 3e-4))
def test_property_larger_bore_never_raises_friction(flow, length, bore, ratio, rough):
    """Darcy with its join between laminar and turbulent flow, Hazen-Williams, and the velocity itself."""
    wide = bore * ratio
    assert friction.head_friction_m(flow, length, wide, rough, 1.1e-6) <= friction.head_friction_m(
        flow, length, bore, rough, 1.1e-6
    )
    assert friction.head_hazen_williams_m(flow, length, wide, 140.0) <= friction.head_hazen_williams_m(
        flow, length, bore, 140.0
    )
    assert friction.velocity_m_per_s(flow, wide) <= friction.velocity_m_per_s(flow, bore)


@settings(max_examples=80, deadline=None)
@given(
    st.floats(10.0, 300.0), st.floats(0.0, 200.0), st.floats(0.0, 300.0), st.floats(0.0, 8e5), st.floats(0.02, 0.08),
    st.floats(0.05, 0.2), st.floats(1000.0, 8000.0),
)  # fmt: skip
def test_property_longer_string_never_pulls_or_hangs_lighter(length, extra, level, head, bore, wall, density):
    """Running and while pulled, where pipe and cable are no lighter than the water they displace with the bore full.

    Polyethylene floats: its cable makes up for it on every option. The pump itself may dip into the water.
    """
    outside = bore * (1 + 2 * wall)
    pipe = density * 9.80665 * tension.area_wall_m2(outside, bore)
    rest = (level, pipe, 1.5, 150.0, 0.002, 1e-4, tension.area_bore_m2(bore), tension.area_bore_m2(outside))
    dip = 9806.65 * 0.002 + 1e-6
    assert tension.load_hanging_n(length + extra, *rest, head, 9806.65) >= tension.load_hanging_n(
        length, *rest, head, 9806.65) - dip  # fmt: skip
    assert tension.load_pulling_n(length + extra, *rest, 9806.65) >= tension.load_pulling_n(length, *rest, 9806.65) - dip


@settings(max_examples=60, deadline=None)
@given(
    st.floats(10, 200), st.floats(1, 60), st.floats(1, 8), st.floats(0.08, 0.3), st.floats(0, 1e-3),
    st.floats(600, 3e4), st.floats(1e-3, 20),
)  # fmt: skip
def test_property_least_depth_meets_the_need_and_a_shallower_well_does_not(
    extra, static, clearance, bore, inflow, seconds, need
):
    least = float(well.depth_least_m(need, static, clearance, bore, inflow, seconds))
    assert well.volume_available_m3(least, static, clearance, bore, inflow, seconds) >= need * (1 - 1e-9)
    assert least >= static + clearance
    if least > static + clearance + 0.2:
        assert well.volume_available_m3(least - 0.1, static, clearance, bore, inflow, seconds) < need
    deeper = well.volume_available_m3(least + extra, static, clearance, bore, inflow, seconds)
    assert deeper > well.volume_available_m3(least, static, clearance, bore, inflow, seconds)


@settings(max_examples=15, deadline=None)
@given(
    depth=st.floats(25, 250), static=st.floats(0.05, 0.7), flow=st.floats(0.15, 2.5), cutout=st.floats(150, 600),
    casing=st.floats(100, 210), celsius=st.floats(5, 35), acidity=st.floats(5.5, 8.5),
)  # fmt: skip
def test_property_feet_psi_gpm_and_si_choose_the_same_pipe(depth, static, flow, cutout, casing, celsius, acidity):
    """Definitions of the units (NIST Handbook 44): 0.3048 m, 6.894757 kPa, 3.785412 L, 25.4 mm, 1.8 degF."""
    level = depth * static
    metric = {
        "use": "domestic", "depth_completed": f"{depth!r} m", "depth_static": f"{level!r} m", "acidity_ph": f"{acidity!r}",
        "flow_tested": f"{flow!r} L/s", "pressure_cutout": f"{cutout!r} kPa", "temperature_water": f"{celsius!r} degC",
        "diameter_casing_inside": f"{casing!r} mm",
    }  # fmt: skip
    us = {
        **metric, "depth_completed": f"{depth / 0.3048!r} ft", "depth_static": f"{level / 0.3048!r} ft",
        "flow_tested": f"{flow * 60 / 3.785411784!r} gpm", "pressure_cutout": f"{cutout / 6.894757293168!r} psi",
        "temperature_water": f"{celsius * 1.8 + 32!r} degF", "diameter_casing_inside": f"{casing / 25.4!r} in",
    }  # fmt: skip
    found = sized(metric, us, settings=SETTINGS)["selection"]
    first, second = found["option_id"].astype(object).where(found["option_id"].notna(), None)
    assert first == second
    lengths = found["length_drop_pipe_m"].to_numpy(float)
    np.testing.assert_allclose(lengths[0], lengths[1], rtol=1e-9)
