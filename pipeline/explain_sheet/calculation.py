"""The calculation of one well and its pipe, line by line: formula, inputs, result, source.

The numbers are those of the engine; a line stands on the sheet only where its formula, worked out from its
inputs, gives the engine's own result. What the engine took another way (an estimate, a limit) is an input with
its basis. Lines are declared in ``sheet_lines.csv``, symbols in ``sheet_symbols.csv``.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from pipeline import schema
from pipeline.design_point.head import DELIVERY, DENSITY
from pipeline.explain_sheet.formula import evaluate, names
from pipeline.materials import catalogue
from pipeline.physics.pressure import MILL_TOLERANCE
from pipeline.physics.water import BULK_MODULUS_PA, GRAVITY
from pipeline.settings import Settings
from pipeline.sizing.choose import groups
from pipeline.sizing.constants import temperature_factors
from pipeline.sizing.formulas import DENSITY_COLD
from pipeline.sizing.inputs import matrix
from pipeline.sizing.layout import O, W

Record = dict[str, Any]
CLOSE = 1e-6  # of the engine's result; friction is interpolated to better than this
# symbol: column of the table design, whose basis is then the source
OF_DESIGN = {
    "D": "depth_completed_m", "SWL": "depth_static_m", "SC": "specific_capacity_m2_per_s", "Q": "flow_duty_m3_per_s",
    "PWL": "depth_pumping_m", "Z_max": "depth_setting_max_m", "Z": "depth_pump_m", "z_d": "depth_discharge_m",
    "L": "length_drop_pipe_m", "H_0": "head_before_friction_m", "p_out": "pressure_cutout_pa",
    "L_c": "length_cable_m",
}  # fmt: skip
OF_PRACTICE = {
    "F_d": "fall_drought", "S_w": "submergence", "c_b": "clearance_bottom", "k_b": "share_clearance_shallow",
    "h_m": "loss_minor", "r_so": "ratio_shutoff", "k_h": "share_hdb_hours", "k_y": "share_yield_steel",
    "k_p": "factor_pulling_pvc", "k_c": "slack_cable_pe", "c_c": "length_cable_head",
}  # fmt: skip
OF_KERNEL = {
    "nu": "viscosity", "gamma": "gamma", "w_c": "weight_cable_per_m", "A_c": "area_cable", "W_p": "weight_pump",
    "V_p": "volume_pump",
}  # fmt: skip
# symbol: check whose need or limit it is, so that it must agree
OF_CHECK = {
    "p": ("pressure_running", "need"), "p_a": ("pressure_running", "have"), "p_s": ("pressure_surge", "need"),
    "p_sa": ("pressure_surge", "have"), "p_d": ("pressure_dead_head", "need"),
    "p_da": ("pressure_dead_head", "have"), "T": ("tension_sustained", "need"),
    "T_a": ("tension_sustained", "have"), "T_p": ("tension_pulling", "need"), "T_pa": ("tension_pulling", "have"),
}  # fmt: skip
OF_QUANTITY = {"v": "velocity", "h_f": "friction", "H": "total"}
ALLOWANCES = {"pe": "allowance_surge_pe", "pex": "allowance_surge_pex", "pvc": "allowance_surge_pvc"}


def _number(value: Any) -> float:
    try:
        return float(value)
    except (TypeError, ValueError):
        return math.nan


def _pipe(row: pd.Series, settings: Settings) -> dict[str, tuple[float, str]]:
    """Numbers of an option and its material, by symbol, with their reference."""
    milli, mega = 1e-3, 1e6
    shape, stuff = f"option: {row['reference_id']}", f"material {row['material_id']}"
    family, joint = row["family_code"], row["joint_code"]
    modulus = row["modulus_dynamic_mpa"] or row["modulus_short_mpa"]
    root = _number(row["diameter_root_mm"])
    outside, wall = _number(row["diameter_outside_mm"]) * milli, _number(row["wall_min_mm"]) * milli
    thread = joint == "threaded" and not math.isnan(root)
    out = {
        "d": (_number(row["diameter_inside_mm"]) * milli, shape), "OD": (outside, shape), "t": (wall, shape),
        "k_r": (_number(row["roughness_mm"]) * milli, stuff), "PR": (_number(row["rating_kpa"]) * 1e3, shape),
        "E": (_number(modulus) * mega, stuff), "nu_p": (_number(row["poisson_short"]), stuff),
        "HDB": (_number(row["hdb_mpa"]) * mega, stuff), "HDS": (_number(row["hds_mpa"]) * mega, stuff),
        "S_a": (_number(row["stress_allow_mpa"]) * mega, stuff), "S_y": (_number(row["yield_mpa"]) * mega, stuff),
        "S_u": (_number(row["strength_short_mpa"]) * mega, stuff),
        "h_t": (_number(row["thread_height_mm"]) * milli, "threads.csv"), "k_m": (MILL_TOLERANCE, "asme_b31"),
        "d_n": (root * milli, "threads.csv") if thread else (outside, shape),
        "w": (_number(row["mass_kg_per_m"]) * GRAVITY, f"{shape}, times g"),
    }  # fmt: skip
    halved = family == "pvc" and thread
    out["k_g"] = (settings.base("factor_thread_pvc") if joint == "glued" else 1.0, "glued socket, else 1")
    # a thread counts for pressure, by its root for pull; a glued socket counts for pull
    factor = (settings.base("factor_thread_pvc"), "practice: factor_thread_pvc")
    out["k_j"] = factor if halved else (1.0, "no thread cut")
    name = ALLOWANCES.get(family)
    if family == "pvc" and joint == "threaded":
        out["k_s"] = (settings.practice["allowance_surge_pvc_threaded"].high, "practice: allowance_surge_pvc_threaded")
    else:
        out["k_s"] = (settings.base(name), f"practice: {name}") if name else (1.0, "none for steel")
    dead = {"pvc": "allowance_dead_head_pvc", "pex": "allowance_dead_head_pex"}.get(family)
    out["k_d"] = (settings.base(dead), f"practice: {dead}") if dead else (1.0, "none for steel")
    return out


def _well(well: Record, point: Record, inputs: np.ndarray, settings: Settings) -> dict[str, tuple[float, str]]:
    """Numbers of a well by symbol, with how each is known."""
    basis = schema.codes("basis")
    out: dict[str, tuple[float, str]] = {
        "g": (GRAVITY, "standard gravity"), "gamma_c": (DENSITY * GRAVITY, "water near 10 degC"),
        "rho_c": (DENSITY_COLD, "cold water"), "K": (BULK_MODULUS_PA, "joukowsky"),
    }  # fmt: skip
    for symbol, column in OF_DESIGN.items():
        code = point.get(f"{schema.stem(column)}_basis_code")
        source = basis.get(code or "", "worked out")
        if symbol == "p_out":
            source = basis["recorded" if well.get("pressure_cutout_pa") is not None else "assumed"]
        out[symbol] = (_number(point.get(column)), source)
    for symbol, name in OF_PRACTICE.items():
        out[symbol] = (settings.base(name), f"practice: {name}")
    water = f"water at {_number(point['temperature_water_degc']):.1f} degC"
    for symbol, name in OF_KERNEL.items():
        out[symbol] = (float(inputs[W[name]]), water if symbol in ("nu", "gamma") else "pump and cable")
    rise = well.get("head_rise_m")
    use = "hand" if point["pump_kind_code"] == "hand" else point["use_code"]
    height = DELIVERY.get(use, DELIVERY["unknown"])[1]
    default = (settings.base(height), f"practice: {height}") if height else (0.0, "at ground")
    out["H_r"] = (_number(rise), basis["recorded"]) if rise is not None else default
    out["Q_t"] = (_number(well.get("flow_tested_m3_per_s")), basis["recorded"])
    fall = _number(well.get("drawdown_test_m"))
    if math.isnan(fall):
        fall = _number(well.get("depth_pumping_m")) - _number(well.get("depth_static_m"))
    out["s_t"] = (fall, basis["recorded"])
    if point.get("head_shutoff_is_recorded"):
        out["H_so"] = (_number(point["head_shutoff_m"]), basis["recorded"])
        del out["r_so"]
    if not out["L"][0] > out["PWL"][0] - out["z_d"][0]:
        out["V_p"] = (0.0, "pump clear of the water")
    return out


def lines(well: Record, design: pd.DataFrame, chosen: Record | None, settings: Settings) -> list[Record]:
    """Calculation of one well with the option given.

    Parameters
    ----------
    well : dict
        Row of the table ``wells``.
    design : DataFrame
        Its one row of the table ``design``.
    chosen : dict, optional
        The option's entry of ``sizing.option_sheets``; without it only the design point is shown.

    Returns
    -------
    list of dict
        line_id, number, symbol, title, formula, inputs (symbol, words, value, unit, source), value, unit,
        check_code, reference_id; SI throughout.
    """
    point = {str(k): v for k, v in design.iloc[0].to_dict().items()}
    inputs = matrix(design, settings)[0]
    known = _well(well, point, inputs, settings)
    must = {symbol: value for symbol, (value, _) in known.items()}
    checks: dict[str, Record] = {}
    if chosen is not None:
        checks = {check["check"]: check for check in chosen["checks"]}
        group, _ = groups(design, settings, catalogue(settings))[0]
        place = int(np.flatnonzero((group.frame["option_id"] == chosen["option_id"]).to_numpy())[0])
        known |= _pipe(group.frame.iloc[place], settings)
        warmth = temperature_factors(group, inputs[None, W["temperature"]])[0, group.materials[place]]
        known["f_T"] = (float(warmth), "temperature_factors.csv")
        known["f_4000"] = (float(group.constants[O["turbulent_4000"], place]), "")
        for symbol, name in OF_QUANTITY.items():
            must[symbol] = _number(chosen["quantities"][name])
        for symbol, (check, side) in OF_CHECK.items():
            must[symbol] = _number(checks.get(check, {}).get(side))
        v, d = must["v"], known["d"][0]
        if v > 0:
            factor = must["h_f"] / (known["L"][0] / d * v * v / (2 * GRAVITY))
            known["f"], must["f"] = (factor, ""), factor
        for symbol, value in must.items():
            known.setdefault(symbol, (value, "worked out by the program"))
    return _work(known, must, checks, bool(point["head_is_given"]))


STEEL_ONLY = {
    "bore_least", "hoop_factor", "stress_allowed", "axial_pump", "stress_pump", "axial_hanger", "stress_hanger",
}  # fmt: skip


def _applies(line: str, values: dict[str, tuple[float, str]], given: bool) -> bool:
    """Lines that hold only for some kinds of flow or some kinds of record."""
    reynolds = values.get("Re", (math.nan, ""))[0]
    if line in STEEL_ONLY:
        return math.isfinite(values.get("S_a", (math.nan, ""))[0])
    if line.startswith("factor_"):
        kind = "laminar" if reynolds < 2000 else "between" if reynolds < 4000 else "turbulent"
        return line == f"factor_{kind}" or (line == "factor_4000" and kind == "between")
    return {"total": not given, "total_given": given, "head_before": not given}.get(line, True)


def _work(
    known: dict[str, tuple[float, str]], must: dict[str, float], checks: dict[str, Record], given: bool
) -> list[Record]:  # fmt: skip
    words = {row["symbol"]: row for row in schema.rows("sheet_symbols")}
    out: list[Record] = []
    done: set[str] = set()
    for row in schema.rows("sheet_lines"):
        symbol, formula, check = row["symbol"], row["formula"], row["check_code"]
        needs = names(formula)
        if symbol in done or not _applies(row["line_id"], known, given):
            continue
        if any(name not in known or not math.isfinite(known[name][0]) for name in needs):
            continue
        if check and (check not in checks or checks[check]["utilisation"] is None):
            continue
        try:
            value = evaluate(formula, {name: known[name][0] for name in needs})
        except (ZeroDivisionError, ValueError):
            continue
        wanted = checks[check]["utilisation"] if check else must.get(symbol, value)
        # what the engine leaves unknown is left so
        if not math.isclose(value, wanted, rel_tol=CLOSE, abs_tol=1e-9):
            continue
        number = len(out) + 1
        out.append({
            "line_id": row["line_id"], "number": number, "symbol": symbol, "title": words[symbol]["words"],
            "formula": formula, "value": value, "unit": words[symbol]["unit"], "check_code": check or None,
            "reference_id": row["reference_id"],
            "inputs": [{"symbol": name, "words": words[name]["words"], "value": known[name][0],
                        "unit": words[name]["unit"], "source": known[name][1] or "solved"} for name in needs],
        })  # fmt: skip
        if not check:
            done.add(symbol)
            known[symbol] = (value, f"line {number}")
    return out
