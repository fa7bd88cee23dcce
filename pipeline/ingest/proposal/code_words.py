"""Texts of code columns beyond the declared spellings: the code whose words a text holds.

Words stand in code_words.csv. A text that holds words of two codes, or a denial that is no word of the list, is left.
"""

from __future__ import annotations

import re
from functools import cache, lru_cache

from pipeline import schema
from pipeline.ingest.proposal.concepts import folded

# a column of more kinds of text is prose, in which a word may be a name
MOST_KINDS = 60
_MOST_LETTERS = 60
_DENIED = re.compile(
    r"\b(?:not|non|no|never|without|former|formerly|ex|previously|sin|sans|sem|nicht|kein|ohne|niet)\b"
)


@cache
def _words(name: str) -> tuple[tuple[str, str], ...]:
    """Words of a code list with their codes, the longest first."""
    found = [(w, row["code"]) for row in schema.rows("code_words") if row["list"] == name
             for w in row["words"].split("|")]  # fmt: skip
    return tuple(sorted(found, key=lambda pair: (-len(pair[0]), pair)))


@lru_cache(maxsize=20000)
def code_of(text: str, name: str) -> str:
    """Code that the words of a text stand for, "" when none or several do."""
    if len(text) > _MOST_LETTERS:
        return ""
    rest = " ".join(re.findall(r"[a-z0-9]+", folded(text)))
    codes = set()
    for word, code in _words(name):
        rest, times = re.subn(rf"\b{re.escape(word)}\b", " ", rest)
        if times:
            codes.add(code)
    return codes.pop() if len(codes) == 1 and not _DENIED.search(rest) else ""


def beyond_spellings(texts: list[str], distinct: int, name: str) -> dict[str, str]:
    """Texts of a column and their codes, without those that the list spells already."""
    if distinct > MOST_KINDS:
        return {}
    spelled = schema.spellings(name)
    unknown = [t for t in dict.fromkeys(texts) if " ".join(t.lower().split()) not in spelled]
    return {t: code for t in sorted(unknown) if (code := code_of(t, name)) in schema.codes(name) and code}
