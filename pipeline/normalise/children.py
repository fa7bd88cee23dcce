"""Child tables (casing, screens, tests, levels) to one value a well. Looks across the rows of a well."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pipeline.normalise.columns import KEYS, REASON, SORT
from pipeline.normalise.order import among

NO_PARENT, PARENT_LEFT_OUT = "orphan", "parent_excluded"


def gather(child: pd.DataFrame, picks: dict[str, str], ids: pd.Index) -> pd.DataFrame:
    """One value a well of each mapped field of a child table.

    Parameters
    ----------
    child : DataFrame
        Blocks of the child table; rows with a REASON or without a parent are passed over.
    picks : dict of field -> first, last, min or max
    ids : Index
        Ids of the wells of the source, without repeats.

    Returns
    -------
    DataFrame
        Indexed by ``ids``; missing where no row of a well has a value.
    """
    place = ids.get_indexer(pd.Index(child["well_id"]))
    rows = child[(place >= 0) & child[REASON].isna().to_numpy()]
    order = [SORT, "source_file", "source_row"]
    rows = rows.assign(_place=ids.get_indexer(pd.Index(rows["well_id"]))).sort_values(order, kind="stable")
    out = pd.DataFrame(index=ids)
    for name, pick in picks.items():
        if name not in rows:
            continue
        known = rows.loc[rows[name].notna(), ["_place", name]]
        found = _picked(known["_place"].to_numpy(), known[name], pick)
        out[name] = found.reindex(np.arange(len(ids))).set_axis(ids)
    if "is_flowing" in rows and "is_flowing" not in picks:
        flows = rows.loc[rows["is_flowing"].fillna(False).astype(bool), "_place"].unique()
        marks = np.full(len(ids), None, dtype=object)
        marks[flows] = True
        out["is_flowing"] = pd.array(marks, dtype="boolean")
    return out


def _picked(place: Any, values: pd.Series, pick: str) -> pd.Series:
    # rows come sorted; the first row of each well after the right order is the one picked
    frame = pd.DataFrame({"place": place, "value": values.array})
    if pick in ("min", "max"):
        frame = frame.sort_values("value", ascending=pick == "min", kind="stable")
    kept = frame.drop_duplicates("place", keep="last" if pick == "last" else "first")
    return kept.set_index("place")["value"]


def fill(wells: pd.DataFrame, found: pd.DataFrame) -> None:
    """Put the values of a child table where the wells lack them; what stands there stays."""
    for name in found:
        values = found[name].reindex(wells["well_id"])
        values.index = wells.index
        if name in wells:
            wells[name] = wells[name].fillna(values)
        else:
            wells[name] = values


def settle(child: pd.DataFrame, in_scope: pd.Index, known: pd.Index) -> pd.DataFrame:
    """Rows of a child table that are not used, with the reason, once the wells are settled.

    Parameters
    ----------
    in_scope : Index
        Ids of wells in scope.
    known : Index
        Ids of every well record of the source.
    """
    reason = child[REASON].copy()
    seen, used = among(child["well_id"], known), among(child["well_id"], in_scope)
    reason = reason.where(reason.notna() | seen, NO_PARENT)
    reason = reason.where(reason.notna() | used, PARENT_LEFT_OUT)
    lost = reason.notna().to_numpy()
    return child.loc[lost, [*KEYS, "_entry"]].assign(**{REASON: reason[lost]})
