"""Conventions of text tables: headers over rows, remarks, several tables, encodings; the ledger to the byte."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import SourceError
from pipeline.ingest import read_inputs
from pipeline.ingest.files import Opened, list_files, open_file
from pipeline.ingest.header import Candidate, is_footer, joined, rows_below
from pipeline.ingest.parse import Parsed
from pipeline.ingest.texts import single_bytes
from pipeline.settings import Settings as Effective

HEADER = "Well ID,County,Depth (ft),SWL (ft)\n"
RECORDS = "W-1,Fenmark,240,60\nW-2,Ailwy,180,45.5\nW-3,Fenmark,95,12\n"


def opened(tmp_path: Path, content: bytes | str, name: str = "in.csv") -> list[Opened]:
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return list(open_file(list_files([path])[0]))


def parsed(found: Opened, first: str = "Well ID", encoding: str = "", limit: int | None = None) -> Parsed:
    head, grid = next((h, g) for h, g in found.heads(encoding) if any(c.strip() == first for c in h.cells))
    return found.parse(head, grid, None, limit=limit, encoding=encoding)


def check_bytes(content: bytes, *parts: Parsed) -> None:
    """Every byte and every physical line is of one kind."""
    assert sum(sum(p.bytes.values()) for p in parts) == len(content)
    assert sum(sum(p.kinds.values()) for p in parts) == content.count(b"\n") + (not content.endswith(b"\n"))


# --- the ledger to the byte ---


def test_bytes_by_kind(tmp_path: Path) -> None:
    top = "# a block\r\nRegister of Fenmark\r\n\r\n"
    body = RECORDS + "\n,,,\n# between\n" + HEADER + "W-4,short\n" + 'W-5,"two\nlines",1,2\n'
    content = b"\xef\xbb\xbf" + (top + HEADER + body + "\n(1,204 rows)\n-- end of file\n").encode()
    found = parsed(opened(tmp_path, content)[0])
    check_bytes(content, found)
    assert dict(found.bytes) == {
        "mark": 3, "comment": len("# a block\r\n# between\n"), "header": len("Register of Fenmark\r\n\r\n") + 2 * len(HEADER),
        "blank": len("\n,,,\n\n"), "records": len(RECORDS) + len('W-5,"two\nlines",1,2\n'),
        "quarantined": len("W-4,short\n"), "footer": len("(1,204 rows)\n-- end of file\n"), "unread": 0,
    }  # fmt: skip
    assert found.kinds["footer"] == 2 and found.rows_read == 5


@pytest.mark.parametrize("coding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_utf_16_keeps_the_places_of_its_bytes(tmp_path: Path, coding: str) -> None:
    text = "# 𝄞 note\n" + HEADER + "W-1,Zoë 𝄞,240,60\nW-2,bad\n" + RECORDS
    content = text.encode(coding)
    found = parsed(opened(tmp_path, content)[0])
    assert sum(found.bytes.values()) == len(content) and found.bytes["mark"] == (2 if coding == "utf-16" else 0)
    at, length = int(found.faults["offset"].iloc[0]), int(found.faults["length"].iloc[0])
    assert content[at : at + length].decode("utf-16-be" if coding == "utf-16-be" else "utf-16-le") == "W-2,bad"
    assert found.frame["County"].iloc[0] == "Zoë 𝄞"
    assert found.bytes["comment"] == len("# 𝄞 note\n".encode("utf-16-le"))


def test_bytes_past_a_limit_are_unread(tmp_path: Path) -> None:
    content = (HEADER + RECORDS).encode()
    found = parsed(opened(tmp_path, content)[0], limit=1)
    assert found.bytes["unread"] == len("W-2,Ailwy,180,45.5\nW-3,Fenmark,95,12\n")
    assert sum(found.bytes.values()) == len(content)


LINE = st.sampled_from(["W-1,a,1,2\n", '"x","y ""z""",1,2\r\n', "\n", ",,,\n", "short,1\n", 'a,"open,1\n', "# c\n", HEADER,
                        'a,"two\nlines",1,2\n', "a remark on it\n", "é,ü,1,2\n", "(12 rows)\n", "\0\n"])  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(st.lists(LINE, max_size=14), st.sampled_from(["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-be"]))
def test_property_lines_and_bytes_add_up(tmp_path_factory: pytest.TempPathFactory, lines: list[str], coding: str) -> None:
    content = (HEADER + RECORDS + "".join(lines)).encode(coding)
    parts = [parsed(o) for o in opened(tmp_path_factory.mktemp("x"), content)]
    assert sum(sum(p.bytes.values()) for p in parts) == len(content)
    assert sum(p.lines for p in parts) == (HEADER + RECORDS + "".join(lines)).count("\n")


# --- remarks below the table ---


@pytest.mark.parametrize("text", ["(1,204 rows)", "Source: register of Fenmark", "-- end of file", "1,204 rows selected.",
                                  "\x1a", "* depths from the driller", "[end]"])  # fmt: skip
def test_remarks_below_the_last_record(tmp_path: Path, text: str) -> None:
    content = (HEADER + RECORDS + "\n" + text + "\n").encode()
    found = parsed(opened(tmp_path, content)[0])
    assert found.kinds["footer"] == 1 and found.rows_read == 3 and not len(found.faults)
    check_bytes(content, found)


@pytest.mark.parametrize("text", ["W-9", "W-9,Fenmark", "12", '"open', "W-9,Old Moor"])
def test_a_record_cut_short_is_no_remark(tmp_path: Path, text: str) -> None:
    found = parsed(opened(tmp_path, HEADER + RECORDS + text)[0])
    assert found.kinds["footer"] == 0 and len(found.faults) == 1


def test_a_remark_between_records_is_set_aside(tmp_path: Path) -> None:
    found = parsed(opened(tmp_path, HEADER + "W-0,x,1,2\nsee the next page\n" + RECORDS)[0])
    assert found.faults["line"].tolist() == [3] and found.kinds["footer"] == 0
    assert is_footer("see the next page", ",")


# --- headers over several rows ---


def head(*cells: str, line: int = 1) -> Candidate:
    return Candidate(",", cells, line, 1, 0, 0, 0)


def test_a_group_row_spreads_to_the_right() -> None:
    found = list(joined(head("Well", "Casing", "", "Water", ""), head("ID", "from", "to", "level", "", line=2)))
    assert found[0].cells == ("Well ID", "Casing from", "Casing to", "Water level", "") and found[0].lines == 2
    found = list(joined(head("Well ID", "Casing", "", "County"), head("", "from", "to", "", line=2)))
    assert found[0].cells == ("Well ID", "Casing from", "Casing to", "County")


def test_a_record_is_no_second_row_of_names() -> None:
    assert [f.lines for f in joined(head("id", "use"), head("A-1", "240", line=2))] == [1]
    assert [f.lines for f in joined(head("Register", ""), head("id", "use", line=2))] == [1]
    assert [f.lines for f in joined(head("id", "use"), head("id", "use", line=2))] == [1]


def test_units_methods_and_rules_below_the_header() -> None:
    rows = [["-----", "-----", "-----"], ["", "(mg/L)", "µS/cm"], ["", "probe", "0.05"], ["A", "7.1", "340"]]
    assert rows_below(rows, 3, None) == (3, ["", "(mg/L)", "µS/cm"])
    assert rows_below(rows[1:], 3, False) == (0, [])
    assert rows_below([["A", "1", "2"], ["", "3", "4"]], 3, None) == (0, [])
    assert rows_below([["", "12", "ft"], ["A", "1", "2"]], 3, None) == (0, [])
    # names of units among the values of a first record are no row of units
    assert rows_below([["A-1", "ft", "20"], ["A-2", "m", "30"]], 3, None) == (0, [])


def test_text_with_group_names_units_and_limits(tmp_path: Path) -> None:
    content = b",Casing,,Water\nWell ID,from,to,level\n,ft,ft,m\n,tape,tape,0.01\nA,0,40,12.5\nB,0,60,13\n"
    found = opened(tmp_path, content)[0]
    chosen = next(h for h, _ in found.heads() if h.lines == 2)
    assert chosen.cells == ("Well ID", "Casing from", "Casing to", "Water level")
    assert found.units(chosen, None) == ["", "ft", "ft", "m"]
    got = found.parse(chosen, None, None)
    assert got.frame["Casing to"].tolist() == ["40", "60"] and got.frame["_line"].tolist() == [5, 6]
    check_bytes(content, got)


# --- several tables ---

TWO = HEADER + RECORDS + "\nCasing\n" + "Well ID,Casing diameter (in)\nW-1,6\nW-2,5\n"


def test_two_tables_in_one_text(tmp_path: Path) -> None:
    one, two = opened(tmp_path, TWO)
    assert (one.name, two.name) == ("in.csv: lines 1 to 4", "in.csv: lines 5 to 9")
    first, second = parsed(one), parsed(two)
    check_bytes(TWO.encode(), first, second)
    assert first.frame["_line"].tolist() == [2, 3, 4] and second.frame["_line"].tolist() == [8, 9]
    assert second.frame["Casing diameter (in)"].tolist() == ["6", "5"] and not len(first.faults) + len(second.faults)


def test_faults_in_a_later_table_keep_their_places(tmp_path: Path) -> None:
    text = TWO + "W-3,a,b,c\n"
    found = parsed(opened(tmp_path, text)[1])
    at, length = int(found.faults["offset"].iloc[0]), int(found.faults["length"].iloc[0])
    assert text[at : at + length] == "W-3,a,b,c" and found.faults["line"].tolist() == [10]


@pytest.mark.parametrize(
    "text",
    [
        HEADER + RECORDS + "\n" + HEADER + RECORDS,  # the same header again
        HEADER + RECORDS + "\nKent\n" + RECORDS,  # a title among the records
        "Agency,Fenmark water\nPrinted,2020\n\n" + HEADER + RECORDS,  # a banner of two columns
        HEADER + RECORDS + "\n\n" + RECORDS,
        HEADER + "".join(f"W-{n},x,1,2\n\n" for n in range(50)),
        HEADER + RECORDS + "\nsmith,jones,brown,miller\n" + RECORDS,  # words, but none that headers use
    ],
)
def test_what_is_one_table_stays_one(tmp_path: Path, text: str) -> None:
    found = opened(tmp_path, text)
    assert [o.name for o in found] == ["in.csv"]
    check_bytes(text.encode(), parsed(found[0]))


# --- dialects and encodings ---


def test_a_line_that_names_the_delimiter(tmp_path: Path) -> None:
    content = ("sep=;\n" + (HEADER + RECORDS).replace(",", ";")).replace("Fenmark", "Fen,mark").encode()
    found = parsed(opened(tmp_path, content)[0])
    assert found.frame["County"].tolist()[0] == "Fen,mark" and found.kinds["header"] == 2
    check_bytes(content, found)


def test_columns_set_apart_by_blanks(tmp_path: Path) -> None:
    rows = [line.split(",") for line in (HEADER + RECORDS).splitlines()]
    rows[2][3] = ""
    lines = ["  ".join(c.ljust(12) for c in row).rstrip() for row in rows]
    text = "Register of Fenmark\n\n" + lines[0] + "\n" + "  ".join(["-" * 12] * 4) + "\n" + "\n".join(lines[1:]) + "\n\nSource: a book\n"
    found = parsed(opened(tmp_path, text, "in.txt")[0])
    assert found.frame["Depth (ft)"].tolist() == ["240", "180", "95"]
    assert found.frame["SWL (ft)"].tolist() == ["60", "", "12"] and found.frame["_line"].tolist() == [5, 6, 7]
    assert found.kinds["footer"] == 1
    check_bytes(text.encode(), found)


@pytest.mark.parametrize("coding", ["cp437", "cp850", "mac_roman", "iso8859-2"])
def test_encodings_that_a_layout_declares(tmp_path: Path, coding: str) -> None:
    content = HEADER.replace("County", "Größe").encode(coding) + "W-1,Zoë,240,60\n".encode("cp437" if coding == "cp437" else coding)
    found = parsed(opened(tmp_path, content)[0], encoding=single_bytes(coding))
    assert found.frame["Größe"].tolist() == ["Zoë"] and found.cp1252 == 0
    check_bytes(content, found)


def test_a_header_in_the_encoding_that_a_layout_declares(tmp_path: Path) -> None:
    layout = tmp_path / "nordhoehe.toml"
    layout.write_text(
        '[source]\nid = "nordhoehe"\n[file]\nencoding = "cp850"\n[tables.wells]\nrole = "wells"\n'
        'match = ["Größe", "Tiefe"]\nid = "Größe"\n[tables.wells.columns.depth_completed_m]\nfrom = "Tiefe"\n'
        'unit = "m"\n[tables.wells.columns.region_code]\nfrom = "Ort"\n', encoding="utf-8")  # fmt: skip
    path = tmp_path / "in.csv"
    path.write_bytes("Größe,Tiefe,Ort\nA,20,Köln\n".encode("cp850"))
    intake = read_inputs([path], Effective(layouts=(layout,)))
    assert intake.tables[0].frame["Ort"].tolist() == ["Köln"] and intake.ledger[0].source_id == "nordhoehe"


def test_lines_of_several_tables_are_shown_with_their_fate(tmp_path: Path) -> None:
    from pipeline.inspect_line import look_at

    path = tmp_path / "in.csv"
    path.write_text(TWO + "W-3,a,b,c\n(3 rows)\n", encoding="utf-8")
    told = [look_at(path, line, Effective()).fate for line in range(1, 12)]
    assert told == ["header", *["record"] * 3, "blank", "above", "header", "record", "record", "quarantined", "footer"]


def test_encodings_told_by_the_bytes_and_those_not_read() -> None:
    assert [single_bytes(c) for c in ("", "utf-8", "UTF-16", "cp1252", "latin-1")] == ["", "", "", "", "iso8859-1"]
    for coding in ("shift_jis", "gb18030", "big5", "no such thing"):
        with pytest.raises(SourceError, match="declares the encoding"):
            single_bytes(coding)


def test_lines_that_end_in_a_carriage_return_alone(tmp_path: Path) -> None:
    content = (HEADER + RECORDS).replace("\n", "\r").encode()
    found = parsed(opened(tmp_path, content)[0])
    assert found.rows_read == 3 and sum(found.bytes.values()) == len(content)


CELL = st.text(alphabet='ab ,;\n"é', max_size=8)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(CELL, CELL), min_size=1, max_size=12), st.sampled_from(",;\t|"), st.booleans())
def test_reference_the_standard_librarys_writer_is_read_back(
    tmp_path_factory: pytest.TempPathFactory, cells: list[tuple[str, str]], delimiter: str, all_quoted: bool
) -> None:
    """Python's csv module (RFC 4180) writes; the same cells come back, and every byte is counted."""
    out = io.StringIO()
    rows = [[f"W-{n}", *pair, str(n)] for n, pair in enumerate(cells)]
    quoting = csv.QUOTE_ALL if all_quoted else csv.QUOTE_MINIMAL
    csv.writer(out, delimiter=delimiter, quoting=quoting).writerows([["Well ID", "a", "b", "Depth (ft)"], *rows])
    content = out.getvalue().encode()
    found = parsed(opened(tmp_path_factory.mktemp("x"), content)[0])
    assert found.frame[["Well ID", "a", "b", "Depth (ft)"]].to_numpy().tolist() == rows
    assert sum(found.bytes.values()) == len(content)


def test_of_a_wide_spread_of_dialects_nothing_is_lost(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    for end in ("\n", "\r\n"):
        lines = [f"W-{n},{'x' * int(rng.integers(0, 9))},{n},{n}" for n in range(300)]
        content = (HEADER.rstrip() + end + end.join(lines)).encode()
        found = parsed(opened(tmp_path, content)[0])
        check_bytes(content, found)
        assert found.rows_read == 300
