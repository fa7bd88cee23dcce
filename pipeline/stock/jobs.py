"""How many jobs a year take how much of each item; looks across wells, sums in SQL.

Rates come from the rows by year of the table ``demand`` where a run has them. Without them every standing well is
pulled once in the declared interval, and new wells come as in the last five years.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline import io
from pipeline.demand import region_key_sql
from pipeline.errors import UsageError
from pipeline.export.database import parquet_sql
from pipeline.materials.goods import Catalogue
from pipeline.settings import Settings

NEW_YEARS = 5  # complete years whose completions stand for the coming one where demand by year is missing


@dataclass(frozen=True)
class Jobs:
    """What a run tells of the jobs of each place.

    Attributes
    ----------
    amounts : DataFrame
        place, item_id, amount (whole pieces or sale units of a well), weight_milli.
    needs : DataFrame
        place, item_id, need (whole steps of coiled pipe with make-up), weight_milli.
    rates : DataFrame
        place, item_id, cause_code, pieces_year.
    basis : str
        ``demand`` or ``pull_rate``: where the rates come from.
    year : int or None
        Year the rates stand for.
    steps : dict
        Metres a step of ``needs``, by item.
    """

    amounts: pd.DataFrame
    needs: pd.DataFrame
    rates: pd.DataFrame
    basis: str
    year: int | None
    steps: dict[str, float]


def steps(goods: Catalogue, settings: Settings) -> dict[str, float]:
    """Metres to which coiled pipe is cut, by item: by the market of the option."""
    options = goods.options[goods.options["coil_lengths_m"].astype(str).str.len() > 0]
    by_market = {"us": settings.base("step_cut_us"), "metric": settings.base("step_cut_metric")}
    return {i: by_market[m] for i, m in zip(options["option_id"], options["market_code"], strict=True)}


def of_run(run: Path, settings: Settings, goods: Catalogue, as_of: str) -> Jobs:
    """Jobs of a finished run.

    Raises
    ------
    UsageError
        When no well of the run has a recommended pipe.
    """
    import duckdb

    step = steps(goods, settings)
    with duckdb.connect(":memory:", config={"threads": max(settings.threads, 1), "memory_limit": "2GB"}) as base:
        base.execute(region_key_sql())
        base.register("coil_steps", pd.DataFrame({"item_id": list(step), "step": list(step.values())}))
        text = (Path(__file__).parent / "jobs.sql").read_text(encoding="utf-8")
        for name in ("selection", "bill_lines"):
            text = text.replace(f"${name}", parquet_sql(name, run))
        base.execute(text.replace("$make_up", repr(settings.base("length_coil_make_up"))))
        amounts, needs = base.execute("FROM amounts").df(), base.execute("FROM needs").df()
        if not len(amounts):
            raise UsageError(f"{run}: no well has a recommended pipe, so there is nothing to stock.")
        rates, basis, year = _by_year(base, run, as_of)
        if rates is None:
            rates, basis, year = _by_pulls(base, run, settings, as_of, amounts), "pull_rate", None
    return Jobs(amounts, needs, rates, basis, year, step)


def _by_year(base: Any, run: Path, as_of: str) -> tuple[pd.DataFrame | None, str, int | None]:
    """Pieces of the first year after the newest record, from the table ``demand``; None where it has no years."""
    if not io.parts("demand", run):
        return None, "", None
    source = parquet_sql("demand", run)
    after = int(as_of[:4]) if as_of[:4].isdigit() else 0
    found = base.execute(
        f"SELECT coalesce(min(year) FILTER (WHERE year > ?), max(year)) FROM {source} WHERE year IS NOT NULL "
        "AND region_level = 'region'", [after],
    ).fetchone()[0]  # fmt: skip
    if found is None:
        return None, "", None
    rates = base.execute(
        f"SELECT region_code AS place, item_id, cause_code, sum(pieces_expected) AS pieces_year FROM {source} "
        "WHERE region_level = 'region' AND year = ? AND cause_code NOT IN ('standing', 'every') "
        "AND pieces_expected > 0 "
        "GROUP BY ALL ORDER BY ALL", [found],
    ).df()  # fmt: skip
    return (rates, "demand", int(found)) if len(rates) else (None, "", None)


def _by_pulls(base: Any, run: Path, settings: Settings, as_of: str, amounts: pd.DataFrame) -> pd.DataFrame:
    """Pieces a year from the declared interval between pulls and the completions of the last complete years."""
    standing = base.execute("FROM standing").df().set_index("place")["wells"]
    last = int(as_of[:4]) if as_of[:4].isdigit() else 9999
    new = base.execute(
        f"SELECT place, sum(weight_milli) / 1000.0 / {NEW_YEARS} AS wells FROM places JOIN {parquet_sql('wells', run)} "
        "USING (source_id, well_id) WHERE year(completed_date) BETWEEN ? AND ? GROUP BY place ORDER BY place",
        [last - NEW_YEARS, last - 1],
    ).df().set_index("place")["wells"]  # fmt: skip
    pieces = amounts.assign(pieces=amounts["amount"] * amounts["weight_milli"] / 1000.0)
    pieces = pieces.groupby(["place", "item_id"], sort=True)["pieces"].sum().reset_index()
    wells = pieces["place"].map(standing)
    replaced = pieces[["place", "item_id"]].assign(
        cause_code="replaced", pieces_year=pieces["pieces"] / settings.base("interval_pull")
    )
    share = (pieces["place"].map(new).fillna(0.0) / wells).to_numpy(float)
    fresh = pieces[["place", "item_id"]].assign(cause_code="new", pieces_year=pieces["pieces"] * share)
    return pd.concat([fresh[fresh["pieces_year"] > 0], replaced], ignore_index=True)
