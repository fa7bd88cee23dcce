"""One well, many records: records of one id, and records of one place, day and depth, become one well.

Looks across all records of one source.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline import schema
from pipeline.normalise import text
from pipeline.normalise.columns import EVENT_DATE, KIND, REASON
from pipeline.normalise.issues import IssueLog

INTO, EVIDENCE = "_into", "_evidence"
LATER_KINDS = ("deepening", "pump_work")
SAME_SHARE, SAME_DEG = 0.01, 0.0002
NOT_VALUES = {
    "source_id", "well_id", "source_file", "source_table", "source_line", "source_row", "market_code", "repaired_count",
    "weight_inclusion_fraction", "completeness_count", "completed_precision_code",
}  # fmt: skip


def values_of(wells: pd.DataFrame) -> list[str]:
    """Canonical columns of a frame that say something of the well itself."""
    known = [c.field.name for c in schema.table("wells") if c.field.name not in NOT_VALUES]
    return [name for name in known if name in wells]


def bottom(wells: pd.DataFrame) -> NDArray[np.float64]:
    """Completed depth, else drilled depth, in metres."""
    out = np.full(len(wells), np.nan)
    for name in ("depth_drilled_m", "depth_completed_m"):
        if name in wells:
            values = wells[name].to_numpy(dtype=np.float64)
            out = np.where(np.isnan(values), out, values)
    return out


def completeness(wells: pd.DataFrame) -> NDArray[np.int64]:
    """How many of six inputs are recorded: depth, static level, pumping level or drawdown, yield, pump, bore."""
    groups = (
        ("depth_completed_m", "depth_drilled_m"), ("depth_static_m",), ("depth_pumping_m", "drawdown_test_m"),
        ("flow_tested_m3_per_s",), ("depth_pump_m", "length_drop_pipe_m"), ("diameter_casing_inside_m",),
    )  # fmt: skip
    out = np.zeros(len(wells), dtype=np.int64)
    for names in groups:
        here = np.zeros(len(wells), dtype=bool)
        for name in names:
            if name in wells:
                here |= wells[name].notna().to_numpy()
        out += here
    return out


def _known(column: pd.Series) -> pd.Series:
    """Values that say something: an unknown code says nothing."""
    if pd.api.types.is_string_dtype(column):
        return column.mask((column == "unknown").fillna(False).astype(bool))
    return column


def differences(
    rows: pd.DataFrame, group: NDArray[Any], names: list[str], size: int
) -> dict[str, NDArray[np.bool_]]:
    """Which groups hold two different values of each column; missing values differ from nothing."""
    out = {}
    for name in names:
        column = _known(rows[name])
        known = column.notna().to_numpy()
        place = group[known]
        if column.dtype.kind == "f":
            low, high = np.full(size, np.inf), np.full(size, -np.inf)
            values = column.to_numpy()[known]
            np.minimum.at(low, place, values)
            np.maximum.at(high, place, values)
            close = SAME_DEG if name.endswith("_deg") else SAME_SHARE * np.maximum(np.abs(high), np.abs(low)) + 1e-9
            seen = high >= low
            out[name] = seen & ~(np.where(seen, high - low, 0.0) <= np.where(seen, close, 0.0))
        else:
            codes, _ = pd.factorize(column[known])
            pairs = np.unique(np.stack([place, codes]), axis=1)
            out[name] = np.bincount(pairs[0].astype(np.int64), minlength=size) > 1
    return out


def ranked(rows: pd.DataFrame, names: list[str]) -> pd.DataFrame:
    """Records from the fullest to the emptiest, the later first; ties by file and row."""
    day = rows[EVENT_DATE].fillna(rows["completed_date"]) if "completed_date" in rows else rows[EVENT_DATE]
    work = pd.DataFrame({
        "later": rows[KIND].isin(LATER_KINDS).to_numpy().astype(int), "filled": completeness(rows),
        "any": rows[names].notna().sum(axis=1).to_numpy(), "day": day.to_numpy(),
        "file": rows["source_file"].to_numpy(), "row": rows["source_row"].to_numpy(),
    })  # fmt: skip
    order = work.sort_values(
        ["later", "filled", "any", "day", "file", "row"], ascending=[False] * 4 + [True] * 2, na_position="last"
    )
    return rows.iloc[order.index.to_numpy()]


def merge_ids(wells: pd.DataFrame, log: IssueLog, unlike: bool = False) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Records of the same id as one.

    Records that agree where both speak are one record said twice: gaps are filled from each other. Later
    work (deepening, pump) adds to what is known. Where records contradict each other the fullest, then the
    latest, stands alone. A plugging report takes the well out. ``unlike`` says that all ids are known to differ.

    Returns
    -------
    kept, merged : DataFrame
        One record an id; and the others, with INTO (the id they went into) and EVIDENCE.
    """
    if unlike or pc.count_distinct(pa.array(wells["well_id"])).as_py() == len(wells):
        return wells, none_merged(wells.iloc[:0])
    twice = wells["well_id"].duplicated(keep=False).to_numpy()
    names = values_of(wells)
    rows = ranked(wells[twice], names)
    group, ids = pd.factorize(rows["well_id"], sort=True)
    kind = rows[KIND].to_numpy()
    plugged = np.bincount(group, weights=(kind == "plugging"), minlength=len(ids)) > 0
    later = np.bincount(group, weights=np.isin(kind, LATER_KINDS), minlength=len(ids)) > 0
    # a plugging report speaks of the end of the well, not of its build
    built = kind != "plugging"
    differs = differences(rows[built], group[built], names, len(ids))
    conflict = np.zeros(len(ids), dtype=bool)
    for marks in differs.values():
        conflict |= marks
    again = pd.Series(group).duplicated().to_numpy()
    first = rows[~again].set_index(pd.Index(group[~again])).sort_index()
    fill = ~conflict | later
    for name in names:
        filled = _known(rows[name]).groupby(group).first().reindex(first.index)
        chosen = first[name].where(~pd.Series(fill, index=first.index) | _known(first[name]).notna(), filled)
        first[name] = chosen.where(chosen.notna(), first[name])
    if "completed_precision_code" in rows:
        dated = rows["completed_date"].notna().to_numpy()
        precision = rows["completed_precision_code"][dated].groupby(group[dated]).first().reindex(first.index)
        own = first["completed_precision_code"]
        first["completed_precision_code"] = own.where(own > 0, precision.fillna(0)).astype(own.dtype)
    if "completed_date" in rows:  # a well that was deepened is as old as its construction
        done = (kind == "construction") & rows["completed_date"].notna().to_numpy()
        made = rows["completed_date"][done].groupby(group[done]).min().reindex(first.index)
        deeper = (first[KIND] == "deepening") & made.notna()
        first[EVENT_DATE] = first[EVENT_DATE].mask(deeper & first[EVENT_DATE].isna(), first["completed_date"])
        first["completed_date"] = first["completed_date"].mask(deeper, made)
    mark = plugged & first[REASON].isna().to_numpy()
    first[REASON] = first[REASON].mask(mark, "plugged")
    words = np.array(["records agree"] * len(ids), dtype=object)
    at = np.flatnonzero(conflict & ~later)
    for place in at:
        words[place] = "records differ in " + ", ".join(n for n, m in differs.items() if m[place])
    log.rows("N601", "well_id", first, at, list(words[at]), "records of one id that agree",
             "the fullest, then latest, record")  # fmt: skip
    words[later] = "later work on the same well"
    words[plugged] = "the well was plugged"
    lost = rows[again].copy()
    lost[INTO] = lost["well_id"]
    lost[KIND] = lost[KIND].mask((lost[KIND] == "construction") & ~later[group[again]], "duplicate")
    lost[EVIDENCE] = ["same id; " + word for word in words[group[again]]]
    kept = pd.concat([wells[~twice], first], ignore_index=True)
    return kept, lost


def date_events(wells: pd.DataFrame) -> None:
    """The day of pump work or of plugging is no day of completion; changes ``wells``."""
    if "completed_date" not in wells:
        return
    work = wells[KIND].isin(["pump_work", "plugging"]).to_numpy()
    if work.any():
        wells[EVENT_DATE] = wells[EVENT_DATE].mask(work & wells[EVENT_DATE].isna(), wells["completed_date"])
        wells["completed_date"] = wells["completed_date"].mask(work)
        wells["completed_precision_code"] = wells["completed_precision_code"].mask(work, 0).astype(np.int8)


def date_pumps(kept: pd.DataFrame, merged: pd.DataFrame) -> None:
    """The newest recorded pump work or deepening of each well, where later than its completion; changes ``kept``.

    Parameters
    ----------
    kept : DataFrame
        One record a well.
    merged : DataFrame
        Records merged into them, with INTO.
    """
    parts = []
    for rows, owner in ((kept, "well_id"), (merged, INTO)):
        work = rows[rows[KIND].isin(LATER_KINDS).to_numpy()] if KIND in rows else rows.iloc[:0]
        if len(work):
            day = work[EVENT_DATE].astype("datetime64[s]")
            day = day.fillna(work["completed_date"].astype("datetime64[s]")) if "completed_date" in work else day
            parts.append(pd.Series(day.to_numpy(), index=work[owner].to_numpy()).dropna())
    if not parts or not sum(map(len, parts)):
        return
    newest = pd.concat(parts).groupby(level=0).max()
    day = kept["well_id"].map(newest).astype("datetime64[s]")
    if "completed_date" in kept:
        day = day.mask(day <= kept["completed_date"].astype("datetime64[s]"))
    if "pump_installed_date" in kept:
        told = kept["pump_installed_date"].astype("datetime64[s]")
        day = day.where(~(told >= day) & day.notna(), told)
    kept["pump_installed_date"] = day


def none_merged(rows: pd.DataFrame) -> pd.DataFrame:
    """An empty table of merged records with the columns of ``rows``."""
    out = rows.copy()
    out[INTO], out[EVIDENCE] = pd.Series(dtype="str"), pd.Series(dtype="str")
    return out


def merge_places(wells: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Records of different ids that share point, day of completion and depth, and disagree in nothing.

    Many wells of a section share its centre: there a further measured value must be recorded alike.

    Returns
    -------
    kept, merged : DataFrame
    """
    needed = ("latitude_deg", "longitude_deg", "completed_date", "completed_precision_code")
    if any(name not in wells for name in needed) or wells.empty:
        return wells, none_merged(wells.iloc[:0])
    deep = bottom(wells)
    fit = wells["latitude_deg"].notna() & wells["completed_date"].notna() & (wells["completed_precision_code"] == 1)
    fit &= ~np.isnan(deep)
    # most points stand alone: one whole number a point finds the others fast
    lat, lon = (np.round(wells.loc[fit, name].to_numpy() * 1e6).astype(np.int64) for name in needed[:2])
    number = lat * 1_000_000_000 + lon
    in_order = np.sort(number)
    if not (in_order[1:] == in_order[:-1]).any():
        return wells, none_merged(wells.iloc[:0])
    fit[fit] = pd.Series(number).duplicated(keep=False).to_numpy()
    if not fit.any():
        return wells, none_merged(wells.iloc[:0])
    point = wells.loc[fit, ["latitude_deg", "longitude_deg"]].round(6)
    keys = point.assign(day=wells.loc[fit, "completed_date"], deep=np.round(deep[fit.to_numpy()], 2))
    twice = keys.duplicated(keep=False)
    if not twice.any():
        return wells, none_merged(wells.iloc[:0])
    names = values_of(wells)
    rows = ranked(wells.loc[twice[twice].index].sort_values("well_id", kind="stable"), names)
    group = keys.loc[rows.index].groupby(list(keys.columns), sort=True).ngroup().to_numpy()
    size = int(group.max()) + 1
    conflict = np.zeros(size, dtype=bool)
    for marks in differences(rows, group, names, size).values():
        conflict |= marks
    members = np.bincount(group, minlength=size)
    shared = point.groupby(["latitude_deg", "longitude_deg"])["latitude_deg"].transform("size")
    crowd = np.zeros(size, dtype=np.int64)
    np.maximum.at(crowd, group, shared.loc[rows.index].to_numpy())
    alike = np.zeros(size, dtype=bool)
    for name in ("depth_static_m", "flow_tested_m3_per_s", "depth_pump_m", "depth_screen_top_m"):
        if name in rows:
            alike |= np.bincount(group, weights=rows[name].notna().to_numpy(), minlength=size) == members
    same = ~conflict & (alike | (crowd == members))
    chosen = same[group]
    return fold(wells, rows[chosen], group[chosen], names, "same point, day of completion and depth")


def fold(
    wells: pd.DataFrame, rows: pd.DataFrame, group: NDArray[Any], names: list[str], evidence: str
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Wells with the rows of each group made one, the first of each filled from the others.

    Parameters
    ----------
    wells : DataFrame
        Without two rows of one index.
    rows : DataFrame
        Rows of ``wells``, the one that stays before the others of its group.
    group : ndarray (r,)
    names : list of str
        Columns to fill.

    Returns
    -------
    kept, merged : DataFrame
    """
    again = pd.Series(group).duplicated().to_numpy()
    lost, heads = rows[again].copy(), rows[~again].set_index(pd.Index(group[~again]))
    for name in names:
        filled = _known(rows[name]).groupby(group).first().reindex(heads.index)
        own = _known(heads[name])
        heads[name] = own.where(own.notna(), filled).where(own.notna() | filled.notna(), heads[name])
    lost[INTO] = heads["well_id"].reindex(group[again]).to_numpy()
    lost[KIND] = lost[KIND].mask(lost[KIND] == "construction", "duplicate")
    lost[EVIDENCE] = evidence
    kept = pd.concat([wells.drop(index=rows.index), heads], ignore_index=True)
    return kept, lost


def events(kept: pd.DataFrame, merged: pd.DataFrame) -> pd.DataFrame:
    """One row a record: what it reports, when, and what it was merged into.

    ``kept`` are the surviving records, ``merged`` the others with INTO and EVIDENCE.
    """
    wanted = ["source_id", "well_id", "source_file", "source_row", "source_line", KIND, EVENT_DATE]
    wanted += ["completed_date"] if "completed_date" in kept else []
    rows = kept[wanted].assign(**{n: text.as_series(pa.nulls(len(kept), pa.large_string())) for n in (INTO, EVIDENCE)})
    if len(merged):
        rows = pd.concat([rows, merged[[*wanted, INTO, EVIDENCE]]], ignore_index=True)
    day = rows[EVENT_DATE]
    if "completed_date" in rows:
        day = rows["completed_date"] if day.isna().all() else day.fillna(rows["completed_date"])
    # the columns as they are: gathering them into blocks would copy all of them
    return pd.DataFrame({
        "source_id": rows["source_id"], "well_id": rows["well_id"], "source_file": rows["source_file"],
        "source_row": rows["source_row"], "source_line": rows["source_line"], "event_kind_code": rows[KIND],
        "event_date": day, "merged_into_well_id": rows[INTO].astype("str"), "evidence": rows[EVIDENCE].astype("str"),
    }, copy=False)  # fmt: skip
