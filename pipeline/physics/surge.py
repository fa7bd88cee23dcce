"""Water hammer: how fast a pressure wave runs in the pipe, and what a change of velocity brings."""

from __future__ import annotations

import math

from pipeline.compiled import arrays, scalar

ANCHOR_FREE, ANCHOR_TOP, ANCHOR_BOTH = 0.0, 1.0, 2.0


@scalar
def _restraint(diameter_inside_m: float, wall_m: float, poisson: float, anchorage: float) -> float:
    """Factor of the thick wall and of how the pipe is held, for the wave speed.

    Parameters
    ----------
    diameter_inside_m, wall_m, poisson : array_like, broadcast
        Bore [m], wall [m], Poisson ratio [1].
    anchorage : array_like, broadcast
        0 free to lengthen throughout, 1 held at one end (a hanging string), 2 held at both ends.

    Returns
    -------
    ndarray
        Factor c [1]: (2t/D)(1+nu) + D/(D+t) k with k = 1, 1 - nu/2 or 1 - nu^2. Source: ``joukowsky``.
    """
    held = 1.0
    if anchorage == 1.0:
        held = 1.0 - poisson / 2.0
    elif anchorage == 2.0:
        held = 1.0 - poisson * poisson
    elif anchorage != 0.0:
        held = float("nan")
    thick = 2.0 * wall_m / diameter_inside_m * (1.0 + poisson)
    return thick + diameter_inside_m / (diameter_inside_m + wall_m) * held


@scalar
def _wave_speed_m_per_s(
    density_kg_per_m3: float, bulk_modulus_pa: float, modulus_pa: float, diameter_inside_m: float,
    wall_m: float, poisson: float, anchorage: float,
) -> float:  # fmt: skip
    """Speed of a pressure wave in a full pipe with a thick wall.

    Parameters
    ----------
    density_kg_per_m3, bulk_modulus_pa : array_like, broadcast
        Of the water. [kg/m3], [Pa]
    modulus_pa, diameter_inside_m, wall_m, poisson : array_like, broadcast
        Dynamic modulus [Pa], bore [m], wall [m], Poisson ratio [1].
    anchorage : array_like, broadcast
        0 free, 1 held at one end (a hanging string), 2 held at both ends.

    Returns
    -------
    ndarray
        Speed [m/s]. Source: ``joukowsky``.
    """
    give = bulk_modulus_pa / modulus_pa * diameter_inside_m / wall_m
    give *= _restraint(diameter_inside_m, wall_m, poisson, anchorage)
    return math.sqrt(bulk_modulus_pa / density_kg_per_m3 / (1.0 + give))


@scalar
def _pressure_surge_pa(
    density_kg_per_m3: float, wave_speed_m_per_s: float, change_velocity_m_per_s: float,
) -> float:  # fmt: skip
    """Pressure rise of a sudden change of velocity, rho a dV (Joukowsky).

    Parameters
    ----------
    density_kg_per_m3, wave_speed_m_per_s, change_velocity_m_per_s : array_like, broadcast

    Returns
    -------
    ndarray
        Pressure above the steady one [Pa]. Source: ``joukowsky``.
    """
    return density_kg_per_m3 * wave_speed_m_per_s * change_velocity_m_per_s


@scalar
def _duration_critical_s(length_m: float, wave_speed_m_per_s: float) -> float:
    """Time within which a closure counts as sudden, 2 L/a.

    Parameters
    ----------
    length_m, wave_speed_m_per_s : array_like, broadcast

    Returns
    -------
    ndarray
        Time [s].
    """
    return 2.0 * length_m / wave_speed_m_per_s


restraint = arrays(_restraint)
wave_speed_m_per_s = arrays(_wave_speed_m_per_s)
pressure_surge_pa = arrays(_pressure_surge_pa)
duration_critical_s = arrays(_duration_critical_s)
