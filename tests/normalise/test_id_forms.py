"""One well under two forms of its id. All records are invented."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st
from raw_tables import intake, layout, table

from pipeline.normalise import id_forms, to_records
from pipeline.settings import Settings


def run(rows: dict[str, list[str]], *children):
    casing = {"casing": {"role": "child", "match": ["bore"], "id": "id",
                         "columns": {"diameter_casing_inside_m": {"from": "bore", "unit": "mm"}}}}  # fmt: skip
    return to_records(intake(layout(children=casing if children else None), table(rows), *children), Settings())


@pytest.mark.parametrize(
    ("found", "key"),
    [("0000509077", "509077"), ("509077.0", "509077"), ("5.09077E+05", "509077"), ("AB-0012", "AB0012"), ("ab 0012", "AB0012"),
     ("5.09E+05", "509000"), ("000", ""), ("12.50", "12.50")],
)  # fmt: skip
def test_keys(found: str, key: str) -> None:
    assert id_forms.keys(pa.array([found])).to_pylist() == [key]


@given(st.lists(st.integers(1000, 10**9), min_size=1, max_size=20, unique=True))
def test_property_padding_and_decimals_change_no_key(numbers: list[int]) -> None:
    plain = id_forms.keys(pa.array([str(n) for n in numbers]))
    assert plain == id_forms.keys(pa.array([f"{n:012d}" for n in numbers]))
    assert plain == id_forms.keys(pa.array([f"{n}.0" for n in numbers]))
    assert len(set(plain.to_pylist())) == len(numbers)


def test_two_forms_that_agree_are_one_well() -> None:
    out = run({"id": ["0000509077", "509077", "0000509078"], "depth": ["60", "60", "70"], "level": ["10", "", "12"],
               "pump": ["", "40", ""]})  # fmt: skip
    assert len(out.wells) == 2
    row = out.wells.set_index("well_id").iloc[0]
    assert row["depth_static_m"] == 10.0 and row["depth_pump_m"] == 40.0
    merged = out.events.dropna(subset=["merged_into_well_id"])
    assert len(merged) == 1 and "another form" in merged["evidence"].iloc[0]


def test_two_forms_that_disagree_stay_apart_and_are_told() -> None:
    out = run({"id": ["0000509077", "509077"], "depth": ["60", "90"]})
    assert len(out.wells) == 2 and set(out.issues.loc[out.issues["code"] == "N602", "well_id"]) == {"0000509077", "509077"}
    # nothing in common says nothing
    out = run({"id": ["0000509077", "509077"], "depth": ["60", ""], "level": ["", "9"]})
    assert len(out.wells) == 2
    # dashes in other places are other ids
    out = run({"id": ["1-234", "12-34"], "depth": ["60", "60"]})
    assert len(out.wells) == 2 and "N602" not in set(out.issues["code"])


def test_a_plugging_report_under_the_other_form_takes_the_well_out() -> None:
    out = run({"id": ["0000509077", "509077"], "depth": ["60", "60"], "status": ["active", "plugged"]})
    assert len(out.wells) <= 1 or "N602" in set(out.issues["code"])


def test_child_rows_join_by_another_form_of_the_id() -> None:
    child = table({"id": ["509077", "509078.0", "77"], "bore": ["150", "200", "100"]}, "casing", "casing.csv")
    out = run({"id": ["0000509077", "0000509078"], "depth": ["60", "70"]}, child)
    bores = out.wells.set_index("well_id")["diameter_casing_inside_m"]
    assert bores["0000509077"] == 0.15 and bores["0000509078"] == 0.2
    assert out.issues.set_index("code").loc["N603", "found"].startswith("2 rows of casing")
    assert out.ledger[1].rows_used == 2 and out.ledger[1].excluded == {"orphan": 1}


def test_ids_that_a_spreadsheet_spoiled_are_told() -> None:
    out = run({"id": ["12-61", "5-Jun", "12-63", "12-64", "12-65", "12-66", "12-67"], "depth": ["60"] * 7})
    assert out.issues.loc[out.issues["code"] == "N604", "well_id"].tolist() == ["5-Jun"]
    out = run({"id": ["5.09E+05", "5.09E+05", "5.09077E+05"], "depth": ["60", "80", "70"]})
    # the two may be two of a thousand wells
    assert len(out.wells) == 3 and (out.issues["code"] == "N605").sum() == 2


def across(one: dict[str, list[str]], two: dict[str, list[str]]):
    both = {name: replace(layout(), id=name) for name in ("first", "second")}
    tables = [replace(table(rows, file=f"{name}.csv"), source_id=name) for name, rows in zip(both, (one, two), strict=True)]
    parts = [intake(both[t.source_id], t) for t in tables]
    return to_records(replace(parts[0], layouts=both, tables=tables, ledger=[p.ledger[0] for p in parts]), Settings())


def test_one_well_in_two_registries_stands_once() -> None:
    out = across({"id": ["0000509077", "0000600000"], "depth": ["60", "80"], "level": ["10", "9"], "pump": ["30", ""]},
                 {"id": ["509077", "700000"], "depth": ["60.2", "50"], "level": ["12", "8"]})  # fmt: skip
    assert out.wells[["source_id", "well_id"]].to_numpy().tolist() == [
        ["first", "0000509077"], ["first", "0000600000"], ["second", "700000"]]  # fmt: skip
    merged = out.events.dropna(subset=["merged_into_well_id"]).iloc[0]
    assert (merged["well_id"], merged["merged_into_well_id"]) == ("509077", "0000509077") and "agree" in merged["evidence"]
    assert all(entry.balances() for entry in out.ledger)


def test_an_id_alone_makes_no_pair_across_sources() -> None:
    for depth in ("90", ""):
        out = across({"id": ["0000509077"], "depth": ["60"]}, {"id": ["509077"], "depth": [depth], "level": ["9"]})
        assert len(out.wells) == 2
    # short numbers are counters of a file
    out = across({"id": ["7"], "depth": ["60"]}, {"id": ["7"], "depth": ["60"]})
    assert len(out.wells) == 2


def test_property_the_order_of_rows_and_sources_changes_nothing() -> None:
    rows = {"id": ["0000509077", "509077", "12", "0013"], "depth": ["60", "60", "70", "80"], "level": ["10", "", "1", "2"]}
    turned = {name: values[::-1] for name, values in rows.items()}
    keep = [c for c in run(rows).wells if not c.startswith("source_")]
    pd.testing.assert_frame_equal(run(rows).wells[keep], run(turned).wells[keep])
