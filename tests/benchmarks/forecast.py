"""Back-test of simple forecasts of new wells by region and year, on a folder of real records.

    python tests/benchmarks/forecast.py --records FOLDER [FOLDER ...]

Rolling origins, 1 to 5 years ahead. Every error is divided by the mean absolute change from year to year before the
origin (mean absolute scaled error, Hyndman and Koehler, Int. J. Forecasting 22 (2006) 679-688, from memory) and
weighted by the wells of the series. Yearly series have no season: the seasonal-naive forecast is last year's value.
Records that hold only wells that still stand are a series of survivors: their old years are short of the lost ones.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.demand.intermittent import chance_and_size, per_period
from pipeline.demand.new_wells_methods import procedure
from pipeline.ingest import read_inputs
from pipeline.normalise import to_records
from pipeline.settings import Settings

AHEAD, LEAST_YEARS, ORIGINS = 5, 8, 12
METHODS = {
    "last year": lambda past: past[:, -1],
    "mean of 3 years": lambda past: past[:, -3:].mean(axis=1),
    "mean of 5 years": lambda past: past[:, -5:].mean(axis=1),
    "size and interval, 0.1": lambda past: per_period(past, 0.1),
    "size and interval, 0.3": lambda past: per_period(past, 0.3),
    "chance and size, 0.3": lambda past: chance_and_size(past, 0.3, 0.3),
}


def counts(folder: Path) -> pd.DataFrame:
    """Wells by region (rows) and year of completion (columns), years without any as 0."""
    settings = Settings()
    wells = to_records(read_inputs([folder], settings), settings).wells
    year = pd.to_datetime(wells["completed_date"]).dt.year
    place = wells["area_code"].astype(object).fillna("-") + " / " + wells["region_code"].astype(object).fillna("-")
    found = pd.crosstab(place[year.notna()], year[year.notna()].astype(int))
    return found if found.empty else found.reindex(columns=range(found.columns.min(), found.columns.max() + 1)).fillna(0)


def scores(series: np.ndarray) -> pd.DataFrame:
    """Scaled error by method (rows) and series (columns), all origins and years ahead together."""
    years = series.shape[1]
    origins = range(max(LEAST_YEARS, years - AHEAD - ORIGINS + 1), years - AHEAD + 1)
    out = {name: [] for name in METHODS}
    for origin in origins:
        past, ahead = series[:, :origin], series[:, origin : origin + AHEAD]
        scale = np.abs(np.diff(past, axis=1)).mean(axis=1)
        for name, method in METHODS.items():
            miss = np.abs(ahead - method(past)[:, None]).mean(axis=1)
            out[name].append(np.where(scale > 0, miss / np.where(scale > 0, scale, 1.0), np.nan))
    return pd.DataFrame({name: np.nanmean(rows, axis=0) for name, rows in out.items() if rows}).T


def of_procedure(series: np.ndarray, area: np.ndarray) -> None:
    """The program's own procedure, run anew at every origin, beside last year's value at the same origins."""
    begins = np.argmax(series > 0, axis=1)
    told = procedure(series, series.shape[1] - begins, area, AHEAD)
    naive = np.full(told.made.shape, np.nan)
    for back in range(len(naive)):
        naive[back] = series[:, series.shape[1] - 1 - back][:, None]
    weight = np.broadcast_to(series.sum(axis=1)[None, :, None], told.made.shape)
    known = ~np.isnan(told.came) & ~np.isnan(told.made)
    scaled = {name: np.abs(told.came - made) / told.scale[..., None] for name, made in (("own", told.made), ("naive", naive))}
    mean = {name: (value * weight)[known].sum() / weight[known].sum() for name, value in scaled.items()}
    by_series = {name: np.nanmean(np.where(known, value, np.nan), axis=(0, 2)) for name, value in scaled.items()}
    whole = {"own": told.made.sum(axis=1), "naive": naive.sum(axis=1)}
    came = told.came.sum(axis=1)
    held = ~np.isnan(came) & ~np.isnan(whole["own"])
    moves = np.abs(np.diff(series.sum(axis=0))).mean()
    total = {name: np.abs(came - value)[held].mean() / moves for name, value in whole.items()}
    rng = np.random.default_rng(7)  # origins drawn anew: regions of one origin share its fortune
    ratio = []
    for _ in range(500):
        rows = rng.integers(0, len(told.made), len(told.made))
        use = known[rows]
        ratio.append((scaled["own"][rows] * weight[rows])[use].sum() / (scaled["naive"][rows] * weight[rows])[use].sum())
    low, high = np.quantile(ratio, [0.05, 0.95])
    print(f"  the program's procedure  by region {mean['own']:5.2f} (last year {mean['naive']:.2f}: ratio "
          f"{mean['own'] / mean['naive']:.2f} [{low:.2f}, {high:.2f}])   total {total['own']:5.2f} (last year "
          f"{total['naive']:.2f})   better in {int((by_series['own'] < by_series['naive']).sum())} of {len(series)} regions"
          f"   80 % band covers {told.coverage:.0%}, {known.sum()} forecasts")  # fmt: skip


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--records", nargs="+", type=Path, required=True)
    for folder in asked.parse_args().records:
        table = counts(folder)
        print(f"{folder.name}: {int(table.to_numpy().sum())} dated wells, {len(table)} regions, {table.shape[1]} years")
        if table.shape[1] < LEAST_YEARS + AHEAD:
            print("  too short for a back-test")
            continue
        values = table.to_numpy(float)
        print("  wells that stand on record today: a series of survivors, the oldest years lack the lost ones")
        of_procedure(values, pd.factorize(table.index.str.split(" / ").str[0])[0])
        by_region, total = scores(values), scores(values.sum(axis=0, keepdims=True))
        weight = values.sum(axis=1)
        for name in METHODS:
            told = by_region.loc[name].to_numpy()
            mean = np.nansum(told * weight) / weight[~np.isnan(told)].sum()
            better = int((told < by_region.loc["last year"].to_numpy()).sum())
            print(f"  {name:<24} by region {mean:5.2f}   total {total.loc[name, 0]:5.2f}   "
                  f"better than last year in {better} of {len(table)} regions")  # fmt: skip


if __name__ == "__main__":
    main()
