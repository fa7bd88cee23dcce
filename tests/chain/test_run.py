"""The whole run: folder, ledger, determinism, errors."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import duckdb
import pandas as pd
import pytest

import pipeline
from pipeline import io, schema
from pipeline.errors import PipelineError
from pipeline.settings import Settings

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "sample_data"


def bytes_of(folder):
    """Hash of every Parquet, CSV and GeoJSON file of a run."""
    kinds = ("*.parquet", "*.csv", "*.geojson")
    files = sorted(p for kind in kinds for p in folder.rglob(kind))
    assert files
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


def wellstring(*words, cwd=None, **env):
    return subprocess.run(
        [sys.executable, "-m", "pipeline", *map(str, words)], cwd=cwd, capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT), **env},
    )  # fmt: skip


def test_run_leaves_every_declared_table_and_the_ledger_balances(sample_run):
    manifest = json.loads((sample_run / "manifest.json").read_text())
    for row in schema.rows("tables_about"):
        if row["written"] == "yes":
            assert io.parts(row["table"], sample_run), row["table"]
            assert len(io.read_table(row["table"], sample_run)) == manifest["counts"][row["table"]]
    for entry in manifest["ledger"]:
        gone = sum(entry["excluded"].values()) + sum(entry["quarantined"].values())
        assert entry["rows_read"] == entry["rows_used"] + gone
    for name in ("report.html", "wellstring.duckdb", "datapackage.json"):
        assert (sample_run / name).stat().st_size > 1000
    assert not (sample_run / ".running").exists()
    assert not list(sample_run.rglob(".*"))


def test_rows_agree_between_tables(sample_run):
    wells, design, choice, lost = (io.read_table(n, sample_run) for n in ("wells", "design", "selection", "not_chosen"))
    key = ["source_id", "well_id"]
    assert wells[key].equals(design[key]) and wells[key].equals(choice[key])
    assert not wells.duplicated(key).any()
    assert wells[key].equals(wells[key].sort_values(key, ignore_index=True))
    per_well = lost.groupby(key).size()
    not_sized = choice["outcome_code"].isin(["no_water", "suction", "not_judged"])
    assert choice.loc[not_sized, "option_id"].isna().all() and 0 < not_sized.sum() < 100
    assert len(per_well) == (~not_sized).sum()
    choice = choice[~not_sized]
    taken = choice.set_index(key)["option_id"].notna()
    assert (per_well.reindex(taken.index) + taken.astype(int) == len(schema.codes("family"))).all()
    lines = io.read_table("bill_lines", sample_run)
    assert set(map(tuple, lines[key].drop_duplicates().to_numpy())) == set(taken[taken].index)


def test_demand_of_regions_sums_to_the_whole(sample_run):
    demand = io.read_table("demand", sample_run)
    demand["year"] = demand["year"].fillna(0)
    totals = demand.pivot_table("pieces_expected", ["cause_code", "year", "item_id"], "region_level", aggfunc="sum")
    pd.testing.assert_series_equal(totals["all"], totals["region"], check_names=False, rtol=1e-9)
    pd.testing.assert_series_equal(totals["all"], totals["area"], check_names=False, rtol=1e-9)
    assert (demand["pieces_p10"] <= demand["pieces_p90"]).all()
    assert set(demand["cause_code"]) == {"standing", "new", "replaced", "rehabilitated", "every"}
    assert ((demand["year"] == 0) == (demand["cause_code"] == "standing")).all()


def test_every_family_and_outcome_has_something_to_show(sample_run):
    choice = io.read_table("selection", sample_run)
    assert {"pe", "pvc", "galvanised", "stainless"} <= set(choice["family_code"].dropna())
    assert {"recommended", "none_passes", "flowing"} <= set(choice["outcome_code"])
    assert set(io.read_table("risks", sample_run)["severity_code"]) == {"stop", "caution", "note"}


@pytest.mark.slow
def test_property_same_bytes_for_any_chunk_thread_order_and_time_zone(tmp_path):
    settings = Settings(draws=4, limit=250)
    pipeline.run([SAMPLE], tmp_path / "one", settings)
    files = sorted(p for p in SAMPLE.iterdir() if p.suffix in (".csv", ".txt"))
    pipeline.run(list(reversed(files)), tmp_path / "two", Settings(draws=4, limit=250, chunk_wells=37, threads=1))
    done = wellstring("run", SAMPLE, "--out", tmp_path / "three", "--limit", 250, "--settings", _draws(tmp_path),
                      TZ="Pacific/Auckland", LC_ALL="C", PYTHONHASHSEED="7")  # fmt: skip
    assert done.returncode in (0, 3), done.stderr
    one = bytes_of(tmp_path / "one")
    assert one == bytes_of(tmp_path / "two")
    assert one == bytes_of(tmp_path / "three")


def _draws(folder):
    path = folder / "settings.toml"
    path.write_text("draws = 4\n")
    return path


def test_database_works_from_any_folder_and_after_moving(sample_run, tmp_path, monkeypatch):
    moved = tmp_path / "moved"
    shutil.copytree(sample_run, moved)
    monkeypatch.chdir(tmp_path)
    with duckdb.connect(str(moved / "wellstring.duckdb"), read_only=True) as db:
        n = db.execute("select count(*) from selection").fetchone()[0]
        assert n == len(io.read_table("selection", sample_run))
        assert db.execute("select sum(pieces_expected) from demand where region_level = 'all'").fetchone()[0] > 0


def test_personal_columns_are_in_no_output(sample_run):
    for path in sample_run.rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            assert b"PLACEHOLDER" not in content and b"OWNER 0" not in content and b"DRILLER 0" not in content, path


def test_parquet_carries_units_and_words(sample_run):
    import pyarrow.parquet as pq

    field = pq.read_schema(io.parts("wells", sample_run)[0]).field("depth_static_m")
    assert field.metadata[b"ucum"] == b"m" and b"below ground" in field.metadata[b"description"]


@pytest.mark.parametrize(
    ("name", "content", "code", "word"),
    [
        ("missing.csv", None, 2, "no such file"),
        ("empty.csv", b"", 1, "empty"),
        ("binary.csv", bytes(range(256)) * 40, 1, "binary"),
        ("columns.csv", b"apple,pear\n1,2\n3,4\n", 2, "understood"),
    ],
)
def test_bad_input_is_one_line_and_leaves_nothing(tmp_path, name, content, code, word):
    if content is not None:
        (tmp_path / name).write_bytes(content)
    done = wellstring("run", tmp_path / name, "--out", "run", cwd=tmp_path)
    assert done.returncode == code, done.stderr
    assert "Traceback" not in done.stderr and word in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "run").exists()


def test_a_folder_that_is_no_run_is_refused(tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "thesis.txt").write_text("all my work")
    done = wellstring("run", SAMPLE, "--out", tmp_path / "mine", "--limit", 5)
    assert done.returncode == 2 and "holds no run" in done.stderr
    assert (tmp_path / "mine" / "thesis.txt").read_text() == "all my work"


def test_a_run_that_dies_leaves_no_half_file(tmp_path, monkeypatch):
    from pipeline import chain

    def broken(*_args):
        raise PipelineError("the disk went away")

    monkeypatch.setattr(chain, "per_well", broken)
    with pytest.raises(PipelineError, match="disk"):
        chain.run([SAMPLE], tmp_path / "run", Settings(limit=20, draws=0))
    assert not (tmp_path / "run").exists()


def test_strict_stops_where_the_gate_fails(tmp_path):
    path = tmp_path / "strong.csv"  # household wells of 1,000 gpm, every one
    rows = "\n".join(f"W{n},{100 + n},{20 + n},1000,domestic" for n in range(40))
    path.write_text("Well ID,Depth (ft),Static level (ft),Yield (gpm),Use\n" + rows + "\n")
    loose = wellstring("run", path, "--out", tmp_path / "loose")
    assert loose.returncode == 3, loose.stderr
    assert "GATE FAILED" in loose.stdout
    strict = wellstring("run", path, "--out", tmp_path / "strict", "--strict")
    assert strict.returncode == 1 and "gate failed" in strict.stderr.lower()
    assert not (tmp_path / "strict").exists()


def test_owner_file_runs_without_a_layout(tmp_path):
    path = tmp_path / "mywells.csv"
    path.write_text("Well ID,Depth (ft),Static water level (ft),Yield (gpm)\nA1,240,60,12\nA2,300,80,8\nA3,150,20,15\n")
    done = wellstring("run", path, cwd=tmp_path)
    assert done.returncode in (0, 3), done.stderr
    found = io.read_table("wells", tmp_path / "outputs" / "mywells")
    assert list(found["well_id"]) == ["A1", "A2", "A3"]
    assert found["depth_completed_m"].round(2).tolist() == [73.15, 91.44, 45.72]


@pytest.mark.parametrize(
    ("rows", "outcome"),
    [("A,100,99,domestic\nB,200,199.5,domestic", ["no_water", "no_water"]), ("A,100,20,monitoring\nB,90,20,monitoring", [])],
)
def test_a_run_without_any_pipe_ends_well(tmp_path, rows, outcome):
    path = tmp_path / "few.csv"
    path.write_text(f"Well ID,Depth (ft),Static level (ft),Use\n{rows}\n")
    done = wellstring("run", path, "--out", tmp_path / "run")
    assert done.returncode in (0, 3) and "Traceback" not in done.stderr, done.stderr
    assert io.read_table("selection", tmp_path / "run")["outcome_code"].tolist() == outcome
    for name in ("bill_lines", "not_chosen", "demand"):
        assert io.read_table(name, tmp_path / "run").empty
    assert "(no pipe" not in done.stdout and (tmp_path / "run" / "report.html").stat().st_size > 1000


def test_frames_in_frames_out():
    done = pipeline.size(pd.DataFrame({"depth_completed_m": [60.0, 90.0], "use_code": ["domestic", "stock"]}))
    assert set(done) == {"design", "selection", "not_chosen", "risks", "install_plan", "bill_lines", "local_rules",
                         "residuals"}  # fmt: skip
    assert done["selection"]["option_id"].notna().all()
