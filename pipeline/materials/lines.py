"""Bill of materials: one line a well and item, priced where the list has a price."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.materials.goods import Catalogue, catalogue
from pipeline.materials.quantities import Batch, volume_water
from pipeline.settings import Settings

KEY = ["source_id", "well_id"]
_DESIGN = ["depth_pump_m", "depth_discharge_m", "depth_completed_m", "depth_static_m",
           "diameter_casing_inside_m", "power_motor_w", "pump_kind_code"]  # fmt: skip


def beside(selection: pd.DataFrame, other: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    """Columns of another per-well table in the row order of ``selection``; absent ones become missing."""
    held = other.reindex(columns=[*KEY, *columns])
    same = len(held) == len(selection) and all(
        (held[k].to_numpy() == selection[k].to_numpy()).all() for k in KEY if len(selection)
    )
    if same:
        return held[columns].reset_index(drop=True)
    return selection[KEY].merge(held, on=KEY, how="left", validate="m:1")[columns]


def bill(
    selection: pd.DataFrame, design: pd.DataFrame, settings: Settings, goods: Catalogue | None = None
) -> pd.DataFrame:
    """Bill lines of the recommended options.

    Parameters
    ----------
    selection, design : DataFrame
        Tables of those names; wells without an option get no line.
    settings : Settings
    goods : Catalogue, optional
        Made from ``settings`` when not given; hand it in where many chunks are billed.

    Returns
    -------
    DataFrame
        Table ``bill_lines`` in the well order of ``selection``, lines in the order of bill_rules.csv.
        Pipe is counted in coils or sticks with ``length_m`` the length bought; ``price_each`` and
        ``cost`` are missing where the price list lacks the item.
    """
    goods = goods or catalogue(settings)
    option = goods.option_index(selection["option_id"])
    beside_it = beside(selection, design, _DESIGN)
    number = {name: pd.to_numeric(beside_it[name]).to_numpy(float) for name in _DESIGN if name != "pump_kind_code"}
    length = selection["length_drop_pipe_m"].to_numpy(float)
    depth = np.where(
        np.isnan(number["depth_pump_m"]), length + np.nan_to_num(number["depth_discharge_m"]), number["depth_pump_m"]
    )
    water = volume_water(
        number["depth_completed_m"], number["depth_static_m"], number["diameter_casing_inside_m"]
    )
    batch = Batch(goods, option, length, depth, number["power_motor_w"], water)
    bought, asked = batch.quantities()
    situation = goods.situation(beside_it["pump_kind_code"], selection["use_code"])
    billed = (option >= 0) & (length >= 0)
    quantity = np.zeros((len(option), len(goods.rules)))
    item = np.full(quantity.shape, -1, np.int32)
    for r, vector in enumerate(goods.vector_of):
        item[:, r] = np.where(billed, goods.item_of[r][np.maximum(option, 0), situation], -1)
        quantity[:, r] = np.where(item[:, r] >= 0, asked[:, vector], 0.0)
    row, rule_number = np.nonzero(quantity > 0)
    return _lines(selection, goods, row, item[row, rule_number], quantity[row, rule_number], bought[row])


def _lines(
    selection: pd.DataFrame,
    goods: Catalogue,
    row: NDArray[np.intp],
    item: NDArray[np.int32],
    quantity: NDArray[np.float64],
    bought_m: NDArray[np.float64],
) -> pd.DataFrame:
    """Lines from parallel arrays: well row, item, quantity."""
    items = goods.items
    is_pipe = (items["kind"] == "pipe").to_numpy()[item]
    by_metre = (items["sale_unit"] == "m").to_numpy()[item]
    length = np.where(is_pipe, bought_m, np.where(by_metre, quantity, np.nan))
    amount = np.where(by_metre, length, quantity)
    cost = amount * items["price"].to_numpy(float)[item]
    is_coil = ~np.isnan(goods.coil_longest_m)
    n = len(goods.options)
    units = [*np.where(is_coil, "coil", "piece"), *items["sale_unit"].iloc[n:]]
    first = np.flatnonzero(np.diff(row, prepend=-1))
    number = np.arange(len(row)) - np.repeat(first, np.diff(first, append=len(row))) + 1
    return pd.DataFrame(
        {
            **{k: selection[k].take(row).reset_index(drop=True) for k in KEY},
            "line_number": number,
            "item_id": _text(list(items["item_id"]), item),
            "quantity": quantity,
            "sale_unit": _text(units, item),
            "length_m": length,
            "mass_kg": amount * items["mass_kg"].to_numpy(float)[item],
            "price_each": np.round(cost / quantity, 4),
            "cost": np.round(cost, 2),
            "currency": _text([goods.currency], np.zeros(len(row), np.int32)),
        }
    )


def _text(words: list[str], index: NDArray[np.int32]) -> pd.Series:
    """Text column from few words and an index, without a Python object a row."""
    coded = pa.DictionaryArray.from_arrays(pa.array(index), pa.array(words, pa.string()))
    return pd.Series(coded.cast(pa.string()), dtype=pd.ArrowDtype(pa.string()))


def missing_prices(lines: pd.DataFrame) -> pd.DataFrame:
    """Items of the bill without a price and the number of lines each: item_id, lines_count."""
    bare = lines.loc[lines["price_each"].isna(), "item_id"].astype(str)
    counts = bare.value_counts().sort_index()
    return pd.DataFrame({"item_id": counts.index.to_numpy(object), "lines_count": counts.to_numpy()})
