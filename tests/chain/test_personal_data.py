"""Names, addresses, phones, mail, parcels: planted where people put them, and looked for in every byte that leaves."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import duckdb
import openpyxl
import pyarrow.parquet as pq

ROOT = Path(__file__).resolve().parents[2]
# all invented; each word occurs nowhere else
NAME, OTHER, FIRM = "Ilvarette", "Quillbywort", "Vexmoorland"
STREET, PHONE, MAIL, PARCEL = "Fernhollowgate", "555-0147-8832", "zibbeldrake@", "PX-0417-88-2291"
PLANTED = (NAME, OTHER, FIRM, STREET, PHONE, MAIL, PARCEL, PHONE.replace("-", ""), "zibbeldrake")
PERSON = f"{NAME} {OTHER}"
ROWS = 60


def plain(number: int) -> dict[str, str]:
    """A sound record of an invented well."""
    depth = 100 + 7 * (number % 25)
    return {
        "Well No": f"{7000 + number}", "County": ("Aldermoor", "Brindle")[number % 2], "Use": "Domestic",
        "Date drilled": f"19{70 + number % 29}-{1 + number % 12:02d}-{1 + number % 28:02d}",
        "Depth drilled (ft)": str(depth + 5), "Well depth (ft)": str(depth), "SWL (ft)": str(20 + number % 30),
        "Yield (gpm)": str(5 + number % 20), "Casing diameter (in)": "6", "Latitude": f"{44 + number / 500:.5f}",
        "Longitude": f"{-93 - number / 700:.5f}", "Owner": f"{PERSON} {number}", "Street address": f"{number} {STREET} Lane",
        "Phone": PHONE, "E-mail": f"{MAIL}mail.example", "Parcel": PARCEL, "Driller": FIRM, "Remarks": "clear",
        "Tag notes": "plate on casing", "Notes": "",
    }  # fmt: skip


def records() -> list[dict[str, str]]:
    """Records with personal data in personal columns, in remarks, and in cells where a number or code belongs."""
    rows = [plain(n) for n in range(ROWS)]
    rows[3]["Remarks"] = f"call {PERSON} at {PHONE}"
    rows[4]["Tag notes"] = f"key with {PERSON}, {STREET} Lane"
    rows[5]["Well depth (ft)"] = f"ask {PERSON} {PHONE}"
    rows[6]["SWL (ft)"] = f"see {MAIL}mail.example"
    rows[7]["Use"] = f"{PERSON}'s cottage"
    rows[8]["Date drilled"] = f"before {PERSON} came"
    rows[9]["Casing diameter (in)"] = f"6 ({FIRM})"
    rows[10]["Yield (gpm)"] = PHONE
    rows[11]["Latitude"] = f"{STREET} Lane"
    rows[12]["Depth drilled (ft)"] = PARCEL
    rows[13]["Notes"] = f"parcel {PARCEL}, {PERSON}"
    return rows


def as_csv(path: Path) -> None:
    """With a banner above the header and lines that do not fit it."""
    with path.open("w", newline="", encoding="utf-8") as handle:
        handle.write(f"# Prepared for {PERSON}, {STREET} Lane\n# {PHONE}\n")
        writer = csv.DictWriter(handle, list(plain(0)))
        writer.writeheader()
        writer.writerows(records())
        handle.write(f"9001,Brindle,{PERSON}\n")
        handle.write(f"9002,{'x,' * 40}{PHONE},{STREET}\n")


def as_workbook(path: Path) -> None:
    """On a sheet that bears a name, below a banner."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = f"{PERSON}"
    sheet.append([f"Wells of {PERSON}"])
    sheet.append([])
    sheet.append(list(plain(0)))
    for row in records():
        sheet.append([f"8{v}" if k == "Well No" else v for k, v in row.items()])
    other = book.create_sheet(f"{FIRM} jobs")
    other.append(["Job", "Customer"])
    other.append(["1", PERSON])
    book.properties.creator = PERSON
    book.save(path)


def as_geojson(path: Path) -> None:
    features = [
        {"type": "Feature", "properties": {k: (f"9{v}" if k == "Well No" else v) for k, v in row.items()},
         "geometry": {"type": "Point", "coordinates": [-93.0 - n / 700, 44.0 + n / 500]}}
        for n, row in enumerate(records())
    ]  # fmt: skip
    path.write_text(json.dumps({"type": "FeatureCollection", "name": PERSON, "features": features}))


def wellstring(*words: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pipeline", *map(str, words)], cwd=cwd, capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)}, check=False,
    )  # fmt: skip


def contents(folder: Path) -> Iterator[tuple[str, str]]:
    """Every file below a folder as text: bytes as they are, and what packed formats hold."""
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        raw = path.read_bytes()
        yield str(path.relative_to(folder)), raw.decode("utf-8", "replace")
        yield f"{path.name} (wide)", raw.decode("utf-16-le", "ignore")
        if path.suffix == ".parquet":
            table = pq.read_table(path)
            yield f"{path.name} (rows)", f"{table.schema.to_string(show_schema_metadata=True)} {table.to_pylist()}"
        elif path.suffix == ".duckdb":
            with duckdb.connect(str(path), read_only=True) as base:
                for (name,) in base.execute("select table_name from information_schema.tables").fetchall():
                    yield f"{path.name}: {name}", str(base.execute(f'select * from "{name}"').fetchall())
        elif zipfile.is_zipfile(path):
            with zipfile.ZipFile(path) as archive:
                for inner in archive.namelist():
                    yield f"{path.name}: {inner}", archive.read(inner).decode("utf-8", "replace")


def leaks(text: str) -> list[str]:
    return [f"{word}: ...{text[max(0, at - 60):at + 60]!r}" for word in PLANTED
            if (at := text.lower().find(word.lower())) >= 0]  # fmt: skip


def test_what_is_planted_is_in_no_output(tmp_path: Path) -> None:
    """All formats in one folder, every command that writes or prints, every byte of what they leave."""
    given, work = tmp_path / "given", tmp_path / "work"
    given.mkdir()
    work.mkdir()
    as_csv(given / "wells.csv")
    as_workbook(given / "book.xlsx")
    as_geojson(given / "points.geojson")
    steps = {"run": wellstring("run", given, "--out", "run", "--gate-pages", cwd=work)}
    assert steps["run"].returncode in (0, 3), steps["run"].stderr[-400:]
    read = json.loads((work / "run" / "manifest.json").read_text())["ledger"]
    assert sum(entry["rows_used"] for entry in read) >= 3 * ROWS - 3, "all three files are read"
    steps["inspect"] = wellstring("inspect", given, cwd=work)
    steps["inspect --json"] = wellstring("inspect", given, "--json", cwd=work)
    steps["layout"] = wellstring("inspect", given / "wells.csv", "--write-layout", "proposed.toml", cwd=work)
    steps["explain"] = wellstring("explain", "run", "7001", cwd=work)
    found = [f"{path} {leak}" for path, text in contents(work) for leak in leaks(text)]
    found += [f"{step} {leak}" for step, done in steps.items() for leak in leaks(done.stdout + done.stderr)]
    assert not found, "\n".join(found)


def test_a_file_that_is_not_understood_gives_nothing_away(tmp_path: Path) -> None:
    given, work = tmp_path / "given", tmp_path / "work"
    given.mkdir()
    work.mkdir()
    lines = ["Ref,Bottom,Top water,Owner,Note"]
    lines += [f"{n},{100 + n},{20 + n % 9},{PERSON},{PHONE}" for n in range(40)]
    (given / "odd.csv").write_text("\n".join(lines) + "\n")
    done = wellstring("run", given / "odd.csv", "--out", "run", cwd=work)
    told = wellstring("inspect", given / "odd.csv", "--write-layout", "odd.toml", cwd=work)
    assert "Traceback" not in done.stderr
    found = [f"{path} {leak}" for path, text in contents(work) for leak in leaks(text)]
    found += leaks(done.stdout + done.stderr + told.stdout + told.stderr)
    assert not found, "\n".join(found)
