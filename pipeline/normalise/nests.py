"""Several bores at one point, and new wells beside plugged ones. Looks across the records of one source.

Bores of a nest carry one id with a letter behind it, stand on one point and end at different depths: each is a well
of its own. Three or more of unknown use, without pump or yield, are what a monitoring nest looks like.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.normalise import identity
from pipeline.normalise.columns import EVENT_DATE
from pipeline.normalise.issues import IssueLog
from pipeline.normalise.lattice import FIELD
from pipeline.normalise.order import whole
from pipeline.normalise.signs import Signs

_LETTER = r"[0-9][-_ ]?[A-Ha-h]$"
_LETTERS = np.frombuffer(b"ABCDEFGHabcdefgh", np.uint8)
_BEHIND = r"[-_ ]?[A-Ha-h]$"
SAME_M, BESIDE_M = 25.0, 100.0
LEAST_DIFFERENCE = 0.1  # of the deeper of two bores
NEST = 3
DEGREE_M = 111_320.0
CELL_DEG = 0.002
BEFORE, AFTER = np.timedelta64(2 * 365, "D"), np.timedelta64(2 * 365, "D")



def mark(wells: pd.DataFrame, log: IssueLog) -> None:
    """Tell bores of a nest; nests for monitoring take that use; changes ``wells``.

    Parameters
    ----------
    wells : DataFrame
        One row an id.
    """
    if not {"latitude_deg", "longitude_deg"} <= set(wells):
        return
    ids = whole(wells["well_id"])
    if ids.null_count or not len(ids):
        return
    lettered = np.isin(Signs.of(ids).last, _LETTERS)
    if not lettered.any():
        return
    lettered[lettered] = pc.match_substring_regex(ids.filter(lettered), _LETTER).to_numpy(zero_copy_only=False)
    deep = identity.bottom(wells)
    lat, lon = wells["latitude_deg"].to_numpy(), wells["longitude_deg"].to_numpy()
    at = np.flatnonzero(lettered & ~np.isnan(lat) & ~np.isnan(lon) & ~np.isnan(deep))
    if len(at) < 2:
        return
    stems = pc.replace_substring_regex(ids.take(at), _BEHIND, "").to_numpy(zero_copy_only=False)
    group, _ = pd.factorize(stems, sort=True)
    size = np.bincount(group)
    frame = pd.DataFrame({"group": group, "lat": lat[at], "lon": lon[at], "deep": deep[at]})[size[group] > 1]
    if frame.empty:
        return
    by = frame.groupby("group")
    span = by.agg(south=("lat", "min"), north=("lat", "max"), west=("lon", "min"), east=("lon", "max"))
    wide = np.hypot(span["north"] - span["south"], (span["east"] - span["west"]) * np.cos(np.radians(span["north"])))
    ranked = frame.sort_values(["group", "deep"], kind="stable")
    step = ranked["deep"].diff().where(ranked["group"].eq(ranked["group"].shift()))
    apart = (step / ranked["deep"]).groupby(ranked["group"]).min() >= LEAST_DIFFERENCE
    nests = span.index[(wide * DEGREE_M <= SAME_M) & apart.reindex(span.index)]
    rows = at[frame.index[frame["group"].isin(nests)].to_numpy()]
    if not len(rows):
        return
    members = size[group[np.isin(at, rows)]]
    used = [name for name in ("flow_tested_m3_per_s", "depth_pump_m", "length_drop_pipe_m") if name in wells]
    silent = ~wells[used].iloc[rows].notna().any(axis=1).to_numpy() if used else np.ones(len(rows), dtype=bool)
    unknown = (wells["use_code"].iloc[rows] == "unknown").to_numpy(bool)
    # a nest is for monitoring as a whole or not at all
    owner = group[np.isin(at, rows)]
    all_so = np.bincount(owner, weights=~(silent & unknown), minlength=len(size)) == 0
    watched = all_so[owner] & (members >= NEST)
    log.rows("N607", "well_id", wells, rows, wells["well_id"].iloc[rows].tolist(), "one bore at a point",
             [f"one of {n} bores at one point" + ("; taken as monitoring" if w else ", a well of its own")
              for n, w in zip(members, watched, strict=True)])  # fmt: skip
    if watched.any():
        use = wells["use_code"].copy()
        use.iloc[rows[watched]] = "monitoring"
        wells["use_code"] = use


def _vague(wells: pd.DataFrame) -> NDArray[np.bool_]:
    """Wells whose place is known worse than what counts as beside."""
    if FIELD not in wells:
        return np.zeros(len(wells), dtype=bool)
    return wells[FIELD].to_numpy(dtype=np.float64) > BESIDE_M


def replacements(kept: pd.DataFrame, plugged: pd.DataFrame, log: IssueLog) -> None:
    """Tell wells built beside one that was plugged within two years of it; the plugged one is left out already.

    Parameters
    ----------
    kept, plugged : DataFrame
        Wells in scope, and wells left out as plugged.
    """
    needed = {"latitude_deg", "longitude_deg", "completed_date"}
    if plugged.empty or kept.empty or not needed <= set(kept) or not needed <= set(plugged):
        return
    # the middle of a survey square is beside every well of it
    plugged, kept = (f.assign(latitude_deg=f["latitude_deg"].where(~_vague(f))) for f in (plugged, kept))
    closed = plugged[EVENT_DATE] if EVENT_DATE in plugged else pd.Series(pd.NaT, index=plugged.index)
    fit = plugged["latitude_deg"].notna().to_numpy() & closed.notna().to_numpy()
    if not fit.any():
        return
    old = pd.DataFrame({"old": plugged["well_id"].to_numpy()[fit], "y": plugged["latitude_deg"].to_numpy()[fit],
                        "x": plugged["longitude_deg"].to_numpy()[fit],
                        "closed": closed.to_numpy()[fit].astype("datetime64[D]")})  # fmt: skip
    lat, lon = kept["latitude_deg"].to_numpy(), kept["longitude_deg"].to_numpy()
    day = kept["completed_date"].to_numpy().astype("datetime64[D]")
    row, column = np.floor(lat / CELL_DEG), np.floor(lon / CELL_DEG)
    key = np.where(np.isnan(lat) | np.isnat(day), np.nan, row * 1_000_000 + column)
    around = pd.concat([
        old.assign(key=(np.floor(old["y"] / CELL_DEG) + dy) * 1_000_000 + np.floor(old["x"] / CELL_DEG) + dx)
        for dy in (-1, 0, 1) for dx in (-1, 0, 1)
    ])  # fmt: skip
    at = np.flatnonzero(np.isin(key, around["key"].unique()))
    if not len(at):
        return
    pairs = pd.DataFrame({"place": at, "key": key[at]}).merge(around, on="key")
    p = pairs["place"].to_numpy()
    gap = np.hypot((lat[p] - pairs["y"]) * DEGREE_M, (lon[p] - pairs["x"]) * DEGREE_M * np.cos(np.radians(lat[p])))
    pairs = pairs.assign(gap=gap, wait=day[p] - pairs["closed"].to_numpy())
    pairs = pairs[(gap <= BESIDE_M) & (pairs["wait"] >= -BEFORE) & (pairs["wait"] <= AFTER)]
    pairs = pairs.sort_values(["place", "gap", "old"], kind="stable").drop_duplicates("place")
    pairs = pairs.sort_values(["old", "gap", "place"], kind="stable").drop_duplicates("old").sort_values("place")
    log.rows("N608", "well_id", kept, pairs["place"].to_numpy(), pairs["old"].tolist(), "no plugged well beside it",
             [f"stands {g:.0f} m from it; likely its replacement" for g in pairs["gap"]])  # fmt: skip
