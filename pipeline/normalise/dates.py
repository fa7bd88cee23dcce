"""Dates of every form found in well records, with how exactly each is known.

The order of slashed dates is decided once a column: by the dates that can only be read one way, then by
the layout, then by the market.
"""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.normalise import text
from pipeline.normalise.issues import IssueLog

OLDEST_YEAR = 1700
FEWEST_NEW_YEARS = 10
_NONE, DAY, MONTH, YEAR = range(4)
PRECISIONS = (None, "day", "month", "year")
_MONTHS = {name.lower(): i for i, name in enumerate(calendar.month_abbr) if name}

_ISO = re.compile(r"^(\d{4})[-/.](\d{1,2})(?:[-/.](\d{1,2}))?(?:[T ].*)?$")
_PACKED = re.compile(r"^(\d{4})(\d{2})(\d{2})(?:\.0+)?(?: .*)?$")
_SLASHED = re.compile(r"^(\d{1,2})[-/.](\d{1,2})[-/.](\d{4}|\d{2})(?:[T ,].*)?$")
_MONTH_YEAR = re.compile(r"^(\d{1,2})[-/](\d{4})$")
_NAMED = re.compile(
    r"^(?:(\d{1,2})(?:st|nd|rd|th)?[-\s./]*)?([a-z]{3,9})[-\s.,/]*(?:(\d{1,2})(?:st|nd|rd|th)?[\s,]+)?"
    r"(\d{4}|'?\d{2})$", re.IGNORECASE,
)  # fmt: skip
_BLANK_DAYS = np.array(["1900-01-01", "1970-01-01", "1899-12-31", "1899-12-30"], dtype="datetime64[D]")
_NUMBER = re.compile(r"^(-?\d+)(?:\.0*)?$")
_ABOUT = re.compile(
    r"^(?:circa|ca\.?|c\.|about|abt\.?|approx(?:imately|\.)?|around|est(?:imated|\.)?|~)\s*|\s*\?+$", re.I
)
_SEASON = re.compile(r"^(?:spring|summer|autumn|fall|winter|q[1-4]|early|mid|late)[\s,/-]+(?:of\s+)?(\d{4})$", re.I)
_CLOCK = re.compile(r"[T ](\d{2}):(\d{2})(?::\d{2}(?:\.\d+)?)?\s*(?:Z|UTC|GMT|[+-]00:?00)$")
# a day of office, not of the drill rig, by the words of its header
_OFFICE = re.compile(
    "receiv|receipt|recvd|entry|entered|submit|submission|updated|modified|created|filed|approved|issued|permit", re.I
)
OFTEN, FEWEST_DAYS = 0.2, 30  # share of records on one day that no rig can drill, and distinct days to judge by
_SERIAL = re.compile(r"^(\d{5})(?:\.\d*)?$")


@dataclass(frozen=True)
class _Parts:
    """A date before the order of day and month, and the century, are settled."""

    year: int
    first: int
    second: int
    slashed: bool = False
    short_year: bool = False


def _from_days(days: int) -> _Parts | None:
    try:
        found = date(1970, 1, 1) + timedelta(days=days)
    except OverflowError:
        return None
    return _Parts(found.year, found.month, found.day)


def _parts(found: str) -> _Parts | None:
    """The parts of one text; month 0 and day 0 mean not known; None when it is no date."""
    parts = _plain_parts(found)
    if (parts is None and not found[:1].isdigit()) or found[-1:] == "?":
        season = _SEASON.match(found)
        bare = season[1] if season else _ABOUT.sub("", found)
        parts = _plain_parts(bare) if bare != found else None
    return parts


def _plain_parts(found: str) -> _Parts | None:
    """The parts of one text without words of doubt."""
    match = _ISO.match(found) or _PACKED.match(found)
    if match:
        return _Parts(int(match[1]), int(match[2]), int(match[3] or 0))
    match = _SLASHED.match(found)
    if match:
        return _Parts(int(match[3]), int(match[1]), int(match[2]), True, len(match[3]) == 2)
    match = _MONTH_YEAR.match(found)
    if match:
        return _Parts(int(match[2]), int(match[1]), 0)
    match = _NAMED.match(found)
    if match and match[2].lower()[:3] in _MONTHS and not (match[1] and match[3]):
        year = match[4].lstrip("'")
        return _Parts(int(year), _MONTHS[match[2].lower()[:3]], int(match[1] or match[3] or 0), False, len(year) == 2)
    match = _NUMBER.match(found)
    if match:
        number = int(match[1])
        if OLDEST_YEAR <= number <= 2100:
            return _Parts(number, 0, 0)
        if 1e10 <= abs(number) < 1e14:
            return _from_days(number // 86_400_000)
        if 1e8 <= number < 4e9:
            return _from_days(number // 86_400)
    match = _SERIAL.match(found)
    if match and 10_000 <= int(match[1]) <= 80_000:
        return _from_days(int(match[1]) - 25_569)
    return None


def _order(parts: list[_Parts | None], weights: NDArray[np.int64], declared: str, market: str) -> tuple[str, str]:
    """Order of slashed dates and why."""
    slashed = [(p, int(w)) for p, w in zip(parts, weights, strict=True) if p and p.slashed]
    day_first = sum(w for p, w in slashed if p.first > 12 >= p.second)
    month_first = sum(w for p, w in slashed if p.second > 12 >= p.first)
    if day_first != month_first:
        why = f"{day_first} dates only day first, {month_first} only month first"
        return ("dmy" if day_first > month_first else "mdy"), why
    if declared in ("dmy", "mdy"):
        return declared, "as the layout says"
    return ("mdy" if market == "us" else "dmy"), "the custom of the market; no date tells"


def _settle(parts: _Parts, order: str, newest_year: int) -> tuple[date | None, int, bool]:
    """Day, precision, and whether the century was chosen."""
    year, month, day = parts.year, parts.first, parts.second
    if parts.short_year:
        year += 2000 if 2000 + year <= newest_year else 1900
    if parts.slashed:
        if order == "dmy":
            month, day = day, month
        if month > 12 >= day:
            month, day = day, month
    if not OLDEST_YEAR <= year <= 9999 or month > 12:
        return None, _NONE, False
    try:
        if month == 0:
            return date(year, 7, 1), YEAR, parts.short_year
        if day == 0:
            return date(year, month, 15), MONTH, parts.short_year
        return date(year, month, day), DAY, parts.short_year
    except ValueError:
        return None, _NONE, False


def newest(as_of: str, retrieved: str) -> date | None:
    """Latest day a record can speak of: the as-of date, else the end of the month the source was fetched."""
    for given in (as_of, retrieved):
        match = re.match(r"^(\d{4})(?:-(\d{2}))?(?:-(\d{2}))?", given or "")
        if match:
            year, month = int(match[1]), int(match[2] or 12)
            last = calendar.monthrange(year, month)[1]
            return date(year, month, min(int(match[3] or last), last))
    return None


def _eve(texts: list[str], counts: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Texts in universal time that stand for midnight east of Greenwich: one hour past noon for nearly all of them.

    Midnight of a place is 1 to 11 in universal time west of Greenwich, which is the same day, and 13 to 23 of the
    day before east of it. Summer time makes it two hours side by side.
    """
    hours = np.full(len(texts), -1)
    for place, found in enumerate(texts):
        match = _CLOCK.search(found)
        number = None if match else _NUMBER.match(found)
        if match and match[2] == "00":
            hours[place] = int(match[1])
        elif number and 1e10 <= abs(int(number[1])) < 1e14 and int(number[1]) % 3_600_000 == 0:
            hours[place] = int(number[1]) // 3_600_000 % 24
    timed = hours >= 0
    if not timed.any():
        return timed
    rows = np.bincount(hours[timed], weights=counts[timed], minlength=25)
    best = max(range(13, 24), key=lambda h: rows[h] + rows[h + 1] * (h < 23))
    pair = timed & ((hours == best) | (hours == best + 1) & (best < 23))
    known = counts[timed].sum()
    return pair if known >= 3 and counts[pair].sum() >= 0.95 * known else np.zeros(len(texts), dtype=bool)


def is_office_day(header: str) -> bool:
    """Whether a header speaks of a day of receipt, entry or permit rather than of completion."""
    return bool(_OFFICE.search(header))


def read(
    coded: text.Coded, name: str, declared_order: str, market: str, latest: date | None,
    declared_missing: tuple[str, ...], keys: pd.DataFrame, log: IssueLog,
) -> tuple[NDArray[np.datetime64], NDArray[np.int8]]:  # fmt: skip
    """A raw column as days and their precision (day, month, year as 1, 2, 3; 0 where missing).

    Parameters
    ----------
    declared_order : str
        Order of slashed dates as the layout has it; ymd says nothing of them.
    latest : date or None
        Later dates are faults.
    """
    zeros = ("0", "00000000", "0.0", "0000-00-00")
    coded = coded.without(text.lost(coded, (*declared_missing, *zeros)))
    texts, counts = coded.texts.to_pylist(), coded.counts()
    parts = [_parts(t) for t in texts]
    order, why = _order(parts, counts, declared_order, market)
    if any(p and p.slashed for p in parts):
        log.once("N305", name, keys, order, f"order of slashed dates; layout says {declared_order}", why)
    late = _eve(texts, counts)
    newest_year = latest.year if latest else max((p.year for p in parts if p and not p.short_year), default=1999)
    days = np.full(len(texts), np.datetime64("NaT"), dtype="datetime64[D]")
    precision, century = np.zeros(len(texts), dtype=np.int8), np.zeros(len(texts), dtype=bool)
    for place, found in enumerate(parts):
        if found:
            day, precision[place], century[place] = _settle(found, order, newest_year)
            if day:
                days[place] = np.datetime64(day)
    if late.any():
        days[late] += np.timedelta64(1, "D")
        log.once("N308", name, keys, f"{int(counts[late].sum())} rows at one hour past noon in universal time",
                 "midnight where the well is", "the day after")  # fmt: skip
    most = int(np.argmax(counts)) if len(counts) else 0
    if len(counts) >= FEWEST_DAYS and counts[most] > OFTEN * counts.sum() and precision[most] == DAY:
        often = f"a day of its own; {counts[most]} of {counts.sum()} rows"
        log.once("N309", name, keys, texts[most], often, str(days[most]))
    unread = np.isnat(days)
    future = ~unread & (days > np.datetime64(latest)) if latest else np.zeros(len(texts), dtype=bool)
    spike = ~unread & np.isin(days, _BLANK_DAYS) & (precision == DAY)
    for code, marks, expected in (("N301", unread, "a date"), ("N302", future, f"not after {latest}")):
        at = np.flatnonzero(coded.spread(marks, False))
        log.rows(code, name, keys, at, coded.text(at), expected, None)
    told = (("N303", century, "four digits of the year"), ("N304", spike, "a day; this one stands for not known"))
    for code, marks, expected in told:
        for place in np.flatnonzero(marks & ~future).tolist():
            used = None if code == "N304" else str(days[place])
            log.once(code, name, keys, texts[place], f"{expected}; {counts[place]} rows", used)
    days[future | spike] = np.datetime64("NaT")
    precision[np.isnat(days)] = _NONE
    days, precision = coded.spread(days, np.datetime64("NaT", "D")), coded.spread(precision, np.int8(0))
    return _new_years(days, precision, name, keys, log)


@cache
def _most_new_years() -> float:
    """Share of days on a first of January beyond which they are years, from row N306 of rules.csv."""
    return float(next(row["limit"] for row in schema.rows("rules") if row["code"] == "N306"))


def _new_years(
    days: NDArray[np.datetime64], precision: NDArray[np.int8], name: str, keys: pd.DataFrame, log: IssueLog
) -> tuple[NDArray[np.datetime64], NDArray[np.int8]]:
    """Where far too many days are a first of January, those are years, not days."""
    exact = precision == DAY
    first = exact & (days == days.astype("datetime64[Y]").astype("datetime64[D]"))
    if first.sum() >= FEWEST_NEW_YEARS and first.sum() > _most_new_years() * exact.sum():
        log.once("N306", name, keys, f"{int(first.sum())} of {int(exact.sum())} days are a first of January",
                 "about one in 365", "known to the year only")  # fmt: skip
        middle = days.astype("datetime64[Y]").astype("datetime64[M]") + np.timedelta64(6, "M")
        days = np.where(first, middle.astype("datetime64[D]"), days)
        precision = np.where(first, np.int8(YEAR), precision)
    return days, precision
