"""Choices over a grid of head, flow, use, water and casing, held against the head bands that the trade speaks of.

    python tests/benchmarks/grid.py [--market us] [--csv FILE]

Prints the share of cells where the choice agrees with common practice, one sentence with its count for every kind of
disagreement, and one for every reason why a cell has no pipe. Wells are invented. Practice has no source: polyethylene
to 300 ft of head, PVC to 750 ft, cross-linked polyethylene to 200 ft, steel beyond or for large flows; no galvanised
steel in acid or salty water; no coil under a hand pump.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
import pandas as pd

if __name__ == "__main__":
    sys.path[:0] = [str(Path(__file__).resolve().parents[2])]

import pipeline
from pipeline import schema
from pipeline.settings import Settings
from pipeline.units import convert

HEADS_FT = (40, 80, 150, 200, 250, 300, 450, 600, 750, 1000)
FLOWS_GPM = (3, 5, 10, 20, 40, 60, 100, 150, 250, 400)
USES = ("domestic", "stock", "irrigation", "public_supply", "village")
# pH, chloride in mg/L, temperature in degF
WATERS = {"neutral": (7.4, 20, 58), "acid": (5.8, 20, 58), "salty": (7.4, 700, 58), "acid and salty": (5.8, 700, 58),
          "warm": (7.4, 20, 100)}  # fmt: skip
BORES_IN = (4.026, 10.02)
HAND_GPM = 5  # a hand pump gives no more; common practice, no source
HEAVY_GPM = 60  # past this the trade hangs steel or large threaded plastic; common practice, no source
SENTENCES = {
    "pe_past_band": "Polyethylene is chosen past its band of head.",
    "pvc_past_band": "PVC is chosen past its band of head.",
    "pex_past_band": "Cross-linked polyethylene is chosen past its band of head.",
    "steel_within_plastic": "Steel is chosen at a head and flow where the trade hangs plastic.",
    "galvanised_acid": "Galvanised steel is chosen in acid water.",
    "galvanised_salty": "Galvanised steel is chosen in salty water.",
    "coil_hand_pump": "Coil is chosen under a hand pump.",
    "stainless_neutral": "Stainless steel is chosen in water that galvanised steel bears.",
}


def cells() -> pd.DataFrame:
    """The grid: one row a cell."""
    index = pd.MultiIndex.from_product(
        [HEADS_FT, FLOWS_GPM, USES, WATERS, BORES_IN], names=["head_ft", "flow_gpm", "use", "water", "bore_in"]
    )
    return index.to_frame(index=False)


def wells(grid: pd.DataFrame, market: str = "us") -> pd.DataFrame:
    """Invented wells of the cells: head given, level where such a head comes from, bottom well below the pump."""
    head = convert(grid["head_ft"].to_numpy(float), "ft", "m")
    pressed = grid["use"].isin(["domestic", "public_supply"]).to_numpy()
    delivery = np.where(pressed, float(convert(50.0, "psi", "Pa")) / 9806.65, 0.0)
    level = np.maximum(head - delivery, head / 5.0)
    water = pd.DataFrame([WATERS[name] for name in grid["water"]], columns=["ph", "chloride", "degf"])
    hand = ((grid["use"] == "village") & (grid["flow_gpm"] <= HAND_GPM)).to_numpy()
    return pd.DataFrame({
        "well_id": [f"cell {n}" for n in range(len(grid))], "market_code": market, "use_code": grid["use"],
        "pump_kind_code": np.where(hand, "hand", "submersible"), "head_total_dynamic_m": head,
        "depth_static_m": np.maximum(level - 3.0, 1.0), "depth_pumping_m": level, "depth_pump_m": level + 6.0,
        "depth_completed_m": level + 20.0, "flow_duty_m3_per_s": convert(grid["flow_gpm"].to_numpy(float), "gpm", "m**3/s"),
        "flow_tested_m3_per_s": convert(grid["flow_gpm"].to_numpy(float) * 1.5, "gpm", "m**3/s"),
        "diameter_casing_inside_m": convert(grid["bore_in"].to_numpy(float), "in", "m"),
        "acidity_ph": water["ph"], "chloride_mg_per_l": water["chloride"].astype(float),
        "temperature_water_degc": convert(water["degf"].to_numpy(float), "degF", "degC"),
        "pressure_cutout_pa": np.where(pressed, float(convert(50.0, "psi", "Pa")), 0.0),
    })  # fmt: skip


def disagreement(grid: pd.DataFrame, choice: pd.DataFrame, settings: Settings) -> pd.Series:
    """Kind of disagreement of each cell, empty where practice and choice agree; missing where no pipe is chosen."""
    head = choice["head_total_dynamic_m"].to_numpy(float)
    family = choice["family_code"].astype(object).fillna("").to_numpy(dtype=object)
    hand = ((grid["use"] == "village") & (grid["flow_gpm"] <= HAND_GPM)).to_numpy()
    acid, salty = (grid["water"].str.contains(w).to_numpy() for w in ("acid", "salty"))
    steel = np.isin(family, ["galvanised", "stainless"])
    within = (head <= settings.base("band_head_pvc")) & (grid["flow_gpm"] <= HEAVY_GPM).to_numpy()
    kinds = {
        "coil_hand_pump": hand & np.isin(family, ["pe", "pex"]),
        "galvanised_acid": (family == "galvanised") & acid,
        "galvanised_salty": (family == "galvanised") & salty,
        **{f"{name}_past_band": (family == name) & (head > settings.base(f"band_head_{name}"))
           for name in ("pe", "pvc", "pex")},
        "steel_within_plastic": steel & within,
        "stainless_neutral": (family == "stainless") & (grid["water"] == "neutral").to_numpy(),
    }  # fmt: skip
    out = pd.Series(np.select(list(kinds.values()), list(kinds), ""), index=grid.index, dtype=object)
    return out.where(family != "", None)


def unanswered(choice: pd.DataFrame, not_chosen: pd.DataFrame) -> pd.Series:
    """Why each cell without a pipe has none: its outcome, and the check that stops most families; empty: no reason."""
    titles = {row["check_code"]: row["title"].lower() for row in schema.rows("checks")}
    none = choice["option_id"].isna()
    why = choice.loc[none, "outcome_code"].astype(object).fillna("").astype(str)
    rows = not_chosen[not_chosen["well_id"].isin(choice.loc[none, "well_id"])]
    told = rows[rows["check_code"].notna()].groupby("well_id")["check_code"].agg(lambda c: c.value_counts().index[0])
    check = choice.loc[none, "well_id"].map(told).map(titles)
    passes = why == "none_passes"
    return why.where(~passes, "no pipe passes: " + check.fillna(""))


def sized(grid: pd.DataFrame, market: str = "us") -> dict[str, pd.DataFrame]:
    """Tables of the cells."""
    return pipeline.size(wells(grid, market), Settings(draws=0))


def main() -> None:
    """Print the shares and the sentences."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--market", default="us", choices=["us", "metric"])
    asked.add_argument("--csv", type=Path, help="write every cell with its choice")
    given = asked.parse_args()
    grid = cells()
    found = sized(grid, given.market)
    choice = found["selection"].reset_index(drop=True)
    kind = disagreement(grid, choice, Settings())
    none = unanswered(choice, found["not_chosen"])
    whole, answered = len(grid), int(kind.notna().sum())
    agree = int((kind == "").sum())
    print(f"{whole:,} cells; {answered:,} with a pipe, {len(none):,} without, "
          f"{int((none.str.strip().str.rstrip(':') == '').sum())} of these without a reason")  # fmt: skip
    print(f"choice and practice agree in {agree:,} of {answered:,} cells with a pipe ({agree / answered:.1%})")
    for name, count in kind[kind.notna() & (kind != "")].value_counts().items():
        where = grid[kind == name].assign(option=choice["option_id"], governs=choice["governs_check_code"])
        spans = f"{where['head_ft'].min()}-{where['head_ft'].max()} ft, {where['flow_gpm'].min()}-{where['flow_gpm'].max()} gpm"
        waters = ", ".join(f"{w} {n}" for w, n in where["water"].value_counts().items())
        print(f"  {count:>5,}  {SENTENCES[str(name)]} ({spans}; {waters}; most often {where['option'].mode()[0]})")
    print("without a pipe:")
    for text, count in none.value_counts().items():
        where = grid.loc[none.index[none == text]]
        spans = f"{where['head_ft'].min()}-{where['head_ft'].max()} ft, {where['flow_gpm'].min()}-{where['flow_gpm'].max()} gpm"
        bores = ", ".join(f"{b} in {n}" for b, n in where["bore_in"].value_counts().items())
        print(f"  {count:>5,}  {text} ({spans}; {bores})")
    print("families:", ", ".join(f"{f} {n:,}" for f, n in choice["family_code"].value_counts().items()))
    if given.csv:
        columns = ["outcome_code", "option_id", "head_total_dynamic_m", "governs_check_code", "utilisation_max_fraction"]
        grid.join(choice[columns]).assign(disagreement=kind).to_csv(given.csv, index=False)


if __name__ == "__main__":
    main()
