"""A shapefile: the table of its .dbf, places from its .shp, their reference system from its .prj.

Source of the forms: ESRI Shapefile Technical Description (July 1998).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import SourceError
from pipeline.ingest.dbf import encoding_told, read_dbf
from pipeline.ingest.geometry import shape_points
from pipeline.ingest.header import decode
from pipeline.ingest.places import to_wgs84, with_places
from pipeline.ingest.sheets import Grid

# endings of the files that make up one shapefile
PARTS = (".dbf", ".shp", ".prj", ".cpg", ".shx", ".sbn", ".sbx", ".qix", ".qpj", ".fix", ".cst", ".shp.xml")
_HALF_TURN = 180.0


def stem_of(path: Path | str) -> str:
    """What the files of one shapefile have in common: folder and name without ending, in lower case."""
    text = str(path).lower()
    for ending in (".shp.xml", ".dbf.xml"):
        if text.endswith(ending):
            return text.removesuffix(ending)
    return text.rsplit(".", 1)[0]


def read_shapes(parts: dict[str, NDArray[np.uint8]], name: str) -> Grid:
    """The table of a shapefile, its points as longitude and latitude in WGS 84.

    Parameters
    ----------
    parts : dict
        Bytes of its files by ending; ``.dbf`` is needed.

    Raises
    ------
    SourceError
        When the table is missing or broken. A broken .shp or .prj costs the places only.
    """
    if ".dbf" not in parts:
        raise SourceError(f"{name}: a shapefile without its table; put the .dbf of the same name beside it.")
    told = encoding_told(decode(bytes(parts[".cpg"][:64]))) if ".cpg" in parts else ""
    grid, kept = read_dbf(parts[".dbf"], name, told)
    if ".shp" not in parts:
        return grid
    assert grid.frame is not None
    notes = list(grid.notes)
    try:
        x, y, points = shape_points(parts[".shp"], name)
    except SourceError as error:
        grid.notes.append(f"{str(error).removeprefix(f'{name}: ')} The table is read without places.")
        return grid
    if not points:
        notes.append("Its shapes are no points; the table is read without places.")
    elif len(x) != len(kept):
        notes.append(f"{len(x)} shapes and {len(kept)} records do not go together; the table is read without places.")
    crs = decode(bytes(parts[".prj"])).strip("\0 \r\n\t") if ".prj" in parts else ""
    if not points or len(x) != len(kept) or not np.isfinite(x).any():
        x = y = np.full(len(kept), np.nan)
    elif not crs and not (np.nanmax(np.abs(x)) <= _HALF_TURN and np.nanmax(np.abs(y)) <= _HALF_TURN / 2):
        notes.append("Its points are in a reference system that no .prj tells; their places are not read.")
        x = y = np.full(len(kept), np.nan)
    else:
        if not crs:
            notes.append("No .prj tells the reference system of its points; they are taken for WGS 84.")
        try:
            x, y = to_wgs84(x, y, crs, name)
        except SourceError as error:
            notes.append(f"{str(error).removeprefix(f'{name}: ')} The table is read without places.")
            x = y = np.full(len(kept), np.nan)
    names = grid.rows[0]
    return with_places(name, names, [grid.frame[c] for c in grid.frame], x[kept], y[kept], notes)
