"""The scan: counts and issues add up, chunks equal the whole, and two engines find the same faults."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from pipeline import io, schema
from pipeline.settings import Settings
from pipeline.validate import declared, merge_metrics, newest_date, region_middles, scan
from pipeline.validate.scan import mask_sql

SETTINGS = Settings(as_of="2024-06-30")


def random_wells(rows: int, seed: int) -> pd.DataFrame:
    """Wells with values inside and outside every range, a third of them missing."""
    rng = np.random.default_rng(seed)
    made: dict[str, object] = {
        "source_id": rng.choice(["a", "b", "c"], rows),
        "well_id": [f"w{i}" for i in range(rows)],
        "source_file": "f.csv",
        "source_row": np.arange(rows) + 1,
        "area_code": rng.choice(["A", "B"], rows),
        "region_code": rng.choice(["north", "south", None], rows),
        "use_code": rng.choice(["domestic", "unknown"], rows),
        "pump_kind_code": rng.choice(["hand", "submersible", None], rows),
        "completed_precision_code": rng.choice(["day", "year", None], rows),
        "is_flowing": rng.choice([True, False, None], rows),
        "completed_date": pd.Timestamp("2000-01-01") + pd.to_timedelta(rng.integers(0, 11000, rows), "D"),
    }
    for column in schema.table("wells"):
        field = column.field
        if field.type != "number" or field.name in made:
            continue
        low = field.typical_min if field.typical_min is not None else 0.0
        high = field.typical_max if field.typical_max is not None else low + 90.0
        values = rng.uniform(low - 0.05 * (high - low), high + 0.05 * (high - low), rows)
        values[rng.random(rows) < 0.33] = np.nan
        made[field.name] = values
    frame = pd.DataFrame(made)
    frame.loc[rng.random(rows) < 0.05, "depth_completed_m"] = 999.0
    return frame


def test_issues_and_metrics_are_the_declared_tables() -> None:
    issues, metrics = scan(random_wells(400, 1), SETTINGS)
    assert io.to_arrow("issues", issues).num_rows == len(issues)
    assert io.to_arrow("metrics", metrics).num_rows == len(metrics) == 3 * len(declared())
    assert not metrics.duplicated(["source_id", "rule_code"]).any()


def test_counts_add_up_with_issues() -> None:
    issues, metrics = scan(random_wells(900, 2), SETTINGS)
    listed = issues.groupby(["source_id", "code"]).size()
    by_row = {rule.code for rule in declared() if rule.by_row}
    for row in metrics.itertuples():
        assert row.rows_failed_count <= row.rows_judged_count
        if row.rule_code in by_row:
            assert listed.get((row.source_id, row.rule_code), 0) == row.rows_failed_count
    assert set(issues["code"]) <= by_row
    assert (metrics["rows_failed_count"] > 0).mean() > 0.7


def test_property_chunks_equal_the_whole() -> None:
    wells = random_wells(700, 3)
    regions = region_middles(wells)
    issues, metrics = scan(wells, SETTINGS, regions)
    parts = [scan(wells.iloc[a:b], SETTINGS, regions) for a, b in ((0, 1), (1, 333), (333, 700))]
    pd.testing.assert_frame_equal(pd.concat([part[0] for part in parts], ignore_index=True), issues)
    pd.testing.assert_frame_equal(merge_metrics(part[1] for part in parts), metrics)


def test_property_threads_change_nothing() -> None:
    wells = random_wells(5000, 4)
    one, two = (scan(wells, Settings(as_of="2024-06-30", threads=n)) for n in (1, 2))
    for left, right in zip(one, two, strict=True):
        pd.testing.assert_frame_equal(left, right)


def test_more_rules_than_a_mask_holds() -> None:
    assert len(declared()) > 60 and len(mask_sql(declared())) == 2
    last = declared()[-1]
    wells = pd.DataFrame({"source_id": ["s"], "well_id": ["w"], last.field: [(last.high or 0) + 1e6]})
    issues, metrics = scan(wells, SETTINGS)
    assert metrics.set_index("rule_code").loc[last.code, "rows_failed_count"] == 1
    # typical ranges are counted; normalise tells the row
    assert not last.by_row and last.code not in set(issues["code"])


def test_no_rows() -> None:
    issues, metrics = scan(random_wells(5, 1).iloc[:0], SETTINGS)
    assert issues.empty and metrics.empty
    assert list(issues.columns) == schema.arrow_schema("issues").names


def test_rows_are_left_as_they_were() -> None:
    wells = random_wells(50, 6)
    before = wells.copy(deep=True)
    scan(wells, SETTINGS)
    pd.testing.assert_frame_equal(wells, before)


@pytest.mark.parametrize("kind", ["timestamps", "dates", "arrow"])
def test_dates_of_any_kind(kind: str) -> None:
    days = [dt.date(1763, 5, 1), dt.date(2031, 1, 1), None]
    column = pd.Series(days, dtype=object)
    if kind == "timestamps":
        column = pd.Series(np.array(["1763-05-01", "2031-01-01", "NaT"], dtype="datetime64[s]"))
    elif kind == "arrow":
        column = column.astype("date32[day][pyarrow]")
    wells = pd.DataFrame({"source_id": "s", "well_id": ["a", "b", "c"], "completed_date": column})
    issues, _ = scan(wells, SETTINGS)
    dated = issues[issues["field"] == "completed_date"]
    assert dict(zip(dated["well_id"], dated["code"], strict=True)) == {"a": "V112", "b": "V113"}
    assert dated["found"].tolist() == ["completed_date 1763-05-01", "completed_date 2031-01-01"]


def test_newest_date_leaves_typing_slips_aside() -> None:
    days = pd.date_range("2010-01-01", "2023-12-31", periods=500).to_series(index=range(500))
    days.iloc[3] = pd.Timestamp("2062-01-01")
    assert newest_date(pd.DataFrame({"completed_date": days})) == "2023-12-31"
    assert newest_date(pd.DataFrame({"completed_date": pd.Series([], dtype="datetime64[s]")})) == ""
