"""What would be read from files, and how far they are understood: data for people and programs, no text layout.

Values are taken only of columns that are mapped or half understood; of all others the header alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from dataclasses import field as attribute
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline import schema
from pipeline.ingest.header_words import words_of
from pipeline.ingest.intake import folded
from pipeline.ingest.layouts import ColumnMap, Layout, TableMap
from pipeline.ingest.proposal.concepts import parse
from pipeline.ingest.proposal.model import DEPTHS, Evidence, Guess

# what becomes of a column
READ, ASKED, PERSONAL, PROSE, UNKNOWN, NOT_NEEDED = (
    "read", "asked", "personal", "prose", "not_understood", "not_needed",
)  # fmt: skip
MOST_QUESTIONS = 3
_WRITTEN = ("units_row", "unit_column", "dictionary")
# chance from which a column counts as likely
LIKELY = 0.85


@dataclass
class ColumnSeen:
    """One column of a table, in one of its readings.

    Attributes
    ----------
    header, field, unit, unit_from : str
        Raw name, canonical field ("" when none), unit as declared or guessed, column that holds it row by row.
    state : str
        read, asked (half understood), personal, prose, not_understood or not_needed.
    chance : float or None
        Chance that field and unit are right; None where a layout declares them.
    evidence, notes : list of str
        Why it is read so; what was found about its dates, codes or places.
    runner_up : str
        Next likely reading, with its chance.
    why_not : str
        What keeps it from being read without asking.
    readings : list of (raw, reading)
        Up to three of its own values and how they are read; empty for what is not mapped.
    codes : dict
        Raw texts and the codes they are taken for, beyond the declared spellings.
    date_order, fills : str
        As in a layout.
    after : str
        Column of the same field that comes first; this one is used where that is empty.
    missing_share : float
        Share of the rows looked at in which it is empty or says that nothing is known.
    empty : bool
        Whether no row looked at says anything.
    """

    header: str
    field: str = ""
    unit: str = ""
    unit_from: str = ""
    state: str = READ
    chance: float | None = None
    evidence: list[str] = attribute(default_factory=list)
    runner_up: str = ""
    runner_up_chance: float = 0.0
    why_not: str = ""
    below_casing_top: bool = False
    readings: list[tuple[str, str]] = attribute(default_factory=list)
    notes: list[str] = attribute(default_factory=list)
    codes: dict[str, str] = attribute(default_factory=dict)
    date_order: str = ""
    fills: str = ""
    after: str = ""
    missing_share: float = 0.0
    empty: bool = False


@dataclass
class TableSeen:
    """One table: where it stands, by what it is read, and its columns."""

    file: str
    path: Path
    format: str = ""
    encoding: str = ""
    delimiter: str = ""
    sheet: str = ""
    header_line: int = 0
    header_lines: int = 1
    units_line: int = 0
    types_line: int = 0
    rows_below: int = 0
    rows: int = 0
    rows_exact: bool = True
    looked_at: int = 0
    pieces: int = 1
    table: str = ""
    role: str = "wells"
    layout: str = ""
    title: str = ""
    known: str = ""
    id: list[str] = attribute(default_factory=list)
    link: str = ""
    crs: str = ""
    columns: list[ColumnSeen] = attribute(default_factory=list)
    constants: dict[str, str] = attribute(default_factory=dict)
    absent: list[str] = attribute(default_factory=list)
    doubts: list[str] = attribute(default_factory=list)
    faults: dict[str, int] = attribute(default_factory=dict)
    left_out: dict[str, int] = attribute(default_factory=dict)
    cannot_tell: list[str] = attribute(default_factory=list)
    notes: list[str] = attribute(default_factory=list)
    frame: pd.DataFrame = attribute(default_factory=pd.DataFrame, repr=False)
    mapping: Layout | None = attribute(default=None, repr=False)
    head: Any = attribute(default=None, repr=False)
    grid: Any = attribute(default=None, repr=False)

    @property
    def understood(self) -> bool:
        """Whether it would be read without asking."""
        return bool(self.layout) and not self.doubts

    @property
    def weak(self) -> bool:
        """Whether no layout knows it and no depth or level is likely in it."""
        deciding = (c for c in self.columns if c.field in DEPTHS and not c.empty)
        likely = any(c.state == READ or (c.state == ASKED and (c.chance or 0) >= LIKELY) for c in deciding)
        return self.known == "proposed" and not self.understood and not likely

    @property
    def idle(self) -> bool:
        """Whether a layout knows it and takes nothing from it but the well it belongs to."""
        used = {c.field for c in self.columns if c.state in (READ, ASKED) and c.field}
        return bool(self.layout) and used <= {"well_id"} and not self.constants

    @property
    def hopeless(self) -> bool:
        """Whether no column is understood even by half, so that it is hardly a table of wells."""
        return not self.layout and not any(c.field for c in self.columns)


@dataclass
class Inspection:
    """All files looked at.

    Attributes
    ----------
    unread : list of (file, reason, named)
        Files without a table; ``named`` tells those that the user named himself from those of a folder.
    aside : list of (file, reason)
        Tables left aside on purpose: they describe others, repeat others, or tell nothing that the job uses.
    missing : list of (field, assumed)
        What the job uses and no column tells.
    """

    tables: list[TableSeen] = attribute(default_factory=list)
    unread: list[tuple[str, str, bool]] = attribute(default_factory=list)
    aside: list[tuple[str, str]] = attribute(default_factory=list)
    missing: list[tuple[str, str]] = attribute(default_factory=list)
    questions: list[dict[str, object]] = attribute(default_factory=list)
    market: str = ""
    sources: list[Any] = attribute(default_factory=list, repr=False)

    @property
    def exit_code(self) -> int:
        """0 all understood, 2 an answer is needed, 1 nothing can be read."""
        if not any(not t.hopeless for t in self.tables):
            return 2 if self.tables else 1
        needed = any(not t.understood and not t.hopeless for t in self.tables)
        return 2 if needed or any(named for _, _, named in self.unread) else 0


@cache
def _guarded() -> dict[str, tuple[tuple[str, ...], ...]]:
    """Phrases of headers under which people or prose stand, by kind."""
    out: dict[str, list[tuple[str, ...]]] = {}
    for row in schema.rows("header_personal"):
        out.setdefault(row["kind"], []).extend(tuple(words.split()) for words in row["words"].split("|"))
    return {kind: tuple(found) for kind, found in out.items()}


def guarded(header: str) -> str:
    """``personal`` or ``prose`` where a header says that people or free text stand below it, else ""."""
    for words in (words_of(header), list(parse(header).words)):
        for kind, phrases in _guarded().items():
            for phrase in phrases:
                size = len(phrase)
                if any(tuple(words[at : at + size]) == phrase for at in range(len(words) - size + 1)):
                    return kind
    return ""


def declared_columns(headers: tuple[str, ...], layout: Layout, table: TableMap) -> list[ColumnSeen]:
    """Columns of a file whose layout is known, in the order of the file; one entry a reading."""
    uses: dict[str, list[ColumnSeen]] = {}

    def use(header: str, name: str, column: ColumnMap | None, why: str) -> None:
        seen = ColumnSeen(header, name, column.unit if column else "", column.unit_from if column else "")
        seen.evidence.append(why)
        seen.below_casing_top = bool(column and column.minus)
        seen.fills = column.fills if column else ""
        uses.setdefault(folded(header), []).append(seen)

    for source in table.id:
        use(source, "well_id", None, "layout")
    for name, column in table.columns.items():
        for source in column.sources:
            use(source, name, column, "layout")
    out: list[ColumnSeen] = []
    others = {folded(name) for name in layout.raw_columns(table.name)}
    there = {folded(header): header for header in headers}
    for header in headers:
        found = uses.get(folded(header), [])
        for seen in found:
            seen.header = header
            # the layout's order counts, not that of the columns in the file
            first = table.columns[seen.field].sources if seen.field in table.columns else []
            names = [folded(source) for source in first if folded(source) in there]
            before = names[: names.index(folded(header))] if folded(header) in names else []
            seen.after = there[before[-1]] if before else ""
            out.append(seen)
        if not found:
            state = guarded(header) or NOT_NEEDED
            helps = folded(header) in others
            out.append(ColumnSeen(header, state=READ if helps else state, evidence=["helps"] if helps else []))
    return out


def told_first(evidence: list[Evidence]) -> list[str]:
    """Reasons in the order of telling: what is written, what the rows say of each other, then the strongest."""
    told = [e for e in evidence if e.text]
    written = [e for e in told if e.kind in _WRITTEN or (e.kind == "header" and " says " in e.text)]
    related = [e for e in told if e.kind == "relation" and e.weight > 0]
    first = [*(written[:1] or told[:1]), *related[:1]]
    return list(dict.fromkeys(e.text for e in [*first, *told]))


def guessed_columns(guesses: Iterable[Guess]) -> list[ColumnSeen]:
    """Columns of a proposal; what stands under a person's word and is not sure counts as personal."""
    out = []
    for guess in guesses:
        guard = guarded(guess.header)
        if not guess.field or (guard and not guess.sure):
            out.append(ColumnSeen(guess.header, state=guard or UNKNOWN))
            continue
        out.append(ColumnSeen(
            guess.header, guess.field, guess.unit, guess.unit_from, READ if guess.sure else ASKED, guess.score,
            told_first(guess.evidence), guess.runner_up, guess.runner_up_score, guess.why_not,
            guess.below_casing_top, codes=dict(guess.codes), date_order=guess.date_order,
        ))  # fmt: skip
    return out
