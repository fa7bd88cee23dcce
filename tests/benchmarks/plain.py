"""The kernel's job done plainly: a Python loop over the handbook library, and arrays of wells by options.

Both hold every option against every stop and every judgement that enters the score, from the same constants,
and name the cheapest passing option of each well. They are written out again here, with nothing of the
kernel, so that their choices also check it.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.sizing.constants import Market
from pipeline.sizing.layout import OPTION, RUN, WELL, O, R, W

Floats = NDArray[np.float64]
GRAVITY = 9.80665
INCLUDED = (
    "running pressure, surge, dead-head, sustained and pulling tension, temperature, pH, hand pump, fuel, fit, velocity, combined stress; "
    "score: goods, visits, renewals, energy, penalties for joints, splices, glue, head band, chloride, dead-head, "
    "velocity, friction share; not included: the ranking by family and the option nearest to passing"
)


def loop_over_library(group: Market, wells: Floats, factors: Floats, relative: Floats) -> NDArray[np.int64]:
    """Cheapest passing option of each well by a Python loop, friction from the library ``fluids``."""
    from fluids.friction import friction_factor

    options = [
        dict(zip(OPTION, group.constants[:, j].tolist(), strict=True)) | {"relative": float(relative[j])}
        for j in range(len(group.index))
    ]
    run = dict(zip(RUN, group.run.tolist(), strict=True))
    out = np.full(len(wells), -1, np.int64)
    for i, row in enumerate(wells.tolist()):
        w = dict(zip(WELL, row, strict=True))
        best = math.inf
        for j, o in enumerate(options):
            coils = [c for c in group.coils[j].tolist() if math.isfinite(c)]
            score = _score(w, o, run, float(factors[i, group.materials[j]]), friction_factor, coils)
            if score < best:
                best, out[i] = score, j
    return out


def _score(w: dict[str, float], o: dict[str, float], run: dict[str, float], warm: float, friction_factor: Any,
           coils: list[float]) -> float:  # fmt: skip
    """Score of one option in one well, infinite where it fails."""
    flow, length, gamma = w["flow"], w["length"], w["gamma"]
    velocity = flow * o["velocity_per_flow"]
    reynolds = flow / w["viscosity"] * o["reynolds_per_ratio"]
    if reynolds < 2000:
        factor = 64 / reynolds
    elif reynolds < 4000:
        factor = 0.032 + (friction_factor(Re=4000.0, eD=o["relative"]) - 0.032) * (reynolds - 2000) / 2000
    else:
        factor = friction_factor(Re=reynolds, eD=o["relative"])
    friction = factor * length * o["loss_per_flow2"] * flow * flow
    total = w["head"] + friction * (1 - w["head_is_given"])
    pressure = gamma * total
    shutoff = w["head_shutoff"]
    recorded = not math.isnan(shutoff)
    water = gamma * o["area_bore"]
    hangs = o["weight"] + w["weight_cable_per_m"] + water

    def full(level: float, head: float) -> float:
        under = max(-level, 0.0)
        wet = max(length - level - under, 0.0)
        displaced = (o["area_outside"] + w["area_cable"]) * wet + (w["volume_pump"] if length > level else 0.0)
        return (hangs * length + w["weight_pump"] + head * o["area_bore"]
                - gamma * displaced - gamma * under * o["area_outside"])  # fmt: skip

    static = w["level_static"] - w["depth_discharge"]
    running = full(w["level_pumping"] - w["depth_discharge"], w["pressure_head"])
    clear = hangs * min(length, max(static, 0.0)) + w["weight_pump"]
    drained = (o["weight"] + w["weight_cable_per_m"]) * length + w["weight_pump"]
    pulling = max(full(static, 0.0), clear, drained)
    sunk = w["weight_pump"] - (gamma * w["volume_pump"] if length > w["level_pumping"] - w["depth_discharge"] else 0.0)
    passes = (
        warm > 0 and pressure <= o["rating"] * warm
        and pressure + gamma / GRAVITY * o["wave_speed"] * velocity <= o["surge_limit"] * warm
        and (not recorded or gamma * shutoff <= o["dead_head_limit"] * warm)
        and running <= o["tension_sustained"] * warm and pulling <= o["tension_pulling"] * warm
        and w["temperature"] <= o["temperature_max"] and not w["ph"] < o["ph_min"]
        and not (w["hand"] and o["hand_bad"]) and max(w["width_pump"], o["width"]) <= w["bore"]
        and velocity <= run["velocity_most"] and not (w["fuel"] and o["fuel_bad"])
        and _equivalent(o, running, w["pressure_head"]) <= 1
        and _equivalent(o, sunk + pressure * o["area_bore"], pressure) <= 1
    )  # fmt: skip
    if not passes:
        return math.inf
    joints = max(math.ceil(length / o["piece"] - 1e-9) - 1, 0)
    splices = max(math.ceil((length + run["make_up"]) / o["coil_longest"] - 1e-9) - 1, 0)
    for kind in ("hand", "roller", "winch"):
        if pulling / GRAVITY <= run[f"lift_{kind}"]:
            visit = run[f"install_{kind}"]
            break
    else:
        visit = run["install_hoist"]
    acid = run["share_acid"] if math.isnan(w["ph"]) else 0.0
    bought = (joints + 1) * o["stick"]
    if coils:
        rest = length + run["make_up"] - splices * coils[-1]
        bought = splices * coils[-1] + next((c for c in coils if c >= rest - 1e-6), coils[-1])
    first = (o["cost_fixed"] + o["cost_pipe"] * bought + o["cost_per_m"] * length
             + o["cost_per_joint"] * (joints + splices) + visit)  # fmt: skip
    renewals = o["renewals_neutral"] * (1 - acid) + o["renewals_acid"] * acid
    present = first + visit * run["pulls"] + first * renewals + run["energy"] * flow * friction
    score = present + o["class_penalty"] + joints * o["joint_penalty"] + splices * run["penalty_splice"]
    if w["depth_pump"] > run["depth_glued"]:
        score += o["glued_penalty"]
    if total > o["band_head"]:
        score += present * run["penalty_band"]
    if w["chloride"] > o["chloride_max"]:
        score += run["penalty_chemistry"]
    dead = gamma * (shutoff if recorded else w["ratio_shutoff"] * total)
    if dead > o["rating"] * warm:
        score += run["penalty_dead_head"]
    for use in (velocity / run["velocity_limit"], friction / total / run["friction_limit"]):
        if use > 1:
            score += run["penalty_soft"] * use
    return score


def _equivalent(o: Any, pull: Any, pressure: Any) -> Any:
    """Share of the allowed stress by distortion energy; 0 for plastics."""
    axial, hoop, radial = pull * o["stress_pull"], pressure * o["stress_hoop"], -pressure * o["stress_radial"]
    return (((axial - hoop) ** 2 + (hoop - radial) ** 2 + (radial - axial) ** 2) / 2.0) ** 0.5


def _colebrook(reynolds: Floats, relative: Floats) -> Floats:
    """Colebrook's factor on arrays: an explicit start and three Newton steps."""
    a, b = relative / 3.7, 2.51 / reynolds
    x = -1.8 * np.log10(a**1.11 + 6.9 / reynolds)
    for _ in range(3):
        inner = a + b * x
        x -= (x + 2.0 * np.log10(inner)) / (1.0 + 2.0 / math.log(10.0) * b / inner)
    return 1.0 / (x * x)


def with_arrays(group: Market, wells: Floats, factors: Floats, relative: Floats, rows: int = 256) -> NDArray[np.int64]:
    """Cheapest passing option of each well by arrays of ``rows`` wells by all options."""
    return np.concatenate([
        _array_rows(group, wells[k : k + rows], factors[k : k + rows], relative) for k in range(0, len(wells), rows)
    ])  # fmt: skip


def _array_rows(group: Market, wells: Floats, factors: Floats, relative: Floats) -> NDArray[np.int64]:
    o = {name: group.constants[place][None, :] for name, place in O.items()}
    w = {name: wells[:, place][:, None] for name, place in W.items()}
    run = {name: float(group.run[place]) for name, place in R.items()}
    warm = factors[:, group.materials]
    flow, length, gamma = w["flow"], w["length"], w["gamma"]
    with np.errstate(all="ignore"):
        velocity = flow * o["velocity_per_flow"]
        reynolds = flow / w["viscosity"] * o["reynolds_per_ratio"]
        between = 0.032 + (_colebrook(np.float64(4000.0), relative)[None, :] - 0.032) * (reynolds - 2000) / 2000
        factor = np.where(reynolds < 4000, between, _colebrook(reynolds, relative[None, :]))
        factor = np.where(reynolds < 2000, 64 / reynolds, factor)
        friction = factor * length * o["loss_per_flow2"] * flow**2
        total = w["head"] + friction * (1 - w["head_is_given"])
        pressure = gamma * total
        shutoff, recorded = w["head_shutoff"], ~np.isnan(w["head_shutoff"])
        hangs = o["weight"] + w["weight_cable_per_m"] + gamma * o["area_bore"]

        def full(level: Floats, head: Floats | float) -> Floats:
            under = np.maximum(-level, 0.0)
            wet = np.maximum(length - level - under, 0.0)
            displaced = (o["area_outside"] + w["area_cable"]) * wet + np.where(length > level, w["volume_pump"], 0.0)
            return (hangs * length + w["weight_pump"] + head * o["area_bore"]
                    - gamma * displaced - gamma * under * o["area_outside"])  # fmt: skip

        static = w["level_static"] - w["depth_discharge"]
        running = full(w["level_pumping"] - w["depth_discharge"], w["pressure_head"])
        clear = hangs * np.minimum(length, np.maximum(static, 0.0)) + w["weight_pump"]
        drained = (o["weight"] + w["weight_cable_per_m"]) * length + w["weight_pump"]
        pulling = np.maximum(np.maximum(full(static, 0.0), clear), drained)
        sunk = w["weight_pump"] - np.where(length > w["level_pumping"] - w["depth_discharge"], gamma * w["volume_pump"], 0)
        passes = (
            (warm > 0) & (pressure <= o["rating"] * warm)
            & (pressure + gamma / GRAVITY * o["wave_speed"] * velocity <= o["surge_limit"] * warm)
            & (~recorded | (gamma * shutoff <= o["dead_head_limit"] * warm))
            & (running <= o["tension_sustained"] * warm) & (pulling <= o["tension_pulling"] * warm)
            & (w["temperature"] <= o["temperature_max"]) & ~(w["ph"] < o["ph_min"])
            & ~((w["hand"] > 0) & (o["hand_bad"] > 0)) & (np.maximum(w["width_pump"], o["width"]) <= w["bore"])
            & (velocity <= run["velocity_most"]) & ~((w["fuel"] > 0) & (o["fuel_bad"] > 0))
            & (_equivalent(o, running, w["pressure_head"]) <= 1)
            & (_equivalent(o, sunk + pressure * o["area_bore"], pressure) <= 1)
        )  # fmt: skip
        joints = np.maximum(np.ceil(length / o["piece"] - 1e-9) - 1, 0)
        splices = np.maximum(np.ceil((length + run["make_up"]) / o["coil_longest"] - 1e-9) - 1, 0)
        mass = pulling / GRAVITY
        kinds = ("hand", "roller", "winch")
        visit = np.select([mass <= run[f"lift_{kind}"] for kind in kinds],
                          [np.float64(run[f"install_{kind}"]) for kind in kinds], run["install_hoist"])  # fmt: skip
        acid = np.where(np.isnan(w["ph"]), run["share_acid"], 0.0)
        coils = group.coils.T[:, None, :]
        longest = np.where(np.isfinite(coils), coils, 0).max(axis=0)
        rest = length + run["make_up"] - splices * longest
        last = np.where(coils >= rest - 1e-6, coils, np.inf).min(axis=0)
        bought = np.where(longest > 0, splices * longest + np.minimum(last, longest), (joints + 1) * o["stick"])
        first = (o["cost_fixed"] + o["cost_pipe"] * bought + o["cost_per_m"] * length
                 + o["cost_per_joint"] * (joints + splices) + visit)  # fmt: skip
        renewals = o["renewals_neutral"] * (1 - acid) + o["renewals_acid"] * acid
        present = first + visit * run["pulls"] + first * renewals + run["energy"] * flow * friction
        score = present + o["class_penalty"] + joints * o["joint_penalty"] + splices * run["penalty_splice"]
        score += np.where(w["depth_pump"] > run["depth_glued"], o["glued_penalty"], 0.0)
        score += np.where(total > o["band_head"], present * run["penalty_band"], 0.0)
        score += np.where(w["chloride"] > o["chloride_max"], run["penalty_chemistry"], 0.0)
        dead = gamma * np.where(recorded, shutoff, w["ratio_shutoff"] * total)
        score += np.where(dead > o["rating"] * warm, run["penalty_dead_head"], 0.0)
        for use in (velocity / run["velocity_limit"], friction / total / run["friction_limit"]):
            score += np.where(use > 1, run["penalty_soft"] * use, 0.0)
        score = np.where(passes, score, np.inf)
    least = score.argmin(axis=1)
    return np.where(np.isfinite(score[np.arange(len(least)), least]), least, -1)
