"""Same input and settings, same bytes: nothing else may change a data file. All records are invented."""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import invented_folder
import numpy as np
import pandas as pd
import pytest

import pipeline
from pipeline import io
from pipeline.ingest import read_inputs
from pipeline.normalise import to_records
from pipeline.settings import Settings

ROOT = Path(__file__).resolve().parents[2]
RECORDS = ("wells", "events", "issues", "quarantine", "excluded", "repairs")
USED = ("P106", "P108", "P111")
OTHER_PLACES = {"TZ": "Pacific/Auckland", "LC_ALL": "C", "PYTHONHASHSEED": "7", "PYTHONUTF8": "0", "OMP_NUM_THREADS": "1"}


def hashes(folder: Path) -> dict[str, str]:
    """Hash of every data file of a run."""
    files = [p for kind in ("*.parquet", "*.csv", "*.geojson") for p in sorted(folder.rglob(kind))]
    assert len(files) > 10
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


def records(files: list[Path], folder: Path, **more) -> dict[str, list[str]]:
    """Hash of each table that normalise hands on, as written."""
    settings = Settings(**more)
    found = to_records(read_inputs(files, settings), settings)
    out = {}
    for name in RECORDS:
        io.write_table(name, getattr(found, name), folder)
        out[name] = [hashlib.sha256(p.read_bytes()).hexdigest() for p in io.parts(name, folder)]
    return out


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_property_order_of_files_and_threads_change_no_record(tmp_path, seed):
    files = invented_folder.write(tmp_path / "in", seed)
    more = {"regions": invented_folder.districts(tmp_path / "districts.geojson"), "accept_repairs": USED}
    first = records([tmp_path / "in"], tmp_path / "out", **more)
    assert all(first[name] for name in RECORDS)
    rng = random.Random(seed)
    for turn in range(4):
        order = rng.sample(files, len(files))
        assert records(order, tmp_path / "out", threads=1 + turn % 3, **more) == first, [p.name for p in order]


def test_the_invented_folder_holds_what_it_says(tmp_path):
    files = invented_folder.write(tmp_path / "in")
    settings = Settings(regions=invented_folder.districts(tmp_path / "districts.geojson"))
    intake = read_inputs([tmp_path / "in"], settings)
    assert sorted(entry.file for entry in intake.ledger) == sorted(p.name for p in files if p.stem != "fields")
    assert len(intake.layouts) == 1
    found = to_records(intake, settings)
    assert {"N506", "N507", "N606", "N607"} <= set(found.issues["code"])
    assert {"P106", "P108", "P111"} <= set(found.repairs["code"])
    assert {"construction", "duplicate"} <= set(found.events["event_kind_code"])
    assert {"totals_row", "orphan"} <= set(found.excluded["reason_code"])


@pytest.mark.slow
def test_property_a_folder_without_layouts_gives_the_same_bytes_anywhere(tmp_path):
    files = invented_folder.write(tmp_path / "in", 7)
    regions = invented_folder.districts(tmp_path / "districts.geojson")
    more = {"draws": 4, "regions": regions, "accept_repairs": USED}
    pipeline.run([tmp_path / "in"], tmp_path / "one", Settings(**more))
    pipeline.run(files[::-1], tmp_path / "two", Settings(chunk_wells=13, threads=1, **more))
    told = tmp_path / "settings.toml"
    told.write_text(f'draws = 4\nregions = "districts.geojson"\naccept_repairs = {list(USED)}\n')
    done = subprocess.run(
        [sys.executable, "-m", "pipeline", "run", str(tmp_path / "in"), "--out", str(tmp_path / "three"), "--settings",
         str(told)], capture_output=True, text=True, env={**os.environ, "PYTHONPATH": str(ROOT), **OTHER_PLACES},
        encoding="utf-8",
    )  # fmt: skip
    assert done.returncode in (0, 3), done.stderr
    one = hashes(tmp_path / "one")
    assert one == hashes(tmp_path / "two")
    assert one == hashes(tmp_path / "three")


def test_property_threads_do_not_change_the_parts_of_a_table(tmp_path, monkeypatch):
    monkeypatch.setattr(io, "ROWS_PER_PART", 64)
    monkeypatch.setattr(io, "ROWS_PER_GROUP", 32)
    rng = np.random.default_rng(1)
    frame = pd.DataFrame({
        "source_id": "invented", "well_id": [f"W{n:04d}" for n in rng.permutation(300)],
        "source_file": "a.csv", "source_row": np.arange(300), "source_line": np.arange(300) + 2,
        "event_kind_code": rng.choice(("construction", "deepening"), 300),
    })  # fmt: skip
    found = []
    for threads in (1, 2, 5):
        io.write_table("events", frame, tmp_path / str(threads), threads)
        found.append([p.read_bytes() for p in io.parts("events", tmp_path / str(threads))])
    with io.TableWriter("events", tmp_path / "stream") as writer:
        ordered = io.sorted_by_key("events", frame)
        for at in range(0, 300, 7):
            writer.write(ordered.iloc[at : at + 7])
    found.append([p.read_bytes() for p in io.parts("events", tmp_path / "stream")])
    assert len(found[0]) == 5 and all(one == found[0] for one in found)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="a process cannot be killed by a signal there")
def test_a_killed_run_leaves_no_half_file_and_can_be_done_again(tmp_path):
    invented_folder.write(tmp_path / "in")
    folder = tmp_path / "run"
    words = [sys.executable, "-m", "pipeline", "run", str(tmp_path / "in"), "--out", str(folder)]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    killed = 0
    for reached in ("tables/.wells.writing", "tables/.selection.writing", "tables/demand"):
        if (folder / "tables").exists():
            shutil.rmtree(folder / "tables")
        at_work = subprocess.Popen(words, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        while at_work.poll() is None and not (folder / reached).exists():
            time.sleep(0.0005)
        at_work.send_signal(signal.SIGKILL)
        if at_work.wait() != -signal.SIGKILL:
            break  # it was done before it could be killed
        killed += 1
        assert (folder / ".running").is_file() and not (folder / "manifest.json").exists()
        # what stands under a final name is whole
        for path in (folder / "tables").glob("[a-z]*/part-*.parquet"):
            assert len(io.read_table(path.parent.name, folder)) >= 0
    assert killed
    again = subprocess.run([*words, "--replace"], env=env, capture_output=True, text=True)
    assert again.returncode in (0, 3), again.stderr
    assert not list(folder.rglob(".*"))
    pipeline.run([tmp_path / "in"], tmp_path / "fresh", Settings())
    assert hashes(folder) == hashes(tmp_path / "fresh")
