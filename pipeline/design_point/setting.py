"""Setting of the pump and length of the drop pipe."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.design_point.bands import ASSUMED, DERIVED, RECORDED, Banded, Floats, add
from pipeline.design_point.calibration import COLUMN, DEPTH, LEVEL, SettingRules
from pipeline.design_point.latitude import Latitude, by_latitude, latitude_of
from pipeline.settings import Settings


def deepest_setting(
    wells: pd.DataFrame, depth: Banded, level: Banded, deep: NDArray, settings: Settings
) -> tuple[Banded, NDArray]:
    """Deepest setting that bottom, screen and a reported obstruction allow, m.

    Parameters
    ----------
    level : Banded
        Pumping level as it would stand, not held up by any setting.
    deep : ndarray of bool
        Low-yield wells, whose pump is set deep to use the water stored in the well.

    Returns
    -------
    deepest : Banded
        With the base clearance, the least at the high end, and the ends that an estimated depth leaves.
    limited_by : ndarray of text
        "obstruction", "screen" or "bottom". The top of the screen holds the pump only where the water stays far
        enough above it; where the level falls into the screen the pump has to follow, and a flag says so. No pump
        passes a reported obstruction.
    """
    clearance = settings.practice["clearance_bottom"]
    shallow = settings.base("share_clearance_shallow")
    bottom = depth.base - np.minimum(clearance.base, shallow * depth.base)
    bottom_low = depth.low - np.minimum(clearance.base, shallow * depth.low)
    bottom_high = np.maximum(depth.high - np.minimum(clearance.low, shallow * depth.high), bottom)
    screen = wells["depth_screen_top_m"].to_numpy(float) - settings.base("clearance_screen")
    room, room_high = (end + settings.practice["submergence"].low for end in (level.base, level.high))
    governs = (screen >= room) & (screen < bottom) & ~deep
    # where the level may fall into the screen at the high end of its band, the pump may have to follow it there
    ends = [np.where(governs, screen, bottom), np.where(governs, screen, bottom_low),
            np.where(governs & (screen >= room_high), screen, bottom_high)]  # fmt: skip
    told = wells["depth_obstruction_m"].where(wells["depth_obstruction_m"] > 0).to_numpy(float)
    above = np.maximum(told - settings.base("clearance_obstruction"), 0.0)
    blocked = above < ends[0]
    ends = [np.fmin(end, above) for end in ends]
    code = np.where(blocked, "obstruction", np.where(governs, "screen", "bottom")).astype(object)
    return Banded(ends[0], ends[1], ends[2], depth.basis), code


def _rock(wells: pd.DataFrame, depth: Banded, settings: Settings) -> NDArray[np.bool_]:
    """Open-rock wells: rock recorded above the bottom, or casing well above it, and no screen."""
    cover = settings.base("bedrock_cover")
    top = wells["depth_bedrock_m"].fillna(wells["depth_casing_bottom_m"]).to_numpy(float)
    return (top + cover < depth.base) & wells["depth_screen_top_m"].isna().to_numpy()


def setting_depth(
    wells: pd.DataFrame, depth: Banded, static: Banded, level: Banded, down: Floats, up: Floats,
    leaves: Banded, hand: NDArray, has_capacity: NDArray, deep: NDArray, may_be_more: NDArray, may_be_less: NDArray,
    deepest: Banded, limited_by: NDArray, trusted: NDArray, rules: SettingRules, settings: Settings,
) -> tuple[Banded, Floats, NDArray]:  # fmt: skip
    """Pump intake below ground, m.

    Recorded pump depth or drop-pipe length stands. What the driller advises is followed, down to the least clearance
    above bottom or obstruction, with no wider band than the rules give without it. A low-yield well has its pump at
    the deepest setting.
    With levels and a capacity: pumping level plus submergence, no deeper than bottom and screen allow. With
    a level only: a share of the water column by kind of well. With a depth only: a share of the depth. Each rule is
    corrected by what recorded settings of the region tell.

    Parameters
    ----------
    leaves : Banded
        Depth at which the pipe leaves the well. [m]
    may_be_more, may_be_less : ndarray of bool
        Wells of which it is open whether they are of low yield: the band holds the setting of either kind.
    trusted : ndarray of bool
        Wells whose recommended setting no pumped test contradicts.

    Returns
    -------
    setting : Banded
    wanted : ndarray
        What pumping level and submergence ask for, before any limit.
    limited : ndarray of text
        none, bottom, screen, obstruction, recorded, dry.
    """
    practice = settings.practice
    out = Banded.recorded(wells["depth_pump_m"].where(wells["depth_pump_m"] > 0).to_numpy(float))
    pipe = wells["length_drop_pipe_m"].where(wells["length_drop_pipe_m"] > 0).to_numpy(float)
    out.fill(pipe + leaves.base, pipe, pipe, RECORDED)
    lowest = np.where(deep, deepest.base, np.nan)
    out.fill(lowest, deepest.low - practice["clearance_bottom"].high, deepest.high, DERIVED)
    below = practice["submergence"]
    # the scattering part of the level and the submergence are independent; what is estimated adds in full
    base = level.base + below.base
    low = level.low + down - np.hypot(down, below.base - below.low) + below.base
    high = level.high - up + np.hypot(up, below.high - below.base) + below.base
    wanted = Banded(base, np.minimum(low, base), np.maximum(high, base), level.basis)
    has_level = ~wells["depth_static_m"].isna().to_numpy()
    full = has_level & has_capacity
    keep = np.where(full, 1.0, np.nan)
    out.fill(wanted.base * keep, wanted.low * keep, wanted.high * keep, DERIVED)
    column = [np.maximum(end - static.base, 0.0) for end in (depth.base, depth.low, depth.high)]
    rock = _rock(wells, depth, settings)
    for which, name in (
        (hand, "share_setting_hand"),
        (~hand & rock, "share_setting_bedrock"),
        (~hand & ~rock, "share_setting_screened"),
    ):
        band, here = practice[name], np.where(which & has_level, 1.0, np.nan)
        base, low, high = (static.base + share * length * here
                           for share, length in zip((band.base, band.low, band.high), column, strict=True))  # fmt: skip
        out.fill(base, low, high, ASSUMED)
    band = practice["share_setting_of_depth"]
    out.fill(band.base * depth.base, band.low * depth.low, band.high * depth.high, ASSUMED)
    recorded = out.basis == RECORDED
    either = ~recorded & deep & may_be_more
    out.low = np.where(either, np.fmin(out.low, wanted.low), out.low)
    # a share rule stands in for a level rule that lacks its test: its band holds what a test might have asked
    shared = ~recorded & ~deep & ~full
    out.low = np.where(shared, np.fmin(out.low, wanted.low), out.low)
    out.high = np.where(shared, np.fmax(out.high, wanted.high), out.high)
    _correct(out, wells, hand, rule_of(full, has_level), ~recorded & ~deep, deepest, depth, static, rules)
    either = ~recorded & may_be_less
    out.high = np.where(either, np.fmax(out.high, deepest.high), out.high)
    limited = np.where(recorded, "recorded", "none").astype(object)
    most = _follow_advice(out, wells, ~recorded, deepest, settings)
    over = ~recorded & (out.base > most)
    limited[over] = limited_by[over]
    limited[~recorded & (static.base > deepest.base)] = "dry"
    out.base = np.where(recorded, out.base, np.minimum(out.base, most))
    out.low = np.where(recorded, out.low, np.minimum(np.maximum(np.minimum(out.low, deepest.low), 0.0), out.base))
    out.high = np.where(recorded, out.high, np.maximum(np.minimum(out.high, deepest.high), out.base))
    # a setting follows its pumping level down to the limit, so that a pump is never placed above its water
    lifted = ~recorded & ~trusted & (out.base < np.minimum(level.base + practice["submergence"].low, deepest.base))
    out.base = np.where(lifted, np.minimum(level.base + practice["submergence"].low, deepest.base), out.base)
    out.high = np.maximum(out.high, out.base)
    return out, np.where(full, wanted.base, level.base + below.base), limited


def advice(wells: pd.DataFrame) -> Floats:
    """Pump setting that the driller recommends, m below ground; NaN where none is recorded."""
    told = wells["depth_pump_recommended_m"]
    return told.where(told > 0).to_numpy(float)


def _follow_advice(out: Banded, wells: pd.DataFrame, where: NDArray, deepest: Banded, settings: Settings) -> Floats:
    """Move estimated settings to the driller's advice; the deepest setting of every well, m.

    Whoever drilled the well knows its bottom: with advice the least clearance is enough.
    """
    told = np.where(where, advice(wells), np.nan)
    here, spread = ~np.isnan(told), settings.practice["spread_setting_recommended"]
    # no wider on either side than the band that the rules leave between water and bottom
    plain = np.minimum(out.base, deepest.base)
    low = np.minimum(np.maximum(np.minimum(out.low, deepest.low), 0.0), plain)
    high = np.maximum(np.minimum(out.high, deepest.high), plain)
    down, up = np.minimum(plain - low, spread.base), np.minimum(high - plain, spread.base)
    out.low, out.high = np.where(here, told - down, out.low), np.where(here, told + up, out.high)
    out.base = np.where(here, told, out.base)
    out.basis = np.where(here, np.int8(DERIVED), out.basis).astype(np.int8)
    return np.where(here, np.maximum(deepest.high, deepest.base), deepest.base)


def rule_of(full: NDArray, has_level: NDArray) -> NDArray[np.int8]:
    """Number of the rule of setting that a record allows, see :mod:`calibration`."""
    return np.where(full, LEVEL, np.where(has_level, COLUMN, DEPTH)).astype(np.int8)


def water_column(deepest: Floats, static: Floats) -> Floats:
    """Water above the deepest setting, m; the measure in which settings of wells are compared."""
    return np.maximum(deepest - np.maximum(static, 0.0), 1.0)


def _correct(out: Banded, wells: pd.DataFrame, hand: NDArray, rule: NDArray[np.int8], where: NDArray, deepest: Banded,
             depth: Banded, static: Banded, rules: SettingRules) -> None:  # fmt: skip
    """Move estimated settings as recorded ones of the region tell, and draw their bands towards what those miss."""
    told = rules.look_up(wells, hand, rule)
    here = where & ~np.isnan(told.middle)
    column = water_column(deepest.base, static.base)
    base = out.base + told.middle * column
    longer = np.where(depth.basis == RECORDED, column, np.maximum(column, water_column(deepest.high, static.base)))
    plain_low, plain_high = base + out.low - out.base, base + out.high - out.base
    low = told.told * (base - told.down * longer) + (1 - told.told) * plain_low
    high = told.told * (base + told.up * longer) + (1 - told.told) * plain_high
    # what recorded settings miss was learned on wells of known depth
    guessed = depth.basis != RECORDED
    low, high = np.where(guessed, np.fmin(low, plain_low), low), np.where(guessed, np.fmax(high, plain_high), high)
    # a band that the bottom of the well cuts off keeps its width, down to the water: a cut is no knowledge
    over = np.maximum(high - deepest.high, 0.0)
    low = np.minimum(low, np.maximum(low - over, np.maximum(static.low, 0.0)))
    for name, value in (("base", base), ("low", low), ("high", high)):
        setattr(out, name, np.where(here, value, getattr(out, name)))


def discharge_depth(
    wells: pd.DataFrame, hand: NDArray, settings: Settings, where: Latitude | None = None
) -> Banded:
    """Depth at which the pipe leaves the well, m: pitless adapter below frost, or above ground for hand pumps.

    A recorded frost depth stands; else frost follows the latitude where it is known; a depth in the settings stands
    for every well without a recorded one.
    """
    size = len(wells)
    out = Banded.recorded(np.full(size, np.nan))
    above = hand | wells["use_code"].isin(["village"]).to_numpy()
    frost, below = np.where(above, np.nan, wells["depth_frost_m"].to_numpy(float)), settings.practice["clearance_frost"]
    out.fill(frost + below.base, frost + below.low, frost + below.high, DERIVED)
    if "depth_discharge_pitless" not in settings.practice_overlay:
        here = np.where(above, np.nan, 1.0)
        base, low, high = by_latitude(where or latitude_of(wells), "pitless_depth", "m")
        out.fill(base * here, low * here, high * here, ASSUMED)
    for which, name in ((above, "depth_discharge_stick_up"), (~above, "depth_discharge_pitless")):
        band, here = settings.practice[name], np.where(which, 1.0, np.nan)
        out.fill(band.base * here, band.low * here, band.high * here, ASSUMED)
    return out


def pipe_length(wells: pd.DataFrame, setting: Banded, discharge: Banded, settings: Settings) -> Banded:
    """Length from the pump discharge to where the pipe leaves the well, m; a recorded length stands."""
    out = Banded.recorded(wells["length_drop_pipe_m"].where(wells["length_drop_pipe_m"] > 0).to_numpy(float))
    worked = add(setting, discharge, signs=(1, -1))
    out.fill(worked.base, worked.low, worked.high, DERIVED)
    out.basis = np.where(out.basis == RECORDED, out.basis, np.maximum(np.int8(DERIVED), setting.basis)).astype(np.int8)
    return out.clip(0.5, np.inf)
