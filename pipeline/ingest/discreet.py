"""What of a raw text may be shown: words of the trade and numbers; all else may be a name, an address or a phone.

A cell that holds no number where one belongs is told of, so that it can be found and mended, but a note such as
``ask <name>, <phone>`` must not travel in an output. Words that the declarations know stay; others become ``…``.
"""

from __future__ import annotations

import re
from functools import cache, lru_cache

from pipeline import schema

GONE = "…"
# words of two letters are units and abbreviations; single names are longer
_SHORT = 2
_WORD = re.compile(r"[^\W\d_]+")
# phones, parcels and the like: seven digits or more, parted by blanks, dashes or dots, and no date
_NUMBERED = re.compile(r"\+?\(?\d[\d\s().\-/]*\d")
_YEAR = r"(?:1[6-9]|20)\d\d"
_DAY = re.compile(rf"(?:{_YEAR}[-/.]\d{{1,2}}[-/.]\d{{1,2}}|\d{{1,2}}[-/.]\d{{1,2}}[-/.](?:\d\d|{_YEAR}))(?:[ T].*)?")
_PLAIN = re.compile(r"\d*\.?\d+")
_DIGITS, _LONGEST_NUMBER = 7, 9
_LISTS = {"header_concepts": ("concept", "words"), "header_short": ("short", "long"), "unit_words": ("words",),
          "missing": ("text",)}  # fmt: skip
_COMMON = (
    "about above after and approx approximately apr april around artesian at aug august before below between "
    "boreholes by chemistry codebook columns construction data dec december demo dictionary did drilling dry "
    "est estimated explanation feb february fields flowing foot for form from greater hole in inch inches "
    "inventory is jan january jul july jun june legend less level levels list log logs many mar march max may "
    "metadata min monthly more nan no none not notes nov november oct october of on or over page per point "
    "points pump read readme records register registry sample samples see selected sep sept september sheet "
    "summary survey tab table test tests than that the then to top total totals under unknown up used "
    "variables weekly well wells with yearly yes"
)


@cache
def _vocabulary() -> frozenset[str]:
    texts = [_COMMON]
    for name, columns in _LISTS.items():
        texts += [row[column] for row in schema.rows(name) for column in columns]
    for path in sorted((schema.folder() / "codes").glob("*.csv")):
        texts += [f"{row['label']} {row.get('as_written') or ''}" for row in schema.read_rows(path)]
    return frozenset(word.lower() for text in texts for word in _WORD.findall(text))


@lru_cache(maxsize=65536)
def shown(text: str) -> str:
    """A raw text with everything left out that is neither a word of the trade nor a plain number."""
    known = _vocabulary()
    pieces = [GONE if "@" in piece or "://" in piece else piece for piece in text.split()]
    out = _NUMBERED.sub(_number, " ".join(pieces))
    out = _WORD.sub(lambda m: m[0] if len(m[0]) <= _SHORT or m[0].lower() in known else GONE, out)
    return re.sub(rf"(?:{GONE}(?:['’]s)?[\s.,;&-]*){{2,}}", f"{GONE} ", out).strip()


def _number(match: re.Match[str]) -> str:
    text = match[0]
    digits = sum(c.isdigit() for c in text)
    whole = _PLAIN.fullmatch(text) and len(text.split(".")[0]) <= _LONGEST_NUMBER
    return text if digits < _DIGITS or whole or _DAY.fullmatch(text) else GONE


def title(text: str, number: int) -> str:
    """Title of a sheet where it holds words of the trade only, else ``sheet 2``."""
    return text if shown(text) == text else f"sheet {number}"
