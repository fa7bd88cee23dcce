"""Invented fields of wells whose water table is known, for tests of the estimates."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.api import complete
from pipeline.settings import Settings

SETTINGS = Settings(draws=0)
DEGREE = 111.2  # km


def plane(count: int = 400, seed: int = 7, noise: float = 1.0, **columns: object) -> pd.DataFrame:
    """A plane water table under hilly ground, 30 km across; levels follow from both, with noise."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 30, (2, count))
    ground = 300 + 25 * np.sin(x / 2.5) * np.cos(y / 3.5)
    table = 262 + 0.4 * x - 0.3 * y
    static = np.maximum(ground - table + rng.normal(0, noise, count), 0.5)
    values = {
        "source_id": "made_up", "well_id": [f"w{n:05d}" for n in range(count)], "use_code": "domestic",
        "latitude_deg": 44 + y / DEGREE, "longitude_deg": -93 + x / DEGREE / np.cos(np.radians(44)),
        "elevation_ground_m": ground, "depth_static_m": static, "depth_completed_m": static + rng.gamma(3, 12, count),
    }  # fmt: skip
    return complete(pd.DataFrame(values | columns), SETTINGS)


def without(wells: pd.DataFrame, rows: object, *columns: str) -> pd.DataFrame:
    """The wells with some cells blanked."""
    out = wells.copy()
    for column in columns:
        out.loc[rows, column] = np.nan if out[column].dtype.kind == "f" else None
    return out
