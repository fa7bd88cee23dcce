"""Pumps at another speed, and the head against a closed valve."""

from __future__ import annotations

from pipeline.compiled import arrays, scalar


@scalar
def _flow_at_speed_m3_per_s(flow_m3_per_s: float, ratio_speed: float) -> float:
    """Flow of a centrifugal pump at another speed, in proportion to it.

    Parameters
    ----------
    flow_m3_per_s, ratio_speed : array_like, broadcast
        Flow at the rated speed [m3/s], speed over rated speed [1].

    Returns
    -------
    ndarray
        Flow at the like point of the curve [m3/s]. Source: ``affinity_laws``.
    """
    return flow_m3_per_s * ratio_speed


@scalar
def _head_at_speed_m(head_m: float, ratio_speed: float, exponent_speed: float) -> float:
    """Head of a pump at another speed.

    Parameters
    ----------
    head_m, ratio_speed, exponent_speed : array_like, broadcast
        Head at the rated speed [m], speed over rated speed [1], exponent: 2 for a centrifugal pump. [1]

    Returns
    -------
    ndarray
        Head at the like point of the curve [m]; NaN for a speed below 0. Source: ``affinity_laws``.
    """
    if not (ratio_speed >= 0.0):
        return float("nan")
    return head_m * ratio_speed**exponent_speed


@scalar
def _head_shutoff_m(
    head_rated_m: float, ratio_shutoff: float, ratio_speed: float, exponent_speed: float,
) -> float:  # fmt: skip
    """Head against a closed valve, from the rated head.

    Parameters
    ----------
    head_rated_m : array_like
        Head at the rated flow and speed. [m]
    ratio_shutoff : array_like, broadcast
        Shutoff over rated head at the rated speed; NaN for a pump that pushes a fixed volume a turn, whose
        pressure a relief valve must end. [1]
    ratio_speed, exponent_speed : array_like, broadcast
        Highest speed the drive can reach over rated speed, and the exponent of the kind. [1]

    Returns
    -------
    ndarray
        Head [m]; NaN where the kind has no shutoff head. Source: ``affinity_laws``, ratios in
        ``pump_shutoff``.
    """
    return _head_at_speed_m(head_rated_m * ratio_shutoff, ratio_speed, exponent_speed)


flow_at_speed_m3_per_s = arrays(_flow_at_speed_m3_per_s)
head_at_speed_m = arrays(_head_at_speed_m)
head_shutoff_m = arrays(_head_shutoff_m)
