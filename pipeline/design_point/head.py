"""Head and pressure, temperature, pump, cable and bore at the design point."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.design_point.bands import ASSUMED, DERIVED, Banded, Floats, add, constant
from pipeline.design_point.latitude import Latitude, by_latitude
from pipeline.settings import Band, Settings

GRAVITY = 9.80665  # standard acceleration, ISO 80000-3
DENSITY = 999.7  # cold water, for turning pressures into heads at the design point

# what a use asks at the wellhead: (practice id of the cut-out pressure or None, practice id of the rise)
DELIVERY = {
    "domestic": ("pressure_cutout", "head_rise_house"),
    "commercial": ("pressure_cutout", "head_rise_house"),
    "industrial": ("pressure_cutout", "head_rise_house"),
    "public_supply": ("pressure_cutout", "head_tank"),
    "unknown": ("pressure_cutout", "head_rise_house"),
    "irrigation": ("pressure_irrigation", "head_rise_house"),
    "stock": (None, "head_tank"),
    "village": (None, "head_tank"),
    "hand": (None, None),
}


def _by_use(use: NDArray, settings: Settings, place: int) -> Banded:
    out = Banded.recorded(np.full(len(use), np.nan))
    for name in np.unique(use.astype(str)):
        practice = DELIVERY.get(name, DELIVERY["unknown"])[place]
        band = settings.practice[practice] if practice else Band(0.0, 0.0, 0.0)
        here = np.where(use == name, 1.0, np.nan)
        out.fill(band.base * here, band.low * here, band.high * here, ASSUMED)
    return out


def cutout_pressure(wells: pd.DataFrame, use: NDArray, settings: Settings) -> Banded:
    """Highest pressure at the wellhead while the pump runs, Pa; recorded, else by use."""
    out = Banded.recorded(wells["pressure_cutout_pa"].to_numpy(float))
    default = _by_use(use, settings, 0)
    return out.fill(default.base, default.low, default.high, ASSUMED)


def head_before_friction(
    wells: pd.DataFrame, use: NDArray, level: Banded, cutout: Banded, settings: Settings
) -> tuple[Banded, NDArray[np.bool_]]:
    """Highest running head before pipe friction, m, and where a total head was given as typed."""
    given = wells["head_total_dynamic_m"].to_numpy(float)
    out = Banded.recorded(given)
    rise = Banded.recorded(wells["head_rise_m"].to_numpy(float))
    default = _by_use(use, settings, 1)
    rise.fill(default.base, default.low, default.high, ASSUMED)
    gamma = DENSITY * GRAVITY
    pressure = Banded(cutout.base / gamma, cutout.low / gamma, cutout.high / gamma, cutout.basis)
    lift = Banded(np.maximum(level.base, 0.0), np.maximum(level.low, 0.0), np.maximum(level.high, 0.0), level.basis)
    minor = constant(settings.practice["loss_minor"], len(given))
    total = add(lift, rise, pressure, minor)
    out.fill(total.base, total.low, total.high, DERIVED)
    is_given = ~np.isnan(given)
    out.basis = np.where(is_given, out.basis, np.maximum(np.int8(DERIVED), level.basis)).astype(np.int8)
    return out.clip(0.1, np.inf), is_given


def temperature(wells: pd.DataFrame, where: Latitude, setting: Banded, settings: Settings) -> Banded:
    """Water temperature, degC: recorded, else the mean air of its latitude and a little more; warmer with depth.

    Where nothing tells the latitude, or the settings give a temperature of their own, that of a temperate place.
    """
    practice = settings.practice
    out = Banded.recorded(wells["temperature_water_degc"].to_numpy(float))
    deeper = np.maximum(setting.base - 15.0, 0.0)
    over, slope, least = (practice[n] for n in ("temperature_over_air", "gradient_temperature", "temperature_least"))
    if "temperature_default" not in settings.practice_overlay:
        base, low, high = by_latitude(where, "temperature_air", "degC")
        out.fill(np.maximum(base + over.base, least.base) + slope.base * deeper,
                 np.maximum(low + over.low, least.low) + slope.low * deeper,
                 np.maximum(high + over.high, least.high) + slope.high * deeper, ASSUMED)  # fmt: skip
    band = practice["temperature_default"]
    return out.fill(band.base + slope.base * deeper, band.low + slope.low * deeper, band.high + slope.high * deeper,
                    ASSUMED)  # fmt: skip


def bore(wells: pd.DataFrame, hand: NDArray, settings: Settings) -> Banded:
    """Smallest bore above the pump, m: recorded, else by use."""
    out = Banded.recorded(
        wells["diameter_casing_inside_m"].where(wells["diameter_casing_inside_m"] > 0).to_numpy(float)
    )
    large = wells["use_code"].isin(["irrigation", "public_supply", "industrial"]).to_numpy()
    for which, name in (
        (hand, "diameter_casing_village"), (large & ~hand, "diameter_casing_large"),
        (~hand & ~large, "diameter_casing_domestic"),
    ):  # fmt: skip
        band, here = settings.practice[name], np.where(which, 1.0, np.nan)
        out.fill(band.base * here, band.low * here, band.high * here, ASSUMED)
    return out


def pump_width(flow: Floats, room: Banded, hand: NDArray, settings: Settings) -> Floats:
    """Widest part of the pump set, m: the class that carries the flow; 3 in where the bore asks and flow allows."""
    base = settings.base
    width = np.where(flow <= base("flow_limit_4in"), base("diameter_pump_4in"), base("diameter_pump_6in"))
    width = np.where(flow > base("flow_limit_6in"), base("diameter_pump_8in"), width)
    small = (flow <= base("flow_limit_3in")) & (room.base < base("diameter_pump_4in"))
    width = np.where(small, base("diameter_pump_3in"), width)
    return np.where(hand, base("diameter_cylinder_hand"), width)


def shaft_power(flow: Floats, head: Floats, settings: Settings) -> Floats:
    """Shaft power at duty, W."""
    return DENSITY * GRAVITY * flow * head / settings.base("efficiency_pump")


def pump_mass(wells: pd.DataFrame, power: Banded, hand: NDArray, settings: Settings) -> Banded:
    """Pump with motor, dry, kg: recorded, else from shaft power; hand-pump cylinders by declaration."""
    practice = settings.practice
    out = Banded.recorded(wells["mass_pump_kg"].where(wells["mass_pump_kg"] > 0).to_numpy(float))
    cylinder, here = practice["mass_cylinder_hand"], np.where(hand, 1.0, np.nan)
    out.fill(cylinder.base * here, cylinder.low * here, cylinder.high * here, ASSUMED)
    least, each = practice["mass_pump_base"], practice["mass_pump_per_kw"]
    base, low, high = (
        start + a_watt * watts
        for start, a_watt, watts in ((least.base, each.base, power.base), (least.low, each.low, power.low),
                                     (least.high, each.high, power.high))
    )  # fmt: skip
    return out.fill(base, low, high, ASSUMED)


def shutoff_head(wells: pd.DataFrame, running: Banded, kind: NDArray, settings: Settings) -> Banded:
    """Head against a closed valve, m: recorded, else the declared ratio to the running head.

    A drive of variable speed may run up to full speed against the valve: the head follows the square of the speed.
    NaN for pumps that have none (hand pumps, helical rotors): their limit is a relief valve.
    """
    out = Banded.recorded(wells["head_shutoff_m"].to_numpy(float))
    ratio = settings.practice["ratio_shutoff"]
    turns = np.where(np.isin(kind, ["hand", "helical"]), np.nan, 1.0)
    driven = wells["is_variable_speed"].astype(object).eq(True).to_numpy(bool)
    speed = settings.practice["ratio_speed_shutoff"]
    ends = [np.where(driven, end**2, 1.0) * turns for end in (speed.base, speed.low, speed.high)]
    return out.fill(ratio.base * running.base * ends[0], ratio.low * running.low * ends[1],
                    ratio.high * running.high * ends[2], ASSUMED)  # fmt: skip
