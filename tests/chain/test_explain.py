"""One well explained: the same numbers as the run, every record with its unit, nothing heavy loaded."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

import pipeline
from pipeline import io, sheet
from pipeline.chain import PER_WELL
from pipeline.errors import UsageError
from pipeline.settings import Settings

ROOT = Path(__file__).resolve().parents[2]
KEYS = ["wells", "design", "selection", "options", "not_chosen", "risks", "bill_lines", "calculation"]


def test_shape_of_the_answer():
    found = pipeline.explain({"depth_static": "120 ft", "flow_duty": "10 gpm", "use": "domestic"})
    assert list(found)[: len(KEYS)] == KEYS
    assert {name for name in PER_WELL} <= set(found)
    json.dumps(found, allow_nan=False)
    assert all(isinstance(rows, list) for rows in found.values())
    assert len(found["options"]) >= 100
    for option in found["options"]:
        assert {"option_id", "family", "checks"} <= set(option)
        for check in option["checks"]:
            assert {"check", "need", "have", "unit", "utilisation", "passes"} <= set(check)
            if check["passes"] is not None and check["utilisation"] is not None:
                assert check["passes"] == (check["utilisation"] <= 1)
    assert found["wells"][0]["depth_static_m"] == pytest.approx(36.576)
    assert found["wells"][0]["unit"]["depth_static_m"] == "m"
    assert found["design"][0]["flow_duty_basis_code"] == "recorded"


def test_explain_agrees_with_the_run(sample_run):
    choice = io.read_table("selection", sample_run)
    picked = choice[choice["option_id"].notna()].iloc[[0, 400, 900, -1]]
    for _, row in picked.iterrows():
        found = sheet.of_run(sample_run, f"{row['source_id']}:{row['well_id']}", Settings())
        assert found["selection"][0]["option_id"] == row["option_id"]
        chosen = next(o for o in found["options"] if o["option_id"] == row["option_id"])
        assert chosen["passes"]
        assert chosen["quantities"]["total"] == pytest.approx(row["head_total_dynamic_m"], rel=1e-12)
        best = min((o for o in found["options"] if o["passes"]), key=lambda o: o["score"])
        assert best["option_id"] == row["option_id"]
        assert sheet.text(found, "metric") and sheet.text(found, "us")


@pytest.mark.parametrize(
    ("given", "word"),
    [("depht_static=120 ft", "no such field"), ("depth_static=120", "no unit"), ("depth_static=120 gpm", "cannot be read"),
     ("use=castle", "one of"), ("depth_static=99999 m", "outside"), ("depth_static", "NAME=VALUE"),
     ("depth_static=deep ft", "not a number")],
)  # fmt: skip
def test_wrong_values_are_told(given, word):
    with pytest.raises(UsageError, match=word):
        sheet.of_values([given], Settings())


def test_unknown_and_left_out_wells_are_told(sample_run):
    with pytest.raises(UsageError, match="not in"):
        sheet.of_run(sample_run, "nowhere", Settings())
    gone = io.read_table("excluded", sample_run).dropna(subset=["well_id"])
    kept = set(io.read_table("wells", sample_run)["well_id"])
    well = next(w for w in gone["well_id"] if w not in kept)
    with pytest.raises(UsageError, match="left out"):
        sheet.of_run(sample_run, well, Settings())


def test_explain_does_not_load_the_validation_library():
    code = (
        "import sys, pipeline; pipeline.explain({'depth_static': '120 ft'});"
        "assert 'great_expectations' not in sys.modules and 'matplotlib' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)
