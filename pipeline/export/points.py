"""Points for maps and programs: GeoParquet of any number of wells, GeoPackage of those that fit. WGS 84, SI."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from pipeline import schema
from pipeline.export.database import parquet_sql, row_count
from pipeline.export.files import MOST_ROWS

GEOPARQUET, GEOPACKAGE = "geo/wells.parquet", "geo/wells.gpkg"
_BATCH = 131_072
# WKB of a point: byte order 1 (little endian), type 1, x, y; OGC 06-103r4
_WKB = np.dtype([("order", "u1"), ("kind", "<u4"), ("x", "<f8"), ("y", "<f8")])


def wkb(lon: NDArray[np.float64], lat: NDArray[np.float64]) -> pa.Array:
    """Points as well-known binary.

    Parameters
    ----------
    lon, lat : ndarray (n) [degree]
    """
    rows = np.empty(len(lon), _WKB)
    rows["order"], rows["kind"], rows["x"], rows["y"] = 1, 1, lon, lat
    bytes_of = [None, pa.py_buffer(rows.tobytes())]
    return pa.FixedSizeBinaryArray.from_buffers(pa.binary(_WKB.itemsize), len(rows), bytes_of).cast(pa.binary())


def _columns() -> list[str]:
    """Columns of a point: those of ``selection``, then what else a map is asked for."""
    names = [c.field.name for c in schema.table("selection")]
    more = [c.field.name for c in schema.table("design") if c.field.name not in names]
    wanted = ["depth_completed_m", "depth_static_m", "depth_pumping_m", "depth_pump_m", "depth_pump_basis_code"]
    return names + [name for name in wanted if name in more]


def _query(folder: Path) -> str:
    names = [c.field.name for c in schema.table("selection")]
    parts = ", ".join(f"s.{name}" if name in names else f"d.{name}" for name in _columns())
    return (
        f"SELECT {parts}, w.longitude_deg AS lon, w.latitude_deg AS lat FROM {parquet_sql('selection', folder)} AS s"
        f" JOIN {parquet_sql('design', folder)} AS d USING (source_id, well_id)"
        f" JOIN {parquet_sql('wells', folder)} AS w USING (source_id, well_id)"
        " WHERE w.latitude_deg BETWEEN -90 AND 90 AND w.longitude_deg BETWEEN -180 AND 180"
        " ORDER BY s.source_id, s.well_id"
    )


def _schema(box: list[float]) -> pa.Schema:
    """Arrow schema with unit and meaning of each column and the GeoParquet metadata of the file."""
    known = {f.name: f for table in ("selection", "design") for f in schema.arrow_schema(table)}
    fields = [known[name].with_nullable(True) for name in _columns()] + [pa.field("geometry", pa.binary())]
    # no crs member means OGC:CRS84, longitude before latitude on WGS 84 (GeoParquet 1.1.0)
    column: dict[str, Any] = {"encoding": "WKB", "geometry_types": ["Point"]}
    if box:
        column["bbox"] = box
    geo = {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": column}}
    return pa.schema(fields, metadata={"geo": json.dumps(geo, sort_keys=True)})


def write_points(folder: Path, most_wells: int = MOST_ROWS) -> dict[str, int]:
    """Write ``geo/wells.parquet`` and, up to ``most_wells`` wells, ``geo/wells.gpkg``.

    Parameters
    ----------
    folder : Path
        Run folder with the tables wells, design and selection.
    most_wells : int
        No GeoPackage for runs with more wells.

    Returns
    -------
    dict
        ``points``: wells with a point; ``packaged``: those in the GeoPackage.
    """
    import duckdb

    (folder / "geo").mkdir(exist_ok=True)
    final = folder / GEOPARQUET
    work = final.with_name(".wells.parquet.writing")
    few = row_count("selection", folder) <= most_wells
    kept: list[pa.Table] = []
    points = 0
    try:
        with duckdb.connect(":memory:") as base:
            query = _query(folder)
            found = base.execute(f"SELECT min(lon), min(lat), max(lon), max(lat) FROM ({query})").fetchall()[0]
            box = [] if found[0] is None else [float(x) for x in found]
            target = _schema(box)
            reader = base.sql(query).to_arrow_reader(_BATCH)
            with pq.ParquetWriter(work, target, compression="zstd", compression_level=1) as writer:
                for batch in reader:
                    table = _with_geometry(pa.Table.from_batches([batch]), target)
                    points += table.num_rows
                    writer.write_table(table, row_group_size=_BATCH)
                    if few:
                        kept.append(table)
        os.replace(work, final)
    finally:
        work.unlink(missing_ok=True)
    packaged = _package(pa.concat_tables(kept) if kept else target.empty_table(), folder) if few else 0
    if not few:
        (folder / GEOPACKAGE).unlink(missing_ok=True)
    return {"points": points, "packaged": packaged}


def _with_geometry(table: pa.Table, target: pa.Schema) -> pa.Table:
    points = wkb(table["lon"].to_numpy(), table["lat"].to_numpy())
    arrays = [table[name].cast(target.field(name).type) for name in _columns()]
    return pa.Table.from_arrays([*arrays, points], schema=target)


def _package(table: pa.Table, folder: Path) -> int:
    """The same wells as a GeoPackage (OGC 12-128); its dates are fixed, so that the same run gives the same bytes."""
    import pyogrio

    final = folder / GEOPACKAGE
    work = final.with_name(".wells.writing.gpkg")
    work.unlink(missing_ok=True)
    if not table.num_rows:
        final.unlink(missing_ok=True)
        return 0
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2000-01-01T00:00:00.000Z"})
    try:
        plain = table.replace_schema_metadata(None)
        pyogrio.write_arrow(
            plain, work, layer="wells", driver="GPKG", geometry_name="geometry", geometry_type="Point", crs="EPSG:4326"
        )
        os.replace(work, final)
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})
        for rest in final.parent.glob(".wells.writing.gpkg*"):
            rest.unlink(missing_ok=True)
    return table.num_rows
