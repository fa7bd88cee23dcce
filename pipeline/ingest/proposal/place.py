"""What is known besides the table: where its wells lie, and which units are the custom there."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import numpy as np

from pipeline import schema
from pipeline.ingest.proposal.cells import Cells
from pipeline.ingest.proposal.concepts import folded

_LEAST_SHARE = 0.5


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
    language : str
        Language of the source, ISO 639-1; informative only.
    market : str
        us or metric, where the user's settings say so.
    """

    areas: tuple[str, ...] = ()
    box: tuple[float, float, float, float] | None = None
    units: tuple[str, ...] = ()
    language: str = ""
    market: str = ""


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


@cache
def _places() -> tuple[_Place, ...]:
    out = []
    for row in schema.rows("place_customs"):
        corners = [row[k] for k in ("lat_min", "lon_min", "lat_max", "lon_max")]
        box = tuple(map(float, corners)) if all(corners) else ()
        out.append(_Place(row["place"], frozenset(row["words"].split("|")), row["custom"], row["gallon"], box))
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
    """Custom at a point; where boxes of several places cover it and differ, mixed."""
    inside = [p for p in _places() if p.box and p.box[0] <= latitude <= p.box[2] and p.box[1] <= longitude <= p.box[3]]
    if not inside:
        return Custom()
    names = ", ".join(p.name for p in inside[:2])
    return _agreed(inside, f"coordinates lie in {names}")


def of_names(names: list[str]) -> Custom:
    """Custom of named places; unknown where no name is known."""
    found = [_named()[n] for n in (" ".join(folded(x).split()) for x in names) if n in _named() and len(n) > 2]
    if not found or len(found) < _LEAST_SHARE * len(names):
        return Custom()
    return _agreed(found, f"names such as {next(p.name for p in found)}")


def custom(
    context: Context, coordinates: tuple[Cells, Cells] | None, names: list[Cells], header_names: list[str]
) -> Custom:
    """Custom of units where the wells lie, from the table itself first, then from outside it.

    Parameters
    ----------
    coordinates : profiles of latitude and longitude, or None
    names : profiles of columns that hold states or countries
    """
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
                    if sum(c.length == best for c in known) >= 0.8 * len(known):
                        return next(c for c in known if c.length == best)
                    return Custom("mixed", "", "coordinates lie in several countries")
    for profile in names:
        found_names = of_names(profile.texts[:20])
        if found_names.length != "unknown":
            return found_names
    told = of_names(list(context.areas)) if context.areas else Custom()
    if told.length != "unknown":
        return told
    if context.box:
        middle = (context.box[0] + context.box[2]) / 2, (context.box[1] + context.box[3]) / 2
        corners = [of_point(*middle), of_point(*context.box[:2]), of_point(*context.box[2:])]
        known = [c for c in corners if c.length != "unknown"]
        if known and len({c.length for c in known}) == 1:
            return known[0]
    return Custom()
