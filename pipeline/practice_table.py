"""Practice against physics: where the common head bands agree with the calculation, where not, and why.

A band is a rule of thumb on total dynamic head (band_head_* in practice.csv: common practice, no source). The
calculation is the one a run makes: every option on the market in a well of each head and flow, all its checks.
One row a family, joint, case, head and flow.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pipeline import schema
from pipeline.design_point import design, learn
from pipeline.errors import UsageError
from pipeline.materials import catalogue
from pipeline.settings import Settings
from pipeline.sizing.choose import groups, sheets
from pipeline.sizing.constants import temperature_factors
from pipeline.sizing.inputs import matrix
from pipeline.sizing.layout import CHECKS, O, W
from pipeline.sizing.tables import stops
from pipeline.units import convert

HEADS_FT = (100, 150, 200, 250, 300, 400, 500, 600, 750, 1000)
FLOWS_GPM = (5, 10, 20, 40)
# water of each case, and whether the pump's shutoff head is on record (then it can stop an option)
CASES = (("cold", 60.0, False), ("warm", 90.0, False), ("shutoff recorded", 60.0, True))
DELIVERY_PSI = 60.0  # of the head, what the tank takes; the rest is lift
SUBMERGENCE_FT, CLEARANCE_FT, CASING_IN = 20.0, 20.0, 8.0
PRESSURES = ("pressure_running", "pressure_surge", "pressure_dead_head")


def _grid(market: str, settings: Settings) -> pd.DataFrame:
    """Wells of the table: one a case, head and flow, the whole head given."""
    cases = pd.DataFrame([
        {"case": case, "degf": degf, "recorded": recorded, "head_ft": head, "flow_gpm": flow}
        for case, degf, recorded in CASES for head in HEADS_FT for flow in FLOWS_GPM
    ])  # fmt: skip
    names = [column.field.name for column in schema.table("wells")]
    wells = pd.DataFrame(index=cases.index).reindex(columns=names)
    for column in schema.table("wells"):
        if column.field.type in ("number", "integer"):
            wells[column.field.name] = wells[column.field.name].astype(float)
    head = convert(cases["head_ft"], "ft", "m")
    # the lift that such a head comes from; a low head is all lift to a fifth
    level = np.maximum(head - convert(DELIVERY_PSI, "psi", "Pa") / 9806.65, head / 5.0)
    pump = level + convert(SUBMERGENCE_FT, "ft", "m")
    values: dict[str, Any] = {
        "source_id": "given", "source_file": "given", "source_table": "given", "use_code": "domestic",
        "market_code": market, "weight_inclusion_fraction": 1.0, "pump_kind_code": "submersible",
        "well_id": [f"case {n}" for n in cases.index], "head_total_dynamic_m": head, "depth_static_m": level,
        "depth_pumping_m": level, "depth_pump_m": pump, "depth_completed_m": pump + convert(CLEARANCE_FT, "ft", "m"),
        "flow_duty_m3_per_s": convert(cases["flow_gpm"], "gpm", "m**3/s"),
        "pressure_cutout_pa": convert(DELIVERY_PSI, "psi", "Pa"), "acidity_ph": 7.5,
        "diameter_casing_inside_m": convert(CASING_IN, "in", "m"),
        "temperature_water_degc": convert(cases["degf"], "degF", "degC"),
        "head_shutoff_m": np.where(cases["recorded"], settings.base("ratio_shutoff") * head, np.nan),
    }  # fmt: skip
    for name, value in values.items():
        wells[name] = value
    return wells.assign(**{f"_{name}": cases[name] for name in ("case", "head_ft", "flow_gpm")})


def _cause(check: str, need: float, have: float, warmth: float, joint: float) -> str:
    """Why a check ends an option: the thread or the warmth where the pipe would pass without it, else the check."""
    if check not in PRESSURES:
        return check
    if warmth < 1.0 and need * warmth <= have:
        return "temperature"
    if joint < 1.0 and need * joint <= have:
        return "threading"
    if warmth < 1.0 and joint < 1.0 and need * warmth * joint <= have:
        return "threading and temperature"
    return check


def table(market: str = "us", settings: Settings | None = None) -> list[dict[str, Any]]:
    """Bands against the calculation over head, flow, family and joint.

    Parameters
    ----------
    market : str
        ``us`` or ``metric``.
    settings : Settings, optional

    Returns
    -------
    list of dict
        case, family, joint, band_head_m (None: no band), head_m, flow_m3_per_s, within_band, passes, agrees;
        where nothing passes: check and cause that end the option which comes nearest, its need, limit (SI of
        the check) and utilisation, and option_id; where something passes, the option used least.

    Raises
    ------
    UsageError
        When the market is not declared.
    """
    if market not in schema.codes("market"):
        raise UsageError(f"Market '{market}' is not known; known: {', '.join(schema.codes('market'))}.")
    settings = settings or Settings(draws=0)
    wells = _grid(market, settings)
    marks = wells[["_case", "_head_ft", "_flow_gpm"]].reset_index(drop=True)
    wells = wells.drop(columns=list(marks.columns))
    points = design(wells, settings, learn(wells, settings)).reset_index(drop=True)
    rows: list[pd.DataFrame] = []
    for group, places in groups(points, settings, catalogue(settings)):
        here = points.iloc[places]
        m, n = len(group.index), len(here)
        inputs = np.repeat(matrix(here, settings), m, axis=0)
        warmth = temperature_factors(group, inputs[:, W["temperature"]])
        chosen = np.tile(np.arange(m), n)
        found = sheets(group, inputs, chosen, warmth)
        recorded = np.repeat(here["head_shutoff_is_recorded"].to_numpy(bool), m)
        stopped = stops(found.use, recorded)
        use = np.where(np.isnan(found.use) | ~_counted(recorded), -np.inf, found.use)
        worst = use.argmax(axis=1)
        each = np.arange(n * m)
        option = group.frame
        factor = settings.base("factor_thread_pvc")
        threaded_pvc = ((option["family_code"] == "pvc") & (option["joint_code"] == "threaded")).to_numpy()
        frame = pd.DataFrame({
            "place": np.repeat(places, m), "family": option["family_code"].to_numpy()[chosen],
            "joint": option["joint_code"].to_numpy()[chosen], "option_id": option["option_id"].to_numpy()[chosen],
            "passes": ~stopped.any(axis=1), "utilisation": use[each, worst], "check": np.array(CHECKS)[worst],
            "need": found.need[each, worst], "have": found.have[each, worst],
            "warmth": warmth[each, group.materials[chosen]], "thread": np.where(threaded_pvc, factor, 1.0)[chosen],
            "band": group.constants[O["band_head"], chosen],
        })  # fmt: skip
        rows.append(frame)
    whole = pd.concat(rows, ignore_index=True)
    # of each family and joint, the option that stands best: one that passes, else the nearest to passing
    whole = whole.sort_values(["place", "family", "joint", "passes", "utilisation"],
                              ascending=[True, True, True, False, True], kind="stable")  # fmt: skip
    best = whole.groupby(["place", "family", "joint"], sort=False).head(1)
    best = best.merge(marks, left_on="place", right_index=True)
    best["head_m"] = convert(best["_head_ft"], "ft", "m")
    best["within"] = best["head_m"].to_numpy() <= best["band"].to_numpy() * (1 + 1e-9)
    order = {name: n for n, name in enumerate(schema.codes("family"))}
    best = best.assign(_family=best["family"].map(order)).sort_values(
        ["_family", "joint", "place"], kind="stable"
    )
    return [
        {
            "case": row["_case"], "family": row["family"], "joint": row["joint"],
            "band_head_m": float(row["band"]) if np.isfinite(row["band"]) else None, "head_m": float(row["head_m"]),
            "flow_m3_per_s": float(convert(row["_flow_gpm"], "gpm", "m**3/s")), "within_band": bool(row["within"]),
            "passes": bool(row["passes"]), "agrees": bool(row["within"]) == bool(row["passes"]),
            "check": None if row["passes"] else row["check"],
            "cause": None if row["passes"] else _cause(
                row["check"], row["need"], row["have"], row["warmth"], row["thread"]),
            "need": float(row["need"]), "have": float(row["have"]), "utilisation": float(row["utilisation"]),
            "option_id": row["option_id"],
        }
        for row in best.to_dict("records")
    ]  # fmt: skip


def _counted(recorded: np.ndarray) -> np.ndarray:
    """Checks that can stop an option (n, checks): judgement never, dead-head only on a recorded shutoff head."""
    return stops(np.full((len(recorded), len(CHECKS)), np.inf), recorded)


def excerpt(rows: list[dict[str, Any]]) -> str:
    """The rows of 10 gpm, cold and warm, as a table of Markdown for the guide."""
    shown = [row for row in lines(rows) if row["flow"] == "10 gpm" and row["case"] != "shutoff recorded"]
    heads = [name for name in shown[0] if name not in ("flow",)]
    body = ["| " + " | ".join(row[name] for name in heads) + " |" for row in shown]
    return "\n".join(["| " + " | ".join(heads) + " |", "|" + " --- |" * len(heads), *body])


def lines(rows: list[dict[str, Any]], units: str = "us") -> list[dict[str, str]]:
    """The table for people: a row a family, joint, case and flow; a column a head.

    A cell says ``yes`` or ``no`` with what ends the family, by the calculation; ``past its band`` and ``within its
    band`` mark where the band says otherwise.
    """
    foot, gallon = float(convert(1.0, "ft", "m")), float(convert(1.0, "gpm", "m**3/s"))
    metric = units == "metric"
    out: dict[tuple[str, ...], dict[str, str]] = {}
    for row in rows:
        flow = f"{row['flow_m3_per_s'] * 60000:.0f} L/min" if metric else f"{row['flow_m3_per_s'] / gallon:.0f} gpm"
        head = f"{row['head_m']:.0f} m" if metric else f"{row['head_m'] / foot:.0f} ft"
        band = row["band_head_m"]
        named = "none" if band is None else f"{band:.0f} m" if metric else f"{band / foot:.0f} ft"
        key = (row["family"], row["joint"], row["case"], flow)
        line = out.setdefault(
            key, {"family": key[0], "joint": key[1], "case": key[2], "flow": flow, "band": named}
        )
        if row["passes"]:
            line[head] = "yes" if row["agrees"] else "yes, past its band"
        else:
            cause = str(row["cause"]).replace("_", " ")
            line[head] = f"no: {cause}" if row["agrees"] else f"no within its band: {cause}"
    return list(out.values())
