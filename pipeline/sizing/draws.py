"""Draws within the bands: how firm each choice is, and what each region takes in each draw.

In every draw each well has its own deviate and all wells of a region share one; random numbers are keyed on
seed, well or region, and draw, so that chunks, threads and file order change nothing.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import rng
from pipeline.materials import Catalogue, draw_rows, draw_sums
from pipeline.settings import Settings
from pipeline.sizing.choose import decide
from pipeline.sizing.constants import Market, temperature_factors
from pipeline.sizing.inputs import Floats, drawn
from pipeline.sizing.layout import W

STREAMS = ("level", "flow", "place")


def places(wells: pd.DataFrame) -> tuple[NDArray[np.int64], pd.DataFrame]:
    """Index of each well's region, and the regions: area_code, region_code and a key for random numbers."""
    text = wells[["area_code", "region_code"]].astype(object).where(wells[["area_code", "region_code"]].notna(), None)
    name = text["area_code"].fillna("").astype(str) + "\x1f" + text["region_code"].fillna("").astype(str)
    codes, first = np.unique(name.to_numpy(dtype=object).astype(str), return_index=True)
    index = np.searchsorted(codes, name.to_numpy(dtype=object).astype(str))
    found = text.iloc[first].reset_index(drop=True)
    return index.astype(np.int64), found.assign(key=rng.keys(list(codes)))


def deviates(settings: Settings, well_key: NDArray, region_key: NDArray, draw: int) -> dict[str, Floats]:
    """Standard normal deviates of one draw, the region's share mixed in."""
    share = settings.base("spread_regional")
    out = {}
    for stream in STREAMS:
        own = rng.normal(settings.seed, f"well/{stream}", well_key, draw)
        shared = rng.normal(settings.seed, f"region/{stream}", region_key, draw)
        out[stream] = np.sqrt(share) * shared + np.sqrt(1.0 - share) * own
    return out


def run_draws(
    design: pd.DataFrame, wells: pd.DataFrame, parts: list[tuple[Market, NDArray[np.int64], dict[str, Floats], NDArray]],
    settings: Settings, goods: Catalogue,
) -> tuple[Floats, Floats, pd.DataFrame]:  # fmt: skip
    """Share of draws that keep the choice and its family, and the goods of every draw by region.

    Parameters
    ----------
    parts : list
        For each group of wells: its market, its rows, its kernel inputs ("", "_low", "_high"), its choice.

    Returns
    -------
    share, family_share : ndarray (n), NaN where nothing was chosen
    rows : DataFrame, from materials.draw_rows
    """
    region, found = places(wells)
    well_key = rng.keys(list(wells["source_id"].astype(str) + "\x1f" + wells["well_id"].astype(str)))
    region_key = found["key"].to_numpy(np.uint64)
    situation = goods.situation(design["pump_kind_code"], design["use_code"])
    milli = np.rint(design["weight_inclusion_fraction"].to_numpy(float) * 1000.0).astype(np.int64)
    power = design["power_motor_w"].to_numpy(float)
    same, kin = np.zeros(len(design)), np.zeros(len(design))
    factors = [temperature_factors(group, inputs[""][:, W["temperature"]]) for group, _, inputs, _ in parts]
    rows = []
    for draw in range(settings.draws):
        option = np.full(len(design), -1, np.int64)
        length, depth = np.full(len(design), np.nan), np.full(len(design), np.nan)
        moved = deviates(settings, well_key, region_key[region], draw)
        for (group, here, inputs, chosen), warmth in zip(parts, factors, strict=True):
            values = drawn(inputs[""], inputs["_low"], inputs["_high"], {k: z[here] for k, z in moved.items()})
            picked = decide(group, values, warmth).chosen()
            option[here] = np.where(picked >= 0, group.index[np.maximum(picked, 0)], -1)
            length[here], depth[here] = values[:, W["length"]], values[:, W["depth_pump"]]
            same[here] += picked == chosen
            kin[here] += (picked >= 0) & (group.families[picked] == group.families[chosen])
        sums = draw_sums(region, option, length, depth, milli, situation, goods, len(found), power)
        rows.append(draw_rows(sums, found, draw, goods))
    for counted in (same, kin):
        counted /= settings.draws if settings.draws else np.nan
        for _, here, _, chosen in parts:
            counted[here] = np.where(chosen >= 0, counted[here], np.nan)
    return same, kin, pd.concat(rows, ignore_index=True) if rows else pd.DataFrame()
