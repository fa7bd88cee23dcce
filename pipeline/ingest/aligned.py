"""Text whose columns are set apart by blanks, as a grid: cut where every line has blanks."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from pipeline.ingest.header import decode
from pipeline.ingest.parse import Part
from pipeline.ingest.sheets import Grid

BYTES_MOST = 8 << 20
_LINE_LONGEST = 10_000
_GAP = re.compile(r"\s{2,}")
_RULE = re.compile(r"[-=_+|\s]+")


def aligned_grid(text: NDArray[np.uint8], name: str, part: Part) -> Grid | None:
    """Lines cut into cells at the columns of blanks that all lines below the header share; None when there are none.

    The header is the first line of three cells or more, set apart by two blanks or more, from which on nearly every
    line has something on both sides of the gaps; a table that is cut so has the same cells line by line, or nothing
    is cut. ``part`` is where the text begins.
    """
    if text.size > BYTES_MOST:
        return None
    skip = part.skip
    raw = bytes(text[skip:]).split(b"\n")
    if raw and not raw[-1]:
        raw.pop()
    lines = [decode(line).rstrip("\r").expandtabs() for line in raw]
    head = next((at for at, line in enumerate(lines[:60]) if _header(line)), None)
    if head is None:
        return None
    body = [line for line in lines[head:] if line.strip() and not _RULE.fullmatch(line)]
    body = [line for line in body if len(_GAP.split(line.strip())) > 1]
    longest = max(map(len, body))
    if longest > _LINE_LONGEST or len(body) < 2:
        return None
    lengths = np.array([len(line) + 1 for line in body])
    codes = np.frombuffer(("\n".join(body) + "\n").encode("utf-32-le"), np.uint32)
    column = np.arange(codes.size) - np.repeat(np.cumsum(lengths) - lengths, lengths)
    taken = np.zeros(longest + 1, bool)
    taken[column[(codes != ord(" ")) & (codes != ord("\n"))]] = True
    # a cell begins after two columns of blanks, for names have single ones in them
    before = np.concatenate([[False, False], taken])
    begins = np.flatnonzero(taken & ~before[1:-1] & ~before[:-2])
    names = _GAP.split(lines[head].strip())
    cells = [[line[a:b].strip() for a, b in zip(begins, [*begins[1:], None], strict=True)] for line in lines]
    if len(begins) != len(names) or len(begins) < 3:
        # no column of blanks holds throughout: cut at gaps, if every line has as many
        cells = [_GAP.split(line.strip()) for line in lines]
        if len(names) < 3 or any(len(_GAP.split(line.strip())) != len(names) for line in body):
            return None
    rows = [row if at >= head else [line.strip()] for at, (row, line) in enumerate(zip(cells, lines, strict=True))]
    rows = [[""] if _RULE.fullmatch(line) else row for row, line in zip(rows, lines, strict=True)]
    ends = skip + np.cumsum([len(line) + 1 for line in raw])
    ends[-1] = text.size
    sizes = np.diff(part.place(np.append(skip, ends)))
    return Grid(name, rows, sizes=sizes)


def _header(line: str) -> bool:
    cells = _GAP.split(line.strip())
    return len(cells) >= 3 and all(re.search(r"[^\W\d_]", cell) for cell in cells)
