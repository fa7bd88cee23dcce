"""Records of a stretch of a large text, read by the standard library, so that a look at it compiles nothing.

A record is judged as a run judges it (see :mod:`pipeline.ingest.scan`): its fields must fit the header, one quote
that is never closed must not swallow what follows. Of records cut off by the ends of the stretch nothing is told.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import islice

import pandas as pd

from pipeline.ingest.header import Candidate, decode, is_footer, unique_names
from pipeline.ingest.intake import LINE, ROW
from pipeline.ingest.parse import FOOTER_LINES

# a quoted text of more lines than this is taken for a quote that was never closed
MAX_LINES = 200
_CELL_LONGEST = 1 << 24


@dataclass
class Piece:
    """Records of one stretch: their cells and lines, faults by reason and by line, and how many lines are not UTF-8."""

    rows: list[list[str]] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    faults: Counter[str] = field(default_factory=Counter)
    set_aside: list[tuple[int, str]] = field(default_factory=list)
    cp1252: int = 0
    ascii: bool = True

    @property
    def records(self) -> int:
        """Records met, those set aside included."""
        return len(self.rows) + sum(self.faults.values())

    def frame(self, head: Candidate) -> pd.DataFrame:
        """Cells as a frame of text under unique names, with ``_line`` and ``_row`` counted within the stretch."""
        names = unique_names(head.cells).unique
        cells = zip(*self.rows, strict=True) if self.rows else [()] * len(names)
        columns = dict(zip(names, cells, strict=True))
        out = pd.DataFrame({name: pd.Series(list(column), dtype="str") for name, column in columns.items()})
        out[LINE], out[ROW] = self.lines, range(1, len(self.rows) + 1)
        return out


def read_piece(content: bytes, head: Candidate, encoding: str = "", first: bool = True, last: bool = True) -> Piece:
    """Records of a stretch of whole lines.

    Parameters
    ----------
    content : bytes
    head : Candidate
        Header of the table.
    encoding : str
        Encoding of single bytes that a layout declares; "": UTF-8, else cp1252 line by line.
    first, last : bool
        Whether the stretch begins at the first record, and ends at the end of the file.
    """
    lines = content.split(b"\n")
    if not lines[-1]:
        lines.pop()
    plain = content.isascii()
    coded = 0
    try:
        texts = [line + "\n" for line in content.decode(encoding or "utf-8").split("\n")][: len(lines)]
    except UnicodeDecodeError:
        texts = [decode(line, encoding) + "\n" for line in lines]
        coded = sum(_is_foreign(line) for line in lines) if not encoding else 0
    found = _records(texts, head, csv.QUOTE_MINIMAL, first, last)
    if found.faults and head.delimiter in "\t|":
        # tab files are often written without quoting: there a quote is a letter like any other
        bare = _records(texts, head, csv.QUOTE_NONE, first, last)
        if sum(bare.faults.values()) < sum(found.faults.values()):
            found = bare
    found.cp1252, found.ascii = coded, plain
    return found


def _is_foreign(line: bytes) -> bool:
    try:
        line.decode("utf-8")
    except UnicodeDecodeError:
        return True
    return False


def _rows(texts: list[str], at: int, delimiter: str, quoting: int) -> Iterator[tuple[list[str] | None, int]]:
    """Rows from a line on, each with the number of lines it takes; None where a cell has no end."""
    limit = csv.field_size_limit(_CELL_LONGEST)
    try:
        reader = csv.reader(islice(texts, at, None), delimiter=delimiter, quoting=quoting, skipinitialspace=True)  # type: ignore[arg-type]
        before = 0
        while True:
            try:
                row: list[str] | None = next(reader)
            except StopIteration:
                return
            except csv.Error:
                row = None
            yield row, reader.line_num - before
            before = reader.line_num
    finally:
        csv.field_size_limit(limit)


def _records(texts: list[str], head: Candidate, quoting: int, first: bool, last: bool) -> Piece:
    names = [cell.strip() for cell in head.cells]
    shown = [name.lower() for name in names]
    expected = len(names)
    while names and not names[-1]:
        names.pop()
    required = max(len(names), 1)
    out = Piece()
    at, size = 0, len(texts)
    while at < size:
        again = False
        for row, took in _rows(texts, at, head.delimiter, quoting):
            count = len(row) if row is not None else 0
            fits = row is not None and (
                required <= count <= expected or (count > expected and not any(c.strip() for c in row[expected:]))
            )
            if not fits and not last and at + took >= size and took <= MAX_LINES:
                return out
            if took > 1 and (not fits or took > MAX_LINES):
                # a quote without an end: its first line alone is set aside
                _fault(out, "unterminated_quote", first, at + 1)
                at, again = at + 1, True
                break
            blank = row is not None and not any(cell.strip() for cell in row)
            comment = not fits and bool(head.comments) and texts[at].startswith("#")
            if row is None:
                _fault(out, "unterminated_quote", first, at + 1)
            elif not fits and not blank and not comment:
                _fault(out, "too_few_fields" if count < expected else "too_many_fields", first, at + 1)
            elif not blank and not comment and [cell.strip().lower() for cell in row] != shown:
                out.rows.append([cell.rstrip("\r\n") for cell in (*row, *[""] * (expected - count))][:expected])
                out.lines.append(at + 1)
            at += max(took, 1)
        if not again:
            break
    if last:
        _leave_footer(out, texts, head.delimiter)
    return out


def _leave_footer(out: Piece, texts: list[str], delimiter: str) -> None:
    """Remarks below the last record are no records set aside."""
    below = out.lines[-1] if out.lines else 1
    for line, reason in reversed(out.set_aside[-FOOTER_LINES:]):
        if line <= below or reason == "unterminated_quote" or not is_footer(texts[line - 1].rstrip("\r\n"), delimiter):
            break
        out.faults[reason] -= 1
    out.faults = +out.faults


def _fault(out: Piece, reason: str, first: bool, line: int) -> None:
    """Count a fault, unless it lies before the first good record of a stretch that may begin within one."""
    if first or out.rows:
        out.faults[reason] += 1
        out.set_aside.append((line, reason))
