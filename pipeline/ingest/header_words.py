"""Words of a header and the units in it; unit words stand in unit_words.csv."""

from __future__ import annotations

import re
from functools import cache

from pipeline import schema

_SIGNS = str.maketrans({"³": "3", "^": None, "µ": "u", "μ": "u", "°": " "})
FILLER = {"of", "the", "in", "a", "below", "ground", "bgl", "bgs", "surface", "level", "btoc", "toc", "land"}


@cache
def units() -> dict[str, str]:
    """Unit words to the unit as pint reads it."""
    return {word: row["unit"] for row in schema.rows("unit_words") for word in row["words"].split("|")}


def words_of(header: str) -> list[str]:
    """Words of a header in lower case; camelCase and underscores part them, a question's number is left off."""
    text = re.sub(r"^\s*(?:[Qq]?\d{1,3}[a-z]?[.):]|[Qq]\d{1,3}[\s_])\s*", "", header)
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text.replace("³", "3"))
    text = re.sub(r"#|№|\bn[o°]\.", " no ", text, flags=re.IGNORECASE)
    return re.findall(r"[a-z0-9µ]+", text.lower())


def unit_of(text: str) -> str:
    """Unit written in a text such as ``ft bgl``, "" when it is none; words of the datum are passed over."""
    parts = re.findall(r"[a-z0-9]+", text.lower().translate(_SIGNS))
    found = units().get(" ".join(parts))
    while not found and parts and parts[-1] in FILLER:
        parts = parts[:-1]
        found = units().get(" ".join(parts))
    return found or ""


def is_units_row(cells: list[str]) -> bool:
    """Whether every filled cell of a row, and more than one, is a unit."""
    filled = [cell.strip(" ()[]") for cell in cells if cell.strip(" ()[]")]
    return len(filled) > 1 and all(unit_of(cell) for cell in filled)
