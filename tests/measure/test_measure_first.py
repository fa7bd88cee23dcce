"""What to measure first: worth of each missing value, by hand on single wells, and over a run."""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner
from wells import G1, wells_of

from pipeline import cli, io, measure, schema
from pipeline.design_point import design, learn
from pipeline.settings import Settings

PLAIN = Settings(draws=4)
KNOWN = G1 | {"depth_pump": "140 ft", "chloride": "20 mg/L"}


def rows_of(*rows: dict[str, str]) -> pd.DataFrame:
    wells = wells_of(*rows)
    comparable = learn(wells, PLAIN)
    return measure.of_chunk(wells, design(wells, PLAIN, comparable), PLAIN, comparable)


def test_a_well_of_which_all_is_known_has_nothing_to_measure():
    assert rows_of(KNOWN).empty


@pytest.mark.parametrize(
    ("lacking", "code"),
    [("depth_static", "static_level"), ("depth_pump", "pump_setting"), ("acidity_ph", "acidity")],
)
def test_only_what_is_missing_is_asked_for(lacking: str, code: str):
    found = rows_of({k: v for k, v in KNOWN.items() if k != lacking})
    assert set(found["measurement_code"]) <= {code, "static_level", "pump_setting"}


def test_a_depth_alone_wants_level_and_test():
    found = rows_of({"depth_completed": "400 ft", "use": "domestic"}).set_index("measurement_code")
    assert {"static_level", "pump_setting"} <= set(found.index)
    assert (found["length_at_stake_m"] > 0).all() and (found["length_narrowed_m"] >= 0).all()
    # to know where the pump hangs leaves hardly any doubt of the length: it narrows most
    assert found["length_narrowed_m"].idxmax() == "pump_setting"


def test_the_stake_is_the_band_and_the_string_that_may_be_wrong():
    found = rows_of({"depth_completed": "400 ft", "use": "domestic"})
    wells = wells_of({"depth_completed": "400 ft", "use": "domestic"})
    length = design(wells, PLAIN, learn(wells, PLAIN))["length_drop_pipe_m"].iloc[0]
    worked = found["length_narrowed_m"] + found["choice_change_fraction"] * length
    pd.testing.assert_series_equal(found["length_at_stake_m"], worked, check_names=False)
    # each end of the band stands for three tenths of the chance (weights 0.3, 0.4, 0.3; from memory)
    assert set(found["choice_change_fraction"].round(6)) <= {0.0, 0.3, 0.6}


def test_ranks_run_from_one_in_each_region_and_ties_are_stable():
    rows = pd.DataFrame({
        "source_id": "s", "well_id": ["b", "a", "c", "d"], "area_code": "A", "region_code": ["x", "x", "y", "x"],
        "measurement_code": "static_level", "length_at_stake_m": [5.0, 5.0, 1.0, 9.0],
    })  # fmt: skip
    found = measure.ranked(rows, 2).set_index("well_id")["rank_count"]
    assert found.to_dict() == {"d": 1, "a": 2, "c": 1}
    assert measure.ranked(rows.iloc[::-1], 2).set_index("well_id")["rank_count"].to_dict() == found.to_dict()


def test_every_measurement_fills_fields_of_the_wells_and_has_words():
    known = {c.field.name for c in schema.table("wells")}
    labels = schema.codes("measurement")
    for what in measure.measurements():
        assert set(what.fields) <= known and labels[what.name]


@pytest.fixture
def run_copy(sample_run: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(sample_run, tmp_path / "run"))


def test_chunks_equal_the_whole(run_copy: Path):
    whole = measure.measure_first(run_copy, PLAIN, 5)
    first = io.read_table("measure_first", run_copy)
    again = measure.measure_first(run_copy, Settings(draws=4, chunk_wells=211), 5)
    pd.testing.assert_frame_equal(whole, again)
    pd.testing.assert_frame_equal(first, io.read_table("measure_first", run_copy))
    assert first.groupby(["area_code", "region_code"], dropna=False)["rank_count"].max().max() == 5


def test_command(run_copy: Path):
    found = CliRunner().invoke(cli.app, ["measure", "--run", str(run_copy), "--each", "3", "--units", "metric"])
    assert found.exit_code == 0, found.output
    assert "resting level" in found.output and (run_copy / "csv" / "measure_first.csv").is_file()
