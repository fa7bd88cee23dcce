"""Points read by general libraries: geopandas, DuckDB and pyogrio find the same wells in the right place."""

import filecmp

import duckdb
import pytest

from pipeline import export, io
from pipeline.export import points

geopandas = pytest.importorskip("geopandas")
pyogrio = pytest.importorskip("pyogrio")


@pytest.fixture
def placed(run_folder):
    points.write_points(run_folder)
    export.write_geojson(run_folder)
    return run_folder


def wells_with_point(folder):
    wells = io.read_table("wells", folder)
    return wells[wells["latitude_deg"].notna() & wells["longitude_deg"].notna()].set_index(["source_id", "well_id"])


def test_reference_geopandas_reads_geoparquet(placed):
    frame = geopandas.read_parquet(placed / points.GEOPARQUET)
    want = wells_with_point(placed)
    assert frame.crs.to_authority() == ("OGC", "CRS84") and len(frame) == len(want) > 50
    at = want.loc[list(zip(frame["source_id"], frame["well_id"], strict=True))]
    assert frame.geometry.x.to_numpy() == pytest.approx(at["longitude_deg"].to_numpy(), abs=0)
    assert frame.geometry.y.to_numpy() == pytest.approx(at["latitude_deg"].to_numpy(), abs=0)


def test_reference_duckdb_reads_geoparquet(placed):
    with duckdb.connect() as base:
        found = base.execute(f"SELECT count(geometry) FROM read_parquet('{placed / points.GEOPARQUET}')").fetchone()
    assert found[0] == len(wells_with_point(placed))


def test_columns_say_their_unit(placed):
    import pyarrow.parquet as pq

    field = pq.read_schema(placed / points.GEOPARQUET).field("length_drop_pipe_m")
    assert field.metadata[b"unit"] == b"m" and field.metadata[b"ucum"] == b"m"


def test_reference_pyogrio_reads_geopackage_and_geojson(placed):
    want = wells_with_point(placed)
    for name in (points.GEOPACKAGE, "geo/wells.geojson"):
        told = pyogrio.read_info(placed / name)
        assert told["features"] == len(want) and told["crs"] == "EPSG:4326" and told["geometry_type"] == "Point", name
        frame = pyogrio.read_dataframe(placed / name).set_index(["source_id", "well_id"])
        at = want.loc[frame.index.tolist()]
        assert frame.geometry.x.to_numpy() == pytest.approx(at["longitude_deg"].to_numpy(), abs=1e-7)


def test_same_run_same_bytes(run_folder, tmp_path):
    points.write_points(run_folder)
    for name in ("wells.parquet", "wells.gpkg"):
        (run_folder / "geo" / name).rename(tmp_path / name)
    points.write_points(run_folder)
    for name in ("wells.parquet", "wells.gpkg"):
        assert filecmp.cmp(run_folder / "geo" / name, tmp_path / name, shallow=False), name


def test_a_large_run_has_no_geopackage(run_folder):
    told = points.write_points(run_folder, most_wells=10)
    assert told["packaged"] == 0 and told["points"] == len(wells_with_point(run_folder))
    assert not (run_folder / points.GEOPACKAGE).exists() and (run_folder / points.GEOPARQUET).exists()
