"""The cache of compiled code: kept between processes, renewed when any source changes, done without when it must."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
# a kernel of its own that calls across modules: physics.surge -> checks -> this; quick to compile
CALLER = '''
"""Trial: a compiled function that calls one of another module, which calls one of a third."""
import numpy as np
from pipeline.compiled import scalar
from pipeline.sizing.checks import _surge


@scalar
def _trial(velocity):
    return _surge(0.0, 1000.0, 100.0, velocity)
'''
ASK = (
    "import time; from pipeline.sizing import trial; from pipeline import compiled; trial._trial(2.0); "
    "s = trial._trial.stats; print(trial._trial(2.0), sum(s.cache_hits.values()), sum(s.cache_misses.values()), "
    "compiled.CAN_KEEP)"
)


@pytest.fixture
def copy(tmp_path):
    """A copy of the package with a compiled function more."""
    place = tmp_path / "copy"
    for name in ("pipeline", "schemas"):
        shutil.copytree(ROOT / name, place / name, ignore=shutil.ignore_patterns("__pycache__"))
    (place / "pipeline/sizing/trial.py").write_text(CALLER, encoding="utf-8")
    return place


def ask(place: Path, cache: Path | None, **env: str) -> tuple[float, int, int, bool]:
    """Result, cache hits, cache misses and whether code is kept, from a process of its own."""
    given = {k: v for k, v in os.environ.items() if k not in ("WELLSTRING_CACHE", "NUMBA_CACHE_DIR")}
    given |= {"PYTHONPATH": str(place), "PYTHONDONTWRITEBYTECODE": "1"} | env
    if cache is not None:
        given["WELLSTRING_CACHE"] = str(cache)
    done = subprocess.run([sys.executable, "-c", ASK], capture_output=True, text=True, env=given, cwd=place, check=False)
    assert done.returncode == 0, done.stderr[-1500:]
    value, hits, misses, kept = done.stdout.split()
    return float(value), int(hits), int(misses), kept == "True"


def test_kept_between_processes_and_renewed_when_a_callee_elsewhere_changes(copy, tmp_path):
    cache = tmp_path / "cache"
    first = ask(copy, cache)
    assert first == (1000.0 * 100.0 * 2.0, 0, 1, True)
    again = ask(copy, cache)
    assert again[0] == first[0] and again[1:3] == (1, 0)
    # two modules away from the function that is called
    surge = copy / "pipeline/physics/surge.py"
    text = surge.read_text(encoding="utf-8")
    line = "return density_kg_per_m3 * wave_speed_m_per_s * change_velocity_m_per_s"
    assert line in text
    surge.write_text(text.replace(line, line + " * 3.0"), encoding="utf-8")
    changed = ask(copy, cache)
    assert changed[0] == 3.0 * first[0] and changed[2] == 1
    # back to the old text: the old code is still there and right
    surge.write_text(text, encoding="utf-8")
    assert ask(copy, cache)[:2] == (first[0], 1)
    # folders of former sources do not pile up
    for k in range(8):
        surge.write_text(text + f"\n# edit {k}\n", encoding="utf-8")
        folder = subprocess.run(
            [sys.executable, "-c", "from pipeline import compiled; print(compiled.cache_folder())"], text=True,
            capture_output=True, cwd=copy, env=os.environ | {"PYTHONPATH": str(copy), "WELLSTRING_CACHE": str(cache)},
            check=True,
        ).stdout.strip()  # fmt: skip
        assert Path(folder).is_dir()
    assert len(list(cache.glob("compiled-*"))) <= 6


@pytest.mark.parametrize("source", ["rng.py", "physics/water.py", "sizing/kernel.py", "materials/quantities.py", "compiled.py"])
def test_every_compiled_source_is_part_of_the_name(copy, source):
    def folder() -> str:
        return subprocess.run(
            [sys.executable, "-c", "from pipeline import compiled; print(compiled.cache_folder().name)"], text=True,
            capture_output=True, cwd=copy, check=True,
            env=os.environ | {"PYTHONPATH": str(copy), "WELLSTRING_CACHE": str(copy / "cache")},
        ).stdout.strip()  # fmt: skip

    before = folder()
    path = copy / "pipeline" / source
    path.write_text(path.read_text(encoding="utf-8") + "\n# changed\n", encoding="utf-8")
    assert folder() != before


def test_every_module_that_compiles_is_watched():
    from pipeline import compiled

    here = ROOT / "pipeline"
    for path in here.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        if "@scalar" in text or "compiled.scalar" in text or "njit" in text:
            name = path.relative_to(here).parts[0]
            assert name in compiled.COMPILED or name == "compiled.py", path


def test_package_that_cannot_be_written(copy, tmp_path):
    for path in [copy, *copy.rglob("*")]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        cache = tmp_path / "cache"
        assert ask(copy, cache) == (200000.0, 0, 1, True)
        assert ask(copy, cache)[1] == 1
        assert not list(copy.rglob("*.nbi")), "nothing is written beside the sources"
    finally:
        for path in [copy, *copy.rglob("*")]:
            path.chmod(0o755 if path.is_dir() else 0o644)


def test_cache_folder_that_cannot_be_made(copy, tmp_path):
    # a file stands where the folder would be: not even a privileged user can write below it
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    value, hits, _, kept = ask(copy, blocked / "cache")
    assert value == 200000.0 and hits == 0 and not kept
    assert not list(copy.rglob("*.nbi"))


def test_home_is_used_where_nothing_is_said(copy, tmp_path):
    home = tmp_path / "home"
    home.mkdir()
    env = {"HOME": str(home), "XDG_CACHE_HOME": str(home / ".cache"), "LOCALAPPDATA": str(home)}
    assert ask(copy, None, **env)[0] == 200000.0
    assert list(home.rglob("compiled-*"))
