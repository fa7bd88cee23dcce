"""The whole run in a process of its own, so that its peak memory is its own: seconds by stage, rows, memory.

As a script: ``whole_run.py CSV LAYOUT OUT DRAWS`` prints one line of JSON; with OUT of ``duckdb`` only DuckDB
reads the CSV and writes Parquet.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
# timed apart: page, workbook, CSV, GeoJSON; the DuckDB file is made in the same stage as the last three
APART = ("report", "export")


def child(csv: Path, layout: Path, out: str, draws: int) -> dict[str, Any]:
    """Run this file as a child and take its line."""
    done = subprocess.run(
        [sys.executable, __file__, str(csv), str(layout), out, str(draws)],
        capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    if done.returncode:
        raise RuntimeError(f"the run of {csv.name} failed: {done.stderr[-2000:]}")
    return json.loads(done.stdout.splitlines()[-1])


def _duckdb(csv: Path) -> dict[str, Any]:
    """DuckDB alone: every column as text, written as Parquet in the order of the file."""
    import duckdb

    with tempfile.TemporaryDirectory() as folder:
        con = duckdb.connect(config={"threads": 2})
        started = time.perf_counter()
        con.execute(
            f"COPY (SELECT * FROM read_csv('{csv}', all_varchar=true, header=true, delim=',', quote='\"')) "
            f"TO '{folder}/out.parquet' (FORMAT parquet, COMPRESSION zstd)"
        )
        return {"seconds": time.perf_counter() - started}


def _run(csv: Path, layout: Path, out: Path, draws: int) -> dict[str, Any]:
    sys.path.insert(0, str(ROOT))
    from pipeline import chain
    from pipeline.settings import Settings

    started = time.perf_counter()
    manifest = chain.run([csv], out, Settings(layouts=(layout,), draws=draws), replace_run=True)
    whole = time.perf_counter() - started
    seconds = {name: value for name, value in manifest["seconds"].items() if name != "whole"}
    return {"seconds": whole, "stages": seconds, "counts": manifest["counts"]}


def main() -> None:
    """Do what the arguments say and print it."""
    csv, layout, out, draws = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3], int(sys.argv[4])
    found = _duckdb(csv) if out == "duckdb" else _run(csv, layout, Path(out), draws)
    # Linux tells kilobytes, macOS bytes
    scale = 1 if sys.platform == "darwin" else 1024
    found["memory_peak_bytes"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * scale
    print(json.dumps(found))


if __name__ == "__main__":
    main()
