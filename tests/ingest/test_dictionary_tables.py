"""Tables that describe other tables: dictionaries and lists of codes, all invented."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.ingest import read_inputs
from pipeline.ingest.proposal.dictionary import pairs_in
from pipeline.normalise import to_records
from pipeline.settings import Settings

FOOT = 0.3048
WELLS = "WID,CNTY,TDP,SWLV,PMP\n" + "".join(
    f"F-{n:03d},Fenmark,{200 + n},{20 + n % 9},{n % 3 + 1}\n" for n in range(30)
)  # fmt: skip
DICTIONARY = """variable,type,description,units
WID,text,Identifier of the well in the register,
CNTY,text,County in which the well lies,
TDP,numeric,Total depth of the well below ground,feet
SWLV,numeric,Static water level below ground,feet
PMP,coded,Type of pump,
"""
CODES = "PMP,meaning\n1,submersible pump\n2,hand pump\n3,no pump\n"


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


def test_a_dictionary_gives_meaning_and_unit(tmp_path: Path) -> None:
    intake = read_inputs([put(tmp_path, register=WELLS, about=DICTIONARY)], Settings())
    assert intake.not_read == [("about.csv", "Describes the columns of register.csv.")]
    columns = intake.layouts["register"].wells_table().columns
    assert columns["depth_completed_m"].sources == ("TDP",) and columns["depth_completed_m"].unit == "ft"
    assert columns["depth_static_m"].sources == ("SWLV",) and columns["depth_static_m"].unit == "ft"
    told = next(d for d in intake.decisions if d["column"] == "TDP")
    assert "dictionary" in told["evidence"]


def test_a_list_of_codes_gives_the_codes(tmp_path: Path) -> None:
    intake = read_inputs([put(tmp_path, register=WELLS, about=DICTIONARY, pump_types=CODES)], Settings())
    assert ("pump_types.csv", "Describes the codes of 'PMP' in register.csv.") in intake.not_read
    codes = intake.layouts["register"].wells_table().columns["pump_kind_code"].codes
    assert {k: codes[k] for k in "123"} == {"1": "submersible", "2": "hand", "3": "none"}
    wells = to_records(intake, Settings()).wells.set_index("well_id")
    assert wells.loc["F-001", "pump_kind_code"] == "hand"


def test_a_code_book_with_names_written_once(tmp_path: Path) -> None:
    book = (
        "Topic,Variable description,Variable name,Codes,Code description\n"
        "Place,Identifier of the well,WID,-,-\nPlace,County,CNTY,-,-\n"
        "Depth,Depth of the well in feet,TDP,-,-\nWater,Static water level in feet,SWLV,-,-\n"
        "Pump,What is the pump type?,PMP,1,Submersible pump\n,,,2,Hand pump\n,,,3,No pump\n"
    )
    intake = read_inputs([put(tmp_path, register=WELLS, book=book)], Settings())
    assert intake.not_read == [("book.csv", "Describes the columns of register.csv.")]
    assert intake.layouts["register"].wells_table().columns["pump_kind_code"].codes["2"] == "hand"


def test_a_second_sheet_of_the_same_workbook(tmp_path: Path) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    for sheet, text in ((book.active, WELLS), (book.create_sheet("Dictionary"), DICTIONARY)):
        for line in text.splitlines():
            sheet.append(line.split(","))
    path = tmp_path / "register.xlsx"
    book.save(path)
    intake = read_inputs([path], Settings())
    assert [t.file for t in intake.tables] == ["register.xlsx: Sheet"]
    assert intake.not_read == [("register.xlsx: Dictionary", "Describes the columns of register.xlsx: Sheet.")]
    assert len(to_records(intake, Settings()).wells) == 30


def test_a_dictionary_of_a_table_that_is_not_there(tmp_path: Path) -> None:
    other = "column,description\nQ_MAX,Largest flow of the river in a year\nSTAGE,Height of the river at the gauge\n"
    wells = "Well ID,Depth (ft),SWL (ft)\nA,200,30\nB,210,31\n"
    intake = read_inputs([put(tmp_path, wells=wells, river=other)], Settings())
    assert intake.not_read == [("river.csv", "Describes the columns of a table that was not given.")]


def test_a_dictionary_of_a_known_table_is_told_too(tmp_path: Path) -> None:
    layout = tmp_path / "fenmark.toml"
    layout.write_text(
        '[source]\nid = "fenmark"\n[tables.wells]\nrole = "wells"\nmatch = ["WID", "TDP"]\nid = "WID"\n'
        '[tables.wells.columns.depth_drilled_m]\nfrom = "TDP"\nunit = "ft"\n', encoding="utf-8",
    )  # fmt: skip
    intake = read_inputs([put(tmp_path, register=WELLS, about=DICTIONARY)], Settings(layouts=(layout,)))
    assert intake.not_read == [("about.csv", "Describes the columns of register.csv.")]


def test_pairs_written_in_prose() -> None:
    assert pairs_in("Pump type: 1 = submersible; 2 = hand pump, 3 = none") == {
        "1": "submersible", "2": "hand pump", "3": "none"}  # fmt: skip
    assert pairs_in("Depth of the well in feet: measured by tape") == {}


def test_a_table_of_wells_is_no_dictionary(tmp_path: Path) -> None:
    wells = "Well name,Depth (ft),Description\n" + "".join(
        f"Well {n},{200 + n},old well beside the long road to Fenmark\n" for n in range(12))  # fmt: skip
    intake = read_inputs([put(tmp_path, wells=wells)], Settings())
    assert len(intake.tables) == 1 and intake.not_read == []


def test_two_dictionaries_of_one_form_describe_each_its_own_table(tmp_path: Path) -> None:
    levels = "WID,READ_ON,LEV\n" + "".join(f"F-{n:03d},2011-02-{n % 27 + 1:02d},{20 + n % 5}\n" for n in range(30))
    other = ("variable,type,description,units\nWID,text,Identifier of the well,\nREAD_ON,date,Day of the reading,\n"
             "LEV,numeric,Static water level below ground,feet\n")  # fmt: skip
    folder = put(tmp_path, register=WELLS, levels=levels, about=DICTIONARY, about_levels=other)
    intake = read_inputs([folder], Settings())
    assert dict(intake.not_read) == {
        "about.csv": "Describes the columns of register.csv.",
        "about_levels.csv": "Describes the columns of levels.csv.",
    }
    assert intake.layouts["register"].tables["levels"].columns["depth_static_m"].unit == "ft"


def test_a_label_that_says_the_contrary_gives_no_code() -> None:
    from pipeline import schema
    from pipeline.ingest.proposal.assemble import _code_of

    known = schema.spellings("status")
    assert _code_of("no longer plugged", known) == "" and _code_of("Hand pump", schema.spellings("pump_kind")) == "hand"
