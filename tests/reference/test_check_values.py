"""Every row of schemas/reference/check_values.csv, a printed or hand-worked value with its source."""

from __future__ import annotations

import json

import pytest

from pipeline import check_values, schema

ROWS = schema.rows("reference/check_values")


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["check_id"])
def test_reference_check_values(row):
    check = check_values.judge(row)
    assert check.passes, f"{check.what}: {check.found:.6g}, expected {check.expected:.6g} {check.unit} by {check.source}"


def test_data_check_values_are_complete():
    assert len({row["check_id"] for row in ROWS}) == len(ROWS)
    assert {row["formula"] for row in ROWS} == set(check_values.FORMULAS)
    assert {row["reference_id"] for row in ROWS} <= {row["reference_id"] for row in schema.rows("references")}
    assert {row["how"] for row in ROWS} <= {"read", "computed", "memory"}
    used = {name for row in ROWS for name in check_values.inputs(row["inputs"])}
    assert used == set(check_values.SI)
    for row in ROWS:
        relative, absolute = (float(row[name] or 0) for name in ("tolerance_fraction", "tolerance_absolute"))
        assert (0 < relative <= 0.15) or (0 < absolute <= 0.08 * abs(float(row["expected"])) + 0.051), row["check_id"]


def test_a_wrong_expectation_is_told():
    row = {**ROWS[0], "expected": str(2 * float(ROWS[0]["expected"]))}
    found = check_values.judge(row)
    assert not found.passes and found.line()["holds"] == "NO"
    assert not check_values.judge({**ROWS[0], "inputs": ROWS[0]["inputs"].replace("flow=3", "flow=nan")}).passes


@pytest.mark.parametrize("change", [{"formula": "no_such"}, {"inputs": "colour=3"}, {"inputs": "flow=3 gpm"}])
def test_rows_that_cannot_be_read_are_told(change):
    with pytest.raises(check_values.SchemaError, match=r"check_values\.csv"):
        check_values.judge({**ROWS[0], **change})


def test_command_prints_every_value_as_text_and_as_json():
    from typer.testing import CliRunner

    from pipeline.cli import app

    text = CliRunner().invoke(app, ["checks"])
    assert text.exit_code == 0 and text.output.count("\n") >= len(ROWS) + 1
    data = json.loads(CliRunner().invoke(app, ["checks", "--json"]).output)
    assert len(data) == len(ROWS) and {"expected", "found", "deviation", "source"} <= set(data[0])
