"""Text columns as distinct texts and codes, so that each distinct text is read once."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline import schema
from pipeline.normalise import spread
from pipeline.normalise.spread import gather

_TEXT = pd.StringDtype(na_value=np.nan)
# a whole number, with noughts behind its decimal sign or without
_WHOLE = re.compile(r"^([-+]?\d+)(?:\.0*|,0{1,2})?$")


@dataclass(frozen=True)
class Coded:
    """A text column: ``codes[i]`` is the place of row i in ``texts``, -1 where the cell is empty.

    ``texts`` are distinct and trimmed; none is empty.
    """

    codes: NDArray[np.int32]
    texts: pa.StringArray

    def spread(self, values: NDArray[Any], missing: Any) -> NDArray[Any]:
        """One value a row from one value a distinct text; ``missing`` where the cell is empty."""
        if values.dtype == bool and not missing and not values.any():
            return np.zeros(len(self.codes), dtype=bool)
        return gather(values, missing, self.codes)

    def counts(self) -> NDArray[np.int64]:
        """Rows of each distinct text."""
        return np.bincount(self.codes[self.codes >= 0], minlength=len(self.texts))

    def text(self, rows: NDArray[np.int64]) -> list[str | None]:
        """Trimmed text of the given rows."""
        return take(self.texts, self.codes[rows]).to_pylist()

    def without(self, lost: NDArray[np.bool_]) -> Coded:
        """The column with the distinct texts marked in ``lost`` made empty."""
        if not lost.any():
            return self
        kept = np.cumsum(~lost) - 1
        moved = np.where(lost, -1, kept).astype(np.int32)
        return Coded(gather(moved, -1, self.codes), self.texts.filter(pa.array(~lost)))

    def only(self, rows: NDArray[np.bool_]) -> Coded:
        """The column with the cells of other rows made empty."""
        return Coded(np.where(rows, self.codes, -1).astype(np.int32), self.texts)


def take(texts: pa.StringArray, codes: NDArray[np.integer[Any]]) -> pa.StringArray:
    """Texts by code, null where the code is negative."""
    return texts.take(pa.array(codes, mask=codes < 0))


def series(texts: pa.StringArray, codes: NDArray[np.integer[Any]]) -> pd.Series:
    """Text column of a frame, from distinct texts and codes."""
    # large strings are what a frame holds: widening the few texts spares widening those of all rows
    return as_series(spread.texts(texts.cast(pa.large_string()), codes))


def as_series(array: pa.LargeStringArray) -> pd.Series:
    """An array of large strings as a text column, as it is."""
    return pd.Series(pd.arrays.ArrowStringArray(array, dtype=_TEXT), copy=False)  # type: ignore[call-arg]


def encode(column: pd.Series) -> Coded:
    """Distinct trimmed texts of a column, and the code of each row."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        codes = column.cat.codes.to_numpy().astype(np.int32)
        found = plain(column.cat.categories.to_series())
    else:
        first = pc.dictionary_encode(plain(column))
        codes = first.indices.fill_null(-1).to_numpy(zero_copy_only=False).astype(np.int32, copy=False)
        found = first.dictionary
    texts = pc.utf8_trim_whitespace(found)
    if not pc.all(pc.equal(texts, found)).as_py() and len(texts):
        second = pc.dictionary_encode(texts)
        moved = second.indices.to_numpy(zero_copy_only=False).astype(np.int32, copy=False)
        codes, texts = np.append(moved, np.int32(-1))[codes], second.dictionary
    coded = Coded(codes, texts)
    return coded.without(pc.equal(texts, "").to_numpy(zero_copy_only=False))


def plain(column: pd.Series) -> pa.StringArray:
    """A column of a frame as one array of text."""
    array: Any = pa.array(column, from_pandas=True)
    if isinstance(array, pa.ChunkedArray):
        array = array.combine_chunks()
    return array if array.type == pa.string() else array.cast(pa.string())


@cache
def words(kind: str) -> frozenset[str]:
    """Texts of one kind from missing.csv, in lower case: word, dry, flowing, sentinel, outlying, zero."""
    return frozenset(row["text"] for row in schema.rows("missing") if row["kind"] == kind)


@cache
def values_missing(kind: str, field: str) -> tuple[float, ...]:
    """Numbers that stand for missing in ``field``; ``kind`` is sentinel, outlying or zero."""
    out = []
    for row in schema.rows("missing"):
        names = row["fields"].lstrip("!").split("|")
        applies = not row["fields"] or (field in names) != row["fields"].startswith("!")
        if row["kind"] == kind and applies:
            out.append(float(row["text"]))
    return tuple(out)


def lost(coded: Coded, declared: tuple[str, ...], general: bool = True) -> NDArray[np.bool_]:
    """Which distinct texts mean missing: the layout's own words and, if asked, the general ones.

    A number declared so means missing however many noughts follow its decimal sign: 0 is 0.0 and 0,00 as well.
    """
    known = missing_words(declared, general)
    found = is_in(coded.texts, known)
    numbers = frozenset(_WHOLE.sub(r"\1", word) for word in known if _WHOLE.fullmatch(word))
    if numbers and len(coded.texts):
        found |= is_in(pc.replace_substring_regex(coded.texts, _WHOLE.pattern, r"\1"), numbers)
    return found


def missing_words(declared: tuple[str, ...], general: bool = True) -> set[str]:
    """The layout's own words for missing and, if asked, the general ones, in lower case."""
    return {" ".join(word.lower().split()) for word in declared} | (words("word") if general else set())


def is_in(texts: pa.StringArray, known: set[str] | frozenset[str]) -> NDArray[np.bool_]:
    """Which texts, folded to lower case, are among ``known``."""
    if not known or not len(texts):
        return np.zeros(len(texts), dtype=bool)
    values = pa.array(sorted(known), type=pa.string())
    return pc.is_in(pc.utf8_lower(texts), value_set=values).to_numpy(zero_copy_only=False)


def fold(text: str) -> str:
    """Text as spellings are compared: lower case, blanks single."""
    return " ".join(text.lower().split())
