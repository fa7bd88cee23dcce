"""Wells of a run by what decides when their strings come up; looks across wells, by region."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from pipeline import io
from pipeline.errors import UsageError
from pipeline.settings import Settings

COHORT = ["area_code", "region_code", "use_code", "completed_decade"]
KEYS = [*COHORT, "start_year", "state_code", "material_code", "water_code"]


def cohorts(folder: Path, settings: Settings) -> pd.DataFrame:
    """Histogram of the wells of a run by cohort, year of the string, state, material and water.

    Parameters
    ----------
    folder : Path
        Run folder with the table ``wells``.

    Returns
    -------
    DataFrame
        Columns of ``KEYS`` and wells_milli; a missing year or decade is missing, material_code and water_code are
        "" where not recorded.
    """
    import duckdb

    sql = (Path(__file__).parent / "cohorts.sql").read_text(encoding="utf-8")
    parts = [str(path) for path in io.parts("wells", folder)]
    if not parts:
        raise UsageError(f"{folder} holds no table 'wells'; give the folder of a finished run.")
    with duckdb.connect(":memory:", config={"threads": max(settings.threads, 1)}) as base:
        wells = base.read_parquet(parts)
        base.register("wells", wells)
        found = base.execute(sql, {"limit_ph": settings.base("limit_ph_galvanised")}).df()
    names = dict.fromkeys(("area_code", "region_code", "use_code"), object)  # columns without a name come as numbers
    return found.astype({"completed_decade": "Int64", "start_year": "Int64", **names})


def dated(found: pd.DataFrame, settings: Settings, as_of_year: int) -> pd.DataFrame:
    """Cohorts with every year known: undated wells are spread over the years of their region, area, or all.

    Returns
    -------
    DataFrame
        Columns of ``KEYS`` and wells_milli, now fractional.
    """
    known = found[found["start_year"].notna()].copy()
    lost = found[found["start_year"].isna()].drop(columns="start_year").copy()
    known["start_year"] = known["start_year"].astype(np.int64)
    known["wells_milli"] = known["wells_milli"].astype(float)
    if lost.empty:
        return known
    pieces, left = [known], lost
    for keys in (["area_code", "region_code"], ["area_code"], []):
        names = [*keys, "start_year"]
        seen = known.groupby(names, dropna=False)[["wells_milli"]].sum().reset_index()
        for key in keys:  # without a single name they come as numbers
            seen[key] = seen[key].astype(object)
        whole = seen.groupby(keys, dropna=False)["wells_milli"].transform("sum") if keys else seen["wells_milli"].sum()
        seen["share"] = seen["wells_milli"] / whole
        seen, marked = seen.drop(columns="wells_milli"), left.assign(_row=np.arange(len(left)))
        joined = marked.merge(seen, on=keys, how="inner") if keys else marked.merge(seen, how="cross")
        joined["wells_milli"] = joined["wells_milli"] * joined["share"]
        pieces.append(joined[[*KEYS, "wells_milli"]])
        left = left[~np.isin(np.arange(len(left)), joined["_row"].to_numpy())]
        if left.empty:
            break
    if len(left):  # no well of the run has a date
        band = settings.practice["age_well_unknown"]
        ages = np.arange(int(band.low), int(band.high) + 1)
        spread = left.merge(pd.DataFrame({"start_year": as_of_year - ages}), how="cross")
        spread["wells_milli"] = spread["wells_milli"] / len(ages)
        pieces.append(spread[[*KEYS, "wells_milli"]])
    return pd.concat(pieces, ignore_index=True)
