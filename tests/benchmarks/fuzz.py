"""Damaged files by the thousand: ``python tests/benchmarks/fuzz.py [--files N] [--seed S] [--seconds T] [--only SEED]``.

Small invented files of every format and convention are damaged at random (bytes flipped, cut, doubled; quotes,
delimiters, line ends and NULs put in; lines exchanged; headers doubled; encodings mixed; archives and workbooks
damaged from inside) and read through ``read_inputs`` and, every fourth, ``to_records``. It must hold every time: no
error but the pipeline's own, told in one line; an end within the time limit; and a ledger that balances in rows, lines and bytes.
Each file has a seed of its own, printed where something fails: ``--only SEED`` does that one again.
"""

from __future__ import annotations

import argparse
import faulthandler
import gzip
import io
import json
import os
import shutil
import signal
import sqlite3
import struct
import sys
import tempfile
import time
import traceback
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pipeline.ingest.intake import Intake

ROOT = Path(__file__).resolve().parents[2]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

LIMIT_S = 10.0
# of so many files one goes on through normalise, which takes longer than reading
EVERY = 4
WARM = 40
LAYOUT = """
[source]
id = "fuzz_wells"
[tables.wells]
role = "wells"
match = ["BORE", "DEPTH_FT", "RWL_FT"]
id = "BORE"
[tables.wells.columns.depth_completed_m]
from = "DEPTH_FT"
unit = "ft"
[tables.wells.columns.depth_static_m]
from = "RWL_FT"
unit = "ft"
[tables.wells.columns.completed_date]
from = "DRILLED"
[tables.wells.columns.region_code]
from = "COUNTY"
[tables.casing]
role = "child"
match = ["BORE", "CASING_IN"]
id = "BORE"
[tables.casing.columns.diameter_casing_inside_m]
from = "CASING_IN"
unit = "in"
pick = "min"
"""
KNOWN = ["BORE", "DRILLED", "COUNTY", "DEPTH_FT", "RWL_FT"]
OWNER = ["Well ID", "Date drilled", "County", "Well depth (ft)", "Static water level (ft)"]
COUNTIES = ["Fenmark", "Nordhöhe", "Ailwy", 'The "Old" Moor', "Saltby, East"]


def _rows(rng: np.random.Generator, count: int) -> list[list[str]]:
    out = []
    for n in range(count):
        depth = int(rng.integers(30, 600))
        level = ["dry", "", "~40", f"{depth / 3:.1f}", f"{depth // 4}"][int(rng.integers(5))]
        date = f"{int(rng.integers(1950, 2026))}-{int(rng.integers(1, 13)):02d}-{int(rng.integers(1, 29)):02d}"
        out.append([f"{n + 1:03d}", date, COUNTIES[int(rng.integers(5))], str(depth), level])
    return out


def _delimited(names: list[str], rows: list[list[str]], delimiter: str, end: str) -> str:
    def cell(text: str) -> str:
        return '"' + text.replace('"', '""') + '"' if delimiter in text or '"' in text else text

    return "".join(delimiter.join(map(cell, row)) + end for row in [names, *rows])


def _text(rng: np.random.Generator) -> tuple[bytes, str]:
    """A text of one of many conventions."""
    rows, names = _rows(rng, int(rng.integers(3, 30))), KNOWN if rng.random() < 0.8 else OWNER
    delimiter, end = rng.choice([",", ",", "\t", ";", "|"]), rng.choice(["\n", "\n", "\r\n", "\r"])
    body = _delimited(names, rows, delimiter, end)
    kind = int(rng.integers(9))
    if kind == 1:
        body = f"Register of wells{end}{end}" + body + f"{end}(1,204 rows){end}Source: the register of Fenmark{end}"
    elif kind == 2:
        body = f"# a block{end}#{end}" + _delimited(names, [["5s", "10d", "20s", "8n", "8n"], *rows], delimiter, end)
    elif kind == 3:
        body = _delimited(names, [["", "", "", "ft", "ft"], ["", "", "", "0.5", "0.1"], *rows], delimiter, end)
    elif kind == 4:
        casing = [[row[0], "6"] for row in rows]
        body += f"{end}Casing{end}" + _delimited(["BORE", "CASING_IN"], casing, delimiter, end)
    elif kind == 5:
        body = f"sep={delimiter}{end}" + body
    elif kind == 6:
        body = "".join("  ".join(c.ljust(16) for c in row).rstrip() + end for row in [names, *rows])
    elif kind == 7:
        body = body.replace(end, f"{delimiter}{delimiter}{end}")
    coding = rng.choice(["utf-8", "utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le", "utf-16-be"])
    return body.encode(coding), rng.choice([".csv", ".txt", ".tsv"])


def _book(rng: np.random.Generator) -> tuple[bytes, str]:
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    for row in [["Register"], [], KNOWN, *_rows(rng, int(rng.integers(3, 12)))]:
        sheet.append([float(c) if c.isdigit() and rng.random() < 0.5 else c for c in row])
    if rng.random() < 0.5:
        more = book.create_sheet("casing")
        for row in [["BORE", "CASING_IN"], *[[f"{n:03d}", 6] for n in range(1, 5)]]:
            more.append(row)
    sheet["D6"] = "=1/0" if rng.random() < 0.3 else 120
    sheet.merge_cells("A1:E1")
    out = io.BytesIO()
    book.save(out)
    return out.getvalue(), ".xlsx"


def _dbf(rows: list[list[str]]) -> bytes:
    sizes = [6, 10, 16, 8, 8]
    head = bytes([3, 124, 1, 1]) + struct.pack("<IHH", len(rows), 32 * 6 + 1, 1 + sum(sizes)) + bytes(20)
    for name, size, kind in zip(KNOWN, sizes, "CCCNC", strict=True):
        head += name.encode().ljust(11, b"\0") + kind.encode() + bytes(4) + bytes([size, 0]) + bytes(14)
    body = b"".join(b" " + b"".join(c.encode()[:s].ljust(s) for c, s in zip(r, sizes, strict=True)) for r in rows)
    return head + b"\r" + body + b"\x1a"


def _shp(count: int) -> bytes:
    content = b"".join(struct.pack(">ii", n + 1, 10) + struct.pack("<idd", 1, -120 + n / 100, 40) for n in range(count))
    return struct.pack(">i20xi", 9994, (100 + len(content)) // 2) + struct.pack("<ii64x", 1000, 1) + content


def _package(rows: list[list[str]]) -> bytes:
    base = sqlite3.connect(":memory:")
    base.executescript(
        "CREATE TABLE gpkg_contents (table_name TEXT, data_type TEXT, srs_id INTEGER);"
        "CREATE TABLE gpkg_geometry_columns (table_name TEXT, column_name TEXT, srs_id INTEGER);"
        "CREATE TABLE gpkg_spatial_ref_sys (srs_id INTEGER, organization TEXT, organization_coordsys_id INTEGER,"
        " definition TEXT);"
        "INSERT INTO gpkg_spatial_ref_sys VALUES (4326, 'EPSG', 4326, 'x');"
        "INSERT INTO gpkg_contents VALUES ('wells', 'features', 4326);"
        "INSERT INTO gpkg_geometry_columns VALUES ('wells', 'geom', 4326);"
        "CREATE TABLE wells (fid INTEGER PRIMARY KEY, geom BLOB, BORE TEXT, DRILLED TEXT, COUNTY TEXT,"
        " DEPTH_FT REAL, RWL_FT TEXT);"
    )
    for n, row in enumerate(rows):
        blob = b"GP\0\1" + struct.pack("<i", 4326) + b"\1" + struct.pack("<Idd", 1, -120 + n / 100, 40)
        base.execute("INSERT INTO wells VALUES (?, ?, ?, ?, ?, ?, ?)", (n + 1, blob, *row))
    base.commit()
    return base.serialize()


def _json(rng: np.random.Generator, by_line: bool) -> bytes:
    features = [
        {"type": "Feature", "geometry": {"type": "Point", "coordinates": [-120 + n / 100, 40]},
         "properties": dict(zip(KNOWN, row, strict=True))}
        for n, row in enumerate(_rows(rng, int(rng.integers(3, 12))))
    ]  # fmt: skip
    if by_line:
        return b"".join(json.dumps(f).encode() + b"\n" for f in features)
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


def _damage(rng: np.random.Generator, content: bytes) -> bytes:
    """Up to six blows, each of one kind."""
    data = bytearray(content)
    for _ in range(int(rng.integers(0, 7))):
        if not data:
            break
        at, to = sorted(int(v) for v in rng.integers(0, len(data) + 1, 2))
        blow = int(rng.integers(14))
        if blow == 0:
            data[min(at, len(data) - 1)] = int(rng.integers(256))
        elif blow == 1:
            del data[at:]
        elif blow == 2:
            del data[at : min(to, at + 40)]
        elif blow == 3:
            data[at:at] = rng.choice([b'"', b'""', b"'", b'"\n'])
        elif blow == 4:
            data[at:at] = rng.choice([b",", b";", b"\t", b"|", b",,,,"])
        elif blow == 5:
            data[at:at] = rng.choice([b"\n", b"\r\n", b"\r", b"\n\n\n", b"\x0b\x0c"])
        elif blow == 6:
            data[at:at] = bytes(int(rng.integers(1, 9)))
        elif blow in (7, 8):
            lines = bytes(data).split(b"\n")
            one, two = (int(v) for v in rng.integers(0, len(lines), 2))
            if blow == 7:
                lines[one], lines[two] = lines[two], lines[one]
            else:
                lines.insert(one, lines[two])
            data = bytearray(b"\n".join(lines))
        elif blow == 9:
            data[at:at] = rng.choice(["é".encode(), "é".encode("cp1252"), b"\x81\x8d", b"\xff\xfe", b"\xef\xbb\xbf"])
        elif blow == 10:
            data[at:at] = bytes(rng.integers(0, 256, int(rng.integers(1, 60)), np.uint8))
        elif blow == 11:
            data[at:to] = data[at:to] * int(rng.integers(2, 5)) if to - at < 5000 else data[at:to]
        elif blow == 12:
            size = int(rng.choice([1, 2, 4]))
            data[at : at + size] = rng.choice([b"\xff" * size, b"\0" * size, b"\x7f" * size, b"\x80" * size])
        else:
            data[at:at] = b"\n# a remark\n" if rng.random() < 0.5 else b"\nTotal of all\n"
    return bytes(data)


def _inside(rng: np.random.Generator, packed: bytes) -> bytes:
    """A zip archive with one member damaged and packed again."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(packed)) as archive, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as again:
        names = archive.namelist()
        hit = names[int(rng.integers(len(names)))]
        for name in names:
            again.writestr(name, _damage(rng, archive.read(name)) if name == hit else archive.read(name))
    return out.getvalue()


def make(seed: int, folder: Path) -> Path:
    """The input of a seed, written below ``folder``: a file, or the folder of a shapefile."""
    rng = np.random.default_rng(seed)
    kinds: list[Callable[[], tuple[bytes, str]]] = [
        *[lambda: _text(rng)] * 8, lambda: _book(rng), lambda: (_dbf(_rows(rng, 9)), ".dbf"),
        lambda: (_package(_rows(rng, 9)), ".gpkg"), lambda: (_json(rng, False), ".geojson"),
        lambda: (_json(rng, True), ".geojsonl"),
    ]  # fmt: skip
    pick = int(rng.integers(len(kinds) + 1))
    inputs = folder / "in"
    shutil.rmtree(inputs, ignore_errors=True)
    inputs.mkdir()
    if pick == len(kinds):
        rows = _rows(rng, 9)
        parts = {".dbf": _dbf(rows), ".shp": _shp(len(rows)), ".prj": b'GEOGCS["x",DATUM["D_WGS_1984"]]', ".cpg": b"UTF-8"}
        for ending, content in parts.items():
            if rng.random() < 0.9:
                (inputs / f"wells{ending}").write_bytes(_damage(rng, content) if rng.random() < 0.5 else content)
        if rng.random() < 0.4:
            path = folder / "in" / "shapes.zip"
            with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
                for part in sorted(inputs.glob("wells*")):
                    archive.write(part, part.name)
                    part.unlink()
            return path
        return inputs
    content, ending = kinds[pick]()
    if ending == ".xlsx" and rng.random() < 0.6:
        content = _inside(rng, content)
    elif rng.random() < 0.92:
        content = _damage(rng, content)
    wrap = rng.random()
    if wrap < 0.08:
        content, ending = gzip.compress(content), ending + ".gz"
        content = _damage(rng, content) if rng.random() < 0.4 else content
    elif wrap < 0.16:
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("deep/../wells" + ending, content)
            if rng.random() < 0.5:
                archive.writestr("casing.csv", b"BORE,CASING_IN\n001,6\n002,5\n")
        content, ending = out.getvalue(), ".zip"
        content = _damage(rng, content) if rng.random() < 0.4 else content
    path = inputs / f"wells{ending}"
    path.write_bytes(content)
    return path


@dataclass
class Outcome:
    """What came of one file: its kind, seconds, and what was wrong ("" when nothing was)."""

    seed: int
    kind: str
    seconds: float
    wrong: str = ""
    told: str = ""


@dataclass
class Tally:
    """Counts of outcomes over all files, the slowest, and failures."""

    kinds: Counter[str] = field(default_factory=Counter)
    slowest: Outcome | None = None
    failed: list[Outcome] = field(default_factory=list)

    def add(self, outcome: Outcome) -> None:
        """Count one file."""
        self.kinds[outcome.kind] += 1
        if self.slowest is None or outcome.seconds > self.slowest.seconds:
            self.slowest = outcome
        if outcome.wrong:
            self.failed.append(outcome)


def _unbalanced(path: Path, intake: Intake) -> str:
    """What does not add up, "" when all does."""
    ledger = intake.ledger
    for entry, table in zip(ledger, intake.tables, strict=True):
        rows = len(table.frame) + sum(entry.quarantined.values())
        lines, size = sum(entry.line_kinds.values()), sum(entry.byte_kinds.values())
        if (rows, lines, size) != (entry.rows_read, entry.lines, entry.bytes):
            return f"rows, lines or bytes of {entry.file} do not add up: {rows} rows in the frame, {entry.to_dict()}"
    raw = path.read_bytes() if path.is_file() else b""
    whole = not intake.not_read and path.suffix in (".csv", ".txt", ".tsv") and raw[:2] not in (b"\x1f\x8b", b"PK")
    if whole and all(entry.bytes for entry in ledger):
        if sum(entry.bytes for entry in ledger) != len(raw):
            return f"{sum(entry.bytes for entry in ledger)} bytes in the ledger, {len(raw)} in the file"
        if b"\n\0" in raw[:400] or b"\0\n" in raw[:400] or b"\r\0" in raw[:400] or b"\0\r" in raw[:400]:
            return ""  # UTF-16: lines are those of the decoded text
        ends = b"\n" if b"\n" in raw else b"\r"
        lines = raw.count(ends) + (not raw.endswith(ends))
        if sum(entry.lines for entry in ledger) != lines:
            return f"{sum(entry.lines for entry in ledger)} lines in the ledger, {lines} in the file"
    return ""


class TooLong(Exception):
    """The time limit of one file has passed."""


def _alarm(_signal: int, _frame: object) -> None:
    raise TooLong


def try_one(seed: int, folder: Path, limit: float = LIMIT_S) -> Outcome:
    """Make the file of a seed and read it."""
    from pipeline.errors import PipelineError
    from pipeline.ingest import read_inputs
    from pipeline.normalise import to_records
    from pipeline.settings import Settings

    layout = folder / "fuzz_wells.toml"
    layout.write_text(LAYOUT, encoding="utf-8")
    path = make(seed, folder)
    began = time.perf_counter()
    told = wrong = ""
    signal.signal(signal.SIGALRM, _alarm)
    signal.setitimer(signal.ITIMER_REAL, limit)
    # compiled code does not hear the alarm: then the process ends, the seed printed
    faulthandler.dump_traceback_later(6 * limit, exit=True)
    try:
        settings = Settings(layouts=(layout,), threads=1)
        intake = read_inputs([path], settings)
        wrong = _unbalanced(path, intake)
        if not wrong and seed % EVERY == 0:
            lost = [entry.to_dict() for entry in to_records(intake, settings).ledger if not entry.balances()]
            wrong = f"records do not add up: {lost}" if lost else ""
        faults = int(intake.quarantine["reason_code"].size)
        kind = "read, lines set aside" if faults else "read in part" if intake.not_read else "read"
    except PipelineError as error:
        kind, told = "refused", str(error)
        if "\n" in told or "Traceback" in told or not told:
            wrong = f"the message is not one line: {told!r}"
    except TooLong:
        kind, wrong = "too long", f"no end after {limit} s"
    except Exception:
        kind, wrong = "fell over", traceback.format_exc()
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        faulthandler.cancel_dump_traceback_later()
        for proposal in Path.cwd().glob("*.layout.toml"):
            proposal.unlink()
    return Outcome(seed, kind, time.perf_counter() - began, wrong, told)


def run(seeds: Iterator[int], folder: Path, seconds: float = float("inf"), limit: float = LIMIT_S,
        tell: Callable[[str], None] = print) -> Tally:  # fmt: skip
    """Try every seed until the time is over.

    The working folder is ``folder`` meanwhile, because proposed layouts are written into it.
    """
    tally, began, before = Tally(), time.monotonic(), Path.cwd()
    os.chdir(folder)
    try:
        for seed in range(WARM):  # what is compiled on first use is compiled before the clock runs
            try_one(seed, folder, 100 * limit)
        for number, seed in enumerate(seeds, 1):
            outcome = try_one(seed, folder, limit)
            tally.add(outcome)
            if outcome.wrong:
                tell(f"seed {seed}: {outcome.wrong}")
            if number % 1000 == 0:
                tell(f"{number} files, {len(tally.failed)} failed")
            if time.monotonic() - began > seconds:
                break
    finally:
        os.chdir(before)
    return tally


def main() -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--files", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=float("inf"))
    parser.add_argument("--only", type=int, help="read the file of this seed again and keep it")
    options = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
    if options.only is not None:
        os.chdir(folder)
        outcome = try_one(options.only, folder)
        print(f"{outcome.kind} in {outcome.seconds:.2f} s: {outcome.wrong or outcome.told or 'as it should be'}")
        print(f"kept in {folder / 'in'}")
        return int(bool(outcome.wrong))
    try:
        first = options.seed * 1_000_000
        tally = run(iter(range(first, first + options.files)), folder, options.seconds)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    for kind, count in tally.kinds.most_common():
        print(f"{count:7d}  {kind}")
    if tally.slowest:
        print(f"slowest {tally.slowest.seconds:.2f} s (seed {tally.slowest.seed})")
    print(f"failed {len(tally.failed)}: {' '.join(str(o.seed) for o in tally.failed[:50]) or 'none'}")
    return int(bool(tally.failed))


if __name__ == "__main__":
    sys.exit(main())
