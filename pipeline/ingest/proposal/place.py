"""What is known besides the table: where its wells lie, and which units are the custom there."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from pipeline import schema
from pipeline.ingest.proposal.cells import Cells
from pipeline.ingest.proposal.concepts import folded

_LEAST_SHARE, _MOST_SHORT = 0.5, 0.95
_STATES = "United States"
# words of columns that tell a place by township, range and section; Alberta has counties as well, and lsd
_SURVEY = (frozenset({"township", "twp", "twn", "tship"}), frozenset({"range", "rng", "rge"}),
           frozenset({"section", "sec", "sect"}))  # fmt: skip
_NOT_STATES = frozenset({"province", "prov", "lsd", "meridien", "concession"})


@dataclass(frozen=True)
class Context:
    """Knowledge from outside the table; all of it may be empty.

    Attributes
    ----------
    areas : tuple of str
        Names or codes of states and countries seen in sister tables.
    box : (lat_min, lon_min, lat_max, lon_max) or None
        Degrees, of coordinates in sister tables.
    units : tuple of str
        Units written in sister tables of the same source.
    market : str
        us or metric, where the user's settings say so.
    table : str
        Name of the file or sheet, whose words are weak evidence of what the table is about.
    """

    areas: tuple[str, ...] = ()
    box: tuple[float, float, float, float] | None = None
    units: tuple[str, ...] = ()
    market: str = ""
    table: str = ""


@dataclass(frozen=True)
class Custom:
    """Custom of a place: units of length (us, metric, mixed, unknown) and gallons meant (us, imperial, either)."""

    length: str = "unknown"
    gallon: str = ""
    why: str = ""


@dataclass(frozen=True)
class _Place:
    name: str
    words: frozenset[str]
    custom: str
    gallon: str
    box: tuple[float, ...] = field(default=())
    codes: frozenset[str] = frozenset()
    inside: bool = False


@cache
def _places() -> tuple[_Place, ...]:
    out = []
    for row in schema.rows("place_customs"):
        corners = [row[k] for k in ("lat_min", "lon_min", "lat_max", "lon_max")]
        box = tuple(map(float, corners)) if all(corners) else ()
        words, codes = (frozenset(w for w in row[k].split("|") if w) for k in ("words", "codes"))
        out.append(_Place(row["place"], words, row["custom"], row["gallon"], box, codes, row["inside"] == "yes"))
    return tuple(out)


@cache
def _named() -> dict[str, _Place]:
    out: dict[str, _Place] = {}
    for place in _places():
        for word in place.words:
            out.setdefault(word, place)
    return out


def _agreed(places: list[_Place], why: str) -> Custom:
    """One custom of several places: theirs where all share it, else mixed."""
    customs, gallons = {p.custom for p in places}, {p.gallon for p in places}
    length = customs.pop() if len(customs) == 1 else "mixed"
    return Custom(length, gallons.pop() if len(gallons) == 1 else "either", why)


def of_point(latitude: float, longitude: float) -> Custom:
    """Custom at a point; where boxes of several places cover it and differ, mixed.

    A box that lies wholly inside its place settles it, whatever wider boxes reach there.
    """
    reach = [p for p in _places() if p.box and p.box[0] <= latitude <= p.box[2] and p.box[1] <= longitude <= p.box[3]]
    inside = [p for p in reach if p.inside] or reach
    if not inside:
        return Custom()
    names = ", ".join(dict.fromkeys(p.name for p in inside[:2]))
    return _agreed(inside, f"coordinates lie in {names}")


def of_names(names: list[str], by_county: bool = False) -> Custom:
    """Custom of named places; unknown where no name is known.

    Parameters
    ----------
    by_county : bool
        The table has counties beside them: of states that two countries abbreviate alike those of the United States.
    """
    plain = [" ".join(folded(x).split()) for x in names]
    found = [_named()[n] for n in plain if n in _named() and len(n) > 2]
    if not found or len(found) < _LEAST_SHARE * len(names):
        return _of_codes(plain, by_county)
    return _agreed(found, f"names such as {next(p.name for p in found)}")


def _of_codes(codes: list[str], by_county: bool) -> Custom:
    """Custom of the one country all of whose states are abbreviated so, or of those that share it."""
    short = sorted({c for c in codes if c.isalpha() and len(c) <= 3})
    if not short or len(short) < _MOST_SHORT * len(set(codes)):
        return Custom()
    holders = [p for p in _places() if sum(c in p.codes for c in short) >= _MOST_SHORT * len(short)]
    if by_county and any(p.name == _STATES for p in holders):
        holders = [p for p in holders if p.name == _STATES]
    if not holders:
        return Custom()
    return _agreed(holders, f"states such as {short[0].upper()} of {holders[0].name}")


def of_headers(header_names: list[str]) -> Custom:
    """Custom told by the words of the columns: counties beside township, range and section of the land survey."""
    words = set(re.findall(r"[a-z]+", " ".join(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", h) for h in header_names).lower()))
    surveyed = all(words & group for group in _SURVEY)
    if not surveyed or "county" not in words or words & _NOT_STATES:
        return Custom()
    place = next(p for p in _places() if p.name == _STATES)
    return Custom(place.custom, place.gallon, "counties, townships and ranges as the United States have them")


def custom(
    context: Context, coordinates: tuple[Cells, Cells] | None, names: list[Cells], header_names: list[str]
) -> Custom:
    """Custom of units where the wells lie, from the table itself first, then from outside it.

    Parameters
    ----------
    coordinates : profiles of latitude and longitude, or None
    names : profiles of columns that hold states or countries
    """
    by_point = Custom()
    if coordinates:
        lat, lon = coordinates
        if np.isfinite(lat.median) and np.isfinite(lon.numbers).any():
            good = np.isfinite(lat.numbers) & np.isfinite(lon.numbers) & (lat.numbers != 0)
            if good.any():
                points = np.column_stack([lat.numbers[good], lon.numbers[good]])
                picks = points[np.linspace(0, len(points) - 1, min(len(points), 25)).astype(int)]
                found = [of_point(float(a), float(b)) for a, b in picks]
                known = [c for c in found if c.length != "unknown"]
                if len(known) >= 0.8 * len(found):
                    kinds = {c.length for c in known}
                    best = max(kinds, key=lambda k: sum(c.length == k for c in known))
                    by_point = Custom("mixed", "either", "coordinates lie in several countries")
                    if sum(c.length == best for c in known) >= 0.8 * len(known):
                        by_point = next(c for c in known if c.length == best)
                    if by_point.length != "mixed":
                        return by_point
    by_county = any("county" in h.lower() for h in header_names)
    by_county = any("county" in h.lower() for h in header_names)
    for profile in names:
        found_names = of_names(profile.texts[:20], by_county)
        if found_names.length != "unknown":
            return found_names
    told = of_names(list(context.areas), by_county) if context.areas else Custom()
    if told.length != "unknown":
        return told
    if by_point.length != "unknown":
        return by_point
    if context.box:
        middle = (context.box[0] + context.box[2]) / 2, (context.box[1] + context.box[3]) / 2
        corners = [of_point(*middle), of_point(*context.box[:2]), of_point(*context.box[2:])]
        known = [c for c in corners if c.length != "unknown"]
        if known and len({c.length for c in known}) == 1:
            return known[0]
    return of_headers(header_names)
