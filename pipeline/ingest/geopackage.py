"""Layers of a GeoPackage (OGC 12-128r18), an SQLite database of feature and attribute tables, as columns of text."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.errors import SourceError
from pipeline.ingest.geometry import package_points
from pipeline.ingest.header import COLUMNS_MOST
from pipeline.ingest.places import to_wgs84, with_places
from pipeline.ingest.sheets import Grid, as_text

MAGIC = b"SQLite format 3\0"
_ROWS_AT_ONCE = 50_000
# a view may never end: so many thousand steps of the database's machine, and it is given up
_VIEW_STEPS = 200_000
_MIDNIGHT = ("T00:00:00Z", "T00:00:00.000Z")


def read_geopackage(source: Path | bytes, name: str) -> list[Grid]:
    """Every feature and attribute table; points come as longitude and latitude in WGS 84.

    Raises
    ------
    SourceError
        When it is a database of another kind, broken, or holds no such table.
    """
    try:
        with closing(_connect(source)) as base:
            base.text_factory = lambda raw: raw.decode("utf-8", "replace")
            base.execute("PRAGMA trusted_schema = OFF")
            base.execute("PRAGMA query_only = ON")
            made = base.execute("SELECT name, type, sql FROM sqlite_master").fetchall()
            kinds = {row[0]: (row[1], row[2] or "") for row in made}
            if "gpkg_contents" not in kinds:
                raise SourceError(f"{name}: a database, but no GeoPackage; export the table as .csv or .gpkg.")
            wanted = base.execute(
                "SELECT table_name FROM gpkg_contents WHERE data_type IN ('features', 'attributes') "
                "ORDER BY data_type DESC, table_name"
            ).fetchall()
            grids = [_layer(base, str(table), kinds[table], name) for (table,) in wanted if table in kinds]
    except (sqlite3.Error, OverflowError, MemoryError) as error:
        raise SourceError(f"{name}: the database is broken or locked ({str(error)[:120]}).") from None
    if not grids:
        raise SourceError(f"{name}: the GeoPackage holds no table of features or attributes.")
    return grids


def _connect(source: Path | bytes) -> sqlite3.Connection:
    if isinstance(source, bytes):
        base = sqlite3.connect(":memory:")
        base.deserialize(source)
        return base
    # nothing is written beside the file, not even where a writer left its journal
    journal = source.with_name(source.name + "-wal").exists()
    return sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro{'' if journal else '&immutable=1'}", uri=True)


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _layer(base: sqlite3.Connection, table: str, kind: tuple[str, str], name: str) -> Grid:
    """One table of the package."""
    if kind[0] not in ("table", "view") or kind[1].upper().startswith("CREATE VIRTUAL"):
        raise SourceError(f"{name}: '{table}' is no plain table.")
    declared = base.execute(f"PRAGMA table_info({_quoted(table)})").fetchall()
    if not 0 < len(declared) <= COLUMNS_MOST:
        raise SourceError(f"{name}: '{table}' has no columns.")
    geometry, crs, notes = _geometry(base, table)
    names = [str(row[1]) for row in declared if str(row[1]) != geometry]
    types = [str(row[2]).upper() for row in declared if str(row[1]) != geometry]
    chosen = [*names, geometry] if geometry else names
    if kind[0] == "view":
        left = iter(range(_VIEW_STEPS))
        base.set_progress_handler(lambda: next(left, None) is None, 1000)
    found = base.execute(f"SELECT {', '.join(map(_quoted, chosen))} FROM {_quoted(table)}")
    columns: list[list[str]] = [[] for _ in names]
    xs, ys = [np.empty(0)], [np.empty(0)]
    while rows := found.fetchmany(_ROWS_AT_ONCE):
        for at, (column, type_) in enumerate(zip(columns, types, strict=True)):
            column += _texts([row[at] for row in rows], type_)
        x, y = package_points([row[-1] for row in rows] if geometry else [None] * len(rows))
        xs.append(x)
        ys.append(y)
    base.set_progress_handler(None, 0)
    x, y = np.concatenate(xs), np.concatenate(ys)
    if geometry and np.isfinite(x).any():
        x, y = to_wgs84(x, y, crs, f"{name}: {table}")
    return with_places(table, names, columns, x, y, notes)


def _texts(values: list[Any], type_: str) -> list[str]:
    """One column as text; a day with the time of midnight is the day."""
    texts = [as_text(value) for value in values]
    if type_ == "DATETIME":
        return [t[:10] if t.endswith(_MIDNIGHT) else t for t in texts]
    return texts


def _geometry(base: sqlite3.Connection, table: str) -> tuple[str, str, list[str]]:
    """Geometry column of a table ("" for none), its reference system, and notes on it."""
    try:
        row = base.execute(
            "SELECT g.column_name, g.srs_id, s.organization, s.organization_coordsys_id, s.definition "
            "FROM gpkg_geometry_columns g LEFT JOIN gpkg_spatial_ref_sys s ON s.srs_id = g.srs_id "
            "WHERE g.table_name = ?", (table,),
        ).fetchone()  # fmt: skip
    except sqlite3.OperationalError:
        return "", "", []
    if row is None:
        return "", "", []
    column, srs, organisation, number, definition = row
    if srs == 0:
        return str(column), "", ["The reference system of its points is not told; they are taken for WGS 84."]
    if srs == -1 or (not definition and not organisation):
        return "", "", ["Its points have no reference system; their places are not read."]
    if str(organisation).upper() == "EPSG":
        return str(column), f"EPSG:{number}", []
    return str(column), str(definition), []
