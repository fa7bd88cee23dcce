"""Finding the header of a table: delimiter, comment and banner lines above it, the names in it."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from pipeline.ingest.header_words import is_units_row, unit_of
from pipeline.ingest.intake import folded, named

DELIMITERS = (",", "\t", ";", "|")
LINES_SEARCHED = 60
BYTES_SEARCHED = 1 << 20
# no table of wells is wider, and databases stop there too
COLUMNS_MOST = 2000
NAME_LONGEST = 60
ROWS_BELOW = 4
_TYPE_CELL = re.compile(r"\d+[sdnSDN]")
# a first line that names the delimiter, as spreadsheet programs write it
_SEPARATOR_LINE = re.compile(r"\ufeff?\"?sep=([^\w\s]|\t)\"?", re.IGNORECASE)
_LETTER = re.compile(r"[^\W\d_]")
_VALUE = re.compile(r"[<>~≤≥]?\s*[-+]?[\d.,:/\s-]+(?:e[-+]?\d+)?\s*[a-zµ%/]{0,5}", re.IGNORECASE)
# a unit by its looks: in brackets, a quotient, a degree or a share
_UNIT = re.compile(r"[(\[]\s*[^\W\d]{1,6}\s*[)\]]|[(\[]?[^\W\d]{1,5}\s?/\s?[^\W\d]{1,5}[\d³²]?[)\]]?|°\s?[CF]|[%‰]")
_RULE = re.compile(r"[-=_+|\s]{2,}")
_THOUSANDS = re.compile(r"(?<=\d),(?=\d{3}\b)")


@dataclass(frozen=True)
class Candidate:
    """A line that may be the header, or two that are it together: its cells and where it lies.

    Attributes
    ----------
    delimiter : str
        "" where the table is a sheet.
    line, lines : int
        Physical line on which it begins, and how many it takes.
    start, after : int
        Its first byte and the byte after its last.
    comments, comment_bytes : int
        Comment lines above it.
    """

    delimiter: str
    cells: tuple[str, ...]
    line: int
    lines: int
    start: int
    after: int
    comments: int
    comment_bytes: int = 0


@dataclass(frozen=True)
class Names:
    """Header names made unique, and how to find a column by the name a layout writes."""

    unique: tuple[str, ...]

    def index(self, name: str) -> int | None:
        """Position of a column by its name: exactly so, else trimmed, whatever its case, underscores as blanks."""
        return named(name, self.unique)


def unique_names(cells: tuple[str, ...]) -> Names:
    """Names as used: trimmed, blank ones called "column 3", the second of equal ones "name (2)"."""
    seen: dict[str, int] = {}
    out = []
    for position, cell in enumerate(cells, 1):
        name = " ".join(cell.split()) or f"column {position}"
        count = seen[name.lower()] = seen.get(name.lower(), 0) + 1
        out.append(name if count == 1 else f"{name} ({count})")
    return Names(tuple(out))


def decode(line: bytes, encoding: str = "") -> str:
    """Text of a line: UTF-8, else cp1252, bytes that cp1252 lacks shown as a mark; or by a declared encoding."""
    if encoding:
        return line.decode(encoding, errors="replace")
    try:
        return line.decode("utf-8")
    except UnicodeDecodeError:
        return line.decode("cp1252", errors="replace")


def split_line(line: bytes, delimiter: str) -> list[str]:
    """Cells of one line; what cannot be split is one cell."""
    text = decode(line).rstrip("\r\n")
    try:
        return next(csv.reader([text], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        return [text]


def candidates(head: bytes, start: int, delimiters: tuple[str, ...], comment: str, line: int = 0,
               encoding: str = "") -> Iterator[Candidate]:  # fmt: skip
    """Lines near the top that split into two cells or more, from the top, by each delimiter in turn.

    Where a line and the one above it read together as names, both come as one candidate too: before the plain
    line when the upper spreads over several columns, after it otherwise.

    Parameters
    ----------
    head : bytes
        First bytes of the file.
    start : int
        Byte at which to begin: the length of the byte order mark, or where a part of the file begins.
    line : int
        Physical lines before ``start``.
    encoding : str
        As a layout declares it; "": UTF-8, else cp1252.
    """
    lines = head[start : start + BYTES_SEARCHED].split(b"\n")[: LINES_SEARCHED * 4]
    texts = [decode(text, encoding) + "\n" for text in lines]
    told = _SEPARATOR_LINE.fullmatch(texts[0].rstrip("\r\n"))
    delimiters = (told[1],) if told else delimiters
    offset, comments, comment_bytes, searched = start, 0, 0, 0
    above: dict[str, Candidate] = {}
    for number, text in enumerate(texts):
        after = offset + len(lines[number]) + 1
        if number == 0 and told:
            pass
        elif comment and text.startswith(comment):
            comments, comment_bytes, above = comments + 1, comment_bytes + len(lines[number]) + 1, {}
        elif text.strip():
            searched += 1
            if searched > LINES_SEARCHED:
                return
            here: dict[str, Candidate] = {}
            for delimiter in delimiters:
                if delimiter not in text:
                    continue
                reader = csv.reader(texts[number : number + 30], delimiter=delimiter, skipinitialspace=True)
                try:
                    cells = next(reader)
                except (csv.Error, StopIteration):
                    continue
                if len(cells) > COLUMNS_MOST:
                    continue
                taken = reader.line_num
                end = offset + sum(len(text) + 1 for text in lines[number : number + taken])
                found = here[delimiter] = Candidate(
                    delimiter, tuple(c.strip("\r") for c in cells), line + number + 1, taken, offset,
                    min(end, len(head)), comments, comment_bytes,
                )  # fmt: skip
                yield from joined(above.get(delimiter), found)
            above = here
        else:
            above = {}
        offset = after


def joined(upper: Candidate | None, lower: Candidate) -> Iterator[Candidate]:
    """A row that may be the header, alone and together with the row above it where both hold names."""
    if upper is None or upper.line + upper.lines != lower.line or upper.cells == lower.cells:
        yield lower
        return
    width = max(len(upper.cells), len(lower.cells))
    top = [" ".join(c.split()) for c in (*upper.cells, *[""] * (width - len(upper.cells)))]
    low = [" ".join(c.split()) for c in (*lower.cells, *[""] * (width - len(lower.cells)))]
    both = [*filter(None, top), *filter(None, low)]
    if sum(map(bool, top)) < 2 or not all(_is_name(cell) for cell in both):
        yield lower
        return
    group, cells, spread = "", [], False
    for over, under in zip(top, low, strict=True):
        # a name that stands in the upper row alone belongs to its own column and spreads no further
        group = over if under and over else "" if over else group
        spread = spread or bool(under and not over and group)
        cells.append(f"{group} {under}" if under and group and folded(group) not in folded(under) else under or over)
    together = replace(upper, cells=tuple(cells), lines=upper.lines + lower.lines, after=lower.after)
    yield from (together, lower) if spread else (lower, together)


def _is_name(cell: str) -> bool:
    """Whether a cell may be a name of columns: it has a letter and is no date, number or long text."""
    return len(cell) <= NAME_LONGEST and bool(_LETTER.search(cell)) and not _VALUE.fullmatch(cell)


def rows_below(rows: list[list[str]], width: int, units_row: bool | None) -> tuple[int, list[str]]:
    """How many rows right below the header belong to it, and the units they tell ([] for none).

    Rows of field kinds, of units, of rules drawn with dashes; and, where units were told, further rows whose first
    cell is empty as that of the units is (methods, limits of detection).

    Parameters
    ----------
    rows : list of list of str
        The first rows below the header.
    width : int
        Columns of the header.
    units_row : bool or None
        True: the first row that is no row of kinds holds units; False: none does; None: when it looks so.
    """
    units: list[str] = []
    open_first = False
    for count, row in enumerate(rows[:ROWS_BELOW]):
        cells = [cell.strip(' "') for cell in (*row[:width], *[""] * (width - len(row)))]
        filled = [cell for cell in cells if cell]
        if not filled:
            return count, units
        if is_type_row(cells) or (len(filled) > 1 and all(_RULE.fullmatch(cell) for cell in filled)):
            continue
        if units_row is not False and not units and (units_row or _tells_units(cells)):
            units, open_first = cells, not cells[0]
        elif not (units and open_first and not cells[0] and count + 1 < len(rows) and _first(rows[count + 1])):
            return count, units
    return min(len(rows), ROWS_BELOW), units


def _first(row: list[str]) -> bool:
    return bool(row and row[0].strip())


def _tells_units(cells: list[str]) -> bool:
    """Whether a row below the header holds units: all cells are, or the first is empty and half of the others are."""
    if is_units_row(cells):
        return True
    filled = [cell for cell in cells if cell]
    told = sum(bool(unit_of(cell.strip(" ()[]")) or _UNIT.fullmatch(cell)) for cell in filled)
    return not cells[0] and told >= 2 and 2 * told >= len(filled) and not any(_VALUE.fullmatch(c) for c in filled)


def is_footer(text: str, delimiter: str) -> bool:
    """Whether a line below the last record is a remark on the table: one text of words, or a count in brackets."""
    plain = text.strip().strip("\0\x1a").strip()
    if not plain:
        return True
    plain = _THOUSANDS.sub("", plain)
    if plain[0] in "([{" and plain[-1] in ")]}":
        return True
    cells = [cell for cell in plain.split(delimiter) if cell.strip()] if delimiter else [plain]
    alone = len(cells) == 1 and '"' not in plain
    return alone and (" " in cells[0].strip() or plain[0] in "-=*_<[(©") and bool(_LETTER.search(plain))


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
