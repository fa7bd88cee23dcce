"""How exactly points are known, by the pattern they form: shared points, the middles of survey squares, few digits.

Looks across the points of one source. A survey square of a mile or a quarter of a quarter leaves all its wells on
its middle; coordinates of two decimals leave them on a grid of a kilometre. The accuracy is the farthest that a
well of such a cell can lie from the point: half its diagonal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.normalise.issues import IssueLog

DEGREE_M = 111_320.0  # of latitude, on a sphere of the Earth's mean radius
CROWD, LEAST_SHARE, FEWEST_POINTS = 3, 0.2, 10
SAMPLED = 16
REGULAR = 0.15  # spread of the distance between neighbours over its middle
LARGEST_CELL_M = 5_000.0
WHOLE_SHARE, MOST_DIGITS = 0.99, 3
FIELD = "location_accuracy_m"


@dataclass(frozen=True)
class Pattern:
    """What the points of a source form.

    Attributes
    ----------
    accuracy_m : float
        Half the diagonal of a cell.
    shared : ndarray (n,) of bool
        Records that it holds for.
    words : str
        What was found.
    """

    accuracy_m: float
    shared: NDArray[np.bool_]
    words: str


def _keys(lat: NDArray[np.float64], lon: NDArray[np.float64]) -> NDArray[np.int64]:
    return np.round(lat * 1e6).astype(np.int64) * 1_000_000_000 + np.round(lon * 1e6).astype(np.int64)


def digits(lat: NDArray[np.float64], lon: NDArray[np.float64]) -> Pattern | None:
    """Coordinates written with few decimals, or in whole minutes."""
    known = np.flatnonzero(~np.isnan(lat) & ~np.isnan(lon))
    known = known[:: max(len(known) // 20_000, 1)]
    if len(known) < FEWEST_POINTS:
        return None
    y, x = lat[known], lon[known]
    if len(np.unique(_keys(y, x))) < FEWEST_POINTS:
        return None
    steps = [(10.0**-n, f"coordinates of {n} decimals") for n in range(MOST_DIGITS + 1)]
    steps.append((1 / 60, "coordinates in whole minutes"))
    for step, words in sorted(steps, reverse=True):
        off = np.maximum(*(np.abs(v / step - np.round(v / step)) for v in (y, x)))
        if (off * step < 2e-7).mean() >= WHOLE_SHARE:
            half = 0.5 * step * DEGREE_M * float(np.hypot(1.0, np.cos(np.radians(np.median(y)))))
            return Pattern(half, ~np.isnan(lat) & ~np.isnan(lon), words)
    return None


def crowds(lat: NDArray[np.float64], lon: NDArray[np.float64]) -> Pattern | None:
    """Points that several records share and that stand on a lattice of even steps."""
    known = np.flatnonzero(~np.isnan(lat) & ~np.isnan(lon))
    if len(known) < FEWEST_POINTS * CROWD:
        return None
    keys = _keys(lat[known], lon[known])
    # every record of one point in sixteen: where few of these share a point, few do
    mixed = (keys ^ (keys >> 17)) * np.int64(0x9E3779B97F4A7C1)
    some = keys[((mixed >> 40) & (SAMPLED - 1)) == 0] if len(keys) > 50_000 else keys
    _, back, members = np.unique(some, return_inverse=True, return_counts=True)
    if not len(some) or (members[back] >= CROWD).mean() < LEAST_SHARE:
        return None
    _, first, back, members = np.unique(keys, return_index=True, return_inverse=True, return_counts=True)
    crowded = members >= CROWD
    if crowded.sum() < FEWEST_POINTS or (members[back] >= CROWD).mean() < LEAST_SHARE:
        return None
    y, x = lat[known][first], lon[known][first]
    apart = _apart(y, x, np.flatnonzero(crowded))
    step = float(np.nanmedian(apart))
    low, high = np.nanquantile(apart, [0.25, 0.75])
    if not (0 < step <= LARGEST_CELL_M and (high - low) <= REGULAR * step):
        return None
    shared = np.zeros(len(lat), dtype=bool)
    shared[known] = crowded[back]
    words = f"{int(shared.sum())} records share {int(crowded.sum())} points that stand {step:.0f} m apart"
    return Pattern(step / np.sqrt(2.0), shared, words)


def _apart(y: NDArray[np.float64], x: NDArray[np.float64], at: NDArray[np.int64]) -> NDArray[np.float64]:
    """Distance in metres from each point ``at`` to the nearest other point, by cells of the largest step."""
    east, north = np.radians(x) * np.cos(np.radians(np.median(y))), np.radians(y)
    metres = np.stack([east, north], axis=1) * (DEGREE_M * 180 / np.pi)
    at = at[:: max(len(at) // 2_000, 1)]
    cell = np.floor(metres / LARGEST_CELL_M).astype(np.int64)
    code = cell[:, 0] * 10_000_019 + cell[:, 1]
    order = np.argsort(code, kind="stable")
    ranked = code[order]
    best = np.full(len(at), np.nan)
    for dx in (-1, 0, 1):
        for dy in (-1, 0, 1):
            want = (cell[at, 0] + dx) * 10_000_019 + cell[at, 1] + dy
            start, end = np.searchsorted(ranked, want), np.searchsorted(ranked, want, "right")
            for step in range(int(min((end - start).max(initial=0), 500))):
                has = start + step < end
                other = order[np.minimum(start + step, len(order) - 1)]
                gap = np.hypot(*(metres[other] - metres[at]).T)
                gap = np.where(has & (other != at) & (gap > 1.0), gap, np.nan)
                best = np.fmin(best, gap)
    return best


def settle(wells: pd.DataFrame, source_id: str, log: IssueLog) -> None:
    """Accuracy of the place where the source tells none and the points form a pattern; changes ``wells``."""
    if "latitude_deg" not in wells or "longitude_deg" not in wells:
        return
    given = wells[FIELD].to_numpy(dtype=np.float64) if FIELD in wells else np.full(len(wells), np.nan)
    lat, lon = wells["latitude_deg"].to_numpy(), wells["longitude_deg"].to_numpy()
    if not (np.isnan(given) & ~np.isnan(lat)).any():
        return
    out = given
    for found in (crowds(lat, lon), digits(lat, lon)):
        if found is None:
            continue
        take = np.isnan(given) & found.shared & ~(out >= found.accuracy_m)
        if take.any():
            out = np.where(take, found.accuracy_m, out)
            log.once("N509", FIELD, source_id, found.words, f"points of their own; {int(take.sum())} rows",
                     f"{found.accuracy_m:.0f} m")  # fmt: skip
    wells[FIELD] = out
