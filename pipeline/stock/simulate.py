"""Stock played through day by day: jobs arrive, a weekly look orders, goods come after their lead time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import scalar
from pipeline.rng import _mix, word

Floats = NDArray[np.float64]
_S11 = np.uint64(11)
_ONE = np.uint64(1)


@scalar
def _next(state):
    """State moved on and a number in (0, 1)."""
    state = state + np.uint64(0x9E3779B97F4A7C15)
    return state, (np.float64(_mix(state) >> _S11) + 0.5) * 2.0**-53


@scalar
def _play_one(arrivals, sizes, days, review, reorder, upto, lot, leads, warm, pending_day, pending_amount, out):
    """One item: asked, given at once, piece-days on hand, cycles with a stock-out, cycles, orders."""
    stock = upto
    owed = 0.0
    on_order = 0.0
    first, last = 0, 0
    most = len(pending_day)
    short_in_cycle = False
    place = 0
    for day in range(days):
        for k in range(first, last):
            if pending_amount[k % most] > 0.0 and pending_day[k % most] <= day:
                amount = pending_amount[k % most]
                pending_amount[k % most] = 0.0
                on_order -= amount
                back = min(owed, amount)
                owed -= back
                stock += amount - back
                if day >= warm:
                    out[4] += 1.0
                    out[3] += 1.0 if short_in_cycle else 0.0
                short_in_cycle = False
        while first < last and pending_amount[first % most] == 0.0:
            first += 1
        while place < len(arrivals) and arrivals[place] < day + 1:
            want = sizes[place]
            place += 1
            given = min(stock, want)
            stock -= given
            owed += want - given
            if want > given:
                short_in_cycle = True
            if day >= warm:
                out[0] += want
                out[1] += given
        if day % review == 0:
            position = stock + on_order - owed
            if position <= reorder and last - first < most:
                amount = np.ceil((upto - position) / lot - 1e-9) * lot
                if amount > 0.0:
                    pending_day[last % most] = day + 1 + leads[day // review]
                    pending_amount[last % most] = amount
                    last += 1
                    on_order += amount
                    if day >= warm:
                        out[5] += 1.0
        if day >= warm:
            out[2] += stock
            out[6] += 1.0


@scalar
def _fill_sizes(state, cumulative, out):
    for k in range(len(out)):
        state, u = _next(state)
        low, high = 0, len(cumulative) - 1
        while low < high:
            middle = (low + high) // 2
            if cumulative[middle] < u:
                low = middle + 1
            else:
                high = middle
        out[k] = low
    return state


@dataclass(frozen=True)
class Played:
    """What a simulated item did.

    Attributes
    ----------
    fill, cycle : float
        Pieces given at once over pieces asked for; cycles without a stock-out over cycles. NaN where none.
    stock : float
        Mean pieces on hand.
    orders_year : float
    """

    fill: float
    cycle: float
    stock: float
    orders_year: float


def play(
    arrivals_day: Floats, sizes: Floats, days: int, review: int, reorder: float, upto: float, lot: float,
    lead_days: Floats, warm: int = 0,
) -> Played:
    """Play given jobs against a rule (look every ``review`` days; at or below ``reorder`` order up to ``upto``).

    Parameters
    ----------
    arrivals_day : ndarray, (jobs) ascending [d]
    sizes : ndarray, (jobs) [pieces]
    days, review, warm : int
        Length, time between two looks, and days at the start that are not counted. [d]
    reorder, upto, lot : float [pieces]
    lead_days : ndarray, (looks)
        Lead time of an order placed at each look. [d]
    """
    out = np.zeros(7)
    most = days // max(int(review), 1) + 2
    _play_one(
        np.ascontiguousarray(arrivals_day, dtype=np.float64), np.ascontiguousarray(sizes, dtype=np.float64),
        int(days), max(int(review), 1), float(reorder), float(upto), max(float(lot), 1e-9),
        np.ascontiguousarray(lead_days, dtype=np.float64), int(warm), np.zeros(most), np.zeros(most), out,
    )  # fmt: skip
    asked, given, held, short, cycles, orders, counted = out
    return Played(
        given / asked if asked > 0 else float("nan"), 1.0 - short / cycles if cycles > 0 else float("nan"),
        held / counted if counted > 0 else float("nan"), orders / counted * 365.25 if counted > 0 else float("nan"),
    )


def jobs(
    name: str, seed: int, jobs_per_day: float, sizes: Floats, days: int
) -> tuple[Floats, Floats]:
    """Jobs of a compound Poisson stream, the same for the same name and seed.

    Parameters
    ----------
    sizes : ndarray, (largest size + 1)
        Chance of each number of pieces.

    Returns
    -------
    arrivals_day, sizes : ndarray, (jobs)
    """
    source = np.random.Generator(np.random.SFC64(int(word(seed, f"stock/{name}", 0))))
    count = int(source.poisson(jobs_per_day * days))
    arrivals = np.sort(source.random(count)) * days
    drawn = np.empty(count)
    _fill_sizes(np.uint64(source.integers(1, 2**63)), np.cumsum(np.asarray(sizes, float)), drawn)
    return arrivals, drawn


def lead_times(name: str, seed: int, mean: float, sd: float, looks: int) -> Floats:
    """Lead time of an order placed at each look: gamma with this mean and deviation, constant where sd is 0. [d]"""
    if not (sd > 0 and mean > 0):
        return np.full(looks, max(mean, 0.0))
    source = np.random.Generator(np.random.SFC64(int(word(seed, f"lead/{name}", 0))))
    return source.gamma((mean / sd) ** 2, sd * sd / mean, looks)
