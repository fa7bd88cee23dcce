"""Static level, specific capacity and pumping level."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.design_point.bands import ASSUMED, DERIVED, NEIGHBOURS, RECORDED, Banded, Floats, constant
from pipeline.design_point.comparable import BLOWN, Asked, recorded_depth
from pipeline.design_point.ladder import held
from pipeline.settings import Settings

LEAST_FALL = 0.2  # of an estimated fall that is left where the static level may lie at the pumping level
LEAST_READ = 1e-3  # m: a fall of less than a millimetre is no reading, and flow over it is no capacity


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
                         ("depth_pump_m", "depth_static_m", "depth_pumping_m", "length_drop_pipe_m",
                          "depth_obstruction_m"))]), axis=1
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


def tested_flow(asked: Asked, duty: Banded, settings: Settings) -> Banded:
    """Flow of the test behind a recorded pumping level, m3/s: recorded, else of comparable wells, else the duty.

    A level without its flow tells little: it may belong to any rate that is usual there.
    """
    flow = asked.wells["flow_tested_m3_per_s"].to_numpy(float)
    out = Banded.recorded(np.where(flow > 0, flow, np.nan))
    unknown = settings.practice["factor_flow_unknown"]
    levels = asked.wells["depth_pumping_m"].notna() | asked.wells["drawdown_test_m"].notna()
    near = np.exp(_told(asked, "flow", np.isnan(out.base) & levels.to_numpy(), False))
    near = np.where(np.isnan(near[:, 1:2]), np.column_stack([duty.low, duty.base, duty.high]), near)
    low, high = np.fmin(near[:, 0], near[:, 1] * unknown.low), np.fmax(near[:, 2], near[:, 1] * unknown.high)
    return out.fill(near[:, 1], low, high, NEIGHBOURS)


def tested_fall(wells: pd.DataFrame, static: Banded) -> Banded:
    """Fall of the level in a test, m: recorded, or from the pumping level to a static level that may be estimated."""
    pumped = wells["depth_pumping_m"].to_numpy(float)
    told = wells["drawdown_test_m"].fillna(wells["depth_pumping_m"] - wells["depth_static_m"]).to_numpy(float)
    out = Banded.recorded(np.where(told >= LEAST_READ, told, np.nan))
    over = wells["depth_static_m"].isna() & (pumped - static.base >= LEAST_READ)
    fall = np.where(over, pumped - static.base, np.nan)
    least = LEAST_FALL * fall
    return out.fill(fall, np.fmax(pumped - static.high, least), np.fmax(pumped - static.low, fall), static.basis)


def specific_capacity(asked: Asked, depth: Banded, static: Banded, duty: Banded, settings: Settings) -> Banded:
    """Flow over drawdown, m2/s.

    A pumped test gives it with the spread of repeated tests, and with those of its flow and static level where they
    are estimated; an air-lifted or bailed yield only bounds it. A yield without a fall takes the share of its water
    column that pumped tests around drew down, else is bounded by the whole column; no test at all takes the capacity
    of comparable wells. NaN where nothing tells.
    """
    wells, practice = asked.wells, settings.practice
    rate, fall = tested_flow(asked, duty, settings), tested_fall(wells, static)
    blown = wells["test_method_code"].isin(BLOWN).to_numpy()
    out = Banded.recorded(np.full(len(wells), np.nan))
    band = practice["factor_capacity_tested"]
    down = _together(rate.base / rate.low, fall.high / fall.base, np.full(len(wells), 1 / band.low))
    up = _together(rate.high / rate.base, fall.base / fall.low, np.full(len(wells), band.high))
    tested = np.where(blown, np.nan, rate.base / fall.base)
    basis = np.maximum(np.maximum(rate.basis, fall.basis), np.int8(DERIVED)).astype(np.int8)
    out.fill(tested * band.base, tested / down, tested * up, DERIVED)
    out.basis = np.where(np.isnan(tested), out.basis, basis).astype(np.int8)
    near = _told(asked, "capacity", np.isnan(out.base) & (rate.basis != RECORDED), False)
    unknown = practice["factor_capacity_unknown"]
    near[:, 0] = np.fmin(near[:, 0], near[:, 1] + np.log(unknown.low))
    near[:, 2] = np.fmax(near[:, 2], near[:, 1] + np.log(unknown.high))
    column, shorter, longer = water_columns(depth, static, 1.0)
    flow = np.where(rate.basis == RECORDED, rate.base, np.nan)
    fell = np.where(blown & (fall.basis == RECORDED), fall.base, np.nan)
    bound, least, most = (flow / np.fmin(fell, length) for length in (column, longer, shorter))
    # a yield without a fall: what pumped tests around drew down of their water column, else a declared bound
    open_test = np.isnan(out.base) & ~np.isnan(bound) & ~blown
    share = held(_told(asked, "column_over_fall", open_test, False), near, False)
    share[:, 0] = np.fmin(share[:, 0], share[:, 1] + np.log(band.low))
    share[:, 2] = np.fmax(share[:, 2], share[:, 1] + np.log(band.high))
    share = np.exp(np.where(open_test[:, None], share, np.nan))
    out.fill(bound * share[:, 1], least * share[:, 0], most * share[:, 2], NEIGHBOURS)
    band = practice["factor_capacity_airlift"]
    out.fill(bound * band.base, least * band.low, most * band.high, DERIVED)
    near = np.exp(near)
    return out.fill(near[:, 1], near[:, 0], near[:, 2], NEIGHBOURS)


def _together(*factors: Floats) -> Floats:
    """Factor of a product or quotient of independent quantities from the factors of each: spreads of logarithms."""
    return np.exp(np.sqrt(sum((np.square(np.log(f)) for f in factors), np.zeros(len(factors[0])))))


def _told(asked: Asked, name: str, wanted: NDArray[np.bool_], by_size: bool) -> Floats:
    """What the nearest wells tell, else their group, shape (n, 3); logarithms of positive quantities."""
    return _nearest_first(asked.near(name, wanted), asked.group(name), by_size)


def is_pumped_test(wells: pd.DataFrame) -> NDArray[np.bool_]:
    """Wells with a recorded fall of the level while pumped, by a pump and not by air or bailer."""
    fall = wells["drawdown_test_m"].fillna(wells["depth_pumping_m"] - wells["depth_static_m"])
    return ((fall >= LEAST_READ) & ~wells["test_method_code"].isin(BLOWN)).to_numpy()


def water_columns(depth: Banded, static: Banded, least: float) -> tuple[Floats, Floats, Floats]:
    """Water column at the middle, and where an estimated depth is at its low and its high, m; at least ``least``."""
    rest = np.maximum(static.base, 0.0)
    base, low, high = (np.maximum(end - rest, least) for end in (depth.base, depth.low, depth.high))
    return base, low, high


def drawdown(flow: Banded, capacity: Banded, whole: NDArray, has_flow: NDArray, columns: tuple[Floats, Floats, Floats],
             settings: Settings) -> tuple[Banded, NDArray[np.bool_]]:  # fmt: skip
    """Fall of the level at duty, m: flow over specific capacity, else a declared share of the water column.

    Spreads of a tested well are independent: their logarithms add in quadrature. An estimated capacity may be wrong
    as a whole, so that its spread multiplies what a test would leave open; so does that of a duty whose yield is not
    known. The band of a well without a test then holds that of the same well with any test that its band allows.

    Parameters
    ----------
    whole : ndarray of bool
        Wells with flow and fall of a test on record.
    has_flow : ndarray of bool
        Wells whose yield is on record.
    columns : tuple of ndarray
        Water column: base, low and high; see :func:`water_columns`. [m]

    Returns
    -------
    fall : Banded
    is_told : ndarray of bool
        Where the spread is that of a test on record.
    """
    ones = np.ones(len(columns[0]))
    repeat = settings.practice["factor_capacity_tested"]
    base = flow.base / capacity.base
    ends = []
    for rate, told, again in (
        (flow.base / flow.low, capacity.high / capacity.base, repeat.high),
        (flow.high / flow.base, capacity.base / capacity.low, 1 / repeat.low),
    ):
        left = np.where(has_flow, _together(rate, again * ones), rate * again)
        ends.append(np.where(whole, _together(rate, told), told * left))
    out = Banded.recorded(np.full(len(base), np.nan)).fill(base, base / ends[0], base * ends[1], DERIVED)
    out.basis = np.where(np.isnan(base), out.basis, np.maximum(capacity.basis, np.int8(DERIVED))).astype(np.int8)
    share = settings.practice["share_drawdown"]
    out.fill(share.base * columns[0], share.low * columns[1], share.high * columns[2], ASSUMED)
    return out, whole & ~np.isnan(base)


def pumping_level(static: Banded, fall: Banded, is_told: NDArray, settings: Settings) -> tuple[Banded, Floats, Floats]:
    """Level while pumping at duty in a dry season, m: static, seasonal fall and drawdown, held by no setting.

    What is known but scatters (season, a recorded test) adds in quadrature; what is estimated (static level, fall
    without a test) may be wrong as a whole and adds in full.

    Returns
    -------
    level : Banded
    down, up : ndarray
        The scattering part of the distances to low and high. [m]
    """
    season = constant(settings.practice["fall_drought"], len(static.base), ASSUMED)
    base = static.base + season.base + fall.base
    sides = []
    for sign, end in ((-1, "low"), (1, "high")):
        apart = [sign * (getattr(x, end) - x.base) for x in (static, season, fall)]
        scatter = np.hypot(apart[1], np.where(is_told, apart[2], 0.0))
        sides.append((scatter, apart[0] + np.where(is_told, 0.0, apart[2])))
    (down, far_down), (up, far_up) = sides
    basis = np.maximum(np.maximum(static.basis, fall.basis), np.int8(DERIVED)).astype(np.int8)
    return Banded(base, base - down - far_down, base + up + far_up, basis), down, up


def held_by_setting(
    level: Banded, static: Banded, lowest: Floats, lowest_low: Floats, lowest_high: Floats, deep: NDArray,
    keep_width: bool = False,
) -> Banded:  # fmt: skip
    """A pumping level no lower than the pump can draw it; in low-yield wells it is drawn down to the intake.

    Parameters
    ----------
    lowest, lowest_low, lowest_high : ndarray
        Least submergence above the intake, or above the deepest setting where the pump is not yet set: base, and
        the ends that an estimated depth leaves. [m]
    deep : ndarray of bool
        Low-yield wells.
    keep_width : bool
        Where no test tells the level: its high end held up, the low end falls towards the static level by as much.
    """
    most = np.maximum(np.maximum(lowest, static.base), 0.0)
    most_low = np.minimum(np.maximum(np.maximum(lowest_low, static.low), 0.0), most)
    most_high = np.maximum(np.maximum(lowest_high, static.high), most)
    if keep_width:
        over = np.maximum(level.high - most_high, 0.0)
        level.low = np.minimum(level.low, np.maximum(level.low - over, static.low))
    level.base, level.low = np.minimum(level.base, most), np.minimum(level.low, most_low)
    level.base = np.where(deep, most, level.base)
    level.high = np.where(deep, most_high, np.minimum(level.high, most_high))
    level.high = np.maximum(level.high, level.base)
    return level
