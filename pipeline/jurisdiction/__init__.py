"""Rules of the place where a well lies: what they bar from the choice, and what of the result they leave open."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from pipeline import schema
from pipeline.jurisdiction.places import area_of, areas, fold
from pipeline.jurisdiction.quantities import OF_OPTION, QUANTITIES, Tables
from pipeline.jurisdiction.rules import Rule, rules
from pipeline.settings import Settings

__all__ = ["Rule", "barred", "judge", "of_pack", "packs", "rules"]
# limits in rounded customary units are held to a thousandth
_SLACK = 1e-3
_EDGE = 1e-6
_OUTCOMES = ("passes", "fails", "not_judged")


@lru_cache(maxsize=1)
def _declared() -> Settings:
    return Settings()


def _area(rule: Rule) -> str:
    """Area of a rule, one spelling of a state for all."""
    code = rule.area_code
    return (area_of(code, is_us=True) if code.upper().startswith("US") else "") or code


@lru_cache(maxsize=8)
def _places(settings: Settings) -> dict[str, dict[str, str]]:
    """Areas that have rules: words of a town to its pack, "" to the pack of the area itself."""
    found: dict[str, dict[str, str]] = {}
    for rule in rules(settings):
        area = _area(rule)
        place = found.setdefault(area, {})
        if not rule.region_words:
            place[""] = area
        for words in rule.region_words:
            place[fold(words)] = f"{area}/{fold(rule.region_words[0])}"
    return found


def packs(wells: pd.DataFrame, settings: Settings) -> pd.Series:
    """Pack of rules under which each well falls: an area, or area and town; "" where no rules are known.

    Parameters
    ----------
    wells : DataFrame
        Table ``wells``: ``area_code``, and ``region_code``, ``market_code``, ``latitude_deg``, ``longitude_deg``
        where there are.

    Returns
    -------
    Series of str, index of ``wells``
        Few distinct values.
    """
    known = _places(settings)
    area = areas(wells, frozenset(a for a in known if not a.startswith("US-")))
    region = wells["region_code"].astype(object) if "region_code" in wells else pd.Series(None, wells.index, object)
    both = pd.MultiIndex.from_arrays([area.to_numpy(object), region.where(region.notna(), "").to_numpy(object)])
    index, pairs = pd.factorize(both)
    found = []
    for where, town in pairs:
        place = known.get(where, {})
        found.append(place.get(fold(town)) or place.get("", "") if fold(town) else place.get("", ""))
    return pd.Series(np.array([*found, ""], dtype=object)[index], index=wells.index, dtype=object)


@lru_cache(maxsize=64)
def of_pack(pack: str, settings: Settings) -> tuple[Rule, ...]:
    """Rules of a pack: those of the town, and those of the area round it."""
    area = pack.partition("/")[0]
    known = _places(settings)
    words = {pack: {text for text, name in known.get(area, {}).items() if name == pack and text}}
    if not pack:
        return ()
    return tuple(
        rule for rule in rules(settings)
        if _area(rule) == area and (not rule.region_words or set(map(fold, rule.region_words)) & words[pack])
    )


def _is_for(rule: Rule, options: pd.DataFrame) -> NDArray[np.bool_]:
    """Which options a rule speaks of."""
    out = np.ones(len(options), bool)
    for name in ("family_code", "joint_code", "material_id"):
        wanted = getattr(rule, name)
        if wanted:
            out &= options[name].astype(object).isin(wanted).to_numpy(bool)
    if rule.class_words:
        label = options["class_label"].astype(object).where(options["class_label"].notna(), "")
        out &= label.astype(str).str.startswith(rule.class_words).to_numpy(bool)
    return out


def _met(rule: Rule, value: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Where a value meets the limit; a value that is not known meets none."""
    with np.errstate(invalid="ignore"):
        slack = abs(rule.value) * _SLACK
        return value >= rule.value - slack if rule.test == "at least" else value <= rule.value + slack


def _option_meets(rule: Rule, options: pd.DataFrame) -> NDArray[np.bool_]:
    if QUANTITIES[rule.quantity].is_code:
        return options[rule.quantity].astype(object).isin(rule.words).to_numpy(bool)
    return _met(rule, OF_OPTION[rule.quantity](options))


def barred(pack: str, options: pd.DataFrame, settings: Settings | None = None) -> dict[str, str]:
    """Options that the rules of a place forbid: option_id to the id of the first rule that does.

    Parameters
    ----------
    pack : str
        As :func:`packs` gives it; "" bars nothing.
    options : DataFrame
        ``option_id``, ``family_code``, ``material_id``, ``class_label``, ``joint_code``, ``rating_kpa`` of options.csv.
    settings : Settings, optional
        Names the user's own rules; without it the declared ones hold.

    Notes
    -----
    An option that does not tell what the rule asks for does not meet it.
    """
    out: dict[str, str] = {}
    for rule in of_pack(pack, settings or _declared()):
        if rule.applies_to == "option" and rule.severity == "stop":
            bad = _is_for(rule, options) & ~_option_meets(rule, options)
            for option in options["option_id"].astype(object)[bad]:
                out.setdefault(option, rule.rule_id)
    return out


def _judged(rule: Rule, tables: Tables) -> tuple[NDArray[np.bool_], NDArray[np.int8], NDArray[np.float64]]:
    """Of which wells a rule speaks, its outcome by place in _OUTCOMES, and the value judged."""
    quantity = QUANTITIES[rule.quantity]
    speaks = np.ones(len(tables), bool)
    unsure = np.zeros(len(tables), bool)
    if rule.uses:
        speaks &= tables.column("design", "use_code").astype(object).isin(rule.uses).to_numpy(bool)
    if rule.exempt:
        speaks &= ~(tables.truth("wells", rule.exempt) == 1)
    if rule.applies_to in ("option", "selection", "bill"):
        chosen = tables.has_option()
        unsure |= ~chosen
        if rule.family_code or rule.joint_code or rule.material_id or rule.class_words:
            speaks &= _is_for(rule, tables.option) | ~chosen
    if rule.when:
        read = QUANTITIES[rule.when].read
        assert read is not None
        at = read(tables)
        # a depth belongs to the range that it ends; a size belongs to both
        open_below = rule.when == "depth_well" and rule.when_from > 0
        above = at > rule.when_from + _EDGE if open_below else at >= rule.when_from - _EDGE
        inside = (np.isnan(rule.when_from) | above) & (np.isnan(rule.when_to) | (at <= rule.when_to + _EDGE))
        speaks &= inside | np.isnan(at)
        unsure |= np.isnan(at)
    if quantity.is_code:
        value = np.full(len(tables), np.nan)
        met = _option_meets(rule, tables.option)
    else:
        assert quantity.read is not None
        value = quantity.read(tables)
        unsure |= np.isnan(value)
        met = _met(rule, value)
    if not np.isnan(rule.hours):  # a yield counts once it was held as long as the rule asks
        held = tables.number("wells", "duration_test_s") >= rule.hours * 3600.0 * (1 - _SLACK)
        unsure |= met & ~held
    outcome = np.where(unsure, 2, np.where(met, 0, 1)).astype(np.int8)
    return speaks, outcome, value


def judge(
    wells: pd.DataFrame, design: pd.DataFrame, selection: pd.DataFrame, bill_lines: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    """Table ``local_rules``: what the rules of its place say of every well.

    Parameters
    ----------
    wells, design, selection, bill_lines : DataFrame
        Tables of those names; columns that are absent count as missing.

    Returns
    -------
    DataFrame
        One row a well and rule that speaks of it: passes, fails, or not judged where record, choice and bill do
        not tell. Duties speak of no well and have no rows. Empty where no well lies in a place with rules.
    """
    names = [column.field.name for column in schema.table("local_rules")]
    pack = packs(wells, settings)
    parts: list[tuple[NDArray, ...]] = []
    told: list[Rule] = []
    options = pd.DataFrame(list(schema.rows("options")))
    for name in sorted(set(pack) - {""}):
        here = np.flatnonzero((pack == name).to_numpy(bool))
        some = wells.take(here)
        tables = Tables(some, _take(design, here, wells), _take(selection, here, wells), bill_lines, options, settings)
        for rule in of_pack(name, settings):
            if rule.applies_to == "duty":
                continue
            speaks, outcome, value = _judged(rule, tables)
            row = np.flatnonzero(speaks)
            parts.append((here[row], np.full(len(row), len(told), np.int32), outcome[row], value[row]))
            told.append(rule)
    if not parts:
        return pd.DataFrame({n: pd.Series(dtype=object) for n in names})
    row, number, outcome, value = (np.concatenate(part) for part in zip(*parts, strict=True))
    order = np.lexsort((number, row))
    row, number, outcome, value = row[order], number[order], outcome[order], value[order]
    return wells[["source_id", "well_id"]].take(row).reset_index(drop=True).assign(
        rule_id=_text([r.rule_id for r in told], number),
        judgement_code=_text(_OUTCOMES, outcome.astype(np.int32)),
        severity_code=_text([r.severity for r in told], number),
        value=value,
        limit=np.array([r.value for r in told])[number],
        unit=_text([QUANTITIES[r.quantity].ucum or None for r in told], number),
    )[names]  # fmt: skip


def _take(frame: pd.DataFrame, rows: NDArray[np.intp], wells: pd.DataFrame) -> pd.DataFrame:
    """Rows of a table that runs beside the wells; the whole where it does not."""
    return frame.take(rows) if len(frame) == len(wells) else frame


def _text(words: list[str | None] | tuple[str, ...], index: NDArray[np.int32]) -> pd.Series:
    coded = pa.array(list(words), pa.string()).take(pa.array(index))
    return pd.Series(coded, dtype=pd.ArrowDtype(pa.string()))
