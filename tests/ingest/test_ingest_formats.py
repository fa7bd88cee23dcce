"""Containers of tables: GeoPackage, shapefile, features by line, workbooks of several sheets; places are invented.

Files written by general libraries (GDAL through pyogrio, pyshp, openpyxl) are the outside truth.
"""

from __future__ import annotations

import json
import sqlite3
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import SourceError
from pipeline.ingest import read_inputs
from pipeline.ingest.files import InputFile, Opened, list_files, open_file
from pipeline.ingest.geometry import package_points, shape_points, wkb_point
from pipeline.ingest.places import to_wgs84
from pipeline.settings import Settings

NAMES = ["Well ID", "Depth (ft)", "Static water level (ft)"]
ROWS = [["W-1", 240.0, 60.5], ["W-2", 180.0, None], ["W-3", 95.25, 12.0]]


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")


def opened(path: Path) -> list[Opened]:
    return list(open_file(list_files([path])[0]))


def frame(found: Opened):  # type: ignore[no-untyped-def]
    head, grid = next(iter(found.heads()))
    return found.parse(head, grid, None).frame


def utm(lon: np.ndarray, lat: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Metres in UTM zone 10 north."""
    from pyproj import Transformer

    return Transformer.from_crs("EPSG:4326", "EPSG:32610", always_xy=True).transform(lon, lat)


LON, LAT = np.array([-123.25, -122.5, -123.0]), np.array([40.125, 40.5, 41.75])


# --- GeoPackage ---


@pytest.mark.parametrize("geometry", ["Point", "Point Z", "MultiPoint"])
def test_reference_a_geopackage_of_gdal(tmp_path: Path, geometry: str) -> None:
    """GDAL (pyogrio) writes points in UTM; they come back as the degrees they were made of."""
    pyogrio = pytest.importorskip("pyogrio", reason="the test extra pyogrio is not installed")
    x, y = utm(LON, LAT)
    more = struct.pack("<d", 12.0) if geometry == "Point Z" else b""
    kind = {"Point": 1, "Point Z": 1001, "MultiPoint": 1}[geometry]
    blobs = [b"\1" + struct.pack("<Idd", kind, *p) + more for p in zip(x, y, strict=True)]
    if geometry == "MultiPoint":
        blobs = [b"\1" + struct.pack("<II", 4, 1) + blob for blob in blobs]
    path = tmp_path / "wells.gpkg"
    fields = [np.array([r[0] for r in ROWS], object), np.array([r[1] for r in ROWS]),
              np.array([np.nan if r[2] is None else r[2] for r in ROWS])]  # fmt: skip
    pyogrio.raw.write(
        path, np.array(blobs, object), fields, NAMES, layer="bores", geometry_type=geometry, crs="EPSG:32610",
        driver="GPKG",
    )  # fmt: skip
    found = frame(opened(path)[0])
    assert found["Well ID"].tolist() == ["W-1", "W-2", "W-3"]
    assert found["Depth (ft)"].tolist() == ["240", "180", "95.25"]
    assert found["Static water level (ft)"].tolist()[0::2] == ["60.5", "12"]
    # one part in 1e9 of a degree is a tenth of a millimetre
    assert found["longitude"].astype(float).to_numpy() == pytest.approx(LON, abs=1e-8)
    assert found["latitude"].astype(float).to_numpy() == pytest.approx(LAT, abs=1e-8)


def package(path: Path, *tables: tuple[str, str, str, int], extra: str = "") -> sqlite3.Connection:
    base = sqlite3.connect(path)
    base.executescript(
        "CREATE TABLE gpkg_contents (table_name TEXT, data_type TEXT, srs_id INTEGER);"
        "CREATE TABLE gpkg_geometry_columns (table_name TEXT, column_name TEXT, srs_id INTEGER);"
        "CREATE TABLE gpkg_spatial_ref_sys (srs_id INTEGER, organization TEXT, organization_coordsys_id INTEGER,"
        " definition TEXT);"
        "INSERT INTO gpkg_spatial_ref_sys VALUES (4326, 'EPSG', 4326, ''), (0, 'NONE', 0, ''), (-1, 'NONE', -1, '');"
    )
    for name, kind, sql, srs in tables:
        base.execute("INSERT INTO gpkg_contents VALUES (?, ?, ?)", (name, kind, srs))
        if kind == "features":
            base.execute("INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?)", (name, srs))
        base.execute(sql)
    base.executescript(extra)
    return base


def blob(x: float, y: float, flags: int = 1) -> bytes:
    return b"GP\0" + bytes([flags]) + struct.pack("<i", 4326) + b"\1" + struct.pack("<Idd", 1, x, y)


def test_layers_and_attribute_tables_are_tables_of_their_own(tmp_path: Path) -> None:
    path = tmp_path / "in.gpkg"
    base = package(
        path,
        ("wells", "features", 'CREATE TABLE wells (fid INTEGER PRIMARY KEY, geom BLOB, "Well ID" TEXT, made DATETIME)', 4326),
        ("tests", "attributes", 'CREATE TABLE tests ("Well ID" TEXT, "Yield (gpm)" REAL)', 0),
        ("tiles", "tiles", "CREATE TABLE tiles (x INTEGER)", 4326),
    )
    base.execute("INSERT INTO wells VALUES (1, ?, 'A', '2020-05-01T00:00:00Z'), (2, NULL, 'B', NULL)", (blob(10, 60),))
    base.execute("INSERT INTO tests VALUES ('A', 12.5), ('B', 3)")
    base.commit()
    base.close()
    found = opened(path)
    assert [o.name for o in found] == ["in.gpkg: wells", "in.gpkg: tests"]
    wells = frame(found[0])
    assert wells["longitude"].tolist() == ["10", ""] and wells["made"].tolist() == ["2020-05-01", ""]
    assert frame(found[1])["Yield (gpm)"].tolist() == ["12.5", "3"]
    again = opened_from_zip(tmp_path, path)
    assert [o.name for o in again] == ["a.zip: wells", "a.zip: tests"] and frame(again[0]).equals(wells)


def opened_from_zip(tmp_path: Path, *paths: Path) -> list[Opened]:
    archive = tmp_path / "a.zip"
    with zipfile.ZipFile(archive, "w") as handle:
        for path in paths:
            handle.write(path, f"folder/{path.name}")
    return opened(archive)


def test_points_of_an_unknown_system_are_not_guessed(tmp_path: Path) -> None:
    for srs, wanted in ((-1, None), (0, "10")):
        path = tmp_path / f"in{srs}.gpkg"
        base = package(path, ("w", "features", "CREATE TABLE w (geom BLOB, a TEXT, b TEXT)", srs))
        base.execute("INSERT INTO w VALUES (?, 'x', 'y')", (blob(10, 60),))
        base.commit()
        base.close()
        found = opened(path)[0]
        assert ("longitude" in frame(found)) == (wanted is not None)
        assert any("reference system" in note for note in found.told())


def test_a_database_that_is_no_geopackage_and_a_view_without_end(tmp_path: Path) -> None:
    path = tmp_path / "plain.gpkg"
    base = sqlite3.connect(path)
    base.execute("CREATE TABLE a (b TEXT)")
    base.commit()
    base.close()
    with pytest.raises(SourceError, match="no GeoPackage"):
        opened(path)
    path = tmp_path / "endless.gpkg"
    view = "CREATE VIEW v AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT count(*) AS a, 1 AS b FROM n"
    base = package(path, ("v", "attributes", view, 0))
    base.commit()
    base.close()
    with pytest.raises(SourceError, match="broken or locked"):
        opened(path)


def test_reference_well_known_binary_of_the_standard() -> None:
    """OGC 06-103r4, 8.2: byte order, type, ordinates; both orders, heights by thousands and by the high bit."""
    assert wkb_point(b"\1" + struct.pack("<Idd", 1, 2.0, 4.0)) == (2.0, 4.0)
    assert wkb_point(b"\0" + struct.pack(">Idd", 1, 2.0, 4.0)) == (2.0, 4.0)
    assert wkb_point(b"\1" + struct.pack("<Iddd", 1001, 2.0, 4.0, 9.0)) == (2.0, 4.0)
    assert wkb_point(b"\1" + struct.pack("<IIddd", 0xA0000001, 4326, 2.0, 4.0, 9.0)) == (2.0, 4.0)
    one = b"\1" + struct.pack("<Idd", 1, 2.0, 4.0)
    assert wkb_point(b"\1" + struct.pack("<II", 4, 2) + one + one) == (2.0, 4.0)
    for broken in (b"", b"\1", one[:-1], b"\1" + struct.pack("<II", 4, 2**31) + one, b"\1" + struct.pack("<II", 2, 0)):
        assert np.isnan(wkb_point(broken)).all()


def test_geometries_of_unlike_heads_are_read_one_by_one() -> None:
    """OGC 12-128r18, 2.1.3: envelopes of 0, 32 or 48 bytes, the flag of an empty geometry."""
    with_box = b"GP\0\x03" + struct.pack("<i", 4326) + bytes(32) + blob(3, 4)[8:]
    empty = blob(np.nan, np.nan, 0x11)
    x, y = package_points([blob(1, 2), None, with_box, b"no", empty, blob(5, 6, 0)])
    assert x.tolist()[0] == 1 and x[2] == 3 and y[2] == 4 and x[5] == 5
    assert np.isnan(x[[1, 3, 4]]).all()


# --- shapefile ---


def shapefile(folder: Path, kind: int, crs: str = "EPSG:32610") -> Path:
    shapefile = pytest.importorskip("shapefile", reason="the test extra pyshp is not installed")
    from pyproj import CRS

    x, y = utm(LON, LAT)
    with shapefile.Writer(str(folder / "bores"), shapeType=kind) as out:
        for name in ("WELL_ID", "DEPTH_FT", "OWNER"):
            out.field(name, "C" if name != "DEPTH_FT" else "N", size=20, decimal=0 if name != "DEPTH_FT" else 2)
        for n, (east, north) in enumerate(zip(x, y, strict=True)):
            if kind == shapefile.POINT:
                out.point(east, north)
            elif kind == shapefile.POINTZ:
                out.pointz(east, north, 5.0)
            else:
                out.multipoint([[east, north]])
            out.record(f"W-{n}", 100 + n / 4, "Zoë")
    if crs:
        (folder / "bores.prj").write_text(CRS.from_user_input(crs).to_wkt("WKT1_ESRI"), encoding="utf-8")
    (folder / "bores.cpg").write_text("UTF-8", encoding="utf-8")
    return folder / "bores.shp"


@pytest.mark.parametrize("kind", [1, 11, 8])
def test_reference_a_shapefile_of_a_general_library(tmp_path: Path, kind: int) -> None:
    """pyshp writes points, points with heights and multi-points; the parts are one table."""
    folder = tmp_path / "shape"
    folder.mkdir()
    path = shapefile(folder, kind)
    files = list_files([folder])
    assert [f.name for f in files] == ["bores.shp"] and set(files[0].parts) >= {".dbf", ".shp", ".prj", ".shx"}
    found = frame(next(iter(open_file(files[0]))))
    assert found["longitude"].astype(float).to_numpy() == pytest.approx(LON, abs=1e-8)
    assert found["latitude"].astype(float).to_numpy() == pytest.approx(LAT, abs=1e-8)
    assert found["DEPTH_FT"].tolist() == ["100", "100.25", "100.5"] and found["OWNER"].tolist() == ["Zoë"] * 3
    zipped = opened_from_zip(tmp_path, *sorted(folder.iterdir()))
    assert len(zipped) == 1 and frame(zipped[0]).equals(found)
    assert frame(opened(path)[0]).equals(found) and frame(opened(path.with_suffix(".dbf"))[0]).equals(found)


def test_a_shapefile_without_its_parts(tmp_path: Path) -> None:
    path = shapefile(tmp_path, 1, crs="")
    found = opened(path)[0]
    assert "longitude" not in frame(found) and any("no .prj" in note for note in found.told())
    path.write_bytes(path.read_bytes()[:90])
    found = opened(path)[0]
    assert len(frame(found)) == 3 and any("without places" in note for note in found.told())
    path.with_suffix(".dbf").unlink()
    with pytest.raises(SourceError, match=r"put the \.dbf"):
        opened(path)


def test_deleted_records_take_their_points_with_them(tmp_path: Path) -> None:
    path = shapefile(tmp_path, 1)
    table = bytearray(path.with_suffix(".dbf").read_bytes())
    top, width = struct.unpack_from("<HH", table, 8)
    table[top + width] = ord("*")
    path.with_suffix(".dbf").write_bytes(table)
    found = frame(opened(path)[0])
    assert found["WELL_ID"].tolist() == ["W-0", "W-2"]
    assert found["longitude"].astype(float).to_numpy() == pytest.approx(LON[[0, 2]], abs=1e-8)


def test_shapes_of_lengths_that_lie_do_not_hang() -> None:
    head = struct.pack(">i20xi", 9994, 50) + struct.pack("<ii64x", 1000, 1)
    for length in (-1, 0, 2**30):
        body = struct.pack(">ii", 1, length) + struct.pack("<idd", 1, 1.0, 2.0)
        x, _, points = shape_points(np.frombuffer(head + body + b"\0", np.uint8), "a.shp")
        assert points and len(x) <= 1


def test_a_dbf_head_that_tells_too_many_records(tmp_path: Path) -> None:
    path = shapefile(tmp_path, 1).with_suffix(".dbf")
    table = bytearray(path.read_bytes())
    struct.pack_into("<I", table, 4, 2**32 - 1)
    path.write_bytes(table)
    found = opened(path)[0]
    assert len(frame(found)) >= 3 and any("head tells" in note for note in found.told())


# --- places ---


def test_reference_places_of_a_worked_example() -> None:
    """EPSG guidance note 7-2, Transverse Mercator: OSGB 1936 / British National Grid 577274.99 E 69740.50 N is
    50°30'00" N 0°30'00" E on its own datum (from memory); WGS 84 lies within 150 m of it."""
    lon, lat = to_wgs84([577274.99], [69740.50], "EPSG:27700", "x")
    assert lon[0] == pytest.approx(0.5, abs=0.002) and lat[0] == pytest.approx(50.5, abs=0.002)
    with pytest.raises(SourceError, match="reference system"):
        to_wgs84([1.0], [2.0], "EPSG:999999", "x")


# --- GeoJSON ---


def feature(n: int, geometry: dict) -> str:
    return json.dumps({"type": "Feature", "geometry": geometry, "properties": {"Well ID": f"W{n}", "Depth (ft)": 100 + n}})


def test_a_feature_a_line_with_a_broken_one(tmp_path: Path) -> None:
    lines = [feature(1, {"type": "Point", "coordinates": [10, 60]}), '{"type": "Feature", broken', "",
             "\x1e" + feature(2, {"type": "MultiPoint", "coordinates": [[11, 61]]}),
             feature(3, {"type": "MultiPoint", "coordinates": [[11, 61], [12, 62]]})]  # fmt: skip
    path = tmp_path / "wells.geojsonl"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    layout = tmp_path / "fenmark_points.toml"
    layout.write_text(
        '[source]\nid = "fenmark_points"\n[tables.wells]\nrole = "wells"\nmatch = ["Well ID"]\nid = "Well ID"\n'
        '[tables.wells.columns.depth_completed_m]\nfrom = "Depth (ft)"\nunit = "ft"\n', encoding="utf-8")  # fmt: skip
    intake = read_inputs([path], Settings(layouts=(layout,)))
    found = intake.tables[0].frame
    assert found["_line"].tolist() == [1, 4, 5] and found["_row"].tolist() == [1, 3, 4]
    assert intake.quarantine["source_line"].tolist() == [2] and intake.ledger[0].quarantined == {"bad_json": 1}
    at = int(intake.quarantine["byte_offset"].iloc[0])
    assert path.read_bytes()[at : at + int(intake.quarantine["byte_length"].iloc[0])] == lines[1].encode()
    assert frame(opened(path)[0])["longitude"].tolist() == ["10", "11", ""]


def test_points_of_an_older_document_in_its_own_system(tmp_path: Path) -> None:
    x, y = utm(LON[:1], LAT[:1])
    path = tmp_path / "wells.geojson"
    point = {"type": "Point", "coordinates": [x[0], y[0]]}
    told = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32610"}}
    document = {"type": "FeatureCollection", "crs": told, "features": [json.loads(feature(1, point))]}
    path.write_text(json.dumps(document), encoding="utf-8")
    found = frame(opened(path)[0])
    assert float(found["longitude"].iloc[0]) == pytest.approx(LON[0], abs=1e-8)


def test_places_among_the_properties_come_before_those_of_the_points(tmp_path: Path) -> None:
    path = tmp_path / "wells.geojson"
    point = {"type": "Point", "coordinates": [10, 60]}
    row = {"type": "Feature", "geometry": point, "properties": {"Latitude": 60.1, "Longitude": 10.1, "a": 1}}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [row, row]}), encoding="utf-8")
    found = opened(path)[0]
    assert list(frame(found).columns[:3]) == ["Latitude", "Longitude", "a"]
    assert any("own columns" in note for note in found.told())


# --- workbooks ---


def test_reference_every_sheet_that_is_a_table(tmp_path: Path) -> None:
    """openpyxl writes a book with a cover sheet, a group row of merged cells, and a second table."""
    import openpyxl

    book = openpyxl.Workbook()
    book.active.append(["A register, invented"])
    wells = book.create_sheet("wells")
    for row in (["Register"], ["Well ID", "Casing", None, "Depth"], [None, "diameter", "length", None],
                [None, "in", "ft", "ft"], [None, "caliper", "tape", "tape"], ["A", 6, 40, 200], ["B", 6, 60, "#DIV/0!"],
                [], ["Source: the register"]):  # fmt: skip
        wells.append(row)
    wells.merge_cells("B2:C2")
    levels = book.create_sheet("levels")
    for row in (["Well ID", "SWL (ft)"], ["A", 20], ["B", 35.5]):
        levels.append(row)
    path = tmp_path / "book.xlsx"
    book.save(path)
    found = opened(path)
    assert [o.name for o in found] == ["book.xlsx: wells", "book.xlsx: levels"]
    heads = [h for h, _ in found[0].heads() if h.lines == 2]
    assert heads[0].cells == ("Well ID", "Casing diameter", "Casing length", "Depth")
    grid = found[0].grids[0]  # type: ignore[index]
    parsed = found[0].parse(heads[0], grid, None)
    assert found[0].units(heads[0], grid) == ["", "in", "ft", "ft"]
    assert parsed.frame["Casing length"].tolist() == ["40", "60"] and parsed.frame["Depth"].tolist() == ["200", "#DIV/0!"]
    assert parsed.frame["_line"].tolist() == [6, 7]
    assert dict(parsed.kinds) == {"header": 5, "records": 2, "blank": 1, "footer": 1}


def test_two_tables_in_one_sheet(tmp_path: Path) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    for row in (["Wells"], ["Well ID", "Depth (ft)", "County"], ["A", 200, "Fenmark"], ["B", 300, "Ailwy"], [],
                ["Casing"], ["Well ID", "Casing diameter (in)"], ["A", 6], ["B", 5]):  # fmt: skip
        book.active.append(row)
    path = tmp_path / "book.xlsx"
    book.save(path)
    one, two = opened(path)
    assert one.name == "book.xlsx: Sheet, rows 1 to 4" and two.name == "book.xlsx: Sheet, rows 5 to 9"
    head, grid = next((h, g) for h, g in two.heads() if "Well ID" in h.cells)
    assert two.parse(head, grid, None).frame["_line"].tolist() == [8, 9]


def test_parts_of_a_shapefile_alone_stay_files(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "a.prj").write_text("x", encoding="utf-8")
    assert [f.name for f in list_files([tmp_path / "in"])] == ["a.prj"]
    assert isinstance(list_files([tmp_path / "in"])[0], InputFile)
