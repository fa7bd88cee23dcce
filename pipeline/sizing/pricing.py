"""What an option costs beside its pipe, what stands in for a price that is not listed, and what is not in stock.

A price that the list lacks must not turn the ranking: the option keeps all its lines, and the line without a price
takes that of like goods by mass. Goods that nothing like is listed of are left out for every option alike.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.errors import UsageError
from pipeline.materials import Catalogue, first_cost_constants
from pipeline.settings import Settings

Floats = NDArray[np.float64]
STOCK_COLUMNS = ("on_hand", "stocked")


@dataclass(frozen=True)
class Costs:
    """Cost of the options of a market in the order of its frame.

    Attributes
    ----------
    fixed, pipe, per_m, per_joint : ndarray (m)
        Goods a well, a metre of pipe bought, a metre of length, a joint; by like goods where a price is missing.
    is_priced : ndarray of bool (m)
        Every price that the option needs is listed.
    large_cable : ndarray (m, 2)
        Cost added for large motors: fixed, and per metre of pump depth.
    """

    fixed: Floats
    pipe: Floats
    per_m: Floats
    per_joint: Floats
    is_priced: NDArray[np.bool_]
    large_cable: Floats


def filled(items: pd.DataFrame, families: pd.Series) -> pd.DataFrame:
    """Goods with a price for each line: that of the list, else of like goods by mass, else none at all.

    Parameters
    ----------
    items : DataFrame
        item_id, kind, sale_unit, price, mass_kg, as in the catalogue.
    families : Series
        Family of the item ids that are pipe.

    Returns
    -------
    DataFrame
        ``items`` with ``price`` filled. Pipe takes the median price a kilogram of its family, else of all pipe;
        a fitting that of goods of its own name in other sizes, else of the first word of its name (couplings,
        adapters); the rest 0, so that the line is left out for every option.
    """
    price, mass = items["price"].to_numpy(float), items["mass_kg"].to_numpy(float)
    if not np.isnan(price).any():
        return items
    ids = items["item_id"].astype(str)
    per_kg = pd.Series(np.where(mass > 0, price / np.where(mass > 0, mass, 1.0), np.nan))
    pipe = items["kind"].eq("pipe").to_numpy()
    family = ids.map(families)
    stem = pd.Series(np.where(pipe, "pipe " + family.fillna("").astype(str), ids.str.rsplit("-", n=1).str[0]))
    kin = pd.Series(np.where(pipe, "pipe", ids.str.split(r"[_-]", regex=True).str[0] + " " + items["sale_unit"]))
    for group in (stem, kin):
        like = per_kg.groupby(group.to_numpy()).transform("median").to_numpy(float) * mass
        price = np.where(np.isnan(price), like, price)
    return items.assign(price=np.nan_to_num(price, nan=0.0))


def costs(settings: Settings, goods: Catalogue, option_ids: pd.Series, hand: bool) -> Costs:
    """Costs of the options of a market; see :class:`Costs`."""
    kind, use = ("hand", "village") if hand else ("submersible", "domestic")
    listed = first_cost_constants(settings, kind, use, goods).set_index("option_id").loc[option_ids]
    families = pd.Series(goods.options["family_code"].to_numpy(), index=goods.options["option_id"].astype(str))
    whole = replace(goods, items=filled(goods.items, families))
    lines = first_cost_constants(settings, kind, use, whole).set_index("option_id").loc[option_ids]
    needed = ["cost_fixed", "cost_per_m_pipe", "cost_per_m_length", "cost_per_m_depth", "cost_per_piece",
              "cost_per_joint"]  # fmt: skip
    large = listed[["cost_large_fixed", "cost_large_per_m_depth"]].to_numpy(float)
    per_piece = lines["cost_per_piece"].to_numpy(float)
    return Costs(
        lines["cost_fixed"].to_numpy(float) + per_piece, lines["cost_per_m_pipe"].to_numpy(float),
        (lines["cost_per_m_length"] + lines["cost_per_m_depth"]).to_numpy(float),
        lines["cost_per_joint"].to_numpy(float) + per_piece, listed[needed].notna().all(axis=1).to_numpy(), large,
    )  # fmt: skip


def unstocked(settings: Settings, option_ids: pd.Series) -> NDArray[np.bool_]:
    """Whether the user's price list says of an option that it is not in stock.

    The columns ``on_hand`` (a number, per sale unit) and ``stocked`` (yes or no) are read where the list has them;
    an empty cell, and an option that the list does not name, say nothing.

    Raises
    ------
    UsageError
        When ``stocked`` holds anything but yes and no, or ``on_hand`` anything but a number of 0 or more.
    """
    out = np.zeros(len(option_ids), dtype=bool)
    if settings.prices is None:
        return out
    found = [{str(key).lstrip("\ufeff").strip(): text for key, text in row.items()}
             for row in schema.read_rows(settings.prices)]  # fmt: skip
    if not found or not any(name in found[0] for name in STOCK_COLUMNS):
        return out
    lacking = set()
    for row in found:
        said, count = (str(row.get(name) or "").strip().lower() for name in ("stocked", "on_hand"))
        if said not in ("", "yes", "no"):
            raise UsageError(f"Price list {settings.prices.name}: stocked of '{row['item_id']}' is '{said}'; "
                             "write yes, no or nothing.")  # fmt: skip
        try:
            number = float(count.replace(",", "")) if count else np.nan
        except ValueError:
            number = -1.0
        if number < 0 or number == np.inf:
            raise UsageError(f"Price list {settings.prices.name}: on_hand of '{row['item_id']}' is '{count}'; "
                             "write a number of 0 or more, or nothing.")  # fmt: skip
        if said == "no" or (not said and number == 0):
            lacking.add(row["item_id"])
    return option_ids.isin(lacking).to_numpy()
