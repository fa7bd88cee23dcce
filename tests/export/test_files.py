"""CSV for people, points for maps, the data package."""

import csv
import json

import numpy as np
import pandas as pd
import pytest

from pipeline import export, io, schema
from pipeline.errors import UsageError
from pipeline.export import display, files


def read_csv(folder, table):
    with (folder / "csv" / f"{table}.csv").open(encoding="utf-8-sig", newline="") as handle:
        return list(csv.DictReader(handle))


def test_reference_csv_in_us_units(run_folder):
    # 1 ft = 0.3048 m exactly; 1 US gal = 231 cubic inches exactly (NIST Special Publication 811, appendix B)
    export.write_csv(run_folder, "us")
    rows, wells = read_csv(run_folder, "selection"), io.read_table("selection", run_folder)
    assert len(rows) == len(wells)
    for row, metres, flow in zip(rows, wells["length_drop_pipe_m"], wells["flow_duty_m3_per_s"], strict=True):
        assert float(row["Drop pipe [ft]"]) == pytest.approx(metres / 0.3048, abs=0.051)
        assert float(row["Duty flow [gpm]"]) == pytest.approx(flow * 60 / (231 * 0.0254**3), abs=0.051)


def test_csv_in_metric_units_and_words(run_folder):
    export.write_csv(run_folder, "metric")
    rows, wells = read_csv(run_folder, "selection"), io.read_table("selection", run_folder)
    assert float(rows[3]["Drop pipe [m]"]) == pytest.approx(wells["length_drop_pipe_m"].iloc[3], abs=0.0051)
    assert {row["Use"] for row in rows} <= set(schema.codes("use").values())
    assert {row["Grade"] for row in rows} <= {f"{c}: {t}" for c, t in schema.codes("grade").items()}
    titles = {row["title"] for row in schema.rows("checks")}
    assert {row["What governs"] for row in rows} - {""} <= titles
    assert b"\r\n" in (run_folder / "csv" / "selection.csv").read_bytes()[:2000]


def test_reference_units_that_stand_in_the_row_are_converted(run_folder):
    # 1 psi = 6894.757 Pa (NIST Special Publication 811, appendix B.8)
    frame = pd.DataFrame({"need": [2e6, 5.0, 7.1], "have": [1e6, 10.0, 6.5], "unit": ["Pa", "m", "[pH]"]})
    shown = display.unit_by_row(frame, "us")
    assert shown["need"].tolist() == pytest.approx([2e6 / 6894.757, 5 / 0.3048, 7.1], rel=1e-6)
    assert shown["unit"].tolist() == ["psi", "ft", "[pH]"]
    metric = display.unit_by_row(frame, "metric")
    assert metric["need"].tolist() == pytest.approx([2000.0, 5.0, 7.1]) and metric["unit"].tolist() == ["kPa", "m", "[pH]"]


@pytest.mark.parametrize("units", ["us", "metric"])
def test_headers_are_unique_in_every_table(units):
    for table in schema.tables():
        headers = [display.header(c.field.name, units) for c in schema.table(table)]
        assert len(set(headers)) == len(headers), table


RISKY = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1"]


def test_no_text_cell_begins_a_formula(run_folder):
    issues = io.read_table("issues", run_folder)
    issues["found"] = (RISKY * len(issues))[: len(issues)]
    issues["used"] = -1.5
    issues["used"] = "a=b"
    io.write_table("issues", issues, run_folder)
    export.write_csv(run_folder, "us")
    rows = read_csv(run_folder, "issues")
    assert {row["Found"] for row in rows} == {"'" + text for text in RISKY}
    assert {row["Used instead"] for row in rows} == {"a=b"}


def test_numbers_are_left_numbers():
    text = files.guarded(pd.Series(["-12", "12", None, "x"]))
    assert text.tolist()[:2] == ["'-12", "12"] and text.isna()[2]
    frame = display.for_people("wells", _one_well(longitude_deg=-100.5, depth_static_m=-2.0), "metric")
    assert frame["Longitude [°]"].tolist() == [-100.5] and frame["Static level [m]"].tolist() == [-2.0]


def _one_well(**values) -> pd.DataFrame:
    columns = {c.field.name: [values.get(c.field.name)] for c in schema.table("wells")}
    frame = pd.DataFrame(columns)
    for column in schema.table("wells"):
        if column.field.type in ("number", "integer"):
            frame[column.field.name] = frame[column.field.name].astype(float)
    return frame


def test_long_tables_are_left_out_and_said(run_folder):
    written = export.write_csv(run_folder, "us", most_rows=130)
    assert written["wells"] == 120 and written["not_chosen"] is None
    assert written["demand"] and not (run_folder / "csv" / "not_chosen.csv").exists()


def test_points(run_folder):
    # form of the file: RFC 7946, The GeoJSON Format (longitude first, WGS 84, bbox west south east north)
    told = export.write_geojson(run_folder)
    text = (run_folder / "geo" / "wells.geojson").read_text(encoding="utf-8")
    assert "NaN" not in text
    found = json.loads(text)
    wells = io.read_table("wells", run_folder)
    placed = wells[wells["latitude_deg"].notna()]
    assert told == {"written": len(placed), "without_point": len(wells) - len(placed), "too_many": 0}
    assert len(found["features"]) == len(placed) and told["without_point"] > 0
    want = placed.set_index("well_id")
    for feature in found["features"]:
        lon, lat = feature["geometry"]["coordinates"]
        assert lon == pytest.approx(want.loc[feature["properties"]["well_id"], "longitude_deg"], abs=5e-8)
        assert lat == pytest.approx(want.loc[feature["properties"]["well_id"], "latitude_deg"], abs=5e-8)
    assert list(found["features"][0]["properties"]) == [c.field.name for c in schema.table("selection")]
    west, south, east, north = found["bbox"]
    assert west < east < -90 and 40 < south < north


def test_points_that_are_no_points_are_left_out(run_folder):
    wells = io.read_table("wells", run_folder)
    wells[["latitude_deg", "longitude_deg"]] = [45.123456789, -100.0]
    wells.loc[0, "latitude_deg"] = np.nan
    wells.loc[1, "longitude_deg"] = np.inf
    wells.loc[2, "latitude_deg"] = 91.0
    io.write_table("wells", wells, run_folder)
    assert export.write_geojson(run_folder)["without_point"] == 3
    assert "[-100.0,45.1234568]" in (run_folder / "geo" / "wells.geojson").read_text(encoding="utf-8")


def test_too_many_wells_for_points(run_folder):
    export.write_geojson(run_folder)
    assert export.write_geojson(run_folder, most_wells=100)["too_many"] == 120
    assert not (run_folder / "geo" / "wells.geojson").exists()


def test_same_tables_give_the_same_bytes(run_folder, monkeypatch, tmp_path):
    def everything():
        export.write_csv(run_folder, "us")
        export.write_geojson(run_folder)
        export.write_datapackage(run_folder, "us")
        paths = [*run_folder.glob("csv/*"), run_folder / "geo" / "wells.geojson", run_folder / "datapackage.json"]
        return {path.name: path.read_bytes() for path in paths}

    first = everything()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TZ", "Asia/Kathmandu")
    assert everything() == first
    assert not any(str(run_folder).encode() in content for content in first.values())


def test_package_describes_every_file(run_folder):
    export.write_csv(run_folder, "us")
    export.write_datapackage(run_folder, "us")
    package = json.loads((run_folder / "datapackage.json").read_text(encoding="utf-8"))
    names = [resource["name"] for resource in package["resources"]]
    assert len(set(names)) == len(names)
    for resource in package["resources"]:
        assert (run_folder / resource["path"]).is_file()
        columns = [field["name"] for field in resource["schema"]["fields"]]
        assert set(resource["schema"].get("primaryKey", [])) <= set(columns)
        if resource["format"] == "csv":
            with (run_folder / resource["path"]).open(encoding="utf-8-sig", newline="") as handle:
                assert next(csv.reader(handle)) == columns
            _values_fit(run_folder / resource["path"], resource["schema"])
    wells = next(r for r in package["resources"] if r["name"] == "wells")
    static = next(f for f in wells["schema"]["fields"] if f["name"] == "depth_static_m")
    assert (static["unit"], static["ucum"], static["type"]) == ("m", "m", "number")
    shown = next(r for r in package["resources"] if r["name"] == "wells-csv")
    static = next(f for f in shown["schema"]["fields"] if f["source_column"] == "depth_static_m")
    assert (static["name"], static["unit"], static["ucum"]) == ("Static level [ft]", "ft", "[ft_i]")


def _values_fit(path, described) -> None:
    """Cells are of the type and code list that the package names (Table Schema, version 1)."""
    with path.open(encoding="utf-8-sig", newline="") as handle:
        rows = list(csv.DictReader(handle))
    for field in described["fields"]:
        cells = [row[field["name"]] for row in rows if row[field["name"]] != ""]
        if field["type"] in ("number", "integer"):
            assert all(float(cell) == float(cell) for cell in cells)
        if field["type"] == "integer":
            assert all(cell.lstrip("-").isdigit() for cell in cells), (path.name, field["name"], cells[:3])
        if field["type"] == "boolean":
            assert set(cells) <= {"yes", "no"}
        if field["type"] == "date":
            assert all(len(cell) == 10 and cell[4] == "-" for cell in cells)
        if "enum" in field.get("constraints", {}):
            assert set(cells) <= set(field["constraints"]["enum"]), (path.name, field["name"])


def test_faults_are_told(tmp_path, run_folder):
    with pytest.raises(UsageError, match="no tables"):
        export.write_csv(tmp_path, "us")
    with pytest.raises(UsageError, match="write us or metric"):
        export.write_csv(run_folder, "furlongs")
    assert not (run_folder / ".csv.writing").exists()
