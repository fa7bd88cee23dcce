"""Contradictions between depths, and yields of the wrong hour: repaired where one explanation alone fits.

The order that must hold is static level above pump, pump not below the bottom. A record that breaks it is
tried against the slips seen in real records; exactly one must mend it to be proposed. A proposal that the run
does not accept leaves the values that contradict each other missing, as does a contradiction without one.
Every proposal and every value given up is an issue that keeps what was found.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.normalise.issues import IssueLog, shown
from pipeline.normalise.text import values_missing
from pipeline.units import convert

PIPE_FT = 10.0
LARGEST_PIPE_COUNT = 60
ROUNDING_M = 0.006
REPAIRED = "repaired_count"


@cache
def foot_m() -> float:
    """One foot in metres."""
    return float(convert(1.0, "ft", "m"))


def _get(wells: pd.DataFrame, name: str) -> NDArray[np.float64]:
    return wells[name].to_numpy(dtype=np.float64, copy=True) if name in wells else np.full(len(wells), np.nan)


def in_order(static: NDArray[np.float64], pump: NDArray[np.float64], bottom: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether static < pump <= bottom; false where a value is missing. Metres below ground."""
    return (static < pump) & (pump <= bottom + ROUNDING_M)


def explanations(
    static: NDArray[np.float64], pump: NDArray[np.float64], bottom: NDArray[np.float64], is_metric: bool
) -> dict[str, NDArray[np.bool_]]:
    """Which slips would put a well in order, for wells that are not.

    Parameters
    ----------
    static, pump, bottom : ndarray (n,)
        Metres below ground.
    is_metric : bool
        Whether the pump column is declared in metres, so that feet can stand in it by mistake.

    Returns
    -------
    dict of code -> ndarray (n,) of bool
        P101 exchanged level and depth; P102 pump depth in feet; P104 pump depth a count of ten-foot pipes.
    """
    count = pump / foot_m()
    whole = (np.abs(count - np.round(count)) * foot_m() <= ROUNDING_M) & (count >= 1) & (count <= LARGEST_PIPE_COUNT)
    feet = np.full(len(pump), is_metric)
    return {
        "P101": in_order(bottom, pump, static) & (bottom > 0),
        "P102": feet & in_order(static, pump * foot_m(), bottom) & (pump > bottom),
        "P104": whole & in_order(static, np.round(count) * PIPE_FT * foot_m(), bottom) & (pump <= static),
    }


def mend_depths(wells: pd.DataFrame, units: Mapping[str, str], log: IssueLog) -> None:
    """Propose repairs of depths that contradict each other; changes ``wells``."""
    static, pump = _get(wells, "depth_static_m"), _get(wells, "depth_pump_m")
    done, drilled = _get(wells, "depth_completed_m"), _get(wells, "depth_drilled_m")
    _mend_completed(wells, done, drilled, units, log)
    bottom = np.where(np.isnan(done), drilled, done)
    complete = ~np.isnan(static) & ~np.isnan(pump) & ~np.isnan(bottom)
    jet = (wells["pump_kind_code"] == "jet").to_numpy(dtype=bool) if "pump_kind_code" in wells else False
    wrong = complete & ~in_order(static, pump, bottom) & ~(jet & (pump <= bottom) & (static <= bottom))
    fits = explanations(static, pump, bottom, units.get("depth_pump_m", "") in ("m", "meter", "metre"))
    alone = sum(f.astype(int) for f in fits.values()) == 1
    swap, feet, pipes = (np.flatnonzero(wrong & alone & fits[c]) for c in ("P101", "P102", "P104"))

    found = [f"level {s}, bottom {b}" for s, b in zip(shown(static[swap]), shown(bottom[swap]), strict=True)]
    put = [f"level {b}, bottom {s}" for s, b in zip(shown(static[swap]), shown(bottom[swap]), strict=True)]
    why = [f"exchanged, the pump at {p} m hangs below the level and above the bottom; as found it does neither"
           for p in shown(pump[swap])]  # fmt: skip
    if log.propose("P101", "depth_static_m", wells, swap, found, put, why, "strong",
                   "level above the pump, pump above the bottom"):  # fmt: skip
        moved = static[swap].copy()
        same = np.isnan(drilled[swap]) | (drilled[swap] == bottom[swap])
        static[swap] = bottom[swap]
        had = ~np.isnan(done[swap])
        drilled[swap] = np.where(~np.isnan(drilled[swap]) & (same | ~had), moved, drilled[swap])
        done[swap] = np.where(had, moved, done[swap])
        count_repaired(wells, swap)
    else:
        # which of the two is which is open, so neither stands
        static[swap], done[swap], drilled[swap] = np.nan, np.nan, np.nan

    grid = "; a whole number of feet, as a count carried from feet to metres is"
    for code, at, values, more, strength in (
        ("P102", feet, pump[feet] * foot_m(), "", "fair"),
        ("P104", pipes, np.round(pump[pipes] / foot_m()) * PIPE_FT * foot_m(), grid, "strong"),
    ):
        why = [f"only so between level {s} m and bottom {b} m{more}"
               for s, b in zip(shown(static[at]), shown(bottom[at]), strict=True)]  # fmt: skip
        taken = log.propose(code, "depth_pump_m", wells, at, shown(pump[at]), shown(values), why, strength,
                            "between level and bottom, in m")  # fmt: skip
        pump[at] = values if taken else np.nan
        if taken:
            count_repaired(wells, at)
    for name, values in (("depth_static_m", static), ("depth_pump_m", pump), ("depth_completed_m", done),
                         ("depth_drilled_m", drilled)):  # fmt: skip
        if name in wells:
            wells[name] = values


def give_up(wells: pd.DataFrame, log: IssueLog) -> None:
    """Levels and pump depths that still contradict the others become missing; changes ``wells``."""
    static, pump = _get(wells, "depth_static_m"), _get(wells, "depth_pump_m")
    deepest = np.fmax(_get(wells, "depth_completed_m"), _get(wells, "depth_drilled_m"))
    jet = (wells["pump_kind_code"] == "jet").to_numpy(dtype=bool) if "pump_kind_code" in wells else False
    if not _give_up(wells, static, pump, deepest, jet, log):
        return
    for name, values in (("depth_static_m", static), ("depth_pump_m", pump)):
        if name in wells:
            wells[name] = values


def count_repaired(wells: pd.DataFrame, at: NDArray[np.int64]) -> None:
    """Note that one more value of the records ``at`` rests on an accepted repair."""
    count = wells[REPAIRED].to_numpy(copy=True) if REPAIRED in wells else np.zeros(len(wells), dtype=np.int8)
    count[at] += 1
    wells[REPAIRED] = count


def _mend_completed(
    wells: pd.DataFrame, done: NDArray[np.float64], drilled: NDArray[np.float64], units: Mapping[str, str],
    log: IssueLog,
) -> None:  # fmt: skip
    """Completed depths that the drilled depth beside them shows to be nines for not known, or feet for metres."""
    listed = values_missing("outlying", "depth_completed_m")
    nines = np.isin(np.round(done, 3), listed) | np.isin(np.round(done / foot_m(), 3), listed)
    at = np.flatnonzero(nines & (done > 1.5 * drilled))
    log.rows("N102", "depth_completed_m", wells, at, shown(done[at]), "not below the hole", None)
    done[at] = np.nan
    if units.get("depth_completed_m", "") not in ("m", "meter", "metre"):
        return
    at = np.flatnonzero((done > drilled * 1.01) & (np.abs(done * foot_m() / drilled - 1) <= 0.01))
    mended = done[at] * foot_m()
    why = [f"read as feet within a hundredth of the drilled depth, {d} m" for d in shown(drilled[at])]
    taken = log.propose("P103", "depth_completed_m", wells, at, shown(done[at]), shown(mended), why, "strong",
                        "not below the hole, in m")  # fmt: skip
    done[at] = mended if taken else np.nan
    if taken:
        count_repaired(wells, at)


def _give_up(
    wells: pd.DataFrame, static: NDArray[np.float64], pump: NDArray[np.float64], bottom: NDArray[np.float64],
    jet: NDArray[np.bool_] | bool, log: IssueLog,
) -> bool:  # fmt: skip
    """Values that still contradict the others become missing; whether there were any."""
    under = np.flatnonzero(static > bottom + ROUNDING_M)
    log.rows("P110", "depth_static_m", wells, under, shown(static[under]), "above the bottom", None)
    static[under] = np.nan
    lost = np.flatnonzero((pump > bottom + ROUNDING_M) | ((pump <= static) & ~np.asarray(jet)))
    log.rows("P109", "depth_pump_m", wells, lost, shown(pump[lost]), "below the level, above the bottom", None)
    pump[lost] = np.nan
    return bool(len(under) or len(lost))


def mend_yields(wells: pd.DataFrame, units: Mapping[str, str], limit: float, log: IssueLog) -> None:
    """Yields of village wells sixty times too large: litres a minute carried into an hourly column twice.

    Only a column declared by the hour is tried, only where the figure passes ``limit`` (m3/s), and only
    where a sixtieth of it lies among the yields of the same source. Looks across the records of the source.
    """
    unit = units.get("flow_tested_m3_per_s", "").lower()
    if "flow_tested_m3_per_s" not in wells or not unit.replace("hour", "h").replace("hr", "h").endswith(("/h", "ph")):
        return
    flow = _get(wells, "flow_tested_m3_per_s")
    usual = flow[flow <= limit]
    village = (wells["use_code"] == "village").to_numpy(dtype=bool)
    high = village & (flow > limit)
    if len(usual) < 20 or not high.sum() <= 0.2 * len(usual):
        return
    low, top = np.min(usual), np.max(usual)
    at = np.flatnonzero(high & (flow / 60.0 >= low) & (flow / 60.0 <= top))
    if not len(at):
        return
    why = f"a sixtieth lies among the {len(usual)} yields of the source that a village well can give"
    taken = log.propose("P105", "flow_tested_m3_per_s", wells, at, shown(flow[at]), shown(flow[at] / 60.0), why, "fair",
                        f"at most {limit:.3g} m3/s in a village well")  # fmt: skip
    flow[at] = flow[at] / 60.0 if taken else np.nan
    wells["flow_tested_m3_per_s"] = flow
    if taken:
        count_repaired(wells, at)
