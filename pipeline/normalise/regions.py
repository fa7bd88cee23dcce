"""Regions from polygons that the user gives: the polygon a point lies in, against the region of the record.

Works row by row; what is told of a source as a whole is counted over it.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.ingest.polygons import read_polygons
from pipeline.normalise import text
from pipeline.normalise.issues import IssueLog

if TYPE_CHECKING:
    from pipeline.ingest.polygons import Polygons
    from pipeline.settings import Settings

# words that say what kind of region a name is of, which files add or leave out
_KIND = re.compile(r"\b(county|district|parish|region|province|division|municipality|co)\b\.?|[^\w]+")


def within(polygons: Polygons, lat: NDArray[np.float64], lon: NDArray[np.float64]) -> NDArray[np.int64]:
    """Place of the polygon that holds each point, its border included; -1 where none does.

    Where polygons overlap the smallest wins, then the first of the file.

    Parameters
    ----------
    lat, lon : ndarray (n,)
        WGS 84 degrees; NaN lies nowhere.
    """
    import shapely

    out = np.full(len(lat), -1, dtype=np.int64)
    known = np.flatnonzero(~np.isnan(lat) & ~np.isnan(lon))
    if not len(known):
        return out
    # most points of a registry stand in runs and share places: each place is asked once
    tree = shapely.STRtree(polygons.shapes)
    points, shapes = tree.query(shapely.points(lon[known], lat[known]))
    inside = shapely.intersects_xy(polygons.shapes[shapes], lon[known[points]], lat[known[points]])
    points, shapes = points[inside], shapes[inside]
    rank = np.empty(len(polygons.shapes), dtype=np.int64)
    rank[np.lexsort((np.arange(len(rank)), shapely.area(polygons.shapes)))] = np.arange(len(rank))
    order = np.lexsort((rank[shapes], points))
    first = np.unique(points[order], return_index=True)[1]
    out[known[points[order][first]]] = shapes[order][first]
    return out


def _folded(name: str) -> str:
    return _KIND.sub(" ", name.casefold()).strip() or name.casefold()


def settle(wells: pd.DataFrame, settings: Settings, source_id: str, log: IssueLog) -> None:
    """Regions of the records by the user's polygons; changes ``wells``.

    A record without a region takes that of its polygon. Where the two differ it is told, and the setting
    ``region_trust`` says which one stands.
    """
    if settings.regions is None or "latitude_deg" not in wells or "longitude_deg" not in wells or wells.empty:
        return
    polygons = read_polygons(settings.regions, settings.region_name)
    lat, lon = wells["latitude_deg"].to_numpy(), wells["longitude_deg"].to_numpy()
    found = within(polygons, lat, lon)
    placed = ~np.isnan(lat) & ~np.isnan(lon)
    outside = int((placed & (found < 0)).sum())
    if outside:
        log.once("N508", "region_code", source_id, f"{outside} of {int(placed.sum())} points outside all polygons",
                 f"points in the polygons of {polygons.file}", None)  # fmt: skip
    drawn = text.series(pa.array(polygons.names.tolist(), type=pa.string()), found.astype(np.int32))
    if "region_code" not in wells:
        wells["region_code"] = drawn
        return
    record = text.encode(wells["region_code"])
    both = np.flatnonzero((record.codes >= 0) & (found >= 0))
    own = np.array([_folded(name) for name in record.texts.to_pylist()], dtype=object)
    other = np.array([_folded(name) for name in polygons.names], dtype=object)
    pairs, back = np.unique(record.codes[both].astype(np.int64) * len(other) + found[both], return_inverse=True)
    unlike = np.array([own[p // len(other)] != other[p % len(other)] for p in pairs.tolist()], dtype=bool)
    at = both[unlike[back]] if len(both) else both
    trust = settings.region_trust
    if len(at):
        names = drawn.iloc[at].tolist()
        told = wells["region_code"].iloc[at].tolist()
        used = [f"{r} (polygon {p})" for r, p in zip(told, names, strict=True)] if trust == "record" else names
        log.rows("N507", "region_code", wells, at, told, "the polygon of the point", used)
    chosen = wells["region_code"].where(record.codes >= 0, drawn)
    if trust == "polygon":
        chosen = drawn.where(found >= 0, chosen)
    wells["region_code"] = chosen
