"""Ids written in several forms: with and without leading zeros, as decimals, as exponents, with and without dashes.

Looks across the records of a source, and across sources where it says so. Two forms of one id are one well only
where the place, the depth or the day of completion agrees too and nothing contradicts; else the pair is told.
"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.normalise import identity
from pipeline.normalise.issues import IssueLog
from pipeline.normalise.order import whole
from pipeline.normalise.signs import EXPONENT, LOWER, POINT, SEPARATOR, SLASH, UPPER, Signs

# values that two registries must give alike; levels and yields are measured again and again
MEASURED = {"latitude_deg", "longitude_deg", "depth_drilled_m", "depth_completed_m", "completed_date"}
SHARED = (("latitude_deg", "longitude_deg"), ("depth_completed_m",), ("depth_drilled_m",), ("completed_date",))
FEWEST_SIGNS = 4  # significant signs that a key must have to say anything across tables
RARE = 0.2  # share of ids that may be another kind of thing than the rest
_EXPONENT = r"^\d(?:\.\d+)?[eE]\+?\d{1,2}$"
_MONTH = "(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)"
_DATE = (
    rf"(?i)^(?:\d{{4}}-\d\d-\d\d(?: 00:00:00)?|\d{{1,2}}/\d{{1,2}}/\d{{2,4}}|\d{{1,2}}-{_MONTH}(?:-\d{{2,4}})?"
    rf"|{_MONTH}-\d{{1,4}})$"
)
_MONTH_INITIALS = np.frombuffer(b"JFMASONDjfmasond", np.uint8)
_SEPARATOR = r"[\s\-_/]+"


def keys(texts: pa.Array) -> pa.Array:
    """Each id without what spreadsheets and clerks change: zeros in front, ``.0`` behind, case, dashes, blanks."""
    out = pc.utf8_upper(pc.utf8_trim_whitespace(texts))
    if pc.any(pc.match_substring_regex(out, _EXPONENT)).as_py():
        out = pa.array([_expanded(t) for t in out.to_pylist()], type=out.type)
    out = pc.replace_substring_regex(out, r"\.0+$", "")
    out = pc.replace_substring_regex(out, _SEPARATOR, "")
    return pc.utf8_ltrim(out, characters="0")


def _expanded(found: str | None) -> str | None:
    """5.09077E+05 as 509077 where the figures say every digit; else as it is."""
    if found is None or not re.match(_EXPONENT, found):
        return found
    figures, power = re.split("[eE]", found)
    decimals = len(figures.partition(".")[2])
    return str(int(figures.replace(".", "")) * 10 ** (int(power) - decimals)) if int(power) >= decimals else found


def in_one_form(texts: pa.Array) -> bool:
    """Whether no two ids can be forms of one another: a quick look that spares most sources the rest."""
    texts = texts.drop_null()
    if not len(texts):
        return True
    signs = Signs.of(texts)
    lengths = signs.ends - signs.starts
    zeros = lengths.min() != lengths.max() and bool((signs.first == ord("0")).any())
    cased = signs.kinds & UPPER and signs.kinds & LOWER
    odd = signs.kinds & POINT and pc.any(pc.ends_with(texts, ".0")).as_py()
    odd = odd or (signs.kinds & EXPONENT and _raised(texts, signs).any())
    if zeros or cased or odd:
        return False
    return not signs.kinds & SEPARATOR or bool(signs.holding(SEPARATOR).all())


def _figure(signs: Signs) -> NDArray[np.bool_]:
    """Texts that begin with a figure."""
    return (signs.first >= ord("0")) & (signs.first <= ord("9"))


def _raised(texts: pa.Array, signs: Signs) -> NDArray[np.bool_]:
    """Texts that are exponents."""
    return _matched(texts, _figure(signs), _EXPONENT) if signs.kinds & EXPONENT else np.zeros(len(texts), dtype=bool)


def _matched(texts: pa.Array, some: NDArray[np.bool_], pattern: str) -> NDArray[np.bool_]:
    """Texts, of ``some``, that a pattern matches."""
    out = np.zeros(len(texts), dtype=bool)
    at = np.flatnonzero(some)
    if len(at):
        part = texts if len(at) == len(texts) else texts.take(pa.array(at))
        out[at] = pc.match_substring_regex(part, pattern).to_numpy(zero_copy_only=False)
    return out


def _parts(found: str) -> tuple[str, ...]:
    """What stands between dashes, each without zeros in front."""
    bare = re.sub(r"\.0+$", "", _expanded(found.strip().upper()) or "")
    return tuple(part.lstrip("0") for part in re.split(_SEPARATOR, bare))


def _alike(left: str, right: str) -> bool:
    """Whether two ids of one key are forms of one id: 1-23 and 12-3 are not, 12-3 and 123 may be."""
    a, b = _parts(left), _parts(right)
    return a == b or len(a) == 1 or len(b) == 1


def merge_forms(wells: pd.DataFrame, log: IssueLog) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Wells of one source whose ids are forms of one another as one, where their records agree.

    Parameters
    ----------
    wells : DataFrame
        One row an id.

    Returns
    -------
    kept, merged : DataFrame
        As of :func:`pipeline.normalise.identity.merge_ids`.
    """
    nothing = identity.none_merged(wells.iloc[:0])
    texts = whole(wells["well_id"])
    if len(wells) < 2 or in_one_form(texts):
        return wells, nothing
    key = pd.Series(keys(texts).to_numpy(zero_copy_only=False), index=wells.index)
    twice = key.duplicated(keep=False) & (key != "")
    if not twice.any():
        return wells, nothing
    names = identity.values_of(wells)
    rows = identity.ranked(wells[twice], names)
    group, _ = pd.factorize(key[rows.index], sort=True)
    size = int(group.max()) + 1
    same = agree(rows, group, names, size)
    written = rows["well_id"].groupby(group).agg(list)
    same &= np.array([all(_alike(ids[0], other) for other in ids[1:]) for ids in written], dtype=bool)
    open_ones = np.flatnonzero(~same[group])
    if len(open_ones):
        others = [", ".join(sorted(set(written[g]) - {i})[:3])
                  for g, i in zip(group[open_ones], rows["well_id"].iloc[open_ones], strict=True)]  # fmt: skip
        log.rows("N602", "well_id", rows, open_ones, rows["well_id"].iloc[open_ones].tolist(),
                 "one form of an id, or records that agree", [f"kept apart from {o}" for o in others])  # fmt: skip
    chosen = same[group]
    if not chosen.any():
        return wells, nothing
    why = "the id in another form; place, depth or day agrees"
    return identity.fold(wells, rows[chosen], group[chosen], names, why)


def agree(rows: pd.DataFrame, group: NDArray[np.int64], names: list[str], size: int) -> NDArray[np.bool_]:
    """Which groups contradict each other in nothing and share a place, a depth or a day of completion."""
    telling = [n for n in names if n not in ("location_accuracy_m", "area_code", "region_code")]
    conflict = np.zeros(size, dtype=bool)
    unlike = identity.differences(rows, group, telling, size)
    for marks in unlike.values():
        conflict |= marks
    members = np.bincount(group, minlength=size)
    shared = np.zeros(size, dtype=bool)
    for together in SHARED:
        if all(name in unlike for name in together):
            known = np.bincount(group, weights=rows[together[0]].notna().to_numpy(), minlength=size) == members
            shared |= known & ~np.logical_or.reduce([unlike[name] for name in together])
    return ~conflict & shared


def join(child: pd.DataFrame, ids: pd.Index, table: str, source_id: str, log: IssueLog) -> None:
    """Rows of a child table whose id is another form of one well's id take that id; changes ``child``."""
    place = ids.get_indexer(pd.Index(child["well_id"]))
    lost = np.flatnonzero(place < 0)
    if not len(lost) or not len(ids):
        return
    places, orphans = pd.factorize(child["well_id"].iloc[lost])
    own, other = whole(pd.Series(ids)), whole(pd.Series(orphans))
    if in_one_form(pa.concat_arrays([own.cast(pa.string()), other.cast(pa.string())])):
        return
    known = pd.Series(ids.to_numpy(), index=keys(own).to_numpy(zero_copy_only=False))
    known = known[~known.index.duplicated(keep=False)]
    key = keys(other)
    short = pc.less(pc.utf8_length(key), FEWEST_SIGNS).to_numpy(zero_copy_only=False)
    named = known.reindex(key.to_numpy(zero_copy_only=False)).to_numpy()
    fits = pd.notna(named) & ~short
    fits[fits] = [_alike(a, b) for a, b in zip(np.asarray(orphans)[fits], named[fits], strict=True)]
    take = fits[places]
    if not take.any():
        return
    found = pd.Series(named[places], dtype="str")
    column = child["well_id"].copy()
    column.iloc[lost[take]] = found[take].to_numpy()
    child["well_id"] = column
    such = orphans[places[take][0]]
    log.once("N603", "well_id", source_id, f"{int(take.sum())} rows of {table}, such as {such}",
             "the id as the wells have it", f"joined as {found[take].iloc[0]}")  # fmt: skip


def tell_spoiled(wells: pd.DataFrame, log: IssueLog) -> bool:
    """Ids that a spreadsheet turned into dates, and exponents that lost their digits; whether it changed ``wells``.

    Records that share an exponent without all its digits need not be one well: each gets its row number behind it.
    """
    texts = whole(wells["well_id"])
    if texts.null_count or not len(texts):
        return False
    signs = Signs.of(texts)
    at = np.zeros(0, dtype=np.int64)
    if signs.kinds & (SEPARATOR | SLASH):
        at = np.flatnonzero(_matched(texts, _figure(signs) | np.isin(signs.first, _MONTH_INITIALS), _DATE))
    if 0 < len(at) <= RARE * len(wells):
        log.rows("N604", "well_id", wells, at, wells["well_id"].iloc[at].tolist(), "an id such as the others", None)
    powers = np.flatnonzero(_raised(texts, signs))
    if not len(powers):
        return False
    short = [_expanded(t) or "" for t in wells["well_id"].iloc[powers]]
    # 5.09E+05 stands for a thousand ids; 5.09077E+05 for one
    powers = powers[np.array([s.endswith("00") or not s.isdigit() for s in short], dtype=bool)]
    twice = wells["well_id"].iloc[powers].duplicated(keep=False).to_numpy()
    powers = powers[twice]
    if len(powers):
        column = wells["well_id"].copy()
        fresh = [f"{i}#{r}" for i, r in zip(column.iloc[powers], wells["source_row"].iloc[powers], strict=True)]
        log.rows("N605", "well_id", wells, powers, column.iloc[powers].tolist(), "an id with all its digits", fresh)
        column.iloc[powers] = fresh
        wells["well_id"] = column
    return bool(len(powers))


def merge_across(left: pd.DataFrame, right: pd.DataFrame) -> pd.Series:
    """Id of the well of ``right`` that each well of ``left``, of another source, is; missing where it is none.

    The keys of the ids must be equal and stand once on either side, and the records must agree as in :func:`agree`.
    """
    out = pd.Series([None] * len(left), index=left.index, dtype="str")
    here, there = (keys(whole(frame["well_id"])).to_numpy(zero_copy_only=False) for frame in (left, right))
    lone = ~pd.Series(here).duplicated(keep=False).to_numpy()
    there_lone = ~pd.Series(there).duplicated(keep=False).to_numpy()
    place = pd.Index(there[there_lone]).get_indexer(pd.Index(here))
    at = np.flatnonzero((place >= 0) & lone)
    at = at[np.array([len(here[i]) >= FEWEST_SIGNS for i in at], dtype=bool)] if len(at) else at
    if not len(at):
        return out
    other = np.flatnonzero(there_lone)[place[at]]
    rows = pd.concat([left.iloc[at], right.iloc[other]], ignore_index=True)
    group = np.tile(np.arange(len(at)), 2)
    names = [n for n in identity.values_of(rows) if n in MEASURED and n in left and n in right]
    same = agree(rows, group, names, len(at))
    pairs = zip(left["well_id"].iloc[at], right["well_id"].iloc[other], strict=True)
    same &= np.array([_alike(a, b) for a, b in pairs], dtype=bool)
    out.iloc[at[same]] = right["well_id"].iloc[other[same]].to_numpy()
    return out


