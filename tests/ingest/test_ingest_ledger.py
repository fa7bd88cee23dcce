"""The line ledger under random damage, checked against the standard library's reader and plain counting."""

from __future__ import annotations

import csv
import io

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.ingest.header import DELIMITERS, candidates
from pipeline.ingest.parse import parse

HEADER = "id,a,b,c\n"
CELL = st.text(alphabet="abé 0.'", min_size=0, max_size=6)
QUOTED = st.text(alphabet='ab,\n"', min_size=0, max_size=8)


def _line(kind: str, cells: list[str], text: str) -> str:
    if kind == "good":
        return ",".join(["x", *cells]) + "\n"
    if kind == "quoted":
        return 'x,"' + text.replace('"', '""') + '",1,2\n'
    if kind == "few":
        return "x," + cells[0].strip() + "\n"
    if kind == "many":
        return "x,1,2,3,4,5\n"
    if kind == "crlf":
        return ",".join(["x", *cells]) + "\r\n"
    if kind == "open":
        return 'x,"' + cells[0].replace('"', "") + ",1,2\n"
    return "\n" if kind == "blank" else HEADER


KINDS = ["good", "quoted", "few", "many", "crlf", "blank", "header"]


def _lines(kinds: list[str]) -> st.SearchStrategy[list[str]]:
    one = st.tuples(st.sampled_from(kinds), st.lists(CELL, min_size=3, max_size=3), QUOTED)
    return st.lists(one.map(lambda t: _line(*t)), max_size=25)


def _parse(raw: bytes):  # type: ignore[no-untyped-def]
    head = next(c for c in candidates(raw, 0, DELIMITERS, "#") if c.delimiter == ",")
    return parse(np.frombuffer(raw, np.uint8), head, None)


@settings(max_examples=300, deadline=None)
@given(_lines([*KINDS, "open"]), st.booleans())
def test_property_every_physical_line_is_accounted_for(lines: list[str], ends: bool) -> None:
    text = HEADER + "".join(lines)
    raw = (text if ends else text.removesuffix("\n")).encode()
    parsed = _parse(raw)
    physical = raw.count(b"\n") + (not raw.endswith(b"\n"))
    assert parsed.lines == physical == sum(parsed.kinds.values())
    assert parsed.rows_read == len(parsed.frame) + len(parsed.faults)
    assert sorted([*parsed.frame["_row"], *parsed.faults["row"]]) == list(range(1, parsed.rows_read + 1))
    assert parsed.frame["_line"].is_monotonic_increasing
    for line in parsed.frame["_line"]:
        assert raw.split(b"\n")[line - 1].startswith(b"x,")


@settings(max_examples=200, deadline=None)
@given(_lines(KINDS))
def test_property_undamaged_records_equal_the_standard_librarys(lines: list[str]) -> None:
    """Where every quote is closed, cells are those of Python's csv module (RFC 4180)."""
    text = HEADER + "".join(lines)
    parsed = _parse(text.encode())
    wanted = [row for row in csv.reader(io.StringIO(text, newline=""), skipinitialspace=False)
              if len(row) == 4 and row != ["id", "a", "b", "c"]]  # fmt: skip
    assert parsed.frame[["id", "a", "b", "c"]].to_numpy().tolist() == wanted


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=300))
def test_property_any_bytes_balance(tail: bytes) -> None:
    raw = HEADER.encode() + tail
    parsed = _parse(raw)
    assert parsed.lines == raw.count(b"\n") + (not raw.endswith(b"\n"))
    for column in ("id", "a", "b", "c"):
        assert all(isinstance(v, str) for v in parsed.frame[column])


def test_reference_duckdb_reads_the_same_records() -> None:
    """DuckDB's reader, told the dialect, gives the same cells (an independent general library)."""
    import tempfile

    import duckdb

    rng = np.random.default_rng(7)
    rows = [[str(i), f"{rng.normal():.4f}", f'say "{i}", or\nnot' if i % 7 == 0 else "plain", "é" * (i % 3)]
            for i in range(5000)]  # fmt: skip
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([["id", "a", "b", "c"], *rows])
    with tempfile.NamedTemporaryFile(suffix=".csv") as handle:
        handle.write(out.getvalue().encode())
        handle.flush()
        dialect = "all_varchar=true, delim=',', quote='\"', escape='\"', header=true"
        told = duckdb.sql(f"select * from read_csv('{handle.name}', {dialect})").fetchall()
    parsed = _parse(out.getvalue().encode())
    mine = parsed.frame[["id", "a", "b", "c"]].to_numpy().tolist()
    assert mine == [[v or "" for v in row] for row in told] == rows
    starts = np.cumsum([2, *[1 + row[2].count("\n") for row in rows]])[:-1]
    assert parsed.frame["_line"].tolist() == starts.tolist()


def test_blocks_and_threads_change_nothing(monkeypatch) -> None:  # type: ignore[no-untyped-def]
    from pipeline.ingest import cells as module

    raw = (HEADER + "".join(f'{i},"a\n{i}",{"é" * (i % 4)},z\n' for i in range(1000))).encode()
    whole = _parse(raw)
    monkeypatch.setattr(module, "ROWS_AT_ONCE", 17)
    assert _parse(raw).frame.equals(whole.frame)


def test_one_open_quote_costs_one_line() -> None:
    raw = (HEADER + "1,a,b,c\n2,\"a,b,c\n" + "".join(f'{i},"q",b,c\n' for i in range(3, 400))).encode()
    parsed = _parse(raw)
    assert parsed.faults["line"].tolist() == [3] and len(parsed.frame) == 398
