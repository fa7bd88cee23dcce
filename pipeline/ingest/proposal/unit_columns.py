"""Columns that hold the unit of another column, row by row."""

from __future__ import annotations

from pipeline.ingest.header_words import unit_of
from pipeline.ingest.proposal.cells import Cells
from pipeline.ingest.proposal.concepts import Header

_LEAST_SHARE = 0.6
_MOST_UNITS = 12


def unit_columns(
    headers: tuple[str, ...], parsed: list[Header], seen: list[Cells]
) -> dict[int, tuple[str, str]]:
    """For the place of each column that has one: header of its unit column, and the unit most cells tell.

    The cells of a unit column are units; most suffice where it is called so. It belongs to the column whose words it
    repeats, else to the nearest column on its left that is no unit column.
    """
    units: dict[int, str] = {}
    for place, header in enumerate(parsed):
        named = {c for way, _ in header.readings for c in way}
        cells = seen[place]
        texts = list(dict.fromkeys(cells.texts))
        if cells.distinct > _MOST_UNITS or cells.numeric > 0.2 or not texts:
            continue
        known = [unit_of(text) for text in texts if len(text) > 1 or text.lower() == "m" or "unit" in named]
        good = sum(bool(unit) for unit in known) / len(texts)
        if good >= (_LEAST_SHARE if "unit" in named else 1.0):
            units[place] = next((unit for unit in known if unit), "")
    out: dict[int, tuple[str, str]] = {}
    for place, unit in units.items():
        owner = _owner(place, parsed, set(units))
        if owner is not None and unit:
            out[owner] = headers[place], unit
    return out


def _owner(place: int, parsed: list[Header], others: set[int]) -> int | None:
    own = set(parsed[place].words) - {"unit", "units", "uom", "code", "measure"}
    scores = []
    for other, header in enumerate(parsed):
        if other in others or abs(other - place) > 12:
            continue
        shared = len(own & set(header.words))
        if shared:
            scores.append((shared - 0.1 * len(set(header.words) - own), -abs(other - place - (-1)), -other, other))
    if scores:
        return max(scores)[3]
    return place - 1 if place > 0 and place - 1 not in others else None
