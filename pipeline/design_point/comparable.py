"""What comparable wells tell of a missing input. Looks across wells: learn on the whole table first.

Quantiles of the recorded values by source, region and class of use; then by source and region, by source
and area, by source; a group counts only with enough wells. What no group tells falls to declared defaults.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.settings import Settings

QUANTILES = (0.1, 0.5, 0.9)
LADDER = (
    ("source_id", "area_code", "region_code", "use_code"),
    ("source_id", "area_code", "region_code"),
    ("source_id", "area_code"),
    ("source_id",),
)


def ratios(wells: pd.DataFrame) -> pd.DataFrame:
    """Scale-free quantities that wells of a region have in common, NaN where a well does not tell."""
    depth = wells["depth_completed_m"].fillna(wells["depth_drilled_m"])
    static = wells["depth_static_m"]
    drawdown = wells["drawdown_test_m"].fillna(wells["depth_pumping_m"] - static)
    capacity = wells["flow_tested_m3_per_s"] / drawdown.where(drawdown > 0)
    blown = wells["test_method_code"].isin(["airlift", "bailed", "estimated"])
    share = (static / depth).where((depth > 0) & (static >= 0) & (static < depth))
    return pd.DataFrame(
        {"depth": depth.where(depth > 0), "static_share": share, "capacity": capacity.where(~blown & (capacity > 0))}
    )


@dataclass(frozen=True)
class Comparable:
    """Quantile tables by rung of the ladder, learned from a whole table of wells."""

    rungs: tuple[pd.DataFrame, ...]
    fewest: int

    def look_up(self, wells: pd.DataFrame, name: str) -> NDArray[np.float64]:
        """Quantiles (rows of 10, 50, 90 %) of one quantity for each well.

        Returns
        -------
        ndarray, shape (n, 3)
            NaN where no group of the ladder has enough wells.
        """
        found = np.full((len(wells), 3), np.nan)
        for keys, table in zip(LADDER, self.rungs, strict=True):
            missing = np.isnan(found[:, 0])
            if not missing.any():
                break
            columns = [(name, q) for q in QUANTILES]
            enough = table[table[(name, "n")] >= self.fewest]
            if enough.empty:
                continue
            names = _joined(wells.loc[missing, list(keys)])
            found[missing] = enough[columns].reindex(names).to_numpy(dtype=float)
        return found


def _joined(frame: pd.DataFrame) -> pd.Series:
    """One text key a row; missing parts are empty."""
    parts = [frame[column].astype(object).where(frame[column].notna(), "").astype(str) for column in frame.columns]
    out = parts[0]
    for part in parts[1:]:
        out = out + "\x1f" + part
    return out


def learn(wells: pd.DataFrame, settings: Settings) -> Comparable:
    """Quantile tables of the whole table of wells; rows in any order give the same tables."""
    values = ratios(wells)
    rungs = []
    for keys in LADDER:
        grouped = values.groupby(_joined(wells[list(keys)]).to_numpy(), sort=True)
        blocks: dict[tuple[str, str | float], pd.Series] = {}
        counts = grouped.count()
        for name in values.columns:
            blocks[(name, "n")] = counts[name]
            for q in QUANTILES:
                blocks[(name, q)] = grouped[name].quantile(q) if len(values) else counts[name].astype(float)
        rungs.append(pd.DataFrame(blocks))
    return Comparable(tuple(rungs), int(settings.base("wells_comparable")))
