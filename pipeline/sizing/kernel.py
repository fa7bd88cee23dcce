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
from pipeline.sizing.checks import _bought, _combined, _dead_head, _joints, _loads, _overpull, _running, _stroke, _surge
from pipeline.sizing.keys import LANES, MOST, NONE, NOT_MET, _better, _key
from pipeline.sizing.layout import CHECKS, O, Q, R, W
from pipeline.sizing.money import _money, _penalties, _visit

ROWS = 384
X_LOW, X_HIGH = math.log(1e-2), math.log(1e7)  # flow over viscosity, m: far beyond any well
STEP = (X_HIGH - X_LOW) / (ROWS - 1)
N_CHECKS = len(CHECKS)
N_QUANTITY = len(Q)
BOUND = 1.0 - 1e-9
# constants that the inner loop divides by, kept as one over them
DIVIDERS = (
    "rating", "surge_limit", "dead_head_limit", "tension_sustained", "tension_pulling", "temperature_max",
    "chloride_max", "coil_longest", "piece",
)  # fmt: skip
N_PACK = len(O) + len(DIVIDERS)
IDEALS = 24  # ideals looked at together; over 16, so that the compiler makes vectors of a loop that stores

# places as plain integers, so that compiled code folds them
(
    O_VELOCITY_PER_FLOW, O_REYNOLDS_PER_RATIO, O_LOSS_PER_FLOW2, O_AREA_BORE, O_AREA_OUTSIDE, O_WEIGHT,
    O_RATING, O_SURGE_LIMIT, O_DEAD_HEAD_LIMIT, O_WAVE_SPEED, O_TENSION_SUSTAINED, O_TENSION_PULLING,
    O_TEMPERATURE_MAX, O_PH_MIN, O_CHLORIDE_MAX, O_HAND_BAD, O_FUEL_BAD, O_WIDTH, O_COIL_LONGEST, O_PIECE, O_STICK,
    O_COST_FIXED, O_COST_PIPE, O_COST_PER_M, O_COST_PER_JOINT, O_CLASS_PENALTY, O_JOINT_PENALTY, O_GLUED_PENALTY,
    O_BAND_HEAD, O_TURBULENT_4000,
    O_RENEWALS_NEUTRAL, O_RENEWALS_ACID, O_STRESS_PULL, O_STRESS_HOOP, O_STRESS_RADIAL, O_STRESS_ALLOWED,
) = range(len(O))  # fmt: skip
(
    I_RATING, I_SURGE_LIMIT, I_DEAD_HEAD_LIMIT, I_TENSION_SUSTAINED, I_TENSION_PULLING, I_TEMPERATURE_MAX,
    I_CHLORIDE_MAX, I_COIL_LONGEST, I_PIECE,
) = range(len(O), N_PACK)  # fmt: skip
(
    W_FLOW, W_HEAD, W_HEAD_IS_GIVEN, W_LENGTH, W_DEPTH_PUMP, W_DEPTH_DISCHARGE, W_LEVEL_STATIC,
    W_LEVEL_PUMPING, W_GAMMA, W_VISCOSITY, W_PRESSURE_HEAD, W_HEAD_SHUTOFF, W_RATIO_SHUTOFF, W_WEIGHT_PUMP,
    W_WEIGHT_CABLE_PER_M, W_VOLUME_PUMP, W_AREA_CABLE, W_BORE, W_WIDTH_PUMP, W_PH, W_CHLORIDE, W_TEMPERATURE,
    W_HAND, W_FUEL, W_PLUNGER,
) = range(len(W))  # fmt: skip
(
    R_VELOCITY_LIMIT, R_VELOCITY_MOST, R_FRICTION_LIMIT, R_LIFT_HAND, R_LIFT_ROLLER, R_LIFT_WINCH,
    R_INSTALL_HAND, R_INSTALL_ROLLER, R_INSTALL_WINCH, R_INSTALL_HOIST, R_PULLS, R_ENERGY, R_PENALTY_SPLICE,
    R_DEPTH_GLUED, R_PENALTY_BAND, R_PENALTY_CHEMISTRY, R_PENALTY_DEAD_HEAD, R_PENALTY_SOFT, R_SHARE_ACID, R_MAKE_UP,
) = range(len(R))  # fmt: skip
(
    Q_VELOCITY, Q_FRICTION, Q_TOTAL, Q_RUNNING, Q_PULLING, Q_LOWERED, Q_JOINTS, Q_SPLICES, Q_METHOD, Q_GOODS,
    Q_FIRST, Q_PRESENT, Q_SCORE, Q_DEAD_HEAD, Q_SURGE, Q_BOUGHT, Q_OVERPULL,
) = range(len(Q))  # fmt: skip
ACIDITY, HAND_PUMP, CHLORIDE, COIL_LENGTH, COMBINED, FUEL, FITTINGS, STROKE, PLUNGER = (
    CHECKS.index(name) for name in ("acidity", "hand_pump", "chloride", "coil_length", "stress_combined", "fuel",
                                    "fittings_hold", "stroke", "plunger")
)  # fmt: skip


@scalar
def _place(ratio):
    """Row of the friction table at the well's flow over viscosity, and the weights of four rows (Lagrange)."""
    x = (math.log(ratio) - X_LOW) / STEP
    if not (x >= 1.0):
        x = 1.0
    if x > ROWS - 3.0:
        x = ROWS - 3.0
    row = int(x)  # of a positive number: rounds down
    t = x - row
    return (
        row,
        -t * (t - 1.0) * (t - 2.0) / 6.0,
        (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
        -(t + 1.0) * t * (t - 2.0) / 2.0,
        (t + 1.0) * t * (t - 1.0) / 6.0,
    )


@scalar
def _known(w, run):
    """What the inner loop needs of a well, worked out once: 26 numbers, missing ones made harmless or NaN."""
    gamma, ph, shutoff, ratio = w[W_GAMMA], w[W_PH], w[W_HEAD_SHUTOFF], w[W_RATIO_SHUTOFF]
    return (
        w[W_FLOW], w[W_FLOW] / w[W_VISCOSITY], w[W_LENGTH], w[W_HEAD], w[W_HEAD_IS_GIVEN], gamma, gamma / GRAVITY,
        w[W_LEVEL_STATIC], w[W_LEVEL_PUMPING], w[W_DEPTH_DISCHARGE], w[W_PRESSURE_HEAD], w[W_WEIGHT_PUMP],
        w[W_WEIGHT_CABLE_PER_M], w[W_VOLUME_PUMP], w[W_AREA_CABLE], w[W_WIDTH_PUMP],
        1.0 / w[W_BORE] if w[W_BORE] > 0.0 else np.nan, w[W_TEMPERATURE], w[W_DEPTH_PUMP], 2.0 * w[W_HAND],
        run[R_SHARE_ACID] if ph != ph else 0.0, 1.0 / ph if ph > 0.0 else 0.0,
        w[W_CHLORIDE] if w[W_CHLORIDE] == w[W_CHLORIDE] else 0.0,
        gamma * shutoff if shutoff == shutoff else 0.0,
        gamma * ratio if ratio == ratio and shutoff != shutoff else 0.0, 2.0 * w[W_FUEL],
    )  # fmt: skip


@scalar
def _lanes(pack, table, at, lanes, place, known, run, colder, coil, metal, warmths, coils, keep, kept):
    """Hold options that lie side by side against one well; least key of score and of highest utilisation.

    The body is written so that the compiler turns it into one pass over vectors. Row ``at`` of ``pack`` holds
    ``lanes`` options a constant; ``colder`` is one over their temperature factor, ``coil`` the length bought of
    coil, 0 for sticks; of ``metal`` the combined stress is worked out. An option that meets a stop has the score
    NOT_MET. With ``keep`` the scores go to row ``at`` of ``kept`` and each option has its own ``warmths`` and
    ``coils``; without, nothing is stored: a store would have the compiler look for overlaps first.
    """
    row, a, b, c, d = place
    (flow, ratio, length, head, given, gamma, density, static, pumping, leaves, pressure_head, pump, cable, volume,
     area_cable, width, bore_inverse, temperature, depth_pump, hand, share_acid, ph_inverse, chloride, shutoff,
     estimated, fuel) = known  # fmt: skip
    make_up, pulls, energy = run[R_MAKE_UP], run[R_PULLS], run[R_ENERGY] * flow
    pump_wet = pump - (gamma * volume if length > pumping - leaves else 0.0)
    velocity_most, velocity_limit = 1.0 / run[R_VELOCITY_MOST], 1.0 / run[R_VELOCITY_LIMIT]
    best, nearest = _key(NOT_MET, LANES - 1), _key(NOT_MET, LANES - 1)
    for j in range(lanes):
        turbulent = (
            a * table[row - 1, at, j] + b * table[row, at, j]
            + c * table[row + 1, at, j] + d * table[row + 2, at, j]
        )  # fmt: skip
        velocity, friction, total = _running(
            flow, ratio, length, pack[at, j + lanes * O_VELOCITY_PER_FLOW], pack[at, j + lanes * O_REYNOLDS_PER_RATIO],
            pack[at, j + lanes * O_LOSS_PER_FLOW2], turbulent, pack[at, j + lanes * O_TURBULENT_4000], head, given,
        )  # fmt: skip
        pressure = gamma * total
        surge = _surge(pressure, density, pack[at, j + lanes * O_WAVE_SPEED], velocity)
        running, pulling, _lowered = _loads(
            length, static, pumping, leaves, pack[at, j + lanes * O_WEIGHT], pack[at, j + lanes * O_AREA_BORE],
            pack[at, j + lanes * O_AREA_OUTSIDE], pressure_head, gamma, pump, cable, volume, area_cable,
        )  # fmt: skip
        warm = warmths[at, j] if keep else colder
        u1 = pressure * pack[at, j + lanes * I_RATING]
        u2 = surge * pack[at, j + lanes * I_SURGE_LIMIT]
        u3 = shutoff * pack[at, j + lanes * I_DEAD_HEAD_LIMIT]
        u4 = running * pack[at, j + lanes * I_TENSION_SUSTAINED]
        u5 = pulling * pack[at, j + lanes * I_TENSION_PULLING]
        u6 = temperature * pack[at, j + lanes * I_TEMPERATURE_MAX]
        u7 = pack[at, j + lanes * O_PH_MIN] * ph_inverse
        u8 = hand * pack[at, j + lanes * O_HAND_BAD] + fuel * pack[at, j + lanes * O_FUEL_BAD]
        u9 = max(width, pack[at, j + lanes * O_WIDTH]) * bore_inverse
        u10 = velocity * velocity_most
        u11 = 0.0 if not metal else _combined(
            running, pressure_head, pump_wet + pressure * pack[at, j + lanes * O_AREA_BORE], pressure,
            pack[at, j + lanes * O_STRESS_PULL], pack[at, j + lanes * O_STRESS_HOOP],
            pack[at, j + lanes * O_STRESS_RADIAL],
        )  # fmt: skip
        most = max(max(max(max(u1, u2), max(u3, u4)), u5) * warm,
                   max(max(max(u6, u7), max(u8, u11)), max(u9, u10)))  # fmt: skip
        # max() loses NaN: a well that lacks a number is told by _is_complete
        passes = (most <= 1.0) & (warm < NOT_MET)
        joints = _joints(length, pack[at, j + lanes * I_PIECE])
        splices = _joints(length + make_up, pack[at, j + lanes * I_COIL_LONGEST])
        _method, visit = _visit(
            pulling, run[R_LIFT_HAND], run[R_LIFT_ROLLER], run[R_LIFT_WINCH], run[R_INSTALL_HAND],
            run[R_INSTALL_ROLLER], run[R_INSTALL_WINCH], run[R_INSTALL_HOIST],
        )  # fmt: skip
        bought = (joints + 1.0) * pack[at, j + lanes * O_STICK] + (coils[at, j] if keep else coil)
        _goods, _first, present = _money(
            length, bought, joints, splices, pack[at, j + lanes * O_COST_FIXED], pack[at, j + lanes * O_COST_PIPE],
            pack[at, j + lanes * O_COST_PER_M], pack[at, j + lanes * O_COST_PER_JOINT],
            pack[at, j + lanes * O_RENEWALS_NEUTRAL], pack[at, j + lanes * O_RENEWALS_ACID], share_acid, visit,
            pulls, energy * friction,
        )  # fmt: skip
        whole = present + pack[at, j + lanes * O_CLASS_PENALTY] + _penalties(
            present, joints, splices, total, velocity, friction, depth_pump,
            chloride * pack[at, j + lanes * I_CHLORIDE_MAX],
            (shutoff + estimated * total) * pack[at, j + lanes * I_RATING] * warm,
            pack[at, j + lanes * O_JOINT_PENALTY], pack[at, j + lanes * O_GLUED_PENALTY],
            pack[at, j + lanes * O_BAND_HEAD],
            run[R_PENALTY_SPLICE], run[R_DEPTH_GLUED], run[R_PENALTY_BAND], run[R_PENALTY_CHEMISTRY],
            run[R_PENALTY_DEAD_HEAD], run[R_PENALTY_SOFT], velocity_limit, run[R_FRICTION_LIMIT],
        )  # fmt: skip
        score = whole if passes & (whole < NOT_MET) else NOT_MET
        if keep:
            kept[at, j] = score
        best = min(best, _key(score, j & (LANES - 1)))
        nearest = min(nearest, _key(most if most < NOT_MET else NOT_MET, j & (LANES - 1)))
    return best, nearest


@scalar
def _is_complete(w):
    """Whether every number that a stop needs is there and finite; without flow nothing is judged either."""
    total = (w[W_FLOW] + w[W_LENGTH] + w[W_HEAD] + w[W_HEAD_IS_GIVEN] + w[W_GAMMA] + w[W_VISCOSITY] + w[W_LEVEL_STATIC]
             + w[W_LEVEL_PUMPING] + w[W_DEPTH_DISCHARGE] + w[W_PRESSURE_HEAD] + w[W_WEIGHT_PUMP]
             + w[W_WEIGHT_CABLE_PER_M] + w[W_VOLUME_PUMP] + w[W_AREA_CABLE] + w[W_WIDTH_PUMP] + w[W_TEMPERATURE]
             + w[W_HAND] + w[W_FUEL])  # fmt: skip
    return (abs(total) < MOST) & (w[W_FLOW] != 0.0) & (w[W_BORE] > 0.0) & (abs(w[W_BORE]) < MOST)


@scalar
def _is_ordinary(w):
    """Whether a well's numbers are of the sign for which a better constant never makes a worse option."""
    return (
        (w[W_LENGTH] >= 0.0) & (w[W_LENGTH] < 1e5) & (w[W_FLOW] > 0.0) & (w[W_FLOW] < 1e3) & (w[W_HEAD] >= 0.0)
        & (w[W_GAMMA] > 0.0) & (w[W_VISCOSITY] > 0.0) & (w[W_PRESSURE_HEAD] >= 0.0) & (not w[W_CHLORIDE] < 0.0)
        & (not w[W_HEAD_SHUTOFF] < 0.0) & (not w[W_RATIO_SHUTOFF] < 0.0)
    )  # fmt: skip


@scalar
def _warmth(factor):
    """One over a temperature factor; NOT_MET where no strength is left or the temperature is missing."""
    return 1.0 / factor if factor > 0.0 else NOT_MET


@scalar
def _choose(pack, table, material, number, family, coils, coil_of, factors, wells, run, best, score, closest, worst):
    """For each well and family: the cheapest option that passes every stop, and the one nearest to passing.

    Parameters
    ----------
    pack : ndarray (blocks, N_PACK x LANES)
        Constants of the options as blocks.py lays them out.
    table : ndarray (ROWS, blocks, LANES)
        Turbulent friction factor over ln(flow / viscosity).
    material : ndarray of int64 (blocks)
        Column of ``factors`` of each block.
    number : ndarray of int64 (blocks, LANES)
        Option in each lane.
    family : ndarray of int64 (blocks)
        Column of ``best`` of each block.
    coils, coil_of : ndarray (sets, lengths) and of int64 (blocks)
        Stock coil lengths, rising, infinite where there are no more; the set that each block is sold in.
    factors : ndarray (n, materials)
        Temperature factor of each material at each well.
    wells : ndarray (n, values)
    run : ndarray (scalars)
    best, closest : ndarray of int16 (n, families), written
        -1 where no option passes, or where the family has none.
    score, worst : ndarray (n, families), written
        Score of ``best``; highest utilisation of ``closest``. NOT_MET where there is none.
    """
    blocks = len(material)
    nothing, bought = np.empty((0, 0)), np.empty(len(coils))
    for i in range(wells.shape[0]):
        known = _known(wells[i], run)
        place = _place(known[1])
        for f in range(best.shape[1]):
            best[i, f], closest[i, f] = -1, -1
            score[i, f], worst[i, f] = NOT_MET, NOT_MET
        for s in range(len(coils)):
            bought[s] = _bought(known[2] + run[R_MAKE_UP], coils[s])
        complete = _is_complete(wells[i])
        f, good, near, good_option, near_option = family[0], NOT_MET, NOT_MET, -1, -1
        for block in range(blocks):
            if family[block] != f:
                best[i, f], closest[i, f], score[i, f], worst[i, f] = good_option, near_option, good, near
                f, good, near, good_option, near_option = family[block], NOT_MET, NOT_MET, -1, -1
            warm = _warmth(factors[i, material[block]])
            coil = bought[coil_of[block]]
            if pack[block, LANES * O_STRESS_RADIAL] > 0.0:
                score_key, worst_key = _lanes(pack, table, block, LANES, place, known, run, warm, coil, True, nothing,
                                              nothing, False, nothing)  # fmt: skip
            else:
                score_key, worst_key = _lanes(pack, table, block, LANES, place, known, run, warm, coil, False, nothing,
                                              nothing, False, nothing)  # fmt: skip
            score_key = score_key if complete else NONE
            good, good_option = _better(good, good_option, score_key, number[block, score_key & (LANES - 1)])
            near, near_option = _better(near, near_option, worst_key, number[block, worst_key & (LANES - 1)])
            near_option = number[block, 0] if near_option < 0 else near_option
        best[i, f], closest[i, f], score[i, f], worst[i, f] = good_option, near_option, good, near


@scalar
def _cheapest(pack, table, material, number, coils, coil_of, ideal, ideal_table, ideal_material, ideal_coil, factors,
              wells, run, chosen):  # fmt: skip
    """The cheapest passing option of each well over all families, -1 for none: the answer of :func:`_choose`.

    Of every block there is an *ideal* option, each constant the best of its block (blocks.py). Its score is
    the least that any of the block can have, so that a block whose ideal is dearer than what was found, or
    fails, need not be looked at. Equal scores go to the lower family, then to the lower option, as there.

    Parameters
    ----------
    ideal, ideal_table, ideal_material, ideal_coil
        As ``pack``, ``table``, ``material`` and ``coil_of``, but (groups, N_PACK x IDEALS), (ROWS, groups,
        IDEALS) and (groups, IDEALS): the ideal option of each block; empty where bounds do not hold and every
        block is looked at.
    chosen : ndarray of int64 (n), written
    """
    blocks, groups = len(material), len(ideal_material)
    nothing = np.empty((0, 0))
    bounds, warmth = np.empty((blocks // IDEALS + 1, IDEALS)), np.empty((groups, IDEALS))
    bought, reach = np.empty(len(coils)), np.empty((groups, IDEALS))
    flat = bounds.reshape(-1)
    for i in range(wells.shape[0]):
        known = _known(wells[i], run)
        place = _place(known[1])
        for s in range(len(coils)):
            bought[s] = _bought(known[2] + run[R_MAKE_UP], coils[s])
        first = 0
        if groups > 0 and _is_ordinary(wells[i]):
            for group in range(groups):
                for j in range(IDEALS):
                    warmth[group, j] = _warmth(factors[i, ideal_material[group, j]])
                    reach[group, j] = bought[ideal_coil[group, j]]
                _lanes(ideal, ideal_table, group, IDEALS, place, known, run, 1.0, 0.0, False, warmth, reach, True,
                       bounds)  # fmt: skip
            for block in range(blocks):
                if flat[block] < flat[first]:
                    first = block
        else:
            bounds[:] = -NOT_MET
        least, found = NOT_MET, np.int64(-1)
        for step in range(blocks + 1):
            block = step - 1 if step > 0 else first
            # a hair below, for the rounding of sums
            bound = flat[block]
            if (step > 0 and block == first) or bound >= MOST or bound * BOUND > least:
                continue
            warm = _warmth(factors[i, material[block]])
            coil = bought[coil_of[block]]
            if pack[block, LANES * O_STRESS_RADIAL] > 0.0:
                key, _near = _lanes(pack, table, block, LANES, place, known, run, warm, coil, True, nothing, nothing,
                                    False, nothing)  # fmt: skip
            else:
                key, _near = _lanes(pack, table, block, LANES, place, known, run, warm, coil, False, nothing, nothing,
                                    False, nothing)  # fmt: skip
            least, found = _better(least, found, key, number[block, key & (LANES - 1)])
        chosen[i] = found if _is_complete(wells[i]) else -1


@scalar
def _sheet(options, inverse, coils, table, j, factor, w, run, need, have, use, quantity):
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
    wet = w[W_LENGTH] > w[W_LEVEL_PUMPING] - w[W_DEPTH_DISCHARGE]
    pump_wet = w[W_WEIGHT_PUMP] - (w[W_GAMMA] * w[W_VOLUME_PUMP] if wet else 0.0)
    combined = _combined(
        running, w[W_PRESSURE_HEAD], pump_wet + pressure * options[O_AREA_BORE, j], pressure,
        options[O_STRESS_PULL, j], options[O_STRESS_HOOP, j], options[O_STRESS_RADIAL, j],
    )  # fmt: skip
    warm_rating, warm_sustained = options[O_RATING, j] * factor, options[O_TENSION_SUSTAINED, j] * factor
    allowed = options[O_STRESS_ALLOWED, j]
    if options[O_STRESS_RADIAL, j] == 0.0:  # plastic: hoop and axial, each against the long-term strength
        combined, allowed = max(pressure / warm_rating, running / warm_sustained), allowed * factor
    stroke = _stroke(w[W_GAMMA], w[W_PLUNGER], w[W_LEVEL_PUMPING] - w[W_DEPTH_DISCHARGE])
    needs = (
        pressure, surge, dead, running, pulling, w[W_TEMPERATURE], w[W_PH], w[W_HAND],
        max(w[W_WIDTH_PUMP], options[O_WIDTH, j]), velocity, combined * allowed, w[W_FUEL], velocity, friction / total,
        w[W_CHLORIDE], w[W_LENGTH] + run[R_MAKE_UP], max(running, pulling), stroke, w[W_PLUNGER],
    )  # fmt: skip
    haves = (
        warm_rating, options[O_SURGE_LIMIT, j] * factor, options[O_DEAD_HEAD_LIMIT, j] * factor,
        warm_sustained, options[O_TENSION_PULLING, j] * factor,
        options[O_TEMPERATURE_MAX, j], options[O_PH_MIN, j], 1.0 - options[O_HAND_BAD, j], w[W_BORE],
        run[R_VELOCITY_MOST], allowed, 1.0 - options[O_FUEL_BAD, j], run[R_VELOCITY_LIMIT], run[R_FRICTION_LIMIT],
        options[O_CHLORIDE_MAX, j], options[O_COIL_LONGEST, j], np.nan, np.nan,
        math.sqrt(options[O_AREA_BORE, j] / (0.25 * math.pi)),
    )  # fmt: skip
    for k in range(N_CHECKS):
        need[k], have[k] = needs[k], haves[k]
        use[k] = needs[k] / haves[k] if haves[k] > 0.0 else (np.inf if needs[k] == needs[k] else np.nan)
    use[COMBINED] = combined  # of plastics equal to the larger of two checks, to the last bit: those govern before it
    # a lower limit: the share used grows as the water grows more acid; no limit, nothing to judge
    use[ACIDITY] = haves[ACIDITY] / needs[ACIDITY] if haves[ACIDITY] > 0.0 else np.nan
    for k in (HAND_PUMP, FUEL):
        use[k] = np.nan if needs[k] == 0.0 else (1.0 if haves[k] > 0.0 else np.inf)
    for k in (CHLORIDE, COIL_LENGTH):
        if haves[k] == np.inf:
            use[k] = np.nan
    # no source gives what these may bear, or the record cannot tell whether they are asked: shown, not judged
    use[FITTINGS], use[STROKE], use[PLUNGER] = np.nan, np.nan, np.nan
    joints = _joints(w[W_LENGTH], inverse[O_PIECE, j])
    splices = _joints(w[W_LENGTH] + run[R_MAKE_UP], inverse[O_COIL_LONGEST, j])
    method, visit = _visit(
        pulling, run[R_LIFT_HAND], run[R_LIFT_ROLLER], run[R_LIFT_WINCH], run[R_INSTALL_HAND],
        run[R_INSTALL_ROLLER], run[R_INSTALL_WINCH], run[R_INSTALL_HOIST],
    )  # fmt: skip
    share_acid = run[R_SHARE_ACID] if w[W_PH] != w[W_PH] else 0.0
    bought = (joints + 1.0) * options[O_STICK, j] + _bought(w[W_LENGTH] + run[R_MAKE_UP], coils[j])
    goods, first, present = _money(
        w[W_LENGTH], bought, joints, splices, options[O_COST_FIXED, j], options[O_COST_PIPE, j],
        options[O_COST_PER_M, j], options[O_COST_PER_JOINT, j],
        options[O_RENEWALS_NEUTRAL, j], options[O_RENEWALS_ACID, j], share_acid, visit, run[R_PULLS],
        run[R_ENERGY] * w[W_FLOW] * friction,
    )  # fmt: skip
    chloride = w[W_CHLORIDE] if w[W_CHLORIDE] == w[W_CHLORIDE] else 0.0
    whole = present + options[O_CLASS_PENALTY, j] + _penalties(
        present, joints, splices, total, velocity, friction, w[W_DEPTH_PUMP], chloride * inverse[O_CHLORIDE_MAX, j],
        dead / haves[0] if dead == dead else 0.0, options[O_JOINT_PENALTY, j], options[O_GLUED_PENALTY, j],
        options[O_BAND_HEAD, j], run[R_PENALTY_SPLICE],
        run[R_DEPTH_GLUED], run[R_PENALTY_BAND], run[R_PENALTY_CHEMISTRY], run[R_PENALTY_DEAD_HEAD],
        run[R_PENALTY_SOFT], 1.0 / run[R_VELOCITY_LIMIT], run[R_FRICTION_LIMIT],
    )  # fmt: skip
    overpull = _overpull(
        haves[4], w[W_LENGTH], w[W_LEVEL_STATIC] - w[W_DEPTH_DISCHARGE], options[O_WEIGHT, j], options[O_AREA_BORE, j],
        options[O_AREA_OUTSIDE, j], w[W_GAMMA], w[W_WEIGHT_PUMP], w[W_WEIGHT_CABLE_PER_M], w[W_VOLUME_PUMP],
        w[W_AREA_CABLE],
    )  # fmt: skip
    values = (velocity, friction, total, running, pulling, lowered, joints, splices, method, goods, first, present,
              whole, dead, surge, bought, overpull)  # fmt: skip
    for k in range(N_QUANTITY):
        quantity[k] = values[k]


@scalar
def _sheets(options, inverse, coils, table, materials, factors, wells, run, chosen, need, have, use, quantity):
    """:func:`_sheet` for one option a well; ``chosen`` (n) holds the option, -1 for none (left NaN)."""
    for i in range(wells.shape[0]):
        j = chosen[i]
        if j < 0:
            need[i, :], have[i, :], use[i, :], quantity[i, :] = np.nan, np.nan, np.nan, np.nan
        else:
            factor = factors[i, materials[j]]
            _sheet(options, inverse, coils, table, j, factor, wells[i], run, need[i], have[i], use[i], quantity[i])
