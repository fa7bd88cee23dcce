"""Values that the user sets by well, such as the truth that crews bring back; each is told as an issue."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import numpy as np
import pandas as pd

from pipeline import schema
from pipeline.errors import UsageError
from pipeline.normalise import identity, scope
from pipeline.normalise.dates import PRECISIONS
from pipeline.normalise.issues import IssueLog
from pipeline.settings import Settings
from pipeline.typed import _field, _value

CODE = "N701"
_WHERE = "Settings [overrides]"


def put(wells: pd.DataFrame, excluded: pd.DataFrame, settings: Settings, log: IssueLog) -> pd.DataFrame:
    """The table ``wells`` with the user's values put in.

    Parameters
    ----------
    wells, excluded : DataFrame
        As declared; ``excluded`` only serves the message about a well that was left out.
    settings : Settings
        ``overrides``: well id, or ``source_id:well id``, to {field with or without unit suffix: text with unit}.

    Raises
    ------
    UsageError
        Naming a well that is not read or stands in two sources, a field that is none, or a value that cannot
        be read. In a trial (``limit``) wells that were not reached are passed over.
    """
    if not settings.overrides:
        return wells
    chosen: dict[str, dict[int, Any]] = defaultdict(dict)
    typed: dict[str, dict[int, str]] = defaultdict(dict)
    for well, values in settings.overrides.items():
        if not isinstance(values, dict):
            raise UsageError(f"{_WHERE} '{well}': write fields below it, such as depth_static = \"120 ft\".")
        at = _place(well, wells, excluded, settings)
        for name, given in values.items():
            field = _field(str(name), f"{_WHERE} '{well}'")
            if field.name in identity.NOT_VALUES:
                raise UsageError(f"{_WHERE} '{well}' {name}: this field is worked out and cannot be set.")
            text = ("yes" if given else "no") if isinstance(given, bool) else str(given).strip()
            try:
                value = _value(field, text, f"{_WHERE} '{well}'")
            except UsageError as error:
                told = str(error)
                raise UsageError(told if told.startswith(_WHERE) else f"{_WHERE} '{well}' {name}: {told}") from None
            if at is None:
                continue
            if at in chosen[field.name]:
                raise UsageError(f"{_WHERE} '{well}' {name}: the well and field are set twice.")
            chosen[field.name][at], typed[field.name][at] = value, text
    return _put(wells, chosen, typed, settings, log)


def _place(well: str, wells: pd.DataFrame, excluded: pd.DataFrame, settings: Settings) -> int | None:
    """Row of the well that a key of the overrides names; None where a trial did not reach it."""
    found = np.flatnonzero(wells["well_id"].to_numpy() == well)
    bare = well
    if not len(found) and ":" in well:
        source, _, bare = well.partition(":")
        found = np.flatnonzero((wells["well_id"] == bare).to_numpy() & (wells["source_id"] == source).to_numpy())
    if len(found) == 1:
        return int(found[0])
    if len(found) > 1:
        names = " or ".join(f"'{s}:{well}'" for s in wells["source_id"].iloc[found])
        raise UsageError(f"{_WHERE} '{well}': the id stands in two sources; write {names}.")
    if settings.limit is not None:
        return None
    gone = excluded.loc[excluded["well_id"].isin([well, bare]), "reason_code"]
    if len(gone):
        raise UsageError(f"{_WHERE} '{well}': the well was left out of this run ({gone.iloc[0]}); take it away.")
    raise UsageError(f"{_WHERE} '{well}': no such well was read; ids are written as in the record, or SOURCE:ID.")


def _put(
    wells: pd.DataFrame, chosen: dict[str, dict[int, Any]], typed: dict[str, dict[int, str]], settings: Settings,
    log: IssueLog,
) -> pd.DataFrame:  # fmt: skip
    out = wells.copy(deep=False)
    touched: set[int] = set()
    for name, values in sorted(chosen.items()):
        rows = np.array(sorted(values), dtype=np.int64)
        if not len(rows):
            continue
        touched.update(values)
        column = out[name].copy()
        before = [_shown(name, v) for v in column.iloc[rows]]
        column.iloc[rows] = pd.Series([values[row] for row in rows.tolist()]).astype(column.dtype)
        out[name] = column
        log.rows(CODE, name, wells, rows, before, "the user's value", [typed[name][row] for row in rows.tolist()])
        if name == "completed_date":
            precision = out["completed_precision_code"].copy()
            precision.iloc[rows] = PRECISIONS[1]
            out["completed_precision_code"] = precision
    if touched:
        rows = np.array(sorted(touched), dtype=np.int64)
        some = out.iloc[rows]
        for name, fresh in (
            ("completeness_count", identity.completeness(some)),
            ("weight_inclusion_fraction", scope.weights(some["use_code"], settings.base("weight_unknown_use"))),
        ):
            column = out[name].copy()
            column.iloc[rows] = fresh
            out[name] = column
    return out


def _shown(name: str, value: Any) -> str | None:
    """What stood there before, with its unit."""
    if value is None or pd.isna(value):
        return None
    if isinstance(value, float):
        return f"{value:.6g} {schema.fields()[name].unit}".strip()
    return str(value.date()) if isinstance(value, pd.Timestamp) else str(value)
