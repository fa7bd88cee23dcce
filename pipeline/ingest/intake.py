"""What ingest hands to normalise: raw text tables, the line ledger, and what was set aside."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from pipeline import schema
from pipeline.ingest.layouts import Layout

LINE, ROW = "_line", "_row"
# reasons that begin so tell of tables that are left aside on purpose
ON_PURPOSE = ("The same records as ", "Describes ", "Of no use for the job: ")


@dataclass
class RawTable:
    """One physical file read as one table of one layout.

    Attributes
    ----------
    source_id, table : str
        The layout and the name of the table inside it.
    file : str
        File name without its folder.
    frame : DataFrame
        Exactly the columns that the layout uses for this table, under the names the layout writes, text as
        read (not trimmed); "" where the cell is empty, missing throughout where the file lacks the column.
        A column whose texts repeat may be a category of text.
        Of names met twice in a header the second is called "name (2)". Two integer columns: ``_line``, the
        physical line on which the record begins, and ``_row``, its number (set-aside records count), from 1.
    """

    source_id: str
    table: str
    file: str
    frame: pd.DataFrame

    def column(self, name: str) -> pd.Series:
        """Text of the column whose header is ``name``: exactly so, else as :func:`folded` compares them."""
        place = named(name, self.frame.columns)
        if place is None:
            raise KeyError(name)
        return self.frame[self.frame.columns[place]]


@dataclass
class LedgerEntry:
    """Where the records of one file went; rows_read counts every record, also those set aside.

    ``lines`` is the number of physical lines of the table's part of the file (rows of the sheet for a workbook),
    ``bytes`` the size of that part, unpacked (0 for what is no text). ``line_kinds`` and ``byte_kinds`` part both
    by what they are: mark (byte order), header, comment, blank, records, quarantined, footer, unread (past a limit).
    """

    file: str
    table: str
    source_id: str
    lines: int = 0
    rows_read: int = 0
    rows_used: int = 0
    excluded: dict[str, int] = field(default_factory=dict)
    quarantined: dict[str, int] = field(default_factory=dict)
    bytes: int = 0
    line_kinds: dict[str, int] = field(default_factory=dict)
    byte_kinds: dict[str, int] = field(default_factory=dict)

    def to_dict(self) -> dict[str, Any]:
        """Entry as it stands in the manifest, reasons in alphabetical order."""
        return {
            "file": self.file, "table": self.table, "source_id": self.source_id, "lines": self.lines,
            "rows_read": self.rows_read, "rows_used": self.rows_used,
            "excluded": dict(sorted(self.excluded.items())),
            "quarantined": dict(sorted(self.quarantined.items())),
            "bytes": self.bytes, "line_kinds": dict(sorted(self.line_kinds.items())),
            "byte_kinds": dict(sorted(self.byte_kinds.items())),
        }  # fmt: skip

    def balances(self) -> bool:
        """Whether every record read is used, excluded or quarantined, and every line and byte is of some kind."""
        rows = self.rows_read == self.rows_used + sum(self.excluded.values()) + sum(self.quarantined.values())
        lines = not self.line_kinds or sum(self.line_kinds.values()) == self.lines
        return rows and lines and sum(self.byte_kinds.values()) == self.bytes


@dataclass
class Intake:
    """Everything that was read.

    Attributes
    ----------
    layouts : dict of Layout
        Layouts in use, by source_id.
    tables : list of RawTable
        In the order of the files.
    quarantine : DataFrame
        Columns of the declared table ``quarantine``; never the text of a line.
    ledger : list of LedgerEntry
        One a file and table, in the order of ``tables``; normalise fills rows_used and excluded.
    not_read : list of (file, reason)
        Files of a folder that were left unread.
    notes : list of (file, note)
        What was done about a file's quirks: lines read as cp1252, mapped columns that the file lacks.
    decisions : list of dict
        One a column that is read: source, table, file, column, field, unit, how (layout, header, units_row,
        dictionary, unit_column, inferred), evidence, score.
    """

    layouts: dict[str, Layout] = field(default_factory=dict)
    tables: list[RawTable] = field(default_factory=list)
    quarantine: pd.DataFrame = field(default_factory=lambda: empty_quarantine())
    ledger: list[LedgerEntry] = field(default_factory=list)
    not_read: list[tuple[str, str]] = field(default_factory=list)
    notes: list[tuple[str, str]] = field(default_factory=list)
    decisions: list[dict[str, Any]] = field(default_factory=list)


def empty_quarantine() -> pd.DataFrame:
    """A quarantine table without rows."""
    return schema.arrow_schema("quarantine").empty_table().to_pandas()


def folded(name: str) -> str:
    """Header name as compared: trimmed, lower case, underscores as blanks, blanks single."""
    return " ".join(str(name).replace("_", " ").split()).lower()


def named(name: str, headers: Iterable[str]) -> int | None:
    """Position of the header ``name``: the one written just so, else the first that compares equal; None if none."""
    known, wanted = list(headers), folded(name)
    if name in known:
        return known.index(name)
    return next((place for place, header in enumerate(known) if folded(header) == wanted), None)


def only_rows(frame: pd.DataFrame, kept: Any) -> pd.DataFrame:
    """Some rows of a raw frame; its categories hold no text that is in none of them."""
    out = frame[kept].reset_index(drop=True)
    for name, column in out.items():
        if isinstance(column.dtype, pd.CategoricalDtype):
            out[name] = column.cat.remove_unused_categories()
    return out
