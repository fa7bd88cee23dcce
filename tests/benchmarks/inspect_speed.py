"""Seconds that ``wellstring inspect`` takes on a large file: an invented CSV of 1 GB in a scratch folder.

    python tests/benchmarks/inspect_speed.py [--gigabytes 1] [--folder DIR]

Prints the time of a process that finds an empty cache (nothing compiled, no conversion of units kept), and of three
more; processor seconds too, which other work on the machine disturbs less.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
HEADER = ("Bore Ref,Owner Name,Total Depth (ft),Static Water Level (ft),Yield (gpm),Casing Dia (in),Date Completed,"
          "Water Use,Latitude,Longitude,County,Remarks")  # fmt: skip


def invented_file(path: Path, size: int) -> int:
    """Write rows of invented wells up to ``size`` bytes; returns the number of rows."""
    rng = random.Random(7)
    block = []
    for row in range(20_000):
        depth = rng.randint(60, 900)
        block.append(
            f"{row:07d},Person {row},{depth},{rng.randint(5, depth - 20)},{rng.randint(1, 60)},{rng.choice([4, 5, 6, 8])},"
            f"{rng.randint(1, 12)}/{rng.randint(1, 28)}/{rng.randint(1970, 2020)},{rng.choice(['Domestic', 'Stock'])},"
            f"{41 + rng.random():.5f},{-139 + rng.random():.5f},Elkhollow,"
            + ('"gravel, then clay\nand sand"' if row % 97 == 0 else "drilled in gravel and clay " * 4)
        )
    text = ("\n".join(block) + "\n").encode()
    rows = 0
    with path.open("wb") as handle:
        handle.write((HEADER + "\n").encode())
        while handle.tell() < size:
            handle.write(text)
            rows += len(block)
    return rows


def seconds(path: Path, cache: Path) -> tuple[float, float, dict[str, Any]]:
    """Wall and processor time of one inspection in a process of its own, and what it told."""
    start, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-m", "pipeline", "inspect", str(path), "--json"], cwd=ROOT, capture_output=True, check=False,
        env={**os.environ, "XDG_CACHE_HOME": str(cache)},
    )  # fmt: skip
    taken, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    worked = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    if not done.stdout:
        raise SystemExit(done.stderr.decode())
    return taken, worked, json.loads(done.stdout)


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--gigabytes", type=float, default=1.0)
    parser.add_argument("--folder", type=Path, default=None)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.folder) as folder:
        path = Path(folder) / "wells.csv"
        rows = invented_file(path, int(given.gigabytes * 1e9))
        print(f"file {path.stat().st_size / 1e9:.2f} GB, {rows:,} rows")
        for turn in range(4):
            taken, worked, told = seconds(path, Path(folder) / "cache")
            table = told["tables"][0]
            print(f"inspect {'with an empty cache' if turn == 0 else 'again'}: {taken:.2f} s, processor {worked:.2f} s; "
                  f"rows told {table['rows']:,} ({100 * (table['rows'] / rows - 1):+.2f} %)")  # fmt: skip


if __name__ == "__main__":
    main()
