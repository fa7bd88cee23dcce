"""Regional demand: looks across wells, sums in SQL, percentiles at each level by themselves."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd
import pyarrow as pa

from pipeline import words
from pipeline.errors import PipelineError
from pipeline.settings import Settings

if TYPE_CHECKING:
    import duckdb

DRAW_SUMS = pa.schema([
    ("area_code", pa.string()),
    ("region_code", pa.string()),
    ("item_id", pa.string()),
    ("draw", pa.int64()),
    ("wells_milli", pa.int64()),
    ("pieces_milli", pa.int64()),
    ("length_mm", pa.int64()),
    ("mass_g", pa.int64()),
    ("cost_cents", pa.int64()),
])  # fmt: skip


@cache
def region_key_sql() -> str:
    """SQL that defines the macros ``region_key(area, region)`` and ``area_key(area)``."""
    return _sql("region_key.sql").replace("$not_stated", words.say("place.not_stated"))


def _sql(name: str) -> str:
    return (Path(__file__).parent / name).read_text(encoding="utf-8")


def _typed(draw_sums: pa.Table | pd.DataFrame) -> pa.Table:
    if not _names(draw_sums):
        return DRAW_SUMS.empty_table()  # no draws were asked for
    missing = [name for name in DRAW_SUMS.names if name not in list(_names(draw_sums))]
    if missing:
        raise PipelineError(f"The sums of the draws lack the columns {missing}.")
    if isinstance(draw_sums, pa.Table):
        return draw_sums.select(DRAW_SUMS.names).cast(DRAW_SUMS)
    return pa.Table.from_pandas(draw_sums[DRAW_SUMS.names], schema=DRAW_SUMS, preserve_index=False)


def _names(draw_sums: pa.Table | pd.DataFrame) -> list[str]:
    return draw_sums.column_names if isinstance(draw_sums, pa.Table) else list(draw_sums.columns)


def roll_up(
    draw_sums: pa.Table | pd.DataFrame, settings: Settings, currency: str | None = None, cause: str = "standing"
) -> pd.DataFrame:
    """Material by region from integer sums per draw; looks across all wells.

    Parameters
    ----------
    draw_sums : Arrow table or frame
        Columns of ``DRAW_SUMS``; any number of rows a region, item and draw (they are summed).
        Lengths [mm], masses [g], costs [hundredths of the currency]; wells and pieces in thousandths.
        A length, mass or cost that is missing makes every sum that holds it missing.
    settings : Settings
        ``draws`` is the number of draws; draws in which an item does not occur count as none of it.
    currency : str, optional
        ISO 4217 code of the price list; taken from a column ``currency`` of ``draw_sums`` if left out.
    cause : str
        Code of codes/cause.csv that every row carries.

    Returns
    -------
    DataFrame
        The table ``demand`` with region levels all, area and region, no year.

    Raises
    ------
    PipelineError
        When a column is missing, a draw number does not fit ``settings.draws``, or currencies are mixed.

    Notes
    -----
    A region is named "Area / Region" always, a missing name "(not stated)"; see region_key.sql.
    Percentiles interpolate linearly between order statistics.
    """
    import duckdb

    draws = max(int(settings.draws), 1)
    if currency is None and "currency" in _names(draw_sums):
        currency = _one_currency(draw_sums)
    with duckdb.connect(":memory:", config={"threads": max(settings.threads, 1)}) as base:
        base.register("draw_sums", _typed(draw_sums))
        _check_draws(base, draws)
        base.execute(region_key_sql())
        base.execute(_sql("sums.sql").replace("$all", words.say("place.all")))
        return base.execute(_sql("demand.sql"), {"draws": draws, "currency": currency, "cause": cause}).df()


def _one_currency(draw_sums: pa.Table | pd.DataFrame) -> str | None:
    found = draw_sums["currency"]
    if isinstance(found, pa.ChunkedArray):
        found = found.to_pandas()
    kinds = sorted(found.dropna().unique())
    if len(kinds) > 1:
        raise PipelineError(f"Costs are in {kinds}; they cannot be added. Use one price list a run.")
    return kinds[0] if kinds else None


def _check_draws(base: duckdb.DuckDBPyConnection, draws: int) -> None:
    strange = base.execute(
        "SELECT count(*), min(draw), max(draw) FROM draw_sums WHERE NOT coalesce(draw BETWEEN 0 AND ?, false)",
        [draws - 1],
    ).fetchone()
    assert strange is not None
    if strange[0]:
        raise PipelineError(
            f"The sums of the draws hold draw numbers {strange[1]} to {strange[2]}; settings ask for {draws} draws."
        )
