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
from pipeline.physics.tension import _load_drained_n, _load_hanging_n, _load_pulling_n, _load_stroke_n


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


@scalar
def _combined(load_hanger, pressure_hanger, pull_pump, pressure_pump, per_pull, per_hoop, per_radial):
    """Share used by hoop, axial and radial stress together (distortion energy), the larger of hanger and pump.

    ``per_pull``, ``per_hoop`` and ``per_radial`` are the stress of one newton, and hoop and radial stress at the
    bore of one pascal (Lame), over the allowed stress; all 0 for plastics, which are judged otherwise
    (physics.strength). At the pump the outside pressure is taken off all three stresses, which changes nothing,
    so that ``pressure_pump`` is the pressure across the wall and ``pull_pump`` that of pump and water on the bore.
    """
    a, h, r = load_hanger * per_pull, pressure_hanger * per_hoop, pressure_hanger * per_radial
    top = a * a + h * h + r * r - a * h + r * (h + a)
    a, h, r = pull_pump * per_pull, pressure_pump * per_hoop, pressure_pump * per_radial
    return math.sqrt(max(top, a * a + h * h + r * r - a * h + r * (h + a)))


@scalar
def _bought(need, coils):
    """Length of coil bought for a length: whole longest coils and the smallest that holds the rest; 0 without coils.

    ``coils`` are stock lengths, rising, infinite where there are no more. As materials.quantities.pieces.
    """
    longest, last = 0.0, 0.0
    for coil in coils:
        longest = coil if coil < math.inf else longest
    if longest <= 0.0:
        return 0.0
    whole = _joints(need, 1.0 / longest)
    rest = need - whole * longest
    last = longest
    for coil in coils:
        if coil >= rest - 1e-6:
            last = min(coil, longest)
            break
    return whole * longest + last


@scalar
def _overpull(limit, length, level_static, weight, area_bore, area_outside, gamma, weight_pump, weight_cable_per_m,
              volume_pump, area_cable):  # fmt: skip
    """Pull that may be added to the hanging weight of a stuck string before the short-time limit [N]."""
    resting = _load_hanging_n(
        length, level_static, weight, weight_cable_per_m, weight_pump, volume_pump, area_cable, area_bore, area_outside,
        0.0, gamma,
    )  # fmt: skip
    return limit - resting


@scalar
def _stroke(gamma, plunger, lift):
    """Load that passes between rods and rising main at every stroke of a hand pump [N]; NaN for other pumps."""
    return _load_stroke_n(plunger, lift, gamma)
