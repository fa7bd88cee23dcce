"""The truth about headers, and how guesses are judged by it.

``tests/ingest/header_truth.csv`` says for every column of the open records what it means;
``tests/ingest/header_styles.csv`` the same for invented tables whose headers were written from memory. One row a
column: ``field`` is what it must be read as ("" where the job does not use it), ``acceptable`` what is right as well
and not missed when unread, ``condition`` the column (or one of several) whose value must restrict the rows, ``tellable`` no where nothing
in the files settles field or unit, so that asking is the right answer.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from dataclasses import asdict, dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
INGEST = ROOT / "tests" / "ingest"
TRUTH, STYLES = INGEST / "header_truth.csv", INGEST / "header_styles.csv"
# a table is known by its headers: so many of them it must share with the truth
OVERLAP = 0.9
EMPTY = {"", "na", "n/a", "nan", "null", "none", "-", "nil"}


@dataclass(frozen=True)
class Column:
    """What one column means."""

    source: str
    table: str
    header: str
    field: str = ""
    unit: str = ""
    deciding: str = ""
    acceptable: str = ""
    condition: str = ""
    tellable: str = ""
    remark: str = ""
    recipe: str = ""

    @property
    def fields(self) -> set[str]:
        """All readings that are right."""
        return {name for name in (self.field, *self.acceptable.split("|")) if name}


@dataclass
class Seen:
    """A table as the engine saw it: its guesses, and which columns hold anything."""

    name: str
    headers: tuple[str, ...]
    guesses: list[Any]
    role: str = "wells"
    id: tuple[str, ...] = ()
    where: dict[str, dict[str, tuple[str, ...]]] = field(default_factory=dict)
    filled: set[str] = field(default_factory=set)


@dataclass
class Judged:
    """One guess beside the truth.

    Attributes
    ----------
    applied : bool
        Used without asking.
    verdict : str
        right, wrong, or "" where the column needs no reading and got none.
    unit : str
        right, wrong or asked; "" where none is due or the field is wrong.
    """

    source: str
    table: str
    header: str
    guess: str
    guess_unit: str
    score: float
    applied: bool
    verdict: str
    unit: str
    deciding: bool
    truth: str
    truth_unit: str
    why: str

    def to_dict(self) -> dict[str, Any]:
        """As plain values."""
        return asdict(self)


def folded(name: str) -> str:
    """A header as compared."""
    return " ".join(name.split()).lower()


@cache
def truth(path: Path = TRUTH) -> tuple[Column, ...]:
    """All rows of a truth table."""
    with path.open(newline="", encoding="utf-8") as handle:
        return tuple(Column(**row) for row in csv.DictReader(handle))


@cache
def tables(path: Path = TRUTH) -> dict[tuple[str, str], dict[str, Column]]:
    """Columns by (source, table) and folded header."""
    out: dict[tuple[str, str], dict[str, Column]] = defaultdict(dict)
    for column in truth(path):
        out[column.source, column.table][folded(column.header)] = column
    return dict(out)


def table_of(headers: tuple[str, ...], path: Path = TRUTH) -> tuple[str, str] | None:
    """The (source, table) whose headers these are, None when none shares enough of them."""
    names = {folded(h) for h in headers}
    best, share = None, 0.0
    for key, columns in tables(path).items():
        common = len(names & set(columns)) / len(names | set(columns))
        if common > share:
            best, share = key, common
    return best if share >= OVERLAP else None


def same_unit(one: str, two: str) -> bool:
    """Whether two units as pint reads them are one and the same."""
    if one == two:
        return True
    from pipeline.errors import UsageError
    from pipeline.units import line

    try:
        return bool(one and two) and line(one, two) == (1.0, 0.0)
    except UsageError:
        return False


def _unit(guess: Any, column: Column) -> str:
    """right, wrong or asked; "" where the column takes no unit."""
    from pipeline import schema

    due = column.unit
    if not due or due == "deg" or not schema.fields()[guess.field].unit:
        return ""
    if due.startswith("row:"):
        # rows of one thing measured may well share one unit
        if column.condition and guess.unit and not guess.unit_from:
            return "right"
        if guess.unit_from:
            return "right" if folded(guess.unit_from) == folded(due[4:]) else "wrong"
        # a unit for the whole column of a table that gives it row by row is right only by chance
        return "asked" if guess.why_not else "wrong"
    if guess.unit and same_unit(guess.unit, due):
        return "right"
    return "wrong" if guess.unit and not guess.why_not else "asked"


def judge(seen: Seen, path: Path = TRUTH, source: str = "") -> list[Judged]:
    """Every guess of a table beside the truth; an id is a guess too. Empty where the truth does not know the table."""
    key = table_of(seen.headers, path)
    if key is None or (source and key[0] != source):
        return []
    columns = tables(path)[key]
    ids = {folded(h) for h in seen.id}
    out = []
    for guess in seen.guesses:
        column = columns.get(folded(guess.header))
        if column is None:
            continue
        name = guess.field
        used = bool(seen.role) and guess.sure
        right = column.fields
        if folded(guess.header) in ids and seen.role and name in ("", "well_id"):
            name, used = "well_id", True
            # of an id of several columns one suffices: agency and number
            others = ids - {folded(guess.header)}
            right = right | {"well_id"} if any("well_id" in columns[h].fields for h in others & set(columns)) else right
        unit, why = "", guess.why_not
        if not name:
            verdict = "right" if not column.field else ""
        else:
            wanted = {folded(h) for h in column.condition.split("|") if h}
            restricted = not wanted or bool(wanted & {folded(h) for h in seen.where.get(name, {})})
            verdict = "right" if name in right and (restricted or not used) else "wrong"
            if name in right and not restricted and used:
                why = f"rows are not restricted by {column.condition}"
            if verdict == "right" and name != "well_id":
                unit = _unit(guess, column)
                if unit == "wrong" and used:
                    verdict = "wrong"
        out.append(Judged(*key, column.header, name, guess.unit_from or guess.unit, float(guess.score), used, verdict,
                          unit, bool(column.deciding) or _decides(name), column.field or column.acceptable,
                          column.unit, why))  # fmt: skip
    return out


def _decides(name: str) -> bool:
    from pipeline.ingest.proposal.model import DECIDING

    return name in DECIDING


def due(seen: Seen, path: Path = TRUTH) -> list[Column]:
    """Columns of a table that must be read: one a field, and only those that hold anything."""
    key = table_of(seen.headers, path)
    found: dict[str, Column] = {}
    for column in tables(path).get(key, {}).values() if key else ():
        if column.field and (column.header in seen.filled or folded(column.header) in map(folded, seen.filled)):
            kept = found.get(column.field)
            if kept is None or (kept.tellable == "no" and column.tellable != "no"):
                found[column.field] = column
    return list(found.values())


def tokens(text: str) -> list[str]:
    """Words of a header, by blanks, signs and capitals."""
    import re

    parted = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)
    return re.findall(r"[^\W_]+", parted.lower())


def attested(form: str, path: Path = TRUTH) -> set[str]:
    """Sources that have a header in which this phrase occurs, its words side by side or glued."""
    words = tokens(form)
    glued = "".join(words)
    padded = f" {' '.join(words)} "
    return {
        source for source, line, parts in _lines(path)
        if words and (padded in line or glued in parts)
    }  # fmt: skip


@cache
def _lines(path: Path) -> tuple[tuple[str, str, frozenset[str]], ...]:
    return tuple(
        (column.source, f" {' '.join(tokens(column.header))} ", frozenset(tokens(column.header)))
        for column in truth(path)
    )  # fmt: skip
