"""The chain of stages: files in, run folder out. The only module that knows the order."""

from __future__ import annotations

import hashlib
import platform
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline import __version__, io
from pipeline.errors import PipelineError
from pipeline.settings import Settings

LIBRARIES = ("numpy", "pandas", "pyarrow", "duckdb", "numba", "pint", "great-expectations")
# endings of files that a person would expect to be read when a folder is given
TABLE_ENDINGS = (".csv", ".tsv", ".txt", ".tab", ".psv", ".dat", ".rdb", ".xlsx", ".dbf", ".gz", ".zip", ".geojson")
SUMS_HELD = 2_000_000  # rows of draw sums held before they are added up
PER_WELL = ("design", "selection", "not_chosen", "risks", "install_plan", "bill_lines", "local_rules", "residuals")


@dataclass
class Clock:
    """Seconds and rows by stage; ``tell`` is called with one line a stage."""

    tell: Callable[[str], None]
    seconds: dict[str, float] = field(default_factory=dict)
    rows: dict[str, int] = field(default_factory=dict)

    def stage(self, name: str, started: float, rows: int, note: str = "") -> None:
        """Record one stage and say so in one line."""
        self.seconds[name] = round(time.perf_counter() - started, 3)
        self.rows[name] = rows
        self.tell(f"{name:<13} {rows:>12,} rows  {self.seconds[name]:>8.2f} s  {note}".rstrip())


def _sha256(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as handle:
        while block := handle.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


def _inputs(paths: list[Path]) -> list[dict[str, Any]]:
    """Name, size and hash of every input file; no folder of this machine."""
    out = []
    for path in paths:
        files = sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]
        for file in files:
            if not file.name.startswith("."):
                name = str(file.relative_to(path)) if path.is_dir() else file.name
                out.append({"name": name, "bytes": file.stat().st_size, "sha256": _sha256(file)})
    return sorted(out, key=lambda row: (row["name"], row["sha256"]))


def _as_of(wells: pd.DataFrame, events: pd.DataFrame, settings: Settings) -> str:
    """As-of date: given, else the newest date on record, never the clock."""
    if settings.as_of:
        return settings.as_of
    dates = pd.concat([pd.to_datetime(wells["completed_date"]), pd.to_datetime(events["event_date"])]).dropna()
    return str(dates.max().date()) if len(dates) else ""


def per_well(wells: pd.DataFrame, settings: Settings, comparable: Any) -> dict[str, Any]:
    """Everything worked out well by well for one frame of wells: the unit of work of every engine."""
    from pipeline.design_point import design, residuals
    from pipeline.install import plan
    from pipeline.jurisdiction import judge
    from pipeline.materials import bill
    from pipeline.risk import flags
    from pipeline.sizing import size

    points = design(wells, settings, comparable)
    sized = size(points, wells, settings)
    lines = bill(sized.selection, points, settings)
    return {
        "design": points,
        "selection": sized.selection,
        "not_chosen": sized.not_chosen,
        "risks": flags(wells, points, sized.selection, settings, sized.changes),
        "install_plan": plan(sized.selection, points, settings, wells),
        "bill_lines": lines,
        "local_rules": judge(wells, points, sized.selection, lines, settings),
        "residuals": residuals(wells, settings, comparable),
        "draw_sums": sized.draw_sums,
    }


def _in_order(pool: ThreadPoolExecutor, work: Callable[[Any], Any], items: Iterator[Any], ahead: int) -> Iterator[Any]:
    """Results in the order of ``items``, at most ``ahead`` under way."""
    waiting = []
    for item in items:
        waiting.append(pool.submit(work, item))
        if len(waiting) > ahead:
            yield waiting.pop(0).result()
    for job in waiting:
        yield job.result()


def run(
    inputs: list[Path] | list[str] | Path | str,
    out: Path | str,
    settings: Settings | None = None,
    replace_run: bool = False,
    tell: Callable[[str], None] = lambda line: None,
) -> dict[str, Any]:
    """Read well records, recommend a drop pipe for each, sum the material; write the run folder ``out``.

    Parameters
    ----------
    inputs : path or list of paths
        Files or folders.
    out : path
        Run folder; made where it is missing. A folder that holds something else is refused.
    settings : Settings, optional
    replace_run : bool
        Do a finished run in ``out`` again.
    tell : callable
        Called with one line of progress a stage.

    Returns
    -------
    dict
        The manifest, as written to ``out/manifest.json``.

    Raises
    ------
    PipelineError
        With a message for people; nothing half-written stays behind.
    """
    from pipeline.demand import new_wells, roll_up
    from pipeline.demand.coverage import coverage
    from pipeline.demand.replacement import cohorts
    from pipeline.demand.years import by_year
    from pipeline.design_point import learn
    from pipeline.export import write_exports
    from pipeline.ingest import read_inputs
    from pipeline.materials import added, catalogue, settled
    from pipeline.normalise import to_records
    from pipeline.report import write_report
    from pipeline.validate import judge, lost_values, merge_metrics, scan
    from pipeline.workbook import write_workbook

    settings = settings or Settings()
    paths = [Path(p) for p in (inputs if isinstance(inputs, list) else [inputs])]
    folder = Path(out)
    clock = Clock(tell)
    began = time.perf_counter()

    io.refuse_folder(folder, replace_run)
    started = time.perf_counter()
    intake = read_inputs(paths, settings)
    clock.stage("ingest", started, sum(entry.rows_read for entry in intake.ledger))
    started = time.perf_counter()
    records = to_records(intake, settings)
    not_read, decisions, notes = intake.not_read, intake.decisions, intake.notes
    del intake
    ledger = [entry.to_dict() for entry in records.ledger]
    _balance(ledger)
    as_of = _as_of(records.wells, records.events, settings)
    settings = replace(settings, as_of=as_of)
    clock.stage("normalise", started, len(records.wells), f"{len(records.issues):,} issues")

    io.prepare_folder(folder, replace_run)
    try:
        started = time.perf_counter()
        faults, metrics = scan(records.wells, settings)
        metrics = merge_metrics([metrics, lost_values(records.issues, records.wells, settings)])
        verdict = judge(
            metrics, records.wells.head(100_000), settings, folder / "gate" if settings.gate_pages else None
        )
        issues = pd.concat([records.issues, faults], ignore_index=True)
        clock.stage("validate", started, len(records.wells), "gate passed" if verdict.passed else "gate FAILED")
        if settings.strict and not verdict.passed:
            raise PipelineError("The gate failed and --strict was given: " + _gate_line(verdict))
        started = time.perf_counter()
        counts = {
            "wells": io.write_table("wells", records.wells, folder, settings.threads),
            "events": io.write_table("events", records.events, folder, settings.threads),
            "issues": io.write_table("issues", issues, folder, settings.threads),
            "quarantine": io.write_table("quarantine", records.quarantine, folder, settings.threads),
            "excluded": io.write_table("excluded", records.excluded, folder, settings.threads),
            "repairs": io.write_table("repairs", records.repairs, folder, settings.threads),
            "metrics": io.write_table("metrics", metrics, folder, settings.threads),
        }
        clock.stage("tables", started, sum(counts.values()))

        started = time.perf_counter()
        comparable = learn(records.wells, settings)
        total = len(records.wells)
        del records, issues, faults
        sums = []
        writers = {name: io.TableWriter(name, folder) for name in PER_WELL}
        with ThreadPoolExecutor(settings.threads) as pool:
            for writer in writers.values():
                writer.__enter__()
            try:
                work = lambda wells: _to_tables(per_well(wells, settings, comparable))  # noqa: E731
                chunks = io.chunks("wells", folder, settings.chunk_wells)
                for done in _in_order(pool, work, chunks, settings.threads):
                    for name in PER_WELL:
                        writers[name].write(done[name])
                    sums.append(done["draw_sums"])
                    if sum(map(len, sums)) > SUMS_HELD:
                        sums = [added(sums)]
            except BaseException as error:
                for writer in writers.values():
                    writer.__exit__(type(error), error, None)
                raise
            for name, writer in writers.items():
                writer.__exit__(None, None, None)
                counts[name] = writer.rows
        clock.stage("size", started, total)

        started = time.perf_counter()
        goods = catalogue(settings)
        drawn = settled(added(sums), goods)
        standing = roll_up(drawn, settings, goods.currency)
        coming = new_wells.forecast(folder, settings, as_of)
        yearly, parts = by_year(folder, drawn, goods.items, settings, as_of, coming.paths, goods.currency)
        demand = pd.concat([standing, yearly], ignore_index=True) if len(yearly) else standing
        counts["demand"] = io.write_table("demand", demand, folder, settings.threads)
        counts["forecast"] = io.write_table("forecast", coming.table, folder, settings.threads)
        counts["band_parts"] = io.write_table("band_parts", parts, folder, settings.threads)
        told = coverage(folder, cohorts(folder, settings), settings, as_of)
        counts["coverage"] = io.write_table("coverage", told, folder, settings.threads)
        clock.stage("demand", started, counts["demand"])

        manifest: dict[str, Any] = {
            "program": {"name": "wellstring", "version": __version__},
            "libraries": {name: version(name) for name in LIBRARIES},
            "python": platform.python_version(),
            "settings": settings.to_manifest(),
            "as_of": as_of,
            "inputs": _inputs(paths),
            "ledger": ledger,
            "not_read": [
                {"file": name, "reason": why, "is_table": _is_table(name, why)} for name, why in not_read
            ],
            "columns": decisions,
            "notes": [{"file": name, "note": note} for name, note in notes],
            "gate": {"passed": verdict.passed, "failed": [list(row) for row in verdict.failed]},
            "counts": counts,
            "draws": settings.draws,
            "pages": settings.gate_pages,
        }
        io.write_json(folder / "manifest.json", manifest)
        started = time.perf_counter()
        write_exports(folder, settings)
        write_workbook(folder, settings.units or "us")
        clock.stage("export", started, total)
        started = time.perf_counter()
        write_report(folder, settings.units or "us")
        clock.stage("report", started, total)
    except BaseException:
        io.clear(folder)
        if not any(folder.iterdir()):
            folder.rmdir()
        raise
    manifest["seconds"] = clock.seconds | {"whole": round(time.perf_counter() - began, 3)}
    io.write_json(folder / "manifest.json", manifest)
    (folder / ".running").unlink(missing_ok=True)
    return manifest


def _to_tables(done: dict[str, Any]) -> dict[str, Any]:
    """Typed Arrow tables of one chunk, made in the worker thread."""
    return {
        name: io.to_arrow(name, io.sorted_by_key(name, frame)) if name in PER_WELL else frame
        for name, frame in done.items()
    }


def _is_table(name: str, reason: str) -> bool:
    """Whether a person would expect it to be read: by its ending, or as a sheet whose header tells something."""
    last = Path(name.split(": ")[-1]).suffix.lower()
    if ".xlsx: " in name.lower() and last not in TABLE_ENDINGS:
        return not reason.startswith(("not a table of wells", "no table of columns"))
    return last in TABLE_ENDINGS


def unread_tables(manifest: dict[str, Any]) -> list[str]:
    """Files of a folder that look like tables and were not read; those left aside on purpose do not count."""
    from pipeline.ingest.intake import ON_PURPOSE

    return [
        entry["file"] for entry in manifest["not_read"]
        if entry["is_table"] and not entry["reason"].startswith(ON_PURPOSE)
    ]  # fmt: skip


def _gate_line(verdict: Any) -> str:
    parts = [f"{code} in {source}: {share:.1%} of rows (allowed {allowed:.0%})"
             for code, source, share, allowed in verdict.failed]  # fmt: skip
    return "; ".join(parts)


def _balance(ledger: list[dict[str, Any]]) -> None:
    """Rows read = used + excluded + quarantined, entry by entry.

    Raises
    ------
    PipelineError
        When a row is unaccounted for: a fault of the program, never of the data.
    """
    for entry in ledger:
        out = entry["rows_used"] + sum(entry["excluded"].values()) + sum(entry["quarantined"].values())
        if entry["rows_read"] != out:
            raise PipelineError(
                f"{entry['file']}, table {entry['table']}: {entry['rows_read']} rows read but {out} accounted for; "
                "this is a fault of wellstring, please report it with the file's header."
            )
