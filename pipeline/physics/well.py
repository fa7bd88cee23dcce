"""The well itself: storage, drawdown, cooling of the motor, power."""

from __future__ import annotations

import math

from pipeline.compiled import arrays, scalar


@scalar
def _volume_bore_m3(diameter_m: float, length_m: float) -> float:
    """Volume of a round bore, such as the water standing in casing.

    Parameters
    ----------
    diameter_m, length_m : array_like, broadcast

    Returns
    -------
    ndarray
        Volume [m3].
    """
    return math.pi / 4.0 * diameter_m * diameter_m * length_m


@scalar
def _volume_available_m3(
    depth_m: float, depth_static_m: float, clearance_m: float, diameter_m: float, inflow_m3_per_s: float,
    duration_s: float,
) -> float:  # fmt: skip
    """Water a low-yield well can give within a time: what stands above the intake, and what flows in.

    Parameters
    ----------
    depth_m, depth_static_m, clearance_m : array_like, broadcast
        Depth of the well, depth of the water at rest, height of the intake above the bottom. [m]
    diameter_m : array_like, broadcast
        Bore of the well. [m]
    inflow_m3_per_s, duration_s : array_like, broadcast
        Yield [m3/s] and time of drawing [s].

    Returns
    -------
    ndarray
        Volume [m3]; no storage is counted where the water stands below the intake. Source: ``gwp_ex1``.
    """
    column = depth_m - clearance_m - depth_static_m
    if column < 0.0:
        column = 0.0
    return _volume_bore_m3(diameter_m, column) + inflow_m3_per_s * duration_s


@scalar
def _depth_least_m(
    volume_need_m3: float, depth_static_m: float, clearance_m: float, diameter_m: float,
    inflow_m3_per_s: float, duration_s: float,
) -> float:  # fmt: skip
    """Depth at which storage and inflow just meet a need within a time.

    Parameters
    ----------
    volume_need_m3 : array_like
        Volume wanted within the time. [m3]
    depth_static_m, clearance_m, diameter_m, inflow_m3_per_s, duration_s : array_like, broadcast
        As in :func:`_volume_available_m3`.

    Returns
    -------
    ndarray
        Depth [m]; the intake at the water at rest where the inflow alone meets the need. Source: ``gwp_ex1``.
    """
    short = volume_need_m3 - inflow_m3_per_s * duration_s
    if short < 0.0:
        short = 0.0
    return depth_static_m + clearance_m + short / _volume_bore_m3(diameter_m, 1.0)


@scalar
def _volume_need_m3(count: float, volume_each_m3: float) -> float:
    """Volume wanted by people, bedrooms or animals, each at its own allowance.

    Parameters
    ----------
    count, volume_each_m3 : array_like, broadcast
        How many, and the allowance of each for the time looked at. [1], [m3]

    Returns
    -------
    ndarray
        Volume [m3]. Which allowance holds is an input: methods differ by a factor of two.
    """
    return count * volume_each_m3


@scalar
def _volume_pumped_m3(flow_m3_per_s: float, duration_s: float) -> float:
    """Volume that a steady flow brings within a time.

    Parameters
    ----------
    flow_m3_per_s, duration_s : array_like, broadcast

    Returns
    -------
    ndarray
        Volume [m3].
    """
    return flow_m3_per_s * duration_s


@scalar
def _flow_mean_m3_per_s(volume_m3: float, duration_s: float) -> float:
    """Flow that brings a volume within a time.

    Parameters
    ----------
    volume_m3, duration_s : array_like, broadcast

    Returns
    -------
    ndarray
        Flow [m3/s]; NaN where the time is not above 0.
    """
    if not (duration_s > 0.0):
        return float("nan")
    return volume_m3 / duration_s


@scalar
def _specific_capacity_m2_per_s(flow_m3_per_s: float, drawdown_m: float) -> float:
    """Flow a metre of drawdown.

    Parameters
    ----------
    flow_m3_per_s, drawdown_m : array_like, broadcast

    Returns
    -------
    ndarray
        Specific capacity [m2/s]; NaN where the drawdown is not above 0.
    """
    if not (drawdown_m > 0.0):
        return float("nan")
    return flow_m3_per_s / drawdown_m


@scalar
def _drawdown_m(flow_m3_per_s: float, specific_capacity_m2_per_s: float) -> float:
    """Drawdown at a flow, in proportion; holds up to the tested flow.

    Parameters
    ----------
    flow_m3_per_s, specific_capacity_m2_per_s : array_like, broadcast

    Returns
    -------
    ndarray
        Drawdown [m]; NaN where the specific capacity is not above 0.
    """
    if not (specific_capacity_m2_per_s > 0.0):
        return float("nan")
    return flow_m3_per_s / specific_capacity_m2_per_s


@scalar
def _ratio_capacity_time(
    transmissivity_m2_per_s: float, storativity: float, radius_m: float, duration_from_s: float,
    duration_to_s: float,
) -> float:  # fmt: skip
    """Specific capacity after a longer pumping over that after a shorter one, confined aquifer.

    Parameters
    ----------
    transmissivity_m2_per_s, storativity, radius_m : array_like, broadcast
        Of the aquifer and the well. [m2/s], [1], [m]
    duration_from_s, duration_to_s : array_like, broadcast
        Pumping times. [s]

    Returns
    -------
    ndarray
        Ratio [1], ln(2.25 T t1/(r^2 S))/ln(2.25 T t2/(r^2 S)); NaN where the straight line does not
        hold yet (argument below 25, that is u above 0.0225). Source: ``cooper_jacob``.
    """
    scale = 2.25 * transmissivity_m2_per_s / (radius_m * radius_m * storativity)
    start, end = scale * duration_from_s, scale * duration_to_s
    if not (start >= 25.0 and end >= 25.0):
        return float("nan")
    return math.log(start) / math.log(end)


@scalar
def _velocity_cooling_m_per_s(
    flow_m3_per_s: float, diameter_casing_inside_m: float, diameter_motor_m: float,
) -> float:  # fmt: skip
    """Velocity of the water that passes a motor, all of it coming from below.

    Parameters
    ----------
    flow_m3_per_s, diameter_casing_inside_m, diameter_motor_m : array_like, broadcast

    Returns
    -------
    ndarray
        Velocity [m/s]; NaN where the motor does not fit.
    """
    room = diameter_casing_inside_m * diameter_casing_inside_m - diameter_motor_m * diameter_motor_m
    if not (room > 0.0):
        return float("nan")
    return flow_m3_per_s / (math.pi / 4.0 * room)


@scalar
def _flow_cooling_m3_per_s(
    velocity_m_per_s: float, diameter_casing_inside_m: float, diameter_motor_m: float,
) -> float:  # fmt: skip
    """Least flow that gives a velocity past the motor.

    Parameters
    ----------
    velocity_m_per_s, diameter_casing_inside_m, diameter_motor_m : array_like, broadcast

    Returns
    -------
    ndarray
        Flow [m3/s]; NaN where the motor does not fit.
    """
    room = diameter_casing_inside_m * diameter_casing_inside_m - diameter_motor_m * diameter_motor_m
    if not (room > 0.0):
        return float("nan")
    return velocity_m_per_s * math.pi / 4.0 * room


@scalar
def _power_water_w(flow_m3_per_s: float, head_m: float, weight_specific_n_per_m3: float) -> float:
    """Power given to the water, rho g Q H.

    Parameters
    ----------
    flow_m3_per_s, head_m, weight_specific_n_per_m3 : array_like, broadcast

    Returns
    -------
    ndarray
        Power [W]; divide by an efficiency for shaft or wire.
    """
    return weight_specific_n_per_m3 * flow_m3_per_s * head_m


@scalar
def _torque_motor_n_m(power_w: float, speed_rpm: float) -> float:
    """Running torque of a motor, which the string must hold; starting brings two to three times it.

    Parameters
    ----------
    power_w, speed_rpm : array_like, broadcast
        Shaft power [W], turns a minute.

    Returns
    -------
    ndarray
        Torque [N m].
    """
    return power_w / (2.0 * math.pi * speed_rpm / 60.0)


@scalar
def _load_stroke_n(diameter_cylinder_m: float, head_m: float, weight_specific_n_per_m3: float) -> float:
    """Load of the water on the piston of a hand pump.

    Parameters
    ----------
    diameter_cylinder_m, head_m, weight_specific_n_per_m3 : array_like, broadcast

    Returns
    -------
    ndarray
        Load [N]; rods and friction not counted.
    """
    return math.pi / 4.0 * diameter_cylinder_m * diameter_cylinder_m * head_m * weight_specific_n_per_m3


volume_bore_m3 = arrays(_volume_bore_m3)
volume_available_m3 = arrays(_volume_available_m3)
depth_least_m = arrays(_depth_least_m)
volume_need_m3 = arrays(_volume_need_m3)
volume_pumped_m3 = arrays(_volume_pumped_m3)
flow_mean_m3_per_s = arrays(_flow_mean_m3_per_s)
specific_capacity_m2_per_s = arrays(_specific_capacity_m2_per_s)
drawdown_m = arrays(_drawdown_m)
ratio_capacity_time = arrays(_ratio_capacity_time)
velocity_cooling_m_per_s = arrays(_velocity_cooling_m_per_s)
flow_cooling_m3_per_s = arrays(_flow_cooling_m3_per_s)
power_water_w = arrays(_power_water_w)
torque_motor_n_m = arrays(_torque_motor_n_m)
load_stroke_n = arrays(_load_stroke_n)
