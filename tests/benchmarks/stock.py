"""Stock rules played against later wells of a run: ``python tests/benchmarks/stock.py --run DIR``. Prints a table.

Wells with a day or month of completion are jobs, in the order of their dates, each taking what its bill says. Rules
are fitted on the years before each year held out and played through it, which they have not seen: jobs a year with
the older years fading, their rate no surer than the jobs seen, sizes from the wells. Held against them is 'last year
times 1.05': a level of so many weeks of last year's demand times 1.05; both look once a week. Stock at equal fill rate
is compared.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from pipeline import io
from pipeline.rng import keys, uniform
from pipeline.stock import compound, rules, simulate

REVIEW, LEAD, LEAD_SD, YEAR = 7, 7.0, 1.75, 365.25
FIT_YEARS, KEEP = 5, 0.5  # years looked back on, and the weight of a year over that of the next


def jobs_of(run: Path, most_items: int) -> pd.DataFrame:
    """Day, place, stocked thing and pieces of every dated well of a run."""
    wells = io.read_table("wells", run, ["source_id", "well_id", "completed_date", "completed_precision_code"])
    chosen = io.read_table("selection", run, ["source_id", "well_id", "area_code", "region_code"])
    bill = io.read_table("bill_lines", run, ["source_id", "well_id", "item_id", "quantity", "length_m"])
    whole = bill.merge(wells, on=["source_id", "well_id"]).merge(chosen, on=["source_id", "well_id"])
    whole = whole[whole["completed_date"].notna()].copy()
    day = pd.to_datetime(whole["completed_date"])
    # a date known to the year or month is spread over it by the well's own number, so that no spike stands on one day
    share = uniform(1, "bench", keys(list(whole["well_id"].astype(str))), 0)
    precision = whole["completed_precision_code"].fillna("day")
    start = np.where(precision.eq("year"), pd.to_datetime(day.dt.year.astype(str) + "-01-01"), day)
    room = np.select([precision.eq("year"), precision.eq("month")], [365.0, 30.0], 1.0)
    whole["day"] = (pd.to_datetime(start) - pd.Timestamp("1900-01-01")).days.to_numpy() + share * room
    whole["place"] = whole["area_code"].fillna("") + " / " + whole["region_code"].fillna("")
    whole["pieces"] = np.maximum(np.ceil(whole["quantity"] - 1e-6), 1.0)
    common = whole["item_id"].value_counts().index[:most_items]
    return whole[whole["item_id"].isin(common)].sort_values("day", kind="stable")


def played(part: pd.DataFrame, start: float, days: int, reorder: np.ndarray, upto: np.ndarray, seed: int) -> simulate.Played:
    """Play held-out jobs; ``reorder`` and ``upto`` may differ by year, the rule of a year then starts from its level."""
    arrivals = part["day"].to_numpy(float) - start
    leads = simulate.lead_times(f"{seed}", seed, LEAD, LEAD_SD, days)
    given = asked = held = 0.0
    for year in range(len(reorder)):
        begin, end = int(year * YEAR), min(int((year + 1) * YEAR), days)
        now = (arrivals >= begin) & (arrivals < end)
        one = simulate.play(arrivals[now] - begin, part["pieces"].to_numpy(float)[now], end - begin, REVIEW,
                            reorder[year], upto[year], 1.0, leads[begin:end])  # fmt: skip
        total = part["pieces"].to_numpy(float)[now].sum()
        asked += total
        given += total * (one.fill if total > 0 else 0.0)
        held += one.stock * (end - begin)
    return simulate.Played(given / asked if asked else np.nan, np.nan, held / days, np.nan)


def main() -> None:
    told = argparse.ArgumentParser(description=__doc__)
    told.add_argument("--run", type=Path, required=True)
    told.add_argument("--items", type=int, default=25)
    told.add_argument("--years", type=int, default=4, help="Years held out.")
    told.add_argument("--service", type=float, nargs="*", default=[0.9, 0.95, 0.98])
    asked = told.parse_args()
    jobs = jobs_of(asked.run, asked.items)
    last = np.floor(jobs["day"].quantile(0.995))
    split = last - asked.years * YEAR
    before = jobs[(jobs["day"] < split) & (jobs["day"] >= split - 5 * YEAR)]
    after = jobs[(jobs["day"] >= split) & (jobs["day"] < last)]
    stamp = [pd.Timestamp("1900-01-01") + pd.Timedelta(days=float(d)) for d in (split - 5 * YEAR, split, last)]
    print(f"{asked.run.name}: fitted on {len(before):,} lines from {stamp[0]:%Y-%m} to {stamp[1]:%Y-%m}, "
          f"played on {len(after):,} lines to {stamp[2]:%Y-%m}")  # fmt: skip
    days = int(last - split)
    wanted = after.groupby(["place", "item_id"]).size()
    both = [key for key in wanted.index if len(before[(before["place"] == key[0]) & (before["item_id"] == key[1])])]
    print(f"{len(both)} lines of place and item with demand before and after; review {REVIEW} d, lead {LEAD:g} d")
    parts = {k: (before[(before["place"] == k[0]) & (before["item_id"] == k[1])],
                 jobs[(jobs["place"] == k[0]) & (jobs["item_id"] == k[1])]) for k in both}  # fmt: skip

    def fitted(shared: bool, service: float) -> dict[int, np.ndarray]:
        """Levels of every line for every year held out, each year fitted anew on the years before it."""
        out = {n: np.zeros(asked.years) for n in range(len(parts))}
        for year in range(asked.years):
            begin = split + year * YEAR
            chances, rates, costs = [], [], []
            for fit, whole in parts.values():
                ends = begin - YEAR * np.arange(FIT_YEARS, -1, -1)
                counts = np.histogram(whole["day"], ends)[0]
                rate, spread = rules.rate_from_counts(counts, KEEP)
                seen = whole.loc[whole["day"] < begin, "pieces"].astype(int)
                sizes = np.bincount(seen) / len(seen)
                m1, m2 = float(sizes @ np.arange(len(sizes))), float(sizes @ np.arange(len(sizes)) ** 2)
                daily, days_ = rate / YEAR, LEAD + REVIEW
                unsure = (LEAD_SD / days_) ** 2 + spread
                _, variance = compound.moments(daily, days_, np.sqrt(unsure) * days_, m1, m2)
                step = compound.grid_step(daily * days_ * m1, float(variance), len(sizes))
                found = compound.distribution(daily * days_, compound.coarse(sizes, step), unsure)
                chances.append((found, step))
                rates.append(rate)
                costs.append(step / max(float(fit["pieces"].mean()), 1e-9))
            if shared:
                levels = rules.shared_levels([c for c, _ in chances], rates, costs, service)
            else:
                levels = np.array([compound.quantile(c, service) + 1 for c, _ in chances])
            for n, (level, (_, step)) in enumerate(zip(levels, chances, strict=True)):
                out[n][year] = level * step
        return out

    def with_levels(levels: dict[int, np.ndarray]) -> tuple[float, float]:
        given = total = stock = 0.0
        for n, (fit, whole) in enumerate(parts.values()):
            held_out = whole[(whole["day"] >= split) & (whole["day"] < last)]
            one = played(held_out, split, days, levels[n] - 1, levels[n], n)
            weight = 1.0 / max(float(fit["pieces"].mean()), 1e-9)  # counted in jobs, so that metres do not rule
            lines = float(held_out["pieces"].sum())
            given, total, stock = given + lines * weight * one.fill, total + lines * weight, stock + one.stock * weight
        return given / total, stock

    def last_year(weeks: float) -> dict[int, np.ndarray]:
        out = {}
        for n, (_fit, whole) in enumerate(parts.values()):
            edges = split + (np.arange(asked.years + 1) - 1) * YEAR
            out[n] = np.ceil(1.05 * np.histogram(whole["day"], edges, weights=whole["pieces"])[0] * weeks / 52.18)
        return out

    print(f"\n{'rule':<34} {'fill rate':>10} {'stock, jobs':>12}")
    grid = {weeks: with_levels(last_year(weeks)) for weeks in (1, 2, 3, 4, 6, 8, 12, 16, 20, 26, 36, 52, 78)}
    for weeks in (2, 4, 8, 12, 26):
        print(f"{f'last year x 1.05, {weeks} weeks':<34} {grid[weeks][0]:>10.1%} {grid[weeks][1]:>12,.1f}")
    fills = np.array([v[0] for v in grid.values()])
    stocks = np.array([v[1] for v in grid.values()])
    order = np.argsort(fills)
    for shared, name in ((False, "each line at cycle service"), (True, "all lines at fill rate")):
        for service in asked.service:
            fill, stock = with_levels(fitted(shared, service))
            note = f"last year reaches {fills.max():.1%} at most, with {stocks.max():,.1f}"
            if fill <= fills.max():
                equal = float(np.interp(fill, fills[order], stocks[order]))
                note = f"same fill by last year: {equal:,.1f}, so {stock / equal - 1:+.0%}"
            print(f"{f'{name} {service:.0%}':<34} {fill:>10.1%} {stock:>12,.1f}   {note}")


if __name__ == "__main__":
    main()
