"""Points of GeoJSON (RFC 7946) read as a table; the places are invented."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pipeline.errors import SourceError
from pipeline.ingest import read_inputs
from pipeline.normalise import to_records
from pipeline.settings import Settings


def feature(number: int, lon: float, lat: float, **properties: object) -> dict:
    return {"type": "Feature", "id": number, "geometry": {"type": "Point", "coordinates": [lon, lat, 12.0]},
            "properties": properties}  # fmt: skip


def put(tmp_path: Path, features: list[dict], **more: object) -> Path:
    path = tmp_path / "wells.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features, **more}), encoding="utf-8")
    return path


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")


def test_properties_become_columns_and_places_are_wgs_84(tmp_path: Path) -> None:
    wells = [
        feature(1, -139.25, 41.5, **{"Well ID": "007", "Well Depth (ft)": 240, "SWL (ft)": 60.5, "In use": True}),
        feature(2, -139.5, 41.75, **{"Well ID": "008", "Well Depth (ft)": None, "County": "Fenmark", "x": {"y": 1}}),
    ]
    intake = read_inputs([put(tmp_path, wells)], Settings())
    assert intake.ledger[0].rows_read == 2
    records = to_records(intake, Settings()).wells.set_index("well_id")
    assert records.loc["007", ["longitude_deg", "latitude_deg"]].tolist() == [-139.25, 41.5]
    # 1 ft = 0.3048 m exactly (1959 agreement)
    assert records.loc["007", "depth_completed_m"] == pytest.approx(73.152)
    assert records.loc["008", "region_code"] == "Fenmark" and records.loc["008", "depth_completed_m"] is not None


def test_a_layout_knows_the_table_by_its_properties(tmp_path: Path) -> None:
    layout = tmp_path / "fenmark_points.toml"
    layout.write_text(
        '[source]\nid = "fenmark_points"\n[tables.wells]\nrole = "wells"\nmatch = ["BORE", "TIEFE"]\nid = "BORE"\n'
        '[tables.wells.columns.depth_completed_m]\nfrom = "TIEFE"\nunit = "m"\n'
        '[tables.wells.columns.latitude_deg]\nfrom = "latitude"\n'
        '[tables.wells.columns.longitude_deg]\nfrom = "longitude"\n', encoding="utf-8")  # fmt: skip
    path = put(tmp_path, [feature(1, 10.5, 60.25, BORE="A", TIEFE="45"), {"type": "Feature", "geometry": None,
               "properties": {"BORE": "B", "TIEFE": 50}}])  # fmt: skip
    records = to_records(read_inputs([path], Settings(layouts=(layout,))), Settings())
    wells = records.wells.set_index("well_id")
    assert wells.loc["A", "latitude_deg"] == 60.25 and wells["latitude_deg"].isna().tolist() == [False, True]
    assert set(wells["source_id"]) == {"fenmark_points"} and records.ledger[0].balances()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('{"a": 1}', "no GeoJSON collection"), ("{broken", "broken"), ("{" * 5000, "broken"),
        ('{"type": "FeatureCollection", "features": []}', "without a point"),
        ('{"type": "FeatureCollection", "features": [7, null]}', "without a point"),
        ('{"type": "FeatureCollection", "features": [{"geometry": {"type": "LineString", "coordinates": []}}]}',
         "without a point"),
        ('{"type": "FeatureCollection", "crs": {"properties": {"name": "urn:ogc:def:crs:EPSG::32610"}}, "features": []}',
         "32610"),
    ],
)  # fmt: skip
def test_what_is_no_table_of_points_is_told(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "wells.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SourceError, match=says):
        read_inputs([path], Settings())


def test_points_without_a_word_that_is_known_get_a_proposal(tmp_path: Path) -> None:
    with pytest.raises(SourceError) as raised:
        read_inputs([put(tmp_path, [feature(1, 10.0, 60.0, Alpha=1, Depth=40)])], Settings())
    assert raised.value.exit_code == 2 and (Path.cwd() / "wells.layout.toml").is_file()
