"""Static level, specific capacity and pumping level."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.design_point.bands import ASSUMED, DERIVED, NEIGHBOURS, RECORDED, Banded, Floats, add, constant
from pipeline.design_point.comparable import BLOWN, Asked, recorded_depth
from pipeline.design_point.ladder import held
from pipeline.settings import Settings


def _nearest_first(near: Floats, group: Floats, by_size: bool = True) -> Floats:
    """Low, middle and high from the nearest wells, else from their group; never wider than the group's band.

    A record that tells its place has no wider band than one that tells only its group.
    """
    return np.where(np.isnan(near[:, 1:2]), group, held(near, group, by_size))


def well_depth(asked: Asked, settings: Settings) -> Banded:
    """Bottom of the well below ground, m: completed, else drilled, screen or casing bottom, else comparable."""
    wells = asked.wells
    out = Banded.recorded(recorded_depth(wells).to_numpy(float))
    missing = np.isnan(out.base)
    quantiles = np.exp(_told(asked, "depth", missing, False))
    # a well is at least as deep as what was measured or set in it
    known = np.nanmax(
        np.column_stack([np.zeros(len(wells)), *(wells[c].to_numpy(float) for c in
                         ("depth_pump_m", "depth_static_m", "depth_pumping_m", "length_drop_pipe_m"))]), axis=1
    )  # fmt: skip
    least = known + settings.base("clearance_bottom")
    out.fill(quantiles[:, 1], quantiles[:, 0], quantiles[:, 2], NEIGHBOURS)
    out.fill_band(settings.practice["depth_default"], 1.0)
    for end in ("base", "low", "high"):
        values = getattr(out, end)
        setattr(out, end, np.where(missing & (known > 0), np.maximum(values, least), values))
    return out


def static_level(asked: Asked, depth: Banded, settings: Settings) -> Banded:
    """Resting level below ground, m: recorded, from comparable wells as a share of depth, or declared."""
    wells = asked.wells
    out = Banded.recorded(wells["depth_static_m"].to_numpy(float))
    flowing = np.where(wells["is_flowing"].astype(object).eq(True), 0.0, np.nan)  # it stands at ground or above
    out.fill(flowing, flowing - settings.practice["head_flowing"].high, flowing, DERIVED)
    told = estimated_static(asked, depth, np.isnan(out.base), settings)
    out.fill(told[:, 1], told[:, 0], told[:, 2], NEIGHBOURS)
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


def estimated_static(asked: Asked, depth: Banded, wanted: NDArray[np.bool_], settings: Settings) -> Floats:
    """Low, middle and high of the static level from comparable wells, m, shape (n, 3); NaN where none tells.

    The nearest wells by their levels, carried over to the ground and depth of the well; else the share of depth
    at which the level stands in its group, or the level itself where the depth is not recorded.
    """
    group, share = asked.group("static"), asked.group("share")
    known = (depth.basis == RECORDED)[:, None] & ~np.isnan(share[:, 1:2])
    by_share = np.where(known, share * depth.base[:, None], np.nan)
    group = np.where(known, by_share, group)
    out = _nearest_first(asked.near("static", wanted), group)
    lowest = settings.base("share_static_under_known") * np.where(depth.basis == RECORDED, depth.base, np.inf)
    middle = np.clip(out[:, 1], -settings.practice["head_flowing"].high, lowest)
    return np.column_stack([out[:, 0] - out[:, 1] + middle, middle, out[:, 2] - out[:, 1] + middle])


def specific_capacity(asked: Asked, depth: Banded, static: Banded, settings: Settings) -> Banded:
    """Flow over drawdown, m2/s.

    A pumped test gives it with the spread of repeated tests; an air-lifted or bailed yield only bounds it;
    a yield alone bounds it by the whole water column; else comparable wells. NaN where nothing tells.
    """
    wells, practice = asked.wells, settings.practice
    flow = wells["flow_tested_m3_per_s"].where(wells["flow_tested_m3_per_s"] > 0).to_numpy(float)
    recorded_static = wells["depth_static_m"].to_numpy(float)
    told = wells["drawdown_test_m"].fillna(wells["depth_pumping_m"] - recorded_static)
    fall = told.where(told > 0).to_numpy(float)
    blown = wells["test_method_code"].isin(BLOWN).to_numpy()
    out = Banded.recorded(np.full(len(wells), np.nan))
    tested = np.where(blown, np.nan, flow / fall)
    band = practice["factor_capacity_tested"]
    out.fill(tested * band.base, tested * band.low, tested * band.high, DERIVED)
    near = _told(asked, "capacity", np.isnan(out.base), False)
    unknown = practice["factor_capacity_unknown"]
    near[:, 0] = np.fmin(near[:, 0], near[:, 1] + np.log(unknown.low))
    near[:, 2] = np.fmax(near[:, 2], near[:, 1] + np.log(unknown.high))
    column = np.maximum(depth.base - np.maximum(static.base, 0.0), 1.0)
    bound = flow / np.fmin(np.where(blown, fall, np.nan), column)
    # a yield without a fall: what pumped tests around drew down of their water column, else a declared bound
    open_test = np.isnan(out.base) & ~np.isnan(bound) & ~blown
    share = held(_told(asked, "column_over_fall", open_test, False), near, False)
    share[:, 0] = np.fmin(share[:, 0], share[:, 1] + np.log(band.low))
    share[:, 2] = np.fmax(share[:, 2], share[:, 1] + np.log(band.high))
    share = np.exp(np.where(open_test[:, None], share, np.nan))
    out.fill(bound * share[:, 1], bound * share[:, 0], bound * share[:, 2], NEIGHBOURS)
    band = practice["factor_capacity_airlift"]
    out.fill(bound * band.base, bound * band.low, bound * band.high, DERIVED)
    near = np.exp(near)
    return out.fill(near[:, 1], near[:, 0], near[:, 2], NEIGHBOURS)


def _told(asked: Asked, name: str, wanted: NDArray[np.bool_], by_size: bool) -> Floats:
    """What the nearest wells tell, else their group, shape (n, 3); logarithms of positive quantities."""
    return _nearest_first(asked.near(name, wanted), asked.group(name), by_size)


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
