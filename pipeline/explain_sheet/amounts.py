"""Values of the sheet in the reader's units and words."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import pandas as pd

from pipeline import schema
from pipeline.explain_sheet.formula import printed
from pipeline.export.display import shown, unit_by_row
from pipeline.units import convert


def figures(value: float, decimals: int) -> str:
    """A number with so many decimals; a dash where it is none."""
    return f"{value:,.{decimals}f}" if math.isfinite(value) else "-"


def amount(name: str, value: Any, units: str) -> str:
    """A value of a named column with its unit in the reader's units; a dash where missing."""
    if value is None or not isinstance(value, (int, float)):
        return "-" if value is None else str(value)
    how = shown(name, units)
    if how is None:
        return figures(value, 2)
    there = float(convert(value, how.unit, how.unit_shown))
    label = "" if how.label in ("count", "share", "year", "pH") else how.label
    return f"{figures(there, how.decimals)} {label}".strip()


def by_unit(value: float | None, ucum: str | None, units: str) -> str:
    """A value beside its UCUM code in the reader's units."""
    if value is None:
        return "-"
    frame = unit_by_row(pd.DataFrame({"need": [float(value)], "unit": [ucum or "1"]}), units)
    number, unit = float(frame["need"].iloc[0]), str(frame["unit"].iloc[0])
    unit = _labels(units).get(unit, unit)
    digits = 0 if number == 0 or abs(number) >= 100 else 1 if abs(number) >= 10 else 2 if abs(number) >= 1 else 3
    return f"{figures(number, digits)} {'' if unit in ('1', '[pH]') else unit}".strip()


@cache
def _labels(units: str) -> dict[str, str]:
    """Label of every UCUM code that people are shown."""
    return {row["ucum"]: row[f"label_{units}"] for row in reversed(schema.suffixes())
            if row["ucum"] == row[f"ucum_{units}"] and row["ucum"] not in ("1", "[pH]")}  # fmt: skip


def by_check(check: str, value: float | None, ucum: str | None, units: str) -> str:
    """Need or limit of a check: a width in inches or millimetres, the others by their unit."""
    return amount("diameter_m", value, units) if check == "fit" else by_unit(value, ucum, units)


@cache
def _units() -> dict[str, dict[str, str]]:
    return {row["unit"]: row for row in schema.rows("sheet_units")}


def to_sheet(value: float, unit: str, units: str) -> float:
    """A value of the calculation in the coherent unit of the sheet: feet, seconds and pounds, or SI."""
    row = _units()[unit]
    return value if row[units] == row["metric"] else float(convert(value, row["metric"], row[units]))


def sheet_unit(unit: str, units: str) -> str:
    """Label of that unit; empty for a pure number."""
    return _units()[unit][f"label_{units}"] or ""


def sheet_number(value: float, unit: str, units: str) -> str:
    """A value of the calculation as printed, with its coherent unit."""
    return f"{printed(to_sheet(value, unit, units))} {sheet_unit(unit, units)}".strip()


@cache
def option_words(option_id: str | None) -> str:
    """An option in the words of the trade."""
    row = next((r for r in schema.rows("options") if r["option_id"] == option_id), None)
    if row is None:
        return "-"
    material = next(m["label"] for m in schema.rows("materials") if m["material_id"] == row["material_id"])
    joint = schema.codes("joint")[row["joint_code"]]
    return f"{row['nominal_size']} {material}, {row['class_label']} ({row['standard']}), {joint}"
