"""Comparable records of a few rows: of the same region, else the same quarter degree, else the same source.

Looks across the records of one source.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.normalise import text

FEWEST = 20  # records that make a neighbourhood
CELL_DEG = 0.25
FAR, AMONG = (0.01, 0.99), (0.05, 0.95)
SIZE_SHARE, SIZE_FEWEST, SIZE_TOLERANCE = 0.02, 3, 0.02


@dataclass(frozen=True, eq=False)
class Comparable:
    """For each of some rows: quantiles of one field among comparable records, and how many there are."""

    far_low: NDArray[np.float64]
    far_high: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    size: NDArray[np.int64]
    column: NDArray[np.float64]
    use: NDArray[np.bool_]

    @staticmethod
    def of(places: Places, values: NDArray[np.float64], at: NDArray[np.int64], sound: NDArray[np.bool_]) -> Comparable:
        """Comparable records of the rows ``at``.

        Parameters
        ----------
        places : Places
        values : ndarray (n,)
            The field, one value a record.
        at : ndarray (k,) of int
        sound : ndarray (n,) of bool
            Records that may be compared with.
        """
        use = sound & ~np.isnan(values)
        out = np.full((4, len(at)), np.nan)
        size = np.zeros(len(at), dtype=np.int64)
        for keys in (places.regions, places.cells, places.whole):
            lacking = np.flatnonzero(size == 0)
            if keys is None or not len(lacking):
                continue
            groups = np.unique(keys[at[lacking]])
            groups = groups[groups >= 0]
            if not len(groups):
                continue
            quantiles, count = _quantiles(values, keys, groups, use)
            where = np.minimum(np.searchsorted(groups, keys[at[lacking]]), len(groups) - 1)
            good = (keys[at[lacking]] >= 0) & (count[where] >= FEWEST)
            out[:, lacking[good]] = quantiles[:, where[good]]
            size[lacking[good]] = count[where[good]]
        return Comparable(out[0], out[1], out[2], out[3], size, values, use)

    @cached_property
    def _sizes(self) -> NDArray[np.float64]:
        """Values, to the millimetre, that a share of the sound records hold."""
        found, counts = np.unique(np.round(self.column[self.use] * 1000).astype(np.int64), return_counts=True)
        return found[counts >= max(SIZE_FEWEST, SIZE_SHARE * counts.sum())] / 1000.0

    def far(self, values: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether values lie beyond all but a hundredth of the comparable ones; false where there are too few."""
        return (values < self.far_low) | (values > self.far_high)

    def among(self, values: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether values lie among the middle nine tenths; false where there are too few."""
        return (values >= self.low) & (values <= self.high)

    def held(self, values: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether values are, within a fiftieth, sizes that several sound records hold."""
        if not len(self._sizes):
            return np.zeros(len(values), dtype=bool)
        place = np.clip(np.searchsorted(self._sizes, values), 1, max(len(self._sizes) - 1, 1))
        near = np.minimum(*(np.abs(self._sizes[np.clip(place - k, 0, len(self._sizes) - 1)] - values) for k in (0, 1)))
        return near <= SIZE_TOLERANCE * values


def _quantiles(
    values: NDArray[np.float64], keys: NDArray[np.int64], groups: NDArray[np.int64], use: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Quantiles (4, g) of each group and how many records it has."""
    shares = np.array([FAR[0], FAR[1], AMONG[0], AMONG[1]])
    out, count = np.full((4, len(groups)), np.nan), np.zeros(len(groups), dtype=np.int64)
    if len(groups) == 1:
        rows = np.flatnonzero(use & (keys == groups[0]))
        parts = [values[rows]]
    else:
        rows = np.flatnonzero(use & np.isin(keys, groups))
        owner = np.searchsorted(groups, keys[rows])
        # small whole numbers are put in order by counting
        owner = owner.astype(np.uint16 if len(groups) < 65_536 else np.int64)
        order = np.argsort(owner, kind="stable")
        parts = np.split(values[rows[order]], np.searchsorted(owner[order], np.arange(1, len(groups))))
    for place, part in enumerate(parts):
        count[place] = len(part)
        if len(part) >= FEWEST:
            rank = np.round(shares * (len(part) - 1)).astype(np.int64)
            out[:, place] = np.partition(part, np.unique(rank))[rank]
    return out, count


class Places:
    """Groups of records of one source by where they are, worked out when first asked for."""

    def __init__(self, wells: pd.DataFrame) -> None:
        self._wells = wells

    @cached_property
    def regions(self) -> NDArray[np.int64] | None:
        """Number of each record's region, -1 where it has none."""
        if "region_code" not in self._wells:
            return None
        return text.encode(self._wells["region_code"]).codes.astype(np.int64)

    @cached_property
    def cells(self) -> NDArray[np.int64] | None:
        """Number of each record's quarter degree, -1 where it has no place."""
        if not {"latitude_deg", "longitude_deg"} <= set(self._wells):
            return None
        lat, lon = self._wells["latitude_deg"].to_numpy(), self._wells["longitude_deg"].to_numpy()
        known = ~np.isnan(lat) & ~np.isnan(lon)
        out = np.full(len(lat), -1, dtype=np.int64)
        # 1440 cells around the globe, counted from the south and the west
        south, west = (np.floor((a[known] + b) / CELL_DEG).astype(np.int64) for a, b in ((lat, 90), (lon, 180)))
        out[known] = south * 1440 + west
        return out

    @cached_property
    def whole(self) -> NDArray[np.int64]:
        """One number for all."""
        return np.zeros(len(self._wells), dtype=np.int64)
