"""How to cut long reels and coils so that least pipe is bought: column generation with its bound.

One-dimensional cutting stock with several stock lengths and no splice (source ``gilmore_gomory_1961``). The linear
program over all patterns is solved to the end, pricing by an exact knapsack on the grid of the cut, so that its
value bounds every plan from below; a whole-number program over the patterns found gives the plan.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import scalar

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_ROUNDS = 400
_LEAST = 1e-7
_PATTERNS_A_ROUND = 8
_GOOD = 0.008  # a plan so near to its bound is taken
_CLOSE = 5e-4  # the linear program is solved once its value is so near to its bound


@scalar
def _knapsack(need, worth, best, taken):
    """Best worth of pieces that fill exactly each length up to the capacity, and the last piece taken."""
    best[0] = 0.0
    taken[0] = -1
    for used in range(1, len(best)):
        best[used] = -1e300
        taken[used] = -1
        for k in range(len(need)):
            rest = used - need[k]
            if rest >= 0 and best[rest] + worth[k] > best[used]:
                best[used] = best[rest] + worth[k]
                taken[used] = k


@scalar
def _fit(order, stock, keep, offcuts, made):
    """Pieces in the order given, each from the shortest open remainder that holds it, else from a new length.

    Returns the number of lengths opened; ``offcuts`` holds what is left of each.
    """
    opened = 0
    for i in range(len(order)):
        want = order[i]
        place = -1
        for k in range(opened):
            if offcuts[k] >= want and (place < 0 or offcuts[k] < offcuts[place]):
                place = k
        if place < 0:
            place = opened
            offcuts[place] = stock
            opened += 1
        offcuts[place] -= want
        made[i] = place
    return opened


@scalar
def _first_fit(order, stock, offcuts):
    """As :func:`_fit`, from the first open remainder that holds a piece."""
    opened = 0
    for i in range(len(order)):
        place = -1
        for k in range(opened):
            if offcuts[k] >= order[i]:
                place = k
                break
        if place < 0:
            place = opened
            offcuts[place] = stock
            opened += 1
        offcuts[place] -= order[i]
    return opened


@dataclass(frozen=True)
class Plan:
    """A cutting plan; lengths in steps of the cut.

    Attributes
    ----------
    patterns : ndarray of int, (patterns, needs)
        Pieces of each need cut from one stock length.
    stock : ndarray of int, (patterns)
        Stock length of each pattern.
    times : ndarray of int, (patterns)
    bought, kept, cost, bound : float
        Length bought, offcuts kept, length bought less what kept offcuts are worth, and the least cost possible.
    """

    patterns: Ints
    stock: Ints
    times: Ints
    bought: float
    kept: float
    cost: float
    bound: float

    @property
    def gap(self) -> float:
        """How far the plan may be from the best, as a share of the bound. [1]"""
        return max(self.cost / self.bound - 1.0, 0.0) if self.bound > 0 else 0.0


def value(stock: Ints | int, left: Ints, keep: int, worth: float) -> Floats:
    """Length bought less what a kept offcut is worth. [steps]"""
    return np.asarray(stock - worth * left * (left >= keep), float)


def first_fit_decreasing(need: Ints, count: Ints, stock: int, keep: int, worth: float) -> tuple[float, float]:
    """Length bought and cost where pieces, longest first, go into the first open length that holds them."""
    order = np.repeat(need, count)[np.argsort(-np.repeat(need, count), kind="stable")]
    offcuts = np.zeros(len(order), np.int64)
    opened = _first_fit(order, stock, offcuts)
    return float(opened * stock), float(value(stock, offcuts[:opened], keep, worth).sum())


def as_they_come(need: Ints, count: Ints, stock: int, keep: int, worth: float, seed: int) -> tuple[float, float]:
    """Length bought and cost where jobs come in chance order, each cut from the shortest remainder that holds it."""
    order = np.random.default_rng(seed).permutation(np.repeat(need, count))
    offcuts, made = np.zeros(len(order), np.int64), np.zeros(len(order), np.int64)
    opened = _fit(order, stock, keep, offcuts, made)
    return float(opened * stock), float(value(stock, offcuts[:opened], keep, worth).sum())


def one_coil_each(need: Ints, count: Ints, stocks: Ints, keep: int, worth: float) -> tuple[float, float]:
    """Length bought and cost of one whole coil a job, the shortest that holds it."""
    lengths = np.sort(stocks)[np.searchsorted(np.sort(stocks), need)]
    return float(lengths @ count), float(value(lengths, lengths - need, keep, worth) @ count)


def _unwound(taken: Ints, need: Ints, used: int) -> Ints:
    out = np.zeros(len(need), np.int64)
    while used > 0:
        k = taken[used]
        out[k] += 1
        used -= int(need[k])
    return out


def plan(need: Ints, count: Ints, stocks: Ints, keep: int = 0, worth: float = 0.0, nodes: int = 60) -> Plan:
    """Cut ``count`` pieces of each ``need`` from stock lengths at least cost.

    Parameters
    ----------
    need : ndarray of int, (needs)
        Distinct lengths wanted, none longer than the longest stock length. [steps]
    count : ndarray of int, (needs)
    stocks : ndarray of int, (lengths) [steps]
    keep, worth : int, float
        An offcut of at least ``keep`` is kept and worth that share of its length, below 1.
    nodes : int
        Most nodes of the search for whole numbers; a count and not a time, so that the same input gives the same plan.
    """
    from scipy.optimize import Bounds, LinearConstraint, linprog, milp
    from scipy.sparse import csc_matrix

    stocks = np.unique(stocks)
    columns, lengths = _start(need, count, stocks)
    costs = [float(value(s, np.array(s - c @ need), keep, worth)) for c, s in zip(columns, lengths, strict=True)]
    best, taken = np.empty(int(stocks[-1]) + 1), np.empty(int(stocks[-1]) + 1, np.int64)
    bound = float(need @ count)  # no pattern costs less than the pipe that it gives
    for _ in range(_ROUNDS):
        found = linprog(costs, A_ub=-csc_matrix(np.array(columns).T), b_ub=-count.astype(float), method="highs")
        duals = np.maximum(-found.ineqlin.marginals, 0.0)
        _knapsack(need, duals, best, taken)
        added, worst = 0, 0.0
        for stock in stocks:
            cost = value(int(stock), stock - np.arange(stock + 1), keep, worth)
            gain = best[: stock + 1] - cost
            at = int(np.argmax(gain))
            worst = max(worst, gain[at] / cost[at])
            for used in np.argsort(-gain, kind="stable")[:_PATTERNS_A_ROUND]:
                if gain[used] > _LEAST * stock:
                    columns.append(_unwound(taken, need, int(used)))
                    lengths.append(int(stock))
                    costs.append(float(cost[used]))
                    added += 1
        # duals scaled until no pattern is worth more than it costs still bound every plan
        bound = max(bound, float(duals @ count) / (1.0 + worst))
        if not added or found.fun <= bound * (1.0 + _CLOSE):
            break
    matrix, stock_of = np.array(columns).T, np.array(lengths)
    told = (need, count, stocks, keep, worth, bound)
    tried = [
        _settled(matrix, stock_of, np.floor(found.x + 1e-6).astype(np.int64), *told),
        _settled(matrix, stock_of, np.zeros(len(costs), np.int64), *told),
    ]
    if min(p.gap for p in tried) > _GOOD:
        used = np.flatnonzero(found.x > _LEAST)
        whole = milp(
            np.array(costs)[used],
            constraints=LinearConstraint(csc_matrix(matrix[:, used]), count.astype(float), np.inf),
            integrality=np.ones(len(used)), bounds=Bounds(0, np.inf),
            options={"node_limit": nodes, "mip_rel_gap": _GOOD / 2, "presolve": True},
        )  # fmt: skip
        if whole.x is not None:
            tried.append(_settled(matrix[:, used], stock_of[used], np.rint(whole.x).astype(np.int64), *told))
    return min(tried, key=lambda p: (p.cost, p.bought))


def _start(need: Ints, count: Ints, stocks: Ints) -> tuple[list[Ints], list[int]]:
    """Patterns that can do the job: one need, as often as it fits, from each stock length that holds it."""
    columns, lengths = [], []
    for k, length in enumerate(need):
        for stock in stocks[stocks >= length]:
            one = np.zeros(len(need), np.int64)
            one[k] = min(stock // length, max(int(count[k]), 1))
            columns.append(one)
            lengths.append(int(stock))
    return columns, lengths


def _settled(
    matrix: Ints, lengths: Ints, times: Ints, need: Ints, count: Ints, stocks: Ints, keep: int, worth: float,
    bound: float,
) -> Plan:  # fmt: skip
    """A whole plan: pieces cut beyond what is asked are dropped, what is missing goes in longest first, each length
    is then the shortest that holds its pieces."""
    single = np.repeat(np.arange(len(times)), times)
    cuts = matrix[:, single].T.copy()
    for k in np.flatnonzero(cuts.sum(axis=0) > count):
        over, at = int(cuts[:, k].sum() - count[k]), len(cuts) - 1
        while over > 0:
            less = min(over, int(cuts[at, k]))
            cuts[at, k] -= less
            over -= less
            at -= 1
    missing = count - cuts.sum(axis=0)
    left = list(lengths[single] - cuts @ need)
    rows = list(cuts)
    for k in np.argsort(-need, kind="stable"):
        for _ in range(int(missing[k])):
            fits = [(space, n) for n, space in enumerate(left) if space >= need[k]]
            if fits:
                place = min(fits)[1]
            else:
                place = len(rows)
                rows.append(np.zeros(len(need), np.int64))
                left.append(int(stocks[-1]))
            rows[place][k] += 1
            left[place] -= int(need[k])
    cuts = np.array([row for row in rows if row.any()]).reshape(-1, len(need))
    used = cuts @ need
    every = np.array([value(int(s), s - used, keep, worth) + 1e18 * (used > s) for s in stocks])
    stock = stocks[every.argmin(axis=0)]
    rows_, times_ = np.unique(np.column_stack([stock, cuts]), axis=0, return_counts=True)
    stock, cuts = rows_[:, 0], rows_[:, 1:]
    off = stock - cuts @ need
    return Plan(
        cuts, stock, times_, float(stock @ times_), float((off * (off >= keep) * times_).sum()),
        float(value(stock, off, keep, worth) @ times_), bound,
    )  # fmt: skip
