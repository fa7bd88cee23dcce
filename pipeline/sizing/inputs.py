"""The design point as the matrix that the kernel reads: one row a well, one column a value."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.physics import water
from pipeline.settings import Settings
from pipeline.sizing.checks import GRAVITY
from pipeline.sizing.layout import WELL, W

Floats = NDArray[np.float64]


def matrix(design: pd.DataFrame, settings: Settings, end: str = "") -> Floats:
    """Kernel inputs of every well of a ``design`` frame.

    Parameters
    ----------
    end : str
        "" for the base values, "_low" or "_high" for an end of every band.

    Returns
    -------
    ndarray, shape (n, len(WELL))
        NaN where an input is not known; the places are named in layout.py.
    """
    practice = settings.practice
    size = len(design)
    out = np.full((size, len(WELL)), np.nan)

    def put(name: str, values: object) -> None:
        out[:, W[name]] = values

    def banded(name: str) -> Floats:
        return design[name + end].to_numpy(float)

    hand = (design["pump_kind_code"] == "hand").to_numpy()
    temperature = banded("temperature_water_degc")
    put("flow", banded("flow_duty_m3_per_s"))
    put("head", banded("head_before_friction_m"))
    put("head_is_given", design["head_is_given"].to_numpy(float))
    put("length", banded("length_drop_pipe_m"))
    put("depth_pump", banded("depth_pump_m"))
    put("level_static", banded("depth_static_m"))
    put("level_pumping", banded("depth_pumping_m"))
    put("gamma", water.density_kg_per_m3(temperature) * GRAVITY)
    put("viscosity", water.kinematic_viscosity_m2_per_s(temperature))
    put("pressure_head", design["pressure_cutout_pa"].to_numpy(float))
    recorded = design["head_shutoff_is_recorded"].to_numpy(bool)
    none = design["pump_kind_code"].isin(["hand", "helical"]).to_numpy()
    band = practice["ratio_shutoff"]
    ratio = {"": band.base, "_low": band.low, "_high": band.high}[end]
    put("head_shutoff", np.where(recorded, design["head_shutoff_m"].to_numpy(float), np.nan))
    put("ratio_shutoff", np.where(recorded | none, np.nan, ratio))
    put("shutoff_recorded", recorded.astype(float))
    mass_pump = banded("mass_pump_kg")
    put("weight_pump", mass_pump * GRAVITY)
    put("volume_pump", mass_pump / settings.base("density_pump"))
    large = design["power_motor_w"].to_numpy(float) > settings.base("power_cable_small")
    cable = np.where(large, settings.base("mass_cable_large"), settings.base("mass_cable_small"))
    cable = np.where(hand, 0.0, cable)
    put("weight_cable_per_m", cable * GRAVITY)
    put("volume_cable_per_m", cable / settings.base("density_cable"))
    put("length_cable", np.where(hand, 0.0, out[:, W["length"]]))
    put("bore", banded("diameter_casing_inside_m"))
    put("width_pump", design["diameter_pump_m"].to_numpy(float))
    put("ph", design["acidity_ph"].to_numpy(float))
    put("chloride", design["chloride_mg_per_l"].to_numpy(float))
    put("temperature", temperature)
    put("hand", hand.astype(float))
    return out
