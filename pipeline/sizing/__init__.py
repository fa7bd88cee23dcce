"""Sizing: every option on the market held against every well; one recommended, the others answered."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline import schema
from pipeline.materials import catalogue
from pipeline.settings import Settings
from pipeline.sizing import tables
from pipeline.sizing.choose import cheapest, decide, groups, made, sheets
from pipeline.sizing.constants import temperature_factors
from pipeline.sizing.draws import run_draws
from pipeline.sizing.flips import MOVES, flips
from pipeline.sizing.inputs import matrix, with_record
from pipeline.sizing.layout import CHECKS, KIND, UCUM, Q, W
from pipeline.sizing.local import with_pack
from pipeline.sizing.suited import FORGET, unsuited, without

__all__ = ["Sized", "choices", "option_sheets", "size"]


@dataclass
class Sized:
    """Tables of one frame of wells.

    Attributes
    ----------
    draw_sums : DataFrame
        Goods of every draw by region.
    changes : DataFrame of bool, one row a well
        Whether the choice would be another without each check of suited.FORGET.
    """

    selection: pd.DataFrame
    not_chosen: pd.DataFrame
    draw_sums: pd.DataFrame
    changes: pd.DataFrame


def size(design: pd.DataFrame, wells: pd.DataFrame, settings: Settings) -> Sized:
    """Recommend a drop pipe for every well of a ``design`` frame.

    Parameters
    ----------
    design, wells : DataFrame
        Tables ``design`` and ``wells`` of the same wells, in the same order.
    settings : Settings

    Returns
    -------
    Sized
        Rows of ``selection`` in the order given.
    """
    goods = catalogue(settings)
    wells = wells.reset_index(drop=True)
    design = with_pack(with_record(design.reset_index(drop=True), wells), wells, settings)
    chosen_frames, other_frames, parts = [], [], []
    holds = {end: np.zeros(len(design), dtype=bool) for end in ("_low", "_high")}
    aside = unsuited(design, settings)
    changes = pd.DataFrame({check: np.zeros(len(design), dtype=bool) for check in FORGET})
    is_aside = pd.notna(aside)
    left = np.flatnonzero(is_aside)
    if len(left):
        chosen_frames.append(tables.not_sized(design.iloc[left], wells.iloc[left], aside[left]))
    for group, found_rows in groups(design, settings, goods):
        rows = found_rows[~is_aside[found_rows]]
        if not len(rows):
            continue
        points = design.iloc[rows].reset_index(drop=True)
        inputs = {end: matrix(points, settings, end) for end in ("", "_low", "_high")}
        warmth = temperature_factors(group, inputs[""][:, W["temperature"]])
        choice = decide(group, inputs[""], warmth)
        chosen = choice.chosen()
        found = sheets(group, inputs[""], chosen, warmth)
        lost, totals = tables.not_chosen(points, group, inputs[""], choice, warmth)
        if group.barred:
            whole = made(str(points["market_code"].iloc[0]), bool(inputs[""][0, W["hand"]]), settings, goods)
            lost = tables.with_rules(lost, group, whole, decide(whole, inputs[""]))
        other_frames.append(lost)
        frame = tables.selection(
            points, wells.iloc[rows].reset_index(drop=True), group, choice, found, settings, goods.currency, totals
        )
        frame.index = pd.Index(rows)
        chosen_frames.append(frame)
        for end, kept in holds.items():
            kept[rows] = cheapest(group, inputs[end]) == chosen
        for check in FORGET:
            other = cheapest(group, without(inputs[""], check))
            changes.loc[rows, check] = tables.family_of(group, other) != tables.family_of(group, chosen)
        parts.append((group, rows, inputs, chosen))
    share, family_share, size_share, sums = run_draws(design, wells, parts, settings, goods)
    selection = pd.concat(chosen_frames).sort_index()
    taken = selection["option_id"].notna()
    selection["choice_share_fraction"], selection["family_share_fraction"] = share, family_share
    selection["size_share_fraction"] = size_share
    turned, turned_to = np.full(len(design), None, dtype=object), np.full(len(design), None, dtype=object)
    for group, rows, inputs, chosen in parts:
        warmth = temperature_factors(group, inputs[""][:, W["temperature"]])
        code, option = flips(group, inputs, warmth, chosen, size_share[rows] < 1.0, settings)
        turned[rows] = tables.named(np.array(list(MOVES), dtype=object), code)
        turned_to[rows] = tables.named(group.frame["option_id"].to_numpy(dtype=object), option)
    selection["flip_input_code"], selection["flip_option_id"] = turned, turned_to
    for end, kept in holds.items():
        selection[f"choice_holds{end}"] = pd.Series(kept).where(taken, None).astype("boolean")
    selection = selection[[c.field.name for c in schema.table("selection")]]
    lost = pd.concat(other_frames, ignore_index=True) if other_frames else tables.no_rows("not_chosen")
    return Sized(selection, lost, sums, changes)


def choices(design: pd.DataFrame, settings: Settings, wells: pd.DataFrame | None = None) -> pd.Series:
    """Only the option that :func:`size` would recommend for each row of a ``design`` frame; missing where none."""
    goods = catalogue(settings)
    design = with_pack(with_record(design.reset_index(drop=True), wells), wells, settings)
    is_aside = pd.notna(unsuited(design, settings))
    names = goods.options["option_id"].to_numpy(object)
    out = np.full(len(design), None, dtype=object)
    for group, found_rows in groups(design, settings, goods):
        rows = found_rows[~is_aside[found_rows]]
        if len(rows):
            chosen = cheapest(group, matrix(design.iloc[rows].reset_index(drop=True), settings))
            picked = names[group.index[chosen]]
            picked[chosen < 0] = None
            out[rows] = picked
    return pd.Series(out, dtype="str")


def option_sheets(
    design: pd.DataFrame, settings: Settings, wells: pd.DataFrame | None = None
) -> list[dict[str, object]]:
    """Every option on the market in one well: each check's need, limit and share, SI, unit in UCUM.

    Parameters
    ----------
    design : DataFrame
        One row of the table ``design``.
    wells : DataFrame, optional
        The same well of the table ``wells``, for what is read of the record itself.

    Returns
    -------
    list of dict
        option_id, family, quantities, and ``checks``: check, need, have, unit, utilisation, passes (None where
        not judged).
    """
    out: list[dict[str, object]] = []
    design = with_pack(with_record(design.reset_index(drop=True), wells), wells, settings)
    for group, rows in groups(design, settings, catalogue(settings)):
        points = design.iloc[rows]
        inputs = matrix(points, settings)
        m = len(group.index)
        found = sheets(group, np.repeat(inputs, m, axis=0), np.arange(m))
        recorded = np.repeat(points["head_shutoff_is_recorded"].to_numpy(bool), m)
        stopped = tables.stops(found.use, recorded)
        for j in range(m):
            checks = []
            for k, code in enumerate(CHECKS):
                use = found.use[j, k]
                judged = not np.isnan(use)
                if KIND[k] == "shown" and np.isnan(found.need[j, k]):
                    continue  # not asked of this kind of pump
                checks.append({
                    "check": code, "need": _finite(found.need[j, k]), "have": _finite(found.have[j, k]),
                    "unit": UCUM[k], "utilisation": _finite(use), "passes": bool(use <= 1.0) if judged else None,
                    "kind": KIND[k],
                })  # fmt: skip
            row = group.frame.iloc[j]
            out.append({
                "option_id": row["option_id"], "family": row["family_code"], "standard": row["standard"],
                "class_label": row["class_label"], "nominal_size": row["nominal_size"],
                "joint": row["joint_code"], "passes": not stopped[j].any(),
                "score": _finite(found.quantity[j, Q["score"]]), "checks": checks,
                "quantities": {name: _finite(found.quantity[j, place]) for name, place in Q.items()},
            })  # fmt: skip
    return out


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
