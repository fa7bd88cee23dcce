"""Compiled pass: cells as distinct texts and a code a row, before any text is made of them."""

from __future__ import annotations

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray

from pipeline.ingest import eights
from pipeline.ingest.scan import CP1252

# texts that hardly repeat are found out early: after so many rows, if more than this share of them differ
EARLY_ROWS, EARLY_SHARE = 16_384, 0.75
_FEW, _LEFT = 256, np.uint64(20)


@dataclass(frozen=True)
class Codes:
    """Hash tables of the cells of several columns, filled by :func:`code_rows`.

    Attributes
    ----------
    table : int32 array (columns, a power of two)
        One more than the code of the cell that hashes there; 0 where free.
    hashes, keys : uint64 arrays (columns, most)
        Of each distinct cell its hash and its first eight bytes.
    heads : int32 array (columns, most)
        Row at which each distinct cell first appears: codes are numbered in this order.
    sizes, seen : int64 arrays (columns,)
        Places of the table in use; distinct cells, -1 where given up: more than ``most``, or cells whose text is
        not their bytes.
    codes : int32 array (columns, rows)
    """

    table: NDArray[np.int32]
    hashes: NDArray[np.uint64]
    keys: NDArray[np.uint64]
    heads: NDArray[np.int32]
    sizes: NDArray[np.int64]
    seen: NDArray[np.int64]
    codes: NDArray[np.int32]

    @classmethod
    def fresh(cls, columns: int, rows: int, most: int, given_up: set[int]) -> Codes:
        """Tables for cells of which at most ``most`` a column may differ; memory is taken up only as it is filled."""
        largest = _FEW
        while largest < 2 * most + 2:
            largest *= 4
        seen = np.zeros(columns, np.int64)
        seen[sorted(given_up)] = -1
        return cls(
            np.zeros((columns, largest), np.int32), np.empty((columns, most), np.uint64),
            np.empty((columns, most), np.uint64), np.empty((columns, most), np.int32),
            np.full(columns, _FEW, np.int64), seen, np.empty((columns, rows), np.int32),
        )  # fmt: skip


@numba.njit(nogil=True, cache=eights.KEEP)
def _foreign(buf, start, stop):
    """Whether a cell holds a byte beyond ASCII."""
    high = 0
    for k in range(start, stop):
        high |= buf[k] & 0x80
    return high != 0


@numba.njit(nogil=True, cache=eights.KEEP)
def code_rows(
    buf, words, begin, length, escaped, coding, first, stop, table, hashes, keys, heads, sizes, seen, codes
):
    """Codes of some rows of every column; columns that repeat too little are given up. See :class:`Codes`.

    Parameters
    ----------
    buf, words : uint8 and uint64 array
        The file, and the same bytes as words.
    begin, length, escaped : arrays (n, columns)
        As :func:`scan.locate` fills them.
    coding : uint8 array (n,)
        As :func:`scan.find_records` fills it.
    first, stop : int
        The rows to code now; those before are coded.
    table, hashes, keys, heads, sizes, seen, codes
        What :class:`Codes` holds.
    """
    # the last bytes of the file, which fill no word
    full, last, most = words.size, np.uint64(0), heads.shape[1]
    for k in range(8 * full, buf.size):
        last |= np.uint64(buf[k]) << np.uint64(8 * (k & 7))
    for slot in range(begin.shape[1]):
        size, count = sizes[slot], seen[slot]
        if count < 0:
            continue
        for r in range(first, stop):
            at, long = begin[r, slot], np.int64(length[r, slot])
            if escaped[r, slot] or (coding[r] == CP1252 and _foreign(buf, at, at + long)):
                count = -1
                break
            key, found, done = np.uint64(0), np.uint64(long), 0
            while done < long:
                k = (at + done) >> 3
                part = eights.joined(
                    words[k] if k < full else last, words[k + 1] if k + 1 < full else last, at, long - done
                )
                if done == 0:
                    key = part
                found = eights.mixed(found ^ part)
                done += 8
            place = np.int64(found >> _LEFT) & (size - 1)
            code = table[slot, place] - 1
            while code >= 0:
                if keys[slot, code] == key and hashes[slot, code] == found and length[heads[slot, code], slot] == long:
                    # up to eight bytes the key is the cell; longer ones are compared in the file
                    alike, head, done = True, begin[heads[slot, code], slot], 8
                    while done < long and alike:
                        k, m = (at + done) >> 3, (head + done) >> 3
                        one = eights.joined(
                            words[k] if k < full else last, words[k + 1] if k + 1 < full else last, at, long - done
                        )
                        two = eights.joined(
                            words[m] if m < full else last, words[m + 1] if m + 1 < full else last, head, long - done
                        )
                        alike = one == two
                        done += 8
                    if alike:
                        break
                place = (place + 1) & (size - 1)
                code = table[slot, place] - 1
            if code < 0:
                if count == most or (r >= EARLY_ROWS and r < EARLY_ROWS + 64 and count > EARLY_SHARE * r):
                    count = -1
                    break
                code = count
                table[slot, place] = code + 1
                hashes[slot, code], keys[slot, code], heads[slot, code] = found, key, r
                count += 1
                if 2 * count > size:
                    size *= 4
                    table[slot, :size] = 0
                    for k in range(count):
                        place = np.int64(hashes[slot, k] >> _LEFT) & (size - 1)
                        while table[slot, place] > 0:
                            place = (place + 1) & (size - 1)
                        table[slot, place] = k + 1
            codes[slot, r] = code
        sizes[slot], seen[slot] = size, count
