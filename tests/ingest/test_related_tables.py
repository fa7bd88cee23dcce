"""Folders of invented tables that no layout knows: wells and what joins them, by several conventions."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from pipeline.errors import SourceError
from pipeline.ingest import read_inputs
from pipeline.ingest.proposal.unknown import plain_ids
from pipeline.normalise import to_records
from pipeline.settings import Settings

FOOT = 0.3048


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")


def put(tmp_path: Path, **files: str) -> Path:
    folder = tmp_path / "in"
    folder.mkdir(exist_ok=True)
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def relational(count: int = 40) -> dict[str, str]:
    """Sites, casing lines and levels of an invented register in feet, ids written in three ways."""
    ids = [f"{n:08d}" for n in range(1001, 1001 + count)]
    sites = "WELL_NO,COUNTY,LATITUDE,LONGITUDE,DATE_DRILLED,TOTAL_DEPTH_FT\n" + "".join(
        f"{i},Fenmark,{41 + n * 0.01:.4f},{-100 - n * 0.01:.4f},2001-05-{n % 28 + 1:02d},{200 + n}\n"
        for n, i in enumerate(ids)
    )
    casing = "WELL_NO,CASING_FROM_FT,CASING_TO_FT,CASING_DIAMETER_IN\n" + "".join(
        f"{int(i)}.0,0,40,8\n{int(i)}.0,40,{100 + n},6\n" for n, i in enumerate(ids)
    )
    levels = "well_no,MEAS_DATE,STATIC_WATER_LEVEL_FT\n" + "".join(
        f"{int(i)},{year}-06-01,{level + n % 7}\n"
        for n, i in enumerate(ids) for year, level in ((2003, 30), (2015, 50), (2009, 40))
    )  # fmt: skip
    return {"sites": sites, "casing": casing, "levels": levels}


def test_sites_casing_and_levels_are_one_source(tmp_path: Path) -> None:
    intake = read_inputs([put(tmp_path, **relational())], Settings())
    assert {(t.source_id, t.table) for t in intake.tables} == {
        ("sites", "wells"), ("sites", "casing"), ("sites", "levels")}  # fmt: skip
    layout = intake.layouts["sites"]
    assert layout.tables["levels"].order_by == "MEAS_DATE" and layout.tables["levels"].role == "child"
    assert layout.tables["levels"].columns["depth_static_m"].pick == "last"
    assert layout.tables["casing"].columns["diameter_casing_inside_m"].pick == "min"
    records = to_records(intake, Settings())
    assert all(entry.balances() and entry.rows_used == entry.rows_read for entry in records.ledger)
    first = records.wells.set_index("well_id").loc["00001001"]
    assert first["depth_static_m"] == pytest.approx(50 * FOOT)
    assert first["diameter_casing_inside_m"] == pytest.approx(6 * 0.0254)
    assert first["depth_casing_bottom_m"] == pytest.approx(100 * FOOT)
    assert any("zeros in front" in note for _, note in intake.notes)
    assert any("are 'WELL_NO' of sites.csv" in note for _, note in intake.notes)


def test_every_column_that_is_read_has_a_decision(tmp_path: Path) -> None:
    intake = read_inputs([put(tmp_path, **relational())], Settings())
    told = {(d["table"], d["column"]): d for d in intake.decisions}
    for layout in intake.layouts.values():
        for table in layout.tables.values():
            for column in table.columns.values():
                assert all((table.name, header) in told for header in column.sources)
    depth = told["wells", "TOTAL_DEPTH_FT"]
    assert depth["unit"] == "ft" and depth["how"] == "header" and depth["score"] > 0.9 and depth["evidence"]


def test_property_ids_are_compared_whatever_their_spelling() -> None:
    import pandas as pd

    spelled = pd.Series(["0007", "7", "7.0", " 7.00", "7e0", "7E+0", "ab-07", "AB-07 "])
    assert plain_ids(spelled).tolist() == ["7"] * 6 + ["ab-07"] * 2


def test_two_tables_of_wells_are_two_sources(tmp_path: Path) -> None:
    one = "Well ID,Depth (ft),SWL (ft)\n" + "".join(f"A-{n},{200 + n},{20 + n % 5}\n" for n in range(30))
    two = "Borehole No,Total depth (m),Static water level (m)\n" + "".join(
        f"KB{n:03d},{50 + n},{10 + n % 5}\n" for n in range(30))  # fmt: skip
    intake = read_inputs([put(tmp_path, north=one, south=two)], Settings())
    assert sorted(intake.layouts) == ["north", "south"]
    assert [entry.rows_read for entry in intake.ledger] == [30, 30]


def test_files_of_one_header_are_one_table(tmp_path: Path) -> None:
    head = "Well ID,Depth (ft),SWL (ft)\n"
    parts = {f"part_{k}": head + "".join(f"{k}{n},{200 + n},{20 + n % 5}\n" for n in range(9)) for k in "abc"}
    intake = read_inputs([put(tmp_path, **parts)], Settings())
    assert list(intake.layouts) == ["part_a"] and len(intake.tables) == 3
    assert len(to_records(intake, Settings()).wells) == 27


def test_what_tells_nothing_is_left_aside_with_the_reason(tmp_path: Path) -> None:
    tables = relational()
    tables["remarks"] = "WELL_NO,SEQ,REMARK\n" + "".join(f"{n},1,sweet water\n" for n in range(1001, 1041))
    intake = read_inputs([put(tmp_path, **tables)], Settings())
    assert intake.not_read == [("remarks.csv", "Of no use for the job: it tells nothing that the job uses.")]


def test_orphan_rows_are_counted_and_orphan_tables_told(tmp_path: Path) -> None:
    tables = relational()
    tables["levels"] += "99999,2001-01-01,5\n"
    tables["other_levels"] = "STATION,READ_ON,DTW_M\n" + "".join(f"Z{n},2001-01-0{n},5.5\n" for n in range(1, 8))
    intake = read_inputs([put(tmp_path, **tables)], Settings())
    records = to_records(intake, Settings())
    levels = next(e for e in records.ledger if e.file == "levels.csv")
    assert levels.excluded == {"orphan": 1} and levels.balances()
    assert not any(t.file == "other_levels.csv" and t.source_id == "sites" for t in intake.tables)


def test_an_empty_table_is_told_and_stops_nothing(tmp_path: Path) -> None:
    tables = relational()
    tables["screens"] = "WELL_NO,SCREEN_TOP_FT,SCREEN_BOTTOM_FT\n"
    intake = read_inputs([put(tmp_path, **tables)], Settings())
    assert intake.not_read == [("screens.csv", "a header and no record below it.")]
    assert len(intake.tables) == 3


def test_known_and_unknown_tables_are_read_side_by_side(tmp_path: Path) -> None:
    folder = put(tmp_path, **relational())
    layout = tmp_path / "fenmark.toml"
    layout.write_text(
        '[source]\nid = "fenmark"\n[tables.wells]\nrole = "wells"\nmatch = ["BORE", "TIEFE"]\nid = "BORE"\n'
        '[tables.wells.columns.depth_drilled_m]\nfrom = "TIEFE"\nunit = "m"\n', encoding="utf-8",
    )  # fmt: skip
    (folder / "a_known.csv").write_text("BORE,TIEFE\nx,40\n", encoding="utf-8")
    intake = read_inputs([folder], Settings(layouts=(layout,)))
    assert sorted(intake.layouts) == ["fenmark", "sites"] and intake.tables[0].source_id == "fenmark"
    assert {d["how"] for d in intake.decisions if d["source"] == "fenmark"} == {"layout"}


def test_members_of_an_archive_and_sheets_of_a_book_count_as_a_folder(tmp_path: Path) -> None:
    import openpyxl

    tables = relational()
    archive, book = tmp_path / "all.zip", tmp_path / "all.xlsx"
    with zipfile.ZipFile(archive, "w") as handle:
        for name, text in tables.items():
            handle.writestr(f"{name}.csv", text)
    workbook = openpyxl.Workbook()
    workbook.remove(workbook.active)
    for name, text in tables.items():
        sheet = workbook.create_sheet(name)
        for line in text.splitlines():
            sheet.append(line.split(","))
    workbook.save(book)
    for path in (archive, book):
        intake = read_inputs([path], Settings())
        assert sorted(t.table for t in intake.tables) == ["casing", "levels", "wells"], path.name
        assert len(to_records(intake, Settings()).wells) == 40


def test_levels_without_a_date_and_tests_by_the_largest(tmp_path: Path) -> None:
    wells = "Borehole ID,Total Depth (m)\n" + "".join(f"B{n:03d},{60 + n}\n" for n in range(20))
    tests = "Borehole ID,Step,Yield (L/s),Dynamic water level (m)\n" + "".join(
        f"B{n:03d},{step},{0.5 * step},{20 + step}\n" for n in range(20) for step in (1, 3, 2))  # fmt: skip
    intake = read_inputs([put(tmp_path, boreholes=wells, tests=tests)], Settings())
    columns = intake.layouts["boreholes"].tables["tests"].columns
    assert columns["flow_tested_m3_per_s"].pick == "max" and columns["depth_pumping_m"].pick == "max"
    well = to_records(intake, Settings()).wells.iloc[0]
    assert well["flow_tested_m3_per_s"] == pytest.approx(1.5e-3) and well["depth_pumping_m"] == pytest.approx(23)


def test_lines_of_casing_and_screen_are_told_apart(tmp_path: Path) -> None:
    wells = "WELL_ID,DEPTH_FT\n" + "".join(f"W{n:04d},{200 + n}\n" for n in range(20))
    lines = "WELL_ID,LINE_TYPE,FROM_FT,TO_FT,DIAM_IN\n" + "".join(
        f"W{n:04d},Casing,0,{150 + n},6\nW{n:04d},Screen,{150 + n},{190 + n},4\nW{n:04d},Grout,0,20,10\n"
        for n in range(20)
    )  # fmt: skip
    intake = read_inputs([put(tmp_path, wells=wells, strings=lines)], Settings())
    columns = intake.layouts["wells"].tables["strings"].columns
    assert columns["depth_screen_top_m"].where == {"LINE_TYPE": ("Screen",)}
    assert columns["depth_screen_top_m"].sources == ("FROM_FT",)
    assert columns["diameter_casing_inside_m"].where == {"LINE_TYPE": ("Casing",)}
    well = to_records(intake, Settings()).wells.set_index("well_id").loc["W0000"]
    assert well["depth_screen_top_m"] == pytest.approx(150 * FOOT)
    assert well["depth_screen_bottom_m"] == pytest.approx(190 * FOOT)
    assert well["depth_casing_bottom_m"] == pytest.approx(150 * FOOT)
    assert well["diameter_casing_inside_m"] == pytest.approx(6 * 0.0254)


def test_water_chemistry_one_row_a_measurement(tmp_path: Path) -> None:
    wells = "Station ID,Well depth (ft)\n" + "".join(f"S-{n:03d},{200 + n}\n" for n in range(20))
    told = (("pH", 6.1, "std units"), ("Chloride", 35, "mg/l"), ("Specific conductance", 410, "uS/cm"),
            ("Temperature, water", 14.5, "deg C"), ("Nitrate", 2, "mg/l"))  # fmt: skip
    results = "Station ID,Sample Date,Parameter,Result Value,Units\n" + "".join(
        f'S-{n:03d},2019-0{1 + k % 2}-02,"{name}",{value + k % 2},{unit}\n'
        for n in range(20) for k in (1, 0) for name, value, unit in told
    )  # fmt: skip
    intake = read_inputs([put(tmp_path, stations=wells, results=results)], Settings())
    columns = intake.layouts["stations"].tables["results"].columns
    assert columns["acidity_ph"].where == {"Parameter": ("pH",)} and columns["acidity_ph"].pick == "last"
    assert columns["chloride_mg_per_l"].unit == "mg/L" and columns["temperature_water_degc"].unit == "degC"
    well = to_records(intake, Settings()).wells.iloc[0]
    assert well["acidity_ph"] == pytest.approx(7.1) and well["chloride_mg_per_l"] == pytest.approx(36)
    assert well["conductivity_us_per_cm"] == pytest.approx(411)
    assert well["temperature_water_degc"] == pytest.approx(15.5)


def test_several_named_files_make_one_proposal(tmp_path: Path) -> None:
    tables = relational()
    tables["sites"] = tables["sites"].replace("TOTAL_DEPTH_FT", "TOTAL_DEPTH").replace("LATITUDE", "A").replace(
        "LONGITUDE", "B")  # fmt: skip
    tables["levels"] = tables["levels"].replace("_FT", "")
    folder = put(tmp_path, sites=tables["sites"], levels=tables["levels"])
    paths = [folder / "levels.csv", folder / "sites.csv"]
    with pytest.raises(SourceError) as raised:
        read_inputs(paths, Settings())
    assert raised.value.exit_code == 2 and str(raised.value).count("wellstring run") == 1
    assert all(str(path) in str(raised.value) for path in paths)
    layout = Path("sites.layout.toml")
    intake = read_inputs(paths, Settings(layouts=(layout,)))
    assert {t.table for t in intake.tables} == {"wells", "levels"}


def test_two_forms_of_one_table_count_each_well_once(tmp_path: Path) -> None:
    rows = [(f"{n % 28 + 1:02d}", 41 + n * 0.013, -100 - n * 0.017, 60 + n, 10 + n % 7 + n / 100) for n in range(40)]
    raw = "date of drilling,latitude,longitude,depth of borehole (m),static water level (m),surveyor\n" + "".join(
        f"{day}/03/2011,{lat:.5f},{lon:.5f},{deep},{level:.2f},x\n" for day, lat, lon, deep, level in rows)  # fmt: skip
    published = "date of drilling,latitude,longitude,depth of borehole (m),static water level (m)\n" + "".join(
        f"2011-03-{day},{lat:.5f},{lon:.5f},{deep},{level:.2f}\n" for day, lat, lon, deep, level in rows[3:])  # fmt: skip
    intake = read_inputs([put(tmp_path, published=published, raw=raw)], Settings())
    assert sorted(layout.edition_of for layout in intake.layouts.values()) == ["", "raw"]
    assert len(to_records(intake, Settings()).wells) == 40


def test_the_layout_of_a_set_reads_it_as_the_proposal_did(tmp_path: Path) -> None:
    from pipeline.ingest.proposal.document import to_toml
    from pipeline.ingest.survey import Reader

    folder = put(tmp_path, **relational())
    proposed = read_inputs([folder], Settings())
    source = Reader(Settings()).survey([folder]).assembled.sources[0]
    layout = tmp_path / "fenmark.toml"
    layout.write_text(to_toml(source.proposal, "fenmark"), encoding="utf-8")
    applied = read_inputs([folder], Settings(layouts=(layout,)))
    assert [(t.file, t.table) for t in applied.tables] == [(t.file, t.table) for t in proposed.tables]
    for one, two in zip(proposed.tables, applied.tables, strict=True):
        assert one.frame.sort_index(axis=1).astype("str").equals(two.frame.sort_index(axis=1).astype("str"))
    wells = [to_records(i, Settings()).wells.drop(columns=["source_id"]) for i in (proposed, applied)]
    assert wells[0].equals(wells[1])
    assert {d["how"] for d in applied.decisions} == {"layout"}


def test_files_of_one_name_in_two_folders_are_two_tables(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    for place, unit, size in (("north", "ft", 200), ("south", "m", 60)):
        (folder / place).mkdir(parents=True)
        (folder / place / "wells.csv").write_text(
            f"Well ID,Depth ({unit}),SWL ({unit})\n"
            + "".join(f"{place[0]}{n},{size + n},{size // 9 + n % 5}\n" for n in range(20)), encoding="utf-8",
        )  # fmt: skip
    intake = read_inputs([folder], Settings())
    assert sorted(intake.layouts) == ["wells", "wells_2"]
    wells = to_records(intake, Settings()).wells.set_index("well_id")
    assert wells.loc["n0", "depth_completed_m"] == pytest.approx(200 * FOOT)
    assert wells.loc["s0", "depth_completed_m"] == pytest.approx(60)
