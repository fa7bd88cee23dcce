"""Axial load of a hanging string, the section that carries it, and how far it stretches.

Depths run down from the hanger. Every load is the free body of all that hangs below a cut
(``free_body`` in references.csv): the water in the bore is counted once, as the weight of the column,
and the pressure at the cut acts on the bore.
"""

from __future__ import annotations

import math

from pipeline.compiled import arrays, scalar


@scalar
def _area_bore_m2(diameter_inside_m: float) -> float:
    """Area of the bore.

    Parameters
    ----------
    diameter_inside_m : array_like
        Bore. [m]

    Returns
    -------
    ndarray
        Area [m2].
    """
    return math.pi / 4.0 * diameter_inside_m * diameter_inside_m


@scalar
def _area_wall_m2(diameter_outside_m: float, diameter_inside_m: float) -> float:
    """Area of the wall between two diameters; 0 where they leave none.

    Parameters
    ----------
    diameter_outside_m, diameter_inside_m : array_like, broadcast
        Outside, or thread root, diameter and bore. [m]

    Returns
    -------
    ndarray
        Area [m2].
    """
    area = math.pi / 4.0 * (diameter_outside_m * diameter_outside_m - diameter_inside_m * diameter_inside_m)
    return 0.0 if area < 0.0 else area


@scalar
def _diameter_pitch_npt_m(diameter_outside_m: float, pitch_m: float) -> float:
    """Pitch diameter of a taper pipe thread at its small end, E0 = D - (0.05 D + 1.1 in) p.

    Parameters
    ----------
    diameter_outside_m, pitch_m : array_like, broadcast
        Outside diameter of the pipe and thread pitch. [m]

    Returns
    -------
    ndarray
        Diameter [m]. Source: ``asme_b1_20_1`` (p in inches there).
    """
    inch = 0.0254
    return diameter_outside_m - (0.05 * diameter_outside_m + 1.1 * inch) * pitch_m / inch


@scalar
def _diameter_root_npt_m(diameter_outside_m: float, pitch_m: float, length_hand_tight_m: float) -> float:
    """Root diameter of a taper pipe thread at the hand-tight plane, where the coupling takes the load.

    Parameters
    ----------
    diameter_outside_m, pitch_m, length_hand_tight_m : array_like, broadcast
        Outside diameter of the pipe, thread pitch, hand-tight engagement. [m]

    Returns
    -------
    ndarray
        Diameter [m]: pitch diameter at the small end E0, plus L1/16; root E1 - 0.8 p.
        Source: ``asme_b1_20_1``.
    """
    small_end = _diameter_pitch_npt_m(diameter_outside_m, pitch_m)
    return small_end + length_hand_tight_m / 16.0 - 0.8 * pitch_m


@scalar
def _load_axial_n(
    depth_m: float, length_m: float, depth_water_m: float, weight_pipe_n_per_m: float,
    weight_cable_n_per_m: float, weight_pump_n: float, volume_pump_m3: float, area_cable_m2: float,
    area_bore_m2: float, area_outside_m2: float, pressure_bore_pa: float, weight_specific_n_per_m3: float,
) -> float:  # fmt: skip
    """Tension in the pipe wall at a depth, bore full of water.

    Parameters
    ----------
    depth_m, length_m, depth_water_m : array_like, broadcast
        Depth of the cut, length of the string, depth of the water outside; below the hanger. [m]
    weight_pipe_n_per_m, weight_cable_n_per_m, weight_pump_n : array_like, broadcast
        Weights in air. [N/m], [N]
    volume_pump_m3, area_cable_m2 : array_like, broadcast
        What pump and cable displace. [m3], [m2]
    area_bore_m2, area_outside_m2 : array_like, broadcast
        Bore and outer section of the pipe. [m2]
    pressure_bore_pa : array_like, broadcast
        Gauge pressure in the bore at the cut. [Pa]
    weight_specific_n_per_m3 : array_like, broadcast
        Specific weight of water.

    Returns
    -------
    ndarray
        Tension [N]. Source: ``free_body``.
    """
    below = length_m - depth_m
    # written so that a missing depth stays missing: max() would drop it
    under = depth_m - depth_water_m
    if under < 0.0:
        under = 0.0
    wet = length_m - depth_water_m - under
    if wet < 0.0:
        wet = 0.0
    pump = volume_pump_m3 if length_m > depth_water_m else 0.0
    outside = weight_specific_n_per_m3 * under
    displaced = (area_outside_m2 + area_cable_m2) * wet + pump
    weight = (weight_pipe_n_per_m + weight_cable_n_per_m + weight_specific_n_per_m3 * area_bore_m2) * below
    load = weight + weight_pump_n + pressure_bore_pa * area_bore_m2
    load -= weight_specific_n_per_m3 * displaced + outside * area_outside_m2
    return load


@scalar
def _load_hanging_n(
    length_m: float, depth_water_m: float, weight_pipe_n_per_m: float, weight_cable_n_per_m: float,
    weight_pump_n: float, volume_pump_m3: float, area_cable_m2: float, area_bore_m2: float,
    area_outside_m2: float, pressure_head_pa: float, weight_specific_n_per_m3: float,
) -> float:  # fmt: skip
    """Load on the hanger with the pump in place and the bore full.

    Parameters
    ----------
    length_m, depth_water_m : array_like, broadcast
        Length of the string and depth of the water outside, below the hanger. [m]
    weight_pipe_n_per_m, weight_cable_n_per_m, weight_pump_n : array_like, broadcast
        Weights in air. [N/m], [N]
    volume_pump_m3, area_cable_m2, area_bore_m2, area_outside_m2 : array_like, broadcast
        Displacement of pump and cable; bore and outer section of the pipe. [m3], [m2]
    pressure_head_pa : array_like, broadcast
        Gauge pressure in the bore at the hanger: wellhead pressure when running, the rest of the shutoff
        head at dead-head, 0 when the full string is pulled. [Pa]
    weight_specific_n_per_m3 : array_like, broadcast
        Specific weight of water.

    Returns
    -------
    ndarray
        Load [N]. Source: ``free_body``.
    """
    return _load_axial_n(
        0.0, length_m, depth_water_m, weight_pipe_n_per_m, weight_cable_n_per_m, weight_pump_n,
        volume_pump_m3, area_cable_m2, area_bore_m2, area_outside_m2, pressure_head_pa, weight_specific_n_per_m3,
    )  # fmt: skip


@scalar
def _load_clear_of_water_n(
    length_m: float, depth_water_m: float, weight_pipe_n_per_m: float, weight_cable_n_per_m: float,
    weight_pump_n: float, area_bore_m2: float, weight_specific_n_per_m3: float,
) -> float:  # fmt: skip
    """Load when the pump has been pulled just clear of the water, bore still full.

    Parameters
    ----------
    length_m, depth_water_m : array_like, broadcast
        Length of the string and depth of the water, below the hanger. [m]
    weight_pipe_n_per_m, weight_cable_n_per_m, weight_pump_n, area_bore_m2, weight_specific_n_per_m3 : array_like

    Returns
    -------
    ndarray
        Load [N]; what still hangs is the string down to the water. Source: ``free_body``.
    """
    left = min(length_m, max(depth_water_m, 0.0)) + 0.0 * (length_m + depth_water_m)
    weight = weight_pipe_n_per_m + weight_cable_n_per_m + weight_specific_n_per_m3 * area_bore_m2
    return weight * left + weight_pump_n


@scalar
def _load_drained_n(
    length_m: float, weight_pipe_n_per_m: float, weight_cable_n_per_m: float, weight_pump_n: float,
) -> float:  # fmt: skip
    """Load of the whole string in air, bore empty.

    Parameters
    ----------
    length_m, weight_pipe_n_per_m, weight_cable_n_per_m, weight_pump_n : array_like, broadcast

    Returns
    -------
    ndarray
        Load [N].
    """
    return (weight_pipe_n_per_m + weight_cable_n_per_m) * length_m + weight_pump_n


@scalar
def _load_pulling_n(
    length_m: float, depth_water_m: float, weight_pipe_n_per_m: float, weight_cable_n_per_m: float,
    weight_pump_n: float, volume_pump_m3: float, area_cable_m2: float, area_bore_m2: float,
    area_outside_m2: float, weight_specific_n_per_m3: float,
) -> float:  # fmt: skip
    """Largest load while the string is pulled: full at the bottom, full and clear of water, or drained.

    Parameters
    ----------
    length_m, depth_water_m, weight_pipe_n_per_m, weight_cable_n_per_m, weight_pump_n : array_like, broadcast
    volume_pump_m3, area_cable_m2, area_bore_m2, area_outside_m2, weight_specific_n_per_m3 : array_like, broadcast
        As in :func:`_load_hanging_n`.

    Returns
    -------
    ndarray
        Load [N]; no wellhead pressure, since the string is open at the top.
    """
    full = _load_hanging_n(
        length_m, depth_water_m, weight_pipe_n_per_m, weight_cable_n_per_m, weight_pump_n,
        volume_pump_m3, area_cable_m2, area_bore_m2, area_outside_m2, 0.0, weight_specific_n_per_m3,
    )  # fmt: skip
    clear = _load_clear_of_water_n(
        length_m, depth_water_m, weight_pipe_n_per_m, weight_cable_n_per_m, weight_pump_n, area_bore_m2,
        weight_specific_n_per_m3,
    )  # fmt: skip
    drained = _load_drained_n(length_m, weight_pipe_n_per_m, weight_cable_n_per_m, weight_pump_n)
    most = full
    if clear > most:
        most = clear
    if drained > most:
        most = drained
    return most


@scalar
def _load_stroke_n(diameter_plunger_m: float, lift_m: float, weight_specific_n_per_m3: float) -> float:
    """Weight of the water column on the plunger of a hand pump.

    The rods carry it on the upstroke and the rising main, through the foot valve, on the downstroke, so that the
    load of both alternates by so much at every stroke.

    Parameters
    ----------
    diameter_plunger_m, lift_m, weight_specific_n_per_m3 : array_like, broadcast
        Plunger [m], pumping level to spout [m], specific weight of water.

    Returns
    -------
    ndarray
        Load [N]. Source: ``free_body``.
    """
    return weight_specific_n_per_m3 * _area_bore_m2(diameter_plunger_m) * lift_m


area_bore_m2 = arrays(_area_bore_m2)
area_wall_m2 = arrays(_area_wall_m2)
diameter_pitch_npt_m = arrays(_diameter_pitch_npt_m)
diameter_root_npt_m = arrays(_diameter_root_npt_m)
load_axial_n = arrays(_load_axial_n)
load_hanging_n = arrays(_load_hanging_n)
load_clear_of_water_n = arrays(_load_clear_of_water_n)
load_drained_n = arrays(_load_drained_n)
load_pulling_n = arrays(_load_pulling_n)
load_stroke_n = arrays(_load_stroke_n)
