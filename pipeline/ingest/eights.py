"""Eight bytes at a time: compiled steps over text taken as whole numbers of 64 bits (little-endian).

A byte equal to a wanted one becomes nought in ``word ^ wanted``, and :func:`noughts` turns every byte of nought into
a mark in its highest bit, and no other byte; marks are counted and placed by a multiplication. This is exact.
The small steps take numbers and no arrays: handing an array over costs more than the step.
"""

from __future__ import annotations

from pathlib import Path

import numba
import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import CAN_KEEP

KEEP = CAN_KEEP and Path(__file__).exists()
ONE, ONES, LOWS = np.uint64(1), np.uint64(0x0101010101010101), np.uint64(0x7F7F7F7F7F7F7F7F)
HIGHS, ALL, TOP, SEVEN = np.uint64(0x8080808080808080), np.uint64(2**64 - 1), np.uint64(56), np.uint64(7)
_ODD = np.uint64(0x9E3779B97F4A7C15)


def words_of(buffer: NDArray[np.uint8]) -> NDArray[np.uint64]:
    """The bytes as words, without copying; the last bytes that fill none are left out."""
    plain = np.asarray(buffer)
    if plain.ctypes.data % 8 or not plain.flags.c_contiguous:
        return np.empty(0, np.uint64)
    return plain[: plain.size // 8 * 8].view("<u8")


@numba.njit(nogil=True, cache=KEEP, inline="always")
def eightfold(byte):
    """A byte eight times."""
    return np.uint64(byte) * ONES


@numba.njit(nogil=True, cache=KEEP, inline="always")
def noughts(word):
    """A mark in the highest bit of every byte that is nought."""
    return ~(((word & LOWS) + LOWS) | word | LOWS)


@numba.njit(nogil=True, cache=KEEP, inline="always")
def counted(marks):
    """How many bytes are marked."""
    return np.int64(((marks >> SEVEN) * ONES) >> TOP)


@numba.njit(nogil=True, cache=KEEP, inline="always")
def below(marks):
    """All bits below the lowest mark."""
    return (marks & (~marks + ONE)) - ONE


@numba.njit(nogil=True, cache=KEEP, inline="always")
def first(marks):
    """Which byte, from 0, bears the lowest mark; there must be one."""
    return np.int64(((below(marks) & ONES) * ONES) >> TOP) - 1


@numba.njit(nogil=True, cache=KEEP, inline="always")
def from_byte(place):
    """Bits of the bytes of a word from the given byte of the text on."""
    return ALL << np.uint64(8 * (place & 7))


@numba.njit(nogil=True, cache=KEEP)
def count(words, byte):
    """How often a byte stands in the words."""
    wanted, total = eightfold(byte), 0
    for k in range(words.size):
        total += counted(noughts(words[k] ^ wanted))
    return total


@numba.njit(nogil=True, cache=KEEP, inline="always")
def joined(low, high, start, length):
    """Up to eight bytes from ``start`` as one number, from the two words they lie in; nought past ``length``."""
    shift = np.uint64(8 * (start & 7))
    # in two steps: a shift by all 64 bits is not defined
    out = (low >> shift) | ((high << ONE) << (np.uint64(63) - shift))
    return out if length >= 8 else out & ~(ALL << np.uint64(8 * length))


@numba.njit(nogil=True, cache=KEEP, inline="always")
def mixed(number):
    """A number well stirred, for a place in a table."""
    number = number * _ODD
    return number ^ (number >> np.uint64(29))


def breaks(buffer: NDArray[np.uint8], begin: int, stop: int) -> int:
    """Line feeds in the bytes from ``begin`` to ``stop``."""
    words, first_word, last_word = words_of(buffer), -(-begin // 8), stop // 8
    if last_word <= first_word or not words.size:
        return int(np.count_nonzero(np.asarray(buffer)[begin:stop] == 10))
    edges = np.concatenate([buffer[begin : 8 * first_word], buffer[8 * last_word : stop]])
    return int(count(words[first_word:last_word], 10)) + int(np.count_nonzero(edges == 10))
