"""The intake alone: ``python tests/benchmarks/intake.py [--rows N ...] [--repeats K]``; prints figures, asserts nothing.

Reading, normalising and writing the table of wells, each repeat in a process of its own, so that its peak memory is
its own; DuckDB reads the same file as text and writes it as Parquet in turn with it. The machine may be shared:
beside the wall time stands the processor time of the process, and the least of the repeats is told.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [path for path in (str(HERE), str(ROOT)) if path not in sys.path]

import wells_file  # noqa: E402

STAGES = ("ingest", "normalise", "write")


class Watch:
    """Wall and processor seconds of one stage after another."""

    def __init__(self) -> None:
        self.wall: dict[str, float] = {}
        self.processor: dict[str, float] = {}
        self.peak: dict[str, float] = {}
        self._begun = time.perf_counter(), time.process_time()

    def stage(self, name: str) -> None:
        """End a stage: its seconds, and the peak memory of the process up to here in MiB."""
        now = time.perf_counter(), time.process_time()
        self.wall[name], self.processor[name] = now[0] - self._begun[0], now[1] - self._begun[1]
        # Linux tells kilobytes, macOS bytes
        scale = 1 << 20 if sys.platform == "darwin" else 1 << 10
        self.peak[name] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / scale
        self._begun = time.perf_counter(), time.process_time()

    def told(self) -> dict[str, Any]:
        """Everything measured."""
        return {"wall": self.wall, "processor": self.processor, "peak": self.peak}


def alone(csv: Path, folder: Path) -> dict[str, Any]:
    """DuckDB: every column as text, dialect given, written as Parquet in the order of the file."""
    import duckdb

    columns = ", ".join(f"'{name}': 'VARCHAR'" for name, *_ in wells_file.COLUMNS)
    con = duckdb.connect(config={"threads": 2})
    watch = Watch()
    con.execute(
        f"COPY (SELECT * FROM read_csv('{csv}', all_varchar=true, header=true, delim=',', quote='\"', escape='\"', "
        f"new_line='\\n', auto_detect=false, columns={{{columns}}})) "
        f"TO '{folder}/out.parquet' (FORMAT parquet, COMPRESSION zstd)"
    )
    watch.stage("duckdb")
    return watch.told()


def intake(paths: list[Path], layouts: tuple[Path, ...], folder: Path) -> dict[str, Any]:
    """Ingest, normalise and write the wells."""
    from pipeline import io
    from pipeline.ingest import read_inputs
    from pipeline.normalise import to_records
    from pipeline.settings import Settings

    settings = Settings(layouts=layouts)
    watch = Watch()
    raw = read_inputs(paths, settings)
    watch.stage("ingest")
    records = to_records(raw, settings)
    del raw
    watch.stage("normalise")
    rows = io.write_table("wells", records.wells, folder)
    watch.stage("write")
    return {**watch.told(), "wells": rows}


def child(what: str, paths: list[Path], layout: Path | None) -> dict[str, Any]:
    """One repeat in a process of its own."""
    asked = [sys.executable, __file__, "--child", what, *map(str, paths)]
    done = subprocess.run(
        asked + (["--layout", str(layout)] if layout else []), capture_output=True, text=True, cwd=ROOT, check=False
    )
    if done.returncode:
        raise RuntimeError(f"{what} failed: {done.stderr[-2000:]}")
    return json.loads(done.stdout.splitlines()[-1])


def _least(found: list[dict[str, Any]], kind: str, name: str) -> float:
    return min(one[kind][name] for one in found)


def measured(csv: Path, layout: Path, repeats: int) -> dict[str, Any]:
    """Both in turn, ``repeats`` times; the least wall and processor seconds of each stage, the largest peak."""
    ours, theirs = [], []
    for _ in range(repeats):
        theirs.append(child("duckdb", [csv], layout))
        ours.append(child("intake", [csv], layout))
    sums = [sum(one["wall"].values()) for one in ours]
    out: dict[str, Any] = {
        "wells": ours[0]["wells"], "bytes": csv.stat().st_size, "seconds": min(sums),
        "processor": min(sum(one["processor"].values()) for one in ours),
        "duckdb": _least(theirs, "wall", "duckdb"), "duckdb_processor": _least(theirs, "processor", "duckdb"),
        "stages": {n: (_least(ours, "wall", n), _least(ours, "processor", n)) for n in STAGES},
        "peak": {n: max(one["peak"][n] for one in ours) for n in STAGES},
        "duckdb_peak": max(one["peak"]["duckdb"] for one in theirs),
    }
    out["ratio"] = out["seconds"] / out["duckdb"]
    out["ratio_processor"] = out["processor"] / out["duckdb_processor"]
    return out


def lines(rows: int, one: dict[str, Any], repeats: int) -> list[str]:
    """The figures of one size, for people."""
    stages = ", ".join(f"{name} {wall:.2f} s ({cpu:.2f})" for name, (wall, cpu) in one["stages"].items())
    peaks = ", ".join(f"{value:,.0f} after {name}" for name, value in one["peak"].items())
    return [
        f"{rows:,} rows of {len(wells_file.COLUMNS)} columns ({one['bytes'] / 1e6:.0f} MB), {repeats} repeats; "
        "wall seconds, in brackets those of the processors:",
        f"  DuckDB alone, CSV to Parquet  {one['duckdb']:.2f} s ({one['duckdb_processor']:.2f}), "
        f"peak {one['duckdb_peak']:,.0f} MiB",
        f"  {stages}",
        f"  together {one['seconds']:.2f} s ({one['processor']:.2f}): {one['ratio']:.2f} x DuckDB by the wall, "
        f"{one['ratio_processor']:.2f} x by the processors; {rows / one['seconds']:,.0f} rows/s",
        f"  peak MiB: {peaks}",
    ]


def main(arguments: list[str] | None = None) -> None:
    """Measure and print; with --child do one repeat and print it as JSON; with --real measure given files."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, nargs="*", default=[100_000, 1_000_000], help="sizes, in wells")
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--real", type=Path, nargs="*", help="time the intake of these files or folders instead")
    parser.add_argument("--layout", type=Path, help="layout file of the files given")
    parser.add_argument("--child", choices=("duckdb", "intake"), help=argparse.SUPPRESS)
    parser.add_argument("paths", type=Path, nargs="*", help=argparse.SUPPRESS)
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if asked.child:
            layouts = (asked.layout,) if asked.layout else ()
            done = alone(asked.paths[0], folder) if asked.child == "duckdb" else intake(asked.paths, layouts, folder)
            print(json.dumps(done))
        elif asked.real:
            child("intake", asked.real, asked.layout)
            found = [child("intake", asked.real, asked.layout) for _ in range(asked.repeats)]
            told = [f"{n} {_least(found, 'wall', n):.3f} s ({_least(found, 'processor', n):.3f})" for n in STAGES]
            print(f"{found[0]['wells']:,} wells, {asked.repeats} repeats: " + ", ".join(told))
        else:
            layout = wells_file.write_layout(folder / "layout.toml")
            # the first fills the cache of compiled code
            child("intake", [wells_file.write(folder / "first.csv", 500)], layout)
            for rows in asked.rows:
                csv = wells_file.write(folder / f"wells_{rows}.csv", rows)
                print("\n".join(lines(rows, measured(csv, layout, asked.repeats), asked.repeats)), flush=True)
                csv.unlink()


if __name__ == "__main__":
    main()
