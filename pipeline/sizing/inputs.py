"""The design point as the matrix that the kernel reads: one row a well, one column a value."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import rng
from pipeline.compiled import scalar
from pipeline.physics.water import GRAVITY
from pipeline.settings import Settings
from pipeline.sizing.formulas import water
from pipeline.sizing.layout import WELL, W

Floats = NDArray[np.float64]


OF_RECORD = ("has_fuel_contamination", "is_variable_speed")


def with_record(design: pd.DataFrame, wells: pd.DataFrame | None) -> pd.DataFrame:
    """Design points with what sizing reads of the record itself (OF_RECORD), rows in the same order."""
    if wells is None:
        return design
    have = [name for name in OF_RECORD if name in wells]
    return design.assign(**{name: wells[name].to_numpy(dtype=object) for name in have})


def matrix(design: pd.DataFrame, settings: Settings, end: str = "") -> Floats:
    """Kernel inputs of every well of a ``design`` frame.

    Parameters
    ----------
    end : str
        "" for the base values, "_low" or "_high" for an end of every band.

    Columns of OF_RECORD are read where :func:`with_record` has set them; absent, nothing is known of them.

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
    fast = design.get("is_variable_speed", pd.Series(False, index=design.index)).astype(object).eq(True).to_numpy()
    speed = practice["ratio_speed_shutoff"]
    most = {"": speed.base, "_low": speed.low, "_high": speed.high}[end]
    # shutoff goes with the square of speed; what is recorded stands
    put("ratio_shutoff", np.where(recorded | none, np.nan, ratio * np.where(fast, most * most, 1.0)))
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
    fuel = design.get("has_fuel_contamination", pd.Series(False, index=design.index)).astype(object).eq(True)
    put("fuel", fuel.to_numpy(float))
    put("plunger", np.where(hand, settings.base("diameter_plunger_hand"), np.nan))
    return out


MOVED_BY_LEVEL = ("head", "length", "depth_pump", "level_static", "level_pumping")
MOVED_BY_FLOW = ("flow",)
MOVED_BY_PLACE = ("bore", "weight_pump", "volume_pump", "temperature", "gamma", "viscosity")
NORMAL_P90 = 1.2815515655446004  # standard normal deviate passed by one in ten
FARTHEST = 2.5  # deviates past this are taken as this
# what moves with which deviate, and the least that each may come to
_MOVED = np.array([[W[name], stream] for stream, names in enumerate((MOVED_BY_LEVEL, MOVED_BY_FLOW, MOVED_BY_PLACE))
                   for name in names])  # fmt: skip
_LEAST = {"flow": 1e-6, "length": 0.5, "head": 0.1, "depth_pump": 0.5, "bore": 0.02,
          "weight_pump": 1.0, "volume_pump": 0.0}
_FLOOR = np.array([_LEAST.get(name, -np.inf) for name in WELL])


@scalar
def _moved(base, low, high, deviate):
    """A value moved within its band; low and high are met at the tenth and ninetieth percentile."""
    z = -FARTHEST if deviate < -FARTHEST else deviate
    z = (FARTHEST if z > FARTHEST else z) / NORMAL_P90
    return base + (high - base if z > 0.0 else base - low) * z


@scalar
def _draw(base, low, high, own_key, region, shared, words, own, places, floor, out):
    """Kernel inputs of one draw into ``out`` (n, values); see :func:`drawn`.

    ``shared`` (streams, regions) and ``own`` weigh the region's and the well's own deviate; ``words`` (streams, 2)
    are from rng.words; ``places`` (moved, 2) holds the column of a value and its stream.
    """
    deviates = np.empty(len(words))
    for i in range(len(base)):
        for stream in range(len(words)):
            alone = rng._normal(own_key[i], words[stream, 0], words[stream, 1])
            deviates[stream] = shared[stream, region[i]] + own * alone
        for k in range(base.shape[1]):
            out[i, k] = base[i, k]
        for m in range(len(places)):
            k = places[m, 0]
            value = _moved(base[i, k], low[i, k], high[i, k], deviates[places[m, 1]])
            out[i, k] = floor[k] if value < floor[k] else value


@dataclass(frozen=True)
class Draw:
    """Deviates of one draw: ``shared`` (streams, regions) by region, the rest from each well's own key."""

    shared: Floats
    words: NDArray[np.uint64]
    own: float


STREAMS = ("level", "flow", "place")


def deviates_of(settings: Settings, region_key: NDArray[np.uint64], draw: int) -> Draw:
    """What moves the inputs in one draw; all wells of a region share a part of their deviate."""
    share = settings.base("spread_regional")
    shared = [rng.normal(settings.seed, f"region/{stream}", region_key, draw) for stream in STREAMS]
    words = [rng.words(settings.seed, f"well/{stream}", draw) for stream in STREAMS]
    return Draw(np.sqrt(share) * np.stack(shared), np.array(words, dtype=np.uint64), float(np.sqrt(1.0 - share)))


def drawn(
    base: Floats, low: Floats, high: Floats, key: NDArray[np.uint64], region: NDArray[np.int64], draw: Draw,
    out: Floats | None = None,
) -> Floats:  # fmt: skip
    """Kernel inputs of one draw: each value moved within its band by its own deviate.

    Parameters
    ----------
    base, low, high : ndarray (n, values), from :func:`matrix`
    key, region : ndarray (n)
        Key of each well for random numbers, and place of its region in ``draw.shared``.
    draw : Draw
    out : ndarray (n, values), optional
        Written and returned, so that a buffer can be used again.

    Returns
    -------
    ndarray (n, values)
        The low and high ends are met at the tenth and ninetieth percentile; each side has its own spread.
    """
    out = np.empty_like(base) if out is None else out
    _draw(base, low, high, key, region, draw.shared, draw.words, draw.own, _MOVED, _FLOOR, out)
    return out
