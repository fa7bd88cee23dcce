"""New wells of the years ahead, forecast from completion dates; looks across wells, by region.

A region with enough wells of its own is one series of yearly counts, uses together: dates known to the year only count
like the others. Regions with few wells are one series of their area, shared out by what they had. A region's wells are
shared out to uses as its recent ones were. Levels are sums of the same draws.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import io, rng, schema, words
from pipeline.demand import region_key_sql
from pipeline.demand.new_wells_methods import LEAST_ERRORS, Told, paths, procedure
from pipeline.settings import Settings

Floats = NDArray[np.float64]
PATHS = ["area_code", "region_code", "use_code", "year", "draw", "wells_milli"]
YEARS_KEPT = 40  # years of a series that are looked at
SHORT = 6  # a series of fewer years is only averaged
_PLACE = ["area_code", "region_code"]


@dataclass
class NewWells:
    """The forecast.

    Attributes
    ----------
    paths : DataFrame
        area_code, region_code, use_code, year, draw, wells_milli: new wells in every draw.
    table : DataFrame
        Rows of the table ``forecast``.
    notes : list of str
        Why nothing, or little, could be told.
    """

    paths: pd.DataFrame
    table: pd.DataFrame
    notes: list[str] = field(default_factory=list)


def _nothing(note: str) -> NewWells:
    columns = [c.field.name for c in schema.table("forecast")]
    return NewWells(pd.DataFrame(columns=PATHS), pd.DataFrame(columns=columns), [note])


def forecast(folder: Path, settings: Settings, as_of: str) -> NewWells:
    """New wells by region, use, year and draw.

    Parameters
    ----------
    folder : Path
        Run folder with the table ``wells``.
    settings : Settings
        years_forecast, draws, seed; practice values share_recorded_newest, wells_recent_least, years_recent.
    as_of : str
        Date of the run; the year in which it lies is not complete and is not looked at, save at its very end.
    """
    import duckdb

    sql = (Path(__file__).parent / "new_wells.sql").read_text(encoding="utf-8")
    with duckdb.connect(":memory:", config={"threads": max(settings.threads, 1)}) as base:
        base.register("wells", base.read_parquet([str(path) for path in io.parts("wells", folder)]))
        found = base.execute(sql).df().astype(dict.fromkeys((*_PLACE, "use_code"), object))
    if not as_of or found.empty:
        return _nothing(words.say("forecast.no_dates"))
    now = int(as_of[:4])
    last = now if as_of[5:] >= "12-15" else now - 1
    found = found[found["year"] <= last]
    if found.empty:
        return _nothing(words.say("forecast.no_dates"))
    return _told(found, settings, now, last, _recorded(as_of, last, settings))


def _recorded(as_of: str, last: int, settings: Settings) -> float:
    """Share of the newest complete year that stands on record: reports come late, up to two years on."""
    months = max((int(as_of[:4]) - last - 1) * 12 + int(as_of[5:7] or 1), 0)
    return float(np.interp(months, [0, 12, 24], [settings.base("share_recorded_newest"), 1.0, 1.0]))


def _told(found: pd.DataFrame, settings: Settings, now: int, last: int, recorded: float) -> NewWells:
    ahead, draws = max(int(settings.base("years_forecast")), 1), max(int(settings.draws), 1)
    first = max(int(found["year"].min()), last - YEARS_KEPT + 1)
    recent = found[found["year"] > last - int(settings.base("years_recent"))]
    places = found[_PLACE].drop_duplicates().sort_values(_PLACE, na_position="last", ignore_index=True)
    number = _numbers(found, places)
    held = np.bincount(_numbers(recent, places), recent["wells_milli"], len(places))
    enough = held >= settings.base("wells_recent_least") * 1000.0
    area, _ = pd.factorize(places["area_code"], use_na_sentinel=False)
    # series: each region with enough wells, then the other regions of each area
    numbered = np.where(enough, np.cumsum(enough) - 1, enough.sum() + area)
    kinds, series_of = np.unique(numbered, return_inverse=True)
    counts = np.zeros((len(kinds), last - first + 1))
    kept = (found["year"] >= first).to_numpy()
    np.add.at(counts, (series_of[number][kept], found["year"].to_numpy()[kept] - first),
              found["wells_milli"].to_numpy(float)[kept] / 1000.0)  # fmt: skip
    counts[:, -1] /= recorded
    begins = np.argmax(counts > 0, axis=1)
    lengths = np.where((counts > 0).any(axis=1), counts.shape[1] - begins, 1)
    group = np.zeros(len(kinds), np.int64)
    group[series_of] = area
    told = procedure(counts, lengths, group, ahead)
    short = lengths < SHORT
    for k in np.flatnonzero(short):
        told.point[k] = counts[k, -lengths[k]:].mean()
    steps = range(now + 1, now + ahead + 1)
    gap = now - last  # forecasts begin after the last complete year; those of a year passed are left out
    if gap:
        told.point[:, :] = np.concatenate([told.point[:, gap:], np.repeat(told.point[:, -1:], gap, axis=1)], axis=1)
        told.errors = [*told.errors[gap:], *[told.errors[-1]] * gap]
    area_names = places["area_code"].astype(object).fillna("")
    names = area_names + "\x1f" + places["region_code"].astype(object).fillna("")
    first_of = np.array([int(np.flatnonzero(series_of == k)[0]) for k in range(len(kinds))])
    own_key, area_key = (rng.keys([str(text.iloc[k]) for k in first_of]) for text in (names, area_names))
    shared = np.stack([rng.normal(settings.seed, "new/area", area_key, d) for d in range(draws)])
    own = np.stack([rng.normal(settings.seed, "new/region", own_key, d) for d in range(draws)])
    drawn = paths(told, shared, own)
    # a region of a shared series takes its share of it, a use its share of the region
    share = _uses(found, recent, places, series_of)
    rows = _rows(drawn, share, places, list(steps))
    method = np.where(short[series_of], "too_short", np.where(enough, "combined", "shared"))
    return NewWells(rows, _table(rows, places, method, told, series_of, area, settings))


def _numbers(rows: pd.DataFrame, places: pd.DataFrame) -> NDArray[np.int64]:
    index = pd.MultiIndex.from_frame(places[_PLACE].astype(object).fillna(""))
    return index.get_indexer(pd.MultiIndex.from_frame(rows[_PLACE].astype(object).fillna("")))


def _uses(
    found: pd.DataFrame, recent: pd.DataFrame, places: pd.DataFrame, series_of: NDArray[np.int64]
) -> pd.DataFrame:
    """Share of each region and use in its series: of recent wells, of all where the series has no recent one."""
    frames = []
    for rows in (recent, found):
        own = rows.assign(place=_numbers(rows, places)).groupby(["place", "use_code"], dropna=False)
        part = own["wells_milli"].sum().reset_index()
        part["series"] = series_of[part["place"].to_numpy()]
        part["share"] = part["wells_milli"] / part.groupby("series")["wells_milli"].transform("sum")
        frames.append(part)
    missing = frames[1][~frames[1]["series"].isin(set(frames[0]["series"]))]
    return pd.concat([frames[0], missing], ignore_index=True)


def _rows(drawn: Floats, share: pd.DataFrame, places: pd.DataFrame, steps: list[int]) -> pd.DataFrame:
    """Whole thousandths of wells by region, use, year and draw."""
    part = drawn[:, share["series"].to_numpy()] * share["share"].to_numpy(float)[None, :, None]
    milli = np.rint(part * 1000.0).astype(np.int64)
    draw, row, step = np.nonzero(milli)
    at = share["place"].to_numpy()[row]
    return pd.DataFrame({
        "area_code": places["area_code"].to_numpy(object)[at],
        "region_code": places["region_code"].to_numpy(object)[at],
        "use_code": share["use_code"].to_numpy(object)[row], "year": np.array(steps)[step], "draw": draw,
        "wells_milli": milli[draw, row, step],
    })  # fmt: skip


def _table(
    rows: pd.DataFrame, places: pd.DataFrame, method: NDArray[np.str_], told: Told, series_of: NDArray[np.int64],
    area: NDArray[np.int64], settings: Settings,
) -> pd.DataFrame:  # fmt: skip
    """Rows of ``forecast`` at every level, from the same draws."""
    import duckdb

    draws = max(int(settings.draws), 1)
    with duckdb.connect(":memory:", config={"threads": max(settings.threads, 1)}) as base:
        base.execute(region_key_sql())
        base.register("paths", rows)
        base.register("named", places.astype({"area_code": "str", "region_code": "str"}))
        levels = base.execute(
            "WITH named_paths AS (SELECT area_key(area_code) AS area, region_key(area_code, region_code) AS region,"
            " year, draw, wells_milli FROM paths), levels AS ("
            " SELECT 'all' AS region_level, $all AS region_code, year, draw, wells_milli FROM named_paths UNION ALL"
            " SELECT 'area', area, year, draw, wells_milli FROM named_paths UNION ALL"
            " SELECT 'region', region, year, draw, wells_milli FROM named_paths)"
            " SELECT region_level, region_code, year, draw, sum(wells_milli)::BIGINT AS milli FROM levels GROUP BY ALL",
            {"all": words.say("place.all")},
        ).df()
        keys = base.execute(
            "SELECT area_key(area_code) AS area, region_key(area_code, region_code) AS region FROM named"
        ).df()
    if levels.empty:
        return _nothing("").table
    wide = levels.pivot_table(
        index=["region_level", "region_code", "year"], columns="draw", values="milli", aggfunc="sum"
    )
    values = wide.reindex(columns=range(draws)).fillna(0).to_numpy(float) / 1000.0
    p10, p50, p90 = np.quantile(values, [0.1, 0.5, 0.9], axis=1)
    out = wide.index.to_frame(index=False).assign(
        cause_code="new", wells_count=values.mean(axis=1), wells_count_p10=p10, wells_count_p50=p50,
        wells_count_p90=p90,
    )  # fmt: skip
    by_region = pd.DataFrame({
        "region_code": keys["region"], "method_code": method, "score": told.score[series_of],
    }).drop_duplicates("region_code").set_index("region_code")  # fmt: skip
    is_region = (out["region_level"] == "region").to_numpy()
    out["method_code"] = np.where(is_region, out["region_code"].map(by_region["method_code"]), "sum")
    out["score_back_test"] = np.where(is_region, out["region_code"].map(by_region["score"]), np.nan)
    groups = {"all": {words.say("place.all"): np.ones(len(series_of), bool)},
              "area": {name: (keys["area"] == name).to_numpy() for name in keys["area"].unique()}}  # fmt: skip
    for level, members in groups.items():
        for name, inside in members.items():
            here = (out["region_level"] == level) & (out["region_code"] == name)
            out.loc[here, "score_back_test"] = summed_score(told, np.unique(series_of[inside]))
    few = sum(len(e) for e in told.errors) < LEAST_ERRORS
    return out.assign(coverage_fraction=np.nan if few else told.coverage)


def summed_score(told: Told, members: NDArray[np.int64]) -> float:
    """Scaled error of the sum of several series in the back-test, at origins that all of them have."""
    made, came = told.made[:, members].sum(axis=1), told.came[:, members].sum(axis=1)
    moved = np.abs(np.diff(told.came[1:, members, 0].sum(axis=1)))
    scale = np.nanmean(moved) if np.isfinite(moved).any() else np.nan
    error = np.abs(came - made)
    return float(np.nanmean(error) / scale) if np.isfinite(error).any() and scale > 0 else float("nan")
