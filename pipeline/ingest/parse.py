"""One file below its header to a frame of text, every physical line accounted for."""

from __future__ import annotations

from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.errors import SourceError
from pipeline.ingest import scan
from pipeline.ingest.header import Candidate, Names, decode, is_type_row, unique_names
from pipeline.ingest.header_words import is_units_row
from pipeline.ingest.intake import LINE, ROW, folded

BLOCK = 131_072
_QUOTE = ord('"')


@dataclass
class Parsed:
    """Records of one table and where its lines went.

    Attributes
    ----------
    frame : DataFrame
        Wanted columns as text, with ``_line`` and ``_row``.
    lines : int
        Physical lines met.
    rows_read : int
        Records, those set aside included.
    kinds : Counter
        Physical lines by kind: header, comment, blank, records, quarantined.
    faults : DataFrame
        line, row, offset, length, reason, detail of what was set aside.
    cp1252 : int
        Records that are not UTF-8 and were read as cp1252.
    """

    frame: pd.DataFrame
    lines: int
    rows_read: int
    kinds: Counter[str]
    faults: pd.DataFrame
    cp1252: int = 0
    absent: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _Records:
    start: NDArray[np.int64]
    end: NDArray[np.int64]
    line: NDArray[np.int64]
    lines: NDArray[np.int32]
    status: NDArray[np.uint8]
    coding: NDArray[np.uint8]
    stop: int

    def faults(self) -> int:
        return int((self.status >= scan.TOO_FEW).sum())


def count_lines(buffer: NDArray[np.uint8], stop: int) -> int:
    """Physical lines in the first ``stop`` bytes, counted over the raw bytes and nothing else."""
    step, total = 1 << 24, 0
    for at in range(0, stop, step):
        total += int(np.count_nonzero(buffer[at : min(at + step, stop)] == 10))
    return total + int(stop > 0 and buffer[stop - 1] != 10)


def _find(buffer: NDArray[np.uint8], head: Candidate, pos: int, line: int, quote: int, comment: str,
          limit: int) -> _Records:  # fmt: skip
    names = [cell.strip() for cell in head.cells]
    while names and not names[-1]:
        names.pop()
    mark = ord(comment[0]) if comment and head.comments else -1
    room = count_lines(buffer, buffer.size) - line + 2
    place, lines, state = np.empty((3, room), np.int64), np.empty(room, np.int32), np.empty((2, room), np.uint8)
    count, stop = scan.find_records(
        buffer, pos, line, ord(head.delimiter), quote, len(head.cells), max(len(names), 1), mark, scan.FORMS, limit,
        place, lines, state,
    )  # fmt: skip
    start, end, first = place[:, :count]
    status, coding = state[:, :count]
    return _Records(start, end, first, lines[:count], status, coding, stop)


def _below_header(buffer: NDArray[np.uint8], head: Candidate, units_row: bool | None) -> tuple[int, int]:
    """Byte and line of the first record, type and units rows skipped."""
    pos, line = head.after, head.line + head.lines
    rest = bytes(buffer[pos : pos + 65536]).split(b"\n", 1)
    cells = [cell.strip('" ') for cell in decode(rest[0]).rstrip("\r").split(head.delimiter)]
    units = units_row or (units_row is None and is_units_row(cells))
    if rest[0].strip() and (units or is_type_row(cells)):
        pos, line = min(pos + len(rest[0]) + 1, buffer.size), line + 1
    return pos, line


def _columns(buffer: NDArray[np.uint8], records: _Records, good: NDArray[np.int64], delimiter: int, quote: int,
             fields: list[int], threads: int) -> list[pa.ChunkedArray]:  # fmt: skip
    """Cells of the wanted fields of the good records, one Arrow column a field."""
    slots = np.full(max(fields, default=-1) + 1, -1, np.int64)
    slots[fields] = np.arange(len(fields))

    def block(at: int) -> list[pa.Array]:
        part = good[at : at + BLOCK]
        shape = (len(fields), len(part))
        begin, length = np.empty(shape, np.int64), np.empty(shape, np.int32)
        escaped = np.empty(shape, np.bool_)
        scan.locate(buffer, records.start[part], records.end[part], delimiter, quote, _QUOTE, slots, begin, length,
                    escaped)  # fmt: skip
        coding, out = records.coding[part], []
        for slot in range(len(fields)):
            room = int(length[slot].sum(dtype=np.int64)) * (3 if (coding == scan.CP1252).any() else 1)
            offsets, text = np.empty(len(part) + 1, np.int64), np.empty(room, np.uint8)
            scan.copy_cells(
                buffer, begin[slot], length[slot], escaped[slot], coding, _QUOTE, scan.FORMS, offsets, text
            )
            out.append(pa.LargeStringArray.from_buffers(len(part), pa.py_buffer(offsets), pa.py_buffer(text)))
        return out

    starts = range(0, len(good), BLOCK)
    if len(starts) > 1 and threads > 1:
        with ThreadPoolExecutor(threads) as pool:
            blocks = list(pool.map(block, starts))
    else:
        blocks = [block(at) for at in starts]
    return [pa.chunked_array([b[slot] for b in blocks], pa.large_string()) for slot in range(len(fields))]


def _repeats(frame: pd.DataFrame, names: dict[str, str]) -> NDArray[np.bool_]:
    """Rows that repeat the header, and rows of types or units right below such a row."""
    compared = [c for c in names if c in frame]
    if not compared or frame.empty:
        return np.zeros(len(frame), bool)
    rows = np.flatnonzero(frame[compared[0]].str.strip().str.lower() == names[compared[0]])
    out = np.zeros(len(frame), bool)
    for column in compared[1:]:
        rows = rows[(frame[column].iloc[rows].str.strip().str.lower() == names[column]).to_numpy(bool)]
    out[rows] = True
    for row in rows + 1:
        cells = [str(v) for v in frame[compared].iloc[row]] if row < len(frame) else []
        out[row : row + 1] |= is_type_row(cells) or is_units_row(cells)
    return out


def choose(names: Names, wanted: list[str] | None) -> tuple[dict[str, int], list[str]]:
    """Field positions of the wanted columns by the name wanted, and those that the file lacks."""
    if wanted is None:
        return {name: i for i, name in enumerate(names.unique)}, []
    found = {name: names.index(name) for name in wanted}
    return {n: i for n, i in found.items() if i is not None}, [n for n, i in found.items() if i is None]


def parse(buffer: NDArray[np.uint8], head: Candidate, wanted: list[str] | None, comment: str = "#",
          units_row: bool | None = None, limit: int | None = None, threads: int = 2,
          file: str = "") -> Parsed:  # fmt: skip
    """Records of delimited text below its header.

    Parameters
    ----------
    buffer : uint8 array
        The whole file.
    head : Candidate
        Its header, as found.
    wanted : list of str or None
        Header names to keep; None for all.
    units_row : bool or None
        Whether the row below the header holds units; None: when all its cells are units.
    limit : int or None
        Read at most so many records.

    Raises
    ------
    SourceError
        When the lines do not add up to the physical lines counted apart.
    """
    pos, line = _below_header(buffer, head, units_row)
    most = -1 if limit is None else limit
    quote = _QUOTE
    records = _find(buffer, head, pos, line, quote, comment, most)
    if records.faults() and head.delimiter in "\t|":
        # tab files are often written without quoting: there a quote is a letter like any other
        plain = _find(buffer, head, pos, line, -1, comment, most)
        if plain.faults() < records.faults():
            records, quote = plain, -1
    names = unique_names(head.cells)
    positions, absent = choose(names, wanted)
    status = records.status
    good = np.flatnonzero(status == scan.GOOD)
    is_record = status != scan.BLANK
    is_record &= status != scan.COMMENT
    fields = sorted(set(positions.values()))
    cells = _columns(buffer, records, good, ord(head.delimiter), quote, fields, threads)
    arrays = dict(zip(fields, cells, strict=True))
    frame = pa.table({name: arrays[i] for name, i in positions.items()}).to_pandas()
    frame = frame if len(frame.columns) else pd.DataFrame(index=range(len(good)))
    for name in absent:
        frame[name] = pd.Series(None, index=frame.index, dtype="str")
    again = _repeats(frame, {n: folded(head.cells[i]) for n, i in positions.items()})
    is_record[good[again]] = False
    number = np.cumsum(is_record)
    frame[LINE], frame[ROW] = records.line[good], number[good]
    if again.any():
        frame = frame[~again].reset_index(drop=True)

    kinds: Counter[str] = Counter()
    kinds["comment"] = head.comments + int(records.lines[status == scan.COMMENT].sum())
    kinds["blank"] = int(records.lines[status == scan.BLANK].sum())
    kinds["header"] = line - 1 - head.comments + int(records.lines[good[again]].sum())
    kinds["records"] = int(records.lines[good[~again]].sum())
    kinds["quarantined"] = int(records.lines[status >= scan.TOO_FEW].sum())
    lines = count_lines(buffer, records.stop)
    if sum(kinds.values()) != lines:
        told = ", ".join(f"{n} {kind}" for kind, n in sorted(kinds.items()))
        raise SourceError(f"{file}: the lines do not add up: {lines} counted, {told}. Nothing was taken from it.")
    return Parsed(
        frame, lines, int(is_record.sum()), kinds, _faults(records, number, len(head.cells)),
        int((records.coding[good] == scan.CP1252).sum()), absent,
    )  # fmt: skip


def _faults(records: _Records, number: NDArray[np.int64], fields: int) -> pd.DataFrame:
    bad = np.flatnonzero(records.status >= scan.TOO_FEW)
    detail = {
        scan.TOO_FEW: f"Fewer fields than the {fields} of the header.",
        scan.TOO_MANY: f"More fields than the {fields} of the header.",
        scan.BAD_BYTES: "Bytes that are neither UTF-8 nor cp1252.",
        scan.UNTERMINATED: "A quote is opened and not closed.",
    }
    state = pd.Series(records.status[bad].astype(int))
    return pd.DataFrame({
        "line": records.line[bad], "row": number[bad], "offset": records.start[bad],
        "length": records.end[bad] - records.start[bad],
        "reason": state.map(scan.REASON).astype("str"), "detail": state.map(detail).astype("str"),
    })  # fmt: skip
