"""The compiled kernel against its own calculation sheet, Colebrook, chunking and missing inputs."""

import numpy as np
import pytest

from pipeline.materials import catalogue
from pipeline.physics import friction
from pipeline.settings import Settings
from pipeline.sizing import kernel, tables
from pipeline.sizing.choose import decide, sheets
from pipeline.sizing.constants import FAMILIES, market, temperature_factors
from pipeline.sizing.kernel import NOT_MET
from pipeline.sizing.layout import O, Q, R, W


@pytest.fixture(scope="module")
def us():
    settings = Settings()
    return market("us", False, settings, catalogue(settings))


def wells(n, seed=3):
    pick = np.random.default_rng(seed)
    out = np.full((n, len(W)), np.nan)
    ranges = {
        "flow": (1e-5, 8e-3), "head": (5, 350), "head_is_given": (0, 0), "length": (5, 400), "depth_pump": (6, 401),
        "depth_discharge": (-0.5, 1.5), "level_static": (0, 150), "level_pumping": (10, 250), "gamma": (9750, 9806),
        "viscosity": (8e-7, 1.6e-6), "pressure_head": (0, 6e5), "ratio_shutoff": (1.2, 1.4), "weight_pump": (50, 2000),
        "weight_cable_per_m": (0, 6), "volume_pump": (1e-4, 3e-2), "area_cable": (0, 2e-4), "bore": (0.09, 0.3),
        "width_pump": (0.07, 0.1), "ph": (5, 9), "chloride": (0, 800), "temperature": (2, 55), "hand": (0, 0),
        "fuel": (0, 0),
    }  # fmt: skip
    for name, (low, high) in ranges.items():
        out[:, W[name]] = pick.uniform(low, high, n)
    out[::3, W["head_shutoff"]] = pick.uniform(50, 500, len(out[::3]))
    out[::4, W["ph"]] = np.nan
    out[::9, W["fuel"]] = 1.0
    out[::5, W["chloride"]] = np.nan
    return out


def test_places_of_kernel_and_layout_agree():
    for prefix, places in (("O", O), ("W", W), ("R", R), ("Q", Q)):
        for name, place in places.items():
            assert getattr(kernel, f"{prefix}_{name.upper()}") == place


def test_kernel_and_sheet_agree_on_every_option(us):
    found = wells(120)
    factors = temperature_factors(us, found[:, W["temperature"]])
    choice = decide(us, found, factors)
    m = len(us.index)
    spread = sheets(us, np.repeat(found, m, axis=0), np.tile(np.arange(m), len(found)), np.repeat(factors, m, axis=0))
    recorded = np.repeat(~np.isnan(found[:, W["head_shutoff"]]), m)
    passes = ~tables.stops(spread.use, recorded).any(axis=1).reshape(len(found), m)
    score = np.where(passes, spread.quantity[:, Q["score"]].reshape(len(found), m), NOT_MET)
    for f in range(len(FAMILIES)):
        own = us.families == f
        least = score[:, own].min(axis=1)
        np.testing.assert_allclose(choice.score[:, f], least, rtol=1e-9)
        none = least == NOT_MET
        assert (choice.best[none, f] == -1).all()
        picked = choice.best[~none, f]
        np.testing.assert_allclose(score[~none, picked], least[~none], rtol=1e-9)
    assert passes.any() and not passes.all()


def test_friction_table_within_a_ten_millionth_of_colebrook(us):
    # every roughness in the tables, Reynolds numbers of 4,000 to ten million
    pick = np.random.default_rng(5)
    m = len(us.index)
    one = wells(1)
    for reynolds in np.exp(pick.uniform(np.log(4.0e3), np.log(1e7), 300)):
        for j in pick.integers(0, m, 6):
            row = one.copy()
            ratio = reynolds / us.constants[O["reynolds_per_ratio"], j]
            row[0, W["viscosity"]] = 1.2e-6
            row[0, W["flow"]] = ratio * 1.2e-6
            found = sheets(us, row, np.array([j])).quantity[0, Q["friction"]]
            stuff = us.frame.iloc[j]
            bore = float(stuff["diameter_inside_mm"]) / 1000
            exact = friction.head_friction_m(row[0, W["flow"]], row[0, W["length"]], bore,
                                             float(stuff["roughness_mm"]) / 1000, 1.2e-6)  # fmt: skip
            assert found == pytest.approx(float(exact), rel=1e-7)


@pytest.mark.parametrize("reynolds", [50, 900, 1999, 2001, 2600, 3999])
def test_laminar_exact_and_one_rule_between(us, reynolds):
    row = wells(1)
    j = 7
    row[0, W["viscosity"]] = 1.2e-6
    row[0, W["flow"]] = reynolds / us.constants[O["reynolds_per_ratio"], j] * 1.2e-6
    stuff = us.frame.iloc[j]
    exact = friction.head_friction_m(row[0, W["flow"]], row[0, W["length"]], float(stuff["diameter_inside_mm"]) / 1000,
                                     float(stuff["roughness_mm"]) / 1000, 1.2e-6)  # fmt: skip
    assert sheets(us, row, np.array([j])).quantity[0, Q["friction"]] == pytest.approx(float(exact), rel=1e-12)


def test_chunks_equal_the_whole_bit_for_bit(us):
    found = wells(1000)
    whole = decide(us, found)
    parts = [decide(us, found[a : a + size]) for size in (1, 7, 333) for a in range(0, 999, size)]
    for name in ("best", "score", "closest", "worst"):
        joined = {1: [], 7: [], 333: []}
        place = 0
        for size in joined:
            count = len(range(0, 999, size))
            joined[size] = np.concatenate([getattr(p, name) for p in parts[place : place + count]])
            place += count
            n = len(joined[size])
            assert np.array_equal(joined[size], getattr(whole, name)[:n], equal_nan=True), (name, size)


@pytest.mark.parametrize("name", ["flow", "head", "length", "level_static", "level_pumping", "weight_pump", "bore",
                                  "temperature", "gamma", "viscosity", "pressure_head", "depth_discharge",
                                  "fuel"])  # fmt: skip
def test_a_missing_number_never_passes(us, name):
    found = wells(50)
    found[:, W[name]] = np.nan
    assert (decide(us, found).best == -1).all()


@pytest.mark.parametrize("value", [0.0, -1.0, np.inf, 1e30])
@pytest.mark.parametrize("name", ["flow", "length", "head", "bore"])
def test_absurd_numbers_do_not_break(us, name, value):
    found = wells(20)
    found[:, W[name]] = value
    choice = decide(us, found)
    assert choice.best.shape == (20, len(FAMILIES))
    if (name == "bore" and value <= 0) or (name == "length" and value > 1e6):
        assert (choice.best == -1).all()
