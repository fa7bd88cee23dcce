"""The data package under the reference library of its standard."""

import json

import pytest

from pipeline import export

frictionless = pytest.importorskip("frictionless")


def test_reference_frictionless_takes_every_csv_of_the_package(run_folder):
    export.write_csv(run_folder, "us")
    export.write_datapackage(run_folder, "us")
    told = json.loads((run_folder / "datapackage.json").read_text())
    tables = [r["name"] for r in told["resources"] if r["format"] == "csv"]
    assert len(tables) > 5
    told["resources"] = [r for r in told["resources"] if r["format"] == "csv"]
    package = frictionless.Package.from_descriptor(told, basepath=str(run_folder))
    report = package.validate(limit_errors=5)
    assert report.valid, report.flatten(["name", "rowNumber", "fieldName", "type", "note"])[:5]


def test_reference_frictionless_knows_the_whole_descriptor(run_folder):
    export.write_csv(run_folder, "metric")
    export.write_datapackage(run_folder, "metric")
    package = frictionless.Package.from_descriptor(str(run_folder / "datapackage.json"))
    assert {r.name for r in package.resources} >= {"wells", "selection", "wells-csv"}
    for resource in package.resources:
        assert resource.schema.field_names, resource.name
