"""What a rule compares a well with beyond the well itself. Looks across wells.

The middle of each region and the newest believable date come from the whole table; a run that works
in chunks takes them once and hands them to each scan.
"""

from __future__ import annotations

import duckdb
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from pipeline import schema

LEAST_WELLS = 20
_MIDDLES = """
    SELECT area_code, region_code,
           median(latitude_deg) AS region_latitude_deg, median(longitude_deg) AS region_longitude_deg,
           quantile_cont(latitude_deg, 0.75) - quantile_cont(latitude_deg, 0.25) AS region_latitude_spread_deg,
           quantile_cont(longitude_deg, 0.75) - quantile_cont(longitude_deg, 0.25) AS region_longitude_spread_deg
    FROM points
    WHERE latitude_deg IS NOT NULL AND longitude_deg IS NOT NULL AND region_code IS NOT NULL
    GROUP BY ALL HAVING count(*) >= ? ORDER BY ALL
"""


def typed(frame: pd.DataFrame, name: str) -> pa.Array:
    """One column of the wells as a typed Arrow array in which NaN is missing; all missing where it is absent."""
    kind = schema.ARROW[schema.fields()[name].type]
    # a column without any value comes as floats or objects whatever it is
    if name not in frame or bool(frame[name].isna().all()):
        return pa.nulls(len(frame), kind)
    array = pa.Array.from_pandas(frame[name], type=kind, safe=False)
    if isinstance(array, pa.ChunkedArray):
        array = array.combine_chunks()
    if pa.types.is_floating(kind):
        nan = pc.is_nan(array)
        # masked arrays may carry NaN as a value, which every comparison would take as large
        if pc.any(nan).as_py():
            array = pc.if_else(pc.fill_null(nan, True), pa.scalar(None, kind), array)
    return array


def region_middles(wells: pd.DataFrame) -> pd.DataFrame:
    """Median place of each region's wells and the width of their middle half.

    Parameters
    ----------
    wells : DataFrame
        Columns ``area_code, region_code, latitude_deg, longitude_deg``.

    Returns
    -------
    DataFrame
        One row a region of at least 20 placed wells: ``area_code, region_code, region_latitude_deg,
        region_longitude_deg, region_latitude_spread_deg, region_longitude_spread_deg``. [degree]
    """
    names = ("area_code", "region_code", "latitude_deg", "longitude_deg")
    points = pa.table({name: typed(wells, name) for name in names})
    with duckdb.connect(config={"threads": 2}) as base:
        base.register("points", points)
        return base.execute(_MIDDLES, [LEAST_WELLS]).df()


def newest_date(wells: pd.DataFrame) -> str:
    """Newest believable completion date, ``yyyy-mm-dd``; empty where no date is known.

    A handful of dates typed into the future must not become the day the data stand for: dates more
    than a year past the 99th percentile are left aside.
    """
    dates = pd.Series(pd.to_datetime(wells["completed_date"], errors="coerce")).dropna()
    if dates.empty:
        return ""
    days = dates.to_numpy().astype("datetime64[D]")
    days.sort()
    bulk = days[int(0.99 * (len(days) - 1))]
    return str(days[days <= bulk + 365][-1])
