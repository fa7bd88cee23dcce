"""What the size and demand stages need of the goods without a bill: cost constants, sums over draws."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from pipeline import compiled, schema
from pipeline.materials import cables
from pipeline.materials.goods import Catalogue, Rule, catalogue
from pipeline.materials.quantities import Batch
from pipeline.settings import Settings

_SUMS = ["wells_milli", "quantity_micro", "length_um"]
_PLACE = ["area_code", "region_code", "item_id", "draw"]
_MILLI = 1000.0


@compiled.scalar
def _spread(present, item_of, vector_of, by_metre, amounts, users, bought, wells, quantity, length):
    """Share the sums of each (region, option, situation) out to the items that its rules ask for."""
    options, situations = item_of.shape[1], item_of.shape[2]
    for c in range(len(present)):
        region = present[c] // (options * situations)
        option = present[c] // situations % options
        situation = present[c] % situations
        for r in range(item_of.shape[0]):
            item = item_of[r, option, situation]
            if item < 0:
                continue
            amount = amounts[c, vector_of[r]]
            wells[region, item] += users[c, vector_of[r]]
            quantity[region, item] += amount
            if item < options:
                length[region, item] += bought[c]
            elif by_metre[item]:
                length[region, item] += amount


def price_table(settings: Settings) -> pd.DataFrame:
    """Every item that a bill can hold.

    Returns
    -------
    DataFrame
        item_id, label, kind, sale_unit, price, mass_kg, currency; price and mass per sale unit
        (per metre of pipe); price NaN where the list lacks it.
    """
    goods = catalogue(settings)
    return goods.items.assign(currency=goods.currency)


def _slope(rule: Rule, slack: NDArray[np.float64]) -> tuple[str, NDArray[np.float64] | float]:
    """Where a rule's feature enters the straight-line cost: per joint, per piece, per metre, or not at all."""
    match rule.feature:
        case "joint" | "joint_shallow" | "end_pair":
            return "cost_per_joint", 1.0
        case "joint_deep":
            return "cost_per_joint_deep", 1.0
        case "piece":
            return "cost_per_piece", 1.0
        case "cable":
            return "cost_per_m_depth", 1.0 + slack
        case "rope" | "depth_pump":
            return "cost_per_m_depth", 1.0
        case "per_spacing_depth":
            return "cost_per_m_depth", 1.0 / rule.spacing_m
        case "per_spacing_length":
            return "cost_per_m_length", 1.0 / rule.spacing_m
        case "length_pipe":
            return "cost_per_m_length", 1.0
        case _:
            return "", 0.0


def first_cost_constants(
    settings: Settings,
    pump_kind_code: str = "submersible",
    use_code: str = "domestic",
    goods: Catalogue | None = None,
) -> pd.DataFrame:
    """Straight-line cost of the goods of every option, for the sizing kernel.

    cost = cost_fixed + cost_per_m_pipe x length bought + cost_per_m_length x pipe length
    + cost_per_m_depth x pump depth + cost_per_piece x pieces + cost_per_joint x joints, where length
    bought is pieces x piece length for sticks, and the stock coil for coils.

    The bill differs by what a straight line cannot hold: goods counted by spacing are taken at one
    half interval above length/spacing and rounded up in the bill (at most half of one check valve, tie
    and guard each), consumables and the least of two check valves are whole in the bill, disinfectant
    follows the casing, and threaded PVC past depth_coupling_stainless takes cost_per_joint_deep in place of
    cost_per_joint. The cable is the thinnest of its market; what the gauge of a well costs above it follows its motor
    and run, not the pipe: :func:`cost_cable_beyond`. cost_large_fixed and cost_large_per_m_depth are 0.

    Parameters
    ----------
    pump_kind_code, use_code : str
        Situation to be priced; call once for motor pumps and once for hand pumps.

    Returns
    -------
    DataFrame, one row an option in the order of options.csv
        option_id, cost_fixed, cost_per_m_pipe, cost_per_m_length, cost_per_m_depth, cost_per_piece,
        cost_per_joint, cost_per_joint_deep, cost_large_fixed, cost_large_per_m_depth, piece_length_m
        (NaN for coils), coil_longest_m (NaN for sticks), prices_missing_count.
        A cost is NaN where a price it needs is missing.
    """
    goods = goods or catalogue(settings)
    base = settings.base
    situation = goods.situation(pd.Series([pump_kind_code]), pd.Series([use_code]))[0]
    price = np.append(goods.items["price"].to_numpy(float), 0.0)
    names = ["cost_fixed", "cost_per_m_pipe", "cost_per_m_length", "cost_per_m_depth", "cost_per_piece",
             "cost_per_joint", "cost_per_joint_deep", "cost_large_fixed", "cost_large_per_m_depth"]  # fmt: skip
    out = {name: np.zeros(len(goods.options)) for name in names}
    missing = np.zeros(len(goods.options), np.int64)
    for r, rule in enumerate(goods.rules):
        each = price[goods.item_of[r, :, situation]]
        applies = goods.item_of[r, :, situation] >= 0
        if rule.item_id == "{option}":
            out["cost_per_m_pipe"] += each
            missing += np.isnan(each)
            continue
        if rule.feature == "bleach":
            continue
        if rule.step > 0:  # the thinnest cable stands in the line; what a thicker one adds is cost_cable_beyond
            continue
        column, slope = _slope(rule, goods.slack)
        fixed = rule.addition + (rule.factor if rule.feature == "well" else 0.0)
        if rule.feature.startswith("per_spacing"):
            fixed += rule.factor / 2
        if rule.minimum and rule.feature == "joint":  # consumables: one can or tube in most strings
            fixed, column = rule.minimum, ""
        if rule.feature in ("cable", "rope"):
            fixed += rule.factor * base("length_cable_head")
        if rule.feature == "cable":
            fixed += rule.factor * base("length_cable_surface") * base("surface_cable_billed")
        if rule.feature in ("valve_between", "end_pair"):  # whole intervals less one: half a one below the line
            fixed -= rule.factor / 2
            out["cost_per_m_length"] += np.where(applies, each * rule.factor / rule.spacing_m, 0.0)
        out["cost_fixed"] += np.where(applies, each * fixed, 0.0) if fixed else 0.0
        if column and rule.factor:
            out[column] += np.where(applies, each * rule.factor * slope, 0.0)
        missing += np.isnan(each) if (fixed or rule.factor) else 0
    # threaded PVC: every joint rule but the shallow coupling holds at depth too
    deep = out["cost_per_joint_deep"]
    out["cost_per_joint_deep"] = np.where(deep > 0, deep, out["cost_per_joint"])
    frame = pd.DataFrame({"option_id": goods.options["option_id"], **out})
    frame["piece_length_m"], frame["coil_longest_m"] = goods.stick_m, goods.coil_longest_m
    return frame.assign(prices_missing_count=missing)


def cost_cable_beyond(
    goods: Catalogue, option_index: NDArray[np.integer], depth_pump_m: ArrayLike, power_motor_w: ArrayLike,
    pump_kind_code: pd.Series | NDArray[np.object_],
) -> NDArray[np.float64]:  # fmt: skip
    """What the cable of each well costs above the thinnest of its market.

    Parameters
    ----------
    option_index : ndarray of int (n)
        Place in options.csv; -1 gives 0.
    depth_pump_m, power_motor_w : array_like (n) [m], [W]
    pump_kind_code : array_like of str (n)
        Wells whose pump takes no cable in the well give 0.

    Returns
    -------
    ndarray (n)
        In the currency of the price list; NaN where a price it needs is missing.
    """
    base = goods.settings.base
    option = np.maximum(np.asarray(option_index, np.int64), 0)
    market = goods.market[option]
    inside = np.asarray(depth_pump_m, float) * (1.0 + goods.slack[option]) + base("length_cable_head")
    run = inside + base("length_cable_surface")
    step = cables.gauge(power_motor_w, run, market, goods.settings)
    price = goods.items.set_index("item_id")["price"]
    each = np.full((len(cables.MARKETS), cables.steps()), np.nan)
    for m, name in enumerate(cables.MARKETS):
        ids = [row["item_id"] for row in cables.ladders()[name]]
        each[m, : len(ids)] = price.reindex(ids)
    billed = inside + base("length_cable_surface") * base("surface_cable_billed")
    kinds = next(row["pump_kinds"] for row in schema.rows("bill_rules") if row["feature"] == "cable").split("|")
    has = (np.asarray(option_index) >= 0) & pd.Series(pump_kind_code).astype(object).isin(kinds).to_numpy(bool)
    beyond = (each[market, step] - each[market, 0]) * billed
    return np.where(has & (step > 0), beyond, 0.0)


def draw_sums(
    region_index: NDArray[np.integer],
    option_index: NDArray[np.integer],
    length_m: ArrayLike,
    depth_pump_m: ArrayLike,
    weight_milli: NDArray[np.integer],
    situation: NDArray[np.integer],
    goods: Catalogue,
    regions: int,
    power_motor_w: ArrayLike | None = None,
    volume_water_m3: ArrayLike | None = None,
) -> dict[str, NDArray[np.int64]]:
    """Goods of one draw summed by region in whole numbers, so that no order of adding changes a sum.

    Parameters
    ----------
    region_index, option_index : ndarray of int, one a well
        -1 as option: the well takes no pipe.
    length_m, depth_pump_m : array_like [m]
    weight_milli : ndarray of int
        Inclusion weight in thousandths.
    situation : ndarray of int
        From :meth:`Catalogue.situation`; the same in every draw.
    regions : int
        Number of regions; region_index runs from 0 to regions - 1.
    power_motor_w, volume_water_m3 : array_like, optional [W], [m3]
        As in :class:`pipeline.materials.quantities.Batch`.

    Returns
    -------
    dict of ndarray of int64, each (regions, items), items in the order of ``goods.items``
        ``wells_milli``: wells that take the item; ``quantity_micro``: millionths of a unit (coils and
        sticks for pipe, metres for cable and rope, litres for bleach); ``length_um``: micrometres of
        goods sold by the metre. Sums of chunks may be added; mass and cost follow once, by :func:`settled`.
    """
    option = np.asarray(option_index, np.int64)
    length = np.asarray(length_m, float)
    taken = (option >= 0) & (length >= 0)
    shape = (regions, len(goods.items))
    out = {name: np.zeros(shape, np.int64) for name in _SUMS}
    if not taken.any():
        return out
    batch = Batch(goods, option, length, depth_pump_m, power_motor_w, volume_water_m3)
    situations = goods.item_of.shape[2]
    options = len(goods.options)
    cell = (np.asarray(region_index, np.int64) * options + np.maximum(option, 0)) * situations + situation
    seen = np.zeros(regions * options * situations, bool)
    seen[cell[taken]] = True
    present = np.flatnonzero(seen)
    rank = np.zeros(len(seen), np.int32)
    rank[present] = np.arange(len(present), dtype=np.int32)
    group = rank[np.where(taken, cell, present[0])]
    weight = np.where(taken, weight_milli, 0).astype(np.int64)
    amounts, users, bought = batch.sums(group, weight, len(present))
    by_metre = (goods.items["sale_unit"] == "m").to_numpy()
    _spread(present, goods.item_of, goods.vector_of, by_metre, amounts, users, bought, *(out[n] for n in _SUMS))
    return out


def draw_rows(
    sums: dict[str, NDArray[np.int64]], places: pd.DataFrame, draw: int, goods: Catalogue
) -> pd.DataFrame:
    """Sums of one draw as rows, one a place and item that occurs.

    Parameters
    ----------
    sums : dict
        From :func:`draw_sums`.
    places : DataFrame
        area_code and region_code of each region index.
    draw : int
    """
    region, item = np.nonzero(sums["wells_milli"])
    where = places[["area_code", "region_code"]].take(region).reset_index(drop=True)
    return where.assign(
        item_id=goods.items["item_id"].to_numpy()[item], draw=draw, **{n: sums[n][region, item] for n in _SUMS}
    )


def added(rows: list[pd.DataFrame]) -> pd.DataFrame:
    """Rows of :func:`draw_rows` of several chunks as one frame with a row a place, item and draw.

    Whole numbers are added, so that neither the order nor the number of chunks changes a sum.
    """
    if not rows:
        places = {name: pd.Series(dtype=object) for name in _PLACE}
        return pd.DataFrame(places | {name: pd.Series(dtype=np.int64) for name in _SUMS})
    whole = pd.concat(rows, ignore_index=True)
    return whole.groupby(_PLACE, dropna=False, sort=True, as_index=False)[_SUMS].sum()


def settled(rows: pd.DataFrame, goods: Catalogue) -> pd.DataFrame:
    """Rows of all chunks added up and put in the units in which demand is rolled up; rounded once, here.

    Parameters
    ----------
    rows : DataFrame
        From :func:`draw_rows`, of any number of chunks and draws.

    Returns
    -------
    DataFrame
        area_code, region_code, item_id, draw, wells_milli, pieces_milli, length_mm, mass_g, cost_cents;
        whole numbers, length missing for goods not sold by the metre, cost missing where a price is.
    """
    whole = added([rows])
    item = pd.Index(goods.items["item_id"]).get_indexer(pd.Index(whole["item_id"]))
    by_metre = (goods.items["sale_unit"] == "m").to_numpy()[item]
    mass, cost = worth(whole["quantity_micro"].to_numpy(), whole["length_um"].to_numpy(), goods, item)
    out = whole[[*_PLACE, "wells_milli"]].copy()
    out["pieces_milli"] = np.rint(whole["quantity_micro"] / _MILLI).astype(np.int64)
    out["length_mm"] = _whole(np.where(by_metre, whole["length_um"] / _MILLI, np.nan))
    out["mass_g"], out["cost_cents"] = _whole(mass * 1000.0), _whole(cost * 100.0)
    return out


def _whole(values: NDArray[np.float64]) -> pd.arrays.IntegerArray:
    """Nearest whole numbers; NaN becomes missing."""
    gone = np.isnan(values)
    return pd.arrays.IntegerArray(np.rint(np.where(gone, 0.0, values)).astype(np.int64), gone)


def worth(
    quantity_micro: NDArray[np.int64],
    length_um: NDArray[np.int64],
    goods: Catalogue,
    item: NDArray[np.integer] | slice = slice(None),
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mass and cost of summed goods; straight lines in quantity and length, so taken once at the end.

    Parameters
    ----------
    quantity_micro, length_um : ndarray (..., items)
    item : ndarray of int, optional
        Item of each entry along the last axis; all items in their order by default.

    Returns
    -------
    mass_kg, cost : ndarray, the same shape
        Cost in the currency of the list, NaN where an item has no price.
    """
    by_metre = (goods.items["sale_unit"] == "m").to_numpy()[item]
    amount = np.where(by_metre, length_um, quantity_micro) / 1e6
    return amount * goods.items["mass_kg"].to_numpy(float)[item], amount * goods.items["price"].to_numpy(float)[item]
