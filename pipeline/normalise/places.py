"""Coordinates and region names. Looks across the points of one source where it says so."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.errors import SchemaError
from pipeline.normalise import text
from pipeline.normalise.issues import IssueLog
from pipeline.normalise.repairs import count_repaired

CELL_DEG = 0.25
NEIGHBOURS = 3


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
    if crs and crs.upper() != "EPSG:4326":
        lat, lon = to_wgs84(lat, lon, crs)
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
