"""Which records stand for a well that needs a drop pipe; the others leave with a reason."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.normalise import text
from pipeline.normalise.codes import NOT_WATER_SUPPLY
from pipeline.normalise.columns import KIND, REASON


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
    size = len(wells)
    label = np.zeros(size, dtype=np.int8)  # 0: in scope; 1: by the layout; else a test below, from 2
    label[wells[REASON].notna().to_numpy()] = 1
    use, status = (text.encode(wells[name]) for name in ("use_code", "status_code"))
    told: list[tuple[str | None, str]] = [(None, ""), (None, "left out by the layout")]
    tests = [
        *((_is(use, code), "not_water_supply", f"use is {code}") for code in NOT_WATER_SUPPLY),
        ((wells[KIND] == "plugging").to_numpy(bool), "plugged", "the record reports a plugging"),
        (_is(status, "plugged"), "plugged", "status is plugged"),
        (_is(status, "dry"), "dry", "status is dry"),
    ]
    for mask, code, words in tests:
        told.append((code, words))
        label[mask & (label == 0)] = len(told) - 1
    codes = np.where(label == 0, -1, label).astype(np.int32)
    reason = text.series(pa.array([code for code, _ in told], type=pa.string()), codes)
    by_layout = np.flatnonzero(label == 1)
    if len(by_layout):
        reason.iloc[by_layout] = wells[REASON].iloc[by_layout].to_numpy()
    detail = text.series(pa.array([words for _, words in told], type=pa.string()), codes)
    return pd.DataFrame({"reason_code": reason, "detail": detail}, copy=False).set_axis(wells.index)


def _is(coded: text.Coded, code: str) -> NDArray[np.bool_]:
    """Rows whose text is ``code``."""
    return coded.spread(pc.equal(coded.texts, code).to_numpy(zero_copy_only=False), False)


def weights(use: pd.Series, unknown: float) -> np.ndarray:
    """Share of each record that stands for a well in scope: 1 where the use is known."""
    return np.where(_is(text.encode(use), "unknown"), unknown, 1.0)
