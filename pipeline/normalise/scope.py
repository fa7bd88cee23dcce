"""Which records stand for a well that needs a drop pipe; the others leave with a reason."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.normalise.columns import KIND, REASON

NOT_WATER_SUPPLY = ("monitoring", "test", "geothermal", "injection", "oil_gas", "unused")


def reasons(wells: pd.DataFrame) -> pd.DataFrame:
    """Reason to leave each record out, and in words why.

    Parameters
    ----------
    wells : DataFrame
        With use_code, status_code, KIND and the layout's own REASON.

    Returns
    -------
    DataFrame
        reason_code and detail, missing for records in scope.
    """
    reason = wells[REASON].copy()
    detail = pd.Series("left out by the layout", index=wells.index, dtype="str").where(reason.notna())
    tests = (
        (wells["use_code"].isin(NOT_WATER_SUPPLY), "not_water_supply", "use is " + wells["use_code"]),
        (wells[KIND] == "plugging", "plugged", "the record reports a plugging"),
        (wells["status_code"] == "plugged", "plugged", "status is plugged"),
        (wells["status_code"] == "dry", "dry", "status is dry"),
    )
    for mask, code, words in tests:
        here = mask.fillna(False).astype(bool) & reason.isna()
        reason, detail = reason.mask(here, code), detail.mask(here, words)
    return pd.DataFrame({"reason_code": reason, "detail": detail})


def weights(use: pd.Series, unknown: float) -> np.ndarray:
    """Share of each record that stands for a well in scope: 1 where the use is known."""
    return np.where(use.to_numpy() == "unknown", unknown, 1.0)
