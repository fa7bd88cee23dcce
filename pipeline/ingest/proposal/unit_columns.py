"""Columns that hold the unit of another column, row by row."""

from __future__ import annotations

import pandas as pd

from pipeline.ingest.header_words import unit_of
from pipeline.ingest.proposal.concepts import Header

_LEAST_SHARE = 0.8


def unit_columns(
    headers: tuple[str, ...], parsed: list[Header], sample: pd.DataFrame
) -> dict[int, tuple[str, str]]:
    """For the place of each column that has one: header of its unit column, and the unit most cells tell.

    A unit column is called so and its cells are units. It belongs to the column whose words it repeats, else
    to the nearest column on its left that is no unit column.
    """
    units: dict[int, str] = {}
    for place, header in enumerate(parsed):
        named = {c for way, _ in header.readings for c in way}
        if "unit" not in named or place >= sample.shape[1]:
            continue
        cells = sample.iloc[:, place].dropna().astype("str").str.strip()
        tally = cells[cells != ""].value_counts()
        known = {text: unit_of(text) for text in tally.index}
        good = sum(int(n) for text, n in tally.items() if known[text])
        if tally.sum() and good >= _LEAST_SHARE * tally.sum():
            units[place] = next((known[t] for t in tally.index if known[t]), "")
        elif not tally.sum():
            units[place] = ""
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
