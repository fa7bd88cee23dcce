"""What one option undergoes in one well and what it can bear: the only place where the two meet.

Small scalar functions, compiled into the kernel and used by the calculation sheet alike; the physics
itself is in pipeline/physics. A check whose input is not recorded is *not judged*: utilisation NaN.
A judged check passes only when ``need <= have`` holds, so NaN cannot pass.
"""

from __future__ import annotations

import math

from pipeline.compiled import scalar
from pipeline.physics.friction import REYNOLDS_LAMINAR, REYNOLDS_TURBULENT
from pipeline.physics.surge import _pressure_surge_pa
from pipeline.physics.tension import _load_drained_n, _load_hanging_n, _load_pulling_n


@scalar
def _factor(reynolds, turbulent, turbulent_4000):
    """Friction factor by the declared rule of physics.friction, from a turbulent factor already worked out."""
    laminar = 64.0 / reynolds
    low = 64.0 / REYNOLDS_LAMINAR
    share = (reynolds - REYNOLDS_LAMINAR) * (1.0 / (REYNOLDS_TURBULENT - REYNOLDS_LAMINAR))
    between = low + (turbulent_4000 - low) * share
    out = turbulent if reynolds >= REYNOLDS_TURBULENT else between
    return laminar if reynolds < REYNOLDS_LAMINAR else out


@scalar
def _running(flow, ratio, length, velocity_per_flow, reynolds_per_ratio, loss_per_flow2, turbulent, turbulent_4000,
             head, head_is_given):  # fmt: skip
    """Velocity [m/s], friction head [m] and total head [m] while running.

    Velocity and Reynolds number are linear in flow and in ``ratio`` (flow over viscosity), and the loss
    of one metre at a friction factor of one goes with flow squared; the constants of an option are these
    formulas of physics.friction at unit flow.
    """
    factor = _factor(ratio * reynolds_per_ratio, turbulent, turbulent_4000)
    friction = factor * loss_per_flow2 * (length * flow * flow)
    return flow * velocity_per_flow, friction, head + friction * (1.0 - head_is_given)


@scalar
def _dead_head(total, gamma, head_shutoff, ratio_shutoff):
    """Pressure across the wall against a closed valve [Pa]: recorded shutoff head, else the ratio; NaN without."""
    head = head_shutoff if head_shutoff == head_shutoff else ratio_shutoff * total
    return gamma * head


@scalar
def _loads(length, level_static, level_pumping, depth_discharge, weight, area_bore, area_outside, pressure_head,
           gamma, weight_pump, weight_cable_per_m, volume_pump, area_cable):  # fmt: skip
    """Pull at the hanger while running, the largest while pulled, and the dry weight lowered [N]."""
    running = _load_hanging_n(
        length, level_pumping - depth_discharge, weight, weight_cable_per_m, weight_pump, volume_pump, area_cable,
        area_bore, area_outside, pressure_head, gamma,
    )  # fmt: skip
    pulled = _load_pulling_n(
        length, level_static - depth_discharge, weight, weight_cable_per_m, weight_pump, volume_pump, area_cable,
        area_bore, area_outside, gamma,
    )  # fmt: skip
    return running, pulled, _load_drained_n(length, weight, weight_cable_per_m, weight_pump)


@scalar
def _joints(length, per_piece):
    """Joints between pieces; none for one piece. ``per_piece`` is one over the length of a piece, 0 for none."""
    return max(math.ceil(length * per_piece - 1e-9) - 1.0, 0.0)


@scalar
def _surge(pressure, density, wave_speed, velocity):
    """Running pressure and the surge of stopping the whole flow at once [Pa]."""
    return pressure + _pressure_surge_pa(density, wave_speed, velocity)
