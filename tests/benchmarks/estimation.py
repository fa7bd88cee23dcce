"""How well missing inputs are estimated, on wells where the answer is recorded: prints figures, asserts nothing.

    python tests/benchmarks/estimation.py [--records DIR] [--folds 5] [--only static,setting,capacity] [--source WORD]

Each folder of DIR is read as a run would read it. The wells that record a value are dealt into folds twice: well by
well (as many neighbours as in the field), and by blocks of a tenth of a degree (no neighbour within the block; where
a source gives no coordinates, by region). In each fold the value is blanked, everything is learned from the rest, and
the estimate is held against what is recorded, beside two simple guesses. Printed: wells, median absolute error of the
estimate and of both guesses, how far the estimate's error lies below that of the better guess with its 95 % bootstrap
interval, and the share of recorded values within the 80 % band beside what chance allows.

Values that are modelled in the source (or the intake of a test pump) are no truth and are not used: only fields that
the layouts read as recorded.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from pipeline import schema  # noqa: E402
from pipeline.design_point import learn, space  # noqa: E402
from pipeline.design_point.comparable import quantities, recorded_depth  # noqa: E402
from pipeline.design_point.levels import work_out  # noqa: E402
from pipeline.design_point.residuals import recorded_setting  # noqa: E402
from pipeline.settings import Settings  # noqa: E402

RESAMPLES = 1000
LEAST = 30  # wells below which figures are printed without a verdict
BLANK = {
    "static": ("depth_static_m", "depth_pumping_m", "drawdown_test_m", "is_flowing"),
    "advised setting": ("depth_pump_m", "length_drop_pipe_m", "depth_pump_recommended_m"),
    "setting": ("depth_pump_m", "length_drop_pipe_m", "depth_pump_recommended_m"),
    "capacity": ("depth_pumping_m", "drawdown_test_m"),
    "capacity without a yield": ("depth_pumping_m", "drawdown_test_m", "flow_tested_m3_per_s"),
}


def read(folder: Path, settings: Settings) -> pd.DataFrame | None:
    """Wells of one folder as a run would have them; None where nothing is understood."""
    from pipeline.errors import PipelineError
    from pipeline.ingest import read_inputs
    from pipeline.normalise import to_records

    try:
        wells = to_records(read_inputs([folder], settings), settings).wells
    except PipelineError as error:
        print(f"{folder.name}: not read ({str(error)[:80]})")
        return None
    return wells.reindex(columns=[c.field.name for c in schema.table("wells")]).reset_index(drop=True)


def truth_of(what: str, wells: pd.DataFrame, settings: Settings) -> np.ndarray:
    """The recorded value, NaN where there is none; logarithms for specific capacities."""
    if what == "static":
        return wells["depth_static_m"].to_numpy(float)
    if what == "setting":
        return recorded_setting(wells, settings)
    if what == "advised":  # the driller's advice in a remark: what a pump hangs at is close to it, not the same
        return wells["depth_pump_recommended_m"].to_numpy(float)
    return np.log(quantities(wells)["capacity"].to_numpy(float))


def folds_of(wells: pd.DataFrame, by: str, folds: int) -> np.ndarray:
    """Fold of each well, by its id or by its block."""
    names = wells["well_id"].astype(str)
    if by == "block":
        place = np.floor(wells["latitude_deg"] * 10).astype(str) + " " + np.floor(wells["longitude_deg"] * 10).astype(str)
        region = wells["region_code"].astype(object).where(wells["region_code"].notna(), "").astype(str)
        names = place.where(wells["latitude_deg"].notna(), region)
    return (pd.util.hash_array(names.to_numpy(object)) % folds).astype(int)


def estimate(what: str, asked: pd.DataFrame, comparable, settings: Settings) -> np.ndarray:
    """Low, middle and high of the value for wells that do not tell it, shape (n, 3)."""
    levels = work_out(asked.reset_index(drop=True), settings, comparable)
    found = {"static": levels.static, "setting": levels.pump, "advised": levels.pump, "capacity": levels.capacity}[what]
    out = np.column_stack([found.low, found.base, found.high])
    return np.log(out) if what.startswith("capacity") else out


def regional(values: np.ndarray, known: pd.DataFrame, asked: pd.DataFrame) -> np.ndarray:
    """Median of the region, else of the square degree, else of all."""

    def group(frame: pd.DataFrame) -> pd.Series:
        square = np.floor(frame["latitude_deg"]).astype(str) + " " + np.floor(frame["longitude_deg"]).astype(str)
        return frame["region_code"].astype(object).where(frame["region_code"].notna(), square).astype(str)

    medians = pd.Series(values).groupby(group(known).to_numpy()).median()
    return group(asked).map(medians).fillna(np.median(values)).to_numpy(float)


def nearest(values: np.ndarray, known: pd.DataFrame, asked: pd.DataFrame) -> np.ndarray:
    """Value of the nearest well; NaN without coordinates."""
    from scipy.spatial import cKDTree

    from_place, to_place = (space.points(frame, space.keys(frame)) for frame in (known, asked))
    usable, can = np.isfinite(from_place).all(axis=1), np.isfinite(to_place).all(axis=1)
    out = np.full(len(asked), np.nan)
    if usable.any() and can.any():
        out[can] = values[usable][cKDTree(from_place[usable]).query(to_place[can])[1]]
    return out


def guesses(what: str, values: np.ndarray, known: pd.DataFrame, asked: pd.DataFrame) -> dict[str, np.ndarray]:
    """Two simple guesses for each well."""
    if what in ("setting", "advised"):
        share = np.nanmedian(values / recorded_depth(known).to_numpy(float))
        depth = recorded_depth(asked).to_numpy(float)
        return {"well depth": depth, "fixed fraction": share * depth}
    return {"regional median": regional(values, known, asked), "nearest well": nearest(values, known, asked)}


def score(what: str, wells: pd.DataFrame, by: str, folds: int, settings: Settings) -> pd.DataFrame:
    """Estimate, guesses and truth of every well that records the value, folds put together."""
    base = what.split(" ")[0]
    truth, fold = truth_of(base, wells, settings), folds_of(wells, by, folds)
    has = ~np.isnan(truth)
    parts = []
    for number in range(folds):
        out = fold == number
        asked, rest = has & out, has & ~out
        if not asked.any() or not rest.any():
            continue
        blanked = wells.copy()
        for column in BLANK[what]:
            blanked.loc[out, column] = None
        comparable = learn(blanked, settings)
        found = estimate(base, blanked[asked], comparable, settings)
        part = pd.DataFrame({"truth": truth[asked], "low": found[:, 0], "middle": found[:, 1], "high": found[:, 2],
                             "source": wells["source_id"][asked].to_numpy()})  # fmt: skip
        for name, value in guesses(base, truth[rest], wells[rest], blanked[asked]).items():
            part[name] = value
        parts.append(part)
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()


def report(name: str, table: pd.DataFrame) -> None:
    """One line of figures."""
    guess_names = [c for c in table.columns if c not in ("truth", "low", "middle", "high", "source")]
    table = table.dropna(subset=["truth", "middle"])
    usable = [g for g in guess_names if table[g].notna().mean() > 0.5]
    table = table.dropna(subset=usable)
    n = len(table)
    if n < 5:
        print(f"{name}: {n} wells, too few to print")
        return
    miss = (table["middle"] - table["truth"]).abs().to_numpy()
    others = {g: (table[g] - table["truth"]).abs().to_numpy() for g in usable}
    better = min(others, key=lambda g: np.median(others[g]))
    rng = np.random.default_rng(1)
    gains = np.empty(RESAMPLES)
    for k in range(RESAMPLES):
        drawn = rng.integers(0, n, n)
        # the better guess is chosen anew in each resample, so that choosing it is part of the chance
        gains[k] = 1 - np.median(miss[drawn]) / max(min(np.median(v[drawn]) for v in others.values()), 1e-9)
    low, high = np.quantile(gains, [0.025, 0.975])
    inside = ((table["truth"] >= table["low"]) & (table["truth"] <= table["high"])).mean()
    chance = 1.96 * np.sqrt(0.8 * 0.2 / n)
    bounds = (0.75, 0.85) if n >= 500 else (0.8 - chance, 0.8 + chance)
    said = ", ".join(f"{g} {np.median(v):.3g}" for g, v in others.items())
    gain = 1 - np.median(miss) / np.median(others[better])
    verdict = "too few for a verdict" if n < LEAST else (
        f"error {'below' if gain >= 0.1 and low > 0 else 'NOT clearly below'} the guesses; "
        f"band {'holds' if bounds[0] <= inside <= bounds[1] else 'does NOT hold'}"
    )  # fmt: skip
    print(f"{name}: n {n}; median error {np.median(miss):.3g} ({said}); {gain:+.0%} [{low:+.0%}, {high:+.0%}] below "
          f"{better}; in the 80 % band {inside:.1%} (allowed {bounds[0]:.0%} to {bounds[1]:.0%}); "
          f"median width {np.median(table['high'] - table['low']):.3g}; {verdict}", flush=True)  # fmt: skip


def main() -> None:
    """Read, score, print."""
    warnings.filterwarnings("ignore")
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--records", type=Path, default=ROOT.parent / "shared" / "records")
    parser.add_argument("--folds", type=int, default=5)
    parser.add_argument("--only", default=",".join(BLANK))
    parser.add_argument("--source", default="")
    asked = parser.parse_args()
    if not asked.records.is_dir():
        sys.exit(f"{asked.records} is no folder; give one folder a source with --records.")
    settings = Settings(draws=0)
    folders = [f for f in sorted(asked.records.iterdir()) if f.is_dir() and asked.source in f.name]
    read_wells = {f.name: wells for f in folders if (wells := read(f, settings)) is not None and len(wells)}
    for what in asked.only.split(","):
        print(f"\n{what} ({'ln of the ratio' if what.startswith('capacity') else 'm'})")
        for by in ("well", "block"):
            pooled = []
            for name, wells in read_wells.items():
                table = score(what, wells, by, asked.folds, settings)
                if len(table):
                    report(f"  by {by}, {name}", table)
                    pooled.append(table)
            if len(pooled) > 1:
                report(f"  by {by}, all sources", pd.concat(pooled, ignore_index=True))


if __name__ == "__main__":
    main()
