"""From what the kernel found to the tables ``selection`` and ``not_chosen``."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.materials import catalogue, cost_cable_beyond
from pipeline.physics.water import GRAVITY
from pipeline.settings import Settings
from pipeline.sizing.choose import Choice, Sheets, sheets
from pipeline.sizing.constants import FAMILIES, Market
from pipeline.sizing.kernel import NOT_MET
from pipeline.sizing.layout import CHECKS, KIND, UCUM, O, Q

METHODS = np.array(["hand", "hand_roller", "winch", "hoist"], dtype=object)
UTILISATIONS = {
    "pressure_running": "utilisation_pressure_running_fraction",
    "pressure_surge": "utilisation_pressure_surge_fraction",
    "pressure_dead_head": "utilisation_pressure_dead_head_fraction",
    "tension_sustained": "utilisation_tension_sustained_fraction",
    "tension_pulling": "utilisation_tension_pulling_fraction",
    "velocity": "utilisation_velocity_fraction",
    "friction": "utilisation_friction_fraction",
    "fit": "utilisation_fit_fraction",
}
DEAD_HEAD = CHECKS.index("pressure_dead_head")
BY_THE_WAY = [CHECKS.index(name) for name in ("temperature", "acidity", "fit", "velocity_valve")]
GOVERNING = CHECKS.index("chloride")  # stops, velocity and friction come before it
# a family that fails several limits is told the plainest first
TELL_FIRST = ("fuel", "temperature", "acidity", "hand_pump", "fit")
ORDER = [CHECKS.index(name) for name in (*TELL_FIRST, *(c for c in CHECKS if c not in TELL_FIRST))]
YES_OR_NO = CHECKS.index("hand_pump")  # met or not: it cannot govern by degree
BEHIND = 1e15  # added to a score, it comes after all that lack it and before none that passes
JUDGEMENT = np.array([kind == "judgement" for kind in KIND])


def named(ids: NDArray, places: NDArray[np.integer]) -> NDArray:
    """Names at places; None for -1."""
    out = np.full(len(places), None, dtype=object)
    out[places >= 0] = ids[places[places >= 0]]
    return out


def stops(use: NDArray[np.float64], recorded_shutoff: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Checks that stop an option (n, checks): judged, past the limit, and not mere judgement.

    Dead-head stops only where the shutoff head is recorded; an estimated one is a caution.
    """
    over = ~(use <= 1.0) & ~np.isnan(use) & ~JUDGEMENT
    over[:, DEAD_HEAD] &= recorded_shutoff
    return over


def selection(
    design: pd.DataFrame, wells: pd.DataFrame, group: Market, choice: Choice, found: Sheets, settings: Settings,
    currency: str, totals: NDArray[np.float64],
) -> pd.DataFrame:  # fmt: skip
    """Rows of the table ``selection`` for one group of wells, without what the draws tell.

    Alternates come by rising score, those past the head band of their family after all that keep it: the band is a
    preference of the trade. ``totals`` (n, families) is the total head with the best option of each, from
    :func:`not_chosen`.
    """
    ids = group.frame["option_id"].to_numpy(dtype=object)
    chosen = choice.chosen()
    order = choice.order
    rows = np.arange(len(chosen))
    has = chosen >= 0
    quantity = {name: found.quantity[:, place] for name, place in Q.items()}
    judged = np.where(np.isnan(found.use), -1.0, found.use)
    judged[:, YES_OR_NO] = -1.0
    # width, warmth and acidity are met or nearly so in every well: they govern only at their limit
    near = judged[:, BY_THE_WAY]
    judged[:, BY_THE_WAY] = np.where(near >= settings.base("share_governs"), near, -1.0)
    governs = judged[:, :GOVERNING].argmax(axis=1)
    priced = np.where(has, group.is_priced[np.maximum(chosen, 0)], False)
    soft = (found.use[:, JUDGEMENT] > 1.0).any(axis=1)
    soft |= found.use[:, DEAD_HEAD] > 1.0
    soft |= group.constants[O["class_penalty"]][np.maximum(chosen, 0)] >= settings.base("penalty_small_size")
    # fuel is stopped by PVC, the solvents that may come with it are not
    fuel = design.get("has_fuel_contamination", pd.Series(False, index=design.index)).astype(object).eq(True)
    soft |= fuel.to_numpy() & (group.families[np.maximum(chosen, 0)] == FAMILIES.index("pvc"))
    known = (design["depth_static_basis_code"] == "recorded").to_numpy()
    at_ground = known & (design["depth_static_m"].to_numpy(float) <= 0)
    flowing = design["is_flowing"].astype(object).eq(True).to_numpy() | at_ground
    outcome = np.where(soft, "recommended_with_caution", "recommended").astype(object)
    outcome[flowing] = "flowing"
    outcome[~has] = "none_passes"
    cable_extra = cost_cable_beyond(
        catalogue(settings), np.where(has, group.index[np.maximum(chosen, 0)], -1), design["depth_pump_m"],
        design["power_motor_w"], design["pump_kind_code"],
    )  # fmt: skip
    out: dict[str, object] = {
        name: design[name].to_numpy(dtype=object)
        for name in ("source_id", "well_id", "region_code", "market_code", "use_code", "grade_code")
    }
    out["area_code"] = wells["area_code"].to_numpy(dtype=object)
    out["outcome_code"] = outcome
    out["option_id"] = named(ids, chosen)
    out["family_code"] = named(np.array(FAMILIES, dtype=object), np.where(has, order[:, 0], -1))
    band = group.constants[O["band_head"]][np.maximum(choice.best, 0)]
    behind = choice.score + np.where(totals > band, BEHIND, 0.0)
    behind[rows, order[:, 0]] = -np.inf
    others = np.argsort(behind, axis=1, kind="stable")
    for rank, name in ((1, "alternate_1_option_id"), (2, "alternate_2_option_id")):
        family = others[:, rank]
        met = choice.score[rows, family] < NOT_MET
        out[name] = named(ids, np.where(met, choice.best[rows, family], -1))
    out["length_drop_pipe_m"] = np.where(has, design["length_drop_pipe_m"], np.nan)
    out["flow_duty_m3_per_s"] = design["flow_duty_m3_per_s"].to_numpy(float)
    gamma = np.where(quantity["total"] > 0, found.need[:, 0] / quantity["total"], np.nan)
    out |= {
        "head_total_dynamic_m": quantity["total"], "head_friction_m": quantity["friction"],
        "velocity_m_per_s": quantity["velocity"], "pressure_running_pa": gamma * quantity["total"],
        "pressure_surge_pa": quantity["surge"], "pressure_dead_head_pa": quantity["dead_head"],
        "load_hanging_n": quantity["running"], "load_pulling_n": quantity["pulling"],
        "load_overpull_n": np.maximum(quantity["overpull"], 0.0), "mass_lowered_kg": quantity["lowered"] / GRAVITY,
        "joint_count": _whole(quantity["joints"] + quantity["splices"]),
        "piece_count": _whole(quantity["joints"] + quantity["splices"] + 1.0),
        "install_method_code": named(METHODS, np.where(has, np.nan_to_num(quantity["method"]), -1).astype(int)),
        "governs_check_code": named(np.array(CHECKS, dtype=object), np.where(has, governs, -1)),
        "utilisation_max_fraction": np.where(has, judged[:, :GOVERNING].max(axis=1), np.nan),
        "cost_first": np.where(priced, quantity["first"] + cable_extra, np.nan),
        "cost_present": np.where(priced, quantity["present"] + cable_extra, np.nan),
    }  # fmt: skip
    piece = group.constants[O["piece"]][np.maximum(chosen, 0)]
    longest = np.minimum(piece, design["length_drop_pipe_m"].to_numpy(float))
    weight = group.constants[O["weight"]][np.maximum(chosen, 0)]
    out["mass_piece_kg"] = np.where(has, longest * weight / GRAVITY, np.nan)
    for check, name in UTILISATIONS.items():
        out[name] = found.use[:, CHECKS.index(check)]
    out["currency"] = named(np.array([currency], dtype=object), np.where(priced, 0, -1))
    out["practice_note_code"] = practice_note(group, choice, quantity["total"])
    out["weight_inclusion_fraction"] = design["weight_inclusion_fraction"].to_numpy(float)
    return pd.DataFrame(out)


def family_of(group: Market, chosen: NDArray[np.integer]) -> NDArray[np.int64]:
    """Place of the family of each option; -1 where none is chosen."""
    return np.where(chosen >= 0, group.families[np.maximum(chosen, 0)], -1)


def not_sized(design: pd.DataFrame, wells: pd.DataFrame, outcome: NDArray) -> pd.DataFrame:
    """Rows of the table ``selection`` for wells that no pipe is chosen for; the index is that of ``design``."""
    names = ["source_id", "well_id", "region_code", "market_code", "use_code", "grade_code",
             "flow_duty_m3_per_s", "weight_inclusion_fraction"]  # fmt: skip
    out = design[names].copy()
    out["area_code"] = wells["area_code"].to_numpy(dtype=object)
    out["outcome_code"] = outcome
    return out.reindex(columns=[c.field.name for c in schema.table("selection")])


def no_rows(name: str) -> pd.DataFrame:
    """An empty frame with the columns of a declared table."""
    return schema.arrow_schema(name).empty_table().to_pandas()


def _whole(values: NDArray[np.float64]) -> pd.arrays.IntegerArray:
    gone = np.isnan(values)
    return pd.arrays.IntegerArray(np.where(gone, 0.0, values).astype(np.int64), gone)


def practice_note(group: Market, choice: Choice, total: NDArray[np.float64]) -> NDArray:
    """Where the common head bands and the calculation disagree on the chosen family."""
    chosen = choice.chosen()
    limits = {FAMILIES[f]: group.constants[O["band_head"]][group.families == f].min(initial=np.inf)
              for f in range(len(FAMILIES))}  # fmt: skip
    band = group.constants[O["band_head"]][np.maximum(chosen, 0)]
    out = np.where(total > band, "band_exceeded", "agrees").astype(object)
    inside = np.zeros(len(chosen), bool)
    for f, name in enumerate(FAMILIES):
        if np.isfinite(limits[name]):
            inside |= (total <= limits[name]) & (choice.best[:, f] < 0) & (choice.closest[:, f] >= 0)
    out[inside & (out == "agrees")] = "band_stricter"
    out[chosen < 0] = None
    return out


@lru_cache(maxsize=128)
def counterparts(group: Market) -> NDArray[np.int64]:
    """Option of each family that a contractor would hold against each option (m, families); -1 where none is sold.

    The size whose bore comes nearest to that of the option without falling far short of it, in the strongest
    class; threaded pipe before solvent joints.
    """
    bore = np.sqrt(group.constants[O["area_bore"]])
    rating = group.constants[O["rating"]] * np.where(group.frame["joint_code"] == "glued", 0.01, 1.0)
    out = np.full((len(bore), len(FAMILIES)), -1, np.int64)
    for f in range(len(FAMILIES)):
        own = np.flatnonzero(group.families == f)
        if not len(own):
            continue
        for j in range(len(bore)):
            miss = np.abs(np.log(bore[own] / bore[j]))
            near = own[(miss <= miss.min() + 0.12) & (bore[own] >= 0.85 * bore[j])]
            near = near if len(near) else own[[miss.argmin()]]
            out[j, f] = near[rating[near].argmax()]
    return out


def not_chosen(
    design: pd.DataFrame, group: Market, inputs: NDArray[np.float64], choice: Choice, factors: NDArray[np.float64],
) -> tuple[pd.DataFrame, NDArray[np.float64]]:  # fmt: skip
    """Rows of the table ``not_chosen``: for every other family the first limit it fails, or what it costs more.

    Returns
    -------
    frame : DataFrame, its index the row of the well
    totals : ndarray (n, families)
        Total head with the option told of each family that was not chosen, NaN of the one that was.
    """
    ids = group.frame["option_id"].to_numpy(dtype=object)
    first = choice.order[:, 0]
    any_passes = choice.score.min(axis=1) < NOT_MET
    best_score = choice.score.min(axis=1)
    recorded = design["head_shutoff_is_recorded"].to_numpy(bool)
    rows = np.arange(len(first))
    first_option, like = np.maximum(choice.chosen(), 0), counterparts(group)
    frames, totals = [], np.full(choice.score.shape, np.nan)
    for f, family in enumerate(FAMILIES):
        other = rows[~(any_passes & (first == f))]
        absent = choice.closest[other, f] < 0
        passes = choice.best[other, f] >= 0
        fails = np.where(any_passes[other], like[first_option[other], f], choice.closest[other, f])
        option = np.where(passes, choice.best[other, f], fails).astype(np.int64)
        found = sheets(group, inputs[other], option, factors[other])
        totals[other, f] = found.quantity[:, Q["total"]]
        over = stops(found.use, recorded[other])
        failed = np.where(over.any(axis=1) & ~passes, np.array(ORDER)[over[:, ORDER].argmax(axis=1)], -1)
        pick = np.maximum(failed, 0)
        n = np.arange(len(other))
        extra = np.where(passes & any_passes[other], choice.score[other, f] - best_score[other], np.nan)
        present = found.quantity[:, Q["score"]] - found.quantity[:, Q["present"]]
        reason = np.where(passes, np.where(present > extra, "penalty", "cost"), "limit").astype(object)
        reason[absent] = "not_on_market"
        failing = failed >= 0
        use = found.use[n, pick]
        frames.append(
            pd.DataFrame(
                {
                    "source_id": design["source_id"].to_numpy(dtype=object)[other],
                    "well_id": design["well_id"].to_numpy(dtype=object)[other],
                    "family_code": family,
                    "option_id": named(ids, option),
                    "reason_code": reason,
                    "check_code": named(np.array(CHECKS, dtype=object), failed),
                    "need": np.where(failing, found.need[n, pick], np.nan),
                    "have": np.where(failing, found.have[n, pick], np.nan),
                    "unit": named(np.array(UCUM, dtype=object), failed),
                    "utilisation_fraction": np.where(failing & np.isfinite(use), use, np.nan),
                    "cost_extra": extra,
                    "rule_id": np.full(len(other), None, dtype=object),
                },
                index=other,
            )
        )
    return pd.concat(frames), totals


def with_rules(lost: pd.DataFrame, group: Market, whole: Market, choice: Choice) -> pd.DataFrame:
    """Rows of ``not_chosen`` with the rule of the place, where the option told without rules is barred.

    Parameters
    ----------
    lost : DataFrame
        From :func:`not_chosen` of a market ``group`` less its barred options.
    whole : Market
        The same market with all its options.
    choice : Choice
        What they come to in the same wells.

    Returns
    -------
    DataFrame
        ``rule_id`` set where the cheapest option of the family is barred; a family that the rules leave no option
        of has the reason ``local_rule`` and the barred option.
    """
    well, out = lost.index.to_numpy(), lost.reset_index(drop=True)
    ids = whole.frame["option_id"].to_numpy(dtype=object)
    for f, family in enumerate(FAMILIES):
        at = np.flatnonzero((out["family_code"] == family).to_numpy())
        told = np.where(choice.best[:, f] >= 0, choice.best[:, f], choice.closest[:, f])
        option = named(ids, told.astype(np.int64))[well[at]]
        rule = pd.Series(option, dtype=object).map(group.barred)
        is_barred = rule.notna().to_numpy()
        out.loc[at[is_barred], "rule_id"] = rule[is_barred].to_numpy(object)
        gone = is_barred & (out["reason_code"].to_numpy()[at] == "not_on_market")
        out.loc[at[gone], "reason_code"] = "local_rule"
        out.loc[at[gone], "option_id"] = option[gone]
    return out
