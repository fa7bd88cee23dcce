"""In which place a well lies, by what its record says; nothing is guessed from a name that other countries use too."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pandas as pd

from pipeline import schema

# words that name the country or the kind of place and not which
_COUNTRY = re.compile(r"\b(united states of america|united states|u s a|usa|u s|us)\b")
_KIND = re.compile(r"\b(state of|commonwealth of|the)\b")
# the fifty states and the sea between, by latitude and longitude; from memory
_BOX = (18.0, 72.0, -180.0, -65.0)


def fold(text: str) -> str:
    """Lower case, signs to blanks, single blanks."""
    return " ".join(re.sub(r"[^0-9a-z]+", " ", str(text).lower()).split())


@cache
def _spellings() -> tuple[dict[str, str], dict[str, str]]:
    """Full names, and short forms and numbers that mean a state only where the country is sure."""
    names: dict[str, str] = {}
    short: dict[str, str] = {}
    for row in schema.rows("area_spellings"):
        area = row["area_code"]
        names[fold(row["name"])] = area
        for text in (area.partition("-")[2], row["fips"], *filter(None, row["also"].split("|"))):
            short[fold(text)] = area
        short[str(int(row["fips"]))] = area
    return names, short


def area_of(text: str, is_us: bool) -> str:
    """ISO 3166-2 code of a state from the text of a record; "" where it names none, or perhaps another country's.

    ``is_us``: the rest of the record says that it lies in the United States.
    """
    folded = fold(text)
    bare = " ".join(_KIND.sub(" ", _COUNTRY.sub(" ", folded)).split())
    told = is_us or bare != " ".join(_KIND.sub(" ", folded).split())
    names, short = _spellings()
    if re.fullmatch(r"\d{1,2} 0", bare):  # a number that a spreadsheet wrote with a decimal
        bare = bare[:-2]
    if re.fullmatch(r"\d{5}", bare):  # state and county
        bare = bare[:2]
    bare = bare.removesuffix(" state") if bare.removesuffix(" state") in names else bare
    if bare in names:
        return names[bare] if told else ""
    if not told:
        return ""
    if bare in short:
        return short[bare]
    first, _, rest = bare.partition(" ")
    last = bare.rpartition(" ")
    for one, other in ((first, rest), (last[2], last[0])):
        if one in short and names.get(other) == short[one]:  # code and name beside each other
            return short[one]
    return ""


def areas(wells: pd.DataFrame, own: frozenset[str]) -> pd.Series:
    """Area of each well: ISO 3166-2 code of a state, or a name that the user's rules use; "" where neither.

    Parameters
    ----------
    wells : DataFrame
        ``area_code``; ``market_code``, ``latitude_deg`` and ``longitude_deg`` where there are.
    own : frozenset of str
        Areas of the user's rules.

    Notes
    -----
    Short forms and numbers count only where goods of the United States are sold or the text names the country,
    and nothing counts where the coordinates lie elsewhere: Maryland is a county in Liberia too.
    """
    if "area_code" not in wells or not len(wells):
        return pd.Series("", index=wells.index, dtype=object)
    codes, texts = pd.factorize(wells["area_code"].astype(object))
    market = wells["market_code"].astype(object) if "market_code" in wells else pd.Series("", index=wells.index)
    is_us = (market == "us").to_numpy(bool)
    lat, lon = (
        pd.to_numeric(wells[c], errors="coerce").to_numpy(float) if c in wells else np.full(len(wells), np.nan)
        for c in ("latitude_deg", "longitude_deg")
    )
    known = ~np.isnan(lat) & ~np.isnan(lon)
    within = (lat >= _BOX[0]) & (lat <= _BOX[1]) & (lon >= _BOX[2]) & (lon <= _BOX[3])
    mine = {fold(area): area for area in own}
    table = np.array(
        [["", ""]] + [[mine.get(fold(t), "") or area_of(t, is_us=us) for us in (False, True)] for t in texts],
        dtype=object,
    )
    found = table[codes + 1, is_us.astype(int)]
    is_state = np.array([str(area).startswith("US-") for area in table.ravel()], bool).reshape(table.shape)
    away = is_state[codes + 1, is_us.astype(int)] & known & ~within
    return pd.Series(np.where(away, "", found), index=wells.index, dtype=object)
