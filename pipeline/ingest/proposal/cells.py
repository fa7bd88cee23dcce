"""What the values of a column look like: every distinct text of a table is read once, columns are sums over them."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline import schema
from pipeline.ingest.header_words import unit_of

_PLAIN = r"^[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?$"
_THOUSANDS = r"^[-+]?\d{1,3}(,\d{3})+(\.\d*)?$"
_COMMA = r"^[-+]?\d+,\d{1,6}$"
_MARKED = r"^[<>~=≈±(]*\s*(?P<number>[-+]?(?:\d[\d,]*\.?\d*|\.\d+))\s*(?P<unit>[^\d\s].{0,15}|)$"
_MIXED = r"^(?P<whole>\d{1,3})[\s-]+(?P<above>\d{1,2})/(?P<below>\d{1,2})\s*(?P<unit>[^\d\s].{0,15}|)$"
_PART = r"^(?P<above>\d{1,2})/(?P<below>\d{1,2})\s*(?P<unit>[^\d\s/].{0,15}|)$"
_SLASHED = r"^(?P<first>\d{1,2})[/.\-](?P<second>\d{1,2})[/.\-](?P<year>\d{4}|\d{2})(?:[T ,].*)?$"
_ISO = r"^(1[6-9]|20)\d{2}[-/.](0?\d|1[0-2])([-/.][0-3]?\d)?([T ].*)?$"
_NAMED = (
    r"(?i)^(\d{1,2}(st|nd|rd|th)?[-\s./]*)?(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*[-\s.,/]*"
    r"(\d{1,2}(st|nd|rd|th)?[\s,]+)?('?\d{2}|\d{4})$"
)
_PACKED = r"^(1[6-9]|20)\d{2}(0\d|1[0-2])([0-2]\d|3[01])(\.0+)?$"
_BREATHS = r"^\d{1,3}[°: ]\s*\d{1,2}(['′: ]\s*[\d.]+)?"
# numbers that stand for 'not known' far more often than they are meant
SENTINELS = (-9999.0, -999.0, -99.0, -9.0, 999.0, 9999.0, 99999.0, 999999.0, -99999.0, -32768.0)
_FOOT = 0.3048
MOST_ROWS = 5000
_MOST_TEXTS = 40
CODE_LISTS = ("use", "status", "pump_kind", "pipe_material", "test_method")


@dataclass
class Cells:
    """One column's values.

    Attributes
    ----------
    rows, filled, distinct : int
    numeric, whole, dates, slashed, packed, years, epoch, serial, yes_no, angles, letters : float
        Shares of the filled cells; ``slashed`` are dates whose order of day and month matters.
    low, p05, median, p95, high : float
        Of the numbers without those that stand for missing; NaN where there are none. ``median`` is of those above
        nought where there are any.
    negative, zero, tens, fives, foot_grid : float
        Shares of the numbers; ``foot_grid`` fall on whole feet turned into metres and on no tenth of a metre.
    decimals : float
        Mean count of decimals.
    cell_unit, cell_unit_share : str, float
        Unit written in most cells that carry one, and their share of the filled cells.
    codes : dict of list name -> share
        Hits among the spellings of each code list.
    day_first, month_first : int
        Dates that can only be read in this order.
    texts : list of str
        The most frequent texts, then texts spread over the values.
    numbers : array (rows,)
        NaN where none.
    """

    rows: int = 0
    filled: int = 0
    distinct: int = 0
    numeric: float = 0.0
    whole: float = 0.0
    dates: float = 0.0
    slashed: float = 0.0
    packed: float = 0.0
    years: float = 0.0
    epoch: float = 0.0
    serial: float = 0.0
    yes_no: float = 0.0
    angles: float = 0.0
    letters: float = 0.0
    low: float = np.nan
    p05: float = np.nan
    median: float = np.nan
    p95: float = np.nan
    high: float = np.nan
    negative: float = 0.0
    zero: float = 0.0
    tens: float = 0.0
    fives: float = 0.0
    foot_grid: float = 0.0
    decimals: float = 0.0
    cell_unit: str = ""
    cell_unit_share: float = 0.0
    codes: dict[str, float] = field(default_factory=dict)
    day_first: int = 0
    month_first: int = 0
    comma_decimal: float = 0.0
    texts: list[str] = field(default_factory=list)
    numbers: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))

    @property
    def filled_share(self) -> float:
        """Share of rows that hold something."""
        return self.filled / self.rows if self.rows else 0.0

    @property
    def unique_share(self) -> float:
        """Distinct texts over filled cells."""
        return self.distinct / self.filled if self.filled else 0.0


@cache
def _missing() -> pa.Array:
    told = {row["text"].lower() for row in schema.rows("missing") if row["kind"] == "word"}
    return pa.array(sorted(told | {"", "na", "n/a", "null", "none", "nan", "-", "--", "?"}))


@cache
def _spellings(name: str) -> pa.Array:
    return pa.array(sorted(schema.spellings(name)))


@dataclass
class _Texts:
    """All distinct texts of a table, each read once; every array has one place a text."""

    texts: pa.Array
    number: NDArray[np.float64]
    unit: NDArray[np.int32]
    units: list[str]
    decimals: NDArray[np.int64]
    marks: dict[str, NDArray[np.bool_]]


def _flags(array: pa.Array) -> NDArray[np.bool_]:
    return np.asarray(pc.fill_null(array, False).to_numpy(zero_copy_only=False), dtype=bool)


def _like(texts: pa.Array, pattern: str) -> NDArray[np.bool_]:
    return _flags(pc.match_substring_regex(texts, pattern))


def _cast(texts: pa.Array) -> NDArray[np.float64]:
    return np.asarray(texts.cast(pa.float64()).to_numpy(zero_copy_only=False), dtype=np.float64)


def _numbers(texts: pa.Array) -> tuple[NDArray[np.float64], NDArray[np.int32], list[str], NDArray[np.bool_]]:
    """Numbers, unit codes, units, and whether a decimal comma is written."""
    size = len(texts)
    number, codes, units = np.full(size, np.nan), np.zeros(size, dtype=np.int32), {"": 0}
    comma = np.zeros(size, dtype=bool)
    plain = _like(texts, _PLAIN)
    number[plain] = _cast(texts.filter(pa.array(plain)))
    rest = np.flatnonzero(~plain & _like(texts, r"^[<>~=≈±(\s]*[-+]?[.\d]"))
    left = texts.take(pa.array(rest))
    grouped = _like(left, _THOUSANDS)
    number[rest[grouped]] = _cast(pc.replace_substring(left.filter(pa.array(grouped)), ",", ""))
    decimal = _like(left, _COMMA) & ~grouped
    number[rest[decimal]] = _cast(pc.replace_substring(left.filter(pa.array(decimal)), ",", "."))
    comma[rest[decimal]] = True
    other = rest[~grouped & ~decimal]
    left = texts.take(pa.array(other))
    shaped = _like(left, _MARKED) | _like(left, _MIXED) | _like(left, _PART)
    other, left = other[shaped], left.filter(pa.array(shaped))
    marked, mixed = pc.extract_regex(left, _MARKED).to_pylist(), pc.extract_regex(left, _MIXED).to_pylist()
    part = pc.extract_regex(left, _PART).to_pylist()
    for place, one, two, three in zip(other.tolist(), marked, mixed, part, strict=True):
        parts = two or three or one
        known = _unit_of_cell((parts["unit"] or "").strip(" .)"))
        if known is None:
            continue
        if two and int(two["below"]) > 0 and int(two["above"]) < int(two["below"]):
            number[place] = int(two["whole"]) + int(two["above"]) / int(two["below"])
        elif three and 0 < int(three["above"]) < int(three["below"]):
            number[place] = int(three["above"]) / int(three["below"])
        elif one and not three:
            number[place] = float(one["number"].replace(",", ""))
        codes[place] = units.setdefault(known, len(units))
    return number, codes, list(units), comma


@cache
def _unit_of_cell(word: str) -> str | None:
    """Unit behind a number in a cell, None where the word is none."""
    if not word or word in ("+", "?", "~"):
        return ""
    return {"'": "ft", '"': "in", "''": "in", "%": None}.get(word, unit_of(word) or None)


def _read(texts: pa.Array) -> _Texts:
    lower = pc.utf8_lower(texts)
    number, unit, units, comma = _numbers(texts)
    parts = pc.extract_regex(texts, _SLASHED)
    slashed = _flags(parts.is_valid())
    first, second = np.zeros(len(texts), dtype=int), np.zeros(len(texts), dtype=int)
    if slashed.any():
        found = parts.filter(pa.array(slashed))
        first[slashed] = pc.struct_field(found, "first").cast(pa.int64()).to_numpy(zero_copy_only=False)
        second[slashed] = pc.struct_field(found, "second").cast(pa.int64()).to_numpy(zero_copy_only=False)
    slashed &= (first <= 31) & (second <= 31) & ((first <= 12) | (second <= 12)) & (first + second > 0)
    is_number = np.isfinite(number)
    written = (_like(texts, _ISO) | _like(texts, _NAMED)) & ~is_number
    folded = pc.utf8_trim_whitespace(pc.replace_substring_regex(lower, r"\s+", " "))
    fraction = pc.struct_field(pc.extract_regex(texts, r"^[-+]?\d*[.,](?P<part>\d+)$"), "part")
    decimals = np.asarray(pc.fill_null(pc.utf8_length(fraction), 0).to_numpy(zero_copy_only=False), dtype=np.int64)
    long = _flags(pc.greater(pc.utf8_length(folded), 1))
    with np.errstate(invalid="ignore"):
        whole = is_number & (number == np.floor(number))
        marks = {
            "number": is_number, "whole": whole, "dates": written | slashed, "slashed": slashed,
            "packed": _like(texts, _PACKED), "angles": _like(texts, _BREATHS) & ~is_number & ~slashed & ~written,
            "letters": _like(texts, r"\p{L}{2}"), "comma": comma,
            "day_first": slashed & (first > 12), "month_first": slashed & (second > 12),
            "yes_no": _flags(pc.is_in(folded, value_set=_spellings("yes_no"))),
            "years": whole & (number >= 1850) & (number <= 2035) & (decimals <= 1),
            "epoch": whole & (np.abs(number) >= 1e10) & (np.abs(number) < 5e12),
            "serial": is_number & (number >= 10_000) & (number < 60_000),
            "missing": _flags(pc.is_in(lower, value_set=_missing())),
            # one letter is a code of many lists at once and says nothing
            **{f"code {n}": _flags(pc.is_in(folded, value_set=_spellings(n))) & long for n in CODE_LISTS},
        }  # fmt: skip
    return _Texts(texts, number, unit, units, decimals, marks)


def _one(rows: NDArray[np.int32], read: _Texts) -> Cells:
    """One column from the places of its cells among the distinct texts, -1 where empty."""
    out = Cells(rows=len(rows))
    rows = np.where((rows >= 0) & ~np.append(read.marks["missing"], True)[rows], rows, -1)
    out.numbers = np.append(read.number, np.nan)[rows]
    kept = rows[rows >= 0]
    out.filled = len(kept)
    if not out.filled:
        return out
    places, counts = np.unique(kept, return_counts=True)
    total = float(out.filled)
    out.distinct = len(places)
    tally = {name: float(counts[marks[places]].sum()) for name, marks in read.marks.items()}
    for name in ("whole", "dates", "slashed", "packed", "years", "epoch", "serial", "yes_no", "angles", "letters"):
        setattr(out, name, tally[name] / total)
    out.numeric, out.comma_decimal = tally["number"] / total, tally["comma"] / total
    out.codes = {name: tally[f"code {name}"] / total for name in CODE_LISTS}
    out.day_first, out.month_first = int(tally["day_first"]), int(tally["month_first"])
    values = read.number[places]
    good = np.isfinite(values)
    _spread(out, values[good], counts[good], read.decimals[places][good])
    in_cells = read.unit[places]
    if (in_cells > 0).any():
        named = np.bincount(in_cells, weights=counts, minlength=len(read.units))
        named[0] = 0
        top = int(named.argmax())
        out.cell_unit, out.cell_unit_share = read.units[top], float(named[top] / total)
    picks = np.argsort(-counts, kind="stable")[:_MOST_TEXTS]
    if len(places) > _MOST_TEXTS:
        by_size = np.argsort(values, kind="stable")
        picks = np.append(picks, by_size[np.linspace(0, len(places) - 1, _MOST_TEXTS).astype(int)])
    out.texts = read.texts.take(pa.array(places[picks])).to_pylist()
    return out


def _spread(out: Cells, values: NDArray[np.float64], counts: NDArray[np.int64], decimals: NDArray[np.int64]) -> None:
    """Quantiles and grids of the numbers, those that stand for missing left out."""
    meant = ~np.isin(values, SENTINELS)
    values, counts, decimals = values[meant], counts[meant], decimals[meant]
    if not len(values):
        return
    order = np.argsort(values, kind="stable")
    values, counts, decimals = values[order], counts[order], decimals[order]
    running = np.cumsum(counts)
    total = float(running[-1])
    out.low, out.high = float(values[0]), float(values[-1])
    out.p05, out.median, out.p95 = (float(values[np.searchsorted(running, q * total)]) for q in (0.05, 0.5, 0.95))
    out.negative, out.zero = float(counts[values < 0].sum() / total), float(counts[values == 0].sum() / total)
    out.decimals = float((decimals * counts).sum() / total)
    kept, weight = values[values > 0], counts[values > 0]
    if len(kept):
        # a nought is as often 'not told' as it is meant: the middle is that of what is told
        running = np.cumsum(weight)
        all_told = float(running[-1])
        out.median = float(kept[np.searchsorted(running, 0.5 * all_told)])
        out.tens = float(weight[kept % 10 == 0].sum() / all_told)
        out.fives = float(weight[kept % 5 == 0].sum() / all_told)
        near = np.abs(np.round(kept / _FOOT) * _FOOT - kept) <= 0.0051
        near &= np.abs(kept - np.round(kept, 1)) > 1e-9
        out.foot_grid = float(weight[near].sum() / all_told)


def look(sample: pd.DataFrame) -> list[Cells]:
    """What every column holds, in order.

    Parameters
    ----------
    sample : DataFrame of text, shape (rows, columns)
        Missing cells are null or empty; at most ``MOST_ROWS`` rows are looked at, spread over the sample.
    """
    if len(sample) > MOST_ROWS:
        sample = sample.iloc[np.linspace(0, len(sample) - 1, MOST_ROWS).astype(int)]
    rows, width = sample.shape
    if not rows or not width:
        return [Cells(rows=rows) for _ in range(width)]
    columns = []
    for place in range(width):
        array = pa.array(sample.iloc[:, place], from_pandas=True)
        array = array.combine_chunks() if isinstance(array, pa.ChunkedArray) else array
        columns.append(array if array.type == pa.string() else array.cast(pa.string()))
    whole = pa.concat_arrays(columns)
    coded = pc.dictionary_encode(pc.utf8_trim_whitespace(whole))
    read = _read(coded.dictionary)
    codes = coded.indices.fill_null(-1).to_numpy(zero_copy_only=False).astype(np.int32)
    return [_one(codes[place * rows : (place + 1) * rows], read) for place in range(width)]
