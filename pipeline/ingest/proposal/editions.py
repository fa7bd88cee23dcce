"""Tables of wells of one set that tell the same wells in two forms, such as a raw and a published one."""

from __future__ import annotations

import pandas as pd

from pipeline.ingest.intake import folded
from pipeline.ingest.proposal.model import Proposal
from pipeline.ingest.proposal.related import weight
from pipeline.ingest.proposal.unknown import Unknown, numbers_of, share_of_numbers

_FEWEST_COLUMNS = 3
_FEWEST_ROWS = 5
_SHARE = 0.6
# a column of fewer values tells rows apart too little
_FEWEST_VALUES = 5


def tell(sources: list[tuple[Proposal, Unknown]]) -> None:
    """Mark sources whose rows stand in another source of the set too; changes the proposals.

    The fuller table is the main one; wells of both then count once, and those of one alone stay.
    """
    ranked = sorted(sources, key=lambda s: (-weight(s[0].wells.guesses), -s[1].rows))
    main: list[tuple[Proposal, Unknown]] = []
    for proposal, table in ranked:
        other = next((p for p, t in main if same_rows(table, t) >= _SHARE), None)
        if other is None:
            main.append((proposal, table))
        elif proposal.certain and other.certain:
            proposal.edition_of = other.source_id


def same_rows(table: Unknown, other: Unknown) -> float:
    """Share of rows of ``table`` whose numbers stand in one row of ``other`` in the columns that both have."""
    have = {folded(h): h for h in other.headers}
    shared = [(h, have[folded(h)]) for h in table.headers if folded(h) in have]
    shared = [(a, b) for a, b in shared if _tells(table, a) and _tells(other, b)]
    if len(shared) < _FEWEST_COLUMNS:
        return 0.0
    one, two = _marks(table, [a for a, _ in shared]), _marks(other, [b for _, b in shared])
    return float(one.isin(two).mean()) if len(one) >= _FEWEST_ROWS else 0.0


def _tells(table: Unknown, header: str) -> bool:
    return share_of_numbers(table, header) >= 0.8 and table.values(header).nunique() >= _FEWEST_VALUES


def _marks(table: Unknown, headers: list[str]) -> pd.Series:
    """One text a row from its numbers; rows with fewer than three of them are left out."""
    numbers = pd.DataFrame({
        place: numbers_of(table.values(h)).reindex(table.sample.index).astype(float).round(6)
        for place, h in enumerate(headers)
    })  # fmt: skip
    known = numbers[numbers.notna().sum(axis=1) >= _FEWEST_COLUMNS]
    mark = pd.Series("", index=known.index, dtype="str")
    for column in known:
        mark = mark + "|" + known[column].astype("str")
    return mark
