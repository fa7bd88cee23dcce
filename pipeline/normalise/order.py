"""Rows in a declared order, whatever the order in which files came."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc


def ordered(frame: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Rows in the order of ``keys``, missing last; keys that never vary are passed over.

    A frame that is in order already is left as it is. Texts compare by code point.
    """
    if len(frame) < 2:
        return frame.reset_index(drop=True)
    columns = {}
    for name in keys:
        array = pa.array(frame[name], from_pandas=True)
        array = array.combine_chunks() if isinstance(array, pa.ChunkedArray) else array
        array = array.dictionary_decode() if pa.types.is_dictionary(array.type) else array
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
        # the place in the frame as last key keeps the sort stable
        columns["place"] = pa.array(np.arange(len(frame)))
        order = pc.sort_indices(pa.table(columns), sort_keys=[(name, "ascending") for name in columns]).to_numpy()
    return frame.iloc[order].reset_index(drop=True)
