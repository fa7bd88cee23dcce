"""Invented wells whose columns are written in any unit, for tests of what columns are taken to mean."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

ROWS = 150
_PER_UNIT = {
    "ft": 0.3048, "m": 1.0, "in": 0.0254, "mm": 0.001, "cm": 0.01, "gpm": 6.30902e-5, "igpm": 7.57682e-5, "l/s": 1e-3,
    "l/min": 1e-3 / 60, "m3/h": 1 / 3600, "m3/d": 1 / 86400, "l/h": 1e-3 / 3600, "h": 3600.0, "min": 60.0,
    "hp": 745.7, "kw": 1000.0, "psi": 6894.76,
}  # fmt: skip
_NAMES = ("Aldermoor", "Brindle", "Corvane", "Dunmere", "Elsinby", "Farrowdale")
_US, _METRIC = (43.2, -93.4), (-14.3, 34.2)


def quantities(metric: bool, seed: int = 1, place: tuple[float, float] | None = None) -> dict[str, Any]:
    """SI quantities and texts of invented wells by name; round in metres or in feet as drillers write them."""
    rng = np.random.default_rng(seed)
    step = 1.0 if metric else 5 * 0.3048
    hole = np.round(rng.lognormal(4.0, 0.5, ROWS) / step) * step + 2 * step
    done = np.maximum(hole - step * rng.integers(0, 3, ROWS), step)
    static = np.round(done * rng.uniform(0.1, 0.5, ROWS) / (step / 5)) * (step / 5)
    pumping = static + np.round((done - static) * rng.uniform(0.1, 0.6, ROWS) / (step / 5)) * (step / 5)
    pump = pumping + (done - pumping) * rng.uniform(0.3, 0.9, ROWS)
    bores = (0.1, 0.125, 0.15, 0.2) if metric else (4 * 0.0254, 5 * 0.0254, 6 * 0.0254, 8 * 0.0254)
    top = done * rng.uniform(0.6, 0.8, ROWS)
    lat, lon = place or (_METRIC if metric else _US)
    ground = rng.uniform(60, 900, ROWS)
    return {
        "hole": hole, "done": done, "static": static, "pumping": pumping, "pump": pump, "pipe": pump,
        "drawdown": pumping - static, "bore": rng.choice(bores, ROWS), "flow": rng.lognormal(-7.4, 0.8, ROWS),
        "casing": done * rng.uniform(0.2, 0.6, ROWS), "top": top, "bottom": np.minimum(top + 6, done),
        "screen": np.full(ROWS, 6.0) + rng.integers(0, 4, ROWS), "wall": rng.choice((0.0064, 0.0071, 0.0082), ROWS),
        "bedrock": done * rng.uniform(0.1, 0.4, ROWS), "ground": ground, "water": ground - static,
        "stick": rng.choice((0.3, 0.4, 0.5, 0.6), ROWS), "time": rng.choice((3600.0, 7200.0, 14400.0, 86400.0), ROWS),
        "power": rng.choice((373.0, 559.0, 746.0, 1119.0), ROWS), "error": rng.choice((1.0, 5.0, 10.0), ROWS),
        "lat": lat + rng.uniform(0, 0.8, ROWS), "lon": lon + rng.uniform(0, 0.8, ROWS),
        "east": 500_000 + rng.uniform(0, 9e4, ROWS), "north": 4_800_000 + rng.uniform(0, 9e4, ROWS),
        "ph": rng.normal(7.1, 0.4, ROWS), "chloride": rng.lognormal(3, 0.8, ROWS), "ec": rng.lognormal(6, 0.5, ROWS),
        "warmth": rng.normal(16, 3, ROWS), "people": rng.integers(20, 600, ROWS), "capacity": rng.lognormal(-1, 1, ROWS),
        "day": pd.to_datetime("1978-01-01") + pd.to_timedelta(rng.integers(0, 16000, ROWS), "D"),
        "later": pd.to_datetime("2019-01-01") + pd.to_timedelta(rng.integers(0, 900, ROWS), "D"),
        "id": rng.choice(900_000, ROWS, replace=False) + 10_000, "row": np.arange(ROWS) + 1,
        "county": rng.choice(_NAMES, ROWS), "use": rng.choice(("Domestic", "Irrigation", "Stock", "Monitoring"), ROWS),
        "state": rng.choice(("Functional", "Not functional", "Abandoned"), ROWS),
        "kind": rng.choice(("Submersible", "Hand pump", "None"), ROWS),
        "method": rng.choice(("Bailer", "Air lift", "Pump"), ROWS), "yes": rng.choice(("Yes", "No"), ROWS),
        "material": rng.choice(("PVC", "Galvanised", "Stainless steel"), ROWS),
        "text": rng.choice(("grey clay", "sandy", "as told by the owner", "clear"), ROWS),
        "tape": rng.choice(("Steel tape", "Electric tape", "Transducer"), ROWS),
        "person": rng.choice(("Ilva Quillby", "Tomas Vexley", "Oda Tindrake"), ROWS),
    }  # fmt: skip


def texts(recipe: str, wells: dict[str, Any]) -> list[str]:
    """Cells of one column: a quantity and the unit or form it is written in, such as ``static ft`` or ``day dmy``."""
    name, _, form = recipe.partition(" ")
    values = wells[name]
    if form in ("dmy", "mdy", "ymd", "packed", "year"):
        shape = {"dmy": "%d/%m/%Y", "mdy": "%m/%d/%Y", "ymd": "%Y-%m-%d", "packed": "%Y%m%d", "year": "%Y"}[form]
        return [f"{day:{shape}}" for day in values]
    if form == "epoch":
        return [str(int(day.timestamp() * 1000)) for day in values]
    if form in _PER_UNIT:
        values = np.asarray(values) / _PER_UNIT[form]
        return [f"{v:g}" for v in np.round(values, 2 if form in ("m", "l/s", "m3/h") else 1)]
    if form == "comma":
        return [f"{v:.2f}".replace(".", ",") for v in values]
    if isinstance(values, np.ndarray) and values.dtype.kind == "f":
        return [f"{v:.5f}" if name in ("lat", "lon") else f"{v:.2f}" for v in values]
    return [str(v) for v in values]


def table(columns: list[tuple[str, str]], metric: bool, seed: int = 1, place: tuple[float, float] | None = None) -> Any:
    """Headers and a frame of text from pairs of header and recipe; an empty recipe leaves the column empty."""
    wells = quantities(metric, seed, place)
    cells = {header: texts(recipe, wells) if recipe else [""] * ROWS for header, recipe in columns}
    return tuple(cells), pd.DataFrame(cells, dtype="str")
