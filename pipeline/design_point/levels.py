"""Levels, flow and setting of every well: the part of the design point that is learned from and scored."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.design_point import drawdown as water
from pipeline.design_point import duty, setting
from pipeline.design_point.bands import RECORDED, Banded, Floats
from pipeline.design_point.comparable import Comparable
from pipeline.design_point.latitude import Latitude, latitude_of
from pipeline.settings import Settings


@dataclass
class Levels:
    """Arrays over wells, m and m3/s; see :func:`work_out`."""

    where: Latitude
    hand: NDArray[np.bool_]
    depth: Banded
    static: Banded
    flow: Banded
    capacity: Banded
    fall: Banded
    level: Banded
    pump: Banded
    wanted: Floats
    limited: NDArray
    deepest: Floats
    discharge: Banded
    length: Banded
    deep: NDArray[np.bool_]
    rule: NDArray[np.int8]


def work_out(wells: pd.DataFrame, settings: Settings, comparable: Comparable) -> Levels:
    """Depth, levels, duty, setting and length of every well; observed values first.

    Parameters
    ----------
    wells : DataFrame
        All columns of the table ``wells``, rows numbered from nought.
    """
    hand = duty.is_hand(wells)
    asked = comparable.ask(wells)
    depth = water.well_depth(asked, settings)
    static = water.static_level(asked, depth, settings)
    wanted_flow, gives = duty.asked_flow(wells, settings), duty.sustained_flow(wells, settings)
    flow = duty.duty_flow(wells, settings, wanted_flow, gives)
    capacity = water.specific_capacity(asked, depth, static, flow, settings)
    columns = water.water_columns(depth, static, 0.0)
    tested = ~np.isnan(capacity.base)
    has_flow = (wells["flow_tested_m3_per_s"] > 0).to_numpy()
    whole = water.is_pumped_test(wells) & has_flow
    fall, is_told = water.drawdown(flow, capacity, whole, has_flow, columns, settings)
    level, down, up = water.pumping_level(static, fall, is_told, settings)
    deep = duty.is_low_yield(wells, settings, wanted_flow, gives)
    yields_low = np.exp(asked.group("flow")[:, 0])
    may_be_more, may_be_less = duty.may_be_low(wells, yields_low, wanted_flow, gives, settings)
    unlimited = level.low.copy()
    deepest, limited_by = setting.deepest_setting(wells, depth, level, deep, settings)
    share, submergence = settings.base("share_submergence_least"), settings.practice["submergence"].low
    least = [np.minimum(submergence, share * end) for end in (depth.base, depth.low, depth.high)]
    most = [end - room for end, room in zip((deepest.base, deepest.low, deepest.high), least, strict=True)]
    level = water.held_by_setting(level, static, most[0], most[1], most[2], deep)
    # where it is open whether the well is of low yield, the band holds both: drawn down to a deep intake, or not
    level.low = np.where(deep & may_be_more, np.minimum(level.low, unlimited), level.low)
    level.high = np.where(may_be_less, np.maximum(level.high, most[2]), level.high)
    pumped = water.is_pumped_test(wells)
    where = latitude_of(wells, asked)
    leaves = setting.discharge_depth(wells, hand, settings, where)
    trusted = ~np.isnan(setting.advice(wells)) & (deep | ~pumped)
    pump, wanted, limited = setting.setting_depth(
        wells, depth, static, level, down, up, leaves, hand, tested, deep, may_be_more, may_be_less, deepest,
        limited_by, trusted,
        comparable.setting, settings,
    )
    # a setting on record or advised tells that the level stays above it, unless a pumped test tells otherwise
    is_set = pump.basis == RECORDED
    set_by_people = is_set & ~pumped | trusted & ~is_set
    at_pump = np.where(set_by_people, pump.base - least[0], np.inf)
    level = water.held_by_setting(level, static, at_pump, at_pump, at_pump, deep & set_by_people, True)
    # a tested well of low yield is drawn down to the pump that hangs in it, and a test below that pump is not hidden
    drawn = deep & is_set & pumped
    below = wells["depth_pumping_m"].fillna(wells["depth_static_m"] + wells["drawdown_test_m"]).to_numpy(float)
    at_pump = np.where(drawn, np.fmax(np.minimum(pump.base - least[0], most[0]), below), np.inf)
    level = water.held_by_setting(level, static, at_pump, at_pump, at_pump, drawn)
    length = setting.pipe_length(wells, pump, leaves, settings)
    return Levels(where, hand, depth, static, flow, capacity, fall, level, pump, wanted, limited, deepest.base,
                  leaves, length, deep, setting.rule_of(~np.isnan(wells["depth_static_m"].to_numpy(float)) & tested,
                                        wells["depth_static_m"].notna().to_numpy()))  # fmt: skip
