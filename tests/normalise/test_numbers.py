"""People's numbers."""

from __future__ import annotations

import math

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.normalise import numbers
from pipeline.normalise import text as coded_text


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("6 5/8", 6.625, ""), ("6-5/8\"", 6.625, '"'.strip('"')), ("60'", 60.0, "'"), ("5'6\"", 5.5, "ft"),
        ("10 ft 6 in", 10.5, "ft"), ("5' 6 1/2\"", 5 + 6.5 / 12, "ft"), (">500", 500.0, ""), ("~60", 60.0, ""),
        ("100-120", 110.0, ""), ("15 to 20 gpm", 17.5, "gpm"), ("20'-25'", 22.5, "'"), ("1,200", 1200.0, ""),
        ("1,234.5", 1234.5, ""), ("12 gpm", 12.0, "gpm"), ("2.5 m3/h", 2.5, "m3/h"), ("60.", 60.0, ""),
        (".5", 0.5, ""), ("-5", -5.0, ""), ("60 ft bgl", 60.0, "ft"), ("6⅝", 6.625, ""), ("0,5", 0.5, ""),
        ("12,75", 12.75, ""), ("1.2e3", 1200.0, ""), ("3/4", 0.75, ""), ("60+", 60.0, ""),
        ("approx. 60 ft", 60.0, "ft"),
    ],
)  # fmt: skip
def test_people_write_numbers_like_this(text: str, value: float, unit: str) -> None:
    read = numbers.parse(text)
    assert read.value == pytest.approx(value, rel=1e-12)
    assert read.unit.strip('"') == unit


@pytest.mark.parametrize(
    "text", ["", "abc", "12/11/2001", "1/0", "40 @ 50", "120-100", "5 ft 13 in", "6 9/8", "1e999", "40 50", "'", "-"]
)
def test_texts_that_are_no_single_number_are_missing(text: str) -> None:
    read = numbers.parse(text)
    assert math.isnan(read.value) and read.qualifier == numbers.UNREADABLE


def test_qualifiers_are_kept() -> None:
    found = [numbers.parse(t).qualifier for t in (">500", "<5", "~60", "100-120", "60+", "60?", "60")]
    N = numbers
    assert found == [N.ABOVE, N.BELOW, N.ABOUT, N.RANGE, N.ABOVE, N.ABOUT, N.EXACT]


def test_decimal_comma_only_changes_what_is_ambiguous() -> None:
    assert numbers.digits("1,200") == 1200.0
    assert numbers.digits("1,200", decimal_comma=True) == 1.2
    assert numbers.digits("1.200", decimal_comma=True) == 1200.0
    assert numbers.digits("1.234,5") == 1234.5
    assert numbers.digits("12,5") == numbers.digits("12,5", decimal_comma=True) == 12.5


def test_evidence_for_decimal_commas() -> None:
    assert numbers.comma_evidence(pa.array(["12,5", "0,25", "1,200", "7"])) == (2, 0)
    assert numbers.comma_evidence(pa.array(["12.5", "1,200", "1,200.5", "1.200"])) == (0, 2)


@given(st.text(max_size=30))
def test_property_any_text_gives_a_number_or_missing(text: str) -> None:
    for comma in (False, True):
        read = numbers.parse(text, comma)
        assert isinstance(read.value, float) and not math.isinf(read.value)
        assert math.isnan(read.value) == (read.qualifier == numbers.UNREADABLE)


@given(st.text(alphabet="0123456789.,-/' \"ftingpm>~eE+", max_size=16))
def test_property_texts_near_numbers_give_a_number_or_missing(text: str) -> None:
    read = numbers.parse(text)
    assert not math.isinf(read.value)
    assert math.isnan(read.value) == (read.qualifier == numbers.UNREADABLE)


@given(st.floats(-1e9, 1e9, allow_nan=False))
def test_property_plain_numbers_return(value: float) -> None:
    assert numbers.parse(repr(value)).value == pytest.approx(value, rel=1e-12)


ODD = st.sampled_from(["1,200", "6 5/8", "dry", "1e400"])


@given(st.lists(st.one_of(st.floats(-1e6, 1e6).map(repr), ODD), max_size=8))
def test_property_columns_read_as_their_texts_do(texts: list[str]) -> None:
    texts = list(dict.fromkeys(texts))
    whole = numbers.parse_all(pa.array(texts, type=pa.string()))
    np.testing.assert_array_equal(whole.values, np.array([numbers.parse(t).value for t in texts], dtype=float))


def test_a_number_declared_missing_is_so_with_any_noughts_behind_it() -> None:
    said = ["0", "0.0", "0,00", "0.", "-9.00", "0.05", "10", "0,5", "9.0", "1,000", "none"]
    coded = coded_text.Coded(np.arange(len(said), dtype=np.int32), pa.array(said))
    lost = coded_text.lost(coded, ("0", "-9", "1"), general=False)
    assert [t for t, gone in zip(said, lost, strict=True) if gone] == ["0", "0.0", "0,00", "0.", "-9.00"]
