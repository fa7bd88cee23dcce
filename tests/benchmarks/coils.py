"""Cutting 1,000 invented wells from coils and reels: cost against the bound, and against simpler ways. Prints figures.

Run: ``python tests/benchmarks/coils.py [--wells 1000]``. Lengths in feet; wells are invented (lognormal depths).
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from pipeline.stock import cutting

STOCKS = np.array([100, 200, 300, 400, 500, 1000])
KEEP = 100


def wells(count: int, seed: int = 7) -> np.ndarray:
    """Whole feet of pipe with make-up of invented wells."""
    source = np.random.default_rng(seed)
    return np.clip(np.ceil(source.lognormal(np.log(190.0), 0.55, count)), 30, 1000).astype(np.int64)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--wells", type=int, default=1000)
    count = asked.parse_args().wells
    need, times = np.unique(wells(count), return_counts=True)
    needed = float(need @ times)
    print(f"{count} wells, {len(need)} distinct lengths, {needed:,.0f} ft needed")
    for worth in (0.0, 0.5):
        for stocks, told in ((STOCKS, "all lengths"), (np.array([1000]), "1,000 ft reels only")):
            start = time.perf_counter()
            plan = cutting.plan(need, times, stocks, KEEP, worth)
            spent = time.perf_counter() - start
            made = (plan.patterns * plan.times[:, None]).sum(axis=0)
            assert (made == times).all() and (plan.patterns @ need <= plan.stock).all()
            ways = {
                "one coil a well": cutting.one_coil_each(need, times, stocks, KEEP, worth),
                "as jobs come, shortest remainder": cutting.as_they_come(need, times, 1000, KEEP, worth, 1),
                "longest first, first fit": cutting.first_fit_decreasing(need, times, 1000, KEEP, worth),
            }
            print(f"\n{told}; kept offcuts of {KEEP} ft and more worth {worth:.0%} of their length")
            print(f"  {'way':<34} {'bought ft':>12} {'cost ft':>12} {'above bound':>12}")
            for name, (bought, cost) in ways.items():
                print(f"  {name:<34} {bought:>12,.0f} {cost:>12,.0f} {cost / plan.bound - 1:>12.2%}")
            print(f"  {'cutting plan':<34} {plan.bought:>12,.0f} {plan.cost:>12,.0f} {plan.gap:>12.2%}"
                  f"   {spent:.1f} s, bound {plan.bound:,.0f}, {len(plan.times)} patterns")  # fmt: skip


if __name__ == "__main__":
    main()
