"""What inspect says of the columns of a file whose layout is known."""

from pathlib import Path

import pandas as pd

from pipeline import inspect_text, inspect_values
from pipeline.ingest import read_inputs
from pipeline.ingest.header import Names
from pipeline.ingest.inspection import declared_columns
from pipeline.ingest.layouts import packaged
from pipeline.ingest.look import look
from pipeline.normalise import to_records
from pipeline.settings import Settings


def test_the_column_that_stands_in_is_told_in_the_order_of_the_layout_not_of_the_file() -> None:
    layout = packaged()["mw_drilling"]
    table = layout.tables["wells"]
    first, second = table.columns["depth_static_m"].sources[:2]
    for headers in ((first, second), (second, first)):
        after = {seen.header: seen.after for seen in declared_columns(headers, layout, table)}
        assert after == {first: "", second: first}
    assert [seen.after for seen in declared_columns((second,), layout, table)] == [""]


def test_headers_with_blanks_for_underscores_and_in_capitals_are_those_of_the_layout(tmp_path: Path) -> None:
    rows = [["sub_county", "source_id", "well_depth", "static_water_depth", "pump_installation_depth", "well_yield",
             "population_served", "repair_date", "community", "parish"],
            ["Ovel", "7", "61.5", "20.1", "42", "0.9", "110", "2021-05-04", "A", "B"]]  # fmt: skip
    known = packaged()["ug_boreholes"]
    assert set(known.raw_columns("wells")) <= set(rows[0])
    found = []
    for change in (str, lambda name: name.upper().replace("_", " ") + " "):
        path = tmp_path / f"wells{len(found)}.csv"
        path.write_text("\n".join(",".join(map(change, row)) if row is rows[0] else ",".join(row) for row in rows))
        intake = read_inputs([path], Settings())
        assert [table.source_id for table in intake.tables] == ["ug_boreholes"]
        found.append(to_records(intake, Settings()).wells.drop(columns=["source_file"]))
    pd.testing.assert_frame_equal(*found)


def test_of_names_that_compare_equal_the_one_written_just_so_is_meant() -> None:
    names = Names(("Well ID", "WELL_ID", "depth"))
    assert [names.index(name) for name in ("WELL_ID", "Well ID", "well_id", " Depth ", "none")] == [1, 0, 0, 2, None]


def test_projected_places_of_a_proposed_layout_are_shown_in_degrees(tmp_path: Path) -> None:
    lines = [f"W{i},{500000 + i * 200},{6100000 + i * 150},{60 + i}" for i in range(12)]
    path = tmp_path / "wells.csv"
    path.write_text("Well,Easting (EPSG:32633),Northing (EPSG:32633),Well depth (m)\n" + "\n".join(lines) + "\n")
    found = look([path], Settings())
    inspect_values.fill(found.tables[0], Settings())
    north = next(column for column in found.tables[0].columns if column.field == "latitude_deg")
    assert any("N" in note and "E" in note for note in north.notes)


def test_a_table_that_belongs_to_wells_asks_for_the_wells(tmp_path: Path) -> None:
    path = tmp_path / "screens.csv"
    path.write_text("well_tag_number,liner_perforation_from_ft-bgl,liner_perforation_to_ft-bgl\n7,40,60\n8,50,80\n")
    assert list(packaged()["ca_british_columbia"].tables["perforation"].match) == path.read_text().split("\n")[0].split(",")
    told = " ".join(inspect_text.text(look([path], Settings()), [str(path)], []).split())
    assert "Give the file of the wells" in told and "wellstring run" not in told
