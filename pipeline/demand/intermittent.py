"""Forecasts of series with many empty periods: size and interval smoothed apart, or size and chance of any."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def size_and_interval(series: ArrayLike, alpha: float) -> tuple[Floats, Floats]:
    """Smoothed size of a period that has any, and smoothed interval between such periods.

    Parameters
    ----------
    series : array_like (series, periods)
        Counts a period, at least 0, oldest first.
    alpha : float
        Weight of the newest value, above 0 and at most 1.

    Returns
    -------
    size, interval : ndarray (series)
        In counts and periods; NaN where a series holds nothing but zeros. The first size and the place of the
        first period that has any are the values begun with.

    Notes
    -----
    Croston's method, Operational Research Quarterly 23 (1972) 289-303 (from memory).
    """
    values = np.atleast_2d(np.asarray(series, float))
    size, interval = np.full(len(values), np.nan), np.full(len(values), np.nan)
    since = np.ones(len(values))
    for period in range(values.shape[1]):
        now = values[:, period]
        some, begun = now > 0, ~np.isnan(size)
        size = np.where(some, np.where(begun, size + alpha * (now - size), now), size)
        interval = np.where(some, np.where(begun, interval + alpha * (since - interval), since), interval)
        since = np.where(some, 1.0, since + 1.0)
    return size, interval


def per_period(series: ArrayLike, alpha: float, corrected: bool = True) -> Floats:
    """Expected count of the next period from size over interval; 0 for a series of zeros.

    Parameters
    ----------
    series, alpha
        As :func:`size_and_interval`.
    corrected : bool
        Take off the bias of the quotient: the factor 1 - alpha / 2 (``syntetos_boylan_2005``).

    Returns
    -------
    ndarray (series)
    """
    size, interval = size_and_interval(series, alpha)
    rate = size / interval * ((1.0 - alpha / 2.0) if corrected else 1.0)
    return np.where(np.isnan(rate), 0.0, rate)


def chance_and_size(series: ArrayLike, alpha: float, beta: float) -> Floats:
    """Expected count of the next period from the chance of any and its size; falls while nothing comes.

    Parameters
    ----------
    series, alpha
        As :func:`size_and_interval`; alpha weighs sizes.
    beta : float
        Weight of the newest period in the chance, which is updated every period.

    Returns
    -------
    ndarray (series)
        0 for a series of zeros.

    Notes
    -----
    Teunter, Syntetos and Babai, European J. Operational Research 214 (2011) 606-615 (from memory). The chance is
    begun with the share of all periods that have any.
    """
    values = np.atleast_2d(np.asarray(series, float))
    chance = (values > 0).mean(axis=1) if values.shape[1] else np.zeros(len(values))
    for period in range(values.shape[1]):
        chance = chance + beta * ((values[:, period] > 0) - chance)
    size, _ = size_and_interval(values, alpha)
    return np.where(np.isnan(size), 0.0, chance * size)
