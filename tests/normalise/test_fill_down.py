"""Ids, days and regions written on the first row of a group only. All records are invented."""

from __future__ import annotations

from raw_tables import METRES, intake, layout, table

from pipeline.normalise import to_records
from pipeline.settings import Settings

SCREEN = {"screens": {"role": "child", "match": ["top"], "id": "id", "columns": {
    "depth_screen_top_m": {"from": "top", "unit": "m", "pick": "min"},
    "depth_screen_bottom_m": {"from": "bottom", "unit": "m", "pick": "max"}}}}  # fmt: skip


def screens(ids: list[str]):
    child = table({"id": ids, "top": ["30", "40", "50", "20", "35", "60"], "bottom": ["35", "45", "55", "25", "50", "70"]},
                  "screens", "screens.csv")  # fmt: skip
    wells = table({"id": ["A", "B", "C"], "depth": ["80"] * 3})
    return to_records(intake(layout(children=SCREEN), wells, child), Settings())


def test_blank_ids_of_a_child_table_follow_the_one_above() -> None:
    out = screens(["A", "", "", "B", "", "C"])
    found = out.wells.set_index("well_id")
    assert found["depth_screen_top_m"].tolist() == [30.0, 20.0, 60.0]
    assert found["depth_screen_bottom_m"].tolist() == [55.0, 50.0, 70.0]
    assert "N606" in set(out.issues["code"]) and out.quarantine.empty


def test_a_file_that_repeats_its_ids_has_lost_the_blank_ones() -> None:
    out = screens(["A", "A", "", "B", "", ""])
    assert len(out.quarantine) == 3 and "N606" not in set(out.issues["code"])
    # too few blanks show no habit; a blank in front belongs to nothing
    assert len(screens(["A", "", "", "B", "C", "C"]).quarantine) == 2
    assert len(screens(["", "", "", "B", "", "C"]).quarantine) == 4


def test_further_lines_of_a_well_join_it_and_wells_that_lost_their_id_do_not() -> None:
    columns = {**METRES, "diameter_casing_inside_m": {"from": "bore", "unit": "mm"}}
    rows = {"id": ["A", "", "B", "", "", "C"], "depth": ["60", "", "80", "", "", "70"], "bore": ["", "150", "200", "150", "", "150"],
            "level": ["9", "", "8", "", "7.5", "6"], "lat": ["1.1", "", "1.2", "", "", "1.3"], "lon": ["30.1", "", "30.2", "", "", "30.3"],
            "done": ["2001-02-03", "", "2002-02-03", "", "", "2003-02-03"], "use": ["domestic", "", "domestic", "", "", "domestic"]}  # fmt: skip
    out = to_records(intake(layout(columns), table(rows)), Settings())
    assert list(out.wells["well_id"]) == ["A", "B", "C"]
    assert out.wells.set_index("well_id").loc["A", "diameter_casing_inside_m"] == 0.15
    rows = {"id": ["A", "", "", "", "B"], "depth": ["60", "61", "62", "63", "64"], "level": ["9"] * 5,
            "lat": ["1.1", "1.2", "1.3", "1.4", "1.5"], "lon": ["30.1"] * 5}  # fmt: skip
    out = to_records(intake(layout(), table(rows)), Settings())
    assert list(out.wells["well_id"]) == ["A", "B"] and len(out.quarantine) == 3


def test_lines_without_any_value_belong_to_no_well() -> None:
    child = table({"id": [*"ABC", *[""] * 30, ""], "top": ["30", "40", "50", *["60"] * 30, ""],
                   "bottom": ["35", "45", "55", *["65"] * 30, ""]}, "screens", "screens.csv")  # fmt: skip
    out = to_records(intake(layout(children=SCREEN), table({"id": [*"ABC"], "depth": ["80"] * 3}), child), Settings())
    assert len(out.quarantine) == 1 and all(entry.balances() for entry in out.ledger)


def test_day_and_region_of_a_group_follow_its_first_row() -> None:
    rows = {"id": list("ABCDEF"), "depth": ["60"] * 6, "region": ["North", "", "", "South", "", ""],
            "done": ["2001-02-03", "", "", "2002-03-04", "", ""]}  # fmt: skip
    out = to_records(intake(layout(), table(rows)), Settings())
    assert out.wells["region_code"].tolist() == ["North"] * 3 + ["South"] * 3
    assert out.wells["completed_date"].dt.year.tolist() == [2001] * 3 + [2002] * 3
    assert "N307" in set(out.issues["code"])
    rows["done"][1] = "2001-05-06"  # blanks that differ are values not recorded
    out = to_records(intake(layout(), table(rows)), Settings())
    assert out.wells["region_code"].isna().sum() == 4
