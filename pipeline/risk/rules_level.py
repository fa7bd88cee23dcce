"""Rules on water level, setting and yield."""

from __future__ import annotations

import numpy as np

from pipeline import schema
from pipeline.risk.rule import Finding, test
from pipeline.risk.view import Floats, View

_NO_VALUE = np.nan


def _blank(view: View) -> Floats:
    return np.full(len(view), _NO_VALUE)


@test("R01")
def dry_run(view: View, limit: float) -> Finding:
    """A setting that was limited and leaves too little water at the high pumping level.

    A recorded setting was somebody's choice and is judged by the recorded level at rest, and by the level
    of a pumped test where there is one: levels estimated for it are no evidence against it.
    """
    depth, level = view.number("design.depth_pump_m"), view.number("design.depth_pumping_m_high")
    is_level_recorded = view.is_in("design.depth_static_basis_code", ("recorded",))
    is_set = view.is_in("design.setting_limited_code", ("recorded",))
    told = ~np.isnan(view.number("wells.depth_pumping_m")) | ~np.isnan(view.number("wells.drawdown_test_m"))
    is_tested = told & ~view.is_in("wells.test_method_code", ("airlift", "bailed", "estimated"))
    pumped = view.number("design.depth_pumping_m")
    rest = np.where(is_tested & ~np.isnan(pumped), pumped, view.number("design.depth_static_m"))
    margin = np.where(is_set, depth - rest, depth - level)
    stopped = view.is_in("design.setting_limited_code", ("bottom", "screen", "obstruction", "dry"))
    held = stopped | (is_set & is_level_recorded)
    tripped = held & (margin < limit)
    below = view.number("design.depth_pumping_m") > depth
    return Finding(tripped, margin, raised=tripped & below & is_level_recorded)


@test("R02")
def no_deeper(view: View, limit: float) -> Finding:
    """Wanted setting below the deepest allowed."""
    short = view.number("design.depth_setting_wanted_m") - view.number("design.depth_setting_max_m")
    return Finding(short > limit + 1e-6, short)


@test("R03")
def below_screen(view: View, limit: float) -> Finding:
    """Setting below the top of the screen."""
    below = view.number("design.depth_pump_m") - view.number("wells.depth_screen_top_m")
    return Finding(below > limit + 1e-6, below)


@test("R04")
def near_bottom(view: View, limit: float) -> Finding:
    """Pump too close to the bottom."""
    room = view.number("design.depth_completed_m") - view.number("design.depth_pump_m")
    return Finding(room < limit - 1e-6, room)


@test("R05")
def low_yield(view: View, limit: float) -> Finding:
    """Tested yield below the duty that the use would want, or storage and yield short of the day's demand."""
    tested = view.number("wells.flow_tested_m3_per_s")
    wanted = view.number("wells.flow_duty_m3_per_s")
    for use in schema.codes("use"):
        name = f"flow_{use}"
        if name in view.settings.practice:
            wanted = np.where(np.isnan(wanted) & view.is_in("design.use_code", (use,)), view.base(name), wanted)
    met = view.number("design.volume_available_m3") / view.number("design.volume_demand_day_m3")
    share = np.fmin(tested / wanted, met)
    return Finding(share < limit, share, raised=(tested < view.base("yield_least")) | (met < limit))


@test("R06")
def beyond_test(view: View, limit: float) -> Finding:
    """Duty above the tested yield."""
    share = view.number("design.flow_duty_m3_per_s") / view.number("wells.flow_tested_m3_per_s")
    return Finding(share > limit + 1e-6, share)


@test("R07")
def no_drawdown(view: View, limit: float) -> Finding:
    """A yield without the level it was pumped at."""
    tripped = ~view.known("wells.depth_pumping_m") & ~view.known("wells.drawdown_test_m")
    return Finding(tripped, _blank(view))


@test("R12")
def top_feed(view: View, limit: float) -> Finding:
    """No screen recorded, and the pump hangs below casing or rock head."""
    top = np.fmax(view.number("wells.depth_casing_bottom_m"), view.number("wells.depth_bedrock_m"))
    below = view.number("design.depth_pump_m") - top
    has_motor = view.is_in("design.pump_kind_code", ("submersible", "solar", "unknown"))
    return Finding(has_motor & ~view.known("wells.depth_screen_top_m") & (below > 0), below, limit=0.0)


@test("R13")
def flowing(view: View, limit: float) -> Finding:
    """Static level at or above ground, or said to flow."""
    static = view.number("wells.depth_static_m")
    return Finding((static <= limit) | view.truth("wells.is_flowing"), static)


@test("R46")
def suction(view: View, limit: float) -> Finding:
    """Jet or hand pump within reach of suction."""
    level = view.number("design.depth_pumping_m")
    shallow = view.is_in("design.pump_kind_code", ("jet", "hand")) & (level < limit)
    return Finding(shallow, level)


@test("R47")
def hand_pump_depth(view: View, limit: float) -> Finding:
    """Hand pump set too deep, or water too deep for any."""
    depth, level = view.number("design.depth_pump_m"), view.number("design.depth_static_m")
    is_hand = view.is_in("design.pump_kind_code", ("hand",))
    deep, beyond = depth > limit, level > view.base("level_hand_pump")
    return Finding(is_hand & (deep | beyond), depth)
