"""The compiled heart: every well against every option on its market.

One pass over wells; for each well the options lie side by side in memory, so that the inner loop runs over
contiguous numbers without a transcendental call: friction comes from a table over ln(flow / viscosity),
one logarithm a well, cubic interpolation between rows. Nothing of size wells x options is kept.
"""

from __future__ import annotations

import math

import numpy as np

from pipeline.compiled import scalar
from pipeline.physics.water import GRAVITY
from pipeline.sizing.checks import _dead_head, _joints, _loads, _running, _surge
from pipeline.sizing.layout import CHECKS, O, Q, R, W

ROWS = 384
X_LOW, X_HIGH = math.log(1e-2), math.log(1e7)  # flow over viscosity, m: far beyond any well
STEP = (X_HIGH - X_LOW) / (ROWS - 1)
N_CHECKS = len(CHECKS)
N_QUANTITY = len(Q)
NOT_MET = 1e30  # worse than any utilisation or score; never written out

# places as plain integers, so that compiled code folds them
(
    O_VELOCITY_PER_FLOW, O_REYNOLDS_PER_RATIO, O_LOSS_PER_FLOW2, O_AREA_BORE, O_AREA_OUTSIDE, O_WEIGHT,
    O_RATING, O_SURGE_LIMIT, O_DEAD_HEAD_LIMIT, O_WAVE_SPEED, O_TENSION_SUSTAINED, O_TENSION_PULLING,
    O_TEMPERATURE_MAX, O_PH_MIN, O_CHLORIDE_MAX, O_HAND_BAD, O_WIDTH, O_COIL_LONGEST, O_PIECE, O_COST_FIXED,
    O_COST_PER_M, O_COST_PER_JOINT, O_CLASS_PENALTY, O_JOINT_PENALTY, O_GLUED_PENALTY, O_BAND_HEAD, O_TURBULENT_4000,
    O_RENEWALS_NEUTRAL, O_RENEWALS_ACID,
) = range(len(O))  # fmt: skip
(
    W_FLOW, W_HEAD, W_HEAD_IS_GIVEN, W_LENGTH, W_DEPTH_PUMP, W_DEPTH_DISCHARGE, W_LEVEL_STATIC,
    W_LEVEL_PUMPING, W_GAMMA, W_VISCOSITY, W_PRESSURE_HEAD, W_HEAD_SHUTOFF, W_RATIO_SHUTOFF, W_WEIGHT_PUMP,
    W_WEIGHT_CABLE_PER_M, W_VOLUME_PUMP, W_AREA_CABLE, W_BORE, W_WIDTH_PUMP, W_PH, W_CHLORIDE, W_TEMPERATURE,
    W_HAND,
) = range(len(W))  # fmt: skip
(
    R_VELOCITY_LIMIT, R_VELOCITY_MOST, R_FRICTION_LIMIT, R_LIFT_HAND, R_LIFT_ROLLER, R_LIFT_WINCH,
    R_INSTALL_HAND, R_INSTALL_ROLLER, R_INSTALL_WINCH, R_INSTALL_HOIST, R_PULLS, R_ENERGY, R_PENALTY_SPLICE,
    R_DEPTH_GLUED, R_PENALTY_BAND, R_PENALTY_CHEMISTRY, R_PENALTY_DEAD_HEAD, R_PENALTY_SOFT, R_SHARE_ACID, R_MAKE_UP,
) = range(len(R))  # fmt: skip
(
    Q_VELOCITY, Q_FRICTION, Q_TOTAL, Q_RUNNING, Q_PULLING, Q_LOWERED, Q_JOINTS, Q_SPLICES, Q_METHOD, Q_GOODS,
    Q_FIRST, Q_PRESENT, Q_SCORE, Q_DEAD_HEAD, Q_SURGE,
) = range(len(Q))  # fmt: skip


@scalar
def _place(ratio):
    """Row of the friction table at the well's flow over viscosity, and the weights of four rows (Lagrange)."""
    x = (math.log(ratio) - X_LOW) / STEP
    if not (x >= 1.0):
        x = 1.0
    if x > ROWS - 3.0:
        x = ROWS - 3.0
    row = int(math.floor(x))
    t = x - row
    return (
        row,
        -t * (t - 1.0) * (t - 2.0) / 6.0,
        (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
        -(t + 1.0) * t * (t - 2.0) / 2.0,
        (t + 1.0) * t * (t - 1.0) / 6.0,
    )


@scalar
def _visit(mass, lift_hand, lift_roller, lift_winch, hand, roller, winch, hoist):
    """How the largest mass pulled is handled (0 hand, 1 roller, 2 winch, 3 hoist) and what a visit costs."""
    by_winch, by_roller, by_hand = mass <= lift_winch, mass <= lift_roller, mass <= lift_hand
    method = 3.0 - (1.0 if by_winch else 0.0) - (1.0 if by_roller else 0.0) - (1.0 if by_hand else 0.0)
    cost = winch if by_winch else hoist
    cost = roller if by_roller else cost
    cost = hand if by_hand else cost
    return method, cost


@scalar
def _money(length, joints, splices, fixed, per_m, per_joint, renewals_neutral, renewals_acid, share_acid, visit,
           pulls, energy):  # fmt: skip
    """Goods, goods with putting in, and present cost over the horizon."""
    goods = fixed + per_m * length + per_joint * (joints + splices)
    first = goods + visit
    renewals = renewals_neutral * (1.0 - share_acid) + renewals_acid * share_acid
    return goods, first, first + visit * pulls + first * renewals + energy


@scalar
def _penalties(present, joints, splices, total, velocity, friction, depth_pump, chloride_use, dead_head_use,
               joint_penalty, glued_penalty, band_head, each_splice, depth_glued, band, chemistry, dead_head, soft,
               velocity_limit, friction_limit):  # fmt: skip
    """Declared penalties in currency: joints, splices, glue at depth, head band, cautions, judgement limits."""
    fast = velocity * velocity_limit
    lossy = friction / (total * friction_limit)
    out = joints * joint_penalty + splices * each_splice
    out += glued_penalty if depth_pump > depth_glued else 0.0
    out += present * band if total > band_head else 0.0
    out += chemistry if chloride_use > 1.0 else 0.0
    out += dead_head if dead_head_use > 1.0 else 0.0
    out += soft * fast if fast > 1.0 else 0.0
    out += soft * lossy if lossy > 1.0 else 0.0
    return out


@scalar
def _choose(options, inverse, table, materials, families, factors, wells, run, best, score, closest, worst):
    """For each well and family: the cheapest option that passes every stop, and the one nearest to passing.

    Parameters
    ----------
    options : ndarray (constants, m)
        Constants of the options.
    inverse : ndarray (constants, m)
        One over each constant: the inner loop multiplies.
    table : ndarray (ROWS, m)
        Turbulent friction factor over ln(flow / viscosity).
    materials, families : ndarray of int64 (m)
        Place of each option's material in ``factors`` and of its family in ``best``.
    factors : ndarray (n, materials)
        Temperature factor of each material at each well.
    wells : ndarray (n, values)
    run : ndarray (scalars)
    best, closest : ndarray of int16 (n, families), written
        -1 where no option passes, or where the family has none.
    score, worst : ndarray (n, families), written
        Score of ``best``; highest utilisation of ``closest``. NOT_MET where there is none.
    """
    m = options.shape[1]
    scores = np.empty(m)
    worsts = np.empty(m)
    warmth_inverse = np.empty(m)
    make_up, pulls = run[R_MAKE_UP], run[R_PULLS]
    velocity_most = 1.0 / run[R_VELOCITY_MOST]
    lift_hand, lift_roller, lift_winch = run[R_LIFT_HAND], run[R_LIFT_ROLLER], run[R_LIFT_WINCH]
    by_hand, by_roller, by_winch = run[R_INSTALL_HAND], run[R_INSTALL_ROLLER], run[R_INSTALL_WINCH]
    by_hoist, each_splice, depth_glued = run[R_INSTALL_HOIST], run[R_PENALTY_SPLICE], run[R_DEPTH_GLUED]
    band, chemistry, soft = run[R_PENALTY_BAND], run[R_PENALTY_CHEMISTRY], run[R_PENALTY_SOFT]
    dead_head = run[R_PENALTY_DEAD_HEAD]
    velocity_limit, friction_limit = 1.0 / run[R_VELOCITY_LIMIT], run[R_FRICTION_LIMIT]
    for i in range(wells.shape[0]):
        w = wells[i]
        flow, length, head, given = w[W_FLOW], w[W_LENGTH], w[W_HEAD], w[W_HEAD_IS_GIVEN]
        gamma, static, pumping, leaves = w[W_GAMMA], w[W_LEVEL_STATIC], w[W_LEVEL_PUMPING], w[W_DEPTH_DISCHARGE]
        pressure_head, pump, cable = w[W_PRESSURE_HEAD], w[W_WEIGHT_PUMP], w[W_WEIGHT_CABLE_PER_M]
        volume, area_cable, width = w[W_VOLUME_PUMP], w[W_AREA_CABLE], w[W_WIDTH_PUMP]
        bore_inverse = 1.0 / w[W_BORE] if w[W_BORE] > 0.0 else np.nan
        temperature, depth_pump, hand = w[W_TEMPERATURE], w[W_DEPTH_PUMP], 2.0 * w[W_HAND]
        ratio = flow / w[W_VISCOSITY]
        row, a, b, c, d = _place(ratio)
        share_acid = run[R_SHARE_ACID] if w[W_PH] != w[W_PH] else 0.0
        ph_inverse = 1.0 / w[W_PH] if w[W_PH] > 0.0 else 0.0
        chloride = w[W_CHLORIDE] if w[W_CHLORIDE] == w[W_CHLORIDE] else 0.0
        shutoff = gamma * w[W_HEAD_SHUTOFF] if w[W_HEAD_SHUTOFF] == w[W_HEAD_SHUTOFF] else 0.0
        estimated = gamma * w[W_RATIO_SHUTOFF] if w[W_RATIO_SHUTOFF] == w[W_RATIO_SHUTOFF] else 0.0
        estimated = estimated if w[W_HEAD_SHUTOFF] != w[W_HEAD_SHUTOFF] else 0.0
        density, energy = gamma / GRAVITY, run[R_ENERGY] * flow
        for j in range(m):
            factor = factors[i, materials[j]]
            warmth_inverse[j] = 1.0 / factor if factor > 0.0 else NOT_MET
        for j in range(m):
            turbulent = a * table[row - 1, j] + b * table[row, j] + c * table[row + 1, j] + d * table[row + 2, j]
            velocity, friction, total = _running(
                flow, ratio, length, options[O_VELOCITY_PER_FLOW, j], options[O_REYNOLDS_PER_RATIO, j],
                options[O_LOSS_PER_FLOW2, j], turbulent, options[O_TURBULENT_4000, j], head, given,
            )  # fmt: skip
            pressure = gamma * total
            surge = _surge(pressure, density, options[O_WAVE_SPEED, j], velocity)
            running, pulling, _lowered = _loads(
                length, static, pumping, leaves, options[O_WEIGHT, j], options[O_AREA_BORE, j],
                options[O_AREA_OUTSIDE, j], pressure_head, gamma, pump, cable, volume, area_cable,
            )  # fmt: skip
            colder = warmth_inverse[j]
            u1 = pressure * inverse[O_RATING, j] * colder
            u2 = surge * inverse[O_SURGE_LIMIT, j] * colder
            u3 = shutoff * inverse[O_DEAD_HEAD_LIMIT, j] * colder
            u4 = running * inverse[O_TENSION_SUSTAINED, j] * colder
            u5 = pulling * inverse[O_TENSION_PULLING, j] * colder
            u6 = temperature * inverse[O_TEMPERATURE_MAX, j]
            u7 = options[O_PH_MIN, j] * ph_inverse
            u8 = hand * options[O_HAND_BAD, j]
            u9 = max(width, options[O_WIDTH, j]) * bore_inverse
            u10 = velocity * velocity_most
            passes = (
                (colder < NOT_MET) & (u1 <= 1.0) & (u2 <= 1.0) & (u3 <= 1.0) & (u4 <= 1.0) & (u5 <= 1.0)
                & (u6 <= 1.0) & (u7 <= 1.0) & (u8 <= 1.0) & (u9 <= 1.0) & (u10 <= 1.0)
            )  # fmt: skip
            most = max(max(max(u1, u2), max(u3, u4)), max(max(u5, u6), max(max(u7, u8), max(u9, u10))))
            joints = _joints(length, inverse[O_PIECE, j])
            splices = _joints(length + make_up, inverse[O_COIL_LONGEST, j])
            _method, visit = _visit(
                pulling / GRAVITY, lift_hand, lift_roller, lift_winch, by_hand, by_roller, by_winch, by_hoist
            )
            _goods, _first, present = _money(
                length, joints, splices, options[O_COST_FIXED, j], options[O_COST_PER_M, j],
                options[O_COST_PER_JOINT, j], options[O_RENEWALS_NEUTRAL, j], options[O_RENEWALS_ACID, j],
                share_acid, visit, pulls, energy * friction,
            )  # fmt: skip
            whole = present + options[O_CLASS_PENALTY, j] + _penalties(
                present, joints, splices, total, velocity, friction, depth_pump,
                chloride * inverse[O_CHLORIDE_MAX, j], (shutoff + estimated * total) * inverse[O_RATING, j] * colder,
                options[O_JOINT_PENALTY, j],
                options[O_GLUED_PENALTY, j], options[O_BAND_HEAD, j], each_splice, depth_glued, band, chemistry,
                dead_head, soft, velocity_limit, friction_limit,
            )  # fmt: skip
            scores[j] = whole if passes else NOT_MET
            worsts[j] = most if most < NOT_MET else NOT_MET
        for f in range(best.shape[1]):
            best[i, f], closest[i, f] = -1, -1
            score[i, f], worst[i, f] = NOT_MET, NOT_MET
        for j in range(m):
            f = families[j]
            if scores[j] < score[i, f]:
                score[i, f], best[i, f] = scores[j], j
            if worsts[j] < worst[i, f] or closest[i, f] < 0:
                worst[i, f], closest[i, f] = worsts[j], j


@scalar
def _sheet(options, inverse, table, j, factor, w, run, need, have, use, quantity):
    """One option in one well in full: every check's need, limit and utilisation, and the quantities behind.

    ``need``, ``have``, ``use`` (N_CHECKS) and ``quantity`` (N_QUANTITY) are written. NaN utilisation: not judged.
    """
    ratio = w[W_FLOW] / w[W_VISCOSITY]
    row, a, b, c, d = _place(ratio)
    turbulent = a * table[row - 1, j] + b * table[row, j] + c * table[row + 1, j] + d * table[row + 2, j]
    velocity, friction, total = _running(
        w[W_FLOW], ratio, w[W_LENGTH], options[O_VELOCITY_PER_FLOW, j], options[O_REYNOLDS_PER_RATIO, j],
        options[O_LOSS_PER_FLOW2, j], turbulent, options[O_TURBULENT_4000, j], w[W_HEAD], w[W_HEAD_IS_GIVEN],
    )  # fmt: skip
    pressure = w[W_GAMMA] * total
    surge = _surge(pressure, w[W_GAMMA] / GRAVITY, options[O_WAVE_SPEED, j], velocity)
    dead = _dead_head(total, w[W_GAMMA], w[W_HEAD_SHUTOFF], w[W_RATIO_SHUTOFF])
    running, pulling, lowered = _loads(
        w[W_LENGTH], w[W_LEVEL_STATIC], w[W_LEVEL_PUMPING], w[W_DEPTH_DISCHARGE], options[O_WEIGHT, j],
        options[O_AREA_BORE, j], options[O_AREA_OUTSIDE, j], w[W_PRESSURE_HEAD], w[W_GAMMA],
        w[W_WEIGHT_PUMP], w[W_WEIGHT_CABLE_PER_M], w[W_VOLUME_PUMP], w[W_AREA_CABLE],
    )  # fmt: skip
    needs = (
        pressure, surge, dead, running, pulling, w[W_TEMPERATURE], w[W_PH], w[W_HAND],
        max(w[W_WIDTH_PUMP], options[O_WIDTH, j]), velocity, velocity, friction / total, w[W_CHLORIDE],
        w[W_LENGTH] + run[R_MAKE_UP],
    )  # fmt: skip
    haves = (
        options[O_RATING, j] * factor, options[O_SURGE_LIMIT, j] * factor, options[O_DEAD_HEAD_LIMIT, j] * factor,
        options[O_TENSION_SUSTAINED, j] * factor, options[O_TENSION_PULLING, j] * factor,
        options[O_TEMPERATURE_MAX, j], options[O_PH_MIN, j], 1.0 - options[O_HAND_BAD, j], w[W_BORE],
        run[R_VELOCITY_MOST], run[R_VELOCITY_LIMIT], run[R_FRICTION_LIMIT], options[O_CHLORIDE_MAX, j],
        options[O_COIL_LONGEST, j],
    )  # fmt: skip
    for k in range(N_CHECKS):
        need[k], have[k] = needs[k], haves[k]
        use[k] = needs[k] / haves[k] if haves[k] > 0.0 else (np.inf if needs[k] == needs[k] else np.nan)
    # a lower limit: the share used grows as the water grows more acid; no limit, nothing to judge
    use[6] = haves[6] / needs[6] if haves[6] > 0.0 else np.nan
    use[7] = np.nan if w[W_HAND] == 0.0 else (1.0 if haves[7] > 0.0 else np.inf)
    if haves[12] == np.inf:
        use[12] = np.nan
    if haves[13] == np.inf:
        use[13] = np.nan
    joints = _joints(w[W_LENGTH], inverse[O_PIECE, j])
    splices = _joints(w[W_LENGTH] + run[R_MAKE_UP], inverse[O_COIL_LONGEST, j])
    method, visit = _visit(
        pulling / GRAVITY, run[R_LIFT_HAND], run[R_LIFT_ROLLER], run[R_LIFT_WINCH], run[R_INSTALL_HAND],
        run[R_INSTALL_ROLLER], run[R_INSTALL_WINCH], run[R_INSTALL_HOIST],
    )  # fmt: skip
    share_acid = run[R_SHARE_ACID] if w[W_PH] != w[W_PH] else 0.0
    goods, first, present = _money(
        w[W_LENGTH], joints, splices, options[O_COST_FIXED, j], options[O_COST_PER_M, j], options[O_COST_PER_JOINT, j],
        options[O_RENEWALS_NEUTRAL, j], options[O_RENEWALS_ACID, j], share_acid, visit, run[R_PULLS],
        run[R_ENERGY] * w[W_FLOW] * friction,
    )  # fmt: skip
    chloride = w[W_CHLORIDE] if w[W_CHLORIDE] == w[W_CHLORIDE] else 0.0
    whole = present + options[O_CLASS_PENALTY, j] + _penalties(
        present, joints, splices, total, velocity, friction, w[W_DEPTH_PUMP], chloride * inverse[O_CHLORIDE_MAX, j],
        dead / haves[0] if dead == dead else 0.0, options[O_JOINT_PENALTY, j], options[O_GLUED_PENALTY, j], options[O_BAND_HEAD, j], run[R_PENALTY_SPLICE],
        run[R_DEPTH_GLUED], run[R_PENALTY_BAND], run[R_PENALTY_CHEMISTRY], run[R_PENALTY_DEAD_HEAD],
        run[R_PENALTY_SOFT], 1.0 / run[R_VELOCITY_LIMIT], run[R_FRICTION_LIMIT],
    )  # fmt: skip
    values = (velocity, friction, total, running, pulling, lowered, joints, splices, method, goods, first, present,
              whole, dead, surge)  # fmt: skip
    for k in range(N_QUANTITY):
        quantity[k] = values[k]


@scalar
def _sheets(options, inverse, table, materials, factors, wells, run, chosen, need, have, use, quantity):
    """:func:`_sheet` for one option a well; ``chosen`` (n) holds the option, -1 for none (left NaN)."""
    for i in range(wells.shape[0]):
        j = chosen[i]
        if j < 0:
            need[i, :], have[i, :], use[i, :], quantity[i, :] = np.nan, np.nan, np.nan, np.nan
        else:
            _sheet(options, inverse, table, j, factors[i, materials[j]], wells[i], run, need[i], have[i], use[i], quantity[i])
