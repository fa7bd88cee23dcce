"""The formulas of physics for all options, and for all wells, in one compiled call each.

Each array form of a formula is loaded by itself and costs a tenth of a second at the start of a process;
one well explained needs a dozen of them. The formulas stay where they are; here they are only called.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import scalar
from pipeline.physics.friction import (
    REYNOLDS_TURBULENT,
    _factor_colebrook,
    _head_minor_m,
    _velocity_m_per_s,
)
from pipeline.physics.pressure import (
    _factor_hdb,
    _limit_hours_inside_pa,
    _limit_hours_outside_pa,
    _rating_threaded_steel_pa,
)
from pipeline.physics.surge import ANCHOR_TOP, _wave_speed_m_per_s
from pipeline.physics.tension import _area_bore_m2, _area_wall_m2
from pipeline.physics.water import BULK_MODULUS_PA, _viscosity_kinematic_m2_per_s, _weight_specific_n_per_m3

Floats = NDArray[np.float64]
DENSITY_COLD = 1000.0  # kg/m3, for wave speeds only
INPUT = (
    "outside", "wall", "bore", "root", "thread_height", "stress", "hdb", "modulus", "poisson", "roughness",
)  # fmt: skip
OUTPUT = (
    "rating_steel", "hours_inside", "hours_outside", "area_wall", "area_root", "area_bore", "area_outside",
    "wave_speed", "velocity", "loss", "turbulent_4000",
)  # fmt: skip


@scalar
def _options(numbers, share_hours, out):
    for j in range(numbers.shape[1]):
        outside, wall, bore, root, height = numbers[0, j], numbers[1, j], numbers[2, j], numbers[3, j], numbers[4, j]
        stress, hdb, modulus, poisson = numbers[5, j], numbers[6, j], numbers[7, j], numbers[8, j]
        least = outside - 2.0 * wall
        velocity = _velocity_m_per_s(1.0, bore)
        out[0, j] = _rating_threaded_steel_pa(stress, outside, wall, height)
        out[1, j] = _limit_hours_inside_pa(share_hours, hdb, 1.0, least, wall)
        out[2, j] = _limit_hours_outside_pa(share_hours, hdb, 1.0, outside, wall)
        out[3, j] = _area_wall_m2(outside, least)
        out[4, j] = _area_wall_m2(root, least)
        out[5, j] = _area_bore_m2(bore)
        out[6, j] = _area_bore_m2(outside)
        out[7, j] = _wave_speed_m_per_s(DENSITY_COLD, BULK_MODULUS_PA, modulus, least, wall, poisson, ANCHOR_TOP)
        out[8, j] = velocity
        out[9, j] = _head_minor_m(1.0 / bore, velocity)
        out[10, j] = _factor_colebrook(REYNOLDS_TURBULENT, numbers[9, j] / bore)


@scalar
def _turbulent(reynolds, relative, out):
    for i in range(reynolds.shape[0]):
        for j in range(reynolds.shape[1]):
            out[i, j] = _factor_colebrook(reynolds[i, j], relative[j])


@scalar
def _water(temperature, gamma, viscosity):
    for i in range(temperature.shape[0]):
        gamma[i] = _weight_specific_n_per_m3(temperature[i])
        viscosity[i] = _viscosity_kinematic_m2_per_s(temperature[i])


@scalar
def _warmth(temperature, cold, hot, hdb_cold, hdb_hot, largest, out):
    for i in range(temperature.shape[0]):
        out[i] = _factor_hdb(temperature[i], cold, hot, hdb_cold, hdb_hot, largest)


def option_numbers(numbers: dict[str, Floats], share_hours: float) -> dict[str, Floats]:
    """What the formulas of physics give for each option, by the names of OUTPUT; ``numbers`` by INPUT, SI."""
    given = np.ascontiguousarray(np.stack([numbers[name] for name in INPUT]))
    out = np.full((len(OUTPUT), given.shape[1]), np.nan)
    _options(given, share_hours, out)
    return dict(zip(OUTPUT, out, strict=True))


def turbulent_factors(reynolds: Floats, relative: Floats) -> Floats:
    """Turbulent friction factor for a grid of Reynolds numbers (rows, m) and relative roughness (m). [1]"""
    out = np.empty_like(reynolds)
    _turbulent(reynolds, relative, out)
    return out


def water(temperature_degc: Floats) -> tuple[Floats, Floats]:
    """Specific weight [N/m3] and kinematic viscosity [m2/s] of water at each temperature."""
    here = np.ascontiguousarray(temperature_degc, dtype=np.float64)
    gamma, viscosity = np.empty_like(here), np.empty_like(here)
    _water(here, gamma, viscosity)
    return gamma, viscosity


def warmth_by_design_basis(
    temperature_degc: Floats, cold: float, hot: float, hdb_cold: float, hdb_hot: float, largest: float
) -> Floats:
    """Temperature factor between two design bases at each temperature, as physics.pressure.factor_hdb. [1]"""
    here = np.ascontiguousarray(temperature_degc, dtype=np.float64)
    out = np.empty_like(here)
    _warmth(here, cold, hot, hdb_cold, hdb_hot, largest, out)
    return out
