"""Risk flags: what to look at before anything is ordered or lifted."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from pipeline import schema
from pipeline.risk.rule import Finding, Rule, rules
from pipeline.risk.view import BASES, Flags, View
from pipeline.settings import Settings

__all__ = ["Finding", "Rule", "View", "flags", "flags_of", "judged", "judged_of", "rules"]


def _look(view: View, rule: Rule) -> tuple[Flags, Finding]:
    """Where a rule can be judged, and its finding there: what is not judged is never tripped."""
    able = view.has(rule.needs)
    if not able.any():
        return able, Finding(np.zeros(len(view), bool), np.full(len(view), np.nan))
    with np.errstate(invalid="ignore", divide="ignore"):
        found = rule.test(view, rule.limit_of(view))
    return able, Finding(able & found.tripped, found.value, found.limit, found.raised)


def flags_of(view: View) -> pd.DataFrame:
    """Table ``risks`` for the wells of a view, in their order, flags in the order of their codes."""
    every = rules()
    parts: list[tuple[NDArray, ...]] = []
    for number, rule in enumerate(every):
        _, found = _look(view, rule)
        row = np.flatnonzero(found.tripped)
        limit = np.broadcast_to(rule.limit_of(view) if found.limit is None else found.limit, len(view))
        raised = np.zeros(len(row), bool) if found.raised is None else found.raised[row]
        numbers = np.full(len(row), number, np.int32)
        parts.append((row, numbers, raised, found.value[row], limit[row], view.basis(rule.deciding, row)))
    row, number_of, raised, value, limit, basis = (np.concatenate(part) for part in zip(*parts, strict=True))
    order = np.argsort(row * len(every) + number_of, kind="stable")
    row, number_of, raised = row[order], number_of[order], raised[order]
    severities = [rule.severity for rule in every] + [rule.severity_raised for rule in every]
    return view.keys.take(row).reset_index(drop=True).assign(
        code=_text([rule.code for rule in every], number_of),
        severity_code=_text(severities, (number_of + len(every) * raised).astype(np.int32)),
        applies_to_code=_text([rule.applies_to for rule in every], number_of),
        value=value[order],
        limit=limit[order],
        unit=_text([rule.unit or None for rule in every], number_of),
        input_confidence_code=_text(list(BASES), basis[order]),
        would_change_choice=None,
    )


def _text(words: Sequence[str | None], index: NDArray[np.int32]) -> pd.Series:
    """Text column from few words and an index, without a Python object a row."""
    coded = pa.array(words, pa.string()).take(pa.array(index))
    return pd.Series(coded, dtype=pd.ArrowDtype(pa.string()))


def _changes(found: pd.DataFrame, row: NDArray[np.int64], changes: pd.DataFrame) -> pd.Series:
    """Whether each flag changes the choice: by its check where it has one, never where it has none, else missing."""
    checks = {r["code"]: r["check_code"] for r in schema.rows("risk_choice")}
    out = pd.Series(pd.array([pd.NA] * len(found), dtype="boolean"))
    check = found["code"].astype(object).map(checks)
    out[(check == "none").to_numpy()] = False
    for name in changes.columns:
        here = (check == name).to_numpy()
        out[here] = changes[name].to_numpy()[row[here]]
    return out


def flags(
    wells: pd.DataFrame,
    design: pd.DataFrame,
    selection: pd.DataFrame,
    settings: Settings,
    changes: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Flags of every well: the table ``risks``.

    Parameters
    ----------
    wells, design, selection : DataFrame
        Tables of those names; columns that are absent count as missing.
    settings : Settings
        Limits, and the as-of date against which ages are taken; no date, no ages.
    changes : DataFrame of bool, optional
        From sizing.Sized, in the order of ``wells``: whether another family would be chosen without a check.
        Fills ``would_change_choice``; without it, and for flags that move the design point itself, that is missing.

    Returns
    -------
    DataFrame
        One row a well and flag, in the order of ``wells`` and of the codes.
    """
    found = flags_of(View(wells, design, selection, settings))
    if changes is not None and len(found):
        keys = ["source_id", "well_id"]
        place = pd.MultiIndex.from_frame(wells[keys].astype(object))
        row = place.get_indexer(pd.MultiIndex.from_frame(found[keys].astype(object)))
        found["would_change_choice"] = _changes(found, row, changes)
    return found


def judged_of(view: View) -> pd.DataFrame:
    """Counts of :func:`judged` for the wells of a view."""
    rows = []
    for rule in rules():
        able, found = _look(view, rule)
        rows.append((rule.code, int(able.sum()), int(found.tripped.sum()), int(len(view) - able.sum())))
    return pd.DataFrame(rows, columns=["code", "judged_count", "tripped_count", "not_judged_count"])


def judged(
    wells: pd.DataFrame, design: pd.DataFrame, selection: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    """How many wells each rule could judge, how many it tripped, how many lack what it needs.

    Returns
    -------
    DataFrame, one row a rule
        code, judged_count, tripped_count, not_judged_count; counts of chunks may be added.
    """
    return judged_of(View(wells, design, selection, settings))
