"""Present cost: yearly sums and renewals brought to today."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def annuity_factor(rate: float, years: float) -> float:
    """Present worth of one a year, paid at each year's end for ``years`` years. [1]"""
    return years if rate == 0 else (1.0 - (1.0 + rate) ** -years) / rate


def renewals_factor(life_years: ArrayLike, rate: float, years: float) -> NDArray[np.float64]:
    """Present worth of renewing one thing at the end of each life within the horizon. [1]

    Parameters
    ----------
    life_years : array_like
        Life of the thing, years; NaN gives NaN.
    """
    life = np.asarray(life_years, dtype=np.float64)
    total = np.where(np.isnan(life), np.nan, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        most = int(np.nanmax(np.ceil(years / life))) if np.isfinite(life).any() else 0
        for count in range(1, most + 1):
            due = count * life
            total = total + np.where(due < years, (1.0 + rate) ** -due, 0.0)
    return total
