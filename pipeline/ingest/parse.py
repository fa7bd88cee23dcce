"""One file below its header to a frame of text, every physical line accounted for."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.errors import SourceError
from pipeline.ingest import eights, scan
from pipeline.ingest.cells import TEXT, Cells, columns, series, side_by_side
from pipeline.ingest.header import (
    ROWS_BELOW,
    Candidate,
    Names,
    decode,
    is_footer,
    is_type_row,
    rows_below,
    split_line,
    unique_names,
)
from pipeline.ingest.header_words import is_units_row
from pipeline.ingest.intake import LINE, ROW, only_rows

# bytes of a large file in which records are found at one time
PIECE = 1 << 24
# bytes looked at for rows of units below a header, and lines looked at for remarks below the last record
ROOM_BELOW, FOOTER_LINES = 1 << 18, 40
_QUOTE = ord('"')


@dataclass
class Parsed:
    """Records of one table and where its lines went.

    Attributes
    ----------
    frame : DataFrame
        Wanted columns as text, with ``_line`` and ``_row``; where asked, a column whose texts repeat is a category.
    lines : int
        Physical lines met.
    rows_read : int
        Records, those set aside included.
    kinds : Counter
        Physical lines by kind: header (what stands above it included), comment, blank, records, quarantined, footer.
    bytes : Counter
        Bytes by the same kinds, and mark (byte order), and unread (past the limit); empty for what is no text.
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
    bytes: Counter[str] = field(default_factory=Counter)


@dataclass(frozen=True)
class Part:
    """Where a table's part of a file begins.

    Attributes
    ----------
    begin, skip : int
        Its first byte, and the byte after a byte order mark.
    lines : int
        Physical lines before it.
    origin : int array or None
        Of a text that was written again as UTF-8, the place in the file of each byte, and of its end.
    """

    begin: int = 0
    skip: int = 0
    lines: int = 0
    origin: NDArray[np.int64] | None = None

    def place(self, at: Any) -> Any:
        """Places in the file of places in the text."""
        return at if self.origin is None else self.origin[at]


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

    def sizes(self, part: Part) -> NDArray[np.int64]:
        """Bytes of each in the file, its line end included."""
        return np.diff(part.place(np.append(self.start, self.stop)))


def filled(kinds: Counter[str]) -> dict[str, int]:
    """Kinds that occur, with their lines or bytes."""
    return {kind: int(count) for kind, count in kinds.items() if count}


def count_lines(buffer: NDArray[np.uint8], stop: int, begin: int = 0) -> int:
    """Physical lines in the bytes from ``begin`` to ``stop``, counted over the raw bytes and nothing else."""
    return eights.breaks(buffer, begin, stop) + int(stop > begin and buffer[stop - 1] != 10)


def _find(buffer: NDArray[np.uint8], head: Candidate, pos: int, line: int, quote: int, comment: str,
          limit: int, encoding: str, threads: int = 1) -> _Records:  # fmt: skip
    names = [cell.strip() for cell in head.cells]
    while names and not names[-1]:
        names.pop()
    mark = ord(comment[0]) if comment and head.comments else -1
    forms = scan.forms_of(encoding) if encoding else scan.FORMS
    words = eights.words_of(buffer)

    def piece(begin: int, until: int) -> _Records:
        room = eights.breaks(buffer, begin, until) + 2
        place, lines, state = np.empty((3, room), np.int64), np.empty(room, np.int32), np.empty((2, room), np.uint8)
        count, stop = scan.find_records(
            buffer, words, begin, until, 0, ord(head.delimiter), quote, len(head.cells), max(len(names), 1), mark,
            forms, bool(encoding), limit, place, lines, state,
        )  # fmt: skip
        start, end, first = place[:, :count]
        status, coding = state[:, :count]
        return _Records(start, end, first, lines[:count], status, coding, stop)

    if limit >= 0 or buffer.size - pos < 2 * PIECE:
        return _below_each_other([piece(pos, buffer.size)], pos, line)
    return _below_each_other(_pieces(buffer, pos, piece, threads), pos, line)


def _pieces(buffer: NDArray[np.uint8], pos: int, piece: Callable[[int, int], _Records], threads: int) -> list[_Records]:
    """Records of a large file, found in pieces side by side.

    A piece is begun at a line feed, as if no quote were open there. That is so where the piece before it ends
    just there; where not, the piece is done again from where the last record ended. The outcome is that of one pass.
    """
    edges = [pos]
    for at in range(pos + PIECE, buffer.size - PIECE, PIECE):
        feed = np.flatnonzero(buffer[at : at + ROOM_BELOW] == 10)
        edges += [at + int(feed[0]) + 1] if len(feed) else []
    edges.append(buffer.size)
    spans = list(itertools.pairwise(edges))
    found = side_by_side(lambda k: piece(*spans[k]), range(len(spans)), threads)
    out: list[_Records] = []
    for (begin, until), records in zip(spans, found, strict=True):
        reached = out[-1].stop if out else pos
        if reached == begin:
            out.append(records)
        elif reached < until:
            out.append(piece(reached, until))
    return out


def _below_each_other(pieces: list[_Records], pos: int, line: int) -> _Records:
    """Records of pieces that follow each other, on the lines of the file, of which ``line`` is the first."""
    start, end, place, lines, status, coding = (
        np.concatenate([getattr(piece, name) for piece in pieces])
        for name in ("start", "end", "line", "lines", "status", "coding")
    )
    np.cumsum(lines[:-1], out=place[1:])
    place[:1] = 0
    return _Records(start, end, place + line, lines, status, coding, pieces[-1].stop)


def below_header(buffer: NDArray[np.uint8], head: Candidate, units_row: bool | None) -> tuple[int, int, list[str]]:
    """Byte and line of the first record, and the units that stand between it and the header ([] for none)."""
    pos, line = head.after, head.line + head.lines
    rest = bytes(buffer[pos : pos + ROOM_BELOW]).split(b"\n")
    rows = [split_line(text, head.delimiter) for text in rest[: ROWS_BELOW + 1]]
    count, units = rows_below(rows, len(head.cells), units_row)
    return min(pos + sum(len(text) + 1 for text in rest[:count]), buffer.size), line + count, units


def _below_header(buffer: NDArray[np.uint8], head: Candidate, units_row: bool | None) -> tuple[int, int]:
    return below_header(buffer, head, units_row)[:2]


def _mark_footer(buffer: NDArray[np.uint8], records: _Records, delimiter: str) -> None:
    """Lines below the last record that hold a remark and no record become a footer."""
    for at in range(len(records.status) - 1, max(len(records.status) - 1 - FOOTER_LINES, 0), -1):
        if records.status[at] in (scan.BLANK, scan.COMMENT):
            continue
        text = decode(bytes(buffer[records.start[at] : min(records.end[at], records.start[at] + 1000)]))
        if records.status[at] < scan.TOO_FEW or records.lines[at] > 1 or not is_footer(text, delimiter):
            return
        records.status[at] = scan.FOOTER


def _repeats(frame: pd.DataFrame, names: dict[str, str]) -> NDArray[np.bool_]:
    """Rows that repeat the header, and rows of types or units right below such a row."""
    compared = [c for c in names if c in frame]
    if not compared or frame.empty:
        return np.zeros(len(frame), bool)
    # columns of few texts first: they leave hardly a row to look at in the others
    searched = sorted(compared, key=lambda name: frame[name].dtype == TEXT)
    rows = _rows_of(frame[searched[0]], names[searched[0]])
    out = np.zeros(len(frame), bool)
    for column in searched[1:]:
        rows = rows[(frame[column].iloc[rows].str.strip().str.lower() == names[column]).to_numpy(bool)]
    out[rows] = True
    for row in rows + 1:
        cells = [str(v) for v in frame[compared].iloc[row]] if row < len(frame) else []
        out[row : row + 1] |= is_type_row(cells) or is_units_row(cells)
    return out


def _rows_of(column: pd.Series, word: str) -> NDArray[np.int64]:
    """Rows that hold a word, whatever its case and the blanks around it."""
    if column.dtype == TEXT:
        return np.flatnonzero(column.str.strip().str.lower() == word)
    texts = column.cat.categories.to_series()
    return np.flatnonzero(np.isin(column.cat.codes, np.flatnonzero(texts.str.strip().str.lower() == word)))


def choose(names: Names, wanted: list[str] | None) -> tuple[dict[str, int], list[str]]:
    """Field positions of the wanted columns by the name wanted, and those that the file lacks."""
    if wanted is None:
        return {name: i for i, name in enumerate(names.unique)}, []
    found = {name: names.index(name) for name in wanted}
    return {n: i for n, i in found.items() if i is not None}, [n for n, i in found.items() if i is None]


def parse(buffer: NDArray[np.uint8], head: Candidate, wanted: list[str] | None, comment: str = "#",
          units_row: bool | None = None, limit: int | None = None, threads: int = 2, file: str = "",
          encoding: str = "", part: Part | None = None, coded: bool = False) -> Parsed:  # fmt: skip
    """Records of delimited text below its header.

    Parameters
    ----------
    buffer : uint8 array
        The file up to the end of the table.
    head : Candidate
        Its header, as found.
    wanted : list of str or None
        Header names to keep; None for all.
    units_row : bool or None
        Whether the row below the header holds units; None: when all its cells are units.
    limit : int or None
        Read at most so many records.
    encoding : str
        Encoding of single bytes that holds for the whole file; "": UTF-8, and cp1252 line by line where it is not.
    part : Part or None
        Where the table's part of the file begins; None: the whole file.
    coded : bool
        Whether columns whose texts repeat become categories: the quick way to read a table for good.

    Raises
    ------
    SourceError
        When the lines do not add up to the physical lines counted apart.
    """
    part = part or Part()
    pos, line, _ = below_header(buffer, head, units_row)
    most = -1 if limit is None else limit
    quote = _QUOTE
    records = _find(buffer, head, pos, line, quote, comment, most, encoding, threads)
    if records.faults() and head.delimiter in "\t|":
        # tab files are often written without quoting: there a quote is a letter like any other
        plain = _find(buffer, head, pos, line, -1, comment, most, encoding, threads)
        if plain.faults() < records.faults():
            records, quote = plain, -1
    if records.stop == buffer.size:
        _mark_footer(buffer, records, head.delimiter)
    names = unique_names(head.cells)
    positions, absent = choose(names, wanted)
    status = records.status
    good = np.flatnonzero(status == scan.GOOD)
    is_record = (status == scan.GOOD) | (status >= scan.TOO_FEW)
    fields = sorted(set(positions.values()))
    forms = scan.forms_of(encoding) if encoding else scan.FORMS
    cells = Cells(
        buffer, records.start[good], records.end[good], records.coding[good], ord(head.delimiter), quote, forms
    )
    arrays = dict(zip(fields, map(series, columns(cells, fields, threads, coded)), strict=True))
    frame = pd.DataFrame({n: arrays[i] for n, i in positions.items()}, index=pd.RangeIndex(len(good)), copy=False)
    for name in absent:
        frame[name] = pd.Series(None, index=frame.index, dtype="str")
    again = _repeats(frame, {n: head.cells[i].strip().lower() for n, i in positions.items()})
    is_record[good[again]] = False
    number = np.cumsum(is_record)
    frame[LINE], frame[ROW] = records.line[good], number[good]
    if again.any():
        frame = only_rows(frame, ~again)

    above = line - 1 - part.lines - head.comments
    kinds = _by_kind(records, records.lines, good[again], above, head.comments)
    noted = head.comment_bytes if part.origin is None else _comment_bytes(buffer, head, part, comment)
    header = int(part.place(pos) - part.place(part.skip)) - noted
    counts = _by_kind(records, records.sizes(part), good[again], header, noted)
    counts["mark"] = part.skip - part.begin if part.origin is None or part.begin else int(part.origin[0])
    counts["unread"] = int(part.place(buffer.size) - part.place(records.stop))
    lines = count_lines(buffer, records.stop, part.begin)
    if sum(kinds.values()) != lines:
        told = ", ".join(f"{n} {kind}" for kind, n in sorted(kinds.items()))
        raise SourceError(f"{file}: the lines do not add up: {lines} counted, {told}. Nothing was taken from it.")
    return Parsed(
        frame, lines, int(is_record.sum()), kinds, _faults(records, number, len(head.cells), part),
        int((records.coding[good] == scan.CP1252).sum()) if not encoding else 0, absent, counts,
    )  # fmt: skip


def _by_kind(records: _Records, amount: NDArray[Any], again: NDArray[np.int64], header: int,
             comment: int) -> Counter[str]:  # fmt: skip
    """Lines or bytes by kind; ``again`` are the records that repeat the header."""
    status, kinds = records.status, Counter[str]()
    repeated = int(amount[again].sum())
    kinds["header"] = header + repeated
    kinds["comment"] = comment + int(amount[status == scan.COMMENT].sum())
    kinds["blank"] = int(amount[status == scan.BLANK].sum())
    kinds["footer"] = int(amount[status == scan.FOOTER].sum())
    kinds["records"] = int(amount[status == scan.GOOD].sum()) - repeated
    kinds["quarantined"] = int(amount[status >= scan.TOO_FEW].sum())
    return kinds


def _comment_bytes(buffer: NDArray[np.uint8], head: Candidate, part: Part, comment: str) -> int:
    """Bytes in the file of the comment lines above a header, where the text was written again."""
    at, total = part.skip, 0
    for line in bytes(buffer[part.skip : head.start]).split(b"\n"):
        end = min(at + len(line) + 1, head.start)
        total += int(part.place(end) - part.place(at)) if comment and line.startswith(comment.encode()) else 0
        at = end
    return total


def _faults(records: _Records, number: NDArray[np.int64], fields: int, part: Part) -> pd.DataFrame:
    bad = np.flatnonzero(records.status >= scan.TOO_FEW)
    detail = {
        scan.TOO_FEW: f"Fewer fields than the {fields} of the header.",
        scan.TOO_MANY: f"More fields than the {fields} of the header.",
        scan.BAD_BYTES: "Bytes that are neither UTF-8 nor cp1252.",
        scan.UNTERMINATED: "A quote is opened and not closed.",
        scan.TOO_LONG: "A record of more than 16 MB.",
    }
    state = pd.Series(records.status[bad].astype(int))
    return pd.DataFrame({
        "line": records.line[bad], "row": number[bad], "offset": part.place(records.start[bad]),
        "length": part.place(records.end[bad]) - part.place(records.start[bad]),
        "reason": state.map(scan.REASON).astype("str"), "detail": state.map(detail).astype("str"),
    })  # fmt: skip
