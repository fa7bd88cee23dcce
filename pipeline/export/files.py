"""Files for people and maps: CSV in the reader's units, GeoJSON of the wells. Same tables, same bytes."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline import io, schema
from pipeline.errors import UsageError
from pipeline.export.database import is_by_record, parquet_sql, row_count, written_tables
from pipeline.export.display import for_people

MOST_ROWS = 100_000
# a spreadsheet takes a cell that begins so for a formula, or drops the first sign and then does
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def guarded(values: pd.Series) -> pd.Series:
    """Text cells with an apostrophe before whatever a spreadsheet would run; numbers are left alone."""
    text = values.astype(object)
    risky = text.map(lambda cell: isinstance(cell, str) and cell.startswith(_FORMULA)).to_numpy(bool)
    if risky.any():
        text = text.mask(risky, "'" + text.where(risky, "").astype(str))
    return text


def write_csv(folder: Path, units: str, most_rows: int = MOST_ROWS) -> dict[str, int | None]:
    """Write ``csv/<table>.csv`` for people: headers in words with the unit, labels for codes.

    Parameters
    ----------
    folder : Path
        Run folder with its Parquet tables.
    units : str
        Units of the numbers, ``us`` or ``metric``.
    most_rows : int
        A table with a row a well or record is left out when it has more rows.

    Returns
    -------
    dict
        Rows written a table; None where the table was too long. UTF-8 with a byte order mark, lines
        end in CR LF (RFC 4180).

    Raises
    ------
    UsageError
        When the folder holds no tables, or ``units`` is not known.
    """
    tables = written_tables(folder)
    if not tables:
        raise UsageError(f"{folder} holds no tables; give the folder of a finished run.")
    work, final = folder / ".csv.writing", folder / "csv"
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir()
    written: dict[str, int | None] = {}
    try:
        for table in tables:
            rows = row_count(table, folder)
            if is_by_record(table) and rows > most_rows:
                written[table] = None
                continue
            frame = for_people(table, io.read_table(table, folder), units)
            for name in frame.columns:
                if not pd.api.types.is_numeric_dtype(frame[name]):
                    frame[name] = guarded(frame[name])
            frame.to_csv(work / f"{table}.csv", index=False, encoding="utf-8-sig", lineterminator="\r\n")
            written[table] = rows
        shutil.rmtree(final, ignore_errors=True)
        os.replace(work, final)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return written


_POINT = ["source_id", "well_id", "latitude_deg", "longitude_deg"]


def write_geojson(folder: Path, most_wells: int = MOST_ROWS) -> dict[str, int]:
    """Write ``geo/wells.geojson``: the recommended pipe of every well that has a point (RFC 7946).

    Parameters
    ----------
    folder : Path
        Run folder with the tables ``wells`` and ``selection``.
    most_wells : int
        Nothing is written when the run has more wells.

    Returns
    -------
    dict
        ``written``: features written; ``without_point``: wells left out for want of a point;
        ``too_many``: wells of a run too large for the file, else 0.

    Notes
    -----
    Longitude before latitude, WGS 84, at most seven decimals; properties are the columns of
    ``selection`` in SI in the order of its declaration; what is missing is null.
    """
    import duckdb

    wells = row_count("selection", folder)
    path = folder / "geo" / "wells.geojson"
    if wells > most_wells:
        path.unlink(missing_ok=True)
        return {"written": 0, "without_point": 0, "too_many": wells}
    with duckdb.connect(":memory:") as base:
        frame = base.execute(
            f"SELECT s.*, w.latitude_deg AS lat, w.longitude_deg AS lon FROM {parquet_sql('selection', folder)} AS s"
            f" LEFT JOIN (SELECT {', '.join(_POINT)} FROM {parquet_sql('wells', folder)}) AS w"
            " USING (source_id, well_id) ORDER BY s.source_id, s.well_id"
        ).df()
    has_point = (frame["lat"].abs() <= 90) & (frame["lon"].abs() <= 180)
    placed = frame[has_point.to_numpy(bool, na_value=False)]
    io.write_text(path, _collection(placed))
    return {"written": len(placed), "without_point": len(frame) - len(placed), "too_many": 0}


def _collection(placed: pd.DataFrame) -> str:
    """The feature collection, one feature a line."""
    names = [c.field.name for c in schema.table("selection")]
    columns = [_plain(placed[name]) for name in names]
    lon, lat = placed["lon"].round(7).tolist(), placed["lat"].round(7).tolist()
    lines = []
    for x, y, values in zip(lon, lat, zip(*columns, strict=True), strict=True):
        properties = dict(zip(names, values, strict=True))
        feature = {
            "type": "Feature",
            "id": f"{properties['source_id']}/{properties['well_id']}",
            "geometry": {"type": "Point", "coordinates": [x, y]},
            "properties": properties,
        }
        lines.append(json.dumps(feature, ensure_ascii=False, allow_nan=False, separators=(",", ":")))
    box = f'"bbox":{json.dumps([min(lon), min(lat), max(lon), max(lat)])},' if lines else ""
    return f'{{"type":"FeatureCollection",{box}"features":[\n' + ",\n".join(lines) + "\n]}\n"


def _plain(values: pd.Series) -> list[object]:
    """Values of a column as JSON takes them: no NaN, no numpy types, floats to nine significant figures."""
    if pd.api.types.is_float_dtype(values):
        numbers = values.to_numpy(float)
        return [float(f"{x:.9g}") if np.isfinite(x) else None for x in numbers]
    return [None if cell is None or cell is pd.NA or cell != cell else _bare(cell) for cell in values.astype(object)]


def _bare(cell: object) -> object:
    return cell.item() if isinstance(cell, np.generic) else cell
