"""Where wells are, for distances in every direction, and the number by which ties between them are broken."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import rng
from pipeline.design_point.bands import Floats

RADIUS_EARTH = 6371.0088  # km, mean radius, IUGG
TIE = 1e-3  # km: wells on one point are set apart by at most so much, in a direction given by their id


def keys(wells: pd.DataFrame) -> NDArray[np.uint64]:
    """A 64-bit number of each well from its source and id; the same on every machine and in every chunk."""
    source = wells["source_id"].astype(object).where(wells["source_id"].notna(), "").astype(str)
    name = wells["well_id"].astype(object).where(wells["well_id"].notna(), "").astype(str)
    mixed = rng.keys(source) * np.uint64(0x9E3779B97F4A7C15)
    return mixed ^ pd.util.hash_array(name.to_numpy(object), categorize=False)


def points(wells: pd.DataFrame, named: NDArray[np.uint64]) -> Floats:
    """Earth-centred places on a sphere, km; NaN rows where a well has no coordinates.

    Straight-line distances between such places need no projection and know no seam at 180 degrees; within 100 km
    the chord is shorter than the arc by less than a metre. Registries put many wells on one point (the middle of a
    section); each is moved by at most a metre as its id says, so that no two distances are equal and the nearest
    wells are the same in whatever order, chunk or block they are looked for.

    Parameters
    ----------
    wells : DataFrame
        With ``latitude_deg`` and ``longitude_deg``.
    named : ndarray of uint64
        From :func:`keys`.

    Returns
    -------
    ndarray, shape (n, 3)
    """
    latitude = np.radians(wells["latitude_deg"].to_numpy(float))
    longitude = np.radians(wells["longitude_deg"].to_numpy(float))
    around = np.cos(latitude)
    out = np.column_stack([around * np.cos(longitude), around * np.sin(longitude), np.sin(latitude)]) * RADIUS_EARTH
    bits = np.column_stack([named >> np.uint64(shift) & np.uint64(0xFFFFF) for shift in (0, 20, 40)])
    out += (bits / float(0xFFFFF) - 0.5) * TIE
    out[~np.isfinite(out).all(axis=1)] = np.nan
    return out
