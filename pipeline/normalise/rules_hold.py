"""Which of a few records fail rules of the scan, by the tests of schemas/rules.csv. Works row by row."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from pipeline import schema


@cache
def _tests() -> dict[str, dict[str, str]]:
    return {row["code"]: row for row in schema.rows("rules") if row["stage"] == "validate"}


@cache
def _base() -> Any:
    """One database in memory for all questions."""
    import duckdb

    return duckdb.connect()


def needs(wells: pd.DataFrame, codes: tuple[str, ...]) -> list[str]:
    """Columns of a frame of which rules speak."""
    named = dict.fromkeys(name for code in codes for name in _tests()[code]["needs"].split("|"))
    return [name for name in named if name in wells]


def failing(wells: pd.DataFrame, codes: tuple[str, ...]) -> NDArray[np.bool_]:
    """Whether each row fails at least one of the rules whose columns it has.

    Parameters
    ----------
    wells : DataFrame
        Canonical columns in SI.
    codes : tuple of str
        Rules of the stage validate.
    """
    rules = [rule for rule in (_tests()[code] for code in codes) if set(rule["needs"].split("|")) <= set(wells)]
    names = list(dict.fromkeys(name for rule in rules for name in rule["needs"].split("|")))
    if not rules or wells.empty:
        return np.zeros(len(wells), dtype=bool)
    frame = pa.table({name: pa.array(wells[name], from_pandas=True) for name in names})
    test = " OR ".join(f"coalesce({rule['test']}, false)" for rule in rules)
    with _base().cursor() as base:
        base.register("rows", frame)
        return np.asarray(base.sql(f"SELECT {test} AS failed FROM rows").fetchnumpy()["failed"], dtype=bool)
