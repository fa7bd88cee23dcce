"""How well files are understood that no layout knows: every source left out in turn, judged by a truth table.

    python tests/benchmarks/unseen.py [FOLDER...] [--strict | --lenient] [--styles] [--source S]
                                      [--show wrong|missed|asked] [--json]

Without a folder: the open records beside the checkout. For each source its layouts are removed and its folders read
as unknown. ``--lenient`` keeps the word lists as they are. ``--strict`` (the default) also takes from every
``schemas/header_*.csv`` each phrase, word or short form (columns ``words``, ``short`` and ``forms``, parted by ``|``)
that occurs in headers of this source and in those of no other source of the truth table; what no source attests, or
two or more do, stays. Unit words stay: they are a vocabulary of their own. ``--styles`` judges the tables of
``tests/ingest/header_styles.csv`` instead: headers from memory, values invented.

Printed for each source and in total: columns applied without asking and how many are right (precision); fields that
must be read and are, per table and field (recall), also of those that the files do tell, and when questions are
answered; the same for the fields that decide length; units right, wrong, asked; and a table of scores against the
share that is right. Wrong ones are listed. The exit code is 1 when a field that decides length is wrong.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import json
import os
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parents[1])]

import unseen_truth as facts  # noqa: E402

ROOT = HERE.parents[1]
RECORDS = ROOT.parent / "shared" / "records"
FORMS = ("words", "short", "forms")
BINS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 1.000001)


def without(source: str, target: Path, strict: bool) -> list[str]:
    """The declarations without the layouts of a source, and in strict mode without its own words.

    Returns
    -------
    list of str
        ``file: form`` of everything taken from the word lists.
    """
    from pipeline import schema

    origin, taken = schema.folder(), []
    for path in origin.iterdir():
        if path.name != "sources" and not (strict and path.name.startswith("header_") and path.suffix == ".csv"):
            (target / path.name).symlink_to(path)
    (target / "sources").mkdir()
    for path in (origin / "sources").glob("*.toml"):
        if not path.stem.startswith(source):
            (target / "sources" / path.name).symlink_to(path)
    for path in sorted(origin.glob("header_*.csv")) if strict else []:
        with path.open(newline="", encoding="utf-8") as handle:
            reader = csv.DictReader(handle)
            names, rows = list(reader.fieldnames or []), list(reader)
        kept = []
        for row in rows:
            whole = True
            for name in FORMS:
                forms = [f for f in (row.get(name) or "").split("|") if f]
                stay = [f for f in forms if facts.attested(f) != {source}]
                taken += [f"{path.name}: {f}" for f in forms if f not in stay]
                if forms:
                    row[name], whole = "|".join(stay), whole and bool(stay)
            if whole:
                kept.append(row)
        with (target / path.name).open("w", newline="", encoding="utf-8") as handle:
            writer = csv.DictWriter(handle, names, lineterminator="\n")
            writer.writeheader()
            writer.writerows(kept)
    return taken


def see(folder: Path) -> list[facts.Seen]:
    """All tables of a folder as they are proposed together, whatever layouts know."""
    from pipeline.ingest.survey import Reader
    from pipeline.settings import Settings

    surveyed = Reader(Settings(), packaged=False).survey([folder], strict=False)
    out: list[facts.Seen] = []
    done: set[tuple[str, ...]] = set()
    for entry in surveyed.entries:
        profile = entry.profile
        if profile is None or profile.key in done:
            continue
        done.add(profile.key)
        source = surveyed.assembled.source_of(entry.name)
        tables = source.proposal.tables if source else []
        table = next((t for t in tables if entry.name in (t.files or (t.file,))), None)
        filled = {h for h in profile.headers if len(profile.values(h))}
        if table is None:
            out.append(facts.Seen(entry.name, profile.headers, [], role="", filled=filled))
        else:
            where = {name: dict(rows) for name, rows in table.where.items()}
            out.append(facts.Seen(entry.name, table.headers, table.guesses, table.role, table.id, where, filled))
    return out


def of_source(source: str, folders: list[Path], strict: bool) -> dict[str, Any]:
    """Judged guesses and fields due of one source, in this process: its declarations are exchanged first."""
    from pipeline import schema
    from pipeline.ingest.proposal import calibration

    with tempfile.TemporaryDirectory() as scratch:
        taken = without(source, Path(scratch), strict)
        schema.folder = lambda: Path(scratch)  # type: ignore[assignment]
        judged: list[dict[str, Any]] = []
        fields: list[dict[str, Any]] = []
        for folder in folders:
            for seen in see(folder):
                rows = facts.judge(seen, facts.TRUTH, source)
                kinds = {g.header: calibration.kind_of(g) for g in seen.guesses}
                judged += [row.to_dict() | {"file": seen.name, "kind": kinds.get(row.header, "")} for row in rows]
                fields += found_fields(seen, rows, facts.TRUTH) if rows else []
    return {"source": source, "judged": judged, "fields": fields, "taken": taken}


def found_fields(seen: facts.Seen, rows: list[facts.Judged], path: Path) -> list[dict[str, Any]]:
    """One row a field that a table must give: read, asked about, or missed."""
    out = []
    for column in facts.due(seen, path):
        # the field from whichever column, or this column by another reading that is right as well
        fits = [r for r in rows if r.guess and r.verdict == "right" and column.field in (r.guess, r.truth)
                and (r.guess == column.field or r.header == column.header)]  # fmt: skip
        applied = [r for r in fits if r.applied]
        asked = [r for r in fits if not r.applied]
        state = "read" if applied else "asked" if asked and seen.role else "missed"
        out.append({"source": column.source, "table": column.table, "header": column.header, "field": column.field,
                    "deciding": bool(column.deciding), "tellable": column.tellable != "no", "state": state,
                    "why": asked[0].why if asked else "" if seen.role else "the table is passed over"})  # fmt: skip
    return out


def folders_of(roots: list[Path]) -> dict[str, list[Path]]:
    """Folders by the sources whose tables lie in them, known by headers alone."""
    from pipeline.ingest.files import list_files
    from pipeline.ingest.header import unique_names
    from pipeline.ingest.survey import Reader
    from pipeline.settings import Settings

    reader = Reader(Settings(), packaged=False)
    out: dict[str, list[Path]] = {}
    for folder in roots:
        for one in sorted(p for p in folder.iterdir() if p.is_dir()) or [folder]:
            for file in list_files([one]):
                for entry in reader._entries(file):
                    key = facts.table_of(unique_names(entry.head.cells).unique) if entry.head else None
                    if key and one not in out.setdefault(key[0], []):
                        out[key[0]].append(one)
    return dict(sorted(out.items()))


def share(part: int, whole: int) -> str:
    """Part of whole, with both counts."""
    return f"{part / whole:.3f} ({part}/{whole})" if whole else "- (0/0)"


def summary(judged: list[dict[str, Any]], fields: list[dict[str, Any]]) -> dict[str, Any]:
    """Counts of one source or of all."""
    applied = [r for r in judged if r["applied"] and r["guess"]]
    hard = [r for r in applied if r["deciding"]]
    told, due = [f for f in fields if f["tellable"]], [f for f in fields if f["deciding"]]
    units = Counter(r["unit"] for r in judged if r["unit"])
    right = sum(r["verdict"] == "right" for r in applied)

    def found(rows: list[dict[str, Any]], *states: str) -> int:
        return sum(f["state"] in states for f in rows)

    return {
        "columns": len(judged), "applied": len(applied), "right": right, "wrong": len(applied) - right,
        "precision": share(right, len(applied)),
        "recall": share(found(fields, "read"), len(fields)),
        "recall_told": share(found(told, "read"), len(told)),
        "recall_answered": share(found(fields, "read", "asked"), len(fields)),
        "deciding_applied": len(hard), "deciding_wrong": sum(r["verdict"] == "wrong" for r in hard),
        "deciding_recall": share(found(due, "read"), len(due)),
        "deciding_told": share(found([f for f in due if f["tellable"]], "read"), sum(f["tellable"] for f in due)),
        "deciding_answered": share(found(due, "read", "asked"), len(due)),
        "units": f"{units['right']}/{units['wrong']}/{units['asked']}",
    }  # fmt: skip


def calibration(judged: list[dict[str, Any]]) -> list[str]:
    """Lines of scores against the share that is right, of all guesses that name a field."""
    lines = ["score            guesses  right  share", "---------------  -------  -----  -----"]
    for low, high in itertools.pairwise(BINS):
        rows = [r for r in judged if r["guess"] and low <= r["score"] < high]
        if rows:
            good = sum(r["verdict"] == "right" and r["unit"] in ("", "right") for r in rows)
            lines.append(f"{low:5.3f} to {min(high, 1):5.3f}  {len(rows):7}  {good:5}  {good / len(rows):5.3f}")
    return lines


SHOWN = ("columns", "applied", "wrong", "precision", "recall", "recall_told", "recall_answered", "deciding_applied",
         "deciding_wrong", "deciding_recall", "deciding_told", "deciding_answered", "units")  # fmt: skip
HEADS = ("columns", "applied", "wrong", "precision", "recall", "of told", "answered", "deciding", "wrong", "recall",
         "of told", "answered", "units r/w/a")  # fmt: skip


def report(results: list[dict[str, Any]], show: str) -> int:
    """Prints everything; returns how many fields that decide length are wrong."""
    rows = [["source", *HEADS]]
    for result in results:
        counted = summary(result["judged"], result["fields"])
        rows.append([result["source"], *(str(counted[name]) for name in SHOWN)])
    judged = [r for result in results for r in result["judged"]]
    fields = [f for result in results for f in result["fields"]]
    total = summary(judged, fields)
    rows.append(["all", *(str(total[name]) for name in SHOWN)])
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    for row in rows:
        print("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())
    print("\n" + "\n".join(calibration(judged)))
    wrong = [r for r in judged if r["applied"] and r["verdict"] == "wrong"]
    if wrong:
        print("\nApplied and wrong:")
    for r in wrong:
        mark = " DECIDING" if r["deciding"] else ""
        print(f"  {r['source']}/{r['table']} '{r['header']}': {r['guess']} [{r['guess_unit']}] at {r['score']:.3f}, is "
              f"{r['truth'] or 'nothing'} [{r['truth_unit']}] {r['why']}{mark}")  # fmt: skip
    states = {"missed": ("missed",), "asked": ("asked",)}.get(show, ())
    for f in fields:
        if f["state"] in states:
            print(f"  {f['state']} {f['source']}/{f['table']} '{f['header']}': {f['field']} {f['why']}"
                  + ("" if f["tellable"] else " (nothing in the files tells)"))  # fmt: skip
    return int(total["deciding_wrong"])


def main() -> int:
    """Runs one process a source, two at a time."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--strict", action="store_true")
    parser.add_argument("--lenient", action="store_true")
    parser.add_argument("--styles", action="store_true")
    parser.add_argument("--source", default="")
    parser.add_argument("--show", choices=("wrong", "missed", "asked"), default="wrong")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--child", default="", help=argparse.SUPPRESS)
    given = parser.parse_args()
    roots = given.folders or [RECORDS]
    if given.child:
        print(json.dumps(of_source(given.child, roots, not given.lenient)))
        return 0
    if given.styles:
        from unseen_styles import all_styles

        results = all_styles(see, found_fields)
    else:
        results = _sources(roots, given)
    if given.json:
        print(json.dumps(results, indent=1))
        return 0
    return int(report(results, given.show) > 0)


def _sources(roots: list[Path], given: argparse.Namespace) -> list[dict[str, Any]]:
    missing = [str(root) for root in roots if not root.is_dir()]
    if missing:
        raise SystemExit(f"No such folder: {', '.join(missing)}. Name the folder of the records.")
    wanted = {s: f for s, f in folders_of(roots).items() if given.source in s}
    mode = ["--lenient"] if given.lenient else []
    running: list[subprocess.Popen[str]] = []
    results = []
    for source, folders in wanted.items():
        running.append(subprocess.Popen(
            [sys.executable, __file__, *map(str, folders), "--child", source, *mode],
            stdout=subprocess.PIPE, text=True, env=os.environ | {"PYTHONPATH": str(ROOT)},
        ))  # fmt: skip
        while len(running) >= 2 or (running and source == list(wanted)[-1]):
            text, _ = running.pop(0).communicate()
            results.append(json.loads(text.splitlines()[-1]))
    return results


if __name__ == "__main__":
    sys.exit(main())
