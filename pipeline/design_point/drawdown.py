"""Static level, specific capacity and pumping level."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.design_point.bands import ASSUMED, DERIVED, NEIGHBOURS, Banded, Floats, add, constant
from pipeline.design_point.comparable import Comparable
from pipeline.settings import Settings

BLOWN = ("airlift", "bailed", "estimated")


def well_depth(wells: pd.DataFrame, comparable: Comparable, settings: Settings) -> Banded:
    """Bottom of the well below ground, m: completed, else drilled, screen or casing bottom, else comparable."""
    first = wells["depth_completed_m"]
    for name in ("depth_drilled_m", "depth_screen_bottom_m", "depth_casing_bottom_m"):
        first = first.where(first > 0).fillna(wells[name])
    out = Banded.recorded(first.where(first > 0).to_numpy(float))
    quantiles = comparable.look_up(wells, "depth")
    # a well is at least as deep as what was measured or set in it
    known = np.nanmax(
        np.column_stack([np.zeros(len(wells)), *(wells[c].to_numpy(float) for c in
                         ("depth_pump_m", "depth_static_m", "depth_pumping_m", "length_drop_pipe_m"))]), axis=1
    )  # fmt: skip
    least = known + settings.base("clearance_bottom")
    missing = np.isnan(out.base)
    out.fill(quantiles[:, 1], quantiles[:, 0], quantiles[:, 2], NEIGHBOURS)
    out.fill_band(settings.practice["depth_default"], 1.0)
    for end in ("base", "low", "high"):
        values = getattr(out, end)
        setattr(out, end, np.where(missing & (known > 0), np.maximum(values, least), values))
    return out


def static_level(wells: pd.DataFrame, depth: Banded, comparable: Comparable, settings: Settings) -> Banded:
    """Resting level below ground, m: recorded, from comparable wells as a share of depth, or declared."""
    out = Banded.recorded(wells["depth_static_m"].to_numpy(float))
    flowing = np.where(wells["is_flowing"].astype(object).eq(True), 0.0, np.nan)  # it stands at ground or above
    out.fill(flowing, flowing - settings.practice["head_flowing"].high, flowing, DERIVED)
    share = comparable.look_up(wells, "static_share")
    out.fill(share[:, 1] * depth.base, share[:, 0] * depth.low, share[:, 2] * depth.high, NEIGHBOURS)
    band = settings.practice["share_static_of_depth"]
    out.fill(band.base * depth.base, band.low * depth.low, band.high * depth.high, ASSUMED)
    # an estimate keeps above a recorded pump or pumping level
    estimated = out.basis != 0
    for name in ("depth_pump_m", "depth_pumping_m"):
        ceiling = wells[name].to_numpy(float)
        over = estimated & (out.base > ceiling)
        most = settings.base("share_static_under_known") * ceiling
        for end in ("base", "low", "high"):
            values = getattr(out, end)
            setattr(out, end, np.where(over, np.minimum(values, most), values))
    return out


def specific_capacity(
    wells: pd.DataFrame, depth: Banded, static: Banded, comparable: Comparable, settings: Settings
) -> Banded:
    """Flow over drawdown, m2/s.

    A pumped test gives it with the spread of repeated tests; an air-lifted or bailed yield only bounds it;
    a yield alone bounds it by the whole water column; else comparable wells. NaN where nothing tells.
    """
    practice = settings.practice
    flow = wells["flow_tested_m3_per_s"].where(wells["flow_tested_m3_per_s"] > 0).to_numpy(float)
    recorded_static = wells["depth_static_m"].to_numpy(float)
    told = wells["drawdown_test_m"].fillna(wells["depth_pumping_m"] - recorded_static)
    fall = told.where(told > 0).to_numpy(float)
    blown = wells["test_method_code"].isin(BLOWN).to_numpy()
    out = Banded.recorded(np.full(len(wells), np.nan))
    tested = np.where(blown, np.nan, flow / fall)
    band = practice["factor_capacity_tested"]
    out.fill(tested * band.base, tested * band.low, tested * band.high, DERIVED)
    column = np.maximum(depth.base - static.base, 1.0)
    bound = flow / np.fmin(np.where(blown, fall, np.nan), column)
    band = practice["factor_capacity_airlift"]
    out.fill(bound * band.base, bound * band.low, bound * band.high, DERIVED)
    near = comparable.look_up(wells, "capacity")
    band = practice["factor_capacity_unknown"]
    out.fill(near[:, 1], np.minimum(near[:, 0], near[:, 1] * band.low),
             np.maximum(near[:, 2], near[:, 1] * band.high), NEIGHBOURS)  # fmt: skip
    return out


def is_pumped_test(wells: pd.DataFrame) -> NDArray[np.bool_]:
    """Wells with a recorded fall of the level while pumped, by a pump and not by air or bailer."""
    told = (wells["drawdown_test_m"] > 0) | (wells["depth_pumping_m"] > wells["depth_static_m"])
    return (told & ~wells["test_method_code"].isin(BLOWN)).to_numpy()


def recorded_fall(wells: pd.DataFrame, static: Banded, settings: Settings) -> Banded:
    """Fall to a recorded pumping level whose flow or static level is not recorded, m; NaN elsewhere."""
    usable = wells["flow_tested_m3_per_s"].isna() | wells["depth_static_m"].isna()
    fall = wells["depth_pumping_m"].to_numpy(float) - static.base
    fall = np.where(usable & (fall >= 0), fall, np.nan)
    band = settings.practice["factor_capacity_tested"]
    return Banded.recorded(np.full(len(fall), np.nan)).fill(fall, fall / band.high, fall / band.low, DERIVED)


def drawdown(known: Banded, flow: Banded, capacity: Banded, column: Floats, settings: Settings) -> Banded:
    """Fall of the level at duty, m.

    A recorded pumping level, else flow over specific capacity, else a declared share of the water column.
    """
    base, low, high = flow.base / capacity.base, flow.low / capacity.high, flow.high / capacity.low
    # flow and capacity are independent: shrink the corner-to-corner spread to a tenth and ninetieth percentile
    spread = known
    given = ~np.isnan(known.base)
    up = np.hypot(flow.high / capacity.base - base, flow.base / capacity.low - base)
    down = np.hypot(base - flow.low / capacity.base, base - flow.base / capacity.high)
    spread.fill(base, np.maximum(base - down, low), np.minimum(base + up, high), DERIVED)
    worked = ~given & ~np.isnan(base)
    spread.basis = np.where(worked, capacity.basis, spread.basis).astype(np.int8)
    spread.fill_band(settings.practice["share_drawdown"], column)
    return spread


def pumping_level(static: Banded, fall: Banded, settings: Settings) -> Banded:
    """Level while pumping at duty in a dry season, m: static, seasonal fall and drawdown, held by no setting."""
    season = constant(settings.practice["fall_drought"], len(static.base), ASSUMED)
    total = add(static, season, fall)
    total.basis = np.maximum(static.basis, fall.basis)
    total.basis = np.where(total.basis == 0, np.int8(DERIVED), total.basis)
    return total


def held_by_setting(level: Banded, static: Banded, lowest: Floats, deep: NDArray) -> Banded:
    """A pumping level no lower than the pump can draw it; in low-yield wells it is drawn down to the intake.

    Parameters
    ----------
    lowest : ndarray
        Least submergence above the intake, or above the deepest setting where the pump is not yet set. [m]
    deep : ndarray of bool
        Low-yield wells.
    """
    most = np.maximum(np.maximum(lowest, static.base), 0.0)
    level.clip(-np.inf, most)
    level.base = np.where(deep, most, level.base)
    level.high = np.maximum(level.high, level.base)
    return level
