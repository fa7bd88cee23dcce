"""A fall of the water table: by hand for single wells, and over a whole run."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner
from wells import G1, design_of

from pipeline import cli, io, scenario
from pipeline.design_point.lowered import OUTCOMES, follow, lower
from pipeline.errors import UsageError
from pipeline.settings import Settings

FT = 0.3048
PLAIN = Settings(draws=8)


def moved(fall_ft: float, *rows: dict[str, str]) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    points = design_of(*rows)
    after, moves = lower(points, fall_ft * FT, PLAIN)
    return points, after, moves


def test_reference_a_pump_follows_its_water_by_hand():
    # golden well: pumping level 120 ft with the dry season, pump at 140 ft, 20 ft of water above it; least 10 ft
    points, after, moves = moved(30, G1)
    assert points["depth_pump_m"].iloc[0] / FT == pytest.approx(140, abs=0.5)
    # 20 - 30 = -10 ft < 10 ft: lowered until 20 ft stand above it again, 30 ft
    assert moves["lowering_code"].iloc[0] == "lower"
    assert moves["length_added_m"].iloc[0] / FT == pytest.approx(30, abs=0.1)
    # the widest margin of practice is 50 ft: 50 - 30 = 20 ft stay, nothing to do; the thinnest is 10 ft: 40 ft down
    assert moves["length_added_m_low"].iloc[0] == 0
    assert moves["length_added_m_high"].iloc[0] / FT == pytest.approx(40, abs=0.5)
    for name in ("depth_static_m", "depth_pumping_m", "depth_pump_m", "length_drop_pipe_m", "head_before_friction_m"):
        assert (after[name] - points[name]).iloc[0] / FT == pytest.approx(30, abs=0.1), name


def test_reference_a_small_fall_leaves_the_pump_where_it_hangs():
    # 20 ft of water less 9 ft leave 11 ft, more than the least of 10 ft
    points, after, moves = moved(9, G1)
    assert moves["lowering_code"].iloc[0] == "enough" and moves["length_added_m"].iloc[0] == 0
    assert after["depth_pump_m"].equals(points["depth_pump_m"])
    # the pump lifts from lower down all the same
    assert (after["head_before_friction_m"] - points["head_before_friction_m"]).iloc[0] / FT == pytest.approx(9, abs=0.1)


def test_reference_bottom_stops_the_pump():
    # bottom 240 ft less 16 ft of clearance: 224 ft; from 140 ft that is 84 ft of room
    _, after, moves = moved(90, G1)
    assert moves["length_added_m"].iloc[0] / FT == pytest.approx(84, abs=0.5)
    # 84 ft lower and the water 90 ft lower: 14 ft left, above the least of 10 ft
    assert moves["lowering_code"].iloc[0] == "lower"
    _, after, moves = moved(100, G1)
    assert moves["lowering_code"].iloc[0] == "lower_short"
    assert after["setting_limited_code"].iloc[0] == "bottom"
    # static level 60 ft: 160 ft lower it stands at 220 ft, below 224 ft less 10 ft
    _, _, moves = moved(160, G1)
    assert moves["lowering_code"].iloc[0] == "dry" and moves["length_added_m"].iloc[0] == 0


def test_a_recorded_setting_counts_from_where_it_hangs():
    row = G1 | {"depth_pump": "200 ft"}
    points, after, moves = moved(30, row)
    assert moves["lowering_code"].iloc[0] == "enough"
    # margin of some 80 ft, less 30 ft
    left = (points["depth_pump_m"] - points["depth_pumping_m"]).iloc[0] / FT - 30
    assert moves["margin_left_m"].iloc[0] / FT == pytest.approx(left, abs=0.1)
    assert after["depth_pump_m"].iloc[0] / FT == pytest.approx(200, abs=0.1)


def test_a_given_total_head_grows_by_the_fall():
    points, after, _ = moved(20, G1 | {"head_total_dynamic": "300 ft"})
    assert (after["head_before_friction_m"] - points["head_before_friction_m"]).iloc[0] / FT == pytest.approx(20, abs=0.1)


def test_a_recorded_shutoff_head_is_the_pump_s_own_and_stays():
    points, after, _ = moved(20, G1 | {"head_shutoff": "400 ft"})
    assert after["head_shutoff_m"].iloc[0] == points["head_shutoff_m"].iloc[0]


def test_no_setting_no_verdict():
    points = design_of(G1)
    points.loc[0, ["depth_pump_m", "depth_pumping_m"]] = np.nan
    _, moves = lower(points, 10.0, PLAIN)
    assert moves["lowering_code"].iloc[0] == "not_set" and moves["length_added_m"].iloc[0] == 0


metres = st.floats(0.0, 100.0)


@given(margin=st.floats(-20, 100), fall=metres, more=metres, wanted=metres, least=metres, room=metres)
def test_property_a_deeper_fall_never_asks_for_less_pipe(margin, fall, more, wanted, least, room):
    wanted = max(wanted, least)
    values = [np.array([v]) for v in (margin, wanted, least, room)]
    down, short = follow(values[0], fall, *values[1:])
    deeper, still = follow(values[0], fall + more, *values[1:])
    assert 0 <= down[0] <= room + 1e-9
    assert deeper[0] >= down[0] - 1e-9
    assert still[0] or not short[0]
    assert short[0] or margin - fall + down[0] >= least - 0.011


def test_the_whole_run_side_by_side(sample_run: Path, tmp_path: Path):
    document = scenario.lower_water(sample_run, 10.0, tmp_path / "low", PLAIN)
    before = io.read_table("selection", sample_run)
    table = io.read_table("lowering", tmp_path / "low")
    assert len(table) == len(before)
    assert set(table["lowering_code"]) <= set(OUTCOMES) and {"lower", "enough"} <= set(table["lowering_code"])
    assert (table["length_added_m_low"] <= table["length_added_m"]).all()
    assert (table["length_added_m"] <= table["length_added_m_high"]).all()
    assert (table.loc[table["lowering_code"] == "enough", "length_added_m"] == 0).all()
    added = table["length_drop_pipe_m"] - table["length_drop_pipe_before_m"]
    np.testing.assert_allclose(added, table["length_added_m"], atol=1e-6)
    counts = document["scenario"]["outcomes"]
    assert sum(o["wells"] for o in counts.values()) == len(table)
    demand = io.read_table("demand", tmp_path / "low")
    assert set(demand["cause_code"]) == {"lowered"}
    # strings that are only lengthened buy at least what they are lengthened by; regions add up to the whole
    whole = demand[demand["region_level"] == "all"]["length_m_expected"].sum()
    parts = demand[demand["region_level"] == "region"]["length_m_expected"].sum()
    assert parts == pytest.approx(whole, rel=1e-6) and whole > 0
    for line in scenario.lines(document, "us"):
        assert line and "{" not in line


def test_chunks_equal_the_whole(sample_run: Path, tmp_path: Path):
    for name, chunk in (("a", 32_768), ("b", 97)):
        scenario.lower_water(sample_run, 10.0, tmp_path / name, Settings(draws=4, chunk_wells=chunk))
    for table in ("lowering", "selection", "demand"):
        pd.testing.assert_frame_equal(io.read_table(table, tmp_path / "a"), io.read_table(table, tmp_path / "b"))


def test_command_and_its_errors(sample_run: Path, tmp_path: Path):
    runner = CliRunner()
    words = ["scenario", "--run", str(sample_run), "--lower-water", "20 ft", "--out", str(tmp_path / "low"), "--json"]
    found = runner.invoke(cli.app, words)
    assert found.exit_code == 0, found.output
    told = json.loads(found.stdout[found.stdout.index("{") :])
    assert told["fall_m"] == pytest.approx(20 * FT)
    with pytest.raises(UsageError, match="no finished run"):
        scenario.lower_water(tmp_path, 1.0, tmp_path / "x", PLAIN)
    with pytest.raises(UsageError, match="length above nought"):
        scenario.lower_water(sample_run, -1.0, tmp_path / "x", PLAIN)
    assert not (tmp_path / "x").exists()


def test_a_run_of_other_columns_is_refused_in_one_line(sample_run: Path, tmp_path: Path):
    old = Path(shutil.copytree(sample_run, tmp_path / "old"))
    part = io.parts("design", old)[0]
    pq.write_table(pq.read_table(part).drop_columns(["depth_pump_m"]), part)
    with pytest.raises(UsageError, match="lacks depth_pump_m, so another version wrote it"):
        scenario.lower_water(old, 1.0, tmp_path / "x", PLAIN)
    shutil.rmtree(old / "tables" / "wells")
    with pytest.raises(UsageError, match="no table 'wells'"):
        scenario.lower_water(old, 1.0, tmp_path / "x", PLAIN)
    assert not (tmp_path / "x").exists()
