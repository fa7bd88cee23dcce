"""Python API: the command line's jobs as functions, frames in and frames out."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from pipeline import schema
from pipeline.chain import run
from pipeline.errors import UsageError
from pipeline.settings import Settings

__all__ = ["explain", "run", "size"]


def complete(wells: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """A frame with any columns of the table ``wells`` as that whole table; what is missing stays missing.

    Raises
    ------
    UsageError
        When a column is not one of the table's.
    """
    names = [column.field.name for column in schema.table("wells")]
    strange = [column for column in wells.columns if column not in names]
    if strange:
        raise UsageError(f"Columns {strange} are not columns of the table 'wells'; see 'wellstring fields'.")
    frame = wells.reset_index(drop=True).reindex(columns=names)
    given = {
        "source_id": "given", "source_file": "given", "source_table": "given", "use_code": "unknown",
        "market_code": settings.market or "us", "weight_inclusion_fraction": 1.0,
    }  # fmt: skip
    for name, value in given.items():
        frame[name] = frame[name].astype(object).where(frame[name].notna(), value)
    numbered = pd.Series([f"well {n + 1}" for n in range(len(frame))])
    frame["well_id"] = frame["well_id"].astype(object).where(frame["well_id"].notna(), numbered)
    for column in schema.table("wells"):
        if column.field.type in ("number", "integer"):
            frame[column.field.name] = pd.to_numeric(frame[column.field.name]).astype(float)
    return frame


def size(wells: pd.DataFrame, settings: Settings | None = None) -> dict[str, pd.DataFrame]:
    """Recommend a drop pipe for every row of a frame.

    Parameters
    ----------
    wells : DataFrame
        Any columns of the table ``wells``, in SI; rows with no more than a depth are enough.
    settings : Settings, optional

    Returns
    -------
    dict of DataFrame
        The tables ``design``, ``selection``, ``not_chosen``, ``risks``, ``install_plan``, ``bill_lines``,
        ``local_rules`` and ``residuals``.
    """
    from pipeline.chain import PER_WELL, per_well
    from pipeline.design_point import learn

    settings = settings or Settings()
    frame = complete(wells, settings)
    done = per_well(frame, settings, learn(frame, settings))
    return {name: done[name] for name in PER_WELL}


def explain(values: dict[str, str] | None = None, run: str | Path | None = None, well: str = "",
            settings: Settings | None = None) -> dict[str, list[dict[str, Any]]]:  # fmt: skip
    """The calculation sheet of one well, typed in or of a run, as lists of records in SI."""
    from pipeline import sheet

    settings = settings or Settings()
    if run is not None:
        return sheet.of_run(Path(run), well, settings)
    return sheet.of_values([f"{name}={value}" for name, value in (values or {}).items()], settings)
