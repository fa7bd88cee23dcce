"""Words of a header and the units in it: abbreviations written out, glued words parted.

What words mean stands in header_words.csv, short forms in header_short.csv, units in unit_words.csv.
"""

from __future__ import annotations

import re
from functools import cache

from pipeline import schema

_SIGNS = str.maketrans({"³": "3", "^": None, "µ": "u", "μ": "u", "°": " "})
FILLER = {"of", "the", "in", "a", "below", "ground", "bgl", "bgs", "surface", "level", "btoc", "toc", "land"}
# a unit of one letter is no unit within a name
_SHORTEST_UNIT = 2
_MOST_PIECES = 3
# words of two letters that end a glued word: wellno, wellid, staticwl
_ENDINGS = {"no", "id", "wl"}


@cache
def units() -> dict[str, str]:
    """Unit words to the unit as pint reads it."""
    return {word: row["unit"] for row in schema.rows("unit_words") for word in row["words"].split("|")}


@cache
def phrases() -> dict[str, list[tuple[str, float]]]:
    """Phrases to the fields they stand for, with the weight of each."""
    out: dict[str, list[tuple[str, float]]] = {}
    for row in schema.rows("header_words"):
        for words in row["words"].split("|"):
            out.setdefault(words, []).append((row["field"], float(row["weight"])))
    return out


@cache
def short_forms() -> dict[str, str]:
    """Short forms of single words, written out."""
    return {row["short"]: row["long"] for row in schema.rows("header_short")}


@cache
def _vocabulary() -> frozenset[str]:
    words = {word for phrase in phrases() for word in phrase.split()} | set(short_forms())
    return frozenset(word for word in words if len(word) > 2 and word not in FILLER)


@cache
def parted(word: str) -> tuple[str, ...]:
    """A glued word as its known words (``totdepth``, ``csgdia``), itself where that is not possible in one way."""
    if word in _vocabulary() or word in units() or not word.isalpha():
        return (word,)
    found: list[tuple[str, ...]] = []

    def search(rest: str, pieces: tuple[str, ...]) -> None:
        if not rest:
            found.append(pieces)
        elif len(pieces) < _MOST_PIECES:
            for end in range(2, len(rest) + 1):
                if rest[:end] in _vocabulary() or (pieces and rest in _ENDINGS and end == len(rest)):
                    search(rest[end:], (*pieces, rest[:end]))

    search(word, ())
    fewest = min(map(len, found), default=0)
    best = [pieces for pieces in found if len(pieces) == fewest]
    return best[0] if len(best) == 1 else (word,)


def words_of(header: str) -> list[str]:
    """Words of a header in lower case; camelCase and underscores part them, a question's number is left off."""
    text = re.sub(r"^\s*(?:[Qq]?\d{1,3}[a-z]?[.):]|[Qq]\d{1,3}[\s_])\s*", "", header)
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text.replace("³", "3"))
    text = re.sub(r"#|№|\bn[o°]\.", " no ", text, flags=re.IGNORECASE)
    return re.findall(r"[a-z0-9µ]+", text.lower())


def spelled_out(words: list[str]) -> list[str]:
    """Words with glued ones parted and short forms written out."""
    pieces = [piece for word in words for piece in parted(word)]
    return [word for piece in pieces for word in short_forms().get(piece, piece).split()]


def unit_of(text: str) -> str:
    """Unit written in a text such as ``ft bgl``, "" when it is none; words of the datum are passed over."""
    parts = re.findall(r"[a-z0-9]+", text.lower().translate(_SIGNS))
    found = units().get(" ".join(parts))
    while not found and parts and parts[-1] in FILLER:
        parts = parts[:-1]
        found = units().get(" ".join(parts))
    return found or ""


def unit_within(words: list[str]) -> str:
    """Unit that one of the words names (``hours pumped``), "" when none or several do."""
    found = {units()[word] for word in words if len(word) >= _SHORTEST_UNIT and word in units() and word not in FILLER}
    return found.pop() if len(found) == 1 else ""


def is_units_row(cells: list[str]) -> bool:
    """Whether every filled cell of a row, and more than one, is a unit."""
    filled = [cell.strip(" ()[]") for cell in cells if cell.strip(" ()[]")]
    return len(filled) > 1 and all(unit_of(cell) for cell in filled)
