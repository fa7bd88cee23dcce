"""The quick passes over bytes give what the plain ones give: words against bytes, pieces against one pass, codes."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.ingest import cells, distinct, eights, parse
from pipeline.ingest.header import candidates

HEADER = b"well,depth,note\n"
SIGNS = b'",\n\r\t \x00\xe9\xc3\xa9#5a'


def read(content: bytes, delimiter: str = ",") -> parse.Parsed:
    """Records of a file whose first line is the header."""
    head = next(c for c in candidates(content, 0, (delimiter,), "#") if c.line == 1)
    return parse.parse(np.frombuffer(content, np.uint8), head, None, units_row=False, threads=2, coded=True)


def told(parsed: parse.Parsed) -> list[object]:
    frame = parsed.frame.astype({name: "str" for name in parsed.frame.columns if not name.startswith("_")})
    return [frame.to_dict("list"), parsed.faults.to_dict("list"), parsed.kinds, parsed.bytes, parsed.cp1252]


def slowly(monkeypatch) -> None:
    """Every byte by itself, in one piece, without codes."""
    monkeypatch.setattr(eights, "words_of", lambda buffer: np.empty(0, np.uint64))
    monkeypatch.setattr(parse, "PIECE", 1 << 40)
    monkeypatch.setattr(cells, "ROWS_A_TEXT", 1 << 40)


lines = st.lists(
    st.one_of(
        st.binary(max_size=24).map(lambda b: bytes(SIGNS[k % len(SIGNS)] for k in b)),
        st.tuples(st.integers(1, 9), st.integers(1, 5)).map(lambda p: b"W%d,%d.5,clay over sand\n" % p),
        st.sampled_from([b'"a ""q""",1,"two\nlines"\n', b'W1,2,"open\n', b",,\n", b"\n", b"well,depth,note\n", b'a"b,1,2\r\n']),
    ),
    max_size=40,
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(lines, st.sampled_from([",", "\t"]))
def test_property_quick_and_plain_passes_agree(parts, delimiter):
    content = HEADER + b"W1,2,3\n" + b"".join(parts)
    if delimiter != ",":
        content = content.replace(b",", delimiter.encode())
    with pytest.MonkeyPatch.context() as patch:
        slowly(patch)
        plain = told(read(content, delimiter))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parse, "PIECE", 40)
        patch.setattr(cells, "ROWS_AT_ONCE", 5)
        patch.setattr(cells, "ROWS_IN_CACHE", 2)
        assert told(read(content, delimiter)) == plain
    assert told(read(content, delimiter)) == plain


def test_a_quote_across_the_edge_of_a_piece_is_read_as_in_one_pass(monkeypatch):
    rows = [b'W%d,%d,"first\nsecond, with a comma\n"\n' % (k, k) for k in range(60)]
    content = HEADER + b"".join(rows)
    monkeypatch.setattr(parse, "PIECE", 50)
    found = read(content)
    assert found.rows_read == 60 and not len(found.faults)
    assert found.frame["_line"].tolist() == [2 + 3 * k for k in range(60)]
    assert set(found.frame["note"]) == {"first\nsecond, with a comma\n"}


def test_columns_that_repeat_are_categories_and_others_are_text():
    content = HEADER + b"".join(b"W%05d,%d,%s\n" % (k, k % 7, b"a long note of more than eight bytes, no"[: k % 3 * 11])
                                for k in range(3000))  # fmt: skip
    frame = read(content.replace(b", no", b"; no")).frame
    assert isinstance(frame["depth"].dtype, pd.CategoricalDtype) and isinstance(frame["note"].dtype, pd.CategoricalDtype)
    assert frame["well"].dtype == cells.TEXT
    assert frame["depth"].cat.categories.tolist() == [str(k) for k in range(7)]
    assert frame["depth"].tolist() == [str(k % 7) for k in range(3000)]
    assert frame["note"].tolist() == ["a long note of more than eight bytes, no"[: k % 3 * 11] for k in range(3000)]


def test_texts_of_equal_beginning_and_length_are_told_apart():
    texts = [b"%s%03d" % (b"the same first bytes " * 3, k) for k in range(200)]
    frame = read(HEADER + b"".join(b"W1,1,%s\n" % texts[k % 200] for k in range(1000))).frame
    assert frame["note"].tolist() == [texts[k % 200].decode() for k in range(1000)]


def test_a_header_met_again_leaves_no_category_behind():
    content = HEADER + b"W1,5,a\nW1,5,a\nwell,depth,note\nW1,5,a\nW1,5,a\n"
    frame = read(content).frame
    assert frame["note"].cat.categories.tolist() == ["a"] and len(frame) == 4


def test_line_feeds_are_counted_from_and_to_any_byte():
    content = np.frombuffer(b"ab\ncd\n\n\nefghijk\nlmnop\n\nq" * 3, np.uint8)
    for begin in range(0, 20):
        for stop in range(begin, content.size):
            assert eights.breaks(content, begin, stop) == int((content[begin:stop] == 10).sum())


def test_hash_tables_grow_past_their_first_size():
    size = 40_000
    content = HEADER + b"".join(b"W%d,%d,x\n" % (k, k % (size // 3)) for k in range(size))
    frame = read(content).frame
    assert len(frame["depth"].cat.categories) == size // 3 > distinct._FEW
    assert frame["depth"].astype("str").tolist() == [str(k % (size // 3)) for k in range(size)]
