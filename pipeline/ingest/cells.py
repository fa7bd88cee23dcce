"""Cells of found records to columns: a column whose texts repeat becomes distinct texts and codes at once."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.ingest import distinct, eights, scan

ROWS_AT_ONCE, ROWS_IN_CACHE = 131_072, 2048
# a column stays coded while each text stands for so many rows on average
ROWS_A_TEXT = 2
TEXT = pd.StringDtype(na_value=np.nan)


@dataclass(frozen=True)
class Cells:
    """Where the good records of a file lie and how their cells are told apart.

    Attributes
    ----------
    buffer : uint8 array
    start, end : int64 arrays (n,)
        First byte of each record and the byte after its last.
    coding : uint8 array (n,)
        ASCII, UTF8 or CP1252 of :mod:`scan`.
    delimiter, quote : int
    forms : uint8 array, 256 by 4
        UTF-8 forms of single bytes.
    """

    buffer: NDArray[np.uint8]
    start: NDArray[np.int64]
    end: NDArray[np.int64]
    coding: NDArray[np.uint8]
    delimiter: int
    quote: int
    forms: NDArray[np.uint8]


def columns(cells: Cells, fields: list[int], threads: int, coded: bool) -> list[pa.ChunkedArray]:
    """Text of the wanted fields, one Arrow column a field, in the order of ``fields``.

    With ``coded`` a column whose texts repeat in all its parts is a dictionary of distinct texts, in the order in
    which they first appear. The outcome does not depend on ``threads``.
    """
    slots = np.full(max(fields, default=-1) + 1, -1, np.int64)
    slots[fields] = np.arange(len(fields))
    size = len(cells.start)
    # parts of like size: texts that repeat in the whole then repeat in each
    count = max(-(-size // ROWS_AT_ONCE), 1)
    edges = [size * k // count for k in range(count + 1)]
    words = eights.words_of(cells.buffer)
    # a column that was seen not to repeat is not tried in the parts that follow; it becomes text in any case
    given_up = set() if coded else set(range(len(fields)))
    parts = side_by_side(
        lambda k: _part(cells, words, slice(edges[k], edges[k + 1]), slots, given_up), range(count), threads
    )
    return [_joined([part[slot] for part in parts]) for slot in range(len(fields))]


def series(column: pa.ChunkedArray) -> pd.Series:
    """A column as it stands in a frame: text, or a category of text where it is coded."""
    if not pa.types.is_dictionary(column.type):
        return pd.Series(pd.arrays.ArrowStringArray(column, dtype=TEXT), copy=False)  # type: ignore[call-arg]
    texts = column.chunk(column.num_chunks - 1).dictionary
    codes = np.concatenate([chunk.indices.to_numpy(zero_copy_only=False) for chunk in column.chunks])
    kind = pd.CategoricalDtype(pd.Index(pd.arrays.ArrowStringArray(texts, dtype=TEXT)))  # type: ignore[call-arg]
    return pd.Series(pd.Categorical.from_codes(codes, dtype=kind, validate=False), copy=False)


def side_by_side(work: Callable[[int], Any], places: range, threads: int) -> list[Any]:
    """Results in order, worked out on so many threads."""
    if len(places) > 1 and threads > 1:
        with ThreadPoolExecutor(threads) as pool:
            return list(pool.map(work, places))
    return [work(place) for place in places]


def _part(cells: Cells, words: NDArray[np.uint64], rows: slice, slots: NDArray[np.int64],
          given_up: set[int]) -> list[Any]:  # fmt: skip
    """The wanted columns of some records."""
    start, end, coding = cells.start[rows], cells.end[rows], cells.coding[rows]
    count, size = int((slots >= 0).sum()), len(start)
    shape = (size, count)
    begin, length, escaped = np.empty(shape, np.int64), np.empty(shape, np.int32), np.empty(shape, np.bool_)
    found = distinct.Codes.fresh(count, size, size // ROWS_A_TEXT, given_up)
    # a few rows at a time: their bytes are still in the processor's cache when they are read again
    for at in range(0, size, ROWS_IN_CACHE):
        rows_now = slice(at, at + ROWS_IN_CACHE)
        scan.locate(
            cells.buffer, words, start[rows_now], end[rows_now], cells.delimiter, cells.quote, ord('"'), slots,
            begin[rows_now], length[rows_now], escaped[rows_now],
        )  # fmt: skip
        distinct.code_rows(
            cells.buffer, words, begin, length, escaped, coding, at, min(at + ROWS_IN_CACHE, size), found.table,
            found.hashes, found.keys, found.heads, found.sizes, found.seen, found.codes,
        )  # fmt: skip
    out = []
    for slot in range(count):
        pick: Any = slice(None)
        if found.seen[slot] < 0:
            given_up.add(slot)
        else:
            pick = found.heads[slot, : found.seen[slot]]
        texts = _text(
            cells, np.ascontiguousarray(begin[pick, slot]), np.ascontiguousarray(length[pick, slot]),
            np.ascontiguousarray(escaped[pick, slot]), coding[pick],
        )  # fmt: skip
        coded = found.seen[slot] >= 0
        out.append(pa.DictionaryArray.from_arrays(pa.array(found.codes[slot]), texts) if coded else texts)
    return out


def _text(cells: Cells, begin: Any, length: Any, escaped: Any, coding: NDArray[np.uint8]) -> pa.LargeStringArray:
    """Text of some cells, given as :func:`scan.locate` fills them."""
    room = int(length.sum(dtype=np.int64)) * (3 if (coding == scan.CP1252).any() else 1)
    offsets, text = np.empty(len(begin) + 1, np.int64), np.empty(room, np.uint8)
    scan.copy_cells(cells.buffer, begin, length, escaped, coding, ord('"'), cells.forms, offsets, text)
    return pa.LargeStringArray.from_buffers(len(begin), pa.py_buffer(offsets), pa.py_buffer(text))


def _joined(parts: list[Any]) -> pa.ChunkedArray:
    """Parts of one column below each other; coded only if all of them are."""
    coded = [pa.types.is_dictionary(part.type) for part in parts]
    if all(coded):
        return pa.chunked_array(parts).unify_dictionaries()
    plain = [part.dictionary_decode() if is_coded else part for part, is_coded in zip(parts, coded, strict=True)]
    return pa.chunked_array(plain, pa.large_string())
