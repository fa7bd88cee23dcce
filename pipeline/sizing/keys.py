"""Scores as integer keys: the least of several options and which of them it is, by vector instructions."""

from __future__ import annotations

import numpy as np

from pipeline.compiled import scalar

NOT_MET = 1e30  # worse than any utilisation or score; never written out
MOST = 0.99e30  # a score or utilisation past this is NOT_MET
NONE = 0x7FFFFFFFFFFFFFFF  # key of no option
LANES = 8  # options side by side: a vector of eight doubles, or two of four


@scalar
def _key(value, lane):
    """A number as an integer that sorts the same, the lane in its last three bits: 2e-15 of the number is lost.

    An integer minimum is a vector instruction, a strict float one is not. Below zero the bits run backwards.
    """
    bits = np.float64(value).view(np.int64)
    return (bits ^ ((bits >> 63) & 0x7FFFFFFFFFFFFFFF)) & -LANES | lane


@scalar
def _value(key):
    """The number in a key, without its last three bits."""
    bits = key & -LANES
    return np.int64(bits ^ ((bits >> 63) & 0x7FFFFFFFFFFFFFFF)).view(np.float64)


@scalar
def _better(value, option, key, other):
    """The lesser of what was found and what a key holds; of equals, the lower option. NOT_MET is never taken."""
    new = _value(key)
    takes = (new < MOST) & ((new < value) | ((new == value) & (other < option)))
    return (new if takes else value), (other if takes else option)
