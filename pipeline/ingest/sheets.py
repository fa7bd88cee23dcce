"""Workbooks and .dbf tables as grids of text."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass
from typing import IO, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.errors import SourceError
from pipeline.ingest.header import Candidate, is_type_row, unique_names
from pipeline.ingest.header_words import is_units_row
from pipeline.ingest.intake import LINE, ROW
from pipeline.ingest.parse import Parsed, choose

ROWS_SEARCHED = 60


@dataclass
class Grid:
    """A sheet as rows of text, as wide as each row is."""

    title: str
    rows: list[list[str]]

    def candidates(self) -> list[Candidate]:
        """Rows near the top that may be the header."""
        out = []
        for number, row in enumerate(self.rows[:ROWS_SEARCHED], 1):
            cells = list(row)
            while cells and not cells[-1].strip():
                cells.pop()
            if sum(bool(c.strip()) for c in cells) >= 2:
                out.append(Candidate("", tuple(cells), number, 1, 0, 0, 0))
        return out


def as_text(value: Any) -> str:
    """A cell as it would stand in a text file: whole numbers without point, dates in ISO form."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(" ")
    return "" if isinstance(value, (dict, list)) else str(value)


def read_workbook(content: IO[bytes], name: str) -> list[Grid]:
    """Sheets of an .xlsx workbook, cached values of formulas, sizes told by the file not believed.

    Raises
    ------
    SourceError
        When it is broken or locked.
    """
    import openpyxl

    try:
        book = openpyxl.load_workbook(content, read_only=True, data_only=True)
        grids = []
        for sheet in book.worksheets:
            sheet.reset_dimensions()
            rows = [[as_text(v) for v in row] for row in sheet.iter_rows(values_only=True)]
            if any(any(row) for row in rows):
                grids.append(Grid(sheet.title, rows))
    except Exception as error:  # the library raises KeyError, ValueError and others on broken books
        raise SourceError(f"{name}: the workbook cannot be read ({type(error).__name__}: {error}).") from None
    if not grids:
        raise SourceError(f"{name}: the workbook holds no filled sheet.")
    return grids


def read_dbf(buffer: NDArray[np.uint8], name: str) -> Grid:
    """Records of a dBASE table of fixed width; deleted ones are left out.

    Raises
    ------
    SourceError
        When the head does not describe such a table.
    """
    head = bytes(buffer[:32])
    if len(head) < 32:
        raise SourceError(f"{name}: too short for a .dbf table.")
    count = int.from_bytes(head[4:8], "little")
    top, width = int.from_bytes(head[8:10], "little"), int.from_bytes(head[10:12], "little")
    fields, at, place = [], 32, 1
    descriptors = bytes(buffer[:top])
    while at + 32 <= len(descriptors) and descriptors[at] != 0x0D:
        title = descriptors[at : at + 11].split(b"\0")[0].decode("cp1252", "replace")
        kind, size = chr(descriptors[at + 11]), descriptors[at + 16]
        fields.append((title, kind, place, place + size))
        place, at = place + size, at + 32
    if not fields or width < place or buffer.size < top:
        raise SourceError(f"{name}: the head does not describe a .dbf table.")
    count = min(count, (buffer.size - top) // width)
    records = np.asarray(buffer[top : top + count * width]).reshape(count, width)
    records = records[records[:, 0] != ord("*")]
    columns = []
    for _, kind, begin, end in fields:
        cells = [_dbf_text(bytes(row), kind) for row in records[:, begin:end]]
        columns.append(cells)
    return Grid(name, [[f[0] for f in fields], *(list(row) for row in zip(*columns, strict=True))])


def _dbf_text(raw: bytes, kind: str) -> str:
    raw = raw.rstrip(b"\0 ")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", "replace")
    text = text.strip()
    if kind in "NF":
        if set(text) <= {"*"}:
            return ""
        if "." in text or "e" in text.lower():
            try:
                return as_text(float(text))
            except ValueError:
                return text
    if kind == "D" and len(text) == 8 and text.isdigit():
        return f"{text[:4]}-{text[4:6]}-{text[6:]}"
    return text


def parse_grid(grid: Grid, head: Candidate, wanted: list[str] | None, units_row: bool | None = None,
               limit: int | None = None) -> Parsed:  # fmt: skip
    """Records of a sheet below its header; as :func:`pipeline.ingest.parse.parse`, a line being a row."""
    kinds: Counter[str] = Counter(header=head.line, records=0, blank=0, quarantined=0, comment=0)
    width = len(head.cells)
    lines: list[int] = []
    rows: list[list[str]] = []
    shown = [cell.strip().lower() for cell in head.cells]
    seen, repeated = head.line, False
    for number, row in enumerate(grid.rows[head.line :], head.line + 1):
        seen = number
        cells = [*row[:width], *[""] * (width - len(row))]
        below = number == head.line + 1 or repeated
        guessed = units_row is None or repeated
        told = is_type_row(cells) or (is_units_row(cells) if guessed else bool(units_row))
        if not any(cell.strip() for cell in row):
            kinds["blank"] += 1
        elif (below and told) or [c.strip().lower() for c in cells] == shown:
            kinds["header"] += 1
            repeated = not (below and told)
            continue
        else:
            kinds["records"] += 1
            lines.append(number)
            rows.append(cells)
        repeated = False
        if limit is not None and len(rows) >= limit:
            break
    positions, absent = choose(unique_names(head.cells), wanted)
    frame = pd.DataFrame({name: pd.Series([row[i] for row in rows], dtype="str") for name, i in positions.items()})
    frame = frame if len(frame.columns) else pd.DataFrame(index=range(len(rows)))
    for name in absent:
        frame[name] = pd.Series(None, index=frame.index, dtype="str")
    frame[LINE] = np.asarray(lines, np.int64)
    frame[ROW] = np.arange(1, len(rows) + 1, dtype=np.int64)
    faults = pd.DataFrame({c: [] for c in ("line", "row", "offset", "length", "reason", "detail")})
    return Parsed(frame, seen, len(rows), kinds, faults, 0, absent)
