"""Measured columns: people's numbers with the unit of the column, of a sister column or of the cell."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.errors import UsageError
from pipeline.normalise import numbers, text
from pipeline.normalise.issues import IssueLog
from pipeline.units import convert, spelled

OUTLYING_TIMES, OUTLYING_OTHERS = 2.0, 10


@dataclass
class Quantity:
    """One column in SI, and which rows say in words that the well is dry or flows."""

    values: NDArray[np.float64]
    dry: NDArray[np.bool_]
    flowing: NDArray[np.bool_]
    raw: text.Coded


def read(
    coded: text.Coded, name: str, unit: str, words: text.Coded | None, declared_missing: tuple[str, ...],
    positive: bool, decimal_comma: bool, keys: pd.DataFrame, log: IssueLog,
) -> Quantity:  # fmt: skip
    """A raw column as numbers in the unit of the field ``name``.

    Parameters
    ----------
    coded : Coded
        The raw column.
    unit : str
        Unit of the column; a unit written in a cell wins.
    words : Coded or None
        Sister column that holds a unit word a row; wins over ``unit``.
    declared_missing : tuple of str
        The layout's words for missing.
    positive : bool
        Zeros and negatives count as missing.
    decimal_comma : bool
        Whether the file writes decimal commas.
    """
    field = schema.fields()[name]
    coded = coded.without(text.lost(coded, declared_missing))
    dry, flowing = (text.is_in(coded.texts, text.words(kind)) for kind in ("dry", "flowing"))
    rows_dry, rows_flowing = coded.spread(dry, False), coded.spread(flowing, False)
    for marks in (rows_dry, rows_flowing):
        at = np.flatnonzero(marks)
        log.rows("N104", name, keys, at, coded.text(at), "a number", None)
    coded = coded.without(dry | flowing)
    read = numbers.parse_all(coded.texts, decimal_comma)
    values = _without_sentinels(coded, read.values.copy(), name, positive, keys, log)
    _tell(coded, read, name, keys, log)
    out = _to_unit(coded, read, values, field.unit, unit, words, name, keys, log)
    return Quantity(out, rows_dry, rows_flowing, coded)


def _without_sentinels(
    coded: text.Coded, values: NDArray[np.float64], name: str, positive: bool, keys: pd.DataFrame, log: IssueLog
) -> NDArray[np.float64]:
    zeros = np.isin(values, text.values_missing("zero", name)) | (positive & (values <= 0))
    marked = np.isin(values, text.values_missing("sentinel", name)) | _outlying(coded, values, name)
    for code, marks in (("N102", marked), ("N103", zeros & ~marked)):
        counts = coded.counts() if marks.any() else np.zeros(0, dtype=np.int64)
        for place in np.flatnonzero(marks):
            if counts[place]:
                log.once(code, name, keys,
                         coded.texts[int(place)].as_py(), f"{counts[place]} rows", None)  # fmt: skip
    values[zeros | marked] = np.nan
    return values


def _outlying(coded: text.Coded, values: NDArray[np.float64], name: str) -> NDArray[np.bool_]:
    """Values such as 999 that stand for not known where they lie far above all others of the column."""
    marked = np.isin(values, text.values_missing("outlying", name))
    if marked.any():
        counts = np.where(marked | np.isnan(values), 0, coded.counts())
        far = OUTLYING_TIMES * quantile(values, counts, 0.99) if counts.sum() >= OUTLYING_OTHERS else np.inf
        marked &= values > far
    return marked


def quantile(values: NDArray[np.float64], counts: NDArray[np.int64], share: float) -> float:
    """Quantile of values that each stand so many times: what numpy gives of them all, without spelling them out.

    Linear between neighbours in order; to the last bit that of ``numpy.quantile``.
    """
    held = np.flatnonzero(counts > 0)
    order = held[np.argsort(values[held], kind="stable")]
    reached = np.cumsum(counts[order])
    place = share * (reached[-1] - 1)
    low, high = (
        values[order[np.searchsorted(reached, k, side="right")]] for k in (np.floor(place), np.ceil(place))
    )
    step = place - np.floor(place)
    return float(low + (high - low) * step if step < 0.5 else high - (high - low) * (1 - step))


def _tell(coded: text.Coded, read: numbers.Numbers, name: str, keys: pd.DataFrame, log: IssueLog) -> None:
    bad = np.flatnonzero(coded.spread(read.qualifiers == numbers.UNREADABLE, False))
    log.rows("N101", name, keys, bad, coded.text(bad), "a number", None)
    loose = (read.qualifiers > numbers.EXACT) & (read.qualifiers < numbers.UNREADABLE)
    at = np.flatnonzero(coded.spread(loose, False))
    if len(at):
        places = coded.codes[at]
        used = [f"{read.values[p]:.6g} ({numbers.QUALIFIERS[read.qualifiers[p]]})" for p in places]
        log.rows("N105", name, keys, at, coded.text(at), "one plain number", used)


def _to_unit(
    coded: text.Coded, read: numbers.Numbers, values: NDArray[np.float64], target: str, unit: str,
    words: text.Coded | None, name: str, keys: pd.DataFrame, log: IssueLog,
) -> NDArray[np.float64]:  # fmt: skip
    # distinct values in the column's unit first, then cells and rows that name another
    plain = read.unit_codes == 0
    done = np.full(len(values), np.nan)
    if not target:
        done[plain] = values[plain]
    elif words is None:
        done[plain] = convert(values[plain], unit or target, target)
    failed = np.zeros(len(values), dtype=bool)
    differs = np.zeros(len(values), dtype=bool)
    for place, word in enumerate(read.units):
        here = (read.unit_codes == place) & ~np.isnan(values)
        if not place or not here.any():
            continue
        with suppress(UsageError):
            done[here] = convert(values[here], word.strip("()[] ") or word, target) if target else np.nan
        failed |= here & np.isnan(done)
        differs |= here & ~np.isnan(done) & (not unit or spelled(word) != spelled(unit))
    for code, marks, expected in (("N101", failed, "a number"), ("N106", differs, f"a value in {unit}")):
        at = np.flatnonzero(coded.spread(marks, False))
        if len(at):
            used = None if code == "N101" else [f"{v:.6g} {target}" for v in done[coded.codes[at]]]
            log.rows(code, name, keys, at, coded.text(at), expected, used)
    out = coded.spread(done, np.nan)
    if words is not None and target:
        bare = coded.spread(np.where(plain, values, np.nan), np.nan)
        out = _by_words(out, bare, target, unit, words, name, keys, log)
    return out


def _by_words(
    out: NDArray[np.float64], plain: NDArray[np.float64], target: str, unit: str, words: text.Coded, name: str,
    keys: pd.DataFrame, log: IssueLog,
) -> NDArray[np.float64]:  # fmt: skip
    counts = np.bincount(words.codes[(words.codes >= 0) & ~np.isnan(plain)], minlength=len(words.texts))
    for place, word in enumerate(words.texts.to_pylist()):
        here = (words.codes == place) & ~np.isnan(plain)
        if not counts[place]:
            continue
        try:
            out[here] = convert(plain[here], word, target)
        except UsageError:
            log.once("N203", name, keys, word,
                     f"a unit of {target}; {counts[place]} rows", None)  # fmt: skip
    silent = (words.codes < 0) & ~np.isnan(plain)
    if unit and silent.any():
        out[silent] = convert(plain[silent], unit, target)
    return out


def check_range(
    values: NDArray[np.float64], name: str, keys: pd.DataFrame, log: IssueLog, raw: text.Coded | None = None
) -> NDArray[np.float64]:
    """Values with those outside the hard range of fields.csv made missing; unusual ones are only noted."""
    field = schema.fields()[name]
    known = ~np.isnan(values)
    low, high = _or(field.hard_min, -np.inf), _or(field.hard_max, np.inf)
    outside = known & ~((values >= low) & (values <= high))
    at = np.flatnonzero(outside)
    if len(at):
        found = raw.text(at) if raw is not None else [f"{v:.6g}" for v in values[at]]
        log.rows("N201", name, keys, at, found, f"{low:g} to {high:g} {field.unit}".strip(), None)
        values = np.where(outside, np.nan, values)
    low, high = _or(field.typical_min, -np.inf), _or(field.typical_max, np.inf)
    unusual = known & ~outside & ~((values >= low) & (values <= high))
    at = np.flatnonzero(unusual)
    if len(at):
        found = raw.text(at) if raw is not None else [f"{v:.6g}" for v in values[at]]
        log.rows("N202", name, keys, at, found, f"mostly {low:g} to {high:g} {field.unit}".strip(),
                 [f"{v:.6g}" for v in values[at]])  # fmt: skip
    return values


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value
