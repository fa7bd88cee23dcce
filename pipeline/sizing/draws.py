"""Draws within the bands: how firm each choice is, and what each region takes in each draw.

In every draw each well has its own deviate and all wells of a region share one; random numbers are keyed on
seed, well or region, and draw, so that chunks, threads and file order change nothing.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import rng
from pipeline.compiled import scalar
from pipeline.materials import Catalogue, draw_rows, draw_sums
from pipeline.settings import Settings
from pipeline.sizing.choose import cheapest
from pipeline.sizing.constants import Market, temperature_factors
from pipeline.sizing.inputs import Floats, deviates_of, drawn
from pipeline.sizing.kernel import W_DEPTH_PUMP, W_LENGTH
from pipeline.sizing.layout import W

ROWS_AT_ONCE = 4096  # wells moved and sized together: their inputs stay in the cache


def places(wells: pd.DataFrame) -> tuple[NDArray[np.int64], pd.DataFrame]:
    """Index of each well's region, and the regions: area_code, region_code and a key for random numbers."""
    area, areas = pd.factorize(wells["area_code"].astype(object), use_na_sentinel=False)
    region, regions = pd.factorize(wells["region_code"].astype(object), use_na_sentinel=False)
    pairs, place = np.unique(area * len(regions) + region, return_inverse=True)
    found = pd.DataFrame({
        "area_code": [None if pd.isna(name) else name for name in np.asarray(areas, object)[pairs // len(regions)]],
        "region_code": [None if pd.isna(name) else name for name in np.asarray(regions, object)[pairs % len(regions)]],
    }, dtype=object)  # fmt: skip
    pairs_of = zip(found["area_code"], found["region_code"], strict=True)
    names = [f"{area or ''}\x1f{region or ''}" for area, region in pairs_of]
    order = np.argsort(np.array(names, dtype=str), kind="stable")
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    found = found.iloc[order].reset_index(drop=True)
    return rank[place.reshape(-1)], found.assign(key=rng.keys([names[k] for k in order]))


@scalar
def _tally(values, picked, chosen, index, families, sizes, here, option, length, depth, same, kin, alike):
    """Put what one draw found in its place, and count where it is the choice, its family, its size."""
    for i in range(len(here)):
        at, found = here[i], picked[i]
        length[at], depth[at] = values[i, W_LENGTH], values[i, W_DEPTH_PUMP]
        option[at] = index[found] if found >= 0 else -1
        same[at] += 1.0 if found == chosen[i] else 0.0
        kin[at] += 1.0 if found >= 0 and chosen[i] >= 0 and families[found] == families[chosen[i]] else 0.0
        alike[at] += 1.0 if found >= 0 and chosen[i] >= 0 and sizes[found] == sizes[chosen[i]] else 0.0


def run_draws(
    design: pd.DataFrame, wells: pd.DataFrame,
    parts: list[tuple[Market, NDArray[np.int64], dict[str, Floats], NDArray]],
    settings: Settings, goods: Catalogue,
) -> tuple[Floats, Floats, Floats, pd.DataFrame]:  # fmt: skip
    """Share of draws that keep the choice, its family, its family and size, and the goods of every draw by region.

    Parameters
    ----------
    parts : list
        For each group of wells: its market, its rows, its kernel inputs ("", "_low", "_high"), its choice.

    Returns
    -------
    share, family_share, size_share : ndarray (n), NaN where nothing was chosen
    rows : DataFrame, from materials.draw_rows
    """
    region, found = places(wells)
    well_key = rng.keys(list(wells["source_id"].astype(str) + "\x1f" + wells["well_id"].astype(str)))
    region_key = found["key"].to_numpy(np.uint64)
    situation = goods.situation(design["pump_kind_code"], design["use_code"])
    milli = np.rint(design["weight_inclusion_fraction"].to_numpy(float) * 1000.0).astype(np.int64)
    power = design["power_motor_w"].to_numpy(float)
    same, kin, alike = np.zeros(len(design)), np.zeros(len(design)), np.zeros(len(design))
    work = [
        (group, here, inputs, chosen, temperature_factors(group, inputs[""][:, W["temperature"]]),
         np.ascontiguousarray(well_key[here]), np.ascontiguousarray(region[here]))
        for group, here, inputs, chosen in parts
    ]  # fmt: skip
    buffer = np.empty((ROWS_AT_ONCE, len(W)))
    rows = []
    for draw in range(settings.draws):
        option = np.full(len(design), -1, np.int64)
        length, depth = np.full(len(design), np.nan), np.full(len(design), np.nan)
        moved = deviates_of(settings, region_key, draw)
        for group, here, inputs, chosen, warmth, keys, own in work:
            for start in range(0, len(here), ROWS_AT_ONCE):
                part = slice(start, min(start + ROWS_AT_ONCE, len(here)))
                values = drawn(
                    inputs[""][part], inputs["_low"][part], inputs["_high"][part], keys[part], own[part], moved,
                    buffer[: part.stop - start],
                )  # fmt: skip
                picked = cheapest(group, values, warmth[part])
                _tally(
                    values, picked, chosen[part], group.index, group.families, group.sizes, here[part],
                    option, length, depth, same, kin, alike,
                )  # fmt: skip
        sums = draw_sums(region, option, length, depth, milli, situation, goods, len(found), power)
        rows.append(draw_rows(sums, found, draw, goods))
    for counted in (same, kin, alike):
        counted /= settings.draws if settings.draws else np.nan
        for _, here, _, chosen in parts:
            counted[here] = np.where(chosen >= 0, counted[here], np.nan)
    if not rows:  # no draws asked for: a frame of the same columns, without rows
        nothing = draw_sums(region[:0], region[:0], [], [], region[:0], region[:0], goods, len(found), [])
        rows.append(draw_rows(nothing, found, 0, goods))
    return same, kin, alike, pd.concat(rows, ignore_index=True)
