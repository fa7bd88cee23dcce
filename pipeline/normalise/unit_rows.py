"""Rows written in another unit than their column: feet among metres, inches among millimetres, a lost point.

Looks across the records of one source. A value is tried only where its record contradicts itself, and a repair
is proposed only where one other unit alone removes the contradiction and a second side speaks for it: the value
lies far from those of comparable records and the converted one among them, or the digits of the column lie on the
grid of the other unit (round feet in a column of metres). An outlier alone proves nothing and is left.
Units and their alternatives are rows of schemas/row_units.csv.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.errors import UsageError
from pipeline.normalise import rules_hold
from pipeline.normalise.comparable_rows import FEWEST, Comparable, Places
from pipeline.normalise.issues import IssueLog, shown
from pipeline.normalise.repairs import ROUNDING_M, count_repaired
from pipeline.units import convert

ENDS = (0.02, 0.98)
LOG_M = 1.0  # logs are rounded to the metre or yard
MOST_SHARE = 0.25  # of the records; beyond it the column is misread, not the row
LEAST_RATIO = 2.0  # uS/cm for each mg/L of chloride; see V135
GRID_SHARE, GRID_LEAD, GRID_STEP = 0.6, 0.3, 0.02
BOTTOM = ("depth_completed_m", "depth_drilled_m")
# upper, lower, how far the upper may lie below the lower; "" is the deeper of the two bottoms
ORDER = (
    ("depth_static_m", "", ROUNDING_M), ("depth_pump_m", "", ROUNDING_M), ("depth_pumping_m", "", ROUNDING_M),
    ("depth_screen_top_m", "depth_screen_bottom_m", ROUNDING_M), ("depth_screen_bottom_m", "", LOG_M),
    ("depth_casing_bottom_m", "depth_drilled_m", LOG_M), ("depth_completed_m", "depth_drilled_m", LOG_M),
    ("depth_static_m", "depth_pumping_m", ROUNDING_M), ("length_drop_pipe_m", "", 3 * LOG_M),
    ("depth_static_m", "depth_pump_m", -ROUNDING_M),
)  # fmt: skip
# what the second side is where it is not the digits
SECOND = {"P112": "a size that others of the source hold"}
# fields whose contradictions are rules of the scan, and the rules that speak of them
RULED = {
    "diameter_casing_inside_m": ("P112", ("V110", "V111")),
    "flow_tested_m3_per_s": ("P113", ("V123", "V138")),
    "conductivity_us_per_cm": ("P114", ("V135",)),
}


@dataclass(frozen=True)
class Other:
    """Another unit that a row may be in: what the SI value is multiplied by, and how to say so."""

    times: float
    words: str
    slope: float  # SI a unit
    own: float  # SI a declared unit


def others(field: str, unit: str) -> list[Other]:
    """Units that rows of a column declared in ``unit`` may be in by mistake."""
    target, kind = schema.fields()[field].unit, "length" if field.startswith(("depth_", "length_")) else field
    if not unit or not target:
        return []
    out = []
    try:
        own = float(convert(1.0, unit, target))
        for row in schema.rows("row_units"):
            if row["field"] == kind and abs(float(convert(1.0, row["declared"], target)) / own - 1) < 1e-9:
                slope = float(convert(1.0, row["alternative"], target)) / float(row["divided_by"])
                out.append(Other(slope / own, row["note"], slope, own))
    except UsageError:
        return []
    return out


def mend(wells: pd.DataFrame, units: Mapping[str, str], log: IssueLog, since: int = 0) -> None:
    """Propose repairs of values in a wrong unit; changes ``wells``.

    Parameters
    ----------
    wells : DataFrame
        Records of one source in SI.
    units : mapping of field -> declared unit
    since : int
        Mark of the log before the source was read: values outside their possible range are tried too.
    """
    places = Places(wells)
    _depths(wells, units, places, log)
    for field, (code, rules) in RULED.items():
        if field in wells and units.get(field):
            _ruled(wells, field, units[field], code, rules, places, log, since)
    _drawdowns(wells, places, log)


def _broken(values: Mapping[str, NDArray[np.float64]], jet: NDArray[np.bool_]) -> NDArray[np.int64]:
    """How many relations of ORDER each row breaks; missing values break none."""
    size = len(jet)
    missing = np.full(size, np.nan)
    count = np.zeros(size, dtype=np.int64)
    deepest = np.fmax(*(values.get(name, missing) for name in BOTTOM))
    for upper, lower, slack in ORDER:
        if upper in values and (not lower or lower in values):
            wrong = values[upper] > (values[lower] if lower else deepest) + slack
            count += wrong & ~jet if lower == "depth_pump_m" else wrong
    return count


def _depths(wells: pd.DataFrame, units: Mapping[str, str], places: Places, log: IssueLog) -> None:
    names = dict.fromkeys(name for pair in ORDER for name in (*pair[:2], *BOTTOM) if name in wells)
    values = {name: wells[name].to_numpy(dtype=np.float64) for name in names}
    jet = (wells["pump_kind_code"] == "jet").to_numpy(bool) if "pump_kind_code" in wells else np.zeros(len(wells), bool)
    broken = _broken(values, jet)
    at = np.flatnonzero(broken)
    if not len(at) or len(at) > max(MOST_SHARE * len(wells), 5):
        return
    rows, here = {name: v[at] for name, v in values.items()}, jet[at]
    found: list[tuple[str, Other, NDArray[np.bool_], NDArray[np.bool_], Comparable]] = []
    for name in names:
        tries = others(name, units.get(name, ""))
        if not tries or not (~np.isnan(rows[name])).any():
            continue
        near = Comparable.of(places, values[name], at, broken == 0)
        for other in tries:
            moved = rows[name] * other.times
            mends = (_broken({**rows, name: moved}, here) == 0) & ~np.isnan(moved)
            if mends.any():
                written = _as_written(values[name][broken == 0], rows[name], other)
                among = mends & written & near.far(rows[name]) & near.among(moved)
                grid = mends & _grid(values[name][broken == 0], rows[name], other)
                found.append((name, other, among, grid, near))
    fits = sum(((among | grid).astype(int) for _, _, among, grid, _ in found), np.zeros(len(at), dtype=int))
    fits += _falls(wells, rows, here, at, log)
    for name, other, among, grid, near in found:
        take = np.flatnonzero((among | grid) & (fits == 1))
        _propose("P111", name, other, wells, at[take], among[take], grid[take], near.size[take],
                 "the record contradicts itself and agrees only so", log)  # fmt: skip


def _falls(
    wells: pd.DataFrame, rows: Mapping[str, NDArray[np.float64]], jet: NDArray[np.bool_], at: NDArray[np.int64],
    log: IssueLog,
) -> NDArray[np.int64]:  # fmt: skip
    """Pumping levels that are drawdowns: above the static level, and below it once added to it.

    Proposed where the drawdown is recorded too and equals it. Returns 1 where the reading removes the contradiction,
    so that another reading of the same row is not alone.
    """
    if not {"depth_pumping_m", "depth_static_m"} <= set(rows):
        return np.zeros(len(at), dtype=np.int64)
    level, static = rows["depth_pumping_m"], rows["depth_static_m"]
    moved = static + level
    reads = (level < static) & (level > 0) & (_broken({**rows, "depth_pumping_m": moved}, jet) == 0)
    if reads.any() and "drawdown_test_m" in wells:
        fall = wells["drawdown_test_m"].to_numpy(dtype=np.float64)[at]
        take = np.flatnonzero(reads & (np.abs(fall - level) <= ROUNDING_M))
        if len(take):
            taken = log.propose("P116", "depth_pumping_m", wells, at[take], shown(level[take]), shown(moved[take]),
                                "equal to the recorded drawdown, and above the static level as found", "strong",
                                "a level below the static level")  # fmt: skip
            values = wells["depth_pumping_m"].to_numpy(dtype=np.float64, copy=True)
            values[at[take]] = moved[take] if taken else np.nan
            wells["depth_pumping_m"] = values
            if taken:
                count_repaired(wells, at[take])
    return reads.astype(np.int64)


def _as_written(column: NDArray[np.float64], rows: NDArray[np.float64], other: Other) -> NDArray[np.bool_]:
    """Rows whose figure is written as people write the other unit: whole in the finer, not whole in the coarser.

    A figure in a coarser unit may be whole by chance, which counts against it only where the column is whole.
    """
    whole = np.abs(rows / other.own - np.round(rows / other.own)) <= GRID_STEP
    if other.times < 1:
        return whole
    known = column[~np.isnan(column)][:20_000] / other.own
    mostly = len(known) > 0 and float((np.abs(known - np.round(known)) <= GRID_STEP).mean()) >= GRID_SHARE
    return ~whole if mostly else np.ones(len(rows), dtype=bool)


def _grid(column: NDArray[np.float64], rows: NDArray[np.float64], other: Other) -> NDArray[np.bool_]:
    """Rows that are whole in their own figures where the column is whole in the other unit, or the reverse."""
    known = column[~np.isnan(column)]
    if len(known) < FEWEST:
        return np.zeros(len(rows), dtype=bool)
    known = known[:: max(len(known) // 20_000, 1)]

    def whole(values: NDArray[np.float64], unit: float) -> NDArray[np.bool_]:
        return np.abs(values / unit - np.round(values / unit)) <= GRID_STEP

    in_other, in_own = (float(whole(known, unit).mean()) for unit in (other.slope, other.own))
    if in_other >= GRID_SHARE and in_other >= in_own + GRID_LEAD:
        return whole(rows, other.own) & ~whole(rows, other.slope)
    if in_own >= GRID_SHARE:
        # the figure itself is no whole number; taken as the other unit it is a whole number of the column's
        return ~whole(rows, other.own) & whole(rows * other.times, other.own)
    return np.zeros(len(rows), dtype=bool)


def _propose(
    code: str, name: str, other: Other, wells: pd.DataFrame, at: NDArray[np.int64], among: NDArray[np.bool_],
    grid: NDArray[np.bool_], size: NDArray[np.int64], first: str, log: IssueLog,
) -> None:  # fmt: skip
    """Tell one kind of slip for some rows, and use it or give the values up."""
    if not len(at):
        return
    values = wells[name].to_numpy(dtype=np.float64, copy=True)
    moved = values[at] * other.times
    why = []
    for a, g, n in zip(among, grid, size, strict=True):
        sides = [f"{other.words}: {first}"]
        sides += [f"far from {n} comparable records as found, among them so"] if a else []
        sides += [SECOND.get(code, "its digits lie on the grid of the other unit")] if g else []
        why.append("; ".join(sides))
    strength = ["strong" if a and g else "fair" for a, g in zip(among, grid, strict=True)]
    taken = log.propose(code, name, wells, at, shown(values[at]), shown(moved), why, strength, "a value that agrees")
    values[at] = moved if taken else np.nan
    wells[name] = values
    if taken:
        count_repaired(wells, at)


def _ruled(
    wells: pd.DataFrame, field: str, unit: str, code: str, rules: tuple[str, ...], places: Places, log: IssueLog,
    since: int,
) -> None:  # fmt: skip
    """Fields that contradict others by a rule of the scan, or lay outside their possible range when read."""
    tries = others(field, unit)
    values = wells[field].to_numpy(dtype=np.float64, copy=True)
    lost_at, lost = _outside(wells, field, unit, values, log, since)
    suspect = _suspect(values, field)
    suspect[lost_at] = False
    at = np.flatnonzero(suspect)
    if len(at):
        at = at[rules_hold.failing(wells[rules_hold.needs(wells, rules)].iloc[at], rules)]
    at = np.concatenate([at, lost_at])
    if not tries or not len(at) or len(at) > max(MOST_SHARE * len(wells), 5):
        return
    rows = np.concatenate([values[at[: len(at) - len(lost_at)]], lost])
    order = np.argsort(at, kind="stable")
    at, rows = at[order], rows[order]
    sound = np.ones(len(wells), dtype=bool)
    sound[at] = False
    near = Comparable.of(places, values, at, sound)
    declared = schema.fields()[field]
    low, high = declared.typical_min or 0.0, declared.typical_max or np.inf
    fits, picked = np.zeros(len(at), dtype=int), np.full(len(at), -1)
    grids = np.zeros(len(at), dtype=bool)
    for place, other in enumerate(tries):
        moved = rows * other.times
        fine = near.far(rows) & (moved >= low) & (moved <= high)
        if code == "P114":  # as salty as its chloride says, which its neighbours need not be
            chloride = wells["chloride_mg_per_l"].to_numpy(dtype=np.float64)[at]
            fine = near.far(rows) & (moved >= LEAST_RATIO * chloride) & (moved <= (declared.hard_max or np.inf))
        else:
            fine &= near.held(moved) if field == "diameter_casing_inside_m" else near.among(moved)
        if fine.any():
            trial = wells[rules_hold.needs(wells, rules)].iloc[at[fine]].assign(**{field: moved[fine]})
            fine[np.flatnonzero(fine)[rules_hold.failing(trial, rules)]] = False
        fits += fine
        picked[fine] = place
        grids |= fine & _grid(values[sound], rows, other)
    lone = fits == 1
    sizes = field == "diameter_casing_inside_m"
    values[at] = rows
    wells[field] = values
    first = {
        "P112": "no pump passes it or no such well is drilled",
        "P113": "more than its bore passes or its drawdown brings",
        "P114": "less than its chloride alone brings",
    }[code]
    for place, other in enumerate(tries):
        take = np.flatnonzero(lone & (picked == place))
        _propose(code, field, other, wells, at[take], np.ones(len(take), bool), grids[take] | sizes, near.size[take],
                 first, log)  # fmt: skip
    # what lay outside the possible range and found no explanation stays missing
    left = np.isin(at, lost_at) & ~lone
    if left.any():
        values = wells[field].to_numpy(copy=True)
        values[at[left]] = np.nan
        wells[field] = values


def _suspect(values: NDArray[np.float64], field: str) -> NDArray[np.bool_]:
    """Rows worth asking the rules about: the far ends of the column; of yields the high end, as the rules do."""
    known = values[~np.isnan(values)]
    if not len(known):
        return np.zeros(len(values), dtype=bool)
    if field == "conductivity_us_per_cm":
        return ~np.isnan(values)
    low, high = np.quantile(known[:: max(len(known) // 50_000, 1)], ENDS)
    return (values > high) | (values < low) & (field != "flow_tested_m3_per_s")


def _outside(
    wells: pd.DataFrame, field: str, unit: str, values: NDArray[np.float64], log: IssueLog, since: int
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Rows whose value was outside its possible range when read, and that value in SI, where nothing else stands."""
    none: tuple[NDArray[np.int64], NDArray[np.float64]] = np.zeros(0, dtype=np.int64), np.zeros(0)
    told = log.outside_range(field, since)
    if told.empty:
        return none
    told = told.drop_duplicates(["source_file", "source_row", "well_id"])
    number = pd.to_numeric(told["found"], errors="coerce").to_numpy(dtype=np.float64)
    told, number = told[~np.isnan(number)], number[~np.isnan(number)]
    # a record of the wells table by its id, once; a child row where its well has no other value
    ids = pd.Index(wells["well_id"])
    once = ~told["well_id"].duplicated(keep=False).to_numpy() & ~told["well_id"].isin(ids[ids.duplicated()]).to_numpy()
    place = np.full(len(told), -1)
    if once.any():
        place[once] = ids[~ids.duplicated()].get_indexer(pd.Index(told["well_id"][once]))
        unlike = np.flatnonzero(~ids.duplicated())
        place[once] = np.where(place[once] >= 0, unlike[np.maximum(place[once], 0)], -1)
    fit = (place >= 0) & np.isnan(values[np.maximum(place, 0)])
    return place[fit].astype(np.int64), np.asarray(convert(number[fit], unit, schema.fields()[field].unit), dtype=float)


def _drawdowns(wells: pd.DataFrame, places: Places, log: IssueLog) -> None:
    """Drawdowns that are pumping levels: farther than the water column, yet a level between rest and bottom."""
    if not {"drawdown_test_m", "depth_static_m"} <= set(wells):
        return
    fall, static = (wells[n].to_numpy(dtype=np.float64) for n in ("drawdown_test_m", "depth_static_m"))
    missing = np.full(len(wells), np.nan)
    bottoms = [wells[n].to_numpy(dtype=np.float64) if n in wells else missing for n in BOTTOM]
    deepest = np.fmax(*bottoms)
    level = wells["depth_pumping_m"].to_numpy(dtype=np.float64) if "depth_pumping_m" in wells else missing
    sits = (fall > static + ROUNDING_M) & (fall <= deepest + ROUNDING_M) & (static > ROUNDING_M)
    same = np.abs(fall - level) <= ROUNDING_M
    wrong = sits & ((fall > deepest - static + ROUNDING_M) | same)
    at = np.flatnonzero(wrong)
    if not len(at) or len(at) > max(MOST_SHARE * len(wells), 5):
        return
    near = Comparable.of(places, fall, at, ~wrong)
    moved = fall[at] - static[at]
    told = same[at] & (fall[at] > static[at])
    take = np.flatnonzero(told | (near.far(fall[at]) & near.among(moved)))
    if not len(take):
        return
    at, moved = at[take], moved[take]
    far = ("farther than the water stands above the bottom; less the static level it lies among those of {} comparable "
           "records, and as found far from them")  # fmt: skip
    same_words = "equal to the recorded pumping level"
    why = [same_words if t else far.format(n) for t, n in zip(told[take], near.size[take], strict=True)]
    strength = ["strong" if t else "fair" for t in told[take]]
    taken = log.propose("P115", "drawdown_test_m", wells, at, shown(fall[at]), shown(moved), why, strength,
                        "a fall within the water column")  # fmt: skip
    values = fall.copy()
    values[at] = moved if taken else np.nan
    wells["drawdown_test_m"] = values
    if taken:
        count_repaired(wells, at)
