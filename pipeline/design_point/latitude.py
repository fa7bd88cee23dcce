"""What the latitude of a well tells where nothing is recorded: frost, and the mean temperature of the air."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd

from pipeline import schema
from pipeline.design_point.bands import Floats
from pipeline.units import convert


@cache
def _points(quantity: str, unit: str) -> tuple[Floats, ...]:
    """Latitudes [degree], and low, base and high of one quantity of reference/by_latitude.csv in ``unit``."""
    rows = [row for row in schema.rows("reference/by_latitude") if row["quantity"] == quantity]
    ends = [np.array([float(convert(float(row[end]), row["unit"], unit)) for row in rows])
            for end in ("low", "base", "high")]  # fmt: skip
    return np.array([float(row["latitude_deg"]) for row in rows]), *ends


def by_latitude(wells: pd.DataFrame, quantity: str, unit: str) -> tuple[Floats, Floats, Floats]:
    """Base, low and high of a quantity at each well, straight between the declared latitudes of both hemispheres.

    Parameters
    ----------
    wells : DataFrame
        With ``latitude_deg``.
    quantity, unit : str
        Name in ``reference/by_latitude.csv``, and the unit wanted.

    Returns
    -------
    base, low, high : ndarray, shape (n,)
        NaN where the latitude is not known. Ground level, sea and continent are not looked at: the band holds them.
    """
    where = np.abs(wells["latitude_deg"].to_numpy(float))
    points, low, base, high = _points(quantity, unit)
    return np.interp(where, points, base), np.interp(where, points, low), np.interp(where, points, high)
