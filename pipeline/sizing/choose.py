"""Run the kernel over groups of wells that share a market and a kind of pump, and rank the families."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.materials import Catalogue
from pipeline.settings import Settings
from pipeline.sizing import kernel
from pipeline.sizing.blocks import Blocks, lay_out
from pipeline.sizing.constants import FAMILIES, Market, market, temperature_factors
from pipeline.sizing.layout import CHECKS, QUANTITY, W
from pipeline.sizing.local import PACK, barred

Floats = NDArray[np.float64]


@dataclass
class Choice:
    """What the kernel found for a group of wells, families in the order of FAMILIES.

    Attributes
    ----------
    best, closest : ndarray of int16 (n, families)
        Option by family that passes at least cost, and the one nearest to passing; -1 for none.
    score, worst : ndarray (n, families)
    order : ndarray of int (n, families)
        Families by rising score; equal scores keep the declared order.
    """

    best: NDArray[np.int16]
    closest: NDArray[np.int16]
    score: Floats
    worst: Floats

    @property
    def order(self) -> NDArray[np.int64]:
        """Families by rising score, ties in declared order."""
        return np.argsort(self.score, axis=1, kind="stable")

    def chosen(self) -> NDArray[np.int64]:
        """Option of the best family of each well, -1 where none passes."""
        first = np.argmin(self.score, axis=1)
        return self.best[np.arange(len(first)), first].astype(np.int64)


def decide(group: Market, wells: Floats, factors: Floats | None = None) -> Choice:
    """Cheapest passing and closest failing option of every family for each row of kernel inputs.

    Parameters
    ----------
    wells : ndarray (n, values), from inputs.matrix or inputs.drawn
    factors : ndarray (n, materials), optional
        Temperature factors, worked out from ``wells`` where not given.
    """
    n, families = len(wells), len(FAMILIES)
    if factors is None:
        factors = temperature_factors(group, wells[:, W["temperature"]])
    out = Choice(
        np.empty((n, families), np.int16), np.empty((n, families), np.int16),
        np.empty((n, families)), np.empty((n, families)),
    )  # fmt: skip
    laid = blocks(group)
    kernel._choose(
        laid.pack, laid.table, laid.material, laid.number, laid.family, laid.coils, laid.coil_of, factors,
        np.ascontiguousarray(wells), group.run, out.best, out.score, out.closest, out.worst,
    )  # fmt: skip
    return out


def cheapest(group: Market, wells: Floats, factors: Floats | None = None) -> NDArray[np.int64]:
    """Only the option that :meth:`Choice.chosen` would give for each row of kernel inputs, found sooner.

    Parameters
    ----------
    wells : ndarray (n, values)
    factors : ndarray (n, materials), optional

    Returns
    -------
    ndarray of int64 (n)
        Option, -1 where none passes.
    """
    if factors is None:
        factors = temperature_factors(group, wells[:, W["temperature"]])
    out = np.empty(len(wells), np.int64)
    laid = blocks(group)
    kernel._cheapest(
        laid.pack, laid.table, laid.material, laid.number, laid.coils, laid.coil_of, laid.ideal, laid.ideal_table,
        laid.ideal_material, laid.ideal_coil, factors,
        np.ascontiguousarray(wells), group.run, out,
    )  # fmt: skip
    return out


@dataclass
class Sheets:
    """Every check and quantity of one option a well: need, have, use (n, checks) and quantity (n, quantities)."""

    need: Floats
    have: Floats
    use: Floats
    quantity: Floats


def sheets(group: Market, wells: Floats, chosen: NDArray[np.integer], factors: Floats | None = None) -> Sheets:
    """Full sheet of one option for each well; NaN where ``chosen`` is -1."""
    n = len(wells)
    if factors is None:
        factors = temperature_factors(group, wells[:, W["temperature"]])
    checks = [np.full((n, len(CHECKS)), np.nan) for _ in range(3)]
    out = Sheets(checks[0], checks[1], checks[2], np.full((n, len(QUANTITY)), np.nan))
    kernel._sheets(
        group.constants, group.inverse, group.coils, group.table, group.materials, factors,
        np.ascontiguousarray(wells), group.run, np.ascontiguousarray(chosen, dtype=np.int64),
        out.need, out.have, out.use, out.quantity,
    )  # fmt: skip
    return out


def groups(design: pd.DataFrame, settings: Settings, goods: Catalogue) -> list[tuple[Market, NDArray[np.int64]]]:
    """Wells by market, kind of pump and pack of local rules: each group with the rows that belong to it."""
    hand = (design["pump_kind_code"] == "hand").to_numpy()
    codes = design["market_code"].to_numpy(dtype=object)
    packs = design[PACK].to_numpy(dtype=object) if PACK in design else np.full(len(design), "", dtype=object)
    out = []
    for code in sorted(set(codes)):
        for pack in sorted(set(packs[codes == code])):
            for by_hand in (False, True):
                rows = np.flatnonzero((codes == code) & (packs == pack) & (hand == by_hand))
                if len(rows):
                    out.append((made(code, by_hand, settings, goods, pack), rows))
    return out


_MADE: dict[tuple[str, bool, str, int], tuple[Settings, Market]] = {}


def made(code: str, hand: bool, settings: Settings, goods: Catalogue, pack: str = "") -> Market:
    """Constants are worked out once a run: kept while the same settings object is in use."""
    key = (code, hand, pack, id(settings))
    kept = _MADE.get(key)
    if kept is None or kept[0] is not settings:
        if len(_MADE) > 128:
            _MADE.clear()
        kept = (settings, market(code, hand, settings, goods, barred(pack, goods.options, settings)))
        _MADE[key] = kept
    return kept[1]


_LAID: dict[int, tuple[Market, Blocks]] = {}


def blocks(group: Market) -> Blocks:
    """Constants of a market as the kernel reads them, laid out once."""
    kept = _LAID.get(id(group))
    if kept is None or kept[0] is not group:
        if len(_LAID) > 128:
            _LAID.clear()
        kept = (group, lay_out(group))
        _LAID[id(group)] = kept
    return kept[1]
