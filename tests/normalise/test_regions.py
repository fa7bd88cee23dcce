"""Regions from polygons that the user gives. All places are invented."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from raw_tables import intake, layout, table

from pipeline.errors import UsageError
from pipeline.ingest.polygons import read_polygons
from pipeline.normalise import to_records
from pipeline.normalise.regions import within
from pipeline.settings import Settings, load


def square(west: float, south: float, side: float, **properties) -> dict:
    ring = [[west, south], [west + side, south], [west + side, south + side], [west, south + side], [west, south]]
    return {"type": "Feature", "properties": properties, "geometry": {"type": "Polygon", "coordinates": [ring]}}


def file(folder: Path, *features, name: str = "districts.geojson", **more) -> Path:
    path = folder / name
    path.write_text(json.dumps({"type": "FeatureCollection", "features": list(features), **more}), encoding="utf-8")
    return path


def records(path: Path, **more):
    rows = {"id": ["A", "B", "C", "D", "E"], "lat": ["1.5", "1.5", "1.5", "9.0", ""],
            "lon": ["30.5", "31.5", "30.2", "30.5", ""],
            "region": ["Dunmere County", "DUNMERE", "", "Harvel", "Orrin"], "depth": ["60"] * 5}  # fmt: skip
    return to_records(intake(layout(), table(rows)), Settings(regions=path, **more))


def test_a_point_takes_the_region_of_its_polygon(tmp_path) -> None:
    path = file(tmp_path, square(30, 1, 1, NAME="Dunmere"), square(31, 1, 1, NAME="Harvel"))
    out = records(path)
    found = out.wells.set_index("well_id")["region_code"].to_dict()
    # A agrees but for the word County; B is flagged and keeps its own; C had none; D lies outside
    assert found["B"].casefold() == "dunmere" and found["C"] == "Dunmere" and found["D"] == "Harvel"
    issues = out.issues.set_index("code")
    assert issues.loc["N507", "well_id"] == "B" and "Harvel" in issues.loc["N507", "used"]
    assert issues.loc["N508", "found"] == "1 of 4 points outside all polygons"
    taken = records(path, region_trust="polygon").wells.set_index("well_id")["region_code"].to_dict()
    assert taken == {"A": "Dunmere", "B": "Harvel", "C": "Dunmere", "D": "Harvel", "E": "Orrin"}


def test_the_smallest_of_overlapping_polygons_wins_and_borders_belong(tmp_path) -> None:
    path = file(tmp_path, square(0, 0, 10, name="large"), square(2, 2, 1, name="small"))
    shapes = read_polygons(path)
    lat, lon = np.array([2.5, 5.0, 0.0, 11.0, np.nan]), np.array([2.5, 5.0, 0.0, 5.0, 1.0])
    assert [shapes.names[i] if i >= 0 else None for i in within(shapes, lat, lon)] == ["small", "large", "large", None, None]


def test_property_a_grid_of_squares_equals_arithmetic(tmp_path) -> None:
    squares = [square(x, y, 1, name=f"{x}/{y}") for x in range(10) for y in range(10)]
    shapes = read_polygons(file(tmp_path, *squares))
    rng = np.random.default_rng(3)
    lat, lon = rng.uniform(-1, 11, 5000), rng.uniform(-1, 11, 5000)
    found = within(shapes, lat, lon)
    inside = (lat > 0) & (lat < 10) & (lon > 0) & (lon < 10)
    wanted = np.where(inside, np.floor(lon) * 10 + np.floor(lat), -1)
    assert (found == wanted).all()


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("not json", "no GeoJSON"),
        ("[]", "no collection"),
        ('{"type": "FeatureCollection", "features": []}', "no polygon"),
        ('{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"name": "x"}, '
         '"geometry": {"type": "Point", "coordinates": [1, 2]}}]}', "must be polygons"),
    ],
)  # fmt: skip
def test_a_file_that_is_not_polygons_is_told(tmp_path, content: str, says: str) -> None:
    path = tmp_path / "regions.geojson"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(UsageError, match=says):
        read_polygons(path)


def test_names_and_projections_are_asked_for(tmp_path) -> None:
    with pytest.raises(UsageError, match="which property names"):
        read_polygons(file(tmp_path, square(0, 0, 1, a="x", b="y"), name="a.geojson"))
    assert read_polygons(file(tmp_path, square(0, 0, 1, a="x", b="y"), name="b.geojson"), "b").names.tolist() == ["y"]
    with pytest.raises(UsageError, match="no 'name'"):
        read_polygons(file(tmp_path, square(0, 0, 1, a="x"), name="c.geojson"), "name")
    with pytest.raises(UsageError, match="no degrees"):
        read_polygons(file(tmp_path, square(500000, 4000000, 1000, name="x"), name="d.geojson"))
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}
    with pytest.raises(UsageError, match="WGS 84"):
        read_polygons(file(tmp_path, square(0, 0, 1, name="x"), name="e.geojson", crs=crs))


def test_settings_take_a_file_or_a_table(tmp_path) -> None:
    path = file(tmp_path, square(0, 0, 1, name="x"))
    settings = tmp_path / "s.toml"
    settings.write_text('regions = "districts.geojson"', encoding="utf-8")
    assert load(settings).regions == path.resolve()
    settings.write_text('[regions]\nfile = "districts.geojson"\nname = "name"\ntrust = "polygon"', encoding="utf-8")
    found = load(settings)
    assert (found.region_name, found.region_trust) == ("name", "polygon")
    settings.write_text('[regions]\nfile = "districts.geojson"\ntrust = "me"', encoding="utf-8")
    with pytest.raises(UsageError, match="record or polygon"):
        load(settings)
    with pytest.raises(UsageError, match="no such file"):
        load(None, regions=tmp_path / "none.geojson")
