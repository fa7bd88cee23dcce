"""What the latitude of a well tells where nothing is recorded: frost, and the mean temperature of the air."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from pipeline import schema
from pipeline.design_point.bands import Floats
from pipeline.design_point.comparable import Asked
from pipeline.units import convert


@dataclass(frozen=True)
class Latitude:
    """Degrees from the equator of wells, shape (n,): the middle, and the least and most where only a place is known."""

    middle: Floats
    least: Floats
    most: Floats


@cache
def _points(quantity: str, unit: str) -> tuple[Floats, ...]:
    """Latitudes [degree], and low, base and high of one quantity of reference/by_latitude.csv in ``unit``."""
    rows = [row for row in schema.rows("reference/by_latitude") if row["quantity"] == quantity]
    ends = [np.array([float(convert(float(row[end]), row["unit"], unit)) for row in rows])
            for end in ("low", "base", "high")]  # fmt: skip
    return np.array([float(row["latitude_deg"]) for row in rows]), *ends


@cache
def _places() -> dict[str, tuple[float, float, float]]:
    """Degrees from the equator of countries, states and provinces: middle, least, most."""
    out = {}
    for row in schema.rows("reference/place_latitudes"):
        ends = float(row["latitude_low_deg"]), float(row["latitude_high_deg"])
        least = 0.0 if ends[0] < 0 < ends[1] else min(abs(ends[0]), abs(ends[1]))
        most = max(abs(ends[0]), abs(ends[1]))
        # a place astride the equator lies evenly on both sides of it, more or less: half the farther end
        out[row["place"]] = (least + most) / 2, least, most
    return out


def latitude_of(wells: pd.DataFrame, asked: Asked | None = None) -> Latitude:
    """Where wells lie: their own latitude, else that of other wells of their place, else of the country by its name.

    Parameters
    ----------
    wells : DataFrame
        With ``latitude_deg`` and ``area_code``.
    asked : Asked, optional
        The same wells before what the whole table tells.

    Returns
    -------
    Latitude
        NaN where neither coordinates nor a known name of a place are recorded.
    """
    own = np.abs(wells["latitude_deg"].to_numpy(float))
    ends = [own, own.copy(), own.copy()]
    if np.isnan(own).any():
        texts = wells["area_code"].astype(object).where(wells["area_code"].notna(), "")
        unknown = (np.nan, np.nan, np.nan)
        known = {text: _places().get(str(text).strip().casefold(), unknown) for text in pd.unique(texts)}
        named = np.array([known[text] for text in known]).reshape(-1, 3)[pd.factorize(texts)[0]]
        if asked is not None:
            group = asked.group("latitude")  # low, middle, high
            told = np.column_stack([group[:, 1], group[:, 0], group[:, 2]])
            named = np.where(np.isnan(told[:, :1]), named, told)
        ends = [np.where(np.isnan(own), named[:, n], end) for n, end in enumerate(ends)]
    return Latitude(*ends)


def by_latitude(where: Latitude, quantity: str, unit: str) -> tuple[Floats, Floats, Floats]:
    """Base, low and high of a quantity at each well, straight between the declared latitudes of both hemispheres.

    Parameters
    ----------
    where : Latitude
        See :func:`latitude_of`.
    quantity, unit : str
        Name in ``reference/by_latitude.csv``, and the unit wanted.

    Returns
    -------
    base, low, high : ndarray, shape (n,)
        NaN where the latitude is not known. Ground level, sea and continent are not looked at: the band holds them,
        and what the quantity is at the ends of a place.
    """
    points, low, base, high = _points(quantity, unit)
    at = [where.middle, where.least, where.most]
    lows, bases, highs = ([np.interp(x, points, end) for x in at] for end in (low, base, high))
    # on neither side is a place known by its name narrower than any point in it
    down = np.maximum.reduce([b - x for b, x in zip(bases, lows, strict=True)])
    up = np.maximum.reduce([x - b for b, x in zip(bases, highs, strict=True)])
    return bases[0], np.minimum.reduce([*lows, bases[0] - down]), np.maximum.reduce([*highs, bases[0] + up])
