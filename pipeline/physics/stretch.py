"""How far a hanging string lengthens: load, pressure, warmth."""

from __future__ import annotations

from pipeline.compiled import arrays, scalar
from pipeline.physics.tension import _load_axial_n


@scalar
def _strain_axial(
    load_n: float, pressure_inside_pa: float, pressure_outside_pa: float, area_bore_m2: float,
    area_outside_m2: float, modulus_pa: float, poisson: float,
) -> float:  # fmt: skip
    """Axial strain of a thick-walled pipe under wall tension and pressure.

    Parameters
    ----------
    load_n : array_like
        True tension in the wall. [N]
    pressure_inside_pa, pressure_outside_pa, area_bore_m2, area_outside_m2, modulus_pa, poisson : array_like
        Gauge pressures [Pa], bore and outer section [m2], modulus for the time the load lasts [Pa],
        Poisson ratio [1].

    Returns
    -------
    ndarray
        Strain [1], (T - 2 nu (p_i A_i - p_e A_o))/(E A): the hoop and radial stress of a thick wall sum
        to 2 (p_i A_i - p_e A_o)/A whatever its thickness. Source: ``free_body``.
    """
    sideways = 2.0 * poisson * (pressure_inside_pa * area_bore_m2 - pressure_outside_pa * area_outside_m2)
    return (load_n - sideways) / (modulus_pa * (area_outside_m2 - area_bore_m2))


@scalar
def _stretch_m(
    length_m: float, depth_water_m: float, weight_pipe_n_per_m: float, weight_cable_n_per_m: float,
    weight_pump_n: float, volume_pump_m3: float, area_cable_m2: float, area_bore_m2: float,
    area_outside_m2: float, pressure_head_pa: float, weight_specific_n_per_m3: float, modulus_pa: float,
    poisson: float,
) -> float:  # fmt: skip
    """Lengthening of the whole string with the bore full, integrated from hanger to pump.

    Parameters
    ----------
    length_m, depth_water_m, weight_pipe_n_per_m, weight_cable_n_per_m, weight_pump_n : array_like, broadcast
    volume_pump_m3, area_cable_m2, area_bore_m2, area_outside_m2 : array_like, broadcast
    pressure_head_pa, weight_specific_n_per_m3 : array_like, broadcast
        As in ``tension.load_hanging_n``.
    modulus_pa, poisson : array_like, broadcast
        Of the material, for the time the load lasts. [Pa], [1]

    Returns
    -------
    ndarray
        Lengthening [m]. Strain is a straight line above and below the water, so the mean of the ends of
        each part times its length is exact. Source: ``free_body``.
    """
    turn = min(max(depth_water_m, 0.0), length_m) + 0.0 * (depth_water_m + length_m)
    total = 0.0
    for part in range(2):
        top, bottom = (0.0, turn) if part == 0 else (turn, length_m)
        mean = 0.0
        for end in range(2):
            depth = top if end == 0 else bottom
            inside = pressure_head_pa + weight_specific_n_per_m3 * depth
            outside = weight_specific_n_per_m3 * max(0.0, depth - depth_water_m)
            load = _load_axial_n(
                depth, length_m, depth_water_m, weight_pipe_n_per_m, weight_cable_n_per_m, weight_pump_n,
                volume_pump_m3, area_cable_m2, area_bore_m2, area_outside_m2, inside, weight_specific_n_per_m3,
            )  # fmt: skip
            mean += 0.5 * _strain_axial(load, inside, outside, area_bore_m2, area_outside_m2, modulus_pa, poisson)
        total += mean * (bottom - top)
    return total


@scalar
def _stretch_pressure_m(
    pressure_pa: float, length_m: float, diameter_outside_m: float, diameter_inside_m: float,
    modulus_pa: float, poisson: float,
) -> float:  # fmt: skip
    """Lengthening of a closed pipe by inside pressure alone, thick wall.

    Parameters
    ----------
    pressure_pa, length_m, diameter_outside_m, diameter_inside_m, modulus_pa, poisson : array_like, broadcast

    Returns
    -------
    ndarray
        Lengthening [m], p d^2 (1 - 2 nu) L/((D^2 - d^2) E). Source: ``free_body``.
    """
    bore = diameter_inside_m * diameter_inside_m
    ring = diameter_outside_m * diameter_outside_m - bore
    return pressure_pa * bore * (1.0 - 2.0 * poisson) * length_m / (ring * modulus_pa)


@scalar
def _stretch_creep_m(
    load_bottom_n: float, weight_n_per_m: float, length_m: float, area_wall_m2: float, modulus_pa: float,
) -> float:  # fmt: skip
    """Lengthening under a load at the bottom and an even weight, without pressure.

    Parameters
    ----------
    load_bottom_n, weight_n_per_m, length_m, area_wall_m2, modulus_pa : array_like, broadcast
        Load at the pump [N], weight carried [N/m], length [m], wall area [m2], modulus for the time [Pa].

    Returns
    -------
    ndarray
        Lengthening [m], T L/(A E) + w L^2/(2 A E).
    """
    return length_m * (load_bottom_n + weight_n_per_m * length_m / 2.0) / (area_wall_m2 * modulus_pa)


@scalar
def _stretch_thermal_m(expansion_per_k: float, length_m: float, change_k: float) -> float:
    """Lengthening by warmth, alpha L dT.

    Parameters
    ----------
    expansion_per_k, length_m, change_k : array_like, broadcast

    Returns
    -------
    ndarray
        Lengthening [m]; negative where the pipe cools.
    """
    return expansion_per_k * length_m * change_k


strain_axial = arrays(_strain_axial)
stretch_m = arrays(_stretch_m)
stretch_pressure_m = arrays(_stretch_pressure_m)
stretch_creep_m = arrays(_stretch_creep_m)
stretch_thermal_m = arrays(_stretch_thermal_m)
