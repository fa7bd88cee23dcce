"""Values set by the user, well by well."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from raw_tables import intake, layout, table

from pipeline import io
from pipeline.errors import UsageError
from pipeline.normalise import to_records
from pipeline.settings import Settings, load

ROWS = {
    "id": ["A", "B", "C", "D"], "use": ["domestic", "", "stock", "monitoring"], "depth": ["60", "70", "80", "90"],
    "level": ["10", "", "20", "5"], "done": ["2001", "2002-03-04", "", ""], "status": ["active"] * 4,
}  # fmt: skip


def run(overrides: dict, **more):
    return to_records(intake(layout(), table(ROWS)), Settings(overrides=overrides, **more))


def test_a_value_wins_and_is_told() -> None:
    out = run({"B": {"depth_static": "40 ft", "use": "domestic", "is_flowing": False},
               "invented:A": {"depth_pump_m": "131.2 ft", "completed_date": "1999-12-31"}})  # fmt: skip
    wells = out.wells.set_index("well_id")
    # 1 ft = 0.3048 m exactly (1959 agreement)
    assert wells.loc["B", "depth_static_m"] == pytest.approx(12.192)
    assert wells.loc["A", "depth_pump_m"] == pytest.approx(39.98976)
    assert wells.loc["B", "use_code"] == "domestic" and wells.loc["B", "weight_inclusion_fraction"] == 1.0
    assert not wells.loc["B", "is_flowing"]
    assert wells.loc["A", "completed_date"] == pd.Timestamp("1999-12-31")
    assert wells.loc["A", "completed_precision_code"] == "day"
    assert wells.loc["B", "completeness_count"] == 2 and wells.loc["A", "completeness_count"] == 3
    assert wells.loc["C", "depth_static_m"] == 20.0 and np.isnan(wells.loc["C", "depth_pump_m"])
    told = out.issues[out.issues["code"] == "N701"].set_index(["well_id", "field"])
    assert len(told) == 5 and set(told["severity_code"]) == {"note"}
    assert told.loc[("B", "depth_static_m"), "used"] == "40 ft"
    assert told.loc[("A", "completed_date"), "found"] == "2001-07-01"
    assert told["source_file"].notna().all()
    io.to_arrow("wells", out.wells)


def test_without_overrides_nothing_changes() -> None:
    pd.testing.assert_frame_equal(run({}).wells, to_records(intake(layout(), table(ROWS)), Settings()).wells)


@pytest.mark.parametrize(
    ("overrides", "says"),
    [
        ({"Z9": {"depth_static": "1 m"}}, "Z9"), ({"elsewhere:A": {"depth_static": "1 m"}}, "elsewhere:A"),
        ({"A": {"deepness": "1 m"}}, "deepness"), ({"A": {"depth_static": "40"}}, "has no unit"),
        ({"A": {"depth_static": "40 gpm"}}, "depth_static"), ({"A": {"depth_static": "9000 m"}}, "outside"),
        ({"A": {"use": "garden"}}, "garden"), ({"A": {"source_row": "3"}}, "source_row"),
        ({"D": {"depth_static": "1 m"}}, "not_water_supply"), ({"A": "40 ft"}, "fields below it"),
        ({"A": {"depth_static": "1 m", "depth_static_m": "2 m"}}, "twice"),
    ],
)  # fmt: skip
def test_faults_name_the_well_and_the_field(overrides: dict, says: str) -> None:
    with pytest.raises(UsageError, match=says) as raised:
        run(overrides)
    assert "overrides" in str(raised.value) and next(iter(overrides)) in str(raised.value)


def test_an_id_of_two_sources_must_say_which() -> None:
    from dataclasses import replace

    other = replace(layout(), id="second")
    both = intake(layout(), table(ROWS))
    more = table(ROWS)
    more.source_id = "second"
    both.layouts["second"] = other
    both.tables.append(more)
    both.ledger.append(replace(both.ledger[0], source_id="second"))
    with pytest.raises(UsageError, match="'invented:A' or 'second:A'"):
        to_records(both, Settings(overrides={"A": {"depth_static": "1 m"}}))


def test_a_trial_passes_over_wells_it_did_not_reach() -> None:
    assert len(run({"Z9": {"depth_static": "1 m"}}, limit=4).wells) == 3


def test_from_a_settings_file(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text('[overrides."A"]\ndepth_static = "33 ft"\n', encoding="utf-8")
    out = to_records(intake(layout(), table(ROWS)), load(path))
    assert out.wells.set_index("well_id").loc["A", "depth_static_m"] == pytest.approx(10.0584)
