"""Which coil lengths to stock: every set of lengths tried, the cheapest in metres taken."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Terms:
    """What counts when lengths are chosen; lengths in steps of the cut.

    Attributes
    ----------
    most : int
        Lengths stocked at most.
    keep, worth : float
        Offcuts of at least ``keep`` are kept; share of their length that they are worth.
    special : float
        Length that a job beyond the longest stocked coil costs, as a special order. [steps]
    holding : float
        Yearly cost of holding over what is held. [1/year]
    protect, cover : float
        Lead time with review, and time of demand an order covers. [year]
    deviate : float
        Standard normal quantile of the service level.
    """

    most: int
    keep: float
    worth: float
    special: float
    holding: float
    protect: float
    cover: float
    deviate: float


@dataclass(frozen=True)
class Mix:
    """Chosen lengths with what they cost a year, in steps: ``trim`` is bought and not needed."""

    lengths: tuple[int, ...]
    cost: float
    trim: float
    special_jobs: float


def coil_for(need: NDArray[np.int64], lengths: tuple[int, ...]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Longest coils joined before the last, and index of the last, which holds the rest; one piece where it can."""
    stocked = np.asarray(lengths)
    whole = np.maximum(-(-need // stocked[-1]) - 1, 0)
    return whole, np.searchsorted(stocked, need - whole * stocked[-1])


def cost_of(
    lengths: tuple[int, ...], need: NDArray[np.int64], jobs: Floats, every: tuple[int, ...], terms: Terms
) -> Mix:
    """Yearly cost of a set of lengths: trim, special orders, holding.

    Parameters
    ----------
    lengths : tuple of int, ascending [steps]
    need : ndarray of int, (classes) [steps]
    jobs : ndarray, (classes) [1/year]
    every : tuple of int, ascending
        Lengths made: a job past the longest stocked takes the shortest of these that holds it, as a special
        order. [steps]
    """
    stocked = np.asarray(lengths)
    beyond = need > stocked[-1]
    made = beyond & (need <= every[-1])
    whole, last = coil_for(need, lengths)
    bought = whole * stocked[-1] + stocked[last]
    special = np.asarray(every)[np.minimum(np.searchsorted(every, need), len(every) - 1)]
    off = np.where(made, special, bought) - need
    lost = off - terms.worth * off * (off >= terms.keep)
    pieces = np.bincount(last, weights=np.where(made, 0.0, jobs), minlength=len(stocked))
    # average stock: half an order, and the safety stock of Poisson jobs
    held = np.maximum(pieces * terms.cover, 1.0) / 2 + terms.deviate * np.sqrt(pieces * terms.protect)
    cost = float(lost @ jobs + terms.special * jobs[made].sum() + terms.holding * (held @ stocked))
    return Mix(lengths, cost, float(off @ jobs), float(jobs[made].sum()))


def choose(available: tuple[int, ...], need: NDArray[np.int64], jobs: Floats, terms: Terms) -> tuple[Mix, Mix]:
    """The cheapest set of at most ``terms.most`` lengths, and the set of all for comparison; exact by trying all."""
    every = tuple(sorted(available))
    tried = [
        cost_of(some, need, jobs, every, terms)
        for n in range(1, min(terms.most, len(every)) + 1) for some in combinations(every, n)
    ]  # fmt: skip
    best = min(tried, key=lambda mix: (mix.cost, len(mix.lengths), mix.lengths))
    return best, cost_of(every, need, jobs, every, terms)
