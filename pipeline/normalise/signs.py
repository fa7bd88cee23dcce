"""Which signs a column of texts holds, told from its bytes: a quick look that spares most columns a search."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numba
import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.compiled import CAN_KEEP
from pipeline.normalise.spread import ROWS_COMPILED

SEPARATOR, POINT, UPPER, LOWER, EXPONENT, SLASH = 1, 2, 4, 8, 16, 32
_KINDS = np.zeros(256, dtype=np.uint8)
for _sign in b"- _/\t":
    _KINDS[_sign] |= SEPARATOR
_KINDS[ord(".")] |= POINT
_KINDS[ord("/")] |= SLASH
_KINDS[65:91] |= UPPER
_KINDS[97:123] |= LOWER
for _sign in b"Ee":
    _KINDS[_sign] |= EXPONENT


@numba.njit(nogil=True, cache=CAN_KEEP)
def _all_kinds(data, kinds):
    """Bits of the kinds of all bytes together."""
    found = np.uint8(0)
    for k in range(data.size):
        found |= kinds[data[k]]
    return found


@numba.njit(nogil=True, cache=CAN_KEEP)
def _holding(data, starts, ends, kinds, kind, out):
    """Whether each text holds a sign of a kind."""
    for r in range(starts.size):
        found = np.uint8(0)
        for k in range(starts[r], ends[r]):
            found |= kinds[data[k]]
        out[r] = (found & kind) != 0


@dataclass(frozen=True, eq=False)
class Signs:
    """Bytes of a column of texts without nulls; ``data[starts[i]:ends[i]]`` is text i."""

    data: NDArray[np.uint8]
    starts: NDArray[np.integer[Any]]
    ends: NDArray[np.integer[Any]]

    @staticmethod
    def of(texts: Any) -> Signs:
        """Signs of a string array (n,) without nulls."""
        wide = pa.types.is_large_string(texts.type)
        size, kind = (8, np.int64) if wide else (4, np.int32)
        offsets: Any = np.frombuffer(texts.buffers()[1], kind, count=len(texts) + 1, offset=texts.offset * size)
        data = np.frombuffer(texts.buffers()[2] or b"", np.uint8)[: offsets[-1]]
        return Signs(data, offsets[:-1], offsets[1:])

    @cached_property
    def kinds(self) -> int:
        """Bits of the kinds of signs that stand anywhere."""
        here = self.data[self.starts[0] :] if len(self.starts) else self.data
        if len(self.starts) >= ROWS_COMPILED:
            return int(_all_kinds(here, _KINDS))
        return int(np.bitwise_or.reduce(_KINDS[here])) if len(here) else 0

    @cached_property
    def first(self) -> NDArray[np.uint8]:
        """First byte of each text, 0 where it is empty."""
        return self._at(self.starts)

    @cached_property
    def last(self) -> NDArray[np.uint8]:
        """Last byte of each text, 0 where it is empty."""
        return self._at(self.ends - 1)

    def _at(self, places: NDArray[np.integer[Any]]) -> NDArray[np.uint8]:
        if not len(self.data):
            return np.zeros(len(places), dtype=np.uint8)
        found = self.data[np.clip(places, 0, len(self.data) - 1)]
        return np.where(self.ends > self.starts, found, np.uint8(0))

    def holding(self, kind: int) -> NDArray[np.bool_]:
        """Whether each text, none of them empty, holds a sign of a kind."""
        if len(self.starts) >= ROWS_COMPILED:
            out = np.empty(len(self.starts), np.bool_)
            _holding(self.data, self.starts.astype(np.int64), self.ends.astype(np.int64), _KINDS, np.uint8(kind), out)
            return out
        return (np.bitwise_or.reduceat(_KINDS[self.data], self.starts) & kind) > 0

    def within(self, allowed: NDArray[np.bool_]) -> bool:
        """Whether every byte is one of those marked in ``allowed`` (256,)."""
        here = self.data[self.starts[0] :] if len(self.starts) else self.data
        return bool(allowed[here].all())
