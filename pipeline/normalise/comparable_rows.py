"""Comparable records of a few rows: of the same region, else the same quarter degree, else the same source.

Looks across the records of one source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.normalise import text

FEWEST = 20  # records that make a neighbourhood
CELL_DEG = 0.25
FAR, AMONG = (0.01, 0.99), (0.05, 0.95)
SIZE_SHARE, SIZE_FEWEST, SIZE_TOLERANCE = 0.02, 3, 0.02


@dataclass(frozen=True)
class Comparable:
    """For each of some rows: quantiles of one field among comparable records, and how many there are."""

    far_low: NDArray[np.float64]
    far_high: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    size: NDArray[np.int64]
    sizes: NDArray[np.float64]  # values that a share of the sound records hold

    @staticmethod
    def of(wells: pd.DataFrame, field: str, at: NDArray[np.int64], sound: NDArray[np.bool_]) -> Comparable:
        """Comparable records of the rows ``at``.

        Parameters
        ----------
        field : str
        at : ndarray (k,) of int
        sound : ndarray (n,) of bool
            Records that may be compared with.
        """
        values = wells[field].to_numpy(dtype=np.float64)
        use = np.flatnonzero(sound & ~np.isnan(values))
        out = np.full((4, len(at)), np.nan)
        size = np.zeros(len(at), dtype=np.int64)
        shares = np.array([FAR[0], FAR[1], AMONG[0], AMONG[1]])
        for keys in (_regions(wells, at), _cells(wells, at), np.zeros(len(wells), dtype=np.int64)):
            lacking = np.flatnonzero(size == 0)
            if keys is None or not len(lacking):
                continue
            groups = np.unique(keys[at[lacking]])
            groups = groups[groups >= 0]
            rows = use[np.isin(keys[use], groups)]
            order = np.lexsort((values[rows], keys[rows]))
            ranked, owner = values[rows][order], keys[rows][order]
            starts, ends = np.searchsorted(owner, groups), np.searchsorted(owner, groups, "right")
            count = ends - starts
            enough = count >= FEWEST
            where = np.searchsorted(groups, keys[at[lacking]])
            where = np.minimum(where, max(len(groups) - 1, 0))
            if not len(groups):
                continue
            good = (keys[at[lacking]] >= 0) & enough[where]
            picked, where = lacking[good], where[good]
            rank = starts[where] + np.round(shares[:, None] * (count[where] - 1)).astype(np.int64)
            out[:, picked] = ranked[rank]
            size[picked] = count[where]
        return Comparable(out[0], out[1], out[2], out[3], size, _held(values[use]))

    def far(self, values: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether values lie beyond all but a hundredth of the comparable ones; false where there are too few."""
        return (values < self.far_low) | (values > self.far_high)

    def among(self, values: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether values lie among the middle nine tenths; false where there are too few."""
        return (values >= self.low) & (values <= self.high)

    def held(self, values: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether values are, within a fiftieth, sizes that several sound records hold."""
        if not len(self.sizes):
            return np.zeros(len(values), dtype=bool)
        place = np.clip(np.searchsorted(self.sizes, values), 1, max(len(self.sizes) - 1, 1))
        near = np.minimum(*(np.abs(self.sizes[np.clip(place - k, 0, len(self.sizes) - 1)] - values) for k in (0, 1)))
        return near <= SIZE_TOLERANCE * values


def _held(values: NDArray[np.float64]) -> NDArray[np.float64]:
    found, counts = np.unique(np.round(values, 3), return_counts=True)
    return found[counts >= max(SIZE_FEWEST, SIZE_SHARE * len(values))]


def _regions(wells: pd.DataFrame, at: NDArray[np.int64]) -> NDArray[np.int64] | None:
    if "region_code" not in wells:
        return None
    coded = text.encode(wells["region_code"])
    return coded.codes.astype(np.int64)


def _cells(wells: pd.DataFrame, at: NDArray[np.int64]) -> NDArray[np.int64] | None:
    if "latitude_deg" not in wells or "longitude_deg" not in wells:
        return None
    lat, lon = wells["latitude_deg"].to_numpy(), wells["longitude_deg"].to_numpy()
    known = ~np.isnan(lat) & ~np.isnan(lon)
    out = np.full(len(wells), -1, dtype=np.int64)
    # 1440 cells around the globe, counted from the south and the west
    south, west = (np.floor((a[known] + b) / CELL_DEG).astype(np.int64) for a, b in ((lat, 90), (lon, 180)))
    out[known] = south * 1440 + west
    return out
