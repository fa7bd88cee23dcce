"""Gauge of the power cable: the thinnest that carries the motor's current and keeps the voltage drop.

Drop of a single-phase motor: 2 I R L; of a three-phase one: sqrt(3) I R L, with R of the conductor at its working
temperature and L the run from panel to motor. Full-load currents are those of the code's tables at 230 V, scaled with
one over the voltage. An electrician checks the gauge on site.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline import schema
from pipeline.settings import Settings
from pipeline.units import convert

MARKETS = ("us", "metric")
COEFFICIENT = 0.00393  # change of the resistance of copper a degree, at 20 degC (source: iec_60028)
_REFERENCE = 20.0
_KILO = 1000.0

Floats = NDArray[np.float64]


@lru_cache(maxsize=1)
def ladders() -> dict[str, tuple[dict[str, str], ...]]:
    """Rows of reference/cables.csv by market, thinnest first."""
    rows = schema.rows("reference/cables")
    return {market: tuple(sorted((row for row in rows if row["market_code"] == market),
                                 key=lambda row: float(row["area_mm2"]))) for market in MARKETS}  # fmt: skip


def steps() -> int:
    """Gauges of the longer list."""
    return max(map(len, ladders().values()))


@lru_cache(maxsize=1)
def _currents() -> dict[int, tuple[Floats, Floats, float]]:
    """Power [W], current [A] and voltage [V] of the code's tables by phases."""
    out = {}
    for phases in (1, 3):
        rows = [row for row in schema.rows("reference/motor_currents") if int(row["phases"]) == phases]
        power = np.array([float(row["power_hp"]) for row in rows])
        out[phases] = (np.asarray(convert(power, "hp", "W")), np.array([float(row["current_a"]) for row in rows]),
                       float(rows[0]["voltage_v"]))  # fmt: skip
    return out


def _current(power_w: Floats, phases: int) -> Floats:
    """Full-load current at the voltage of the table, in proportion to power past either end. [A]"""
    power, current, _ = _currents()[phases]
    inside = np.interp(power_w, power, current)
    ends = np.where(power_w > power[-1], power_w / power[-1], np.minimum(power_w / power[0], 1.0))
    return np.asarray(inside * ends)


@lru_cache(maxsize=4)
def resistances(settings: Settings) -> Floats:
    """Resistance of each gauge at the working temperature, (markets, steps); NaN past the end of a list. [ohm/m]"""
    out = np.full((len(MARKETS), steps()), np.nan)
    hot = 1.0 + COEFFICIENT * (settings.base("temperature_conductor") - _REFERENCE)
    for m, market in enumerate(MARKETS):
        for k, row in enumerate(ladders()[market]):
            told = 1.0 + COEFFICIENT * (float(row["temperature_degc"]) - _REFERENCE)
            out[m, k] = float(row["resistance_ohm_per_km"]) / _KILO / told * hot
    return out


def asked(
    power_motor_w: ArrayLike, market: NDArray[np.integer], settings: Settings
) -> tuple[Floats, NDArray[np.int64]]:
    """What a motor asks of its cable.

    Parameters
    ----------
    power_motor_w : array_like (n) [W]
    market : ndarray of int (n)
        Place in MARKETS.

    Returns
    -------
    resistance_ohm : ndarray (n)
        Most resistance of one conductor over the whole run; inf where the power is not known.
    least : ndarray of int64 (n)
        Thinnest gauge that carries the current; the last of the list where none does, 0 where the power is not known.
    """
    base = settings.base
    power = np.asarray(power_motor_w, float)
    known = power > 0.0
    safe = np.where(known, power, 1.0)
    single = safe <= base("power_three_phase") * (1 + 1e-6)
    three = np.where(np.asarray(market) == 0, base("voltage_three_phase_us"), base("voltage_three_phase_metric"))
    voltage = np.where(single, base("voltage_single_phase"), three)
    tables = _currents()
    current = np.where(single, _current(safe, 1) * tables[1][2], _current(safe, 3) * tables[3][2]) / voltage
    way = np.where(single, 2.0, np.sqrt(3.0))
    most = np.where(known, base("drop_cable") * voltage / (way * current), np.inf)
    least = np.zeros(len(power), np.int64)
    wanted = np.where(known, current * base("factor_current_cable"), 0.0)
    for m, name in enumerate(MARKETS):
        carries = np.array([float(row["current_most_a"]) for row in ladders()[name]])
        here = np.asarray(market) == m
        least[here] = np.minimum(np.searchsorted(carries, wanted[here] * (1 - 1e-9)), len(carries) - 1)
    return most, least


def gauge(
    power_motor_w: ArrayLike, length_run_m: ArrayLike, market: NDArray[np.integer], settings: Settings
) -> NDArray[np.int64]:
    """Place of the gauge in the list of its market; the thickest where none is enough.

    Parameters
    ----------
    length_run_m : array_like (n)
        From panel to motor. [m]
    """
    most, step = asked(power_motor_w, market, settings)
    table = resistances(settings)
    length = np.asarray(length_run_m, float)
    for _ in range(table.shape[1] - 1):
        wider = np.minimum(step + 1, table.shape[1] - 1)
        is_last = (wider == step) | np.isnan(table[market, wider])
        short = table[market, step] * length > most * (1 + 1e-9)
        step = np.where(short & ~is_last, wider, step)
    return step
