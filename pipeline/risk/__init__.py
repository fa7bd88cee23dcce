"""Risk flags: what to look at before anything is ordered or lifted."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.risk.rule import Finding, Rule, rules
from pipeline.risk.view import Flags, View
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
    tripped = np.zeros((len(view), len(rules())), bool)
    parts = []
    for number, rule in enumerate(rules()):
        _, found = _look(view, rule)
        tripped[:, number] = found.tripped
        row = np.flatnonzero(found.tripped)
        if not len(row):
            continue
        limit = np.broadcast_to(rule.limit_of(view) if found.limit is None else found.limit, len(view))
        raised = np.zeros(len(row), bool) if found.raised is None else found.raised[row]
        parts.append(
            pd.DataFrame(
                {
                    "row": row, "number": number, "code": rule.code,
                    "severity_code": np.where(raised, rule.severity_raised, rule.severity),
                    "applies_to_code": rule.applies_to, "value": found.value[row], "limit": limit[row],
                    "unit": rule.unit or None,
                    "input_confidence_code": view.basis(rule.deciding).to_numpy(object)[row],
                }
            )
        )
    names = ["code", "severity_code", "applies_to_code", "value", "limit", "unit", "input_confidence_code"]
    if not parts:
        return view.keys.iloc[:0].assign(**{name: pd.Series(dtype=object) for name in names}, would_change_choice=None)
    lines = pd.concat(parts, ignore_index=True).sort_values(["row", "number"], kind="stable", ignore_index=True)
    keys = view.keys.take(lines["row"].to_numpy()).reset_index(drop=True)
    return pd.concat([keys, lines[names]], axis=1).assign(would_change_choice=None)


def flags(
    wells: pd.DataFrame, design: pd.DataFrame, selection: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    """Flags of every well: the table ``risks``.

    ``would_change_choice`` is left missing: whether another pipe would be chosen without the flagged
    condition is not worked out here.

    Parameters
    ----------
    wells, design, selection : DataFrame
        Tables of those names; columns that are absent count as missing.
    settings : Settings
        Limits, and the as-of date against which ages are taken; no date, no ages.

    Returns
    -------
    DataFrame
        One row a well and flag, in the order of ``wells`` and of the codes.
    """
    return flags_of(View(wells, design, selection, settings))


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
