"""Coordinates and region names. Looks across the points of one source where it says so."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.errors import SchemaError
from pipeline.normalise import coordinates, text
from pipeline.normalise.issues import IssueLog
from pipeline.normalise.repairs import count_repaired

CELL_DEG = 0.25
NEIGHBOURS = 3
MOST_STRANGE = 0.5  # of the points; beyond it the column is of another kind, not the row
MERCATOR = "EPSG:3857"


def settle(wells: pd.DataFrame, crs: str, log: IssueLog) -> None:
    """Coordinates in WGS 84, with faults removed or mended; changes ``wells``.

    A point is mended (axes exchanged, or a sign turned) only where it lies outside every quarter-degree
    cell that other points of the source fill, and exactly one of the changes brings it into one.
    """
    if "latitude_deg" not in wells or "longitude_deg" not in wells:
        for name in ("latitude_deg", "longitude_deg"):
            if name in wells:
                wells[name] = np.nan
        return
    lat, lon = wells["latitude_deg"].to_numpy(copy=True), wells["longitude_deg"].to_numpy(copy=True)
    lat, lon = _degrees(wells, lat, lon, crs, log)
    half = np.isnan(lat) != np.isnan(lon)
    nought = (np.abs(lat) < 1e-9) & (np.abs(lon) < 1e-9)
    for code, mask, expected in (("N505", half, "both coordinates"), ("N502", nought, "a place")):
        _tell(code, wells, mask, lat, lon, expected, None, log)
        lat[mask], lon[mask] = np.nan, np.nan
    lat, lon = _mend(wells, lat, lon, log)
    outside = ~np.isnan(lat) & ~((np.abs(lat) <= 90) & (np.abs(lon) <= 180))
    _tell("N501", wells, outside, lat, lon, "latitude within 90, longitude within 180 degrees", None, log)
    lat[outside], lon[outside] = np.nan, np.nan
    wells["latitude_deg"], wells["longitude_deg"] = lat, lon


def _degrees(
    wells: pd.DataFrame, lat: NDArray[np.float64], lon: NDArray[np.float64], crs: str, log: IssueLog
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:  # fmt: skip
    """Degrees in WGS 84 from what the columns hold; rows of another kind than their column are left for later."""
    source_id = str(wells["source_id"].iloc[0])
    known = ~np.isnan(lat) & ~np.isnan(lon)
    if crs and crs.upper() != "EPSG:4326":
        # degrees among metres of a grid: the grid has no place so near its origin
        degrees = known & (np.abs(lat) <= 90) & (np.abs(lon) <= 180) & _is_projected(crs)
        y, x = to_wgs84(np.where(degrees, np.nan, lat), np.where(degrees, np.nan, lon), crs)
        if not degrees.any():
            return y, x
        if degrees.sum() > MOST_STRANGE * known.sum():
            log.once("N511", "latitude_deg", source_id, f"{int(degrees.sum())} of {int(known.sum())} points in degrees",
                     f"metres of {crs}", "read as degrees")  # fmt: skip
            return np.where(degrees, lat, y), np.where(degrees, lon, x)
        return _strangers(wells, y, x, degrees, lat, lon, f"degrees in a column of {crs}", log)
    if not known.any():
        return lat, lon
    past = known & ((np.abs(lat) > 90) | (np.abs(lon) > 180))
    if not past.any():
        return lat, lon
    if past.sum() > MOST_STRANGE * known.sum():
        north, east = coordinates.packed(lat, 90.0), coordinates.packed(lon, 180.0)
        if north is not None and east is not None:
            log.once("N510", "latitude_deg", source_id, f"{int(known.sum())} points such as {lat[past][0]:.10g}",
                     "degrees with decimals", "read as degrees, minutes and seconds")  # fmt: skip
            return north, east
        log.once("N511", "latitude_deg", source_id,
                 f"{int(past.sum())} of {int(known.sum())} points past the globe, {_looks_like(lat[past], lon[past])}",
                 "degrees; name the reference system as crs in the layout", None)  # fmt: skip
        return np.where(past, np.nan, lat), np.where(past, np.nan, lon)
    y, x = to_wgs84(np.where(past, lat, np.nan), np.where(past, lon, np.nan), MERCATOR)
    return _strangers(wells, lat, lon, past & ~np.isnan(y), y, x, f"metres of {MERCATOR} in a column of degrees", log)


def _looks_like(lat: NDArray[np.float64], lon: NDArray[np.float64]) -> str:
    """What metres past the globe most look like, in words."""
    if (np.abs(lat) > 2.1e7).any() or (np.abs(lon) > 2.1e7).any():
        return "like no common grid"
    if ((lon >= 100_000) & (lon <= 900_000) & (lat >= 0) & (lat <= 10_000_000)).all():
        return "like a transverse Mercator zone (UTM), whose number the file does not tell"
    return f"like {MERCATOR}" if (lon < 0).mean() > 0.5 else "like a projected grid"


@cache
def _is_projected(crs: str) -> bool:
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        return bool(CRS.from_user_input(crs).is_projected)
    except CRSError:
        return False


def _strangers(
    wells: pd.DataFrame, lat: NDArray[np.float64], lon: NDArray[np.float64], strange: NDArray[np.bool_],
    y: NDArray[np.float64], x: NDArray[np.float64], words: str, log: IssueLog,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:  # fmt: skip
    """Rows of another kind than their column, proposed where they then lie among the others; else as they are."""
    sound = ~strange & (np.abs(lat) <= 90) & (np.abs(lon) <= 180)
    at = np.flatnonzero(strange)
    if sound.sum() < 20 or not len(at):
        return lat, lon
    at = at[np.isin(_cells(y[at], x[at]), _filled(lat[sound], lon[sound]))]
    if not len(at):
        return lat, lon
    found = [f"{p:.8g}, {q:.8g}" for p, q in zip(wells["latitude_deg"].to_numpy()[at],
                                               wells["longitude_deg"].to_numpy()[at], strict=True)]  # fmt: skip
    put = [f"{p:.6f}, {q:.6f}" for p, q in zip(y[at], x[at], strict=True)]
    taken = log.propose("P117", "latitude_deg", wells, at, found, put,
                        f"{words}: no such place as it stands, among other points of the source so", "strong",
                        "a place among the others of the source")  # fmt: skip
    lat, lon = lat.copy(), lon.copy()
    lat[at], lon[at] = (y[at], x[at]) if taken else (np.nan, np.nan)
    if taken:
        count_repaired(wells, at)
    return lat, lon


def to_wgs84(
    lat: NDArray[np.float64], lon: NDArray[np.float64], crs: str
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Northing and easting (or latitude and longitude) of ``crs`` in WGS 84 degrees."""
    from pyproj import Transformer
    from pyproj.exceptions import CRSError

    try:
        transform = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    except CRSError:
        raise SchemaError(f"A layout has crs '{crs}', which is not known; write it as in \"EPSG:32610\".") from None
    x, y = transform.transform(lon, lat)
    bad = ~(np.isfinite(x) & np.isfinite(y))
    return np.where(bad, np.nan, y), np.where(bad, np.nan, x)


def _cells(lat: NDArray[np.float64], lon: NDArray[np.float64]) -> NDArray[np.int64]:
    return np.floor(lat / CELL_DEG).astype(np.int64) * 100_000 + np.floor(lon / CELL_DEG).astype(np.int64)


def _filled(lat: NDArray[np.float64], lon: NDArray[np.float64]) -> NDArray[np.int64]:
    """Cells that hold enough points, and the cells around them."""
    cells, counts = np.unique(_cells(lat, lon), return_counts=True)
    dense = cells[counts >= NEIGHBOURS]
    around = [dense + dy * 100_000 + dx for dy in (-1, 0, 1) for dx in (-1, 0, 1)]
    return np.unique(np.concatenate(around)) if len(dense) else dense


def _mend(
    wells: pd.DataFrame, lat: NDArray[np.float64], lon: NDArray[np.float64], log: IssueLog
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    valid = (np.abs(lat) <= 90) & (np.abs(lon) <= 180)
    if valid.sum() < 20:
        return lat, lon
    dense = _filled(lat[valid], lon[valid])
    known = ~np.isnan(lat)
    home = np.zeros(len(lat), dtype=bool)
    home[valid] = np.isin(_cells(lat[valid], lon[valid]), dense)
    # points that fill no cell with others, and of which the source has few
    lost = np.flatnonzero(known & ~home)
    if not len(lost) or len(lost) > 0.2 * known.sum():
        return lat, lon
    a, b = lat[lost], lon[lost]
    changes = {"P106": (a, -b), "P107": (-a, b), "P108": (b, a)}
    fits = {}
    for code, (y, x) in changes.items():
        fine = (np.abs(y) <= 90) & (np.abs(x) <= 180)
        fits[code] = np.zeros(len(lost), dtype=bool)
        fits[code][fine] = np.isin(_cells(y[fine], x[fine]), dense)
    alone = sum(f.astype(int) for f in fits.values()) == 1
    lat, lon = lat.copy(), lon.copy()
    for code, (y, x) in changes.items():
        take = fits[code] & alone
        mask = np.zeros(len(lat), dtype=bool)
        mask[lost[take]] = True
        at = np.flatnonzero(mask)
        found = [f"{p:.6g}, {q:.6g}" for p, q in zip(lat[at], lon[at], strict=True)]
        put = [f"{p:.6g}, {q:.6g}" for p, q in zip(y[take], x[take], strict=True)]
        why = "alone as it stands; among other points of the source only so"
        taken = log.propose(code, "latitude_deg", wells, at, found, put, why, "strong",
                            "a place among the others of the source")  # fmt: skip
        lat[at], lon[at] = (y[take], x[take]) if taken else (np.nan, np.nan)
        if taken:
            count_repaired(wells, at)
    return lat, lon


def _tell(
    code: str, wells: pd.DataFrame, mask: NDArray[np.bool_], lat: NDArray[np.float64], lon: NDArray[np.float64],
    expected: str, used: list[str] | None, log: IssueLog,
) -> None:  # fmt: skip
    at = np.flatnonzero(mask)
    found = [f"{p:.6g}, {q:.6g}" for p, q in zip(lat[at], lon[at], strict=True)]
    log.rows(code, "latitude_deg", wells, at, found, expected, used)


def _undamaged(name: str) -> str:
    """UTF-8 text that was read as cp1252 once too often (``Ã©``) as it was meant."""
    if name.isascii():
        return name
    try:
        return name.encode("cp1252").decode("utf-8")
    except UnicodeError:
        return name


def merge_spellings(names: pd.Series, field: str, source_id: str, log: IssueLog) -> pd.Series:
    """Names that differ only in case, blanks and damaged accents as one: the most frequent spelling wins.

    Looks across every record of the source.
    """
    coded = text.encode(names)
    counts = coded.counts()
    if not counts.any():
        return names
    table = pd.DataFrame({"name": coded.texts.to_pylist(), "rows": counts})
    table["key"] = [" ".join(_undamaged(name).casefold().split()) for name in table["name"]]
    ranked = table.sort_values(["rows", "name"], ascending=[False, True], kind="stable")
    best = ranked.drop_duplicates("key").set_index("key")["name"]
    table["best"] = table["key"].map(best)
    moved = table[(table["name"] != table["best"]) & (table["rows"] > 0)].sort_values("name")
    for row in moved.itertuples():
        log.once("N506", field, source_id, str(row.name), f"one spelling; {row.rows} rows", str(row.best))
    return names if moved.empty else text.series(pa.array(table["best"].tolist(), type=pa.string()), coded.codes)
