"""Tables of invented values below headers written from memory, as ``tests/ingest/header_styles.csv`` tells.

The column ``recipe`` there is a quantity of an invented well, and the unit or form it is written in. Depths, levels
and settings of a well fit each other; units in one word after ``^`` go into a row below the header.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import unseen_truth as facts

ROWS = 160
PLACES = ("Aldermoor", "Brindle", "Corvane", "Dunmere", "Elsinby", "Farrowdale")
_FIRST = ("Ilva", "Tomas", "Merit", "Oda", "Rufus", "Sanne")
_LAST = ("Quillby", "Harrowmont", "Vexley", "Tindrake", "Ostmere")
_USES = ("Domestic", "Irrigation", "Stock", "Public supply", "Industrial")


def well_values(rng: np.random.Generator, metric: bool) -> dict[str, Any]:
    """Quantities of invented wells in SI, and words, by name.

    Parameters
    ----------
    metric : bool
        Depths are round in metres; otherwise in feet.
    """
    grid = 1.0 if metric else 5 * 0.3048
    hole = np.round(rng.lognormal(4.1, 0.5, ROWS) / grid) * grid + grid
    done = np.maximum(hole - grid * rng.integers(0, 3, ROWS), grid)
    static = done * rng.uniform(0.1, 0.5, ROWS)
    pumping = static + (done - static) * rng.uniform(0.1, 0.6, ROWS)
    pump = pumping + (done - pumping) * rng.uniform(0.3, 0.9, ROWS)
    casing = rng.choice([0.1, 0.125, 0.15, 0.2] if metric else [4 * 0.0254, 6 * 0.0254, 8 * 0.0254], ROWS)
    elevation = rng.uniform(50, 900, ROWS)
    days = pd.to_datetime("1975-01-01") + pd.to_timedelta(rng.integers(0, 17000, ROWS), "D")
    screen_top = done * rng.uniform(0.6, 0.8, ROWS)
    return {
        "hole": hole, "done": done, "static": static, "pumping": pumping, "pump": pump, "pipe": pump + 1.0,
        "drawdown": pumping - static, "yield": rng.lognormal(-7.5, 0.8, ROWS), "casing": casing,
        "casing_bottom": done * rng.uniform(0.2, 0.6, ROWS), "screen_top": screen_top,
        "screen_bottom": np.minimum(screen_top + 6, done), "strike": done * rng.uniform(0.3, 0.9, ROWS),
        "stickup": rng.uniform(0.2, 0.8, ROWS), "elevation": elevation, "water_elevation": elevation - static,
        "duration": rng.choice([3600, 7200, 14400, 86400], ROWS), "power": rng.choice([373.0, 559.0, 746.0, 1119.0], ROWS),
        "lat": (-14.0 if metric else 44.0) + rng.uniform(0, 1, ROWS), "lon": (34.0 if metric else -93.0) + rng.uniform(0, 1, ROWS),
        "ec": rng.lognormal(6, 0.5, ROWS), "chloride": rng.lognormal(3, 0.8, ROWS), "ph": rng.normal(7.1, 0.4, ROWS),
        "temperature": rng.normal(16, 3, ROWS), "people": rng.integers(20, 600, ROWS), "count": rng.integers(1, 40, ROWS),
        "day": days, "id": [f"{n:06d}" for n in rng.choice(900_000, ROWS, replace=False)],
        "permit": [f"P-{n}" for n in rng.integers(1000, 99999, ROWS)], "row": [str(n + 1) for n in range(ROWS)],
        "county": rng.choice(PLACES, ROWS), "use": rng.choice(_USES, ROWS), "text": rng.choice(("grey", "sandy", "12N", "clay"), ROWS),
        "method": rng.choice(("Bailer", "Airlift", "Pump"), ROWS), "yes_no": rng.choice(("Yes", "No"), ROWS),
        "person": [f"{a} {b}" for a, b in zip(rng.choice(_FIRST, ROWS), rng.choice(_LAST, ROWS), strict=True)],
        "phone": [f"555-01{n:02d}" for n in rng.integers(0, 99, ROWS)], "street": [f"{n} Fernhollow Lane" for n in rng.integers(1, 400, ROWS)],
        "parcel": [f"04-{n:05d}" for n in rng.integers(0, 99999, ROWS)], "pipe_size": rng.choice(('1"', '1 1/4"'), ROWS),
        "remark": rng.choice(("clear water", "none", "sandy at first"), ROWS),
    }  # fmt: skip


_SI = {"lat": "", "lon": "", "ph": "", "yield": "m**3/s", "duration": "s", "power": "W", "ec": "uS/cm",
       "chloride": "mg/L", "temperature": "degC"}  # fmt: skip
_DAYS = {"ymd": "%Y-%m-%d", "mdy": "%m/%d/%Y", "dmy": "%d/%m/%Y"}
_DECIMALS = {"m": 1, "ft": 0, "in": 0, "mm": 0, "L/s": 2, "gpm": 1, "m**3/hour": 2, "imperial_gallon/min": 1,
             "hp": 2, "hour": 0, "min": 0, "uS/cm": 0, "mg/L": 1, "degC": 1}  # fmt: skip


def texts(recipe: str, values: dict[str, Any], rng: np.random.Generator) -> list[str]:
    """A column as written: numbers in the unit of the recipe, some cells empty."""
    from pipeline.units import convert

    name, _, form = recipe.partition(" ^")[0].partition(" ")
    if name == "date":
        column = [day.strftime(_DAYS[form]) for day in values["day"]]
    elif name == "year":
        column = [str(day.year) for day in values["day"]]
    elif name == "word":
        column = [form] * ROWS
    elif isinstance(values[name], list) or np.asarray(values[name]).dtype.kind in "UO":
        column = list(map(str, values[name]))
    else:
        numbers = np.asarray(values[name], float)
        if form:
            numbers = np.asarray(convert(numbers, _SI.get(name, "m"), to=form), float)
        places = _DECIMALS.get(form, {"lat": 5, "lon": 5, "ph": 2}.get(name, 0))
        column = [f"{n:.{places}f}" for n in numbers]
    if name not in ("id", "row", "word"):
        column = ["" if gone else text for text, gone in zip(column, rng.random(ROWS) < 0.08, strict=True)]
    return column


def write_table(columns: list[facts.Column], target: Path, seed: int) -> None:
    """One table as a CSV file."""
    import csv

    rng = np.random.default_rng(seed)
    metric = not any(c.unit in ("ft", "gpm", "in") for c in columns)
    values = well_values(rng, metric)
    body = [texts(c.recipe, values, rng) for c in columns]
    with target.open("w", newline="", encoding="utf-8") as handle:
        writer = csv.writer(handle)
        writer.writerow([c.header for c in columns])
        units = [c.recipe.partition(" ^")[2] for c in columns]
        if any(units):
            writer.writerow(units)
        writer.writerows(zip(*body, strict=True))


def all_styles(see: Callable[[Path], list[facts.Seen]],
               found_fields: Callable[[facts.Seen, list[facts.Judged], Path], list[dict[str, Any]]]) -> list[dict[str, Any]]:  # fmt: skip
    """Judged guesses and fields due of every invented table, each read on its own."""
    out = []
    for seed, ((_, name), columns) in enumerate(facts.tables(facts.STYLES).items()):
        with tempfile.TemporaryDirectory() as scratch:
            write_table(list(columns.values()), Path(scratch) / f"{name}.csv", seed)
            judged: list[dict[str, Any]] = []
            fields: list[dict[str, Any]] = []
            for seen in see(Path(scratch)):
                rows = facts.judge(seen, facts.STYLES)
                judged += [row.to_dict() | {"file": seen.name} for row in rows]
                fields += found_fields(seen, rows, facts.STYLES) if rows else []
        out.append({"source": name, "judged": judged, "fields": fields, "taken": []})
    return out
