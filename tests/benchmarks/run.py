"""Benchmarks: ``python tests/benchmarks/run.py [--json FILE] [--quick] [--rows N ...]``; prints a table, asserts nothing.

Times are wall times of a machine that may be shared: the least of several repeats for the kernel, one run for
the whole. The whole run works in child processes, whose peak memory is their own.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [path for path in (str(HERE), str(ROOT)) if path not in sys.path]

import machine  # noqa: E402
import numpy as np  # noqa: E402
import plain  # noqa: E402
import wells_file  # noqa: E402
import whole_run  # noqa: E402

KERNEL_ROWS = 100_000


def inputs_of(run: Path, rows: int) -> tuple[Any, np.ndarray, np.ndarray, np.ndarray]:
    """Market, kernel inputs and temperature factors of the wells of a run, repeated to ``rows``; relative roughness."""
    import pandas as pd

    from pipeline import io, schema
    from pipeline.materials import catalogue
    from pipeline.settings import Settings
    from pipeline.sizing.constants import market, temperature_factors
    from pipeline.sizing.inputs import matrix
    from pipeline.sizing.layout import W

    settings = Settings()
    group = market("us", False, settings, catalogue(settings))
    design = io.read_table("design", run)
    wells = matrix(design[design["pump_kind_code"] != "hand"].reset_index(drop=True), settings)
    wells = np.ascontiguousarray(wells[np.resize(np.arange(len(wells)), rows)])
    stuff = pd.DataFrame(schema.rows("materials")).set_index("material_id")["roughness_mm"]
    rough = pd.to_numeric(stuff.loc[group.frame["material_id"]]).to_numpy(float)
    relative = rough / pd.to_numeric(group.frame["diameter_inside_mm"]).to_numpy(float)
    return group, wells, temperature_factors(group, wells[:, W["temperature"]]), relative


def kernel(run: Path, quick: bool) -> dict[str, Any]:
    """Wells a second of the compiled kernel, and the same job done plainly."""
    from pipeline.sizing.choose import cheapest, decide
    from pipeline.sizing.layout import W

    rows = KERNEL_ROWS // 20 if quick else KERNEL_ROWS
    group, wells, factors, relative = inputs_of(run, rows)
    out: dict[str, Any] = {"options": len(group.index), "wells": rows, "included": plain.INCLUDED}
    for name, work in (("all", decide), ("cheapest", cheapest)):
        work(group, wells[:8], factors[:8])
        for threads in (1, 2):
            step = -(-rows // threads)
            seconds = machine.best_seconds(
                lambda work=work, step=step, threads=threads: machine.on_threads(
                    threads, lambda k: work(group, wells[k * step : (k + 1) * step], factors[k * step : (k + 1) * step])
                ), 3 if quick else 9,
            )  # fmt: skip
            out[f"{name}_wells_per_s_{threads}"] = rows / seconds
        started = time.thread_time()
        work(group, wells, factors)
        out[f"{name}_wells_per_processor_s"] = rows / (time.thread_time() - started)
    few = 20 if quick else 300
    started = time.perf_counter()
    looped = plain.loop_over_library(group, wells[:few], factors[:few], relative)
    out["loop_wells"], out["loop_wells_per_s"] = few, few / (time.perf_counter() - started)
    some = min(rows, 256 if quick else 8192)
    started = time.perf_counter()
    spread = plain.with_arrays(group, wells[:some], factors[:some], relative)
    out["arrays_wells"], out["arrays_wells_per_s"] = some, some / (time.perf_counter() - started)
    chosen = decide(group, wells[:some], factors[:some]).chosen()
    out["choices_as_loop"] = float((chosen[:few] == looped).mean())
    out["choices_as_arrays"] = float((chosen == spread).mean())
    out["choices_as_all"] = float((cheapest(group, wells[:some], factors[:some]) == chosen).mean())
    for name in ("all", "cheapest"):
        for plainly in ("loop", "arrays"):
            out[f"{name}_over_{plainly}"] = out[f"{name}_wells_per_s_1"] / out[f"{plainly}_wells_per_s"]
    out["bytes_per_well"] = 8 * (len(W) + factors.shape[1]) + 5 * (2 * 8 + 2 * 2)
    return out


def friction(quick: bool) -> dict[str, Any]:
    """Largest error of the kernel's friction against Colebrook, Reynolds 4,000 to ten million, every option."""
    from pipeline.materials import catalogue
    from pipeline.physics.friction import factor_colebrook
    from pipeline.settings import Settings
    from pipeline.sizing import kernel as compiled
    from pipeline.sizing.constants import market
    from pipeline.sizing.layout import O

    worst, points = 0.0, 200 if quick else 5000
    settings = Settings()
    reynolds = np.exp(np.linspace(np.log(4.0e3), np.log(1e7), points))
    for code in ("us", "metric"):
        group = market(code, False, settings, catalogue(settings))
        rough = group.frame["roughness_mm"].astype(float) / group.frame["diameter_inside_mm"].astype(float)
        for j, relative in enumerate(rough):
            ratio = reynolds / group.constants[O["reynolds_per_ratio"], j]
            x = (np.log(ratio) - compiled.X_LOW) / compiled.STEP
            row = np.floor(x).astype(int)
            weights = np.array([compiled._place(value)[1:] for value in ratio])
            found = sum(weights[:, k] * group.table[row - 1 + k, j] for k in range(4))
            exact = np.asarray(factor_colebrook(reynolds, relative))
            worst = max(worst, float(np.abs(found / exact - 1).max()))
    return {"friction_error_most": worst, "friction_points_per_option": points}


def whole(folder: Path, rows: int) -> dict[str, Any]:
    """The whole run of so many invented wells without draws and with 32, and DuckDB alone on the same file."""
    layout = wells_file.write_layout(folder / "layout.toml")
    csv = wells_file.write(folder / f"wells_{rows}.csv", rows)
    alone = whole_run.child(csv, layout, "duckdb", 0)
    out: dict[str, Any] = {"rows": rows, "csv_bytes": csv.stat().st_size, "duckdb_seconds": alone["seconds"]}
    for draws in (0, 32):
        done = whole_run.child(csv, layout, str(folder / f"run_{rows}_{draws}"), draws)
        counted = done["seconds"] - sum(done["stages"].get(name, 0.0) for name in whole_run.APART)
        out[f"draws_{draws}"] = done | {
            "ratio_to_duckdb": counted / alone["seconds"], "ratio_of_all": done["seconds"] / alone["seconds"]
        }  # fmt: skip
    csv.unlink()
    return out


def shares(found: dict[str, Any]) -> dict[str, float]:
    """How much of what the machine can do the kernel uses."""
    top, per_well = found["machine"], found["kernel"]["options"] * found["operations_per_option"]
    out = {}
    for threads in (1, 2):
        speed = found["kernel"][f"all_wells_per_s_{threads}"]
        out[f"share_of_multiply_add_{threads}"] = speed * per_well / top["multiply_add_per_s"][threads]
        out[f"share_of_copy_{threads}"] = speed * found["kernel"]["bytes_per_well"] / top["copy_bytes_per_s"][threads]
    return out


def operations(run: Path) -> int:
    """Arithmetic on one option: vector instructions in the compiled loop over options, each counted once.

    Multiply, add, subtract, divide, compare, maximum, minimum and round up, as the compiler left them.
    """
    import re

    import numba

    from pipeline.sizing import kernel as compiled
    from pipeline.sizing.choose import blocks
    from pipeline.sizing.constants import FAMILIES

    group, wells, factors, _ = inputs_of(run, 4)
    laid, shape = blocks(group), (4, len(FAMILIES))
    arguments = (
        laid.pack, laid.table, laid.material, laid.number, laid.family, laid.coils, laid.coil_of, factors, wells, group.run,
        np.empty(shape, np.int16), np.empty(shape), np.empty(shape, np.int16), np.empty(shape),
    )  # fmt: skip
    # what is loaded from the cache cannot be looked into: compile anew
    fresh = numba.njit(nogil=True, error_model="numpy")(compiled._choose.py_func)
    fresh(*arguments)
    text = next(iter(fresh.inspect_llvm().values()))
    # the block with the most vector arithmetic is the loop over options
    kinds = r"= (?:fast )?(fmul|fadd|fsub|fdiv|fcmp \w+|(?:tail )?call [^@]*@llvm\.(?:ceil|maxnum|minnum|maximum|minimum)\S*) .*<(\d+) x double>"
    most = 0
    for block in re.split(r"\n(?=[\w.\"$]+:)", text):
        most = max(most, len(re.findall(kinds, block)))
    return most


def lines(found: dict[str, Any]) -> list[str]:
    """The table for people."""
    k, m, out = found["kernel"], found["machine"], []
    add = out.append
    add(f"{found['machine_name']}, {found['cpus']} processors, Python {platform.python_version()}")
    add(f"Kernel, us market, {k['options']} options, {k['wells']:,} wells; wells a second:")
    add(f"  {'':<44}{'1 thread':>14}{'2 threads':>14}{'a processor s':>16}")
    add(f"  {'all stops, best and nearest of every family':<44}{k['all_wells_per_s_1']:>14,.0f}{k['all_wells_per_s_2']:>14,.0f}"
        f"{k['all_wells_per_processor_s']:>16,.0f}")  # fmt: skip
    add(f"  {'all stops, the cheapest option only':<44}{k['cheapest_wells_per_s_1']:>14,.0f}{k['cheapest_wells_per_s_2']:>14,.0f}"
        f"{k['cheapest_wells_per_processor_s']:>16,.0f}")  # fmt: skip
    add(f"  {'arrays of wells by options':<44}{k['arrays_wells_per_s']:>14,.0f}   same choice {k['choices_as_arrays']:.2%}")
    add(f"  {'Python loop over the library fluids':<44}{k['loop_wells_per_s']:>14,.0f}   same choice {k['choices_as_loop']:.2%}")
    add(f"  ratios on one thread: over the loop {k['all_over_loop']:,.0f} and {k['cheapest_over_loop']:,.0f} times; "
        f"over arrays {k['all_over_arrays']:,.1f} and {k['cheapest_over_arrays']:,.1f} times")  # fmt: skip
    add(f"  like for like: {k['included']}")
    add(f"  largest friction error against Colebrook, Reynolds 4e3 to 1e7: {found['friction']['friction_error_most']:.1e}")
    for t in (1, 2):
        add(f"Machine, {t} thread(s): copies {m['copy_bytes_per_s'][t] / 1e9:.1f} GB/s (read and written), multiplies and adds "
            f"{m['multiply_add_per_s'][t] / 1e9:.1f} G/s; the kernel reaches {found['shares'][f'share_of_multiply_add_{t}']:.0%} of "
            f"the second ({found['operations_per_option']} operations an option) and "
            f"{found['shares'][f'share_of_copy_{t}']:.1%} of the first ({k['bytes_per_well']} bytes a well)")  # fmt: skip
    for w in found["whole"]:
        add(f"Whole run, {w['rows']:,} wells of 30 columns ({w['csv_bytes'] / 1e6:.0f} MB); DuckDB alone, CSV to Parquet: "
            f"{w['duckdb_seconds']:.2f} s")  # fmt: skip
        for draws in (0, 32):
            d = w[f"draws_{draws}"]
            stages = ", ".join(f"{n} {w['rows'] / max(s, 1e-3):,.0f}/s ({s:.1f} s)" for n, s in d["stages"].items())
            add(f"  {draws:>2} draws: {d['seconds']:.1f} s, {d['ratio_to_duckdb']:.1f} x DuckDB alone without export and report, "
                f"{d['ratio_of_all']:.1f} x with them, "
                f"peak {d['memory_peak_bytes'] / 2**30:.2f} GiB; {stages}")  # fmt: skip
    return out


def main(arguments: list[str] | None = None) -> dict[str, Any]:
    """Measure, print, and write JSON where asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path, help="write the figures to this file too")
    parser.add_argument("--quick", action="store_true", help="without the run of a million wells, and fewer repeats")
    parser.add_argument("--rows", type=int, nargs="*", help="sizes of the whole run, in wells")
    asked = parser.parse_args(arguments)
    sizes = asked.rows if asked.rows is not None else [10_000, 100_000] + ([] if asked.quick else [1_000_000])
    found: dict[str, Any] = {"machine_name": platform.processor() or platform.machine(), "cpus": os.cpu_count()}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        layout = wells_file.write_layout(folder / "layout.toml")
        first = wells_file.write(folder / "first.csv", 500 if asked.quick else 5000)
        # the first run also fills the cache of compiled code
        whole_run.child(first, layout, str(folder / "first"), 1)
        found["machine"] = machine.measured()
        found["kernel"] = kernel(folder / "first", asked.quick)
        found["friction"] = friction(asked.quick)
        found["operations_per_option"] = operations(folder / "first")
        found["shares"] = shares(found)
        found["whole"] = [whole(folder, rows) for rows in sizes]
    print("\n".join(lines(found)))
    if asked.json:
        asked.json.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    return found


if __name__ == "__main__":
    main()
