"""Head, middle and tail of one table: enough to judge its columns, whatever the size of the file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.ingest.header import Candidate
from pipeline.ingest.opened import Opened
from pipeline.ingest.parse import Parsed, below_header
from pipeline.ingest.piece import read_piece
from pipeline.ingest.sheets import Grid

ROWS_A_PIECE = 1500
# text up to this size is read whole, so that its rows are counted and not estimated
WHOLE_BYTES = 8 << 20
_FIRST_LOOK = 1 << 16


@dataclass
class Glance:
    """Records looked at: head, middle and tail of a file, or all of a small one.

    Attributes
    ----------
    frame : DataFrame
        All columns as text with ``_line`` and ``_row``, which are true for the head only unless ``whole``.
    rows : int
        Records of the table, counted where ``whole``, else estimated from the bytes a record takes.
    pieces : int
        Parts of the file that were looked at.
    faults : dict of reason -> records
        Set aside among the records looked at.
    cp1252 : int
        Records looked at that are not UTF-8.
    """

    frame: pd.DataFrame
    rows: int
    whole: bool
    pieces: int = 1
    faults: dict[str, int] = field(default_factory=dict)
    cp1252: int = 0
    ascii: bool = True


def glance(
    opened: Opened, head: Candidate, grid: Grid | None, units_row: bool | None, encoding: str = ""
) -> Glance:
    """What is looked at of one table.

    Parameters
    ----------
    opened : Opened
        The file.
    head : Candidate
        Its header, as found.
    grid : Grid or None
        The sheet, where it is none of text.
    units_row : bool or None
        Whether the row below the header holds units; None: when all its cells are units.
    encoding : str
        Encoding of single bytes that a layout declares, "" for none.
    """
    if grid is not None:
        return _whole(opened.parse(head, grid, None, units_row))
    assert opened.text is not None
    if opened.text.size - opened.part.begin <= WHOLE_BYTES:
        found = _whole(opened.parse(head, None, None, units_row, None, 1, encoding))
        found.ascii = not bool((opened.text[opened.part.begin :] & 0x80).any())
        return found
    return _pieces(opened.text, head, units_row, encoding)


def _whole(parsed: Parsed) -> Glance:
    frame = parsed.frame
    pieces = 1
    if len(frame) > 3 * ROWS_A_PIECE:
        middle = len(frame) // 2 - ROWS_A_PIECE // 2
        parts = (slice(0, ROWS_A_PIECE), slice(middle, middle + ROWS_A_PIECE), slice(-ROWS_A_PIECE, None))
        frame, pieces = pd.concat([frame.iloc[part] for part in parts], ignore_index=True), 3
    counts = {str(k): int(v) for k, v in parsed.faults["reason"].value_counts().items()}
    return Glance(frame, parsed.rows_read, True, pieces, counts, parsed.cp1252)


def _cuts(buffer: NDArray[np.uint8], start: int, width: float) -> Iterator[tuple[int, int]]:
    """First byte and byte after the last of head, middle and tail, each of whole lines."""
    length = int(ROWS_A_PIECE * width * 1.2) + 4096
    for begin in (start, max(start, (buffer.size - length) // 2), max(start, buffer.size - length)):
        first = begin
        if begin > start:
            ends = np.flatnonzero(buffer[begin : begin + length] == 10)
            if not len(ends):
                continue
            first = begin + int(ends[0]) + 1
        last = min(begin + length, buffer.size)
        if last < buffer.size:
            ends = np.flatnonzero(buffer[first:last] == 10)
            last = first + int(ends[-1]) + 1 if len(ends) else last
        if last > first:
            yield first, last


def _pieces(buffer: NDArray[np.uint8], head: Candidate, units_row: bool | None, encoding: str) -> Glance:
    below = below_header(buffer, head, units_row)[0]
    first = np.asarray(buffer[below : below + _FIRST_LOOK])
    width = first.size / max(int((first == 10).sum()), 1)
    frames: list[pd.DataFrame] = []
    faults, cp1252, plain = Counter[str](), 0, True
    records = taken = 0
    for begin, end in _cuts(buffer, below, width):
        content = bytes(buffer[begin:end])
        piece = read_piece(content, head, encoding, begin == below, end == buffer.size)
        records, taken = records + piece.records, taken + len(content)
        faults.update(piece.faults)
        frame = piece.frame(head)
        frames.append(frame.iloc[-ROWS_A_PIECE:] if end == buffer.size and frames else frame.iloc[:ROWS_A_PIECE])
        cp1252, plain = cp1252 + piece.cp1252, plain and piece.ascii
    rows = round((buffer.size - below) * records / max(taken, 1))
    return Glance(pd.concat(frames, ignore_index=True), rows, False, len(frames), dict(faults), cp1252, plain)
