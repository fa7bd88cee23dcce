"""Several tables in one text or sheet, taken apart: each begins with a header of its own below a line that parts.

A line parts when it is blank, a comment, or holds one cell only (a title). A new table begins below it when the next
line holds names only, the lines below it fit it and hold values, and its names are others than those of the table
above: others in number, or of equal number with two words that headers of wells are known to use. A block of two
columns at the top without such words is a banner and stays with the table below it.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import SourceError
from pipeline.ingest import eights, scan
from pipeline.ingest.aligned import aligned_grid
from pipeline.ingest.header import COLUMNS_MOST, DELIMITERS, NAME_LONGEST, decode, is_type_row
from pipeline.ingest.header_words import is_units_row
from pipeline.ingest.opened import Opened
from pipeline.ingest.parse import Part, count_lines
from pipeline.ingest.proposal.heading import KNOWN, known
from pipeline.ingest.sheets import Grid

# reports of several tables are written for people; a text larger than this is one table
SEARCHED_BYTES = 16 << 20
_BREAKS_MOST, _LINES_LOOKED = 2000, 6
_HEAD = 1 << 20
_LETTER, _DIGIT = re.compile(r"[^\W\d_]"), re.compile(r"\d")
_NO_NAME = re.compile(r"[\"\n\r\0]|^[\d\s.,:/<>~+%-]+$")


@dataclass(frozen=True)
class _Rows:
    """Shape of the rows of a text or sheet: fields, last filled field, whether the row parts tables."""

    fields: NDArray[np.int64]
    filled: NDArray[np.int64]
    parts: NDArray[np.bool_]
    cells: Callable[[int], list[str]]


def _is_header(cells: list[str]) -> bool:
    """Whether a row may be names of columns: two or more, each with a letter, none a number, hardly one twice."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    return (
        2 <= len(filled) <= COLUMNS_MOST
        and all(len(c) <= NAME_LONGEST and _LETTER.search(c) and not _NO_NAME.search(c) for c in filled)
        and len({c.lower() for c in filled}) > 0.8 * len(filled)
        and not is_type_row(filled) and not is_units_row(filled)
    )  # fmt: skip


def _known(cells: list[str]) -> int:
    """How many of the names are such as headers of wells use."""
    return sum(known(cell) >= KNOWN for cell in cells)


def _begins(rows: _Rows, at: int, above: list[str] | None) -> bool:
    """Whether a table begins at a row; ``above`` are the names of the table before it."""
    cells = [cell.strip() for cell in rows.cells(at)]
    names = [cell for cell in cells if cell]
    if not _is_header(cells):
        return False
    if above is not None:
        if names == above or (len(names) == len(above) and len(set(names) & set(above)) > len(names) // 2):
            return False
        if len(names) == len(above) and _known(names) < 2:
            return False
    fitting = values = met = 0
    for row in range(at + 1, min(at + _LINES_LOOKED, len(rows.fields))):
        if rows.parts[row]:
            break
        met += 1
        fits = rows.filled[row] <= rows.filled[at] or rows.fields[row] == rows.fields[at]
        if not fits and met == 1:
            return False
        fitting += bool(fits)
        values += bool(fits) and any(_DIGIT.search(cell) for cell in rows.cells(row))
    # names that no header of wells uses need more than one record below them
    return values > 0 and 3 * fitting >= 2 * met and (fitting > 1 or _known(names) > 0)


def _starts(rows: _Rows) -> list[int]:
    """Rows at which tables begin, the lines that part them belonging to the table below; one or none: no parting."""
    apart = np.flatnonzero(rows.parts[:-1] & ~rows.parts[1:]) + 1
    if len(apart) > _BREAKS_MOST:
        return []
    found: list[tuple[int, int, list[str]]] = []
    for row in [0, *apart.tolist()]:
        if row >= len(rows.fields) or rows.parts[row]:
            continue
        above = found[-1][2] if found else None
        if _begins(rows, row, above):
            begin = row
            while begin > 0 and rows.parts[begin - 1]:
                begin -= 1
            found.append((begin, row, [c.strip() for c in rows.cells(row) if c.strip()]))
    while len(found) > 1 and len(found[0][2]) == 2 and _known(found[0][2]) < 2:
        found.pop(0)
    return [0, *(begin for begin, _, _ in found[1:])] if len(found) > 1 else []


def text_parts(opened: Opened) -> list[Opened]:
    """The tables of a text, each with its own lines; one alone is the text as it is."""
    text = opened.text
    assert text is not None
    top = bytes(text[opened.skip : opened.skip + _HEAD])
    delimiter = _delimiter(top)
    if delimiter and top.split(b"\n", 1)[0].count(delimiter.encode("latin-1")) >= COLUMNS_MOST:
        told = f"more than {COLUMNS_MOST} cells in its first line; no table of wells is so wide."
        raise SourceError(f"{opened.name}: {told}")
    if text.size > SEARCHED_BYTES:
        return [opened]
    if not delimiter:
        grid = aligned_grid(text, opened.name, opened.part)
        return [replace(opened, grids=[grid]) if grid else opened]
    if not scan.parts(text, eights.words_of(text), opened.skip, ord(delimiter), ord('"'), ord("#")):
        return [opened]
    room = count_lines(text, text.size) + 1
    place, shape = np.empty((2, room), np.int64), np.empty((3, room), np.int64)
    count = scan.shapes(text, opened.skip, ord(delimiter), ord('"'), place, shape)
    begin, line = place[:, :count]
    fields, filled, cells = shape[:, :count]
    comment = text[np.minimum(begin, text.size - 1)] == ord("#")
    parts = comment | (cells <= 1) | (filled <= 1)
    if not parts[1:].any():
        return [opened]

    def row_cells(at: int) -> list[str]:
        end = begin[at + 1] if at + 1 < count else text.size
        plain = decode(bytes(text[begin[at] : min(end, begin[at] + _HEAD)])).rstrip("\r\n")
        if plain.count('"') % 2:
            return []
        try:
            return next(csv.reader(plain.splitlines(True), delimiter=delimiter, skipinitialspace=True), [])
        except csv.Error:
            return []

    starts = _starts(_Rows(fields, filled, parts, row_cells))
    out = []
    for at, row in enumerate(starts):
        last = at + 1 == len(starts)
        end = text.size if last else int(begin[starts[at + 1]])
        lines = int(line[row])
        to = count_lines(text, end)
        first = at == 0
        part = opened.part if first else Part(int(begin[row]), int(begin[row]), lines, opened.part.origin)
        skip = opened.skip if first else int(begin[row])
        name = f"{opened.name}: lines {part.lines + 1} to {to}"
        out.append(replace(opened, name=name, text=text[:end], skip=skip, part=part))
    return out or [opened]


def _delimiter(head: bytes) -> str:
    """The delimiter by which most lines of the first megabyte split, "" when hardly one does."""
    lines = [line for line in head.split(b"\n", 2000)[:2000] if line.strip() and line[:1] != b"#"]
    told = re.match(rb'"?sep=([^\w\s]|\t)', head, re.IGNORECASE)
    if told:
        return told[1].decode("latin-1")
    best, most = "", 0
    for delimiter in DELIMITERS:
        if delimiter.encode() not in head:
            continue
        counts = [line.count(delimiter.encode()) for line in lines]
        found = sum(bool(count) for count in counts)
        if 2 * found > len(lines) and found * (1 + min(counts[-1], 3)) > most:
            best, most = delimiter, found * (1 + min(counts[-1], 3))
    return best


def grid_parts(grid: Grid) -> list[tuple[str, Grid]]:
    """The tables of a sheet with their titles; one alone is the sheet as it is."""
    if grid.frame is not None:
        return [(grid.title, grid)]
    places = [[at for at, cell in enumerate(row, 1) if cell.strip()] for row in grid.rows]
    filled = np.array([row[-1] if row else 0 for row in places], np.int64)
    cells = np.array([len(row) for row in places], np.int64)
    starts = _starts(_Rows(filled, filled, cells <= 1, lambda at: grid.rows[at])) if len(filled) > 1 else []
    out = []
    for at, row in enumerate(starts):
        end = starts[at + 1] if at + 1 < len(starts) else len(grid.rows)
        title = f"{grid.title}, rows {row + 1} to {end}"
        out.append((title, replace(grid, title=title, rows=grid.rows[:end], begin=row)))
    return out or [(grid.title, grid)]
