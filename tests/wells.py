"""Wells typed in words of the trade, for tests of every room."""

from __future__ import annotations

import pandas as pd

import pipeline
from pipeline.api import complete
from pipeline.design_point import design, learn
from pipeline.settings import Settings
from pipeline.typed import _field, _value

# golden well G1: an open-rock household well with a full test
G1 = {
    "use": "domestic", "depth_completed": "240 ft", "depth_static": "60 ft", "flow_tested": "12 gpm",
    "depth_pumping": "120 ft", "diameter_casing_inside": "6.065 in", "acidity_ph": "7.2",
    "temperature_water": "60 degF", "pressure_cutout": "58 psi",
}  # fmt: skip


def wells_of(*rows: dict[str, str], settings: Settings | None = None) -> pd.DataFrame:
    """Rows of the table wells from texts such as ``{"depth_static": "60 ft"}``."""
    parsed = [{_field(n).name: _value(_field(n), v) for n, v in row.items()} for row in rows]
    return complete(pd.DataFrame(parsed), settings or Settings())


def sized(*rows: dict[str, str], settings: Settings | None = None) -> dict[str, pd.DataFrame]:
    """Tables of wells typed in."""
    settings = settings or Settings(draws=0)
    return pipeline.size(wells_of(*rows, settings=settings), settings)


def design_of(*rows: dict[str, str], settings: Settings | None = None) -> pd.DataFrame:
    """Design points of wells typed in."""
    settings = settings or Settings(draws=0)
    frame = wells_of(*rows, settings=settings)
    return design(frame, settings, learn(frame, settings))
