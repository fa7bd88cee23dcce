"""Pressure a pipe may carry and the pressure it is given."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.compiled import arrays, scalar

MILL_TOLERANCE = 0.875  # least wall over nominal wall of steel pipe (source: asme_b31)


@scalar
def _rating_outside_pa(stress_pa: float, diameter_outside_m: float, wall_m: float) -> float:
    """Rating of pipe made to its outside diameter, 2 S t/(D - t) = 2 S/(DR - 1).

    Parameters
    ----------
    stress_pa, diameter_outside_m, wall_m : array_like, broadcast
        Hydrostatic design stress [Pa], outside diameter [m], least wall [m].

    Returns
    -------
    ndarray
        Pressure [Pa]. Source: ``astm_d1785``, ``astm_d3035``, ``iso_4427`` (mean diameter form).
    """
    return 2.0 * stress_pa * wall_m / (diameter_outside_m - wall_m)


@scalar
def _rating_inside_pa(stress_pa: float, diameter_inside_m: float, wall_m: float) -> float:
    """Rating of pipe made to its bore, 2 S t/(d + t) = 2 S/(SIDR + 1).

    Parameters
    ----------
    stress_pa, diameter_inside_m, wall_m : array_like, broadcast
        Hydrostatic design stress [Pa], bore [m], least wall [m].

    Returns
    -------
    ndarray
        Pressure [Pa]. Source: ``astm_d2239``.
    """
    return 2.0 * stress_pa * wall_m / (diameter_inside_m + wall_m)


@scalar
def _rating_threaded_steel_pa(
    stress_pa: float, diameter_outside_m: float, wall_m: float, height_thread_m: float,
) -> float:  # fmt: skip
    """Pressure of threaded steel pipe, 2 S (0.875 t - h)/D; 0 where the thread eats the wall.

    Parameters
    ----------
    stress_pa, diameter_outside_m, wall_m, height_thread_m : array_like, broadcast
        Allowable stress [Pa], outside diameter [m], nominal wall [m], thread height [m].

    Returns
    -------
    ndarray
        Pressure [Pa]. Source: ``asme_b31``.
    """
    left = MILL_TOLERANCE * wall_m - height_thread_m
    if left < 0.0:
        left = 0.0
    return 2.0 * stress_pa * left / diameter_outside_m


@scalar
def _stress_hoop_bore_pa(
    pressure_inside_pa: float, pressure_outside_pa: float, diameter_outside_m: float,
    diameter_inside_m: float,
) -> float:  # fmt: skip
    """Hoop stress at the bore of a thick wall (Lame), the largest in the section.

    Parameters
    ----------
    pressure_inside_pa, pressure_outside_pa, diameter_outside_m, diameter_inside_m : array_like, broadcast

    Returns
    -------
    ndarray
        Stress [Pa], tension positive.
    """
    outside, inside = diameter_outside_m**2, diameter_inside_m**2
    return (pressure_inside_pa * (outside + inside) - 2.0 * pressure_outside_pa * outside) / (outside - inside)


@scalar
def _stress_equivalent_pa(hoop_pa: float, axial_pa: float, radial_pa: float) -> float:
    """Equivalent stress of hoop, axial and radial stress together, by distortion energy (von Mises).

    Parameters
    ----------
    hoop_pa, axial_pa, radial_pa : array_like, broadcast
        Principal stresses, tension positive. [Pa]

    Returns
    -------
    ndarray
        Stress [Pa], to be set against the yield or the short-time strength.
    """
    a, b, c = hoop_pa - axial_pa, axial_pa - radial_pa, radial_pa - hoop_pa
    return math.sqrt((a * a + b * b + c * c) / 2.0)


@scalar
def _factor_hdb(
    temperature_degc: float, cold_degc: float, hot_degc: float, hdb_cold_pa: float, hdb_hot_pa: float,
    largest_degc: float,
) -> float:  # fmt: skip
    """Share of the cold rating left at a temperature, from two design bases, linear in 1/T.

    Parameters
    ----------
    temperature_degc : array_like
        Pipe temperature. [degC]
    cold_degc, hot_degc : array_like, broadcast
        Temperatures of the two design bases. [degC]
    hdb_cold_pa, hdb_hot_pa : array_like, broadcast
        Hydrostatic design basis at each, in one unit.
    largest_degc : array_like, broadcast
        Temperature past which the pipe carries no rating. [degC]

    Returns
    -------
    ndarray
        Factor [1]: 1 at and below the cold temperature, 0 past the largest. Source: ``pe_temperature_rule``.
    """
    if temperature_degc > largest_degc:
        return 0.0
    if temperature_degc <= cold_degc:
        return 1.0
    cold, hot, here = 1.0 / (cold_degc + 273.15), 1.0 / (hot_degc + 273.15), 1.0 / (temperature_degc + 273.15)
    return 1.0 - (1.0 - hdb_hot_pa / hdb_cold_pa) * (cold - here) / (cold - hot)


@scalar
def _factor_table(
    temperature_degc: float, temperatures_degc: NDArray[np.float64], factors: NDArray[np.float64],
) -> float:  # fmt: skip
    """Share of the rating left at one temperature, by straight lines between the rows of a table.

    Parameters
    ----------
    temperature_degc : float
        Pipe temperature. [degC]
    temperatures_degc, factors : ndarray of one dimension
        Rows of the table in rising order.

    Returns
    -------
    float
        Factor [1]: the first row's below the table, 0 past its last row, NaN for NaN.
    """
    last = temperatures_degc.shape[0] - 1
    if temperature_degc > temperatures_degc[last]:
        return 0.0
    if temperature_degc <= temperatures_degc[0]:
        return factors[0]
    for i in range(last):
        if temperature_degc <= temperatures_degc[i + 1]:
            share = (temperature_degc - temperatures_degc[i]) / (temperatures_degc[i + 1] - temperatures_degc[i])
            return factors[i] + (factors[i + 1] - factors[i]) * share
    return float("nan")


def factor_table(temperature_degc: ArrayLike, temperatures_degc: ArrayLike, factors: ArrayLike) -> NDArray[np.float64]:
    """Array form of :func:`_factor_table`.

    Parameters
    ----------
    temperature_degc : array_like
        Pipe temperatures. [degC]
    temperatures_degc, factors : array_like of one dimension
        Rows of the table in rising order.

    Returns
    -------
    ndarray, shape of ``temperature_degc``
        Factor [1]: 0 past the last row, NaN for NaN.
    """
    here, rows = np.asarray(temperature_degc, dtype=np.float64), np.asarray(temperatures_degc, dtype=np.float64)
    out = np.interp(here, rows, np.asarray(factors, dtype=np.float64))
    return np.where(here > rows[-1], 0.0, out)


@scalar
def _pressure_wall_pa(
    depth_m: float, length_m: float, depth_water_m: float, pressure_head_pa: float, head_friction_m: float,
    weight_specific_n_per_m3: float,
) -> float:  # fmt: skip
    """Pressure inside less pressure outside at a depth along the string, pump running.

    Parameters
    ----------
    depth_m : array_like
        Depth below the hanger, 0 to ``length_m``. [m]
    length_m, depth_water_m : array_like, broadcast
        Length of the string and depth of the water outside, both below the hanger. [m]
    pressure_head_pa : array_like, broadcast
        Gauge pressure in the bore at the hanger. [Pa]
    head_friction_m : array_like, broadcast
        Friction of the whole string [m]; 0 when the pump stands or is dead-headed.
    weight_specific_n_per_m3 : array_like, broadcast

    Returns
    -------
    ndarray
        Pressure across the wall [Pa]. Source: ``free_body``.
    """
    outside = depth_m - depth_water_m
    if outside < 0.0:
        outside = 0.0
    share = depth_m / length_m
    return pressure_head_pa + weight_specific_n_per_m3 * (depth_m + head_friction_m * share - outside)


@scalar
def _limit_hours_outside_pa(
    share: float, hdb_pa: float, factor_temperature: float, diameter_outside_m: float, wall_m: float,
) -> float:  # fmt: skip
    """Pressure for hours (dead-head) of outside-controlled plastic: a share of the design basis as stress.

    Parameters
    ----------
    share, hdb_pa, factor_temperature, diameter_outside_m, wall_m : array_like, broadcast
        Share of the basis allowed [1], hydrostatic design basis [Pa], factor [1], metres.

    Returns
    -------
    ndarray
        Pressure [Pa]. Source: ``judgement``.
    """
    return _rating_outside_pa(share * hdb_pa * factor_temperature, diameter_outside_m, wall_m)


@scalar
def _limit_hours_inside_pa(
    share: float, hdb_pa: float, factor_temperature: float, diameter_inside_m: float, wall_m: float,
) -> float:  # fmt: skip
    """Pressure for hours (dead-head) of bore-controlled plastic: a share of the design basis as stress.

    Parameters
    ----------
    share, hdb_pa, factor_temperature, diameter_inside_m, wall_m : array_like, broadcast
        Share of the basis allowed [1], hydrostatic design basis [Pa], factor [1], metres.

    Returns
    -------
    ndarray
        Pressure [Pa]. Source: ``judgement``.
    """
    return _rating_inside_pa(share * hdb_pa * factor_temperature, diameter_inside_m, wall_m)


@scalar
def _pressure_collapse_pa(
    modulus_pa: float, poisson: float, diameter_outside_m: float, wall_m: float,
) -> float:  # fmt: skip
    """Outside pressure at which a round elastic pipe collapses, 2 E/(1 - nu^2) / (DR (DR - 1)^2).

    Parameters
    ----------
    modulus_pa, poisson, diameter_outside_m, wall_m : array_like, broadcast
        Modulus for the time the load lasts [Pa], Poisson ratio [1], metres.

    Returns
    -------
    ndarray
        Pressure [Pa]; no allowance for ovality. Source: ``astm_f480`` (form from memory).
    """
    ratio = diameter_outside_m / wall_m
    return 2.0 * modulus_pa / (1.0 - poisson * poisson) / (ratio * (ratio - 1.0) ** 2)


@scalar
def _pressure_collapse_oval_pa(
    modulus_pa: float, poisson: float, diameter_outside_m: float, wall_m: float, factor_ovality: float,
    safety: float,
) -> float:  # fmt: skip
    """Outside pressure a PE pipe may carry, with ovality and safety: 2 E/(1 - nu^2) (1/(DR - 1))^3 f/N.

    Parameters
    ----------
    modulus_pa, poisson, diameter_outside_m, wall_m, factor_ovality, safety : array_like, broadcast
        Modulus for the time the load lasts [Pa], Poisson ratio [1], metres, factors [1].

    Returns
    -------
    ndarray
        Pressure [Pa]. Source: ``ppi_handbook`` (form from memory).
    """
    ratio = diameter_outside_m / wall_m
    return 2.0 * modulus_pa / (1.0 - poisson * poisson) / (ratio - 1.0) ** 3 * factor_ovality / safety


rating_outside_pa = arrays(_rating_outside_pa)
rating_inside_pa = arrays(_rating_inside_pa)
rating_threaded_steel_pa = arrays(_rating_threaded_steel_pa)
stress_hoop_bore_pa = arrays(_stress_hoop_bore_pa)
stress_equivalent_pa = arrays(_stress_equivalent_pa)
factor_hdb = arrays(_factor_hdb)
pressure_wall_pa = arrays(_pressure_wall_pa)
limit_hours_outside_pa = arrays(_limit_hours_outside_pa)
limit_hours_inside_pa = arrays(_limit_hours_inside_pa)
pressure_collapse_pa = arrays(_pressure_collapse_pa)
pressure_collapse_oval_pa = arrays(_pressure_collapse_oval_pa)
