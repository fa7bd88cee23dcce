"""The table ``install_plan``: loads, people or gear, disinfection and notes, worked out for all wells at once.

A plan to check on site: local code and the licensed contractor decide.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.install.notes import joined
from pipeline.materials import volume_bleach, volume_water
from pipeline.materials.lines import beside
from pipeline.physics.water import GRAVITY, density_kg_per_m3
from pipeline.settings import Settings

KEY = ["source_id", "well_id"]
_LOADS = ("mass_lowered_kg", "load_pulling_n", "mass_piece_kg")
_DESIGN = ["depth_static_m", "depth_discharge_m", "depth_completed_m", "diameter_casing_inside_m",
           "temperature_water_degc", "pump_kind_code", "is_flowing",
           "power_motor_w", "depth_pump_m"]  # fmt: skip
_WELLS = ["distance_power_line_m", "depth_frost_m", "material_drop_pipe_code", "completed_date", "pump_installed_date"]
_GEAR = ("winch", "hoist")
_MILLI = 1e-3
_DAYS_PER_YEAR = 365.25

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@cache
def _options() -> pd.DataFrame:
    """Options by id with what a plan asks of them."""
    rows = pd.DataFrame(schema.rows("options")).set_index("option_id")
    bore = pd.to_numeric(rows["diameter_inside_mm"]).to_numpy(float) * _MILLI
    return pd.DataFrame(
        {"bore_m": bore, "is_coil": rows["coil_lengths_m"] != "", "joint": rows["joint_code"],
         "family": rows["family_code"]}, index=rows.index,
    )  # fmt: skip


def _numbers(frame: pd.DataFrame, name: str) -> Floats:
    return pd.to_numeric(frame[name], errors="coerce").to_numpy(float, na_value=np.nan)


def _is(frame: pd.DataFrame, name: str, *codes: object) -> Flags:
    """Where a column holds one of the codes; missing is none of them."""
    return frame[name].astype(object).isin(codes).to_numpy(bool)


def _people(mass_kg: Floats, ideal_kg: float) -> Floats:
    """People among whom a load is an ideal lift each; NaN where the load is not known. A hair past is forgiven."""
    return np.ceil(mass_kg / ideal_kg - 1e-9)


def _mass_rods(depth_pump_m: Floats, hand: Flags, settings: Settings) -> Floats:
    """Mass of the rods of hand pumps, 0 for other pumps. [kg]"""
    each = next(float(row["mass_kg_each"]) for row in schema.rows("items") if row["item_id"] == "pump_rod")
    return np.where(hand, np.ceil(depth_pump_m / settings.base("length_rod_hand") - 1e-6) * each, 0.0)


def _power_line(distance_m: Floats, raised: Flags, stop_m: float) -> NDArray[np.object_]:
    """Code of the power line: only a recorded distance past the limit is clear."""
    near = np.where(raised, "stop", "near")
    found = np.where(distance_m > stop_m + 1e-6, "clear", near)
    return np.where(np.isnan(distance_m), "not_judged", found).astype(object)


def _is_old(wells: pd.DataFrame, settings: Settings) -> Flags:
    """Galvanised string in the well that is past its age, or whose age is not known."""
    galvanised = _is(wells, "material_drop_pipe_code", "galvanised")
    if not galvanised.any():
        return galvanised
    pump, well = (pd.to_datetime(wells[name].astype(object), errors="coerce") for name in _WELLS[-2:][::-1])
    hung = pump.fillna(well)
    if not settings.as_of:
        return galvanised
    now = pd.Timestamp(settings.as_of)
    age = ((now - hung).dt.total_seconds() / 86400.0 / _DAYS_PER_YEAR).to_numpy(float)
    return galvanised & ~(age <= settings.base("age_galvanised"))


def plan(
    selection: pd.DataFrame, design: pd.DataFrame, settings: Settings, wells: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Install plan of every well with a recommended option.

    Parameters
    ----------
    selection, design : DataFrame
        Tables of those names, in any order of rows.
    wells : DataFrame, optional
        Table ``wells``; without it power lines and the string now in the well are not judged.

    Returns
    -------
    DataFrame
        Table ``install_plan`` in the order of ``selection``. Loads are those of ``selection``, and for hand pumps the
        rods beside, which ``load_pulling_n`` does not hold. A number is missing
        where what it needs is; the code of a power line is ``not_judged`` where no distance is recorded.
        Sources: lift of one person ``niosh_94_110``, power lines ``osha_1926_1407`` and ``osha_1926_1408``, dose
        ``ne_178_12_011``.
    """
    base = settings.base
    known = _options()
    place = known.index.get_indexer(pd.Index(selection["option_id"].astype(object)))
    chosen = selection[place >= 0].reset_index(drop=True)
    option = known.iloc[place[place >= 0]].reset_index(drop=True)
    points = beside(chosen, design, _DESIGN).reset_index(drop=True)
    bare = chosen[KEY] if wells is None else wells
    record = beside(chosen, bare, _WELLS).reset_index(drop=True)

    lowered, pulled, piece = (_numbers(chosen, name) for name in _LOADS)
    hand = _is(points, "pump_kind_code", "hand")
    rods = _mass_rods(_numbers(points, "depth_pump_m"), hand, settings)
    lowered, pulled = lowered + rods, pulled / GRAVITY + rods
    length, leaves = _numbers(chosen, "length_drop_pipe_m"), _numbers(points, "depth_discharge_m")
    stands = np.clip(_numbers(points, "depth_static_m") - leaves, 0.0, length)
    density = density_kg_per_m3(_numbers(points, "temperature_water_degc"))
    held = density * np.pi / 4 * np.square(option["bore_m"].to_numpy(float)) * stands
    gear = _is(chosen, "install_method_code", *_GEAR)
    roller = _is(chosen, "install_method_code", "hand_roller")
    least, lift = base("people_crew_least"), base("lift_person")
    crew = np.where(gear, _people(piece, lift), _people(pulled, lift))
    crew = np.where(roller, base("people_roller"), crew)
    crew = np.where(np.isnan(crew), np.nan, np.maximum(crew, least))
    distance = _numbers(record, "distance_power_line_m")
    frost, power = _numbers(record, "depth_frost_m"), _numbers(points, "power_motor_w")
    is_coil = option["is_coil"].to_numpy(bool)
    line = _power_line(distance, gear | ~is_coil, base("distance_power_line_stop"))
    water = volume_water(
        _numbers(points, "depth_completed_m"), _numbers(points, "depth_static_m"),
        _numbers(points, "diameter_casing_inside_m"),
    )  # fmt: skip
    dose = base("dose_disinfectant")
    joint, family = option["joint"], option["family"]
    threaded = (joint == "threaded").to_numpy(bool)
    notes = {
        "flowing": _is(chosen, "outcome_code", "flowing") | _is(points, "is_flowing", True),
        "power_line_stop": line == "stop", "power_line_near": line == "near",
        "power_line_unknown": line == "not_judged",
        "drain_back": leaves < frost - 1e-6, "frost_unknown": np.isnan(frost) & ~hand & ~(leaves > 0.0),
        "jet_goods": _is(points, "pump_kind_code", "jet"), "shaft_goods": _is(points, "pump_kind_code", "turbine"),
        "flowing_goods": _is(chosen, "outcome_code", "flowing") | _is(points, "is_flowing", True),
        "hand_goods": hand, "cable_gauge": ~hand & ~_is(points, "pump_kind_code", "turbine", "jet"),
        "gauge_unknown": ~hand & ~_is(points, "pump_kind_code", "turbine", "jet") & ~(power > 0.0),
        "solar_voltage": _is(points, "pump_kind_code", "solar"),
        "lock_out": ~hand, "lift_gear": gear, "lift_roller": roller,
        "lift_piece": ~(piece <= lift) & ~is_coil, "water_held": ~(held <= 0.0) & ~hand,
        "fishing_risk": _is_old(record, settings),
        "coil_straighten": is_coil, "coil_cold": is_coil,
        "glued_cure": (joint == "glued").to_numpy(bool),
        "thread_steel": threaded & (family == "galvanised").to_numpy(bool),
        "thread_stainless": threaded & (family == "stainless").to_numpy(bool),
        "thread_plastic": threaded & (family == "pvc").to_numpy(bool),
        "compression_hold": (joint == "compression").to_numpy(bool),
        "ties": ~hand & ~_is(points, "pump_kind_code", "turbine", "jet"),
        "rope": np.full(len(chosen), base("safety_rope") > 0.0) & ~hand,
        "hand_rods": hand, "disinfect": np.ones(len(chosen), bool),
        "dose_unknown": np.isnan(water), "local_code": np.ones(len(chosen), bool),
    }  # fmt: skip
    return pd.DataFrame(
        {
            **{name: chosen[name] for name in (*KEY, "option_id")},
            "joint_kind_code": joint,
            "install_method_code": chosen["install_method_code"],
            "mass_lowered_kg": lowered,
            "mass_lowered_full_kg": lowered + held,
            "mass_water_held_kg": held,
            "load_pulling_n": chosen["load_pulling_n"],
            "mass_pulled_full_kg": pulled,
            "mass_piece_kg": piece,
            "piece_count": chosen["piece_count"],
            "joint_count": chosen["joint_count"],
            "people_ideal_count": _whole(_people(pulled, lift)),
            "people_crew_count": _whole(crew),
            "distance_power_line_m": distance,
            "power_line_code": pd.Series(line, dtype="str"),
            "volume_disinfected_m3": water,
            "dose_chlorine_mg_per_l": np.where(np.isnan(water), np.nan, dose),
            "volume_bleach_ml": np.asarray(volume_bleach(water, dose, base("strength_bleach"))) * 1000.0,
            "install_note_codes": joined(notes, len(chosen)),
        }
    )


def _whole(values: Floats) -> pd.arrays.IntegerArray:
    """Whole numbers; NaN becomes missing."""
    gone = np.isnan(values)
    return pd.arrays.IntegerArray(np.where(gone, 0.0, values).astype(np.int64), gone)
