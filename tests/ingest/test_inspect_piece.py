"""Stretches of large texts: read as a run reads them, whatever stands in them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.ingest.header import Candidate
from pipeline.ingest.parse import parse
from pipeline.ingest.piece import read_piece

CELL = st.sampled_from(["12", "", " 7 ", '"a, b"', '"two\nlines"', '"say ""hi"""', "5' 6\"", "größe", "-", "x y"])
ROW = st.lists(CELL, min_size=1, max_size=4).map(",".join)


def both(text: bytes, delimiter: str = ",") -> tuple[tuple, tuple]:
    names = ("one", "two", "three")
    head = Candidate(delimiter, names, 0, 1, 0, 0, 0)
    slow = parse(np.frombuffer(text, np.uint8), head, None, "#", False, None, 1, "x")
    quick = read_piece(text, head)
    frame = quick.frame(head)
    return (
        ([slow.frame[n].tolist() for n in names], slow.frame["_line"].tolist(), slow.faults["reason"].value_counts().to_dict()),
        ([frame[n].tolist() for n in names], frame["_line"].tolist(), dict(quick.faults)),
    )  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(st.lists(ROW, min_size=1, max_size=12))
def test_property_a_stretch_is_read_as_a_run_reads_it(rows: list[str]) -> None:
    text = ("\n".join(rows) + "\n").encode()
    slow, quick = both(text)
    assert [[c.strip() for c in column] for column in quick[0]] == [[c.strip() for c in column] for column in slow[0]]
    assert quick[1:] == slow[1:]


def test_a_quote_without_end_costs_its_line_alone() -> None:
    text = b'1,2,3\n4,"5,6\n' + b"7,8,9\n" * 300
    slow, quick = both(text)
    assert quick == slow and quick[2] == {"unterminated_quote": 1} and len(quick[1]) == 301


def test_tab_files_without_quoting() -> None:
    text = b'1\t5" pipe\t3\n4\t"6 inch\t6\n7\t8\t9\n'
    slow, quick = both(text, "\t")
    assert quick == slow and quick[2] == {}


def test_single_bytes_are_counted() -> None:
    head = Candidate(",", ("one", "two", "three"), 0, 1, 0, 0, 0)
    found = read_piece("1,Größe,3\n4,5,6\n".encode("cp1252"), head)
    assert found.cp1252 == 1 and found.frame(head)["two"].tolist() == ["Größe", "5"]


@pytest.mark.parametrize("cut", range(1, 40, 3))
def test_a_cut_within_a_record_is_no_fault(cut: int) -> None:
    head = Candidate(",", ("one", "two", "three"), 0, 1, 0, 0, 0)
    body = b'10,"note\nof several\nlines",3\n' * 30
    begin = body.index(b"\n", cut) + 1
    end = body.rindex(b"\n", 0, len(body) - cut) + 1
    found = read_piece(body[begin:end], head, "", False, False)
    assert not found.faults and len(found.rows) >= 26
