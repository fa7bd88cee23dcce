"""The design point as the matrix that the kernel reads: one row a well, one column a value."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.physics.water import GRAVITY
from pipeline.settings import Settings
from pipeline.sizing.formulas import water
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
    put("depth_discharge", design["depth_discharge_m"].to_numpy(float))
    put("level_static", banded("depth_static_m"))
    put("level_pumping", banded("depth_pumping_m"))
    gamma, viscosity = water(temperature)
    put("gamma", gamma)
    put("viscosity", viscosity)
    put("pressure_head", design["pressure_cutout_pa"].to_numpy(float))
    recorded = design["head_shutoff_is_recorded"].to_numpy(bool)
    none = design["pump_kind_code"].isin(["hand", "helical"]).to_numpy()
    band = practice["ratio_shutoff"]
    ratio = {"": band.base, "_low": band.low, "_high": band.high}[end]
    put("head_shutoff", np.where(recorded, design["head_shutoff_m"].to_numpy(float), np.nan))
    put("ratio_shutoff", np.where(recorded | none, np.nan, ratio))
    mass_pump = banded("mass_pump_kg")
    put("weight_pump", mass_pump * GRAVITY)
    put("volume_pump", mass_pump / settings.base("density_pump"))
    large = design["power_motor_w"].to_numpy(float) > settings.base("power_cable_small")
    cable = np.where(large, settings.base("mass_cable_large"), settings.base("mass_cable_small"))
    cable = np.where(hand, 0.0, cable)
    put("weight_cable_per_m", cable * GRAVITY)
    put("area_cable", cable / settings.base("density_cable"))
    put("bore", banded("diameter_casing_inside_m"))
    put("width_pump", design["diameter_pump_m"].to_numpy(float))
    put("ph", design["acidity_ph"].to_numpy(float))
    put("chloride", design["chloride_mg_per_l"].to_numpy(float))
    put("temperature", temperature)
    put("hand", hand.astype(float))
    return out


MOVED_BY_LEVEL = ("head", "length", "depth_pump", "level_static", "level_pumping")
MOVED_BY_FLOW = ("flow",)
MOVED_BY_PLACE = ("bore", "weight_pump", "volume_pump", "temperature", "gamma", "viscosity")
NORMAL_P90 = 1.2815515655446004  # standard normal deviate passed by one in ten


def drawn(base: Floats, low: Floats, high: Floats, deviates: dict[str, Floats]) -> Floats:
    """Kernel inputs of one draw: each value moved within its band by its own deviate.

    Parameters
    ----------
    base, low, high : ndarray (n, values), from :func:`matrix`
    deviates : dict
        Standard normal deviate of each well by what it moves: ``level``, ``flow``, ``place``.

    Returns
    -------
    ndarray (n, values)
        The low and high ends are met at the tenth and ninetieth percentile; each side has its own spread.
    """
    out = base.copy()
    for names, key in ((MOVED_BY_LEVEL, "level"), (MOVED_BY_FLOW, "flow"), (MOVED_BY_PLACE, "place")):
        z = np.clip(deviates[key], -2.5, 2.5) / NORMAL_P90
        for name in names:
            place = W[name]
            up, down = high[:, place] - base[:, place], base[:, place] - low[:, place]
            out[:, place] += np.where(z > 0, up * z, down * z)
    for name, least in (("flow", 1e-6), ("length", 0.5), ("head", 0.1), ("depth_pump", 0.5), ("bore", 0.02),
                        ("weight_pump", 1.0), ("volume_pump", 0.0)):  # fmt: skip
        out[:, W[name]] = np.maximum(out[:, W[name]], least)
    return out
