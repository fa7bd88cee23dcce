"""Replacement rates over invented cohorts."""

import math

import numpy as np
import pandas as pd
import pytest

from pipeline.demand import replacement
from pipeline.settings import Settings

KEYS = replacement.KEYS
NO_END = {"practice_overlay": {"life_well": {"low": 1e6, "base": 1e6, "high": 1e6}}}


def base(*rows, region="R"):
    """Cohorts from (completed year or None, string year or None, state, material, wells)."""
    out = [("A", region, "domestic", None if c is None else c // 10 * 10, s, state, stuff, "neutral", int(1000 * n))
           for c, s, state, stuff, n in rows]  # fmt: skip
    frame = pd.DataFrame(out, columns=[*KEYS, "wells_milli"])
    return frame.astype({"completed_decade": "Int64", "start_year": "Int64"})


def told(found, draws=4, as_of="2023-06-30", **settings):
    rows = replacement.rates(found, Settings(draws=draws, **settings), as_of, families=())
    return rows


def test_columns_years_and_draws():
    got = replacement.rates(base((1990, 1990, "in_use", "", 5)), Settings(draws=3), "2023-06-30", ("pe",))
    assert list(got.columns) == replacement.RATES
    assert sorted(got["year"].unique()) == [2024, 2025, 2026, 2027, 2028]
    assert set(got["draw"]) == {0, 1, 2} and set(got["family_code"]) == {"", "pe"}
    for name in ("share_pipe_fraction", "share_goods_fraction"):
        assert got[name].between(0, 1).all()


def test_a_pull_cycle_of_twelve_years_is_about_eight_in_a_hundred():
    # renewal theorem: one over the mean of Weibull's law with median 12 and shape 2.5, 13.89 gamma(1.4) = 12.3 years;
    # pipe that fails by itself comes on top, wells no longer used come off
    got = told(base(*[(y, y, "in_use", "pe", 10) for y in range(1960, 2000)]), 32, **NO_END)
    yearly = got.groupby(["completed_decade", "year", "draw"])["events_fraction"].mean().mean()
    assert 1 / (13.89 * math.gamma(1.4)) < yearly < 0.11


def test_a_later_record_of_the_pump_makes_the_string_young():
    got = [told(base((1980, year, "in_use", "galvanised", 5)), **NO_END) for year in (1980, 2021)]
    old, new = (rows.loc[rows["year"] == 2024, "events_fraction"].mean() for rows in got)
    assert new < 0.5 * old


def test_unknown_years_are_those_of_the_region_then_area_then_all():
    known = base((1985, 1985, "in_use", "pe", 3), (2005, 2005, "in_use", "pe", 1))
    lost = base((None, None, "in_use", "pe", 8))
    spread = replacement.dated(pd.concat([known, lost]), Settings(), 2023)
    undated = spread[spread["completed_decade"].isna()].set_index("start_year")["wells_milli"]
    assert undated.to_dict() == {1985: 6000.0, 2005: 2000.0}
    other = base((None, None, "in_use", "pe", 8), region="S")
    spread = replacement.dated(pd.concat([known, other]), Settings(), 2023)
    assert spread[spread["region_code"] == "S"]["wells_milli"].tolist() == [6000.0, 2000.0]
    far = other.assign(area_code="B")
    spread = replacement.dated(pd.concat([known, far]), Settings(), 2023)
    assert spread[spread["area_code"] == "B"]["wells_milli"].tolist() == [6000.0, 2000.0]
    alone = replacement.dated(lost, Settings(), 2023)
    assert alone["wells_milli"].sum() == pytest.approx(8000.0) and alone["start_year"].between(1978, 2018).all()


def test_undated_wells_get_the_mean_of_the_dated():
    known = base((1985, 1985, "in_use", "pe", 3), (2015, 2015, "in_use", "pe", 1))
    got = told(pd.concat([known, base((None, None, "in_use", "pe", 8))]))
    by = got.groupby("completed_decade", dropna=False)["events_fraction"].mean()
    assert by[by.index.isna()].iloc[0] == pytest.approx(0.75 * by[1980] + 0.25 * by[2010], rel=1e-9)


def test_wells_out_of_work_are_brought_back_over_years_and_not_replaced():
    got = told(base((1990, 1990, "not_working", "", 2), (1990, 1990, "in_use", "", 2)), 64)
    back = got[got["cause_code"] == "rehabilitated"]
    whole = back.groupby("draw")["events_fraction"].sum()
    assert whole.median() == pytest.approx(0.5 * 0.5, abs=0.05)  # half the wells, half of them brought back
    assert (back[["share_pipe_fraction", "share_goods_fraction"]] == 1).all(axis=None)
    all_work = told(base((1990, 1990, "in_use", "", 4)), 64)
    replaced = got[got["cause_code"] == "replaced"]["events_fraction"].sum()
    assert replaced == pytest.approx(all_work["events_fraction"].sum() / 2, rel=1e-9)


def test_share_of_pipe_by_material():
    shares = {}
    for stuff in ("pe", "pvc", "stainless", "galvanised"):
        got = told(base((2012, 2012, "in_use", stuff, 5)), 32)
        shares[stuff] = np.average(got["share_pipe_fraction"], weights=got["events_fraction"])
    assert shares["pe"] > 0.85 and 0.5 < shares["pvc"] < 0.65 and shares["stainless"] < 0.2
    young = told(base((2016, 2016, "in_use", "galvanised", 5)), 32)
    assert np.average(young["share_pipe_fraction"], weights=young["events_fraction"]) < shares["galvanised"] + 0.02


def test_acid_water_shortens_the_life_of_galvanised_pipe():
    plain = base((2022, 2022, "in_use", "galvanised", 5))
    acid, neutral = (told(rows, 16) for rows in (plain.assign(water_code="acid"), plain))
    # in a few years it is gone; then other pipe hangs there
    soon = [rows.loc[rows["year"] == 2025, "events_fraction"].mean() for rows in (acid, neutral)]
    assert soon[0] > 4 * soon[1]


def test_property_merging_or_splitting_rows_changes_nothing():
    found = base((1990, 1990, "in_use", "pe", 4), (1991, 1991, "in_use", "", 2), (None, None, "in_use", "", 3))
    half = found.assign(wells_milli=found["wells_milli"] // 2)
    twice = pd.concat([half, half]).sample(frac=1, random_state=1)
    one, two = told(found), told(twice)
    pd.testing.assert_frame_equal(one, two, check_exact=False, rtol=1e-12)


def test_material_shares_add_up_and_turn_to_plastics():
    years = np.arange(1950, 2025)
    for draw in range(8):
        for duty in (False, True):
            shares = replacement.installed_shares(years, replacement.Believed(Settings(), draw), duty)
            np.testing.assert_allclose(shares.sum(axis=0), 1.0)
            assert (shares >= 0).all() and shares[4, 0] > 0.5
    plain = replacement.installed_shares(years, replacement.Believed(Settings(), 0), False)
    assert plain[4, -1] < 0.3


def test_cohorts_of_a_run(sample_run):
    from pipeline import io

    found = replacement.cohorts(sample_run, Settings())
    wells = io.read_table("wells", sample_run)
    want = (wells["weight_inclusion_fraction"] * 1000).round().sum()
    assert found["wells_milli"].sum() == want
    assert not found.duplicated(KEYS).any()
    later = pd.to_datetime(wells["pump_installed_date"]).notna().sum()
    made = wells["completed_date"].notna() | wells["pump_installed_date"].notna()
    dated = found.loc[found["start_year"].notna(), "wells_milli"].sum()
    assert later >= 0 and dated == (wells.loc[made, "weight_inclusion_fraction"] * 1000).round().sum()
    got = replacement.rates(found, Settings(draws=4), "2024-12-31", ("pe",))
    assert not got.empty and (got["events_fraction"] < 0.5).all()


def test_no_date_of_the_run_no_rates():
    assert replacement.rates(base((1990, 1990, "in_use", "", 5)), Settings(draws=2), "").empty
    assert replacement.rates(base(), Settings(draws=2), "2023-01-01").empty
