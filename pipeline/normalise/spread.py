"""One value a row from one value a distinct text: the step that every column takes several times."""

from __future__ import annotations

from typing import Any

import numba
import numpy as np
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


def gather(values: NDArray[Any], missing: Any, codes: NDArray[np.int32]) -> NDArray[Any]:
    """Values by code, ``missing`` where the code is negative; the kind of ``values``."""
    padded = np.append(values, np.asarray([missing], dtype=values.dtype))
    same = _SAME_SIZE.get(padded.dtype.itemsize)
    if len(codes) < ROWS_COMPILED or same is None or padded.dtype.hasobject or codes.dtype != np.int32:
        return padded[codes]
    out = np.empty(len(codes), padded.dtype)
    _gather(padded.view(same), codes, out.view(same))
    return out
