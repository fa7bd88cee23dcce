"""Coordinates as people write them: degrees with minutes and seconds, pairs in one cell, WKT points. Text by text."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.normalise import text
from pipeline.normalise.signs import Signs

FIELDS = ("latitude_deg", "longitude_deg")
_PLAIN = np.zeros(256, dtype=bool)
_PLAIN[list(b"0123456789.+-eE")] = True
_NUMBER = r"[-+\u2212]?\d+(?:\.\d*)?(?:[eE][-+]?\d+)?"
_WKT = re.compile(
    rf"^(?:SRID=\d+;)?\s*POINT\s*(?:Z|M|ZM)?\s*\(\s*({_NUMBER})\s+({_NUMBER})(?:\s+{_NUMBER})*\s*\)$", re.I
)
_JSON = re.compile(rf'^\{{.*"coordinates"\s*:\s*\[\s*({_NUMBER})\s*,\s*({_NUMBER}).*\}}$', re.S)
_MARK_D, _MARK_M, _MARK_S = "°ºdD˚", "'′’mM", "\"″”s"
# a small s is the mark of seconds
_ANGLE = re.compile(
    rf"^\s*(?P<front>[NSEWnew])?\s*(?P<sign>[-+\u2212])?\s*(?P<deg>\d{{1,3}}(?:\.\d+)?)"
    rf"(?:\s*[{_MARK_D}:\s-]\s*(?P<min>\d{{1,2}}(?:\.\d+)?)(?:\s*[{_MARK_M}:\s-]\s*(?P<sec>\d{{1,2}}(?:\.\d+)?)"
    rf"\s*(?:[{_MARK_S}]|'')?)?\s*[{_MARK_M}]?)?\s*[{_MARK_D}]?\s*(?P<back>[NSEWnew])?\s*$",
)  # fmt: skip
_NAMED = re.compile(r"\b(north|south|east|west)\b", re.I)


def angle(found: str) -> tuple[float, str] | None:
    """Decimal degrees and the hemisphere letter (or "") of one angle as written; None where it is none."""
    match = _ANGLE.match(_NAMED.sub(lambda m: m[1][0].upper(), found))
    if not match or (match["front"] and match["back"]):
        return None
    minutes, seconds = float(match["min"] or 0), float(match["sec"] or 0)
    if minutes >= 60 or seconds >= 60 or (match["min"] and "." in match["deg"]):
        return None
    if match["sec"] and "." in match["min"]:
        return None
    value = float(match["deg"]) + minutes / 60 + seconds / 3600
    letter = (match["front"] or match["back"] or "").upper()
    if match["sign"] and match["sign"] != "+":
        value = -value
    if letter in ("S", "W"):
        value = -abs(value)
    return value, letter


def _pair(found: str) -> tuple[float, float] | None:
    """Latitude and longitude of a cell that holds both; None where it does not."""
    match = _WKT.match(found) or _JSON.match(found)
    if match:
        x, y = (float(part.replace("\u2212", "-")) for part in match.groups())
        return y, x
    bare = found.strip().strip("()[]").strip()
    parts = re.split(r"\s*[;,/|]\s*", bare)
    if len(parts) == 1 and re.match(rf"^{_NUMBER}\s+{_NUMBER}$", bare) and bare.count(".") == 2:
        parts = bare.split()
    if len(parts) != 2 or not all(parts):
        return None
    # 39,2051 and -123,206 are decimal commas; 39.2,-77.1 and 39, -77 are two numbers
    if "," in bare and not re.search(r",\s|\.|.[-\u2212]|[^-\u2212\d,\s]", bare):
        return None
    angles = [angle(part) for part in parts]
    if angles[0] is None or angles[1] is None:
        return None
    (first, mark), (second, other) = angles[0], angles[1]
    if mark in ("E", "W") or other in ("N", "S") or (not mark and abs(first) > 90 >= abs(second)):
        first, second = second, first
    return first, second


def parse(found: str, field: str) -> float | None:
    """Decimal degrees of one cell for ``latitude_deg`` or ``longitude_deg``; None where it says none."""
    pair = _pair(found)
    if pair:
        return pair[FIELDS.index(field)]
    single = angle(found)
    if single is None or single[1] in (("E", "W") if field == "latitude_deg" else ("N", "S")):
        return None
    return single[0]


def plain(coded: text.Coded, field: str) -> text.Coded:
    """The column with every angle or pair written as a plain decimal number; other texts stay as they are.

    A column of plain numbers comes back as it is, at the price of one look at its bytes.
    """
    texts = coded.texts
    if not len(texts) or Signs.of(texts).within(_PLAIN):
        return coded
    out: list[Any] = texts.to_pylist()
    changed = False
    for place, found in enumerate(out):
        if not re.match(rf"^{_NUMBER}$", found):
            value = parse(found, field)
            if value is not None:
                out[place], changed = repr(round(value, 9)), True
    return replace(coded, texts=pa.array(out, type=pa.string())) if changed else coded


def packed(values: NDArray[np.float64], most: float) -> NDArray[np.float64] | None:
    """Degrees from figures that run degrees, minutes and seconds together (391230 is 39 12 30); else None.

    The column as a whole must read so: nineteen in twenty values past ``most`` degrees, with minutes and seconds
    below sixty.

    Parameters
    ----------
    values : ndarray (n,)
    most : float
        90 for latitudes, 180 for longitudes.
    """
    known = np.abs(values[~np.isnan(values)])
    if len(known) < 3:
        return None
    size = np.floor(np.abs(values))
    degrees, minutes, seconds = np.floor(size / 10_000), np.floor(size / 100) % 100, np.abs(values) % 100
    reads = (np.abs(values) > most) & (degrees <= most) & (degrees >= 1) & (minutes < 60) & (seconds < 60)
    if reads.sum() < 0.95 * len(known):
        return None
    out = np.sign(values) * (degrees + minutes / 60 + seconds / 3600)
    return np.where(reads, out, np.where(np.abs(values) <= most, values, np.nan))
