"""How much a row of cells looks like the header of a table of wells."""

from __future__ import annotations

from functools import lru_cache

from pipeline.ingest.proposal.column import chance
from pipeline.ingest.proposal.concepts import parse
from pipeline.ingest.proposal.meaning import meanings
from pipeline.ingest.proposal.score import canonical

KNOWN = 0.6
# a cell of more letters or words is prose, not a name
_MOST_LETTERS = 60
_MOST_WORDS = 9
_FEWEST = 2


@lru_cache(maxsize=20000)
def known(cell: str) -> float:
    """Chance that a cell is the name of a field, by its words alone; nought for numbers and prose."""
    text = " ".join(cell.split())
    if text in canonical():
        return 1.0
    if not 0 < len(text) <= _MOST_LETTERS or len(text.split()) > _MOST_WORDS or not any(c.isalpha() for c in text):
        return 0.0
    found = meanings(parse(text))
    return chance(found[0].odds) if found else 0.0


def fields_of(name: str) -> tuple[str, ...]:
    """Fields that a name may mean by its words alone, likely ones, the likeliest first."""
    return tuple(m.field for m in meanings(parse(name)) if chance(m.odds) >= KNOWN)


def score(cells: tuple[str, ...]) -> float:
    """Sum of the chances of the cells that are likely names; nought when fewer than two are."""
    found = [c for c in map(known, cells) if c >= KNOWN]
    return sum(found) if len(found) >= _FEWEST else 0.0
