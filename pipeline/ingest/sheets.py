"""Tables that are no delimited text, as grids of text: sheets of workbooks, and columns already apart."""

from __future__ import annotations

import datetime as dt
import warnings
from collections import Counter
from dataclasses import dataclass, field
from typing import IO, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.errors import SourceError
from pipeline.ingest import discreet
from pipeline.ingest.header import COLUMNS_MOST, Candidate, is_footer, is_type_row, joined, rows_below, unique_names
from pipeline.ingest.header_words import is_units_row
from pipeline.ingest.intake import LINE, ROW
from pipeline.ingest.parse import Parsed, choose

ROWS_SEARCHED = 60
FAULTS = ("line", "row", "offset", "length", "reason", "detail")


@dataclass
class Grid:
    """A sheet as rows of text, as wide as each row is; or a table whose columns are known, as a frame of text.

    Attributes
    ----------
    title : str
        Name of the sheet or layer.
    rows : list of list of str
        All rows; of a frame the names and the first records, to be looked at.
    begin : int
        Rows above the table's part of the sheet.
    frame : DataFrame or None
        All records, columns by position; row 1 of the sheet is the names, record n stands in row n + 1.
    sizes : int array or None
        Bytes of each row, where rows are lines of a text.
    lines : int array or None
        Physical line of each record of a frame that was a text.
    faults : list of (line, offset, length, reason, detail)
        Lines of that text that are no record.
    notes : list of str
        What a reader of the ledger should know.
    """

    title: str
    rows: list[list[str]]
    begin: int = 0
    frame: pd.DataFrame | None = None
    sizes: NDArray[np.int64] | None = None
    lines: NDArray[np.int64] | None = None
    faults: list[tuple[int, int, int, str, str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @classmethod
    def of_columns(cls, title: str, names: list[str], columns: list[Any], **more: Any) -> Grid:
        """A grid of named columns of text."""
        frame = pd.DataFrame({at: pd.Series(column, dtype="str") for at, column in enumerate(columns)})
        return cls(title, [names, *frame.head(ROWS_SEARCHED).to_numpy(object).tolist()], frame=frame, **more)

    def candidates(self) -> list[Candidate]:
        """Rows near the top that may be the header, alone and with the row above."""
        out: list[Candidate] = []
        above = None
        last = 1 if self.frame is not None else self.begin + ROWS_SEARCHED
        for number, row in enumerate(self.rows[self.begin : last], self.begin + 1):
            cells = list(row)
            while cells and not cells[-1].strip():
                cells.pop()
            here = None
            if sum(bool(c.strip()) for c in cells) >= 2 and len(cells) <= COLUMNS_MOST:
                here = Candidate("", tuple(cells), number, 1, 0, 0, 0)
                out += joined(above, here)
            above = here
        return out

    def is_table(self) -> bool:
        """Whether at least two rows hold two cells or more."""
        return sum(sum(bool(cell.strip()) for cell in row) >= 2 for row in self.rows[self.begin :]) >= 2

    def units_below(self, head: Candidate, units_row: bool | None = None) -> list[str]:
        """Units that stand below the header, [] when none do."""
        top = head.line - 1 + head.lines
        return rows_below(self.rows[top : top + 6], len(head.cells), units_row)[1]


def as_text(value: Any) -> str:
    """A cell as it would stand in a text file: whole numbers without point, dates in ISO form."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        if value != value:
            return ""
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(" ")
    return "" if isinstance(value, (dict, list, bytes)) else str(value)


def read_workbook(content: IO[bytes], name: str) -> list[Grid]:
    """Sheets of an .xlsx workbook, cached values of formulas, sizes told by the file not believed.

    Raises
    ------
    SourceError
        When it is broken or locked.
    """
    import openpyxl

    grids = []
    try:
        with warnings.catch_warnings():
            # the library warns of styles and links that it passes over; cells are not concerned
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(content, read_only=True, data_only=True)
            for number, sheet in enumerate(book.worksheets, 1):
                sheet.reset_dimensions()
                rows = [[as_text(v) for v in row] for row in sheet.iter_rows(values_only=True)]
                while rows and not any(rows[-1]):
                    rows.pop()
                if rows:
                    grids.append(Grid(discreet.title(sheet.title, number), rows))
    except Exception as error:  # the library raises KeyError, ValueError and others on broken books
        told = " ".join(str(error).split())[:120]
        raise SourceError(f"{name}: the workbook cannot be read ({type(error).__name__}: {told}).") from None
    if not grids:
        raise SourceError(f"{name}: the workbook holds no filled sheet.")
    return grids


def parse_grid(grid: Grid, head: Candidate, wanted: list[str] | None, units_row: bool | None = None,
               limit: int | None = None) -> Parsed:  # fmt: skip
    """Records of a sheet below its header; as :func:`pipeline.ingest.parse.parse`, a line being a row."""
    if grid.frame is not None:
        return _parse_frame(grid, grid.frame, head, wanted, limit)
    width, top = len(head.cells), head.line - 1 + head.lines
    below = rows_below(grid.rows[top : top + 6], width, units_row)[0]
    sizes = Counter[str]()
    shown = [cell.strip().lower() for cell in head.cells]
    last = _footer_from(grid, top + below)
    kind_of: list[str] = ["header"] * (top + below - grid.begin)
    lines: list[int] = []
    rows: list[list[str]] = []
    repeated = False
    for number, row in enumerate(grid.rows[top + below :], top + below + 1):
        cells = [*row[:width], *[""] * (width - len(row))]
        if not any(cell.strip() for cell in row):
            kind = "blank"
        elif number > last:
            kind = "footer"
        elif [c.strip().lower() for c in cells] == shown or (repeated and (is_type_row(cells) or is_units_row(cells))):
            kind = "header"
        else:
            kind = "records"
            lines.append(number)
            rows.append(cells)
        repeated = kind == "header"
        kind_of.append(kind)
        if limit is not None and len(rows) >= limit:
            break
    kinds = Counter(kind_of)
    if grid.sizes is not None:
        weights = grid.sizes[grid.begin : grid.begin + len(kind_of)]
        sizes = Counter({kind: int(weights[np.asarray(kind_of) == kind].sum()) for kind in kinds})
        sizes["unread"] = int(grid.sizes[grid.begin :].sum() - weights.sum())
    positions, absent = choose(unique_names(head.cells), wanted)
    frame = pd.DataFrame({name: pd.Series([row[i] for row in rows], dtype="str") for name, i in positions.items()})
    return _parsed(frame, len(rows), absent, np.asarray(lines, np.int64), [], kinds, sizes)


def _footer_from(grid: Grid, top: int) -> int:
    """Number of the last row that is no remark below the table."""
    last = len(grid.rows)
    while last > top + 1:
        filled = [cell for cell in grid.rows[last - 1] if cell.strip()]
        if filled and not (len(filled) == 1 and is_footer(filled[0], "")):
            break
        last -= 1
    return last


def _parse_frame(grid: Grid, frame: pd.DataFrame, head: Candidate, wanted: list[str] | None,
                 limit: int | None) -> Parsed:  # fmt: skip
    """Records of a table whose columns are known."""
    positions, absent = choose(unique_names(head.cells), wanted)
    seen = len(frame) if limit is None else min(limit, len(frame))
    numbers = grid.lines if grid.lines is not None else np.arange(2, len(frame) + 2, dtype=np.int64)
    part = frame.iloc[:seen]
    filled = np.zeros(seen, bool)
    for column in part:
        filled |= (part[column].fillna("").str.strip() != "").to_numpy(bool)
    chosen = pd.DataFrame({name: part[i].fillna("") for name, i in positions.items()})[filled].reset_index(drop=True)
    faults = grid.faults if limit is None else []
    kinds = Counter(
        header=0 if grid.lines is not None else 1, records=int(filled.sum()), blank=int((~filled).sum()),
        quarantined=len(faults),
    )  # fmt: skip
    return _parsed(chosen, int(filled.sum()), absent, numbers[:seen][filled], faults, kinds, Counter())


def _parsed(frame: pd.DataFrame, records: int, absent: list[str], lines: NDArray[np.int64],
            faults: list[tuple[int, int, int, str, str]], kinds: Counter[str],
            sizes: Counter[str]) -> Parsed:  # fmt: skip
    frame = frame if len(frame.columns) else pd.DataFrame(index=range(records))
    for name in absent:
        frame[name] = pd.Series(None, index=frame.index, dtype="str")
    bad = np.asarray([fault[0] for fault in faults], np.int64)
    order = np.argsort(np.concatenate([lines, bad]), kind="stable")
    place = np.empty(len(order), np.int64)
    place[order] = np.arange(1, len(order) + 1)
    frame[LINE], frame[ROW] = lines, place[:records]
    told = pd.DataFrame({
        "line": bad, "row": place[records:],
        **{name: [fault[at] for fault in faults] for at, name in enumerate(FAULTS[2:], 1)},
    })  # fmt: skip
    return Parsed(frame, sum(kinds.values()), records + len(faults), kinds, told, 0, absent, sizes)
