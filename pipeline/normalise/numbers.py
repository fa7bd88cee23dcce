"""Numbers as people write them: 6 5/8, 60', 5'6", >500, ~60, 100-120, 1,200, 12 gpm."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from math import isfinite, nan

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

EXACT, ABOUT, ABOVE, BELOW, RANGE, UNREADABLE = range(6)
QUALIFIERS = ("", "about", "more than", "less than", "range, middle taken", "not read")

_PLAIN = r"^-?\d+(\.\d+)?$"
_NUMBER = r"(?:\d[\d.,]*(?:[eE][-+]?\d{1,3})?|[.,]\d+)"
_MIXED = re.compile(r"^([-+]?)(\d{1,6})[\s-]+(\d{1,4})\s*/\s*(\d{1,4})(?!\d)\s*(.*)$")
_FRACTION = re.compile(r"^([-+]?)()(\d{1,4})\s*/\s*(\d{1,4})(?![\d/])\s*(.*)$")
_FEET = re.compile(
    rf"^([-+]?)({_NUMBER})\s*(?:'|ft\b\.?|feet\b|foot\b)\s*-?\s*({_NUMBER}(?:\s+\d+/\d+)?|\d+/\d+)\s*"
    r"(?:\"|''|in\b\.?|inch(?:es)?\b)?\s*(.*)$", re.IGNORECASE,
)  # fmt: skip
_BETWEEN = re.compile(
    rf"^({_NUMBER})\s*([a-z'\"]{{0,6}}\.?)\s*(?:-|\bto\b|\band\b)\s*({_NUMBER})(?![\d/])\s*(.*)$", re.IGNORECASE
)
_SINGLE = re.compile(rf"^([-+]?)\s*({_NUMBER})\s*(.*)$")
_BEFORE = re.compile(
    r"^(>=|<=|>|<|~|=|±|\+/-|\+-|approximately|approx\.?|about|circa|ca\.?|c\.|est\.?|estimated"
    r"|more than|greater than|over|at least|less than|under|up to|min\.?|max\.?)\s*", re.IGNORECASE,
)  # fmt: skip
_AFTER = re.compile(
    r"\s*(\+/-|\+|±|\?|~|\(?\b(?:est|estimated|approx|approximate|about|plus|or more)\b\.?\)?)\s*$", re.IGNORECASE
)
_PLACE = re.compile(
    r"[\s,]*\b(?:bgl|bgs|b\.?g\.?l\.?|btoc|below (?:ground|surface|casing|top).*|deep|depth|down|total)\b\.?$", re.I
)
_MEANING = {
    ">": ABOVE, ">=": ABOVE, "more than": ABOVE, "greater than": ABOVE, "over": ABOVE, "at least": ABOVE,
    "min": ABOVE, "+": ABOVE, "plus": ABOVE, "or more": ABOVE,
    "<": BELOW, "<=": BELOW, "less than": BELOW, "under": BELOW, "up to": BELOW, "max": BELOW, "=": EXACT,
}  # fmt: skip
_SIGNS = str.maketrans({
    "’": "'", "‘": "'", "′": "'", "´": "'", "`": "'", "”": '"', "“": '"', "″": '"', "–": "-", "—": "-",
    "−": "-", "‐": "-", "‑": "-", "≥": ">=", "≤": "<=", "≈": "~", "\u00a0": " ", "\u202f": " ",
    "\u2009": " ", "⁄": "/",
})  # fmt: skip
_POWER = re.compile(r"^[-+]?(?:\d+\.?\d*|\.\d+)[eE][-+]?\d{1,4}$")
_GROUPED = re.compile(r"^\d{1,3}(?:,\d{2,3})*,\d{3}(?:\.\d*)?$")
_GROUPED_DOTS = re.compile(r"^\d{1,3}(?:\.\d{3})+(?:,\d*)?$")
_THIN = re.compile(r"(?<=\d)[\u00a0\u202f\u2009](?=\d{3}(?!\d))")


@dataclass(frozen=True)
class Read:
    """One text read: value, how sure it is meant (a code of this module), and the unit written beside it."""

    value: float
    qualifier: int
    unit: str = ""


_NOT_READ = Read(nan, UNREADABLE)


def digits(text: str, decimal_comma: bool = False) -> float:
    """A run of digits, dots and commas as a number; NaN when it is none.

    ``1,200`` is twelve hundred, or one and a fifth in a file that writes decimal commas; ``12,5`` and
    ``0,125`` can only be decimals.
    """
    body, sign, power = text.lower().partition("e")
    one_comma = body.count(",") == 1 and "." not in body
    dots_group = "," in body or body.count(".") > 1 or decimal_comma
    if _GROUPED.match(body) and not body.startswith("0,") and not (decimal_comma and one_comma):
        body = body.replace(",", "")
    elif _GROUPED_DOTS.match(body) and dots_group and not body.startswith("0."):
        body = body.replace(".", "").replace(",", ".")
    elif one_comma:
        body = body.replace(",", ".")
    try:
        value = float(f"{body}{sign}{power}")
    except ValueError:
        return nan
    return value if isfinite(value) else nan


def _fractions(text: str) -> str:
    """Vulgar fraction signs spelled out: 6⅝ becomes 6 5/8."""
    if text.isascii():
        return text
    out = []
    for sign in text:
        plain = unicodedata.normalize("NFKC", sign) if unicodedata.category(sign) == "No" else sign
        out.append(f" {plain}" if "⁄" in plain else plain if sign in "²³" or plain == sign else sign)
    return "".join(out).translate(_SIGNS).strip()


def _signed(sign: str, value: float) -> float:
    return -value if sign == "-" else value


def _unit(text: str) -> str:
    """Unit left behind the number, without words that say from where a depth is counted."""
    bare = _PLACE.sub("", text.strip()).strip()
    return bare.rstrip(".,;") if bare not in ('"', "'", "''") else bare


def parse(text: str, decimal_comma: bool = False) -> Read:
    """One number as written by a person.

    Returns
    -------
    Read
        NaN with UNREADABLE when the text holds no single number; never an exception.
    """
    rest = _fractions(_THIN.sub("", text).translate(_SIGNS)).strip()
    qualifier = EXACT
    for _ in range(2):
        match = _BEFORE.match(rest)
        if match and match.end() < len(rest):
            qualifier = _MEANING.get(match[1].lower().rstrip("."), ABOUT)
            rest = rest[match.end():].strip()
        match = _AFTER.search(rest)
        if match and match.start() > 0:
            qualifier = _MEANING.get(match[1].lower().strip("()."), ABOUT)
            rest = rest[: match.start()].strip()
    read = _shape(rest, decimal_comma)
    if read.qualifier == EXACT and qualifier != EXACT:
        return Read(read.value, qualifier, read.unit)
    return read


def _shape(text: str, decimal_comma: bool) -> Read:
    if _POWER.match(text):
        value = float(text)
        return Read(value, EXACT) if isfinite(value) else _NOT_READ
    match = _FEET.match(text)
    if match:
        inches = match[3].replace(" ", "-")
        small = parse(inches).value if "/" in inches else digits(inches, decimal_comma)
        value = digits(match[2], decimal_comma) + small / 12.0
        whole = isfinite(value) and 0 <= small < 12 and not _unit(match[4])
        if whole:
            return Read(_signed(match[1], value), EXACT, "ft")
    match = _MIXED.match(text) or _FRACTION.match(text)
    if match:
        below = int(match[4])
        if below == 0 or (match[2] and int(match[3]) >= below):
            return _NOT_READ
        value = int(match[2] or 0) + int(match[3]) / below
        return Read(_signed(match[1], value), EXACT, _unit(match[5]))
    match = _BETWEEN.match(text)
    if match:
        low, high = digits(match[1], decimal_comma), digits(match[3], decimal_comma)
        left, right = _unit(match[2]), _unit(match[4])
        if not low <= high or (left and right and left != right):
            return _NOT_READ
        return Read((low + high) / 2.0, RANGE, right or left)
    match = _SINGLE.match(text)
    if match:
        value = digits(match[2].rstrip(",.") or "x", decimal_comma)
        unit = _unit(match[3])
        strange = not isfinite(value) or re.search(r"\d", re.sub(r"m(\^|\*\*)?[23]", "m", unit)) is not None
        return _NOT_READ if strange else Read(_signed(match[1], value), EXACT, unit)
    return _NOT_READ


@dataclass(frozen=True)
class Numbers:
    """Distinct texts read as numbers: values, qualifiers and units, one of each a text."""

    values: NDArray[np.float64]
    qualifiers: NDArray[np.int8]
    units: list[str]  # distinct units written in cells; units[0] is ""
    unit_codes: NDArray[np.int32]


def parse_all(texts: pa.StringArray, decimal_comma: bool = False) -> Numbers:
    """Read every distinct text; plain numbers at once, the others one by one."""
    size = len(texts)
    values, qualifiers = np.full(size, nan), np.zeros(size, dtype=np.int8)
    unit_codes, units = np.zeros(size, dtype=np.int32), {"": 0}
    if not size:
        return Numbers(values, qualifiers, [""], unit_codes)
    plain = pc.match_substring_regex(texts, _PLAIN).to_numpy(zero_copy_only=False)
    if decimal_comma:
        plain &= ~pc.match_substring(texts, ".").to_numpy(zero_copy_only=False)
    values[plain] = texts.filter(pa.array(plain)).cast(pa.float64()).to_numpy(zero_copy_only=False)
    values[~np.isfinite(values)] = nan
    for place in np.flatnonzero(~plain):
        read = parse(texts[int(place)].as_py(), decimal_comma)
        values[place], qualifiers[place] = read.value, read.qualifier
        unit_codes[place] = units.setdefault(read.unit, len(units))
    return Numbers(values, qualifiers, list(units), unit_codes)


def comma_evidence(texts: pa.StringArray) -> tuple[int, int]:
    """How many distinct texts can only hold a decimal comma, and how many only a decimal dot."""
    start, end = r"^[-+<>~ ]*", r"( *[^\d,. ].*)?$"
    comma = pc.match_substring_regex(texts, rf"{start}(\d+,(\d{{1,2}}|\d{{4,}})|0,\d+|\d{{1,3}}(\.\d{{3}})+,\d+){end}")
    dot = pc.match_substring_regex(texts, rf"{start}(\d*\.(\d{{1,2}}|\d{{4,}})|0\.\d+|\d{{1,3}}(,\d{{3}})+\.\d+){end}")
    return int(pc.sum(comma).as_py() or 0), int(pc.sum(dot).as_py() or 0)
