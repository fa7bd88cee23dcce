"""Demand within a lead time as a compound sum: how many jobs come, and how many pieces each takes.

Jobs come as a Poisson stream; where the lead time itself varies (a gamma time), their number within it is
negative binomial. Sizes are whole pieces. The distribution of the sum follows exactly, on a grid, from the
generating function by the discrete Fourier transform (sources ``panjer_1981`` and ``embrechts_frei_2009``).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_TAIL_DEVIATIONS = 10.0  # the grid ends so many standard deviations above the mean
_MOST_CELLS = 1 << 15
_LEAST_SPREAD = 1e-9  # below it a time counts as fixed: the logarithm would lose its digits


def moments(
    jobs_per_day: float | Floats, days: float | Floats, days_sd: float | Floats, size_mean: float | Floats,
    size_square: float | Floats,
) -> tuple[Floats, Floats]:
    """Mean and variance of the demand within a time that may vary.

    Parameters
    ----------
    jobs_per_day : float or array_like [1/d]
    days, days_sd : float or array_like
        Mean and standard deviation of the time. [d]
    size_mean, size_square : float or array_like
        First and second moment of the pieces of a job. [1, 1]

    Returns
    -------
    mean, variance : ndarray, broadcast shape
        ``rate * days * E[size]`` and ``rate * days * E[size^2] + (rate * E[size] * days_sd)^2``.
    """
    rate, m1 = np.asarray(jobs_per_day, float), np.asarray(size_mean, float)
    mean = rate * days * m1
    return mean, rate * days * np.asarray(size_square, float) + np.square(rate * m1 * days_sd)


def cells_needed(mean: float, variance: float, largest: int) -> int:
    """Cells of the grid on which the tail beyond is negligible: a power of two."""
    far = mean + _TAIL_DEVIATIONS * np.sqrt(max(variance, 0.0)) + 3.0 * largest + 16.0
    return int(2 ** np.ceil(np.log2(far)))


def grid_step(mean: float, variance: float, largest: int) -> int:
    """Pieces a cell stands for: 1 unless the grid would be longer than ``2**15`` cells."""
    return max(1, cells_needed(mean, variance, largest) // _MOST_CELLS)


def coarse(sizes: Floats, step: int) -> Floats:
    """Chances of sizes on a grid of ``step`` pieces; what lies between two cells is shared so that the mean is kept."""
    if step == 1:
        return np.asarray(sizes, float)
    place = np.arange(len(sizes)) / step
    low = np.floor(place).astype(int)
    out = np.zeros(low[-1] + 2)
    np.add.at(out, low, sizes * (1.0 - (place - low)))
    np.add.at(out, low + 1, sizes * (place - low))
    return out


def distribution(jobs: float, sizes: Floats, jobs_spread: float = 0.0, cells: int | None = None) -> Floats:
    """Chance of each total of pieces.

    Parameters
    ----------
    jobs : float
        Mean number of jobs within the time. [1]
    sizes : ndarray, (largest size + 1)
        Chance that a job takes 0, 1, 2 ... pieces; adds up to 1.
    jobs_spread : float
        Squared coefficient of variation of the time; 0 gives Poisson jobs. [1]
    cells : int, optional
        Length of the answer, by default as far as the tail reaches.

    Returns
    -------
    ndarray, (cells)
        Adds up to 1; what lies beyond the grid is left out of it, less than 1e-9 by default.
    """
    sizes = np.asarray(sizes, float)
    size = np.arange(len(sizes))
    mean, square = float(sizes @ size), float(sizes @ size**2)
    variance = jobs * square + jobs_spread * (jobs * mean) ** 2
    n = cells or cells_needed(jobs * mean, variance, len(sizes))
    if not jobs > 0:
        out = np.zeros(n)
        out[0] = 1.0
        return out
    # the transform is periodic: exponential tilting keeps what would wrap around below rounding
    length = 2 * n
    tilt = 20.0 / length
    tilted = np.zeros(length)
    tilted[: min(len(sizes), length)] = (sizes * np.exp(-tilt * size))[:length]
    turn = np.fft.rfft(tilted)
    if jobs_spread > _LEAST_SPREAD:
        shape = 1.0 / jobs_spread
        spectrum = np.exp(-shape * np.log1p(jobs * jobs_spread * (1.0 - turn)))
    else:
        spectrum = np.exp(jobs * (turn - 1.0))
    found = np.fft.irfft(spectrum, length)[:n] * np.exp(tilt * np.arange(n))
    return np.maximum(found, 0.0)


def quantile(chances: Floats, service: float) -> int:
    """Least total that is not exceeded with a chance of at least ``service``."""
    reached = np.cumsum(chances) >= service - 1e-12
    return int(np.argmax(reached)) if reached.any() else len(chances) - 1


def shortfall(chances: Floats, level: int) -> float:
    """Expected pieces asked for beyond ``level``."""
    total = np.arange(len(chances))
    return float(np.sum(chances * np.maximum(total - level, 0)))
