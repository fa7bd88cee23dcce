"""What columns say of each other: order of depths and levels, pairs, and a drawdown that is a level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.ingest.proposal.meaning import weight
from pipeline.ingest.proposal.model import Evidence

_DEEP = ("depth_drilled_m", "depth_completed_m")
# (upper, lower): the first lies above the second, in nearly all wells
ORDERS = (
    *(("depth_static_m", deep) for deep in _DEEP),
    *(("depth_pumping_m", deep) for deep in _DEEP),
    *(("depth_pump_m", deep) for deep in _DEEP),
    *(("depth_screen_bottom_m", deep) for deep in _DEEP),
    *(("depth_casing_bottom_m", deep) for deep in _DEEP),
    *(("length_drop_pipe_m", deep) for deep in _DEEP),
    ("depth_static_m", "depth_pumping_m"), ("depth_static_m", "depth_pump_m"), ("depth_pumping_m", "depth_pump_m"),
    ("depth_completed_m", "depth_drilled_m"), ("depth_screen_top_m", "depth_screen_bottom_m"),
    ("depth_bedrock_m", "depth_drilled_m"),
)  # fmt: skip
FEWEST_ROWS = 8
_TOLERANCE = 1.02


@dataclass(frozen=True)
class Order:
    """Share of rows in which the upper lies above the lower, and how many rows tell."""

    share: float
    rows: int


def order(upper: NDArray[np.float64], lower: NDArray[np.float64]) -> Order:
    """Compare two columns in the same unit; zeros tell nothing."""
    both = np.isfinite(upper) & np.isfinite(lower) & (lower > 0) & (upper != 0)
    rows = int(both.sum())
    return Order(float((upper[both] <= lower[both] * _TOLERANCE).mean()) if rows else 0.0, rows)


def ordered(
    name: str, values: NDArray[np.float64], others: dict[str, tuple[str, NDArray[np.float64]]]
) -> list[Evidence]:
    """Evidence for a column as ``name`` from the order against the leaders of other fields.

    Parameters
    ----------
    values : array (rows,)
        The column in metres.
    others : field -> (header, values in metres)
    """
    out = []
    for upper, lower in ORDERS:
        if name not in (upper, lower):
            continue
        other = lower if name == upper else upper
        if other not in others:
            continue
        header, theirs = others[other]
        found = order(values, theirs) if name == upper else order(theirs, values)
        if found.rows < FEWEST_ROWS:
            continue
        sign = "<=" if name == upper else ">="
        text = f"{sign} '{header}' in {found.share:.0%} of {found.rows} rows"
        if found.share >= 0.9:
            out.append(Evidence("relation", text, weight("relation") * 0.6))
        elif found.share < 0.6:
            out.append(Evidence("relation", text, weight("relation_against")))
    positive = sorted((e for e in out if e.weight > 0), key=lambda e: -e.weight)[:2]
    return positive + sorted((e for e in out if e.weight < 0), key=lambda e: e.weight)[:1]


def drawdown_is_level(drawdown: NDArray[np.float64], static: NDArray[np.float64]) -> str:
    """Reason to take a column called drawdown for a pumping level, "" when there is none.

    A drawdown is as often less than the static level as it is more; a pumping level never is.
    """
    both = np.isfinite(drawdown) & np.isfinite(static) & (static > 0) & (drawdown > 0)
    rows = int(both.sum())
    if rows < FEWEST_ROWS:
        return ""
    share = float((drawdown[both] >= static[both]).mean())
    return f"not less than the static level in {share:.0%} of {rows} rows" if share >= 0.95 else ""


def same_thing(left: NDArray[np.float64], right: NDArray[np.float64]) -> tuple[bool, int]:
    """Whether two columns in one unit agree within two per cent in nearly all rows, and in how many rows both tell."""
    both = np.isfinite(left) & np.isfinite(right) & (left > 0) & (right > 0)
    rows = int(both.sum())
    if rows < FEWEST_ROWS:
        return False, rows
    return bool((np.abs(left[both] / right[both] - 1) <= 0.02).mean() >= 0.95), rows
