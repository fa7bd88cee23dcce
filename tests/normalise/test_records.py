"""From raw tables to records: ledger, scope, children, identity, order."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from raw_tables import METRES, intake, layout, table

from pipeline import io, schema
from pipeline.normalise import to_records
from pipeline.settings import Settings

CASING = {
    "role": "child", "match": ["id", "bore"], "id": "id",
    "columns": {"diameter_casing_inside_m": {"from": "bore", "unit": "in", "pick": "min", "positive": True,
                                             "where": {"what": ["casing", ""]}}},
}  # fmt: skip


def wells(**columns: list) -> dict[str, list]:
    size = len(next(iter(columns.values())))
    base = {"id": [f"W{i}" for i in range(size)], "use": ["domestic"] * size, "status": ["active"] * size}
    return {**base, **columns}


def run(found, *tables):
    return to_records(intake(found, *tables), Settings())


def one(records, well_id: str) -> pd.Series:
    return records.wells.set_index("well_id").loc[well_id]


def test_every_frame_takes_its_declared_schema() -> None:
    out = run(layout(), table(wells(depth=["60", "x"], level=["12", ""], done=["2001", ""])))
    for name in ("wells", "events", "issues", "quarantine", "excluded"):
        frame = getattr(out, name)
        assert list(frame.columns) == [c.field.name for c in schema.table(name)]
        assert io.to_arrow(name, frame).num_rows == len(frame)


def test_values_arrive_in_si() -> None:
    out = run(layout(), table(wells(depth=["200 ft"], level=["12,5"], **{"yield": ["7.2"]})))
    row = one(out, "W0")
    assert row["depth_completed_m"] == pytest.approx(60.96)  # 1 ft = 0.3048 m exactly (1959 agreement)
    assert row["depth_static_m"] == pytest.approx(12.5)
    assert row["flow_tested_m3_per_s"] == pytest.approx(0.002)
    assert set(out.issues["code"]) >= {"N106"}


def test_sentinels_and_zeros_are_missing_but_a_level_of_zero_is_a_level() -> None:
    rows = wells(depth=["0", "-9999", "60"], level=["0", "9999", "5"], **{"yield": ["0", "1", "2"]})
    out = run(layout(), table(rows))
    assert np.isnan(one(out, "W0")["depth_completed_m"]) and np.isnan(one(out, "W0")["flow_tested_m3_per_s"])
    assert one(out, "W0")["depth_static_m"] == 0.0
    assert np.isnan(one(out, "W1")["depth_completed_m"]) and np.isnan(one(out, "W1")["depth_static_m"])


def test_words_and_units_in_cells() -> None:
    out = run(layout(), table(wells(depth=["60", "70", "80"], level=["flowing", "dry", "lots"])))
    assert one(out, "W0")["is_flowing"]
    assert out.wells["depth_static_m"].isna().all()
    assert sorted(out.issues["code"]) == ["N101", "N104", "N104"]


def test_a_unit_column_decides_row_by_row() -> None:
    columns = {"depth_completed_m": {"from": "depth", "unit_from": "unit"}}
    out = run(layout(columns), table(wells(depth=["100", "100", "100"], unit=["ft", "m", "cubits"])))
    assert one(out, "W0")["depth_completed_m"] == pytest.approx(30.48)
    assert one(out, "W1")["depth_completed_m"] == 100.0
    assert np.isnan(one(out, "W2")["depth_completed_m"])
    assert list(out.issues["code"]) == ["N203"]


def test_out_of_range_is_missing_and_unusual_is_kept() -> None:
    out = run(layout(), table(wells(depth=["5000", "900"])))
    assert np.isnan(one(out, "W0")["depth_completed_m"]) and one(out, "W1")["depth_completed_m"] == 900.0
    assert sorted(out.issues["code"]) == ["N201", "N202"]


def test_unknown_spelling_is_counted_once() -> None:
    out = run(layout(), table(wells(depth=["60"] * 3, use=["Painted gnome", "painted gnome", "domestic"])))
    found = out.issues[out.issues["code"] == "N401"]
    assert list(found["used"]) == ["unknown"] * len(found) and "1 rows" in found["expected"].iloc[0]
    assert one(out, "W0")["use_code"] == "unknown"
    assert one(out, "W0")["weight_inclusion_fraction"] == Settings().base("weight_unknown_use")
    assert one(out, "W2")["weight_inclusion_fraction"] == 1.0


def test_scope_leaves_records_out_with_a_reason() -> None:
    rows = wells(depth=["60"] * 5, use=["domestic", "monitoring", "geothermal", "domestic", "domestic"],
                 status=["active", "active", "active", "plugged", "dry"])  # fmt: skip
    out = run(layout(), table(rows))
    assert list(out.wells["well_id"]) == ["W0"]
    assert out.ledger[0].excluded == {"not_water_supply": 2, "plugged": 1, "dry": 1}
    assert out.ledger[0].rows_used == 1 and out.ledger[0].balances()


def test_layout_exclusion_by_prefix() -> None:
    found = layout(exclude={"kind": {"test": "not_water_supply"}})
    out = run(found, table(wells(depth=["60", "60"], kind=["Test bore 3", "Production"])))
    assert list(out.wells["well_id"]) == ["W1"] and out.ledger[0].excluded == {"not_water_supply": 1}


def test_a_record_without_id_is_set_aside() -> None:
    out = run(layout(), table(wells(id=["A", ""], depth=["60", "70"])))
    assert out.ledger[0].quarantined == {"no_id": 1} and out.ledger[0].balances()
    assert list(out.quarantine["source_line"]) == [3]


def test_children_are_picked_filtered_and_counted() -> None:
    rows = wells(depth=["60", "60"], use=["domestic", "monitoring"])
    child = {"id": ["W0", "W0", "W0", "W0", "W1", "Z"], "bore": ["8", "6", "0", "2", "4", "4"],
             "what": ["casing", "", "casing", "drive shoe", "", ""]}  # fmt: skip
    out = run(layout(children={"casing": CASING}), table(rows), table(child, "casing", "casing.csv"))
    assert one(out, "W0")["diameter_casing_inside_m"] == pytest.approx(6 * 0.0254)
    assert out.ledger[1].rows_used == 4
    assert out.ledger[1].excluded == {"orphan": 1, "parent_excluded": 1}
    assert set(out.excluded["source_table"]) == {"wells", "casing"}


def test_the_wells_table_wins_over_its_children() -> None:
    columns = {**METRES, "diameter_casing_inside_m": {"from": "bore", "unit": "in"}}
    child = {"id": ["W0", "W1"], "bore": ["4", "4"], "what": ["", ""]}
    out = run(layout(columns, {"casing": CASING}), table(wells(depth=["60", "60"], bore=["6", ""])),
              table(child, "casing", "casing.csv"))  # fmt: skip
    assert list(out.wells["diameter_casing_inside_m"]) == pytest.approx([6 * 0.0254, 4 * 0.0254])


def test_records_of_one_id_that_agree_fill_each_other() -> None:
    out = run(layout(), table(wells(id=["A", "A"], depth=["60", "60.2"], level=["", "12"], **{"yield": ["3", ""]})))
    row = one(out, "A")
    assert row["depth_static_m"] == 12.0 and row["flow_tested_m3_per_s"] == pytest.approx(3 / 3600)
    assert out.ledger[0].rows_used == 2
    assert sorted(out.events["event_kind_code"]) == ["construction", "duplicate"]
    assert "agree" in out.events["evidence"].dropna().iloc[0]


def test_records_of_one_id_that_disagree_keep_the_fullest() -> None:
    rows = wells(id=["A", "A"], depth=["60", "90"], level=["10", ""], done=["2001-02-03", "2005-02-03"])
    out = run(layout(), table(rows))
    row = one(out, "A")
    assert row["depth_completed_m"] == 60.0 and row["depth_static_m"] == 10.0
    assert "N601" in set(out.issues["code"])
    assert "depth_completed_m" in out.events["evidence"].dropna().iloc[0]


def test_a_plugging_report_takes_the_well_out() -> None:
    found = layout(events={"kind_from": "report"})
    rows = wells(id=["A", "A", "B"], depth=["60", "", "70"], report=["new", "destruction", "new"])
    out = run(found, table(rows))
    assert list(out.wells["well_id"]) == ["B"]
    assert out.ledger[0].excluded == {"plugged": 2}


def test_a_deepening_adds_to_the_well() -> None:
    found = layout(events={"kind_from": "report"})
    rows = wells(id=["A", "A"], depth=["60", "90"], level=["10", ""], report=["new", "deepening"],
                 done=["1990-01-02", "2001-05-06"])  # fmt: skip
    out = run(found, table(rows))
    row = one(out, "A")
    assert row["depth_completed_m"] == 90.0 and row["depth_static_m"] == 10.0
    assert sorted(out.events["event_kind_code"]) == ["construction", "deepening"]


def test_the_day_of_pump_work_is_no_day_of_completion() -> None:
    found = layout(events={"kind_from": "report"})
    rows = wells(id=["A", "A", "B"], depth=["60", "60", "70"], pump=["", "40", "50"], level=["10", "", ""],
                 report=["new", "pump", "pump"], done=["1990-01-02", "2001-05-06", "2003-01-05"])  # fmt: skip
    out = run(found, table(rows))
    assert str(one(out, "A")["completed_date"])[:10] == "1990-01-02" and one(out, "A")["depth_pump_m"] == 40.0
    assert pd.isna(one(out, "B")["completed_date"])
    days = out.events.set_index(["well_id", "event_kind_code"])["event_date"].astype(str).to_dict()
    assert days[("A", "construction")] == "1990-01-02"
    assert days[("A", "pump_work")] == "2001-05-06" and days[("B", "pump_work")] == "2003-01-05"


def test_the_newest_pump_work_or_deepening_is_when_the_string_was_put_in() -> None:
    found = layout(events={"kind_from": "report"})
    rows = wells(
        id=["A", "A", "A", "B", "C", "C", "D"], depth=["60", "60", "60", "70", "50", "80", "90"],
        report=["new", "pump", "pump", "pump", "new", "deepening", "new"],
        done=["1990-01-02", "2001-05-06", "2011-07-08", "2003-01-05", "1970-02-03", "1999-04-05", "2000-01-01"],
    )  # fmt: skip
    out = run(found, table(rows))
    assert str(one(out, "A")["pump_installed_date"])[:10] == "2011-07-08"
    assert str(one(out, "B")["pump_installed_date"])[:10] == "2003-01-05"
    assert str(one(out, "C")["pump_installed_date"])[:10] == "1999-04-05"
    assert str(one(out, "C")["completed_date"])[:10] == "1970-02-03" and one(out, "C")["depth_completed_m"] == 80.0
    assert pd.isna(one(out, "D")["pump_installed_date"])


def test_nines_far_above_all_others_are_no_depth() -> None:
    depth = [str(40 + i) for i in range(20)]
    out = run(layout(), table(wells(depth=[*depth, "999"])))
    assert np.isnan(one(out, "W20")["depth_completed_m"])
    out = run(layout(), table(wells(depth=[*(str(600 + i) for i in range(20)), "999"])))
    assert one(out, "W20")["depth_completed_m"] == 999.0


def test_same_point_day_and_depth_is_one_well_unless_many_share_the_point() -> None:
    rows = wells(depth=["60", "60", "80", "80", "80"], level=["", "", "", "9", "9"], done=["2001-02-03"] * 5,
                 lat=["10.1", "10.1", "10.5", "10.5", "10.5"], lon=["20.1"] * 5)  # fmt: skip
    out = run(layout(), table(rows))
    merged = out.events.dropna(subset=["merged_into_well_id"])
    assert set(merged["well_id"]) == {"W1", "W2", "W4"} or len(out.wells) == 2
    rows["level"] = ["", "", "", "9", "19"]
    out = run(layout(), table(rows))
    assert list(out.wells["well_id"]) == ["W0", "W2", "W3", "W4"]


def test_files_in_any_order_give_the_same_records() -> None:
    rows = wells(id=["A", "B", "C"], depth=["60", "70", "80"], level=["5", "6", "700"], region=["north", "North", "x"])
    first = table(rows, file="a.csv")
    rows = wells(id=["C", "D", ""], depth=["81", "90", "1"], level=["7", "8", "9"], region=["North", "NORTH ", "x"])
    second = table(rows, file="b.csv")
    one_way = run(layout(), first, second)
    other = run(layout(), second, first)
    for name in ("wells", "events", "issues", "quarantine", "excluded"):
        pd.testing.assert_frame_equal(getattr(one_way, name), getattr(other, name))
    assert set(one_way.wells["region_code"].dropna()) <= {"North", "x"}


def test_property_the_ledger_balances_whatever_stands_in_the_cells() -> None:
    rng = np.random.default_rng(5)
    words = ["", "60", "0", "-9999", "dry", "monitoring", "A", "B", "12/13/2001", "NA", "plugged", "6 5/8", "1e400"]
    for _ in range(12):
        rows = {name: list(rng.choice(words, 40)) for name in ("id", "depth", "level", "pump", "yield", "use", "status",
                                                               "done", "lat", "lon", "region")}  # fmt: skip
        child = {name: list(rng.choice(words, 30)) for name in ("id", "bore", "what")}
        out = run(layout(children={"casing": CASING}), table(rows), table(child, "casing", "casing.csv"))
        assert all(entry.balances() for entry in out.ledger)
        assert not out.wells.duplicated(["source_id", "well_id"]).any()
        assert list(out.wells["well_id"]) == sorted(out.wells["well_id"])


def test_nines_below_the_drilled_hole_are_no_depth() -> None:
    columns = {**METRES, "depth_drilled_m": {"from": "hole", "unit": "m"}}
    out = run(layout(columns), table(wells(depth=["999", "60", "700"], hole=["80", "61", "710"])))
    assert np.isnan(one(out, "W0")["depth_completed_m"]) and one(out, "W0")["depth_drilled_m"] == 80.0
    assert "N102" in set(out.issues["code"])


def test_completeness_counts_six_inputs() -> None:
    out = run(layout(), table(wells(depth=["60", "60"], level=["9", ""], pump=["40", ""], **{"yield": ["2", ""]})))
    assert list(out.wells["completeness_count"]) == [4, 1]
    assert (out.wells["market_code"] == "metric").all()


def test_no_table_no_rows() -> None:
    out = run(layout())
    assert len(out.wells) == 0 and out.ledger == []


def test_data_every_code_told_is_declared() -> None:
    folder = Path(__file__).resolve().parents[2] / "pipeline" / "normalise"
    told = {c for p in folder.glob("*.py") for c in re.findall(r'"([NP]\d{3})"', p.read_text(encoding="utf-8"))}
    declared = {row["code"]: row for row in schema.rows("rules") if row["stage"] == "normalise"}
    assert told == set(declared)
    assert all(row["severity"] in schema.codes("severity") for row in declared.values())
    assert {row["reference_id"] for row in declared.values()} <= set(schema.references())
    assert {row["reference_id"] for row in schema.rows("missing")} <= set(schema.references())


def test_the_time_to_fill_a_can_is_a_flow() -> None:
    columns = {"flow_duty_m3_per_s": {"from": "fill", "unit": "min", "fills": "20 L"}}
    out = run(layout(columns), table(wells(fill=["1", "2,5", "0", "never", "30 s"])))
    flow = out.wells.set_index("well_id")["flow_duty_m3_per_s"]
    # 20 L in a minute is a third of a litre a second
    assert flow["W0"] == pytest.approx(0.020 / 60) and flow["W1"] == pytest.approx(0.020 / 150)
    assert flow[["W2", "W3"]].isna().all() and flow["W4"] == pytest.approx(0.020 / 30)
