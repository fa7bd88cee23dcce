"""Rows in a declared order, whatever the order in which files came."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

# longest text that is compared as whole numbers of eight bytes
PACKED_BYTES = 24


def whole(column: Any) -> pa.Array:
    """A column of a frame as one Arrow array, categories spelled out."""
    array: Any = pa.array(column, from_pandas=True)
    array = array.combine_chunks() if isinstance(array, pa.ChunkedArray) else array
    return array.dictionary_decode() if pa.types.is_dictionary(array.type) else array


def _packed(texts: pa.Array) -> list[NDArray[np.uint64]] | None:
    """Short ASCII texts as numbers that sort as the texts do; None where they are long, foreign or missing.

    A byte of nought pads the end, and none may stand in a text, so that no two texts become one.
    """
    if texts.null_count or not len(texts):
        return None
    longest = pc.max(pc.binary_length(texts)).as_py()
    if longest > PACKED_BYTES or not pc.all(pc.string_is_ascii(texts)).as_py():
        return None
    width = 8 * max((longest + 7) // 8, 1)
    padded = pc.ascii_rpad(texts.cast(pa.string()), width, "\0")
    data = np.frombuffer(padded.buffers()[2], np.uint8, count=len(texts) * width, offset=padded.offset * width)
    if (data == 0).sum() != len(texts) * width - pc.sum(pc.binary_length(texts)).as_py():
        return None
    words = data.view(">u8").reshape(len(texts), width // 8)
    return [np.ascontiguousarray(words[:, k]).astype(np.uint64) for k in range(words.shape[1])]


def by_text(texts: pa.Array) -> tuple[NDArray[np.int64], bool]:
    """Places of texts in their order by code point, equal ones as they came, and whether all differ.

    Parameters
    ----------
    texts : string array without nulls
    """
    keys = _packed(texts)
    if keys is None:
        order = pc.sort_indices(
            pa.table({"text": texts, "place": pa.array(np.arange(len(texts)))}),
            sort_keys=[("text", "ascending"), ("place", "ascending")],
        ).to_numpy()  # fmt: skip
        sorted_texts = texts.take(pa.array(order))
        return order, not pc.any(pc.equal(sorted_texts[:-1], sorted_texts[1:])).as_py()
    varying = [k for k in keys if not (k == k[0]).all()] or keys[:1]
    order = np.argsort(varying[0], kind="stable") if len(varying) == 1 else np.lexsort(varying[::-1])
    same = np.ones(max(len(texts) - 1, 0), dtype=bool)
    for key in varying:
        found = key[order]
        same &= found[1:] == found[:-1]
    return order, not same.any()


def ordered(frame: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Rows in the order of ``keys``, missing last; keys that never vary are passed over.

    A frame that is in order already is left as it is. Texts compare by code point.
    """
    if len(frame) < 2:
        return frame.reset_index(drop=True)
    columns = {}
    for name in keys:
        array = whole(frame[name])
        if array.null_count or not pc.all(pc.equal(array, array[0])).as_py():
            columns[name] = array
    if not columns:
        return frame.reset_index(drop=True)
    first = next(iter(columns.values()))
    if not first.null_count and pc.all(pc.less(first[:-1], first[1:])).as_py():
        return frame.reset_index(drop=True)
    if len(columns) == 1 and pa.types.is_integer(first.type) and not first.null_count:
        order = np.argsort(first.to_numpy(), kind="stable")
    else:
        text = pa.types.is_string(first.type) or pa.types.is_large_string(first.type)
        unlike = False
        if text and not first.null_count:
            order, unlike = by_text(first)
        if not unlike and not (text and len(columns) == 1 and not first.null_count):
            # the place in the frame as last key keeps the sort stable
            columns["place"] = pa.array(np.arange(len(frame)))
            sort_keys = [(name, "ascending") for name in columns]
            order = pc.sort_indices(pa.table(columns), sort_keys=sort_keys).to_numpy()
    return frame.iloc[order].reset_index(drop=True)


def among(column: Any, known: Any) -> NDArray[np.bool_]:
    """Whether each text of a column stands among others; a missing one does not."""
    texts = whole(column)
    values = whole(known).drop_null().cast(texts.type)
    return pc.and_(pc.is_in(texts, value_set=values), pc.is_valid(texts)).to_numpy(zero_copy_only=False)
