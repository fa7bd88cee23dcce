"""Values as people read them: units from suffixes.csv, headers in words, codes as labels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline import schema, words
from pipeline.errors import UsageError
from pipeline.units import convert

# columns whose unit stands in the column 'unit' of the same row
UNIT_BY_ROW = ("need", "have", "value", "limit")


def system(units: str) -> str:
    """``us`` or ``metric``, the endings of the columns of suffixes.csv.

    Raises
    ------
    UsageError
        When ``units`` is neither us nor metric.
    """
    if units not in ("us", "metric"):
        raise UsageError(f"units is '{units}'; write us or metric.")
    return units


@dataclass(frozen=True)
class Shown:
    """How one column is shown: unit to convert from and to, label of the unit, decimals."""

    unit: str
    unit_shown: str
    ucum_shown: str
    label: str
    decimals: int


def shown(name: str, units: str) -> Shown | None:
    """How a number column is shown in ``units``; None where its name carries no unit."""
    field = schema.suffix_of(name)
    if field is None:
        return None
    side = system(units)
    if name.startswith("diameter_") and field["suffix"] == "_m":  # a bore is read in inches or millimetres
        small = next(row for row in schema.suffixes() if row["suffix"] == "_mm")
        decimals = 2 if side == "us" else 0
        return Shown(field["unit"], small[f"unit_{side}"], small[f"ucum_{side}"], small[f"label_{side}"], decimals)
    return Shown(
        field["unit"],
        field[f"unit_{side}"],
        field[f"ucum_{side}"],
        field[f"label_{side}"],
        int(field[f"decimals_{side}"]),
    )


def to_shown(values: pd.Series, name: str, units: str) -> np.ndarray:
    """Values of a column in the unit shown, not rounded."""
    how = shown(name, units)
    numbers = values.to_numpy(dtype=np.float64, na_value=np.nan)
    return numbers if how is None or how.unit == how.unit_shown else convert(numbers, how.unit, how.unit_shown)


def header(name: str, units: str) -> str:
    """Header of a column: words and unit, as in "Static level [ft]"."""
    how = shown(name, units)
    text = words.label(name)
    return f"{text} [{how.label}]" if how and how.label not in ("count", "share", "year", "pH") else text


def _by_ucum() -> dict[str, dict[str, str]]:
    found: dict[str, dict[str, str]] = {}
    for row in schema.suffixes():
        found.setdefault(row["ucum"], row)
    return found


def unit_by_row(frame: pd.DataFrame, units: str) -> pd.DataFrame:
    """Columns whose unit stands beside them, in the reader's unit; one conversion a unit."""
    known, side = _by_ucum(), system(units)
    out = frame.copy()
    columns = [name for name in UNIT_BY_ROW if name in frame]
    for ucum in frame["unit"].dropna().unique():
        row = known.get(ucum)
        if row is None or row[f"unit_{side}"] == row["unit"]:
            continue
        mask = (frame["unit"] == ucum).to_numpy()
        for name in columns:
            out.loc[mask, name] = convert(frame.loc[mask, name].to_numpy(float), row["unit"], row[f"unit_{side}"])
        out.loc[mask, "unit"] = row[f"label_{side}"]
    return out


def significant(values: np.ndarray, figures: int) -> np.ndarray:
    """Numbers rounded to so many significant figures; zero and missing stay."""
    with np.errstate(divide="ignore", invalid="ignore"):
        size = np.floor(np.log10(np.abs(values)))
    scale = np.where(np.isfinite(size), 10.0 ** (figures - 1 - np.where(np.isfinite(size), size, 0)), 1.0)
    return np.round(values * scale) / scale


def code_words(field: schema.Field) -> dict[str, str]:
    """Codes of a coded column in words; a grade keeps its letter."""
    if field.codes:
        return {code: f"{code}: {text}" if len(code) == 1 else text for code, text in schema.codes(field.codes).items()}
    return {row["check_code"]: row["title"] for row in schema.rows("checks")}


def in_words(values: pd.Series, field: schema.Field) -> pd.Series:
    """A coded column in words; a code without words stays as it is."""
    if field.name == "reason_code":
        known = {code: words.reason(code) for code in values.dropna().unique()}
    else:
        known = code_words(field)
    return values.map(lambda code: known.get(code, code), na_action="ignore")


def for_people(table: str, frame: pd.DataFrame, units: str) -> pd.DataFrame:
    """A declared table with headers in words, numbers in the reader's units and labels for codes.

    Numbers with a unit are rounded to the decimals of suffixes.csv, others to six significant figures.
    """
    if "unit" in frame and any(name in frame for name in UNIT_BY_ROW):
        frame = unit_by_row(frame, units)
    out: dict[str, object] = {}
    for column in schema.table(table):
        field, values = column.field, frame[column.field.name]
        if field.type == "number":
            how = shown(field.name, units)
            numbers = to_shown(values, field.name, units)
            out[header(field.name, units)] = np.round(numbers, how.decimals) if how else significant(numbers, 6)
        elif field.name in ("check_code", "governs_check_code", "reason_code") or field.codes:
            out[header(field.name, units)] = in_words(values, field)
        elif field.type == "boolean":
            out[header(field.name, units)] = values.map({True: "yes", False: "no"})
        else:
            out[header(field.name, units)] = values.astype("Int64") if field.type == "integer" else values
    return pd.DataFrame(out)
