"""What a run leaves for others: a database, CSV for people, points for maps, a data package."""

from pipeline.export.database import point_views, write_duckdb
from pipeline.export.files import write_csv, write_geojson
from pipeline.export.package import write_datapackage

__all__ = ["point_views", "write_csv", "write_datapackage", "write_duckdb", "write_geojson"]
