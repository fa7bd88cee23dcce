"""A seeded share of the damaged files of tests/benchmarks/fuzz.py, which does them by the thousand."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

SCRIPT = Path(__file__).resolve().parents[1] / "benchmarks" / "fuzz.py"


def test_property_damaged_files_are_read_or_refused_in_one_line(tmp_path: Path) -> None:
    spec = importlib.util.spec_from_file_location("fuzz", SCRIPT)
    assert spec and spec.loader
    fuzz = importlib.util.module_from_spec(spec)
    sys.modules["fuzz"] = fuzz
    spec.loader.exec_module(fuzz)
    tally = fuzz.run(iter(range(7_000_000, 7_000_150)), tmp_path, limit=120.0)
    assert not tally.failed, [(o.seed, o.wrong) for o in tally.failed]
    assert sum(tally.kinds.values()) == 150
    # the damage leaves most files readable, and refuses some: else the trial would show nothing
    assert tally.kinds["read"] + tally.kinds["read, lines set aside"] > 60 and tally.kinds["refused"] > 10
