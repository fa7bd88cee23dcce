"""Where every record of every file went: ``python tests/benchmarks/ledger.py FOLDER... [--json]``.

Reads each folder (or file) as the program does, normalises it, and prints a row a file and table: bytes, lines and
rows in, rows used, excluded and quarantined by reason, columns that are read, how their units were decided, seconds.
Files that are left unread follow with the reason. Without a folder: every folder of the open records beside the
checkout. Nothing of a record is printed. The exit code is 1 when a ledger does not balance.

Seconds of a file are those from its opening to that of the next; tables that are proposed for are read at the end
of their folder and count in the line of the folder only.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT)]

RECORDS = ROOT.parent / "shared" / "records"


def reasons(counts: dict[str, int]) -> str:
    """Reasons with their rows, the most frequent first."""
    return ", ".join(f"{n:,} {name}" for name, n in sorted(counts.items(), key=lambda c: (-c[1], c[0]))) or "none"


def of_folder(path: Path) -> dict[str, Any]:
    """Everything about one folder: rows of its ledger, files left unread, seconds."""
    from pipeline.errors import SourceError
    from pipeline.ingest import read_inputs, survey
    from pipeline.ingest.files import list_files
    from pipeline.ingest.intake import folded
    from pipeline.normalise import to_records
    from pipeline.settings import Settings

    starts: list[tuple[str, float]] = []
    original = survey.open_file

    def timed(file: Any) -> Iterator[Any]:
        starts.append((file.name, time.perf_counter()))
        return original(file)

    survey.open_file = timed
    begun = time.perf_counter()
    try:
        intake = read_inputs([path], Settings())
    except SourceError as error:
        return {"folder": path.name, "error": str(error).split(". A layout to complete")[0]}
    finally:
        survey.open_file = original
    read = time.perf_counter()
    records = to_records(intake, Settings())
    done = time.perf_counter()
    ends = [at for _, at in starts[1:]] + [read]
    seconds: dict[str, float] = defaultdict(float)
    for (name, at), end in zip(starts, ends, strict=True):
        seconds[name] += end - at
    rows = []
    sizes = {f.name: f.path.stat().st_size for f in list_files([path])}
    # a layout may name columns that this edition of the file lacks
    present = {(t.source_id, t.table, t.file): {folded(c) for c in t.frame if t.frame[c].notna().any()}
               for t in intake.tables}  # fmt: skip
    for entry in records.ledger:
        here = present.get((entry.source_id, entry.table, entry.file), set())
        mine = [d for d in intake.decisions if (d["source"], d["table"]) == (entry.source_id, entry.table)
                and d["file"] == entry.file and folded(d["column"]) in here]  # fmt: skip
        units = Counter(d["how"] for d in mine if d["unit"])
        rows.append({
            **entry.to_dict(), "balances": entry.balances(), "columns": len({d["column"] for d in mine}),
            "units": dict(units), "on_disk": sizes.get(entry.file.split(": ")[0], 0), "seconds": round(seconds.get(entry.file.split(": ")[0], 0.0), 2),
        })  # fmt: skip
    return {
        "folder": path.name, "rows": rows, "not_read": [list(pair) for pair in intake.not_read],
        "wells": len(records.wells), "read_seconds": round(read - begun, 2),
        "normalise_seconds": round(done - read, 2),
    }  # fmt: skip


def show(found: dict[str, Any]) -> bool:
    """Prints one folder; whether all balances."""
    print(f"\n{found['folder']}")
    if "error" in found:
        print(f"  not read: {found['error'][:300]}")
        return True
    for row in found["rows"]:
        print(f"  {row['file']} [{row['source_id']}.{row['table']}]: {row['bytes'] or row['on_disk']:,} bytes"
              f"{'' if row['bytes'] else ' on disk, no text'}, {row['lines']:,} lines, "
              f"{row['rows_read']:,} rows; used {row['rows_used']:,}; excluded {reasons(row['excluded'])}; "
              f"quarantined {reasons(row['quarantined'])}; {row['columns']} columns read, units by "
              f"{reasons(row['units'])}; {row['seconds']} s; {'balances' if row['balances'] else 'DOES NOT BALANCE'}")  # fmt: skip
    for name, why in found["not_read"]:
        print(f"  {name}: not read: {why[:240]}")
    rows = found["rows"]
    print(f"  = {sum(r['rows_read'] for r in rows):,} rows read, {sum(r['rows_used'] for r in rows):,} used, "
          f"{found['wells']:,} wells; read in {found['read_seconds']} s, normalised in {found['normalise_seconds']} s")  # fmt: skip
    return all(row["balances"] for row in rows)


def main() -> int:
    """Each folder in turn."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    paths = given.folders or sorted(p for p in RECORDS.glob("*") if p.is_dir())
    if not paths:
        print(f"No folder given, and no open records at {RECORDS}.")
        return 2
    missing = [str(p) for p in paths if not p.exists()]
    if missing:
        print(f"No such folder: {', '.join(missing)}.")
        return 2
    results = []
    for path in paths:
        results.append(of_folder(path))
        if not given.json:
            show(results[-1])
    sound = all(row["balances"] for r in results for row in r.get("rows", []))
    if given.json:
        print(json.dumps(results, indent=1))
    else:
        told = [row for r in results for row in r.get("rows", [])]
        print(f"\n{len(told)} tables, {sum(r['rows_read'] for r in told):,} rows, "
              f"{sum(r['balances'] for r in told)} of {len(told)} ledgers balance.")  # fmt: skip
    return int(not sound)


if __name__ == "__main__":
    sys.exit(main())
