"""Places of points as text: from any reference system to longitude and latitude in WGS 84."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from pipeline.errors import SourceError
from pipeline.ingest.proposal.heading import fields_of
from pipeline.ingest.sheets import Grid, as_text

LONGITUDE, LATITUDE = "longitude", "latitude"
# a degree is at most 112 km: nine decimals are a tenth of a millimetre
_DECIMALS = 9


def to_wgs84(x: ArrayLike, y: ArrayLike, crs: Any, name: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Longitude and latitude in WGS 84.

    Parameters
    ----------
    x, y : array_like of n
        Easting and northing, or longitude and latitude; NaN where there is no point.
    crs : str or None
        Reference system as an authority's code or well-known text; None or "": WGS 84 already.
    name : str
        The file, for messages.

    Returns
    -------
    two arrays of n
        Degrees; NaN where there is no point, or none that the system covers.

    Raises
    ------
    SourceError
        When the system is not known.
    """
    lon, lat = np.asarray(x, np.float64), np.asarray(y, np.float64)
    if crs:
        from pyproj import CRS, Transformer
        from pyproj.exceptions import CRSError, ProjError

        try:
            found = CRS.from_user_input(crs)
            if found.to_epsg() != 4326:
                change = Transformer.from_crs(found, CRS.from_epsg(4326), always_xy=True)
                lon, lat = change.transform(lon, lat)
                lon, lat = np.round(lon, _DECIMALS), np.round(lat, _DECIMALS)
        except (CRSError, ProjError) as error:
            told = " ".join(str(error).split())[:120]
            raise SourceError(f"{name}: its reference system is not understood ({told}).") from None
    inside = np.isfinite(lon) & np.isfinite(lat)
    return np.where(inside, lon, np.nan), np.where(inside, lat, np.nan)


def has_own(names: list[str]) -> bool:
    """Whether columns of a table give longitude and latitude by their names."""
    return {"longitude_deg", "latitude_deg"} <= {fields_of(name)[0] for name in names if fields_of(name)}


def with_places(title: str, names: list[str], columns: list[Any], lon: NDArray[np.float64],
                lat: NDArray[np.float64], notes: list[str], **more: Any) -> Grid:  # fmt: skip
    """A grid whose first columns are longitude and latitude, unless the table brings its own or no point is there."""
    if np.isfinite(lon).any():
        if has_own(names):
            notes = [*notes, "Its own columns of longitude and latitude are read, the places of its points are not."]
        else:
            places = [pd.Series([as_text(v) for v in part.tolist()], dtype="str") for part in (lon, lat)]
            names, columns = [LONGITUDE, LATITUDE, *names], [*places, *columns]
    return Grid.of_columns(title, names, columns, notes=notes, **more)
