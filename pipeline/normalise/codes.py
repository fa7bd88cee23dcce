"""Coded columns: spellings met in the wild to the codes of schemas/codes."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from functools import cache

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from pipeline import schema
from pipeline.normalise import text
from pipeline.normalise.issues import IssueLog

# uses and states of what needs no drop pipe
NOT_WATER_SUPPLY = ("monitoring", "test", "geothermal", "injection", "oil_gas", "unused", "not_a_well")
LEFT_OUT = (*NOT_WATER_SUPPLY, "plugged", "dry")


def read(
    coded: text.Coded, name: str, codes: dict[str, str], declared_missing: tuple[str, ...], keys: pd.DataFrame,
    log: IssueLog,
) -> pd.Series:  # fmt: skip
    """A raw column as codes of the list of the field ``name``; missing where the cell is empty.

    A spelling that neither the layout nor the list knows becomes ``unknown`` where the list has that code,
    else missing, and is reported once a file with the number of its rows.
    """
    field = schema.fields()[name]
    known = {**schema.spellings(field.codes), **{text.fold(k): v for k, v in codes.items()}}
    allowed = schema.codes(field.codes)
    coded = coded.without(text.lost(coded, declared_missing, general=False) & ~_listed(coded, known))
    found = [known.get(text.fold(t)) or known.get(text.fold(t).strip(" .,;:()*")) for t in coded.texts.to_pylist()]
    general = text.words("word")
    blank = [text.fold(t) in general for t in coded.texts.to_pylist()]
    fallback = "unknown" if "unknown" in allowed else None
    counts = coded.counts()
    worded = _words(name)
    for place, code in enumerate(found):
        if code is None and not blank[place]:
            told = coded.texts[place].as_py() if worded and counts[place] else ""
            read = by_words(told, worded, LEFT_OUT) if told else None
            if read in allowed:
                log.once("N403", name, keys, told, f"a spelling of codes/{field.codes}.csv; {counts[place]} rows", read)
                found[place] = read
                continue
            if counts[place]:
                log.once("N401", name, keys,
                         coded.texts[place].as_py(), f"a spelling of codes/{field.codes}.csv; {counts[place]} rows",
                         fallback)  # fmt: skip
            found[place] = fallback
    return labelled(coded, found)


@cache
def _words(name: str) -> tuple[tuple[re.Pattern[str], str], ...]:
    """Words that tell a code of the field ``name`` wherever they stand in a text, from told_codes.csv."""
    out = []
    for row in schema.rows("told_codes"):
        if row["field"] == name:
            words = "|".join(re.escape(word) for word in sorted(row["words"].split("|"), key=len, reverse=True))
            out.append((re.compile(rf"(?<![a-z])(?P<not>non?[ -]|not )?(?:{words})(?![a-z])"), row["code"]))
    return tuple(out)


def by_words(found: str, worded: Sequence[tuple[re.Pattern[str], str]], left_out: Collection[str]) -> str | None:
    """Code told by words inside a text; None where none is, or where the text tells a well and no well at once.

    Parameters
    ----------
    found : str
    worded : sequence of (pattern, code)
    left_out : collection of str
        Codes of what needs no drop pipe; beside a supply they leave the matter open.
    """
    folded = " ".join(re.sub(r"[_/,;]+", " ", text.fold(found)).split())
    seen = []
    for pattern, code in worded:
        for match in pattern.finditer(folded):
            if not match["not"]:
                seen.append((match.start(), -len(match[0]), code))
                break
    # the longer phrase holds the shorter: a test well is no well for a test of irrigation
    codes = [code for _, _, code in sorted(seen)]
    if "unused" in codes:
        return "unused"
    if not codes or len({code in left_out for code in codes}) > 1:
        return None
    return codes[0]


def _listed(coded: text.Coded, known: dict[str, str]) -> NDArray[np.bool_]:
    return np.array([text.fold(t) in known for t in coded.texts.to_pylist()], dtype=bool)


def labelled(coded: text.Coded, labels: Sequence[str | None]) -> pd.Series:
    """Text column from one label a distinct text."""
    return text.series(pa.array(labels, type=pa.string()), coded.codes)


def read_boolean(
    coded: text.Coded, name: str, codes: dict[str, str], declared_missing: tuple[str, ...], keys: pd.DataFrame,
    log: IssueLog,
) -> pd.Series:  # fmt: skip
    """A raw column as true, false or missing."""
    known = {**schema.spellings("yes_no"), **{text.fold(k): text.fold(v) for k, v in codes.items()}}
    coded = coded.without(text.lost(coded, declared_missing) & ~_listed(coded, known))
    counts, values = coded.counts(), []
    for place, found in enumerate(coded.texts.to_pylist()):
        code = known.get(text.fold(found))
        if code is None and counts[place]:
            log.once("N401", name, keys, found,
                     f"yes or no; {counts[place]} rows", None)  # fmt: skip
        values.append(None if code is None else code == "true")
    return pd.Series(coded.spread(np.array(values, dtype=object), None), dtype="boolean")


def by_prefix(coded: text.Coded, prefixes: dict[str, str]) -> pd.Series:
    """Label of the longest prefix that begins the cell, without regard to case; missing where none does."""
    ordered = sorted(((text.fold(k), v) for k, v in prefixes.items()), key=lambda pair: (-len(pair[0]), pair))
    found = [next((v for k, v in ordered if text.fold(t).startswith(k)), None) for t in coded.texts.to_pylist()]
    return labelled(coded, found)
