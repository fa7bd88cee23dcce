"""One value a row from one value a distinct text: the step that every column takes several times."""

from __future__ import annotations

from typing import Any

import numba
import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.compiled import CAN_KEEP

# fewer rows are not worth the load of compiled code
ROWS_COMPILED = 65_536
# values are moved as whole numbers of their size, so that one compiled form serves all kinds
_SAME_SIZE = {1: np.int8, 4: np.int32, 8: np.int64}


@numba.njit(nogil=True, cache=CAN_KEEP)
def _gather(values, codes, out):
    """``values`` by code; the last of them where the code is negative."""
    last = values.size - 1
    for r in range(codes.size):
        code = codes[r]
        out[r] = values[code if code >= 0 else last]


@numba.njit(nogil=True, cache=CAN_KEEP)
def _text_ends(offsets, codes, out):
    """Where each text ends once they stand one behind the other; those of negative codes are empty."""
    total = 0
    for r in range(codes.size):
        code = codes[r]
        if code >= 0:
            total += offsets[code + 1] - offsets[code]
        out[r + 1] = total


@numba.njit(nogil=True, cache=CAN_KEEP)
def _copy_texts(offsets, data, codes, out):
    """Texts by code, one behind the other."""
    at = 0
    for r in range(codes.size):
        code = codes[r]
        if code >= 0:
            for k in range(offsets[code], offsets[code + 1]):
                out[at] = data[k]
                at += 1


def texts(distinct: pa.LargeStringArray, codes: NDArray[np.integer[Any]]) -> pa.LargeStringArray:
    """Texts by code, null where the code is negative; ``distinct`` has no nulls."""
    lost = codes < 0
    some = bool(lost.any())
    if len(codes) < ROWS_COMPILED or distinct.null_count:
        return distinct.take(pa.array(codes, mask=lost) if some else pa.array(codes))
    # of whatever is not all of an array, Arrow keeps the whole: offsets are counted from the first text
    offsets = np.frombuffer(distinct.buffers()[1], np.int64, len(distinct) + 1, 8 * distinct.offset)
    data = np.frombuffer(distinct.buffers()[2] or b"", np.uint8)
    ends = np.zeros(len(codes) + 1, np.int64)
    codes = np.ascontiguousarray(codes, dtype=np.int32)
    _text_ends(offsets, codes, ends)
    out = np.empty(ends[-1], np.uint8)
    _copy_texts(offsets, data, codes, out)
    known = pa.py_buffer(np.packbits(~lost, bitorder="little")) if some else None
    return pa.LargeStringArray.from_buffers(len(codes), pa.py_buffer(ends), pa.py_buffer(out), known)


def gather(values: NDArray[Any], missing: Any, codes: NDArray[np.int32]) -> NDArray[Any]:
    """Values by code, ``missing`` where the code is negative; the kind of ``values``."""
    padded = np.append(values, np.asarray([missing], dtype=values.dtype))
    same = _SAME_SIZE.get(padded.dtype.itemsize)
    if len(codes) < ROWS_COMPILED or same is None or padded.dtype.hasobject or codes.dtype != np.int32:
        return padded[codes]
    out = np.empty(len(codes), padded.dtype)
    _gather(padded.view(same), codes, out.view(same))
    return out
