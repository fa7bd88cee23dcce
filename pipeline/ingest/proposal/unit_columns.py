"""Columns that hold the unit of another column, row by row."""

from __future__ import annotations

import re
from functools import cache

from pipeline import schema
from pipeline.ingest.header_words import unit_of
from pipeline.ingest.proposal.cells import Cells
from pipeline.ingest.proposal.concepts import Header, folded
from pipeline.ingest.proposal.meaning import measures

_LEAST_SHARE = 0.6
_MOST_UNITS, _MOST_NAMED = 12, 80
# what a column of distance takes off the likeness of words
_FAR = 0.002
_OF_UNITS = frozenset({"unit", "units", "uom", "code", "measure", "value", "text", "of", "in", "the"})


def unit_columns(
    headers: tuple[str, ...], parsed: list[Header], seen: list[Cells]
) -> dict[int, tuple[str, str]]:
    """For the place of each column that has one: header of its unit column, and the unit most cells tell.

    The cells of a unit column are units; most suffice where it is called so. It belongs to the column whose words it
    repeats, else to the nearest column on its left that is no unit column.
    """
    units: dict[int, str] = {}
    for place, header in enumerate(parsed):
        called = "unit" in {c for way, _ in header.readings for c in way}
        cells = seen[place]
        texts = list(dict.fromkeys(cells.texts))
        if cells.distinct > (_MOST_NAMED if called else _MOST_UNITS) or cells.numeric > 0.2 or not texts:
            continue
        known = [unit_of(text) for text in texts if len(text) > 1 or text.lower() == "m" or called]
        good = sum(bool(unit) or _apart(text) for unit, text in zip(known, texts, strict=False)) / len(texts)
        if any(known) and good >= (_LEAST_SHARE if called else 1.0):
            units[place] = next(unit for unit in known if unit)
    out: dict[int, tuple[str, str]] = {}
    taken: set[int] = set()
    for _, place, owner in sorted(_pairs(units, parsed, seen), key=lambda pair: (-pair[0], pair[1:])):
        if owner not in out and place not in taken:
            out[owner] = headers[place], units[place]
            taken.add(place)
    for place in sorted(set(units) - taken):
        beside = place - 1
        if beside >= 0 and beside not in units and beside not in out and not _named(parsed[place]):
            out[beside] = headers[place], units[place]
    _shared(headers, units, out, parsed, seen)
    return out


# words of a unit column that serve every column of their kind, and what those columns say
_KINDS = ({"level", "depth", "water", "length", "measured"}, {"flow", "yield", "rate", "discharge", "capacity"},
          {"diameter"})  # fmt: skip
_LEVELS = {"level", "depth", "static", "pumping", "drawdown", "length", "top", "bottom"}
_ELSE = {"temperature", "elevation", "diameter", "date", "chemistry", "pressure", "weight", "duration", "time",
         "latitude", "longitude", "thickness", "unit", "id", "code", "year"}  # fmt: skip


def _shared(headers: tuple[str, ...], units: dict[int, str], out: dict[int, tuple[str, str]], parsed: list[Header],
            seen: list[Cells]) -> None:  # fmt: skip
    """One unit column for several columns of its kind, wherever they stand; changes ``out``."""
    held = [{c for way, _ in header.readings for c in way} for header in parsed]
    of_kind: dict[int, list[int]] = {}
    for place in units:
        for number, kind in enumerate(_KINDS):
            if held[place] & kind and measures(units[place], ("m", "m**3/s", "m")[number]):
                of_kind.setdefault(number, []).append(place)
    for number, places in of_kind.items():
        # two unit columns of a kind each have their own
        if len(places) != 1:
            continue
        kind = _LEVELS if number == 0 else _KINDS[number]
        apart = _ELSE - kind
        for other, concepts in enumerate(held):
            free = other not in out and other not in units and not parsed[other].unit and seen[other].numeric >= 0.5
            if free and concepts & kind and not concepts & apart and seen[other].cell_unit_share < 0.5:
                out[other] = headers[places[0]], units[places[0]]


def _named(header: Header) -> set[str]:
    """Words that say whose unit it is."""
    return {w for w in header.words if not w.isdigit()} - _OF_UNITS


@cache
def _declared_apart() -> frozenset[str]:
    return frozenset(w for row in schema.rows("unit_words_apart") for w in row["words"].split("|"))


def _apart(text: str) -> bool:
    """Whether a text is a unit that measures nothing the job asks for."""
    return " ".join(re.findall(r"[a-z0-9]+", folded(text).replace("%", "percent"))) in _declared_apart()


def _pairs(units: dict[int, str], parsed: list[Header], seen: list[Cells]) -> list[tuple[float, int, int]]:
    """How alike the words of each unit column and each column of numbers are; the nearer of two, left first."""
    out = []
    for place in units:
        own = _named(parsed[place])
        for other, header in enumerate(parsed):
            theirs = _named(header)
            if other not in units and own & theirs and (seen[other].numeric >= 0.5 or not seen[other].filled):
                far = abs(place - other - 0.5)
                out.append((len(own & theirs) / len(own | theirs) - _FAR * min(far, 40.0), place, other))
    return out
