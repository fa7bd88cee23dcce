"""Constants of every option on a market, worked out once from the declared tables by the formulas of physics."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.errors import SchemaError
from pipeline.materials import Catalogue
from pipeline.physics.pressure import factor_table
from pipeline.physics.water import GRAVITY
from pipeline.settings import Settings
from pipeline.sizing.formulas import DENSITY_COLD, option_numbers, turbulent_factors, warmth_by_design_basis
from pipeline.sizing.kernel import ROWS, STEP, X_LOW
from pipeline.sizing.layout import OPTION, RUN, O
from pipeline.sizing.money import annuity_factor, renewals_factor
from pipeline.sizing.pricing import Costs, costs, unstocked

Floats = NDArray[np.float64]
FAMILIES = tuple(schema.codes("family"))
BAND = {"pe": "band_head_pe", "pvc": "band_head_pvc", "pex": "band_head_pex"}
MEGA, KILO, MILLI = 1e6, 1e3, 1e-3


@dataclass(frozen=True, eq=False)
class Market:
    """Options of one market for motor or hand pumps, as the kernel reads them.

    Attributes
    ----------
    index : ndarray of int, place of each option in options.csv
    constants, inverse : ndarray (OPTION, m)
    coils : ndarray (m, lengths), stock coil lengths in metres, rising, infinite where there are no more
    table : ndarray (ROWS, m), turbulent friction factor
    materials, families : ndarray of int64 (m), places in ``material_ids`` and FAMILIES
    sizes : ndarray of int64 (m), equal for options of one family and nominal size
    run : ndarray (RUN)
    is_priced : ndarray of bool (m), every price the option needs is listed
    large_cable : ndarray (m, 2), cost added for large motors: fixed, and per metre of pump depth
    barred : dict, options of the market that a rule of the place bars, each with its rule; not in ``frame``
    """

    frame: pd.DataFrame
    index: NDArray[np.int64]
    constants: Floats
    inverse: Floats
    coils: Floats
    table: Floats
    materials: NDArray[np.int64]
    families: NDArray[np.int64]
    sizes: NDArray[np.int64]
    material_ids: tuple[str, ...]
    run: Floats
    is_priced: NDArray[np.bool_]
    large_cable: Floats
    barred: dict[str, str]


def _numbers(frame: pd.DataFrame, name: str) -> Floats:
    return pd.to_numeric(frame[name], errors="coerce").to_numpy(float)


@lru_cache(maxsize=1)
def _joined() -> pd.DataFrame:
    """Options with the properties of their material and the geometry of their thread."""
    options = pd.DataFrame(schema.rows("options"))
    stuff = pd.DataFrame(schema.rows("materials")).drop(columns=["family_code", "reference_id", "how", "note"])
    threads = pd.DataFrame(schema.rows("reference/threads"))[
        ["thread_code", "nominal_size", "thread_height_mm", "diameter_root_mm"]
    ]
    out = options.merge(stuff, on="material_id", how="left", validate="many_to_one")
    out = out.merge(threads, on=["thread_code", "nominal_size"], how="left", validate="many_to_one")
    lost = out.loc[(out["joint_code"] == "threaded") & out["diameter_root_mm"].isna(), "option_id"]
    if len(lost):
        raise SchemaError(f"options.csv: {list(lost)} are threaded but threads.csv lacks their thread and size.")
    return out


def _formulas(frame: pd.DataFrame, settings: Settings) -> dict[str, Floats]:
    """What the formulas of physics give for each option."""
    modulus = frame["modulus_dynamic_mpa"].where(frame["modulus_dynamic_mpa"] != "", frame["modulus_short_mpa"])
    outside = _numbers(frame, "diameter_outside_mm") * MILLI
    root = _numbers(frame, "diameter_root_mm") * MILLI
    numbers = {
        "outside": outside,
        "wall": _numbers(frame, "wall_min_mm") * MILLI,
        "bore": _numbers(frame, "diameter_inside_mm") * MILLI,
        "root": np.where(np.isnan(root), outside, root),
        "thread_height": _numbers(frame, "thread_height_mm") * MILLI,
        "stress": _numbers(frame, "stress_allow_mpa") * MEGA,
        "hdb": _numbers(frame, "hdb_mpa") * MEGA,
        "modulus": pd.to_numeric(modulus).to_numpy(float) * MEGA,
        "poisson": _numbers(frame, "poisson_short"),
        "roughness": _numbers(frame, "roughness_mm") * MILLI,
    }
    return option_numbers(numbers, settings.base("share_hdb_hours"))


def _strength(frame: pd.DataFrame, found: dict[str, Floats], settings: Settings) -> dict[str, Floats]:
    """Rating, surge and dead-head limits [Pa] and sustained and pulling tension [N], all at 23 degC."""
    base = settings.base
    hds, hdb = _numbers(frame, "hds_mpa") * MEGA, _numbers(frame, "hdb_mpa") * MEGA
    short, yields = _numbers(frame, "strength_short_mpa") * MEGA, _numbers(frame, "yield_mpa") * MEGA
    family, threaded = frame["family_code"].to_numpy(), (frame["joint_code"] == "threaded").to_numpy()
    glued = (frame["joint_code"] == "glued").to_numpy()
    steel = np.isin(family, ["galvanised", "stainless"])
    pvc, pe, pex = family == "pvc", family == "pe", family == "pex"
    joint = np.where(pvc & threaded, base("factor_thread_pvc"), 1.0)
    rating = np.where(steel, found["rating_steel"], _numbers(frame, "rating_kpa") * KILO * joint)
    threaded_surge = settings.practice["allowance_surge_pvc_threaded"].high
    surge = np.select(
        [pe, pex, pvc & threaded, pvc],
        [base("allowance_surge_pe"), base("allowance_surge_pex"), threaded_surge, base("allowance_surge_pvc")],
        1.0,
    )
    hours = np.where((frame["control"] == "inside").to_numpy(), found["hours_inside"], found["hours_outside"])
    dead_pvc, dead_pex = base("allowance_dead_head_pvc") * rating, base("allowance_dead_head_pex") * rating
    dead = np.select([pe, pvc, pex], [hours, dead_pvc, dead_pex], rating)
    # a thread is judged by its root or by a joint factor, never both; a glued socket by the factor
    net = np.where(threaded, found["area_root"], found["area_wall"]) * np.where(glued, base("factor_thread_pvc"), 1.0)
    sustained = np.where(steel, base("share_yield_steel") * yields, hds) * net
    share = base("share_hdb_hours")
    pulling = net * np.select(
        [pe, pvc | pex], [share * hdb, base("factor_pulling_pvc") * short], base("share_yield_steel") * yields
    )
    return {
        "rating": rating,
        "surge_limit": rating * surge,
        "dead_head_limit": dead,
        "tension_sustained": sustained,
        "tension_pulling": pulling,
    }


def _limits(frame: pd.DataFrame, settings: Settings) -> dict[str, Floats]:
    """Limits of water and width."""
    base = settings.base
    family, material = frame["family_code"].to_numpy(), frame["material_id"].to_numpy()
    warmest = _numbers(frame, "temperature_max_degc")
    cut = (family == "pvc") & (frame["joint_code"] == "threaded").to_numpy()
    warmest = np.where(cut, np.minimum(warmest, base("limit_temperature_pvc_thread")), warmest)
    galvanised = family == "galvanised"
    chloride = np.select(
        [galvanised, material == "ss304", material == "ss316"],
        [base("limit_chloride_galvanised"), base("limit_chloride_304"), base("limit_chloride_316")], np.inf,
    )  # fmt: skip
    band = np.full(len(frame), np.inf)
    for name, practice in BAND.items():
        band[family == name] = base(practice)
    return {
        "temperature_max": warmest,
        "ph_min": np.where(galvanised, base("limit_ph_galvanised"), 0.0),
        "chloride_max": chloride,
        "hand_bad": (frame["suits_hand_pump"] != "yes").to_numpy(float),
        # fuel and solvents pass through polyethylene; PVC and metal are told of, not stopped
        "fuel_bad": np.isin(family, ["pe", "pex"]).astype(float),
        "band_head": band,
    }


def _price(frame: pd.DataFrame, settings: Settings, found: Costs, hand: bool) -> dict[str, Floats]:
    """Cost, renewals and penalties of each option."""
    base = settings.base
    out = {"cost_fixed": found.fixed, "cost_pipe": found.pipe, "cost_per_m": found.per_m,
           "cost_per_joint": found.per_joint}  # fmt: skip
    rate, years = base("rate_discount"), base("horizon")
    life = np.array([base(name) for name in frame["life_practice_id"]])
    out["renewals_neutral"] = renewals_factor(life, rate, years)
    galvanised = (frame["family_code"] == "galvanised").to_numpy()
    out["renewals_acid"] = np.where(
        galvanised, renewals_factor(base("life_galvanised_acid"), rate, years), out["renewals_neutral"]
    )
    joint = frame["joint_code"].to_numpy()
    out["joint_penalty"] = np.full(len(frame), base("penalty_joint"))
    light = (frame["family_code"] == "pe") & (_numbers(frame, "rating_kpa") * KILO < base("rating_least_pe") * 0.995)
    outside_held = (joint == "compression") & (frame["family_code"] == "pe").to_numpy()
    small = (_numbers(frame, "diameter_outside_mm") * MILLI < base("outside_least_motor")) & (not hand)
    out["class_penalty"] = (
        np.where(light, base("penalty_light_class"), 0.0)
        + np.where(small, base("penalty_small_size"), 0.0)
        + np.where(outside_held, base("penalty_compression"), 0.0)
        + np.where(joint == "glued", base("penalty_glued_cure"), 0.0)
        + np.where(unstocked(settings, frame["option_id"]), base("penalty_not_stocked"), 0.0)
    )
    out["glued_penalty"] = np.where(joint == "glued", base("penalty_glued_deep"), 0.0)
    return out


def _stresses(frame: pd.DataFrame, found: dict[str, Floats], settings: Settings) -> dict[str, Floats]:
    """What the combined check needs (checks._combined); 0 for plastics, which are judged by each stress alone."""
    metal = np.isin(frame["family_code"].to_numpy(), ["galvanised", "stainless"])
    yields, hds = _numbers(frame, "yield_mpa") * MEGA, _numbers(frame, "hds_mpa") * MEGA
    allowed = np.where(metal, settings.base("share_yield_steel") * yields, hds)
    threaded = (frame["joint_code"] == "threaded").to_numpy()
    net = np.where(threaded, found["area_root"], found["area_wall"])
    least = found["area_outside"] - found["area_wall"]  # bore with the least wall
    with np.errstate(divide="ignore"):
        pull, hoop = 1.0 / net, (net + 2.0 * least) / net  # Lame: (ro2 + ri2) / (ro2 - ri2)
    return {
        "stress_pull": np.where(metal, pull / allowed, 0.0), "stress_hoop": np.where(metal, hoop / allowed, 0.0),
        "stress_radial": np.where(metal, 1.0 / allowed, 0.0), "stress_allowed": allowed,
    }  # fmt: skip


def _scalars(settings: Settings, hand: bool) -> Floats:
    """Scalars of a run in the order of RUN."""
    base = settings.base
    rate, years = base("rate_discount"), base("horizon")
    hours = base("hours_pumping") / 3600.0
    energy = (
        DENSITY_COLD * GRAVITY / base("efficiency_wire_to_water") / KILO * hours * base("price_energy")
        * annuity_factor(rate, years)
    )  # fmt: skip
    values = {
        "velocity_limit": base("limit_velocity"), "velocity_most": base("limit_velocity_valve"),
        "friction_limit": base("limit_friction_share"), "lift_hand": base("lift_two"),
        "lift_roller": base("lift_roller"), "lift_winch": base("lift_winch"),
        "install_hand": base("cost_install_hand"), "install_roller": base("cost_install_roller"),
        "install_winch": base("cost_install_winch"), "install_hoist": base("cost_install_hoist"),
        "pulls": float(renewals_factor(base("interval_pull"), rate, years)), "energy": 0.0 if hand else energy,
        "penalty_splice": base("penalty_splice"), "depth_glued": base("depth_glued_joint"),
        "penalty_band": base("penalty_band"), "penalty_chemistry": base("penalty_chemistry"),
        "penalty_dead_head": base("penalty_dead_head"),
        "penalty_soft": base("penalty_soft"), "share_acid": base("share_corrosive_unknown"),
        "make_up": base("length_coil_make_up"),
    }  # fmt: skip
    return np.array([values[name] for name in RUN])


def market(
    code: str, hand: bool, settings: Settings, goods: Catalogue, bars: dict[str, str] | None = None
) -> Market:
    """Options of one market as the kernel reads them, less those that a rule of the place ``bars``.

    Raises
    ------
    SchemaError
        Where constants are missing, or the rules leave no option.
    """
    whole = _joined()
    of_market = whole["market_code"] == code
    bars = {name: bars[name] for name in whole.loc[of_market, "option_id"] if name in bars} if bars else {}
    chosen = of_market & ~whole["option_id"].isin(bars)
    if not chosen.any():
        raise SchemaError(f"Rules of the place leave no option of market '{code}': {sorted(set(bars.values()))}.")
    index = np.flatnonzero(chosen).astype(np.int64)
    frame = whole[chosen].reset_index(drop=True)
    found = _formulas(frame, settings)
    bore = _numbers(frame, "diameter_inside_mm") * MILLI
    relative = _numbers(frame, "roughness_mm") * MILLI / bore
    cost = costs(settings, goods, frame["option_id"], hand)
    stick = np.where(frame["coil_lengths_m"] == "", _numbers(frame, "piece_length_m"), 0.0)
    coils = goods.coils_m[chosen.to_numpy()]
    width = _numbers(frame, "coupling_outside_mm") * MILLI
    values: dict[str, Floats] = {
        "velocity_per_flow": found["velocity"],
        "reynolds_per_ratio": found["velocity"] * bore,
        "loss_per_flow2": found["loss"],
        "area_bore": found["area_bore"],
        "area_outside": found["area_outside"],
        "weight": _numbers(frame, "mass_kg_per_m") * GRAVITY,
        "wave_speed": found["wave_speed"],
        "width": width + (0.0 if hand else settings.base("width_cable_guard")),
        "coil_longest": np.where(np.isfinite(coils), coils, -np.inf).max(axis=1),
        "piece": np.where(stick > 0.0, stick, np.inf),
        "stick": stick,
        "turbulent_4000": found["turbulent_4000"],
        **_strength(frame, found, settings), **_limits(frame, settings),
        **_stresses(frame, found, settings), **_price(frame, settings, cost, hand),
    }  # fmt: skip
    values["coil_longest"] = np.where(values["coil_longest"] > 0.0, values["coil_longest"], np.inf)
    constants = np.ascontiguousarray(np.stack([values[name] for name in OPTION]))
    bad = [name for name in OPTION if np.isnan(constants[O[name]]).any()]
    if bad:
        raise SchemaError(f"options.csv and materials.csv leave {bad} without a number for some option of '{code}'.")
    ratio = np.exp(X_LOW + STEP * np.arange(ROWS))[:, None]
    reynolds = np.maximum(ratio * values["reynolds_per_ratio"][None, :], 500.0)
    table = turbulent_factors(reynolds, relative)
    ids = tuple(dict.fromkeys(frame["material_id"]))
    with np.errstate(divide="ignore"):
        inverse = 1.0 / constants
    return Market(
        frame, index, constants, inverse, coils, table,
        np.array([ids.index(name) for name in frame["material_id"]], np.int64),
        np.array([FAMILIES.index(name) for name in frame["family_code"]], np.int64),
        np.unique(frame["family_code"] + "/" + frame["nominal_size"], return_inverse=True)[1].astype(np.int64),
        ids, _scalars(settings, hand), cost.is_priced, cost.large_cable, bars,
    )  # fmt: skip


def temperature_factors(group: Market, temperature_degc: Floats) -> Floats:
    """Temperature factor of each material of a market at each well. [1]

    Returns
    -------
    ndarray (n, materials)
    """
    stuff = {row["material_id"]: row for row in schema.rows("materials")}
    table = pd.DataFrame(schema.rows("temperature_factors"))
    out = np.ones((len(temperature_degc), len(group.material_ids)))
    for place, name in enumerate(group.material_ids):
        row = stuff[name]
        if row["temperature_rule"] == "hdb":
            out[:, place] = warmth_by_design_basis(
                temperature_degc, float(row["temperature_hdb_degc"]), float(row["temperature_hdb_hot_degc"]),
                float(row["hdb_mpa"]), float(row["hdb_hot_mpa"]), float(row["temperature_max_degc"]),
            )  # fmt: skip
        elif row["temperature_rule"] == "table":
            rows = table[table["material_id"] == name]
            out[:, place] = factor_table(
                temperature_degc, _numbers(rows, "temperature_degc"), _numbers(rows, "factor")
            )
    return out
