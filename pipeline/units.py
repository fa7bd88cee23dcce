"""The only module that speaks pint: units at the two doors, never in between.

Inside the pipeline a column is a plain array in the SI unit of its declaration.
"""

from __future__ import annotations

import json
import math
import os
import re
import threading
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.errors import UsageError
from pipeline.keeping import cache_root

# words of people and registries that pint does not read as meant
_WORDS = {
    "gpm": "gallon/minute", "usgpm": "gallon/minute", "us gpm": "gallon/minute", "gal/min": "gallon/minute",
    "igpm": "imperial_gallon/minute", "imp gpm": "imperial_gallon/minute", "imperial gpm": "imperial_gallon/minute",
    "gph": "gallon/hour", "gpd": "gallon/day", "lps": "liter/second", "l/s": "liter/second",
    "lpm": "liter/minute", "l/min": "liter/minute", "lph": "liter/hour", "l/h": "liter/hour", "l/hr": "liter/hour",
    "m3/h": "meter**3/hour", "m3/hr": "meter**3/hour", "m3/d": "meter**3/day", "m3/s": "meter**3/second",
    "m^3/hr": "meter**3/hour", "m³/h": "meter**3/hour", "cms": "meter**3/second", "cfs": "foot**3/second",
    "ft": "foot", "feet": "foot", "'": "foot", "in": "inch", "inches": "inch", "\"": "inch",
    "meters": "meter", "metres": "meter", "metre": "meter", "mbgl": "meter", "m bgl": "meter", "miters": "meter",
    "ft bgl": "foot", "ft-bgl": "foot", "ft-btoc": "foot", "ft btoc": "foot",
    "c": "degC", "f": "degF", "°c": "degC", "°f": "degF", "degf": "degF", "degc": "degC",
    "deg c": "degC", "deg f": "degF", "cel": "degC", "celsius": "degC", "fahrenheit": "degF",
    "us/cm": "microsiemens/centimeter", "µs/cm": "microsiemens/centimeter", "ms/cm": "millisiemens/centimeter",
    "mg/l": "milligram/liter", "ppm": "milligram/liter", "µg/l": "microgram/liter", "ug/l": "microgram/liter",
    "hp": "horsepower", "lb": "pound", "lbs": "pound", "kw": "kilowatt", "hours": "hour", "hrs": "hour", "hr": "hour",
    "mins": "minute", "min": "minute", "days": "day", "psi": "psi", "bar": "bar", "kpa": "kilopascal",
    "mwc": "meter_H2O", "ph": "", "std units": "", "1": "", "gpm/ft": "gallon/minute/foot",
}  # fmt: skip


@cache
def registry() -> Any:
    """The one unit registry, built on first use."""
    import pint

    units: Any = pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=None)
    return units


def spelled(text: str) -> str:
    """The unit as pint spells it, from a word of a person or a registry."""
    folded = " ".join(text.strip().lower().split())
    return _WORDS.get(folded, text.strip())


def _kept_lines() -> Path:
    """File in the user's cache in which conversions that pint has worked out are kept; named by pint's version."""
    from importlib.metadata import version

    return cache_root() / f"units-{version('pint')}.json"


@cache
def _known_lines() -> dict[str, list[float] | str]:
    """Conversions kept from earlier processes, and why some are none: pint takes half a second to start."""
    try:
        found = json.loads(_kept_lines().read_text(encoding="utf-8"))
        good = all(
            isinstance(v, str) or (len(v) == 2 and all(isinstance(x, float) and math.isfinite(x) for x in v))
            for v in found.values()
        )
        return found if good else {}
    except (OSError, ValueError, AttributeError, TypeError):
        return {}


def _keep_line(key: str, found: list[float] | str) -> None:
    """Keep one conversion, or why there is none; a folder that cannot be written is no fault."""
    known = _known_lines()
    known[key] = found
    target = _kept_lines()
    work = target.with_name(f".{target.name}.{os.getpid()}.{threading.get_ident()}")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        work.write_text(json.dumps(dict(known), sort_keys=True), encoding="utf-8")
        os.replace(work, target)
    except OSError:
        work.unlink(missing_ok=True)


@cache
def line(unit: str, to: str) -> tuple[float, float]:
    """Slope and offset of the straight line from one unit to another.

    Raises
    ------
    UsageError
        When a unit is not known or measures something else.
    """
    key = f"{spelled(unit)} -> {spelled(to)}"
    kept = _known_lines().get(key)
    if isinstance(kept, str):
        raise UsageError(f"Unit '{unit}' cannot be read as '{to}': {kept}.")
    if kept is not None:
        return kept[0], kept[1]
    try:
        quantity = registry().Quantity
        zero, one = (quantity(x, spelled(unit)).to(spelled(to)).magnitude for x in (0.0, 1.0))
    except Exception as error:
        _keep_line(key, str(error))
        raise UsageError(f"Unit '{unit}' cannot be read as '{to}': {error}.") from None
    _keep_line(key, [float(one - zero), float(zero)])
    return float(one - zero), float(zero)


def convert(values: ArrayLike, unit: str, to: str) -> NDArray[np.float64]:
    """Values in ``unit`` as an array in ``to``; one call a column.

    Parameters
    ----------
    values : array_like of numbers, NaN where missing
    unit, to : str
        Unit words; people's spellings such as gpm, ft, L/s are understood.
    """
    array = np.asarray(values, dtype=np.float64)
    if spelled(unit) == spelled(to):
        return array
    slope, offset = line(unit, to)
    return array * slope + offset if offset else array * slope


_TYPED = re.compile(r"^\s*([-+]?[\d][\d,]*\.?\d*(?:[eE][-+]?\d+)?|[-+]?\.\d+)\s*(.*?)\s*$")


def typed(text: str, to: str) -> float:
    """A value typed with its unit, such as ``"120 ft"``, in the unit ``to``.

    Raises
    ------
    UsageError
        When the text is no number, lacks a unit where one is needed, or has a wrong one.
    """
    match = _TYPED.match(text)
    if not match:
        raise UsageError(f"'{text}' is not a number with a unit; write it as in \"120 ft\".")
    number, unit = float(match[1].replace(",", "")), match[2]
    if not to:
        return number
    if not unit:
        raise UsageError(f"'{text}' has no unit; write it as in \"120 ft\" (wanted: something like {to}).")
    return float(convert(number, unit, to))
