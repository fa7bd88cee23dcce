"""What to measure first: the missing value of each well whose knowledge would save most pipe bought wrong."""

from __future__ import annotations

import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import io, schema, words
from pipeline.design_point import Comparable, design, learn
from pipeline.settings import Settings, of_run
from pipeline.sizing import choices
from pipeline.units import convert

_LEAST_M = 0.05  # less pipe than this at stake is nothing to travel for


@dataclass(frozen=True)
class Measurement:
    """One thing a field team can measure, and the fields that it fills."""

    name: str
    fields: tuple[str, ...]


def measurements() -> list[Measurement]:
    """What can be measured, in the order of schemas/measurements.csv."""
    return [Measurement(r["measurement_id"], tuple(r["fields"].split("|"))) for r in schema.rows("measurements")]


def _end(points: pd.DataFrame, field: str, end: str, settings: Settings) -> pd.Series:
    """Estimate of a field at one end of its band: from the design point, else from a declared prior."""
    if field == "flow_tested_m3_per_s":
        return points["flow_duty_m3_per_s"]
    name = f"{field}{end}"
    if name in points:
        return points[name]
    band = settings.practice[f"prior_{schema.stem(field)}"]
    return pd.Series({"_low": band.low, "": band.base, "_high": band.high}[end], index=points.index)


def _filled(wells: pd.DataFrame, points: pd.DataFrame, what: Measurement, end: str, settings: Settings) -> pd.DataFrame:
    out = wells.copy()
    for field in what.fields:
        out[field] = out[field].where(out[field].notna(), _end(points, field, end, settings))
    if "depth_pumping_m" in what.fields:
        # a test states its fall: the level is the resting level and the drawdown at duty, without the dry season
        season = settings.practice["fall_drought"].base
        level = out["depth_pumping_m"] - season
        floor = points["depth_static_m"] + _LEAST_M
        out["depth_pumping_m"] = wells["depth_pumping_m"].fillna(level.clip(lower=floor))
        out["depth_static_m"] = out["depth_static_m"].fillna(points["depth_static_m"])
    return out


def _width(points: pd.DataFrame) -> NDArray[np.float64]:
    return (points["length_drop_pipe_m_high"] - points["length_drop_pipe_m_low"]).to_numpy(float)


def of_chunk(
    wells: pd.DataFrame, points: pd.DataFrame, settings: Settings, comparable: Comparable
) -> pd.DataFrame:
    """Rows of the table ``measure_first`` for a chunk of wells, not yet ranked.

    For each thing not recorded: the design point is worked out again as if it were known at the middle and at
    either end of its band. What the band of the length narrows by, and the string that would be bought wrong
    where another pipe becomes the choice at an end (each end standing for three tenths of the chance), are
    metres of pipe at stake.

    Parameters
    ----------
    wells, points : DataFrame
        Tables ``wells`` and ``design`` of the same wells in the same order.
    comparable : Comparable
        Learned from the whole run.
    """
    wells, points = wells.reset_index(drop=True), points.reset_index(drop=True)
    out = []
    for what in measurements():
        lacks = wells[what.fields[0]].isna().to_numpy() & points["length_drop_pipe_m"].notna().to_numpy()
        if what.name == "pump_test":
            lacks &= wells["drawdown_test_m"].isna().to_numpy()
        if what.name == "well_depth":
            lacks &= points["depth_completed_basis_code"].ne("recorded").to_numpy(bool)
        if what.name == "pump_setting":
            lacks &= wells["length_drop_pipe_m"].isna().to_numpy()
        at = np.flatnonzero(lacks)
        if not len(at):
            continue
        here, now = wells.iloc[at].reset_index(drop=True), points.iloc[at].reset_index(drop=True)
        at_base = design(_filled(here, now, what, "", settings), settings, comparable)
        narrowed = np.maximum(_width(now) - _width(at_base), 0.0)
        base = choices(at_base, settings, here)
        wrong = np.zeros(len(at))
        for end in ("_low", "_high"):
            other = choices(design(_filled(here, now, what, end, settings), settings, comparable), settings, here)
            wrong += settings.base("weight_percentile_end") * (other.fillna("") != base.fillna("")).to_numpy(float)
        weight = now["weight_inclusion_fraction"].to_numpy(float)
        length = now["length_drop_pipe_m"].to_numpy(float)
        stake = weight * (narrowed + wrong * length)
        rows = here[["source_id", "well_id", "area_code", "region_code"]].assign(
            measurement_code=what.name, length_narrowed_m=narrowed, choice_change_fraction=wrong,
            length_at_stake_m=stake,
        )  # fmt: skip
        out.append(rows[stake > _LEAST_M])
    names = ["source_id", "well_id", "area_code", "region_code", "measurement_code"]
    return pd.concat(out, ignore_index=True) if out else pd.DataFrame(columns=names)


def ranked(rows: pd.DataFrame, each: int) -> pd.DataFrame:
    """The ``each`` rows of every region with most at stake, in order of rank; ties by source, well and measurement."""
    keys = ["source_id", "well_id", "measurement_code"]
    rows = rows.sort_values(["length_at_stake_m", *keys], ascending=[False, True, True, True], kind="stable")
    place = rows["area_code"].fillna("").astype(str) + "\x1f" + rows["region_code"].fillna("").astype(str)
    rows = rows.assign(rank_count=rows.groupby(place.to_numpy(), sort=False).cumcount() + 1)
    return rows[rows["rank_count"] <= each].sort_values(["source_id", "well_id", "measurement_code"])


def measure_first(
    run: Path, settings: Settings, each: int = 50, tell: Callable[[str], None] = lambda line: None
) -> pd.DataFrame:
    """Table ``measure_first`` of a finished run, written into its folder as Parquet and CSV.

    Parameters
    ----------
    run : Path
    each : int
        Rows kept a region.

    Returns
    -------
    DataFrame
        Summed by measurement: wells that lack it, metres at stake over all of them.

    Raises
    ------
    UsageError
        When the folder is no finished run.
    """
    settings, _ = of_run(run, settings)
    io.refuse_other_columns(("wells", "design"), run)
    comparable = learn(io.read_table("wells", run), settings)
    step = settings.chunk_wells
    pairs = zip(io.chunks("wells", run, step), io.chunks("design", run, step), strict=True)
    with ThreadPoolExecutor(settings.threads) as pool:
        found = list(pool.map(lambda pair: of_chunk(pair[0], pair[1], settings, comparable), pairs))
    rows = pd.concat([f for f in found if len(f)], ignore_index=True) if any(map(len, found)) else found[0]
    whole = rows.groupby("measurement_code", sort=True).agg(
        wells=("well_id", "size"), metres=("length_at_stake_m", "sum"), narrowed=("length_narrowed_m", "sum")
    ) if len(rows) else pd.DataFrame(columns=["wells", "metres", "narrowed"])  # fmt: skip
    kept = ranked(rows, each) if len(rows) else rows
    io.write_table("measure_first", kept, run)
    tell(f"measure first {len(kept):>12,} rows  of {len(rows):,} with something at stake")
    return whole.sort_values("metres", ascending=False)


def lines(whole: pd.DataFrame, units: str) -> list[str]:
    """What to measure first over all regions, for people."""
    unit = "m" if units == "metric" else "ft"
    how = {row["measurement_id"]: row["how_measured"] for row in schema.rows("measurements")}
    labels = schema.codes("measurement")
    out = [words.say("measure.head")]
    for code, row in zip(whole.index, whole.to_dict("records"), strict=True):
        metres = convert(float(row["metres"]), "m", unit).item()
        out.append(f"{labels[code]:<22} {row['wells']:>9,} wells {metres:>12,.0f} {unit}  {how[code]}")
    return out


def as_json(whole: pd.DataFrame) -> str:
    """The summary for machines."""
    return json.dumps(whole.reset_index().to_dict("records"), indent=1)
