"""One physical line of the user's own file: its text, what becomes of it, and how its cells are read.

The line itself is shown as it stands, because the user asks for it by number; the readings are of mapped
columns only.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import inspect_values, schema, words
from pipeline.errors import UsageError
from pipeline.ingest import parse as parsing
from pipeline.ingest import scan
from pipeline.ingest.header import decode
from pipeline.ingest.inspection import TableSeen
from pipeline.ingest.look import opened_of, survey_of, table_of
from pipeline.ingest.opened import Opened
from pipeline.ingest.parse import parse
from pipeline.ingest.sheets import Grid
from pipeline.ingest.survey import Reader
from pipeline.settings import Settings

WIDTH = 100
_LONGEST = 2000
# bytes below a line within which its remark must be among the last
_TAIL = 1 << 20


@dataclass
class Cell:
    """One mapped cell: its column, field, text, reading ("" when none) and why there is none."""

    column: str
    field: str
    raw: str
    reading: str
    why: str = ""


@dataclass
class LineSeen:
    """One line and its fate.

    Attributes
    ----------
    fate : str
        above, header, units, comment, blank, repeated, record, left_out or quarantined.
    reason : str
        Code of why it is left out or quarantined.
    first, last : int
        Physical lines of the record it belongs to.
    offset, length : int
        Where the line lies, in bytes; -1 in workbooks.
    """

    file: str
    line: int
    raw: str
    fate: str
    reason: str = ""
    row: int = 0
    first: int = 0
    last: int = 0
    offset: int = -1
    length: int = 0
    layout: str = ""
    cells: list[Cell] = field(default_factory=list)
    record: bytes = field(default=b"", repr=False)


def look_at(path: Path, line: int, settings: Settings) -> LineSeen:
    """One line of one file.

    Raises
    ------
    UsageError
        When the file has fewer lines, or is an archive of several.
    """
    reader = Reader(settings)
    survey = survey_of(reader, [path])
    entry = survey.entries[0]
    if len(survey.entries) > 1:
        # of several tables in one text, the one in whose stretch the line lies
        texts = [e for e in survey.entries if e.opened is not None and e.opened.text is not None]
        if len(texts) != len(survey.entries) or any(e.opened and e.opened.one_of_many for e in texts):
            raise UsageError(f"{path}: --line takes one table, not an archive or workbook of several; take it apart.")
        entry = [e for e in texts if e.opened and (e.opened.part.lines < line or e is texts[0])][-1]
    opened = opened_of(entry)
    if entry.head is None:
        raise entry.fault or UsageError(f"{path}: holds no table.")
    table = table_of(reader, entry, survey.assembled.source_of(entry.name))
    found = _in_text(opened, table, line) if table.grid is None else _in_grid(opened, table, line)
    found.layout = table.layout
    if found.fate == "record" and len(table.frame.columns) > 2 and not table.hopeless:
        _read_cells(found, table, settings)
    return found


def line_at(buffer: NDArray[np.uint8], line: int) -> tuple[int, int, int]:
    """First byte of a physical line, the byte after its last, and how many lines were met."""
    step, met, start = 1 << 24, 1, 0
    for at in range(0, buffer.size, step):
        ends = np.flatnonzero(buffer[at : at + step] == 10)
        if start == 0 and met <= line <= met + len(ends):
            first = 0 if line == 1 else at + int(ends[line - met - 1]) + 1 if line > met else -1
            if first >= 0:
                start = first
                rest = ends[ends + at >= first]
                if len(rest):
                    return first, at + int(rest[0]), line
                tail = np.flatnonzero(buffer[at + step :][: 1 << 24] == 10)
                return first, at + step + int(tail[0]) if len(tail) else buffer.size, line
        met += len(ends)
    return -1, -1, met - int(buffer.size > 0 and buffer[-1] == 10)


def _in_text(opened: Opened, table: TableSeen, line: int) -> LineSeen:
    buffer = opened.text
    assert buffer is not None
    start, end, met = line_at(buffer, line)
    if start < 0 or start >= buffer.size:
        raise UsageError(f"{opened.name}: line {line:,} is asked for; the file has {met:,} lines.")
    raw = decode(bytes(buffer[start:end])).rstrip("\r")
    found = LineSeen(opened.name, line, raw, "", first=line, last=line, offset=start, length=end - start)
    head = table.head
    below = head.line + head.lines
    if line < head.line:
        found.fate = "blank" if not raw.strip() else "comment" if raw.startswith("#") else "above"
    elif line < below:
        found.fate = "header"
    elif line < below + table.rows_below:
        found.fate = "units"
    else:
        _in_records(buffer, table, found)
    return found


def _in_records(buffer: NDArray[np.uint8], table: TableSeen, found: LineSeen) -> None:
    """Which record the line belongs to, found as a run finds it: from the top."""
    head = table.head
    pos, line = parsing._below_header(buffer, head, True if table.units_line else None)
    limit = found.line
    records = parsing._find(buffer, head, pos, line, ord('"'), "#", limit, "")
    if records.faults() and head.delimiter in "\t|":
        plain = parsing._find(buffer, head, pos, line, -1, "#", limit, "")
        if plain.faults() < records.faults():
            records = plain
    place = int(np.searchsorted(records.line, found.line, side="right")) - 1
    if place < 0:
        found.fate = "units"
        return
    status = int(records.status[place])
    if status >= scan.TOO_FEW and buffer.size - records.stop < _TAIL:
        # a remark below the last record is one only when no record follows
        rest = parsing._find(buffer, head, pos, line, ord('"'), "#", -1, "")
        parsing._mark_footer(buffer, rest, head.delimiter)
        status = scan.FOOTER if rest.status[place] == scan.FOOTER else status
    found.first, found.last = int(records.line[place]), int(records.line[place] + records.lines[place] - 1)
    kept = (records.status != scan.BLANK) & (records.status != scan.COMMENT)
    found.row = int(kept[: place + 1].sum())
    if status == scan.BLANK:
        found.fate = "blank"
    elif status == scan.COMMENT:
        found.fate = "comment"
    elif status == scan.FOOTER:
        found.fate = "footer"
    elif status != scan.GOOD:
        found.fate, found.reason = "quarantined", scan.REASON[status]
    else:
        found.record = bytes(buffer[records.start[place] : records.end[place]]) + b"\n"
        found.fate = "record"
        _repeats_header(found, table)


def _repeats_header(found: LineSeen, table: TableSeen) -> None:
    cells = [c.strip().lower() for c in decode(found.record).strip("\r\n").split(table.head.delimiter)]
    if cells == [c.strip().lower() for c in table.head.cells]:
        found.fate = "repeated"


def _in_grid(opened: Opened, table: TableSeen, line: int) -> LineSeen:
    grid = table.grid
    assert grid is not None
    cells, rows = _grid_row(grid, line)
    if cells is None:
        raise UsageError(f"{opened.name}: row {line:,} is asked for; the table has {rows:,} rows.")
    found = LineSeen(opened.name, line, " | ".join(cells), "record", first=line, last=line)
    if line < table.head.line:
        found.fate = "above" if any(c.strip() for c in cells) else "blank"
    elif line < table.head.line + table.head.lines:
        found.fate = "header"
    elif line < table.head.line + table.head.lines + table.rows_below:
        found.fate = "units"
    elif not any(c.strip() for c in cells):
        found.fate = "blank"
    else:
        top = table.head.line + table.head.lines + table.rows_below
        found.row = sum(any(c.strip() for c in _grid_row(grid, n)[0] or []) for n in range(top, line + 1))
    return found


def _grid_row(grid: Grid, line: int) -> tuple[list[str] | None, int]:
    """Cells of one row, None beyond the last, and how many rows there are; row 1 of a frame is its names."""
    rows = len(grid.rows) if grid.frame is None else len(grid.frame) + 1
    if line > rows:
        return None, rows
    if grid.frame is None or line == 1:
        return list(grid.rows[line - 1]), rows
    return ["" if pd.isna(cell) else str(cell) for cell in grid.frame.iloc[line - 2]], rows


def _read_cells(found: LineSeen, table: TableSeen, settings: Settings) -> None:
    """Readings of the record's mapped cells, decided among the rows looked at, as for the whole file."""
    if table.grid is not None:
        row = _grid_row(table.grid, found.line)[0] or []
        names = [c for c in table.frame.columns if c not in ("_line", "_row")]
        one = pd.DataFrame({n: [row[i] if i < len(row) else ""] for i, n in enumerate(names)})
    else:
        at = replace(table.head, line=0, lines=1, start=0, after=0, comments=0)
        piece = np.frombuffer(found.record, np.uint8)
        one = parse(piece, at, None, "", False, None, 1, found.file).frame
    if one.empty:
        return
    number = int(table.frame["_row"].max()) + 1_000_000_000 if len(table.frame) else 1
    one = one.assign(_line=found.first, _row=number)
    whole = TableSeen(**{**vars(table), "frame": pd.concat([table.frame, one], ignore_index=True)})
    for part in inspect_values.passes(whole, settings):
        if number in part.totals:
            found.fate, found.reason = "left_out", "totals_row"
            return
        here = part.block[part.block["source_row"] == number]
        reason = here["_reason"].iloc[0]
        if pd.notna(reason):
            found.fate, found.reason = "left_out", str(reason)
        faults = part.faults[part.faults["source_row"] == number]
        for column in part.columns:
            raw = str(one[column.header].iloc[0] or "").strip()
            value = here["well_id" if column.field == "well_id" else column.field].iloc[0]
            reading, why = "", ""
            if column.field == "well_id":
                reading = raw
            elif pd.notna(value):
                word = str(one[column.unit_from].iloc[0] or "") if column.unit_from in one else ""
                reading = inspect_values.reading(column, value, settings.units, word)
                if column.field == "completed_date" and "completed_precision_code" in here:
                    reading = inspect_values.dated(reading, int(here["completed_precision_code"].iloc[0]))
            elif raw:
                mine = faults[faults["field"] == column.field]
                code = str(mine["code"].iloc[0]) if len(mine) else ""
                why = next((r["title"] for r in schema.rows("rules") if r["code"] == code), "")
                mapped = part.layout.tables[table.table or "wells"].columns.get(column.field)
                filtered = not code and mapped is not None and bool(mapped.where)
                why = why or words.say("inspect.other_rows" if filtered else "inspect.not_known")
            shown = words.say("inspect.prose") if raw and inspect_values.is_prose(column) else raw
            found.cells.append(Cell(column.header, column.field, shown, reading, why))


def document(found: LineSeen) -> dict[str, object]:
    """The line for programs: where it lies and its fate; the text of unmapped cells is left out."""
    kept = {k: v for k, v in vars(found).items() if k not in ("record", "raw", "cells")}
    return {**kept, "cells": [vars(cell) for cell in found.cells]}


def text(found: LineSeen) -> str:
    """The line for people."""
    place = words.say("inspect.line_bytes", offset=f"{found.offset:,}", length=f"{found.length:,}")
    first = words.say("inspect.line", file=found.file, line=f"{found.line:,}")
    out = [f"{first} {place}" if found.offset >= 0 else first]
    shown = found.raw if len(found.raw) <= _LONGEST else found.raw[:_LONGEST] + "…"
    out += ["", *(f"  {part}" for part in textwrap.wrap(shown, WIDTH - 2, break_on_hyphens=False) or [""]), ""]
    fate = words.say(f"inspect.fate_{found.fate}", row=f"{found.row:,}", first=f"{found.first:,}",
                     last=f"{found.last:,}", reason=words.reason(found.reason) if found.reason else "")  # fmt: skip
    if found.last > found.first:
        fate += " " + words.say("inspect.line_spans", first=f"{found.first:,}", last=f"{found.last:,}")
    out += textwrap.wrap(fate, WIDTH)
    if found.cells:
        out += ["", words.say("inspect.line_cells")]
        for cell in found.cells:
            if not cell.raw and not cell.reading:
                continue
            told = cell.reading or words.say("inspect.line_none", why=cell.why)
            line = f"  {_clip(cell.column, 24):<24} {_clip(cell.raw, 24):<24} {words.label(cell.field)}: {told}"
            out.append(_clip(line, WIDTH, False))
        empty = [c.column for c in found.cells if not c.raw and not c.reading]
        if empty:
            out += textwrap.wrap(words.say("inspect.line_empty", columns=", ".join(empty)), WIDTH,
                                 initial_indent="  ", subsequent_indent="    ")  # fmt: skip
    out += ["", *textwrap.wrap(words.say("inspect.line_note"), WIDTH)]
    return "\n".join(out)


def _clip(line: str, width: int, single: bool = True) -> str:
    line = " ".join(line.split()) if single else line
    return line if len(line) <= width else line[: width - 1] + "…"
