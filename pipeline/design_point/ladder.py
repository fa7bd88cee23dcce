"""Quantiles of groups of wells, from the nearest group to the whole source. Looks across wells: learn on the whole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.design_point.bands import Floats

QUANTILES = (0.1, 0.5, 0.9)
RUNGS = (
    ("source_id", "area_code", "region_code", "use_code"),
    ("source_id", "area_code", "region_code"),
    ("source_id", "area_code"),
    ("source_id",),
)


def joined(frame: pd.DataFrame) -> pd.Series:
    """One text key a row; missing parts are empty."""
    parts = [frame[column].astype(object).where(frame[column].notna(), "").astype(str) for column in frame.columns]
    out = parts[0]
    for part in parts[1:]:
        out = out + "\x1f" + part
    return out


def held(told: Floats, wider: Floats, by_size: bool = True) -> Floats:
    """Low, middle and high with distances from the middle no larger than those of ``wider``.

    With ``by_size`` a distance may also be as large a share of its middle as that of ``wider`` is of its own; for
    logarithms the distances are shares already. Where ``wider`` is NaN it holds nothing.
    """
    middle = told[:, 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.fmax(1.0, np.abs(middle / wider[:, 1])) if by_size else np.ones(len(told))
    down = np.fmin(middle - told[:, 0], (wider[:, 1] - wider[:, 0]) * share)
    up = np.fmin(told[:, 2] - middle, (wider[:, 2] - wider[:, 1]) * share)
    return np.column_stack([middle - down, middle, middle + up])


def grouped(wells: pd.DataFrame) -> tuple[pd.DataFrame, NDArray[np.intp]]:
    """The distinct groups of the narrowest rung, and the place of each well among them."""
    keys = list(RUNGS[0])
    number = wells.groupby(keys, dropna=False, sort=False, observed=True).ngroup()
    code: NDArray[np.intp] = np.asarray(number, dtype=np.intp)
    first = np.unique(code, return_index=True)[1]
    return wells[keys].iloc[first].reset_index(drop=True), code


@dataclass(frozen=True)
class Seats:
    """Where wells stand on a ladder: group of each well, and row of each group on each rung, -1 for none."""

    place: NDArray[np.intp]
    rows: tuple[NDArray[np.intp], ...]


@dataclass(frozen=True)
class Ladder:
    """Numbers of wells and quantiles by rung, learned from a whole table of wells."""

    names: tuple[pd.Index, ...]
    count: dict[str, tuple[NDArray[np.intp], ...]]
    quantiles: dict[str, tuple[Floats, ...]]
    fewest: int

    def seats(self, wells: pd.DataFrame) -> Seats:
        """Where each well stands; one look serves every quantity."""
        groups, place = grouped(wells)
        return Seats(place, tuple(names.get_indexer(pd.Index(joined(groups[list(keys)]), dtype=object))
                                  for keys, names in zip(RUNGS, self.names, strict=True)))  # fmt: skip

    def look_up(self, seats: Seats, name: str) -> Floats:
        """Quantiles of one quantity for each well, from the narrowest of its groups with enough wells.

        The distances from the middle to low and high are held to those of the wider groups around, in size or as a
        share of the middle, so that a record that does not tell its region never has the narrower band in both.

        Returns
        -------
        ndarray, shape (n, 3)
            Tenth, fiftieth and ninetieth percentile; NaN where no group has enough wells.
        """
        out = np.full((len(seats.rows[0]), 3), np.nan)
        for rung in reversed(range(len(RUNGS))):
            row = seats.rows[rung]
            if not len(self.names[rung]):
                continue
            enough = (row >= 0) & (self.count[name][rung][row] >= self.fewest)
            out = np.where(enough[:, None], held(self.quantiles[name][rung][row], out), out)
        return out[seats.place]


def quantiles_by_group(values: Floats, group: NDArray[np.intp], groups: int) -> tuple[NDArray[np.intp], Floats]:
    """Number of values of each group, and their quantiles at the places (n + 1) q of the ordered values.

    At these places the share of one more value drawn like them that lies below is q on the mean, however few they
    are (source: ``quantiles_sample_1996`` in schemas/references.csv, definition 6); the usual interpolation would
    give bands of few wells that hold too little.

    Returns
    -------
    count : ndarray, shape (groups,)
    quantiles : ndarray, shape (groups, 3)
    """
    known = ~np.isnan(values)
    values, group = values[known], group[known]
    if np.any(values[1:] < values[:-1]):
        order = np.argsort(values, kind="stable")
        values, group = values[order], group[order]
    order = np.argsort(group.astype(np.uint16) if groups <= 65_535 else group, kind="stable")
    values = np.append(values[order], np.nan)
    count = np.bincount(group, minlength=groups)
    start = np.concatenate([[0], np.cumsum(count)[:-1]]).astype(int)
    found = np.full((groups, len(QUANTILES)), np.nan)
    some = count > 0
    for place, q in enumerate(QUANTILES):
        at = np.clip((count[some] + 1) * q - 1, 0, count[some] - 1)
        low = np.floor(at).astype(int)
        high = np.minimum(low + 1, count[some] - 1)
        part = at - low
        found[some, place] = values[start[some] + low] * (1 - part) + values[start[some] + high] * part
    return count, found


def learn_ladder(wells: pd.DataFrame, values: pd.DataFrame, fewest: int) -> Ladder:
    """Quantile tables of the whole table of wells; rows in any order give the same tables."""
    groups, place = grouped(wells)
    ordered = {}
    for name in values.columns:
        value = values[name].to_numpy(float)
        order = np.argsort(value, kind="stable")[: int(np.isfinite(value).sum())]
        ordered[name] = value[order], order
    index: list[pd.Index] = []
    count: dict[str, tuple[NDArray[np.intp], ...]] = {}
    found: dict[str, tuple[Floats, ...]] = {}
    for keys in RUNGS:
        names, code = np.unique(joined(groups[list(keys)]).to_numpy(object).astype(str), return_inverse=True)
        index.append(pd.Index(names.astype(object), dtype=object))
        for name in values.columns:
            number, quantiles = quantiles_by_group(ordered[name][0], code[place[ordered[name][1]]], len(names))
            count[name] = (*count.get(name, ()), number)
            found[name] = (*found.get(name, ()), quantiles)
    return Ladder(tuple(index), count, found, fewest)
