"""The gate: judges the counts, counts the same faults as the scan, keeps quiet and leaves no files."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from test_scan import SETTINGS, random_wells

from pipeline.settings import Settings
from pipeline.validate import declared, judge, predicate, region_middles, scan
from pipeline.validate.context import typed
from pipeline.validate.gate import flagged, wide_shares
from pipeline.validate.rules import ADDED

SOUND = {
    "source_id": "s",
    "well_id": "w",
    "depth_completed_m": 60.0,
    "depth_drilled_m": 60.0,
    "depth_static_m": 12.0,
    "depth_pump_m": 30.0,
    "flow_tested_m3_per_s": 0.001,
    "latitude_deg": 41.0,
    "longitude_deg": -138.0,
}


def wells_of(count: int, faulty: int, **fault: object) -> pd.DataFrame:
    rows = [{**SOUND, "well_id": f"w{i}", **(fault if i < faulty else {})} for i in range(count)]
    return pd.DataFrame(rows)


@pytest.fixture(scope="module")
def compared() -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    wells = random_wells(1500, 11)
    return wells, *scan(wells, SETTINGS)


def test_reference_suite_and_scan_count_the_same_rule_by_rule(compared) -> None:
    # Great Expectations against DuckDB: two general libraries, one declaration
    wells, _, metrics = compared
    counts = metrics.groupby("rule_code")[["rows_judged_count", "rows_failed_count"]].sum()
    verdict = judge(metrics, wells, SETTINGS)
    assert set(verdict.counted) == {rule.code for rule in declared()}
    for code, counted in verdict.counted.items():
        assert counted == tuple(counts.loc[code]), code
    assert sum(failed > 0 for _, failed in verdict.counted.values()) > 50


def test_reference_both_find_the_same_rows(compared) -> None:
    wells, issues, _ = compared
    rows = flagged(wells, SETTINGS)
    names = {n for rule in declared() for n in rule.reads}
    values = {n: typed(wells, n).to_numpy(zero_copy_only=False) for n in names}
    for rule in declared():
        if not rule.by_row:
            continue
        if rule.code in rows:
            found = rows[rule.code].eq(True).to_numpy()
        else:
            assert not set(rule.needs) & set(ADDED)
            found = predicate.evaluate(rule.test, values)
        listed = issues.loc[issues["code"] == rule.code, "source_row"]
        assert (np.flatnonzero(found) + 1).tolist() == listed.tolist(), rule.code


def test_sound_wells_pass_and_faulty_ones_fail() -> None:
    sound = wells_of(50, 0)
    assert judge(scan(sound, SETTINGS)[1], sound, SETTINGS).passed
    faulty = wells_of(50, 3, depth_static_m=70.0, depth_pump_m=75.0, depth_completed_m=60.0)
    verdict = judge(scan(faulty, SETTINGS)[1], faulty, SETTINGS)
    assert not verdict.passed
    assert ("V102", "s", 0.06, 0.02) in verdict.failed
    assert {code for code, *_ in verdict.failed} == {"V102", "V103"}


def test_share_at_the_limit_passes_and_settings_move_it() -> None:
    wells = wells_of(50, 1, depth_static_m=61.0, depth_pump_m=np.nan)
    metrics = scan(wells, SETTINGS)[1]
    assert judge(metrics, wells, SETTINGS).passed
    strict = Settings(as_of="2024-06-30", gate_overlay={"V102": 0.0})
    verdict = judge(scan(wells, strict)[1], wells, strict)
    assert verdict.failed == [("V102", "s", 0.02, 0.0)] and not verdict.passed


def test_a_fault_of_one_source_is_not_drowned_by_another() -> None:
    large, small = wells_of(500, 0), wells_of(10, 2, depth_static_m=61.0, depth_pump_m=np.nan).assign(source_id="t")
    wells = pd.concat([large, small], ignore_index=True)
    verdict = judge(scan(wells, SETTINGS)[1], wells, SETTINGS)
    assert verdict.failed == [("V102", "t", 0.2, 0.02)]


def test_what_judged_nothing_does_not_pass() -> None:
    _, metrics = scan(wells_of(3, 0), SETTINGS)
    idle = metrics[metrics["rows_judged_count"] == 0]
    assert len(idle) > 20
    assert wide_shares(idle)[idle["rule_code"]].isna().all(axis=None)
    assert not judge(idle, wells_of(3, 0), SETTINGS).passed


def test_quiet_and_no_files(tmp_path: Path, monkeypatch, capfd) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    wells = wells_of(20, 5, depth_static_m=70.0)
    before = dict(os.environ)
    judge(scan(wells, SETTINGS)[1], wells, SETTINGS)
    assert dict(os.environ) == before
    assert list(tmp_path.iterdir()) == []
    said = capfd.readouterr()
    assert said.out == "" and said.err == ""


def test_pages_only_where_asked(tmp_path: Path, monkeypatch, capfd) -> None:
    monkeypatch.chdir(tmp_path)
    wells = wells_of(20, 5, depth_static_m=70.0)
    judge(scan(wells, SETTINGS)[1], wells, SETTINGS, pages=tmp_path / "gate")
    assert [p.name for p in tmp_path.iterdir()] == ["gate"]
    pages = sorted(p.relative_to(tmp_path / "gate").as_posix() for p in (tmp_path / "gate").rglob("*.html"))
    assert "index.html" in pages and sum(p.startswith("validations/") for p in pages) == 2
    assert capfd.readouterr().out == ""


def test_sample_is_bounded(monkeypatch) -> None:
    monkeypatch.setattr("pipeline.validate.gate.SAMPLE_ROWS", 30)
    wells = wells_of(50, 0)
    verdict = judge(scan(wells, SETTINGS)[1], wells, SETTINGS)
    assert verdict.counted["V102"] == (30, 0)


def test_region_middles_are_taken_from_the_whole() -> None:
    wells = random_wells(300, 12)
    regions = region_middles(wells)
    head = wells.iloc[:20].reset_index(drop=True)
    _, metrics = scan(head, SETTINGS, regions)
    counted = judge(metrics, head, SETTINGS, regions=regions).counted["V114"]
    found = metrics[metrics["rule_code"] == "V114"][["rows_judged_count", "rows_failed_count"]].sum()
    assert counted == tuple(found) and counted[0] > 0


def test_library_is_loaded_only_by_the_gate() -> None:
    code = "import pipeline.validate, sys; sys.exit('great_expectations' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
