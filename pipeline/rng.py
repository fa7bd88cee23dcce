"""Keyed random numbers: a pure function of seed, name and draw.

Chunks, threads, file order and engine cannot change a draw, because nothing is drawn in sequence:
each number is a mix of its own key, in the manner of counter-based generators.
Source of the mixing constants: ``splitmix64`` in schemas/references.csv.
"""

from __future__ import annotations

import hashlib

import numpy as np
import pandas as pd
from numpy.typing import NDArray

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)


def _mix(x: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Finaliser of SplitMix64 on an array of 64-bit words."""
    with np.errstate(over="ignore"):
        x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return x ^ (x >> np.uint64(31))


def keys(names: pd.Series | list[str]) -> NDArray[np.uint64]:
    """A 64-bit key of each name; equal names have equal keys on every machine."""
    return pd.util.hash_array(np.asarray(names, dtype=object), categorize=True)


def uniform(seed: int, stream: str, names: NDArray[np.uint64], draw: int) -> NDArray[np.float64]:
    """Numbers in (0, 1), one a name, for one stream and one draw.

    Parameters
    ----------
    seed : int
    stream : str
        What the number is for, so that two uses of one name are independent.
    names : ndarray of uint64, from :func:`keys`
    draw : int
    """
    word = int.from_bytes(hashlib.sha256(f"{seed}:{stream}:{draw}".encode()).digest()[:8], "little")
    with np.errstate(over="ignore"):
        mixed = _mix(_mix(names + np.uint64(word)) + _GOLDEN)
    return ((mixed >> np.uint64(11)).astype(np.float64) + 0.5) * 2.0**-53


def normal(seed: int, stream: str, names: NDArray[np.uint64], draw: int) -> NDArray[np.float64]:
    """Standard normal numbers, one a name, for one stream and one draw (Box and Muller's form)."""
    first = uniform(seed, stream + "/radius", names, draw)
    second = uniform(seed, stream + "/angle", names, draw)
    return np.sqrt(-2.0 * np.log(first)) * np.cos(2.0 * np.pi * second)
