"""What is looked at of a table that no layout knows: its header, a sample, whole columns where asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from typing import Any, TypeVar

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline import schema
from pipeline.ingest.intake import LINE, ROW, folded
from pipeline.ingest.proposal.concepts import parse, tokens

_MOST_DISTINCT = 60
# which of several files of one header a row is of
PART = "_part"


_T = TypeVar("_T")


@dataclass
class Unknown:
    """One table that no layout knows, or several files of the same header taken as one.

    Attributes
    ----------
    name : str
        As in messages and in the ledger.
    headers : tuple of str
        Unique names.
    sample : DataFrame
        Rows from the head, the middle and the tail, as text, under ``headers``.
    units : list of str or None
        Cells of a row of units below the header.
    rows : int
        Records, counted or estimated (``rows_exact``).
    read : callable
        All values of the named columns, as a frame of text.
    files, parts : list
        Names of all files of these headers, and what was looked at of each where there are several.
    """

    name: str
    headers: tuple[str, ...]
    sample: pd.DataFrame
    units: list[str] | None
    rows: int
    rows_exact: bool
    read: Callable[[list[str]], pd.DataFrame]
    files: list[str] = field(default_factory=list)
    parts: list[Unknown] = field(default_factory=list)
    _keys: dict[str, tuple[pd.Index, float]] = field(default_factory=dict)
    _kept: dict[tuple[str, str], Any] = field(default_factory=dict)

    def holds(self, table: str | Unknown) -> bool:
        """Whether it is this table or one of its files."""
        if isinstance(table, str):
            return table == self.name or table in self.files
        return table is self or any(part is table for part in self.parts)

    @property
    def key(self) -> tuple[str, ...]:
        """Headers as compared between files."""
        return tuple(folded(h) for h in self.headers)

    def values(self, header: str) -> pd.Series:
        """Filled cells of a column in the sample, trimmed; words for missing left out."""
        return self.kept("values", header, lambda: filled(self.sample[header]))

    def numbers(self, header: str) -> pd.Series:
        """Numbers of a column in the sample."""
        return self.kept("numbers", header, lambda: numbers_of(self.values(header)))

    def named(self, header: str) -> set[str]:
        """Distinct texts of a column in the sample, as names are compared."""
        return self.kept("named", header, lambda: {folded(v) for v in self.values(header).unique()})

    def kept(self, what: str, header: str, work: Callable[[], _T]) -> _T:
        """Something worked out of a column once."""
        if (what, header) not in self._kept:
            self._kept[what, header] = work()
        return self._kept[what, header]

    def keys(self, header: str) -> tuple[pd.Index, float]:
        """Distinct ids of a whole column in their plain form, and distinct ids over filled cells of one file."""
        if header not in self._keys:
            frame = self.read([header])
            found = [_distinct(part) for part in ([frame[header]] if PART not in frame else
                                                  [rows[header] for _, rows in frame.groupby(PART)])]  # fmt: skip
            distinct = found[0][0]
            for more, _ in found[1:]:
                distinct = distinct.union(more)
            self._keys[header] = distinct, min(share for _, share in found)
        return self._keys[header]

    def gathered(self, headers: list[str]) -> None:
        """Work out ``keys`` of several columns in one reading."""
        wanted = [h for h in headers if h not in self._keys]
        if len(wanted) > 1:
            frame = self.read(wanted)
            reread, self.read = self.read, lambda names: frame
            for header in wanted:
                self.keys(header)
            self.read = reread


def _distinct(column: pd.Series) -> tuple[pd.Index, float]:
    counts = filled(column).value_counts()
    distinct = pd.Index(plain_ids(pd.Series(counts.index, dtype="str")).dropna().unique())
    return distinct, len(distinct) / max(int(counts.sum()), 1)


def merged(parts: list[Unknown]) -> Unknown:
    """Tables of the same headers as one."""
    if len(parts) == 1:
        parts[0].files = [parts[0].name]
        return parts[0]
    first = parts[0]

    def read(names: list[str]) -> pd.DataFrame:
        places = [first.headers.index(n) for n in names]
        frames = [bare(p.read([p.headers[i] for i in places])) for p in parts]
        frames = [f.set_axis(names, axis=1).assign(**{PART: n}) for n, f in enumerate(frames)]
        return pd.concat(frames, ignore_index=True)

    frames = [p.sample.rename(columns=dict(zip(p.headers, first.headers, strict=True))) for p in parts]
    return Unknown(
        first.name, first.headers, pd.concat(frames, ignore_index=True), first.units, sum(p.rows for p in parts),
        all(p.rows_exact for p in parts), read, [p.name for p in parts], list(parts),
    )  # fmt: skip


@cache
def _missing_words() -> frozenset[str]:
    return frozenset(row["text"] for row in schema.rows("missing") if row["kind"] == "word")


@cache
def _missing_array() -> pa.Array:
    return pa.array(sorted(_missing_words() | {""}))


def filled(column: pd.Series) -> pd.Series:
    """Trimmed texts of the cells that say something."""
    column = column.dropna()
    # distinct texts are few in most columns, and arrays cost a table of many columns less than series
    texts = pa.array(column, from_pandas=True)
    texts = texts.combine_chunks() if isinstance(texts, pa.ChunkedArray) else texts
    coded = pc.dictionary_encode(texts if texts.type == pa.string() else texts.cast(pa.string()))
    plain = pc.utf8_trim_whitespace(coded.dictionary)
    said = pc.invert(pc.is_in(pc.utf8_lower(plain), value_set=_missing_array()))
    keep = said.take(coded.indices)
    kept = plain.take(coded.indices).filter(keep)
    return pd.Series(kept, index=column.index[keep.to_numpy(zero_copy_only=False)], dtype="str", name=column.name)


def plain_ids(texts: pd.Series) -> pd.Series:
    """Ids in one form, whatever their case, leading zeros, decimals and exponents: ``0007``, ``7.0``, ``7E0``."""
    out = texts.str.strip().str.casefold().str.replace(r"\s+", " ", regex=True)
    exponent = out.str.fullmatch(r"\d(\.\d+)?e\+?\d+", na=False)
    if exponent.any():
        numbers = pd.to_numeric(out[exponent]).round().astype("int64").astype("str")
        out = out.mask(exponent, numbers.reindex(out.index))
    return out.str.replace(r"^0*(\d+)(?:\.0*)?$", r"\1", regex=True)


def numbers_of(texts: pd.Series) -> pd.Series:
    """Numbers among texts; commas of thousands left out."""
    if not pc.any(pc.match_substring(pa.array(texts, from_pandas=True), ",")).as_py():
        return pd.to_numeric(texts, errors="coerce").dropna()
    return pd.to_numeric(texts.str.replace(r"(?<=\d),(?=\d{3}\b)", "", regex=True), errors="coerce").dropna()


def share_of_numbers(profile: Unknown, header: str) -> float:
    """Share of the filled cells of the sample that are numbers."""
    texts = profile.values(header)
    return profile.kept("share", header, lambda: len(profile.numbers(header)) / len(texts) if len(texts) else 0.0)


def few(profile: Unknown, header: str, most: int = _MOST_DISTINCT) -> list[str]:
    """Distinct texts of a column that holds few of them, the most frequent first; empty where it holds many."""
    texts, counts = profile.kept("counts", header, lambda: _tally(profile.values(header)))
    if not 0 < len(texts) <= most:
        return []
    return [str(t) for t in texts.take(pa.array(np.argsort(-counts, kind="stable"))).to_pylist()]


def _tally(texts: pd.Series) -> tuple[pa.Array, NDArray[np.int64]]:
    """Distinct texts in the order in which they come, and how often each does."""
    found = pc.value_counts(pa.array(texts, from_pandas=True))
    return found.field("values"), np.asarray(found.field("counts").to_numpy(zero_copy_only=False), dtype=np.int64)


def is_dates(profile: Unknown, header: str) -> bool:
    """Whether nearly all filled cells are dates, written with separators or as eight digits."""
    return profile.kept("dates", header, lambda: _dated(profile.values(header)))


def _dated(texts: pd.Series) -> bool:
    if len(texts) == 0:
        return False
    marks = r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}(?:[ T].*)?|(?:18|19|20)\d{6}|\d{1,2}[ -][A-Za-z]{3,9}[ -]\d{2,4}"
    return bool(texts.str.fullmatch(marks).mean() >= 0.8)


def concepts_in(header: str) -> set[str]:
    """Concepts that the words of a header may stand for, in any way of reading it."""
    return {concept for way, _ in parse(header).readings for concept in way}


def words_in(header: str) -> list[str]:
    """Words of a header in lower case."""
    return tokens(header)


def sampled(frame: pd.DataFrame, most: int) -> pd.DataFrame:
    """Rows from the head, middle and tail of a frame, at most so many."""
    if len(frame) <= most:
        return frame
    third = most // 3
    middle = len(frame) // 2 - third // 2
    places = np.r_[0 : most - 2 * third, middle : middle + third, len(frame) - third : len(frame)]
    return frame.iloc[np.unique(places)].reset_index(drop=True)


def bare(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame as text alone, without the columns that count lines and records."""
    out = frame.drop(columns=[LINE, ROW], errors="ignore")
    coded = [c for c in out if not pd.api.types.is_string_dtype(out[c].dtype)]
    return out.astype(dict.fromkeys(coded, "str")) if coded else out
