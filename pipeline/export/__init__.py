"""What a run leaves for others: a database, CSV for people, points for maps, a data package."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pipeline.export.database import point_views, write_duckdb
from pipeline.export.files import write_csv, write_geojson
from pipeline.export.package import write_datapackage
from pipeline.export.points import write_points
from pipeline.settings import Settings

__all__ = ["point_views", "write_csv", "write_datapackage", "write_duckdb", "write_exports", "write_geojson",
           "write_points"]  # fmt: skip


def write_exports(folder: Path, settings: Settings) -> dict[str, Any]:
    """Write everything beside Parquet and report: database, CSV, points, data package.

    Returns
    -------
    dict
        ``csv``: rows written a table, None where too long; ``points``: as :func:`write_geojson` tells.
    """
    units = settings.units or "us"
    write_duckdb(folder)
    told = {"csv": write_csv(folder, units), "points": write_geojson(folder) | write_points(folder)}
    write_datapackage(folder, units)
    return told
