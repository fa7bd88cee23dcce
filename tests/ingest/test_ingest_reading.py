"""Reading of invented files: ledger, faults, containers, errors, recognition."""

from __future__ import annotations

import gzip
import zipfile
from pathlib import Path

import pytest

from pipeline.errors import PipelineError, SchemaError, SourceError, UsageError
from pipeline.ingest import describe, propose, read_inputs
from pipeline.settings import Settings

LAYOUT = """
[source]
id = "fenmark_wells"
[file]
missing = ["NA"]
[tables.wells]
role = "wells"
match = ["BORE", "DEPTH_FT", "RWL_FT"]
id = "BORE"
[tables.wells.columns.depth_completed_m]
from = "DEPTH_FT"
unit = "ft"
[tables.wells.columns.depth_static_m]
from = "RWL_FT"
unit = "ft"
[tables.casing]
role = "child"
match = ["BORE", "CASING_IN"]
id = "BORE"
[tables.casing.columns.diameter_casing_inside_m]
from = "CASING_IN"
unit = "in"
pick = "min"
"""
HEADER = "BORE,OWNER,DEPTH_FT,RWL_FT\n"


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    path = tmp_path / "fenmark_wells.toml"
    path.write_text(LAYOUT, encoding="utf-8")
    return Settings(layouts=(path,))


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")


def put(tmp_path: Path, content: bytes | str, name: str = "in.csv") -> Path:
    path = tmp_path / "in" / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def test_only_mapped_columns_are_kept(tmp_path: Path, settings: Settings) -> None:
    intake = read_inputs([put(tmp_path, HEADER + "007,A Person,120,30\n")], settings)
    frame = intake.tables[0].frame
    assert list(frame.columns) == ["BORE", "DEPTH_FT", "RWL_FT", "_line", "_row"]
    assert frame.iloc[0].tolist() == ["007", "120", "30", 2, 1]


def test_lines_and_record_numbers_through_every_quirk(tmp_path: Path, settings: Settings) -> None:
    text = (
        b"\xef\xbb\xbf# extract of the register\r\nRegister of Fenmark\r\n\r\n"
        + HEADER.encode().replace(b"\n", b"\r\n")
        + b'1,"two\nlines, one comma",100,20\r\n'  # lines 5 and 6
        + b"\r\n,,,\n"  # blank lines 7 and 8
        + b"2,caf\xe9,200,30\n"  # cp1252 byte, line 9
        + HEADER.encode()  # repeated header, line 10
        + b"3,x,300\n"  # too few, line 11
        + b"4,x,400,1,2\n"  # too many, line 12
        + b"5,x,500,1,,\n"  # more fields, all empty: fits, line 13
        + b"6,a\x00b,600,1\n"  # NUL, line 14
        + b'7,"never closed,700,1\n'  # line 15
        + b'8,"say ""hi""",800,"2"'  # no line end, line 16
    )
    intake = read_inputs([put(tmp_path, text)], settings)
    frame = intake.tables[0].frame
    assert frame["BORE"].tolist() == ["1", "2", "5", "8"]
    assert frame["_line"].tolist() == [5, 9, 13, 16]
    assert frame["_row"].tolist() == [1, 2, 5, 8]
    assert frame["RWL_FT"].tolist() == ["20", "30", "1", "2"]
    entry = intake.ledger[0]
    assert (entry.lines, entry.rows_read) == (16, 8)
    assert entry.quarantined == {"too_few_fields": 1, "too_many_fields": 1, "bad_bytes": 1, "unterminated_quote": 1}
    told = intake.quarantine.set_index("source_line")
    assert told["reason_code"].to_dict() == {
        11: "too_few_fields", 12: "too_many_fields", 14: "bad_bytes", 15: "unterminated_quote"}  # fmt: skip
    for line, found in told.iterrows():
        begin, length = int(found["byte_offset"]), int(found["byte_length"])
        assert text[begin : begin + length] == text.split(b"\n")[int(str(line)) - 1]
    assert any("cp1252" in note for _, note in intake.notes)


def test_quarantine_never_holds_the_text(tmp_path: Path, settings: Settings) -> None:
    intake = read_inputs([put(tmp_path, HEADER + "1,x,1,1\nSecret Person,5\n")], settings)
    assert not intake.quarantine.map(lambda v: "Secret" in str(v)).to_numpy().any()


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_delimiters_are_found(tmp_path: Path, settings: Settings, delimiter: str) -> None:
    text = (HEADER + "1,x,100,20\n").replace(",", delimiter)
    assert read_inputs([put(tmp_path, text)], settings).tables[0].frame["DEPTH_FT"].tolist() == ["100"]


def test_a_tab_file_with_loose_quotes_is_read_without_quoting(tmp_path: Path, settings: Settings) -> None:
    text = "BORE\tOWNER\tDEPTH_FT\tRWL_FT\n1\t\"BIG\" hole\t100\t20\n2\t\"open\t200\t30\n3\tx\t\"300\"\t40\n"
    intake = read_inputs([put(tmp_path, text, "in.txt")], settings)
    assert intake.tables[0].frame["DEPTH_FT"].tolist() == ["100", "200", "300"]
    assert intake.ledger[0].quarantined == {}


def test_comment_block_and_type_row(tmp_path: Path, settings: Settings) -> None:
    text = "# a block\n#\nBORE\tOWNER\tDEPTH_FT\tRWL_FT\n5s\t10s\t8n\t8n\n1\tx\t100\t20\n# after\n"
    intake = read_inputs([put(tmp_path, text, "in.rdb")], settings)
    assert intake.tables[0].frame["BORE"].tolist() == ["1"]
    assert (intake.ledger[0].lines, intake.ledger[0].rows_read) == (6, 1)


def test_of_equal_headers_the_first_is_used(tmp_path: Path, settings: Settings) -> None:
    text = "BORE,DEPTH_FT,RWL_FT,DEPTH_FT\n1,100,20,999\n"
    assert read_inputs([put(tmp_path, text)], settings).tables[0].frame["DEPTH_FT"].tolist() == ["100"]


def test_case_and_blanks_of_headers_do_not_matter(tmp_path: Path, settings: Settings) -> None:
    intake = read_inputs([put(tmp_path, " bore ,Depth_ft,rwl_FT \n1,100,20\n")], settings)
    assert intake.tables[0].frame.columns[:3].tolist() == ["BORE", "DEPTH_FT", "RWL_FT"]


def test_carriage_returns_alone_end_lines(tmp_path: Path, settings: Settings) -> None:
    intake = read_inputs([put(tmp_path, (HEADER + "1,x,100,20\n").replace("\n", "\r"))], settings)
    assert intake.ledger[0].rows_read == 1


def test_utf_16_with_a_mark_is_read(tmp_path: Path, settings: Settings) -> None:
    text = (HEADER + "1,Zoë,100,20\n").encode("utf-16")
    assert read_inputs([put(tmp_path, text)], settings).ledger[0].rows_read == 1


def test_limit(tmp_path: Path) -> None:
    path = tmp_path / "fenmark_wells.toml"
    path.write_text(LAYOUT, encoding="utf-8")
    text = HEADER + "".join(f"{i},x,100,20\n" for i in range(50))
    intake = read_inputs([put(tmp_path, text)], Settings(layouts=(path,), limit=7))
    assert len(intake.tables[0].frame) == 7 and intake.ledger[0].rows_read == 7


def test_gz_and_zip(tmp_path: Path, settings: Settings) -> None:
    text = (HEADER + "1,x,100,20\n").encode()
    packed = put(tmp_path, gzip.compress(text), "a.csv.gz")
    archive = tmp_path / "in" / "b.zip"
    with zipfile.ZipFile(archive, "w") as handle:
        handle.writestr("../../evil.csv", text.replace(b"1,x", b"2,x"))
        handle.writestr("casing.csv", "BORE,CASING_IN\n2,6\n")
        handle.writestr("picture.png", b"\x89PNG\r\n\x1a\n" + bytes(100))
    intake = read_inputs([packed, archive], settings)
    assert [(t.file, t.table) for t in intake.tables] == [
        ("a.csv.gz", "wells"), ("b.zip: evil.csv", "wells"), ("b.zip: casing.csv", "casing")]  # fmt: skip
    assert [name for name, _ in intake.not_read] == ["b.zip: picture.png"]
    assert not (tmp_path / "evil.csv").exists()


def test_archives_that_swell_are_refused(tmp_path: Path, settings: Settings) -> None:
    for name in ("a.csv.gz", "a.zip"):
        content = HEADER.encode() + b"0" * (8 << 20)
        if name.endswith("gz"):
            path = put(tmp_path, gzip.compress(content), name)
        else:
            path = put(tmp_path, b"", name)
            with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as handle:
                handle.writestr("a.csv", content)
        with pytest.raises(SourceError, match="200 times") as raised:
            read_inputs([path], settings)
        assert raised.value.exit_code == 1


def test_workbook(tmp_path: Path, settings: Settings) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    about = book.active
    about.append(["About this book"])
    sheet = book.create_sheet("data")
    head = ["BORE", "OWNER", "DEPTH_FT", "RWL_FT"]
    for row in (["Register"], [], head, [7, "x", 100.0, 20.5], [], [8, "y", 90, None]):
        sheet.append(row)
    path = tmp_path / "a.xlsx"
    book.save(path)
    intake = read_inputs([path], settings)
    frame = intake.tables[0].frame
    assert frame["BORE"].tolist() == ["7", "8"] and frame["DEPTH_FT"].tolist() == ["100", "90"]
    assert frame["_line"].tolist() == [4, 6] and intake.ledger[0].lines == 6


def test_dbf(tmp_path: Path, settings: Settings) -> None:
    fields = [("BORE", b"C", 6), ("DEPTH_FT", b"N", 8), ("RWL_FT", b"N", 8)]
    head = bytes([3, 124, 1, 1]) + (3).to_bytes(4, "little") + (32 * 4 + 1).to_bytes(2, "little")
    head += (23).to_bytes(2, "little") + bytes(20)
    for name, kind, size in fields:
        head += name.encode().ljust(11, b"\0") + kind + bytes(4) + bytes([size, 0]) + bytes(14)
    body = b" 01      100.00   20.50" + b"*02      200.00   30.00" + b" 03    ********    1e+1"
    path = put(tmp_path, head + b"\r" + body + b"\x1a", "a.dbf")
    frame = read_inputs([path], settings).tables[0].frame
    assert frame["BORE"].tolist() == ["01", "03"]
    assert frame["DEPTH_FT"].tolist() == ["100", ""] and frame["RWL_FT"].tolist() == ["20.5", "10"]


@pytest.mark.parametrize(
    ("content", "name", "code", "says"),
    [
        (b"", "in.csv", 1, "empty"),
        (b"\r\n \n", "in.csv", 1, "empty"),
        (bytes(range(256)) * 40, "in.csv", 1, "binary"),
        (b"PAR1" + bytes(50), "in.parquet", 1, "Parquet"),
        (b"PK\x03\x04 broken", "in.zip", 1, "unpacked"),
        (b"\x1f\x8b broken", "in.gz", 1, "unpacked"),
        (b"PK\x03\x04", "in.xlsx", 1, "unpacked"),
        (b"just a letter to somebody\nwith no table in it\n", "in.txt", 2, "no table"),
        (b"BORE,DEPTH_FT,RWL_FT\n", "in.csv", 1, "no record"),
        (b"BORE,DEPTH_FT,RWL_FT\n1\n2\n", "in.csv", 1, "none of its 2 records"),
        (b"colour,shape\nred,round\n", "in.csv", 2, "not understood"),
        (b"\x03short", "in.dbf", 1, "dbf"),
    ],
)
def test_bad_input_is_one_clear_line(
    tmp_path: Path, settings: Settings, content: bytes, name: str, code: int, says: str
) -> None:
    with pytest.raises(PipelineError, match=says) as raised:
        read_inputs([put(tmp_path, content, name)], settings)
    assert raised.value.exit_code == code
    assert name in str(raised.value) and "\n" not in str(raised.value)


def test_missing_path(tmp_path: Path, settings: Settings) -> None:
    with pytest.raises(UsageError, match="no such file") as raised:
        read_inputs([tmp_path / "nowhere.csv"], settings)
    assert raised.value.exit_code == 2


def test_a_folder_goes_on_past_what_it_cannot_read(tmp_path: Path, settings: Settings) -> None:
    put(tmp_path, HEADER + "1,x,100,20\n", "b.csv")
    put(tmp_path, b"", "a.csv")
    put(tmp_path, b"PAR1" + bytes(9), "c.parquet")
    put(tmp_path, "colour,shape\nred,round\n", "d.csv")
    put(tmp_path, "hidden", ".e.csv")
    put(tmp_path, HEADER + "1,x,100.0,20\n", "f.csv")
    put(tmp_path, "BORE,CASING_IN\n1,6\n", "g.csv")
    intake = read_inputs([tmp_path / "in"], settings)
    assert [(t.file, t.table) for t in intake.tables] == [("b.csv", "wells"), ("f.csv", "wells"), ("g.csv", "casing")]
    assert [name for name, _ in intake.not_read] == ["a.csv", "c.parquet", "d.csv"]


def test_a_copy_of_a_table_is_read_once(tmp_path: Path, settings: Settings) -> None:
    put(tmp_path, HEADER + "1,x,100,20\n2,x,NA,20\n", "a.csv")
    put(tmp_path, HEADER + "1,x,100.0,20\n2,x,,20.00\n", "b.csv")
    put(tmp_path, HEADER + "1,x,100,20\n2,x,NA,21\n", "c.csv")
    intake = read_inputs([tmp_path / "in"], settings)
    assert [t.file for t in intake.tables] == ["a.csv", "c.csv"]
    assert intake.not_read == [("b.csv", "The same records as a.csv.")]


def test_a_folder_with_nothing_to_read(tmp_path: Path, settings: Settings) -> None:
    put(tmp_path, b"", "a.csv")
    with pytest.raises(SourceError, match="Nothing could be read") as raised:
        read_inputs([tmp_path / "in"], settings)
    assert raised.value.exit_code == 1
    put(tmp_path, "well,depth\n1,100\n", "b.csv")
    with pytest.raises(SourceError, match=r"layout\.toml") as raised:
        read_inputs([tmp_path / "in"], settings)
    assert raised.value.exit_code == 2


def test_the_most_specific_layout_wins_and_a_tie_is_told(tmp_path: Path) -> None:
    one = tmp_path / "one_wells.toml"
    one.write_text(LAYOUT.replace("fenmark_wells", "one_wells").replace(', "RWL_FT"]', "]"), encoding="utf-8")
    two = tmp_path / "two_wells.toml"
    two.write_text(LAYOUT.replace("fenmark_wells", "two_wells"), encoding="utf-8")
    path = put(tmp_path, HEADER + "1,x,100,20\n")
    assert read_inputs([path], Settings(layouts=(one, two))).tables[0].source_id == "two_wells"
    one.write_text(LAYOUT.replace("fenmark_wells", "one_wells"), encoding="utf-8")
    with pytest.raises(SchemaError, match=r"(one|two)_wells\.toml.*(one|two)_wells\.toml"):
        read_inputs([path], Settings(layouts=(one, two)))


def test_a_column_the_layout_names_and_the_file_lacks_is_missing_and_told(tmp_path: Path) -> None:
    path = tmp_path / "fenmark_wells.toml"
    path.write_text(LAYOUT.replace(', "RWL_FT"]', "]"), encoding="utf-8")
    intake = read_inputs([put(tmp_path, "BORE,DEPTH_FT\n1,100\n")], Settings(layouts=(path,)))
    assert intake.tables[0].frame["RWL_FT"].isna().all()
    assert "'RWL_FT'" in intake.notes[0][1]


def test_describe_shows_samples_of_read_columns_only(tmp_path: Path, settings: Settings) -> None:
    told = {r["column"]: r for r in describe([put(tmp_path, HEADER + "1,A Person,120,30\n")], settings)}
    assert told["DEPTH_FT"]["field"] == "depth_completed_m" and told["DEPTH_FT"]["samples"] == ["120"]
    assert told["OWNER"]["samples"] == [] and told["OWNER"]["note"] == "not read"


# --- files without a layout ---


def test_owners_file_is_read_when_certain(tmp_path: Path) -> None:
    text = "Well ID,Depth (ft),swl_m,yield gpm,Date drilled,Owner\nA-1,300,12,10,2/13/2020,Somebody\n"
    intake = read_inputs([put(tmp_path, text, "My wells.csv")], Settings())
    layout = intake.layouts["my_wells"]
    found = {c.field: (c.sources, c.unit) for c in layout.wells_table().columns.values()}
    assert found["depth_completed_m"] == (("Depth (ft)",), "ft") and found["depth_static_m"] == (("swl_m",), "m")
    assert found["flow_tested_m3_per_s"] == (("yield gpm",), "gpm") and layout.date_order == "mdy"
    assert layout.wells_table().id == ("Well ID",) and "Owner" not in intake.tables[0].frame
    assert "'swl_m' as depth_static_m in m" in intake.notes[0][1] and "Not read: 'Owner'" in intake.notes[0][1]


def test_canonical_names_are_read_as_they_stand(tmp_path: Path) -> None:
    text = "well_id,depth_static_m,depth_completed_m,use_code\n1,10,50,domestic\n"
    columns = read_inputs([put(tmp_path, text)], Settings()).layouts["in"].wells_table().columns
    assert columns["depth_static_m"].unit == "m" and columns["use_code"].sources == ("use_code",)


def test_a_row_of_units_below_the_header(tmp_path: Path) -> None:
    intake = read_inputs([put(tmp_path, "well id,depth,swl,yield\n,m,m,L/s\nB1,60,12,0.5\n")], Settings())
    assert intake.layouts["in"].wells_table().columns["flow_tested_m3_per_s"].unit == "L/s"
    assert intake.tables[0].frame["well id"].tolist() == ["B1"] and intake.tables[0].frame["_line"].tolist() == [3]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("well id,depth\n1,100\n", "tells no unit"),
        ("well id,well depth (ft),total depth (ft)\n1,100,100\n", "could all be depth_completed_m"),
        ("well id,county\n1,Fenmark\n", "no column with a written unit"),
        ("well id,depth (ft),date drilled\n1,100,2/3/2020\n", "day first or month first"),
        ("well id,depth (ft),swl ft btoc\n1,100,20\n", "casing top"),
    ],
)
def test_what_is_not_certain_stops_with_a_proposal(tmp_path: Path, text: str, says: str) -> None:
    from pipeline.ingest import read_layout

    path = put(tmp_path, text, "mine.csv")
    for expected in ("mine.layout.toml", "mine-2.layout.toml"):
        with pytest.raises(SourceError, match=says) as raised:
            read_inputs([path], Settings())
        assert raised.value.exit_code == 2
        assert f"--layout {expected} --out DIR" in str(raised.value)
        assert read_layout(Path(expected)).id == "mine"
    assert propose(path)["certain"] is False


def test_the_proposal_completed_reads_the_file(tmp_path: Path) -> None:
    path = put(tmp_path, "well id,depth,swl (ft)\n1,100,20\n", "mine.csv")
    with pytest.raises(SourceError):
        read_inputs([path], Settings())
    layout = Path("mine.layout.toml")
    text = layout.read_text(encoding="utf-8")
    marked = next(line for line in text.splitlines() if "please confirm" in line and line.startswith("["))
    assert marked.startswith("[tables.wells.columns.depth_completed_m]") and 'unit = "ft"' in text
    layout.write_text(text.replace('from = "depth"\nunit = "ft"', 'from = "depth"\nunit = "m"'), encoding="utf-8")
    intake = read_inputs([path], Settings(layouts=(layout,)))
    assert "depth" in intake.tables[0].frame
    assert intake.layouts["mine"].wells_table().columns["depth_completed_m"].unit == "m"
