"""Wells that no drop pipe is chosen for, and why: said instead of a pipe that could not work."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.settings import Settings
from pipeline.sizing.inputs import Floats
from pipeline.sizing.layout import W


def unsuited(design: pd.DataFrame, settings: Settings) -> NDArray:
    """Outcome code of the wells that are not sized; None for those that are.

    Returns
    -------
    ndarray of text or None (n)
        no_water: the recorded static level stands at or below any setting; suction: a jet pump lifts the
        water without a pump in the well; not_judged: the setting rests on a depth alone and lies deeper than
        such a guess may go.
    """
    out = np.full(len(design), None, dtype=object)
    static, pump = design["depth_static_m"].to_numpy(float), design["depth_pump_m"].to_numpy(float)
    level_known = (design["depth_static_basis_code"] == "recorded").to_numpy()
    setting_known = (design["depth_pump_basis_code"] == "recorded").to_numpy()
    guessed = ~setting_known & ~level_known & (pump > settings.base("depth_setting_assumed"))
    out[guessed] = "not_judged"
    jet = (design["pump_kind_code"] == "jet").to_numpy()
    out[jet & (design["depth_pumping_m"].to_numpy(float) <= settings.base("level_suction"))] = "suction"
    out[level_known & (static >= pump)] = "no_water"
    return out


# what a check would have to forget for the choice to be made without it
FORGET: dict[str, dict[str, float]] = {
    "acidity": {"ph": 7.5},
    "chloride": {"chloride": 0.0},
    "temperature": {"temperature": 12.0},
    "pressure_dead_head": {"head_shutoff": np.nan, "ratio_shutoff": np.nan},
}


def without(inputs: Floats, check: str) -> Floats:
    """Kernel inputs in which nothing stands against an option on account of one check."""
    out = inputs.copy()
    for name, value in FORGET[check].items():
        out[:, W[name]] = value
    return out
