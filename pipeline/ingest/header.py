"""Finding the header of a table: delimiter, comment and banner lines above it, the names in it."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from pipeline.ingest.intake import folded

DELIMITERS = (",", "\t", ";", "|")
LINES_SEARCHED = 60
BYTES_SEARCHED = 1 << 20
_TYPE_CELL = re.compile(r"\d+[sdnSDN]")


@dataclass(frozen=True)
class Candidate:
    """A line that may be the header: its cells and where it lies."""

    delimiter: str
    cells: tuple[str, ...]
    line: int
    lines: int
    start: int
    after: int
    comments: int


@dataclass(frozen=True)
class Names:
    """Header names made unique, and how to find a column by the name a layout writes."""

    unique: tuple[str, ...]

    def index(self, name: str) -> int | None:
        """Position of a column by its name, trimmed and whatever its case."""
        wanted = folded(name)
        return next((i for i, found in enumerate(self.unique) if folded(found) == wanted), None)


def unique_names(cells: tuple[str, ...]) -> Names:
    """Names as used: trimmed, blank ones called "column 3", the second of equal ones "name (2)"."""
    seen: dict[str, int] = {}
    out = []
    for position, cell in enumerate(cells, 1):
        name = " ".join(cell.split()) or f"column {position}"
        count = seen[name.lower()] = seen.get(name.lower(), 0) + 1
        out.append(name if count == 1 else f"{name} ({count})")
    return Names(tuple(out))


def decode(line: bytes) -> str:
    """Text of a line: UTF-8, else cp1252, bytes that cp1252 lacks shown as a mark."""
    try:
        return line.decode("utf-8")
    except UnicodeDecodeError:
        return line.decode("cp1252", errors="replace")


def candidates(head: bytes, start: int, delimiters: tuple[str, ...], comment: str) -> Iterator[Candidate]:
    """Lines near the top that split into two cells or more, from the top, by each delimiter in turn.

    Parameters
    ----------
    head : bytes
        First bytes of the file.
    start : int
        Length of the byte order mark.
    """
    lines = head[start:BYTES_SEARCHED].split(b"\n")
    texts = [decode(line) + "\n" for line in lines[: LINES_SEARCHED * 4]]
    offset, comments = start, 0
    searched = 0
    for number, text in enumerate(texts):
        after = offset + len(lines[number]) + 1
        if comment and text.startswith(comment):
            comments += 1
        elif text.strip():
            searched += 1
            if searched > LINES_SEARCHED:
                return
            for delimiter in delimiters:
                if delimiter not in text:
                    continue
                reader = csv.reader(texts[number : number + 30], delimiter=delimiter, skipinitialspace=True)
                try:
                    cells = next(reader)
                except (csv.Error, StopIteration):
                    continue
                taken = reader.line_num
                end = offset + sum(len(line) + 1 for line in lines[number : number + taken])
                yield Candidate(
                    delimiter, tuple(c.strip("\r") for c in cells), number + 1, taken, offset,
                    min(end, len(head)), comments,
                )  # fmt: skip
        offset = after


def best(found: Iterator[Candidate], score: Callable[[tuple[str, ...]], float]) -> Candidate | None:
    """The candidate of the highest score above nought; of equal ones the uppermost."""
    chosen, top = None, 0.0
    for candidate in found:
        value = score(candidate.cells)
        if value > top:
            chosen, top = candidate, value
    return chosen


def is_type_row(cells: list[str]) -> bool:
    """Whether a row gives field widths and kinds, as ``5s 15s 12n 10d`` below a header does."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    return len(filled) > 1 and all(_TYPE_CELL.fullmatch(cell) for cell in filled)
