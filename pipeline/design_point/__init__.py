"""Design point of every well: observed values first, estimates with their band and basis after."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.design_point import duty, head
from pipeline.design_point.bands import ASSUMED, RECORDED, Banded
from pipeline.design_point.comparable import Comparable, learn_from
from pipeline.design_point.levels import work_out
from pipeline.design_point.residuals import learn_setting, residuals
from pipeline.settings import Settings

__all__ = ["Comparable", "design", "learn", "residuals"]


def learn(wells: pd.DataFrame, settings: Settings) -> Comparable:
    """What the whole table of wells tells of missing inputs and of the rules; rows in any order tell the same.

    Looks across wells: neighbours, groups of wells, and recorded pump settings that correct the setting rules.
    """
    wells = wells.reindex(columns=[c.field.name for c in schema.table("wells")])
    comparable = learn_from(wells, settings)
    return replace(comparable, setting=learn_setting(wells, settings, comparable))


def _grade(wells: pd.DataFrame, depth: Banded, fits: Banded) -> NDArray:
    """Confidence grade: A recorded length or full test, B levels and yield, C depth and level, D depth, E none.

    A value that rests on an accepted repair is an explanation, not a reading: one grade lower.
    """
    level = wells["depth_static_m"].notna().to_numpy()
    flow = (wells["flow_tested_m3_per_s"] > 0).to_numpy()
    # a pumping level above the static level is no test
    fall = ((wells["drawdown_test_m"] > 0) | (wells["depth_pumping_m"] > wells["depth_static_m"])).to_numpy()
    deep = depth.basis == RECORDED
    length = fits.basis == RECORDED
    conditions = [length | (level & flow & fall & deep), level & flow & deep, level & deep, deep]
    place = np.select(conditions, [0, 1, 2, 3], 4) + (wells["repaired_count"] > 0).to_numpy(dtype=bool, na_value=False)
    return np.array(list("ABCDE"), dtype=object)[np.minimum(place, 4)]


def design(wells: pd.DataFrame, settings: Settings, comparable: Comparable) -> pd.DataFrame:
    """The table ``design`` for a frame of the table ``wells``; each well on its own, given ``comparable``.

    Parameters
    ----------
    wells : DataFrame
        Columns of the table ``wells``; those missing count as not recorded.
    settings : Settings
    comparable : Comparable
        Learned from the whole table of wells by :func:`learn`.

    Returns
    -------
    DataFrame
        One row a well, in the order given.
    """
    wells = wells.reindex(columns=[c.field.name for c in schema.table("wells")]).reset_index(drop=True)
    found = work_out(wells, settings, comparable)
    hand, depth, static, flow, level, pump = found.hand, found.depth, found.static, found.flow, found.level, found.pump
    kind = duty.pump_kind(wells)
    use = np.where(kind == "hand", "hand", duty.code_or_unknown(wells, "use_code"))
    cutout = head.cutout_pressure(wells, use, settings)
    running, is_given = head.head_before_friction(wells, use, level, cutout, settings)
    shutoff = head.shutoff_head(wells, running, kind, settings)
    warmth = head.temperature(wells, found.where, pump, settings)
    room = head.bore(wells, hand, settings)
    power = Banded.recorded(wells["power_motor_w"].where(wells["power_motor_w"] > 0).to_numpy(float))
    worked = [head.shaft_power(getattr(flow, end), getattr(running, end), settings) for end in ("base", "low", "high")]
    power.fill(worked[0], worked[1], worked[2], ASSUMED)
    mass = head.pump_mass(wells, power, hand, settings)
    cable = np.where(hand, 0.0, pump.base * (1 + settings.base("slack_cable_pe")) + settings.base("length_cable_head"))
    out: dict[str, object] = {name: wells[name] for name in
                              ("source_id", "well_id", "region_code", "market_code", "acidity_ph",
                               "chloride_mg_per_l", "is_flowing", "weight_inclusion_fraction")}  # fmt: skip
    wanted, seconds = duty.day_demand(wells, settings)
    out["volume_demand_day_m3"] = wanted
    out["volume_available_m3"] = duty.volume_available(
        wells, seconds, static.base, pump.base, room.base, flow.base, hand, settings
    )
    out["use_code"] = duty.code_or_unknown(wells, "use_code")
    for name, value in {
        "depth_completed_m": depth, "depth_static_m": static, "flow_duty_m3_per_s": flow,
        "specific_capacity_m2_per_s": found.capacity, "depth_pumping_m": level, "depth_pump_m": pump,
        "length_drop_pipe_m": found.length, "head_before_friction_m": running, "head_shutoff_m": shutoff,
        "temperature_water_degc": warmth, "diameter_casing_inside_m": room, "mass_pump_kg": mass,
    }.items():  # fmt: skip
        out |= value.columns(name, schema.stem(name))
    out |= {
        "depth_discharge_m": found.discharge.base, "head_shutoff_is_recorded": wells["head_shutoff_m"].notna(),
        "pressure_cutout_pa": cutout.base, "diameter_pump_m": head.pump_width(flow.base, room, hand, settings),
        "power_motor_w": np.where(hand, np.nan, power.base), "pump_kind_code": kind, "length_cable_m": cable,
        "margin_water_m": pump.base - level.base, "depth_setting_wanted_m": found.wanted,
        "depth_setting_max_m": found.deepest, "head_is_given": is_given, "setting_limited_code": found.limited,
        "grade_code": _grade(wells, depth, found.length),
    }  # fmt: skip
    frame = pd.DataFrame(out)
    return frame[[c.field.name for c in schema.table("design")]]
