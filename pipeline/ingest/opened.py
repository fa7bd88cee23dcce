"""One table's worth of a file, opened: the bytes of its text or the grid of its cells, and what may be done with it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pipeline.ingest.header import BYTES_SEARCHED, DELIMITERS, Candidate, candidates
from pipeline.ingest.parse import Parsed, Part, below_header, parse
from pipeline.ingest.sheets import Grid, parse_grid


@dataclass
class Opened:
    """Content of one file, archive member, sheet, layer or stretch of lines.

    Attributes
    ----------
    name : str
        File name without folder; ``archive.zip: member``, ``book.xlsx: sheet`` or ``wells.csv: lines 1 to 40`` where
        a file holds several.
    text : uint8 array or None
        Bytes of delimited text, up to the end of this part; places in it are places in the unpacked file.
    grids : list of Grid
        The sheet or layer; beside a text, the same text cut at its columns of blanks.
    skip : int
        Byte at which to look for the header: the length of the byte order mark, or where this part begins.
    one_of_many : bool
        Whether it came from an archive of several files.
    fault : str
        Why it cannot be read, where it is one of many.
    part : Part
        Where its part of the text begins.
    coding : str
        How the bytes of the file are written where that is neither UTF-8 nor cp1252: "UTF-16".
    notes : list of str
        What a reader of the ledger should know.
    """

    name: str
    text: NDArray[np.uint8] | None = None
    grids: list[Grid] | None = None
    skip: int = 0
    one_of_many: bool = False
    fault: str = ""
    part: Part = field(default_factory=Part)
    coding: str = ""
    notes: list[str] = field(default_factory=list)

    def heads(self, encoding: str = "", comment: str = "#") -> Iterator[tuple[Candidate, Grid | None]]:
        """Rows that may be the header, of the text and of each grid in turn."""
        if self.text is not None:
            head = bytes(self.text[: BYTES_SEARCHED + self.skip])
            for found in candidates(head, self.skip, DELIMITERS, comment, self.part.lines, encoding):
                yield found, None
        for grid in self.grids or []:
            for found in grid.candidates():
                yield found, grid

    def parse(self, head: Candidate, grid: Grid | None, wanted: list[str] | None, units_row: bool | None = None,
              limit: int | None = None, threads: int = 2, encoding: str = "",
              comment: str = "#", coded: bool = False) -> Parsed:  # fmt: skip
        """Records below a header that :meth:`heads` gave; see :func:`pipeline.ingest.parse.parse`."""
        if grid is not None:
            parsed = parse_grid(grid, head, wanted, units_row, limit)
            if self.text is not None and grid.sizes is not None:
                parsed.bytes["mark"] += self.part.skip if self.part.origin is None else int(self.part.origin[0])
            return parsed
        assert self.text is not None
        return parse(
            self.text, head, wanted, comment, units_row, limit, threads, self.name, encoding, self.part, coded
        )

    def units(self, head: Candidate, grid: Grid | None, units_row: bool | None = None) -> list[str]:
        """Units in a row below the header, one a column, [] when no row tells them."""
        if grid is not None:
            return grid.units_below(head, units_row)
        assert self.text is not None
        return below_header(self.text, head, units_row)[2]

    def told(self) -> list[str]:
        """Notes on it and on its grids."""
        return [*self.notes, *(note for grid in self.grids or [] for note in grid.notes)]
