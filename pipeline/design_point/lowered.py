"""What a fall of the water table asks of wells that stand: how far each pump must follow, and where it cannot."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.design_point.bands import Floats
from pipeline.physics import well
from pipeline.settings import Settings

ENDS = ("", "_low", "_high")
# outcome codes, in the order in which they are tried
OUTCOMES = ("not_set", "dry_before", "dry", "at_limit", "cannot", "lower_short", "lower", "enough")
_TOUCH_M = 0.01  # a pump within a centimetre of its deepest setting hangs at it


def follow(
    margin: Floats, fall: float, wanted: Floats, least: Floats, room: Floats
) -> tuple[Floats, NDArray[np.bool_]]:
    """How far a pump must follow its water, m, and whether its water stays short of the least margin even so.

    Parameters
    ----------
    margin : ndarray
        Water above the intake before the fall. [m]
    fall : float
        Fall of the water. [m]
    wanted, least : ndarray
        Water wanted above the intake once a pump is moved, and the least it may keep where it is. [m]
    room : ndarray
        How much deeper the pump can go. [m]
    """
    left = margin - fall
    moves = ~(left >= least)
    down = np.where(moves, np.clip(wanted - left, 0.0, np.maximum(room, 0.0)), 0.0)
    return down, moves & ~(left + down >= least - _TOUCH_M)


def lower(points: pd.DataFrame, fall: float, settings: Settings) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Design points after the water has fallen, pumps lowered where they must and can be.

    Every well is taken to keep its drawdown, its flow and its pump; the level under it falls by ``fall``. A pump
    stays where it hangs as long as the least submergence is left above it; else it is lowered to the submergence
    wanted, no deeper than bottom or screen allow. Where the setting is not recorded, how much water stands above
    the intake today is itself a band: the wide and the thin margin of ``submergence`` give the low and high end.

    Parameters
    ----------
    points : DataFrame
        Table ``design``.
    fall : float
        Fall of the water table. [m]
    settings : Settings
        Practice values ``submergence`` and ``share_submergence_least``.

    Returns
    -------
    after : DataFrame
        Table ``design`` after the fall; the same rows and columns.
    moves : DataFrame
        lowering_code, length_added_m with _low and _high, margin_water_m left after the fall and before any
        lowering, one row a well.
    """
    submergence = settings.practice["submergence"]
    depth = points["depth_completed_m"].to_numpy(float)
    setting, level = points["depth_pump_m"].to_numpy(float), points["depth_pumping_m"].to_numpy(float)
    static, deepest = points["depth_static_m"].to_numpy(float), points["depth_setting_max_m"].to_numpy(float)
    recorded = points["depth_pump_basis_code"].eq("recorded").to_numpy(bool)
    least = np.minimum(submergence.low, settings.base("share_submergence_least") * depth)
    room = np.where(recorded & (setting > deepest), 0.0, deepest - setting)
    margin = setting - level
    # a well drawn down to an intake that hangs at its limit: what counts is whether water still comes to it
    drawn = ~(margin >= least - _TOUCH_M) | (level >= np.maximum(deepest - least, static) - _TOUCH_M)
    drawn &= np.abs(room) <= _TOUCH_M
    thin = np.where(recorded, setting - points["depth_pumping_m_high"].to_numpy(float),
                    np.minimum(margin, np.maximum(submergence.low, least)))  # fmt: skip
    wide = np.where(recorded, setting - points["depth_pumping_m_low"].to_numpy(float),
                    np.maximum(margin, submergence.high))  # fmt: skip
    wanted = np.maximum(np.minimum(submergence.base, np.maximum(margin, least)), least)
    down, short = follow(margin, fall, wanted, least, room)
    most, _ = follow(thin, fall, np.full(len(setting), submergence.base), least, room)
    fewest, _ = follow(wide, fall, wanted, least, room)
    fewest, most = np.minimum(fewest, down), np.maximum(most, down)

    unset = np.isnan(setting) | np.isnan(level)
    gone = static > deepest - least + _TOUCH_M
    dry = static + fall > np.maximum(deepest, setting) - least + _TOUCH_M
    tests = [unset, gone, dry, drawn & short, short & (down <= _TOUCH_M), short, down > _TOUCH_M]
    code = np.select(tests, OUTCOMES[:-1], OUTCOMES[-1]).astype(object)
    still = unset | gone
    stays = still | dry | (room <= _TOUCH_M)
    down, fewest, most = (np.where(stays | (x <= _TOUCH_M), 0.0, x) for x in (down, fewest, most))

    after = points.copy()
    rest = np.maximum(setting + down - least, static + fall)
    sunk = np.where(still, level, np.where(drawn, np.minimum(level + fall, np.maximum(level, rest)), level + fall))
    for end in ENDS:
        after[f"depth_static_m{end}"] = points[f"depth_static_m{end}"] + np.where(unset, 0.0, fall)
        after[f"depth_pumping_m{end}"] = points[f"depth_pumping_m{end}"] + (sunk - level)
        after[f"depth_pump_m{end}"] = points[f"depth_pump_m{end}"] + down
        after[f"length_drop_pipe_m{end}"] = points[f"length_drop_pipe_m{end}"] + down
        lift = np.maximum(sunk, 0.0) - np.maximum(level, 0.0)
        lift = np.where(points["head_is_given"].to_numpy(bool), sunk - level, lift)
        head = points[f"head_before_friction_m{end}"].to_numpy(float)
        after[f"head_before_friction_m{end}"] = head + lift
        told = points["head_shutoff_is_recorded"].to_numpy(bool)
        ratio = np.divide(head + lift, head, out=np.ones(len(head)), where=head > 0)
        after[f"head_shutoff_m{end}"] = points[f"head_shutoff_m{end}"] * np.where(told, 1.0, ratio)
    after["length_cable_m"] = points["length_cable_m"] + np.where(points["length_cable_m"] > 0, down, 0.0)
    after["margin_water_m"] = after["depth_pump_m"] - after["depth_pumping_m"]
    # what stands above the intake shrinks; a hand pump gives what an arm gives as long as there is water
    bore = np.where(points["pump_kind_code"].eq("hand"), 0.0, points["diameter_casing_inside_m"].to_numpy(float))
    stood = np.maximum(setting - np.maximum(static, 0.0), 0.0)
    stands = np.maximum(setting + down - np.maximum(static + fall, 0.0), 0.0)
    after["volume_available_m3"] = points["volume_available_m3"] + well.volume_bore_m3(bore, stands - stood)
    after["depth_setting_wanted_m"] = points["depth_setting_wanted_m"] + fall
    blocked = points["setting_limited_code"].eq("obstruction").to_numpy(bool)
    after["setting_limited_code"] = np.where(
        code == "dry", "dry",
        np.where(short & ~still & ~blocked, "bottom", points["setting_limited_code"].to_numpy(object)),
    )
    moves = pd.DataFrame({
        "lowering_code": code, "length_added_m": down, "length_added_m_low": fewest, "length_added_m_high": most,
        "margin_left_m": np.where(unset, np.nan, margin - fall),
    })  # fmt: skip
    return after, moves
