"""Friction of water in a full pipe: Darcy with Colebrook, and Hazen-Williams for comparison."""

from __future__ import annotations

import math

from pipeline.compiled import arrays, scalar
from pipeline.physics.water import GRAVITY

REYNOLDS_LAMINAR = 2000.0
REYNOLDS_TURBULENT = 4000.0
# V = 1.318 C R^0.63 S^0.54 in feet and seconds; the metre form follows (source: hazen_williams_table)
_HW_VELOCITY_SI = 1.318 * 0.3048**0.37
_HW_POWER = 1.0 / 0.54
HAZEN_WILLIAMS_SI = (4.0**1.63 / (math.pi * _HW_VELOCITY_SI)) ** _HW_POWER
_HW_DIAMETER_POWER = 2.63 / 0.54


@scalar
def _velocity_m_per_s(flow_m3_per_s: float, diameter_inside_m: float) -> float:
    """Mean velocity in a round bore.

    Parameters
    ----------
    flow_m3_per_s, diameter_inside_m : array_like, broadcast
        Flow [m3/s] and bore [m].

    Returns
    -------
    ndarray
        Velocity [m/s].
    """
    return flow_m3_per_s / (math.pi / 4.0 * diameter_inside_m * diameter_inside_m)


@scalar
def _reynolds(
    velocity_m_per_s: float, diameter_inside_m: float, viscosity_kinematic_m2_per_s: float,
) -> float:  # fmt: skip
    """Reynolds number on the bore.

    Parameters
    ----------
    velocity_m_per_s, diameter_inside_m, viscosity_kinematic_m2_per_s : array_like, broadcast
        Velocity [m/s], bore [m], kinematic viscosity [m2/s].

    Returns
    -------
    ndarray
        Reynolds number [1].
    """
    return velocity_m_per_s * diameter_inside_m / viscosity_kinematic_m2_per_s


@scalar
def _factor_colebrook(reynolds: float, roughness_relative: float) -> float:
    """Darcy friction factor of turbulent flow, the implicit formula solved to machine precision.

    Parameters
    ----------
    reynolds : array_like
        Reynolds number, above about 2000. [1]
    roughness_relative : array_like, broadcast
        Roughness over bore. [1]

    Returns
    -------
    ndarray
        Friction factor [1]; NaN where an input is missing.

    Notes
    -----
    Newton steps on x = 1/sqrt(f) from an explicit start; the residual is convex, so they settle in
    four or five. Source: ``colebrook_1939``.
    """
    a = roughness_relative / 3.7
    b = 2.51 / reynolds
    x = -1.8 * math.log10(a**1.11 + 6.9 / reynolds)
    for _ in range(30):
        inner = a + b * x
        step = (x + 2.0 * math.log10(inner)) / (1.0 + 2.0 / math.log(10.0) * b / inner)
        x -= step
        if not (abs(step) > 1e-14 * abs(x)):
            break
    return 1.0 / (x * x)


@scalar
def _factor_friction(reynolds: float, roughness_relative: float) -> float:
    """Darcy friction factor of any flow.

    Parameters
    ----------
    reynolds, roughness_relative : array_like, broadcast
        Reynolds number and roughness over bore. [1]

    Returns
    -------
    ndarray
        64/Re below 2000; Colebrook above 4000; between them a straight line in Re, a declared rule,
        since no formula holds there. NaN where an input is missing.
    """
    if reynolds < REYNOLDS_LAMINAR:
        return 64.0 / reynolds
    if reynolds < REYNOLDS_TURBULENT:
        low = 64.0 / REYNOLDS_LAMINAR
        high = _factor_colebrook(REYNOLDS_TURBULENT, roughness_relative)
        share = (reynolds - REYNOLDS_LAMINAR) / (REYNOLDS_TURBULENT - REYNOLDS_LAMINAR)
        return low + (high - low) * share
    return _factor_colebrook(reynolds, roughness_relative)


@scalar
def _head_friction_m(
    flow_m3_per_s: float, length_m: float, diameter_inside_m: float, roughness_m: float,
    viscosity_kinematic_m2_per_s: float,
) -> float:  # fmt: skip
    """Head lost to friction, h = f L/d V^2/2g.

    Parameters
    ----------
    flow_m3_per_s, length_m, diameter_inside_m, roughness_m, viscosity_kinematic_m2_per_s : array_like
        Broadcast against each other; SI.

    Returns
    -------
    ndarray
        Head of water [m]; 0 without flow, NaN where an input is missing.
    """
    if flow_m3_per_s == 0.0:
        return 0.0 * length_m * diameter_inside_m * roughness_m * viscosity_kinematic_m2_per_s
    velocity = _velocity_m_per_s(flow_m3_per_s, diameter_inside_m)
    reynolds = _reynolds(velocity, diameter_inside_m, viscosity_kinematic_m2_per_s)
    factor = _factor_friction(reynolds, roughness_m / diameter_inside_m)
    return factor * length_m / diameter_inside_m * velocity * velocity / (2.0 * GRAVITY)


@scalar
def _head_hazen_williams_m(
    flow_m3_per_s: float, length_m: float, diameter_inside_m: float, hazen_williams_c: float,
) -> float:  # fmt: skip
    """Head lost to friction by Hazen-Williams; for cold water in turbulent flow only.

    Parameters
    ----------
    flow_m3_per_s, length_m, diameter_inside_m, hazen_williams_c : array_like, broadcast
        Flow [m3/s], length [m], bore [m], coefficient C [1].

    Returns
    -------
    ndarray
        Head of water [m].
    """
    ratio = (flow_m3_per_s / hazen_williams_c) ** _HW_POWER
    return HAZEN_WILLIAMS_SI * length_m * ratio / diameter_inside_m**_HW_DIAMETER_POWER


@scalar
def _head_minor_m(coefficient: float, velocity_m_per_s: float) -> float:
    """Head lost in a fitting, K V^2/2g.

    Parameters
    ----------
    coefficient, velocity_m_per_s : array_like, broadcast
        Loss coefficient K [1] and velocity [m/s].

    Returns
    -------
    ndarray
        Head of water [m].
    """
    return coefficient * velocity_m_per_s * velocity_m_per_s / (2.0 * GRAVITY)


velocity_m_per_s = arrays(_velocity_m_per_s)
reynolds = arrays(_reynolds)
factor_colebrook = arrays(_factor_colebrook)
factor_friction = arrays(_factor_friction)
head_friction_m = arrays(_head_friction_m)
head_hazen_williams_m = arrays(_head_hazen_williams_m)
head_minor_m = arrays(_head_minor_m)
