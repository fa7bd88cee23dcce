"""Forecasts of yearly counts: methods, their rolling back-test, the choice among them, and paths of draws.

Everything works on all series at once. Nothing looks ahead: what is chosen, and how wide the bands are, at an origin
rests on the years before that origin alone, so the back-test is that of the whole procedure.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.demand.intermittent import chance_and_size, per_period

Floats = NDArray[np.float64]

ORIGINS, SHORTEST, COMBINED = 16, 5, 3
CHOSEN_ORIGINS = 16
LEAST_ORIGINS = 6  # a series of fewer origins keeps the usual pair
USUAL = ("last_year", "size_interval_3")
SMALLEST_SCALE = 0.5


def _level(past: Floats, alpha: float) -> Floats:
    level = past[:, 0].copy()
    for year in range(1, past.shape[1]):
        level += alpha * (past[:, year] - level)
    return level


def smoothed(past: Floats, ahead: int, alpha: float) -> Floats:
    """Simple exponential smoothing; flat. The first value is the level begun with (series, ahead)."""
    return np.repeat(_level(past, alpha)[:, None], ahead, axis=1)


def trend_damped(past: Floats, ahead: int, alpha: float = 0.5, beta: float = 0.2, phi: float = 0.8) -> Floats:
    """Level and slope smoothed, the slope fading by ``phi`` a year (series, ahead).

    The damped trend of Gardner and McKenzie (1985), from memory.
    """
    level, slope = past[:, 0].copy(), np.zeros(len(past))
    for year in range(1, past.shape[1]):
        before = level
        level = alpha * past[:, year] + (1.0 - alpha) * (level + phi * slope)
        slope = beta * (level - before) + (1.0 - beta) * phi * slope
    return level[:, None] + slope[:, None] * np.cumsum(phi ** np.arange(1, ahead + 1))[None, :]


def half_trend(past: Floats, ahead: int, alpha: float = 0.5) -> Floats:
    """Smoothed level with half the slope of the straight line through all years (series, ahead).

    Simple smoothing with drift, the form that the theta method takes (Hyndman and Billah, 2003), from memory.
    """
    years = past.shape[1]
    place = np.arange(years) - (years - 1) / 2.0
    slope = past @ place / max(place @ place, 1.0)
    first = (1.0 - (1.0 - alpha) ** years) / alpha
    return _level(past, alpha)[:, None] + slope[:, None] / 2.0 * (np.arange(ahead) + first)[None, :]


def toward_mean(past: Floats, ahead: int, kept: float = 0.7, years: int = 10) -> Floats:
    """Last year's distance from the mean of ten years, fading by ``kept`` a year (series, ahead)."""
    mean = past[:, -years:].mean(axis=1)
    return mean[:, None] + (past[:, -1] - mean)[:, None] * (kept ** np.arange(1, ahead + 1))[None, :]


def _flat(value: Callable[[Floats], Floats]) -> Callable[[Floats, int], Floats]:
    return lambda past, ahead: np.repeat(value(past)[:, None], ahead, axis=1)


METHODS: dict[str, Callable[[Floats, int], Floats]] = {
    "last_year": _flat(lambda past: past[:, -1]),
    "mean_3": _flat(lambda past: past[:, -3:].mean(axis=1)),
    "mean_5": _flat(lambda past: past[:, -5:].mean(axis=1)),
    "smoothed_3": lambda past, ahead: smoothed(past, ahead, 0.3),
    "smoothed_6": lambda past, ahead: smoothed(past, ahead, 0.6),
    "trend_damped": trend_damped,
    "half_trend": half_trend,
    "toward_mean": toward_mean,
    "size_interval_1": _flat(lambda past: per_period(past, 0.1)),
    "size_interval_3": _flat(lambda past: per_period(past, 0.3)),
    "chance_size": _flat(lambda past: chance_and_size(past, 0.3, 0.3)),
}
LEAST_ERRORS = 20  # fewer errors than that do not make a band


@dataclass
class Told:
    """What :func:`procedure` says of every series.

    Attributes
    ----------
    point : ndarray (series, ahead)
        Expected count of each year ahead.
    spread : ndarray (series)
        Mean change from year to year, the unit in which errors are counted.
    errors : list over years ahead of ndarray
        Errors of the procedure in its back-test in units of the spread, all series together, sorted, widened so that
        their 80 % would have covered 80 %.
    score : ndarray (series)
        Mean absolute scaled error of the procedure in the back-test; NaN where there was none.
    coverage : float
        Share of what came that lay in the 80 % band known at its origin.
    made, came, scale : ndarray
        Forecast and what came (origins, series, ahead), NaN where not; spread (origins, series).
    """

    point: Floats
    spread: Floats
    errors: list[Floats]
    score: Floats
    coverage: float
    made: Floats
    came: Floats
    scale: Floats


@dataclass
class _Tested:
    """Forecasts of every method at every origin, newest first: place k stands k years before the end.

    ``made`` (methods, origins, series, ahead), ``came`` and ``scale`` likewise without methods; NaN where the series
    was too short or the year has not come.
    """

    made: Floats
    came: Floats
    scale: Floats


def _tested(series: Floats, lengths: NDArray[np.int64], ahead: int) -> _Tested:
    count, years = series.shape
    origins = int(min(ORIGINS, max(years - SHORTEST, 0))) + 1
    made = np.full((len(METHODS), origins, count, ahead), np.nan)
    came, scale = np.full((origins, count, ahead), np.nan), np.full((origins, count), np.nan)
    for length in np.unique(lengths):
        here = np.flatnonzero(lengths == length)
        held = series[here, years - length :]
        for back in range(min(origins - 1, max(int(length) - SHORTEST, 0)) + 1):
            past = held[:, : length - back]
            moves = np.abs(np.diff(past, axis=1)).mean(axis=1) if past.shape[1] > 1 else np.zeros(len(past))
            scale[back, here] = np.maximum(moves, SMALLEST_SCALE)
            for place, method in enumerate(METHODS.values()):
                made[place, back, here] = np.maximum(method(past, ahead), 0.0)
            seen = min(back, ahead)
            came[back, here, :seen] = held[:, length - back : length - back + seen]
    return _Tested(made, came, scale)


def _mean(values: Floats, axis: int | tuple[int, ...]) -> Floats:
    held = ~np.isnan(values)
    count = held.sum(axis=axis)
    return np.where(count > 0, np.where(held, values, 0.0).sum(axis=axis) / np.maximum(count, 1), np.nan)


def _known(count: int, ahead: int, now: int) -> NDArray[np.bool_]:
    """Which (origin, year ahead) had come by the origin ``now`` (places back from the end)."""
    back = np.arange(count)[:, None]
    return (back - np.arange(1, ahead + 1)[None, :] >= now) & (back > now)


@dataclass
class Choice:
    """How the choice is made.

    Attributes
    ----------
    pooled : float
        Weight of the pooled score, in origins.
    combined : int
        How many methods are averaged where the usual pair is left.
    margin : float
        By what share others must have done better for that.
    """

    pooled: float = 8.0
    combined: int = COMBINED
    margin: float = 0.15


def _pool(score: Floats, weight: Floats, group: NDArray[np.int64]) -> Floats:
    """Weighted mean score (methods, series) over the series of each group, handed back to every series."""
    held = ~np.isnan(score)
    groups = int(group.max()) + 1
    out = np.empty_like(score)
    for method in range(len(score)):
        w = np.where(held[method], weight, 0.0)
        top = np.bincount(group, w * np.where(held[method], score[method], 0.0), groups)
        low = np.bincount(group, w, groups)
        every = top.sum() / low.sum() if low.sum() > 0 else np.nan
        # a group of few series leans on all groups
        out[method] = ((top + (0 if np.isnan(every) else every) * 2.0) / (low + 2.0))[group]
    return out


def _weights(tested: _Tested, group: NDArray[np.int64], now: int, choice: Choice) -> Floats:
    """Weight of each method (methods, series) at one origin, from the errors known there.

    The mean of last year's value and the smoothed one stands unless others did clearly better: with a score of years
    the best of many methods is mostly luck.
    """
    _, origins, count, ahead = tested.made.shape
    usual = [list(METHODS).index(name) for name in USUAL]
    start = np.zeros((len(METHODS), count))
    start[usual] = 1.0 / len(usual)
    use = _known(origins, ahead, now)
    rows = np.flatnonzero(use.any(axis=1))[:CHOSEN_ORIGINS]
    if not len(rows):
        return start
    made = np.concatenate([tested.made[:, rows], tested.made[usual][:, rows].mean(axis=0)[None]])
    error = np.abs(tested.came[rows] - made) / tested.scale[rows][..., None]
    error = np.where(use[rows][None, :, None, :], error, np.nan)
    own = _mean(error, (1, 3))
    seen = (~np.isnan(error[0])).any(axis=2).sum(axis=0).astype(float)
    pooled = _pool(own, np.minimum(seen, 1.0), group)
    mixed = (np.where(np.isnan(own), 0.0, own) * seen + choice.pooled * pooled) / (seen + choice.pooled)
    order = np.argsort(mixed[:-1], axis=0, kind="stable")
    best = np.take_along_axis(mixed[:-1], order[:1], axis=0)[0]
    out = np.zeros((len(METHODS), count))
    np.put_along_axis(out, order[: choice.combined], 1.0 / choice.combined, axis=0)
    better = (best < (1.0 - choice.margin) * mixed[-1]) & (seen >= LEAST_ORIGINS)
    return np.where(better[None, :], out, start)


def procedure(series: Floats, lengths: NDArray[np.int64], group: NDArray[np.int64], ahead: int) -> Told:
    """Forecast every series: the usual pair, or the three methods that did clearly better, by series and group.

    Parameters
    ----------
    series : ndarray (series, years)
        Counts, the newest year last; years before the first of a series are not looked at.
    lengths : ndarray of int (series)
        Years of each series.
    group : ndarray of int (series)
        Series that are judged together.
    ahead : int
        Years to forecast.

    Returns
    -------
    Told
        The back-test runs the whole procedure anew at every origin, from the years before it alone.
    """
    choice = Choice()
    tested = _tested(series, lengths, ahead)
    origins = tested.made.shape[1]
    made = np.full(tested.came.shape, np.nan)
    for now in range(origins):
        weight = _weights(tested, group, now, choice)
        made[now] = np.einsum("ms,msa->sa", weight, np.nan_to_num(tested.made[:, now]))
        made[now][np.isnan(tested.made[0, now])] = np.nan
    error = (tested.came - made) / tested.scale[..., None]
    errors = [np.sort(error[:, :, h][~np.isnan(error[:, :, h])]) for h in range(ahead)]
    coverage, wider = _covered(error, origins, ahead)
    errors = [np.median(e) + wider * (e - np.median(e)) if len(e) else e for e in errors]
    return Told(
        made[0], tested.scale[0], errors, _mean(np.abs(error), (0, 2)), coverage, made, tested.came, tested.scale
    )


WIDER = np.round(np.arange(1.0, 3.01, 0.1), 1)  # factors by which the band may be widened


def _covered(error: Floats, origins: int, ahead: int) -> tuple[float, float]:
    """Coverage of the 80 % band known at each origin, and the factor by which it is widened at the end.

    Errors of one origin are alike (a bust is one for all), so the quantiles of those before are too narrow. At every
    origin the band is widened by the least factor that would have covered 80 % at the origins before it.
    """
    found = np.zeros((origins, len(WIDER)))
    count = np.zeros(origins)
    for now in range(origins):
        known = _known(origins, ahead, now)
        for h in range(ahead):
            past, here = error[known[:, h], :, h], error[now, :, h]
            past, here = past[~np.isnan(past)], here[~np.isnan(here)]
            if len(past) >= LEAST_ERRORS and len(here):
                low, middle, high = np.quantile(past, [0.1, 0.5, 0.9])
                ends = (middle + WIDER * (low - middle), middle + WIDER * (high - middle))
                found[now] += ((here[:, None] >= ends[0]) & (here[:, None] <= ends[1])).sum(axis=0)
                count[now] += len(here)

    def factor(now: int) -> int:
        """Place of the least factor that covered 80 % at the origins that had fully come by ``now``."""
        before, all_before = found[now + ahead :].sum(axis=0), count[now + ahead :].sum()
        if not all_before:
            return 0
        good = np.flatnonzero(before >= 0.8 * all_before)
        return int(good[0]) if len(good) else len(WIDER) - 1

    inside = sum(found[now, factor(now)] for now in range(origins))
    whole = count.sum()
    last = found.sum(axis=0)
    good = np.flatnonzero(last >= 0.8 * whole)
    end = float(WIDER[good[0]] if len(good) else WIDER[-1]) if whole else 1.0
    return (float(inside / whole) if whole else float("nan")), end


def paths(told: Told, shared: Floats, own: Floats, kept: float = 0.5) -> Floats:
    """Counts of every year ahead in every draw.

    Parameters
    ----------
    shared, own : ndarray (draws, series)
        Standard normal deviates: one for all series of an area, one for each.
    kept : float
        Share of the variance that the area's deviate carries.

    Returns
    -------
    ndarray (draws, series, ahead), not below nought
        Errors are drawn from those of the back-test, one rank for all years of a draw: a good year to build does not
        end on the last of December. The mean of the draws is the forecast.
    """
    from scipy.special import ndtr

    rank = ndtr(np.sqrt(kept) * shared + np.sqrt(1.0 - kept) * own)
    out = np.empty((*rank.shape, told.point.shape[1]))
    for h, errors in enumerate(told.errors):
        if len(errors) >= LEAST_ERRORS:
            drawn = np.quantile(errors, rank)
        else:
            drawn = np.sqrt(kept) * shared + np.sqrt(1.0 - kept) * own
        point = np.nan_to_num(told.point[:, h])
        here = np.maximum(point + told.spread * drawn, 0.0)
        # cut off at nought, draws would lie above the forecast on the mean
        mean = here.mean(axis=0)
        out[:, :, h] = here * np.divide(point, mean, out=np.ones_like(mean), where=mean > 0)
    return out
