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

from pipeline.compiled import scalar

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_FIRST, _SECOND = np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB)
_S30, _S27, _S31, _S11 = np.uint64(30), np.uint64(27), np.uint64(31), np.uint64(11)


@scalar
def _mix(x):
    """Finaliser of SplitMix64 on a 64-bit word."""
    x = (x ^ (x >> _S30)) * _FIRST
    x = (x ^ (x >> _S27)) * _SECOND
    return x ^ (x >> _S31)


@scalar
def _uniform(key, word):
    """A number in (0, 1) from a name's key and the word of a stream and draw."""
    return (np.float64(_mix(_mix(key + word) + _GOLDEN) >> _S11) + 0.5) * 2.0**-53


@scalar
def _normal(key, radius, angle):
    """A standard normal number from a name's key and the two words of a stream and draw (Box and Muller's form)."""
    return np.sqrt(-2.0 * np.log(_uniform(key, radius))) * np.cos(2.0 * np.pi * _uniform(key, angle))


@scalar
def _uniforms(keys, word, out):
    for i in range(len(keys)):
        out[i] = _uniform(keys[i], word)


@scalar
def _normals(keys, radius, angle, out):
    for i in range(len(keys)):
        out[i] = _normal(keys[i], radius, angle)


def keys(names: pd.Series | list[str]) -> NDArray[np.uint64]:
    """A 64-bit key of each name; equal names have equal keys on every machine."""
    return pd.util.hash_array(np.asarray(names, dtype=object), categorize=True)


def word(seed: int, stream: str, draw: int) -> np.uint64:
    """The 64-bit word that stands for a seed, a stream and a draw."""
    return np.uint64(int.from_bytes(hashlib.sha256(f"{seed}:{stream}:{draw}".encode()).digest()[:8], "little"))


def words(seed: int, stream: str, draw: int) -> tuple[np.uint64, np.uint64]:
    """The two words that a normal number takes, for compiled code that calls ``_normal`` itself."""
    return word(seed, stream + "/radius", draw), word(seed, stream + "/angle", draw)


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
    out = np.empty(len(names))
    _uniforms(np.ascontiguousarray(names), word(seed, stream, draw), out)
    return out


def normal(seed: int, stream: str, names: NDArray[np.uint64], draw: int) -> NDArray[np.float64]:
    """Standard normal numbers, one a name, for one stream and one draw (Box and Muller's form)."""
    out = np.empty(len(names))
    _normals(np.ascontiguousarray(names), *words(seed, stream, draw), out)
    return out
