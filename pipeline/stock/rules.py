"""Textbook rules of stock: classes of demand, safety stock, reorder point, order quantity; arrays in and out."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def demand_class(interval: ArrayLike, variation: ArrayLike, interval_most: float, variation_most: float) -> NDArray:
    """Class of a demand by the interval between periods with demand and the variation of their sizes.

    Parameters
    ----------
    interval : array_like
        Mean number of periods from one with demand to the next. [1]
    variation : array_like, broadcast against ``interval``
        Squared coefficient of variation of the demand of periods that have any. [1]
    interval_most, variation_most : float
        Limits below which a demand is frequent and steady; 1.32 and 0.49 in the source.

    Returns
    -------
    ndarray of str
        smooth, intermittent, erratic or lumpy; "" where an input is missing.

    References
    ----------
    .. [1] ``syntetos_boylan_croston_2005`` in schemas/references.csv.
    """
    adi, cv2 = np.broadcast_arrays(np.asarray(interval, float), np.asarray(variation, float))
    known = np.isfinite(adi) & np.isfinite(cv2)
    often, steady = adi < interval_most, cv2 < variation_most
    out = np.select(
        [~known, often & steady, ~often & steady, often & ~steady], ["", "smooth", "intermittent", "erratic"], "lumpy"
    )
    return np.asarray(out, dtype=object)


def period_moments(rate: ArrayLike, size_mean: ArrayLike, size_square: ArrayLike) -> tuple[Floats, Floats]:
    """Interval and variation, as :func:`demand_class` asks for them, of a compound Poisson demand.

    Parameters
    ----------
    rate : array_like
        Jobs a period. [1]
    size_mean, size_square : array_like
        First and second moment of the pieces of a job. [1, 1]

    Returns
    -------
    interval, variation : ndarray
        ``1 / (1 - exp(-rate))``, and var/mean^2 of the demand of a period given that it has any.
    """
    rate, m1 = np.asarray(rate, float), np.asarray(size_mean, float)
    with np.errstate(all="ignore"):
        busy = -np.expm1(-rate)
        mean = rate * m1 / busy
        second = (rate * np.asarray(size_square, float) + np.square(rate * m1)) / busy
        return 1.0 / busy, np.maximum(second / np.square(mean) - 1.0, 0.0)


def smoothed_rate(demand: ArrayLike, alpha: float, corrected: bool = True) -> float:
    """Demand a period of an intermittent series: size and interval smoothed apart, the bias of their ratio removed.

    Parameters
    ----------
    demand : array_like, (periods)
        Demand of each period, oldest first.
    alpha : float
        Smoothing of size and interval, between 0 and 1. [1]
    corrected : bool
        Times ``1 - alpha / 2``.

    Returns
    -------
    float
        NaN where no period has demand.

    References
    ----------
    .. [1] ``syntetos_boylan_2005`` in schemas/references.csv.
    """
    values = np.asarray(demand, float)
    at = np.flatnonzero(values > 0)
    if not len(at):
        return float("nan")
    sizes, gaps = values[at], np.diff(at, prepend=-1)
    size, gap = float(sizes[0]), float(gaps[0])
    for k in range(1, len(at)):
        size += alpha * (float(sizes[k]) - size)
        gap += alpha * (float(gaps[k]) - gap)
    return size / gap * ((1.0 - alpha / 2.0) if corrected else 1.0)


def safety_stock(
    service: float, demand_sd: ArrayLike, lead: ArrayLike, demand: ArrayLike, lead_sd: ArrayLike
) -> Floats:
    """Safety stock of a smooth item: ``z * sqrt(lead * demand_sd^2 + demand^2 * lead_sd^2)``.

    Parameters
    ----------
    service : float
        Chance that a cycle ends without a stock-out. [1]
    demand, demand_sd : array_like
        Mean and standard deviation of the demand of a period. [pieces]
    lead, lead_sd : array_like
        Mean and standard deviation of the lead time. [periods]

    References
    ----------
    .. [1] ``stock_theory`` in schemas/references.csv.
    """
    from scipy.special import ndtri

    variance = np.asarray(lead, float) * np.square(demand_sd) + np.square(np.asarray(demand, float) * lead_sd)
    return np.asarray(ndtri(service) * np.sqrt(variance))


def order_quantity(
    yearly: ArrayLike, price: ArrayLike, cost_order: float, rate_holding: float, cover_years: float
) -> Floats:
    """Pieces an order: the square-root formula where a price is known, else a declared time of demand.

    Between the demand of ``cover_years`` and of one year, so that neither a cheap nor a dear item goes astray.

    Parameters
    ----------
    yearly : array_like [pieces/year]
    price : array_like [currency/piece], NaN where not known
    cost_order : float
        What an order line costs to place and receive. [currency]
    rate_holding : float
        Yearly cost of holding over the value held. [1/year]
    cover_years : float [year]
    """
    rate = np.asarray(yearly, float)
    with np.errstate(all="ignore"):
        root = np.sqrt(2.0 * rate * cost_order / (rate_holding * np.asarray(price, float)))
    least = rate * cover_years
    return np.where(np.isfinite(root), np.clip(root, least, np.maximum(rate, least)), least)


def in_lots(pieces: ArrayLike, lot: ArrayLike, least: ArrayLike = 0.0) -> Floats:
    """Pieces rounded up to whole lots and to the least order; 0 stays 0."""
    wanted, size = np.asarray(pieces, float), np.maximum(np.asarray(lot, float), 1e-9)
    up = np.ceil(np.maximum(wanted, least) / size - 1e-9) * size
    return np.where(wanted > 0, up, 0.0)


def rate_from_counts(counts: ArrayLike, keep: float) -> tuple[float, float]:
    """Yearly rate of jobs and its squared coefficient of variation, from yearly counts with the older ones fading.

    The rate of a Poisson stream is gamma distributed once counts are known (half a job as prior, source
    ``jeffreys_poisson``); a year counts ``keep`` times the one after it.

    Parameters
    ----------
    counts : array_like, (years)
        Jobs of each year, oldest first.
    keep : float
        Between 0 and 1. [1]
    """
    seen = np.asarray(counts, float)
    weight = keep ** np.arange(len(seen))[::-1]
    shape = float(weight @ seen) + 0.5
    return shape / float(weight.sum()), 1.0 / shape


def shared_levels(chances: list[Floats], rates: ArrayLike, costs: ArrayLike, fill: float) -> NDArray[np.int64]:
    """Order-up-to levels that give an aggregate fill rate with least cost of stock, one more piece where it earns most.

    A piece more at level S serves ``rate * P(D = S)`` jobs more a year and costs ``cost * P(D <= S)`` of stock
    (source ``sherbrooke_2004``); levels rise while the ratio is above one price, which is searched so that the jobs
    served at once make up ``fill`` of all.

    Parameters
    ----------
    chances : list of ndarray
        Distribution of the demand within the protected time of each line.
    rates, costs : array_like, (lines)
        Yearly demand and cost of a piece.
    fill : float
        Share of the demand of all lines that is to be given at once. [1]

    Returns
    -------
    ndarray of int, (lines)
    """
    rate, cost = np.asarray(rates, float), np.asarray(costs, float)
    tables = []
    for part, r, c in zip(chances, rate, cost, strict=True):
        below = np.cumsum(part)
        gain = r * part / (c * np.maximum(below, 1e-12))
        # what comes before the peak is taken with it: the best ratio still to come
        tables.append((np.maximum.accumulate(gain[::-1])[::-1], np.concatenate([[0.0], below])))

    def levels(price: float) -> NDArray[np.int64]:
        return np.array([int(np.searchsorted(-gain, -price)) for gain, _ in tables], np.int64)

    def reached(at: NDArray[np.int64]) -> float:
        served = [below[min(s, len(below) - 1)] for s, (_, below) in zip(at, tables, strict=True)]
        return float(rate @ np.array(served) / rate.sum())

    low, high = -60.0, 20.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if reached(levels(float(np.exp(middle)))) >= fill else (low, middle)
    return levels(float(np.exp(low)))
