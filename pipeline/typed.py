"""Fields and values typed by people, as ``depth_static="120 ft"``: for a well typed in and for settings."""

from __future__ import annotations

from typing import Any

import pandas as pd

from pipeline import schema
from pipeline.errors import UsageError
from pipeline.units import typed


def _field(name: str, where: str = "--set") -> schema.Field:
    """Field of the table ``wells`` by its name with or without unit suffix.

    Raises
    ------
    UsageError
        When there is none; ``where`` opens the message.
    """
    columns = {c.field.name: c.field for c in schema.table("wells")}
    by_stem = {schema.stem(n): f for n, f in columns.items()}
    field = columns.get(name) or by_stem.get(name)
    if field is None:
        near = [s for s in by_stem if name.split("_")[0] in s]
        hint = f"; did you mean {', '.join(near[:4])}?" if near else "; see 'wellstring fields'."
        raise UsageError(f"{where} {name}: no such field{hint}")
    return field


def _value(field: schema.Field, text: str, where: str = "--set") -> Any:
    """One typed value in the type and unit of its field.

    Raises
    ------
    UsageError
        When it cannot be read or is beyond the possible range; ``where`` opens the message.
    """
    if field.type == "number":
        value = typed(text, field.unit)
        low, high = field.hard_min, field.hard_max
        if (low is not None and not value >= low) or (high is not None and not value <= high):
            raise UsageError(f"{where} {schema.stem(field.name)}={text}: outside {low} to {high} {field.unit}.")
        return value
    if field.type == "boolean":
        if text.lower() not in ("yes", "no", "true", "false"):
            raise UsageError(f"{where} {field.name}={text}: write yes or no.")
        return text.lower() in ("yes", "true")
    if field.codes:
        code = schema.spellings(field.codes).get(" ".join(text.lower().split()))
        if code is None:
            raise UsageError(
                f"{where} {schema.stem(field.name)}={text}: one of {', '.join(schema.codes(field.codes))}."
            )
        return code
    if field.type == "date":
        try:
            return pd.Timestamp(text).date()
        except ValueError:
            raise UsageError(f"{where} {field.name}={text}: write a date as 2001-12-31.") from None
    return text
