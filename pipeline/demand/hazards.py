"""Hazards of what hangs in a well: pump and pipe compete to bring the string up; renewals start their clocks anew.

Lives follow Weibull's distribution, given by median and shape. A string is followed year by year, backwards from the
years asked for, over the age of its pump, the age of its pipe and the material of its pipe.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.compiled import scalar

Floats = NDArray[np.float64]
AGES_PUMP, AGES_PIPE = 31, 61  # ages followed, years; past the last the hazard stays that of the last
HALF = 0.5  # things happen in the middle of a year


def scale_years(median_years: ArrayLike, shape: ArrayLike) -> Floats:
    """Weibull scale from median and shape.

    Parameters
    ----------
    median_years : array_like [year]
    shape : array_like [1]

    Returns
    -------
    ndarray, broadcast shape
        Scale. [year]

    Notes
    -----
    F(scale (ln 2)^(1/shape)) = 1/2.
    """
    return np.asarray(median_years, float) / np.log(2.0) ** (1.0 / np.asarray(shape, float))


def survival(age_years: ArrayLike, median_years: ArrayLike, shape: ArrayLike) -> Floats:
    """Share still in place at an age, from median and shape of Weibull's distribution; 1 before age nought. [1]"""
    age = np.maximum(np.asarray(age_years, float), 0.0)
    return np.exp2(-((age / np.asarray(median_years, float)) ** np.asarray(shape, float)))


def chance_next_year(age_years: ArrayLike, median_years: ArrayLike, shape: ArrayLike) -> Floats:
    """Chance that what is in place at an age does not last another year: (F(a+1) - F(a)) / (1 - F(a)). [1]"""
    age = np.asarray(age_years, float)
    with np.errstate(invalid="ignore", over="ignore"):
        power = np.asarray(shape, float)
        now, then = (np.maximum(a, 0.0) / np.asarray(median_years, float) for a in (age, age + 1.0))
        return -np.expm1(-np.log(2.0) * (then**power - now**power))


def compete(first: ArrayLike, second: ArrayLike) -> tuple[Floats, Floats]:
    """Chances that the first or the second of two independent things happens within a year, and happens first.

    Parameters
    ----------
    first, second : array_like
        Chance of each within the year, taken alone. [1]

    Returns
    -------
    ndarray, ndarray
        Chances by cause [1]; their sum is 1 - (1 - first)(1 - second). Within the year the two hazards are taken to
        keep their ratio.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        one, two = (-np.log1p(-np.minimum(np.asarray(x, float), 1.0 - 1e-15)) for x in (first, second))
        whole = -np.expm1(-(one + two))
        share = np.where(one + two > 0.0, one / np.where(one + two > 0.0, one + two, 1.0), 0.0)
    return whole * share, whole * (1.0 - share)


def yearly_chances(ages: int, median_years: ArrayLike, shape: ArrayLike) -> Floats:
    """Chance of failing in the n-th year after the year of installation, n from 1, things being installed mid-year.

    Returns
    -------
    ndarray (ages,) or (ages, ...)
        The first entry counts from installation to a year and a half after it.
    """
    age = np.arange(ages, dtype=float)
    out = chance_next_year(age + HALF, median_years, shape)
    out[0] = 1.0 - survival(1.0 + HALF, median_years, shape)
    return out


@dataclass(frozen=True)
class Strings:
    """What one draw believes of strings.

    Attributes
    ----------
    pump : ndarray (AGES_PUMP)
        Yearly chance of a pull by age of the pump.
    pipe : ndarray (materials, AGES_PIPE)
        Yearly chance of failure by age of the pipe.
    renewed : ndarray (materials, AGES_PIPE)
        Share of the pipe renewed at a pull.
    installed : ndarray (materials, years)
        Share of each material among the strings put in in a year, the first year being that of the oldest well.
    turns : ndarray of bool (materials)
        Whether a string is renewed in the materials of the year; else like for like.
    pump_with_pipe, goods_pull, goods_failure, recorded : float
        Share of failures that take the pump along; share of other goods renewed; chance that an event is recorded.
    """

    pump: Floats
    pipe: Floats
    renewed: Floats
    installed: Floats
    turns: NDArray[np.bool_]
    pump_with_pipe: float
    goods_pull: float
    goods_failure: float
    recorded: float


@scalar
def _back(pump_first, pipe_first, renewed, installed, turns, constants, ahead, value, spare, fresh, out):
    """Fill ``out`` (years, materials, 3 ahead + 1): what a string put in in a year is expected to need.

    ``value`` and ``spare`` (materials, ages of pump, ages of pipe, outputs) and ``fresh`` are room to work in.
    """
    materials, pumps, pipes, width = value.shape
    years = installed.shape[1]
    with_pump, goods_pull, goods_failure, recorded = constants[0], constants[1], constants[2], constants[3]
    value[:] = 0.0
    for y in range(years - 1, -1, -1):
        # value stands at the end of year y; out tells of strings put in in year y
        for m in range(materials):
            for k in range(width):
                out[y, m, k] = value[m, 0, 0, k]
        # events of year y: those of the past are unseen with the chance that they left no record
        past = y < years - ahead
        unseen = 1.0 - recorded if past else 1.0
        if y == years - ahead - 1:
            for m in range(materials):
                for a in range(pumps):
                    for b in range(pipes):
                        value[m, a, b, width - 1] = 1.0
            for m in range(materials):
                out[y, m, width - 1] = 1.0
        if y == 0:
            break
        slot = y - (years - ahead)
        for a in range(pumps):
            for k in range(width):
                total = 0.0
                for m in range(materials):
                    total += installed[m, y] * value[m, a, 0, k]
                fresh[a, k] = total
        for m in range(materials):
            for a in range(pumps):
                older = min(a + 1, pumps - 1)
                for b in range(pipes):
                    aged = min(b + 1, pipes - 1)
                    pull, fails, share = pump_first[m, a, b], pipe_first[m, a, b], renewed[m, b]
                    keep = 1.0 - pull - fails
                    same, new = pull * (1.0 - share) * unseen, pull * share * unseen
                    both, alone = fails * with_pump * unseen, fails * (1.0 - with_pump) * unseen
                    for k in range(width):
                        young, kept = value[m, 0, 0, k], value[m, older, 0, k]
                        if turns[m]:
                            young, kept = fresh[0, k], fresh[older, k]
                        spare[m, a, b, k] = (
                            keep * value[m, older, aged, k] + same * value[m, 0, aged, k]
                            + (new + both) * young + alone * kept
                        )  # fmt: skip
                    if not past:
                        spare[m, a, b, 3 * slot] += pull + fails
                        spare[m, a, b, 3 * slot + 1] += pull * share + fails
                        spare[m, a, b, 3 * slot + 2] += pull * goods_pull + fails * goods_failure
        value[:] = spare


def needs(strings: Strings, ahead: int) -> Floats:
    """Expected events of a string in each of the next years, from the year it was put in and its first material.

    Parameters
    ----------
    strings : Strings
        ``installed`` runs over all years to the last one asked for.
    ahead : int
        Years asked for: the last ``ahead`` years of ``installed``.

    Returns
    -------
    ndarray (years, materials, ahead, 3)
        Events, strings renewed, and sets of other goods, a well and year [1]. Renewals before the years asked
        for, seen by nobody, are part of it; where they would have left a record, wells without one are followed
        only along histories without. Strings put in in the years asked for count from then.
    """
    materials, years = strings.installed.shape
    width = 3 * ahead + 1
    first = compete(strings.pump[None, :, None], strings.pipe[:, None, :])
    shape = (materials, AGES_PUMP, AGES_PIPE)
    value, spare = np.zeros((*shape, width)), np.zeros((*shape, width))
    out = np.zeros((years, materials, width))
    constants = np.array([strings.pump_with_pipe, strings.goods_pull, strings.goods_failure, strings.recorded])
    _back(
        np.ascontiguousarray(first[0]), np.ascontiguousarray(first[1]), strings.renewed,
        np.ascontiguousarray(strings.installed), strings.turns, constants, ahead, value, spare,
        np.zeros((AGES_PUMP, width)), out,
    )  # fmt: skip
    likely = out[..., -1:].copy()
    likely[years - ahead :] = 1.0  # put in later than the last record
    with np.errstate(divide="ignore", invalid="ignore"):
        given = np.where(likely > 0.0, out[..., :-1] / likely, 0.0)
    return given.reshape(years, materials, ahead, 3)
