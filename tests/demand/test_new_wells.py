"""New wells ahead: levels add up, nothing looks ahead, bands hold what they should, odd series end well."""

import numpy as np
import pandas as pd
import pytest

from pipeline import io
from pipeline.demand import new_wells
from pipeline.demand.new_wells_methods import METHODS, half_trend, procedure, smoothed, trend_damped
from pipeline.settings import Settings

DRAWS = 64


def folder_of(tmp_path, rows):
    """A run folder whose wells are rows of (area, region, use, date)."""
    frame = pd.DataFrame(rows, columns=["area_code", "region_code", "use_code", "completed_date"])
    frame["completed_date"] = [None if d is None else pd.Timestamp(d).date() for d in frame["completed_date"]]
    io.write_table("wells", frame.assign(
        source_id="invented", well_id=[f"W{k:05d}" for k in range(len(frame))], market_code="us", source_file="a.csv",
        source_line=1, source_row=1, source_table="wells", status_code="active", completed_precision_code="day",
        completeness_count=1, weight_inclusion_fraction=1.0,
    ), tmp_path)  # fmt: skip
    return tmp_path


def invented(seed=3, years=range(2000, 2024)):
    rng = np.random.default_rng(seed)
    rows = []
    for area, region, mean in (("A", "one", 30), ("A", "two", 12), ("A", "few", 0.6), ("B", "three", 20)):
        for year in years:
            for _ in range(rng.poisson(mean)):
                use = "domestic" if rng.random() < 0.8 else "stock"
                rows.append((area, region, use, f"{year}-{rng.integers(1, 13):02d}-15"))
    return rows


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    folder = folder_of(tmp_path_factory.mktemp("run"), invented())
    return new_wells.forecast(folder, Settings(draws=DRAWS), "2023-12-20")


def test_property_levels_add_up(told):
    sums = told.table.pivot_table("wells_count", "year", "region_level", aggfunc="sum")
    assert sums["region"].to_numpy() == pytest.approx(sums["all"].to_numpy(), abs=1e-9)
    assert sums["area"].to_numpy() == pytest.approx(sums["all"].to_numpy(), abs=1e-9)
    assert sorted(sums.index) == [2024, 2025, 2026, 2027, 2028]
    paths = told.paths.groupby("year")["wells_milli"].sum() / (1000 * DRAWS)
    assert paths.to_numpy() == pytest.approx(sums["all"].to_numpy(), abs=1e-9)


def test_steady_regions_go_on_as_they_were(told):
    table = told.table[told.table["region_level"] == "region"].groupby("region_code")["wells_count"].mean()
    assert table["A / one"] == pytest.approx(30, rel=0.25) and table["B / three"] == pytest.approx(20, rel=0.3)
    assert table["A / few"] == pytest.approx(0.6, rel=0.8)
    method = told.table.set_index("region_code")["method_code"]
    assert set(method["A / few"]) == {"shared"} and set(method["A / one"]) == {"combined"}
    uses = told.paths.groupby("use_code")["wells_milli"].sum()
    assert uses["domestic"] / uses.sum() == pytest.approx(0.8, abs=0.05)


def test_property_same_forecast_for_the_same_wells_in_another_order(told, tmp_path):
    again = new_wells.forecast(folder_of(tmp_path, invented()[::-1]), Settings(draws=DRAWS, threads=1), "2023-12-20")
    pd.testing.assert_frame_equal(again.table, told.table)


def test_nothing_after_an_origin_changes_the_forecast_made_there():
    rng = np.random.default_rng(1)
    series = rng.poisson(15, (6, 25)).astype(float)
    other = series.copy()
    other[:, -3:] *= 9
    group, length = np.zeros(6, np.int64), np.full(6, 25)
    first, second = procedure(series, length, group, 5), procedure(other, length, group, 5)
    assert np.array_equal(first.made[3:], second.made[3:], equal_nan=True)
    assert not np.array_equal(first.made[0], second.made[0])


def test_property_the_band_covers_four_in_five_of_what_comes():
    inside, count = 0, 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        whole = rng.poisson(rng.uniform(4, 40, (12, 1)), (12, 30)).astype(float)
        told = procedure(whole[:, :25], np.full(12, 25), np.zeros(12, np.int64), 5)
        for h in range(5):
            low, high = np.quantile(told.errors[h], [0.1, 0.9])
            off = (whole[:, 25 + h] - told.point[:, h]) / told.spread
            inside += int(((off >= low) & (off <= high)).sum())
            count += 12
    assert 0.75 <= inside / count <= 0.90, inside / count


@pytest.mark.parametrize("dates", [["2020-05-01"], ["2020-05-01", "2021-05-01"], ["1975-01-01"] * 30, ["2022-01-01"] * 400])
def test_short_old_and_single_year_series_end_well(tmp_path, dates):
    told = new_wells.forecast(folder_of(tmp_path, [("A", "r", "domestic", d) for d in dates]), Settings(draws=8), "2023-06-01")
    count = pd.to_numeric(told.table["wells_count"])  # no row where nothing new is to be expected
    assert (count >= 0).all() and np.isfinite(count).all() and (count <= 2 * len(dates) + 5).all()
    assert len(count) or dates[0].startswith("1975")


def test_no_date_gives_a_reason(tmp_path):
    told = new_wells.forecast(folder_of(tmp_path, [("A", "r", "domestic", None)] * 5), Settings(draws=4), "")
    assert told.paths.empty and told.table.empty and "completed" in told.notes[0]


def test_places_without_any_name_are_one_region(tmp_path):
    rows = [(None, None, "domestic", f"{y}-03-01") for y in range(2000, 2023) for _ in range(9)]
    told = new_wells.forecast(folder_of(tmp_path, rows), Settings(draws=8), "2022-12-31")
    assert told.table[told.table["region_level"] == "region"]["region_code"].unique().tolist() == ["(not stated)"]
    assert told.table["wells_count"].iloc[0] == pytest.approx(9, rel=0.2)


def test_the_newest_year_is_raised_for_late_reports(tmp_path):
    rows = [("A", "r", "domestic", f"{y}-03-01") for y in range(2000, 2023) for _ in range(40)]
    early = new_wells.forecast(folder_of(tmp_path, rows), Settings(draws=8), "2022-12-31").table["wells_count"].iloc[0]
    late = new_wells.forecast(tmp_path, Settings(draws=8), "2023-12-01").table["wells_count"].iloc[0]
    assert early > late > 0


def test_reference_simple_smoothing_by_hand():
    # level by hand: 10, then 10 + 0.3 (20 - 10) = 13, then 13 + 0.3 (10 - 13) = 12.1; from memory of the definition
    assert smoothed(np.array([[10.0, 20.0, 10.0]]), 2, 0.3)[0].tolist() == pytest.approx([12.1, 12.1])


def test_reference_a_straight_line_goes_on_with_its_slope():
    line = np.arange(1.0, 41.0)[None, :]
    # the damped slope sums to phi + phi^2 + ... of the slope that smoothing finds; half the slope by theta's form
    ahead = half_trend(line, 2)[0]
    assert ahead[1] - ahead[0] == pytest.approx(0.5)
    damped = trend_damped(np.repeat([[7.0]], 30, axis=1), 3)[0]
    assert damped.tolist() == pytest.approx([7.0, 7.0, 7.0])


@pytest.mark.parametrize("name", list(METHODS))
def test_every_method_keeps_a_flat_series_flat_and_no_series_fails(name):
    flat = METHODS[name](np.full((2, 12), 8.0), 5)
    assert flat.shape == (2, 5) and flat == pytest.approx(8.0, rel=0.16)
    assert np.isfinite(METHODS[name](np.zeros((1, 7)), 5)).all()
