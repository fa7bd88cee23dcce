"""Hoop and axial stress together: what the wall at the hanger bears, by class of material.

Metals and plastics fail in different ways, so each class has its own criterion. Metal yields by the
equivalent stress (distortion energy), judged at the thread root, where the section is least. Plastic under
lasting load fails by slow crack growth across the largest principal stress, and its long-term strength is
measured on closed pipe whose axial stress is half the hoop stress (``iso_9080``); so hoop and axial are judged
each against that strength, and the equivalent stress is reported beside them without a verdict of its own.
"""

from __future__ import annotations

from pipeline.compiled import arrays, scalar
from pipeline.physics.pressure import _stress_equivalent_pa, _stress_hoop_bore_pa
from pipeline.physics.tension import _area_wall_m2


@scalar
def _stress_axial_pa(load_n: float, diameter_section_m: float, diameter_inside_m: float) -> float:
    """Mean axial stress of the section that carries a load.

    Parameters
    ----------
    load_n : array_like
        True tension in the wall. [N]
    diameter_section_m, diameter_inside_m : array_like, broadcast
        Outside diameter, or thread root diameter, and bore. [m]

    Returns
    -------
    ndarray
        Stress [Pa]; NaN where the thread leaves no wall.
    """
    area = _area_wall_m2(diameter_section_m, diameter_inside_m)
    if not (area > 0.0):
        return float("nan")
    return load_n / area


@scalar
def _stress_combined_pa(
    load_n: float, pressure_inside_pa: float, pressure_outside_pa: float, diameter_section_m: float,
    diameter_inside_m: float,
) -> float:  # fmt: skip
    """Equivalent stress at the bore under tension and pressure.

    Parameters
    ----------
    load_n : array_like
        True tension in the wall. [N]
    pressure_inside_pa, pressure_outside_pa : array_like, broadcast
        Gauge pressures. [Pa]
    diameter_section_m, diameter_inside_m : array_like, broadcast
        Outside diameter, or thread root diameter, and bore. [m]

    Returns
    -------
    ndarray
        Stress [Pa]: hoop by Lame, axial the load over the section, radial the pressure in the bore, joined by
        distortion energy; NaN where the thread leaves no wall. Source: ``distortion_energy``.
    """
    axial = _stress_axial_pa(load_n, diameter_section_m, diameter_inside_m)
    hoop = _stress_hoop_bore_pa(pressure_inside_pa, pressure_outside_pa, diameter_section_m, diameter_inside_m)
    return _stress_equivalent_pa(hoop, axial, -pressure_inside_pa)


@scalar
def _use_combined_steel(
    load_n: float, pressure_inside_pa: float, pressure_outside_pa: float, diameter_root_m: float,
    diameter_inside_m: float, yield_pa: float, share_yield: float,
) -> float:  # fmt: skip
    """Share used of a steel string at the hanger: equivalent stress at the thread root over a share of yield.

    Parameters
    ----------
    load_n, pressure_inside_pa, pressure_outside_pa, diameter_root_m, diameter_inside_m : array_like, broadcast
        As in :func:`_stress_combined_pa`, the section being the thread root.
    yield_pa, share_yield : array_like, broadcast
        Yield stress [Pa] and the share of it allowed [1].

    Returns
    -------
    ndarray
        Share [1], 1 at the limit; infinite where the thread leaves no wall, NaN where an input is missing.
        Source: ``distortion_energy``; the share is a judgement (``share_yield_steel``).
    """
    if diameter_root_m <= diameter_inside_m:
        return float("inf")
    stress = _stress_combined_pa(
        load_n, pressure_inside_pa, pressure_outside_pa, diameter_root_m, diameter_inside_m
    )
    return stress / (yield_pa * share_yield)


@scalar
def _use_hoop_plastic(
    pressure_inside_pa: float, pressure_outside_pa: float, diameter_outside_m: float, wall_m: float,
    strength_pa: float,
) -> float:  # fmt: skip
    """Share used of a plastic wall by hoop stress, in the mean-diameter form in which the strength is measured.

    Parameters
    ----------
    pressure_inside_pa, pressure_outside_pa : array_like, broadcast
        Gauge pressures. [Pa]
    diameter_outside_m, wall_m : array_like, broadcast
        Outside diameter and least wall. [m]
    strength_pa : array_like, broadcast
        Allowed long-term hoop stress at the temperature: design stress, or a share of the design basis for
        hours. [Pa]

    Returns
    -------
    ndarray
        Share [1], (p_i - p_e)(D - t)/(2 t S). Source: ``iso_9080``, ``astm_d1785``, ``astm_d3035``.
    """
    net = pressure_inside_pa - pressure_outside_pa
    return net * (diameter_outside_m - wall_m) / (2.0 * wall_m) / strength_pa


@scalar
def _use_axial_plastic(
    load_n: float, diameter_section_m: float, diameter_inside_m: float, efficiency_joint: float,
    strength_pa: float,
) -> float:  # fmt: skip
    """Share used of a plastic string at the hanger by axial stress.

    Parameters
    ----------
    load_n : array_like
        True tension in the wall. [N]
    diameter_section_m, diameter_inside_m : array_like, broadcast
        Thread root with an efficiency of 1, or outside diameter with the efficiency of the joint. [m]
    efficiency_joint : array_like, broadcast
        1 where the section is already the thread root: the two never apply together. [1]
    strength_pa : array_like, broadcast
        Allowed long-term stress at the temperature. [Pa]

    Returns
    -------
    ndarray
        Share [1]; infinite where the thread leaves no wall. Source: ``judgement``: long-term tensile strength
        taken as the hoop design stress.
    """
    if diameter_section_m <= diameter_inside_m:
        return float("inf")
    return _stress_axial_pa(load_n, diameter_section_m, diameter_inside_m) / (efficiency_joint * strength_pa)


@scalar
def _use_combined_plastic(use_hoop: float, use_axial: float) -> float:
    """Share used of a plastic wall under both: the larger of hoop and axial, each judged alone.

    Parameters
    ----------
    use_hoop, use_axial : array_like, broadcast
        From :func:`_use_hoop_plastic` and :func:`_use_axial_plastic`. [1]

    Returns
    -------
    ndarray
        Share [1]; NaN where either is missing. Source: ``iso_9080``.
    """
    if use_hoop != use_hoop or use_axial != use_axial:
        return float("nan")
    return use_hoop if use_hoop > use_axial else use_axial


stress_axial_pa = arrays(_stress_axial_pa)
stress_combined_pa = arrays(_stress_combined_pa)
use_combined_steel = arrays(_use_combined_steel)
use_hoop_plastic = arrays(_use_hoop_plastic)
use_axial_plastic = arrays(_use_axial_plastic)
use_combined_plastic = arrays(_use_combined_plastic)
