"""Cells left blank under the first of their group, as people write tables by hand and spreadsheets merge cells.

Looks across the rows of one file, in the order of the file. Blanks are filled only where the file itself shows
that it is written so; every file in which that is done is told.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.normalise.columns import ENTRY, EVENT_DATE, KEYS, KIND, REASON, SORT
from pipeline.normalise.issues import IssueLog

FEWEST = 3  # blanks that show a habit
LEAST_SHARE = 0.1  # of the rows
CONTINUES = 0.6  # of the cells of a first row that a continuation of a well may fill
_OWN = {*KEYS, ENTRY, EVENT_DATE, KIND, REASON, SORT, "completed_precision_code"}


def ids(block: pd.DataFrame, is_child: bool, log: IssueLog) -> None:
    """Ids that stand on the first row of their group only; changes ``block``.

    The file must begin with an id, leave a tenth of the rows without one, and never repeat an id on the next row:
    a file that repeats it has lost the id where it is blank. Rows below must carry values (child tables), and of a
    wells table fewer than their first row, as further lines of one well do.

    Parameters
    ----------
    block : DataFrame
        One raw table in canonical columns, in the order of the file.
    """
    blank = block["well_id"].isna().to_numpy()
    if not blank.any():
        return
    count, first = int(blank.sum()), np.flatnonzero(~blank)
    if count < FEWEST or count < LEAST_SHARE * len(block) or not len(first) or blank[0]:
        return
    named = block["well_id"].iloc[first]
    if (named.to_numpy()[1:] == named.to_numpy()[:-1]).any() or named.duplicated().any():
        return
    values = [name for name in block if name not in _OWN]
    filled = block[values].notna().sum(axis=1).to_numpy() if values else np.zeros(len(block), dtype=np.int64)
    empty = blank & (filled == 0)
    if empty.sum() > 0.1 * count:
        return
    if not is_child:
        # a further line of a well has no place, day or use of its own
        lead = np.maximum.accumulate(np.where(blank, 0, np.arange(len(block))))
        own = [name for name in ("latitude_deg", "longitude_deg", "completed_date") if name in block]
        alone = block[own].notna().any(axis=1).to_numpy() if own else np.zeros(len(block), dtype=bool)
        fewer = filled <= CONTINUES * filled[lead]
        if (blank & ~empty & (alone | ~fewer)).sum() > 0.1 * count:
            return
    kept = block["well_id"].ffill()
    block["well_id"] = kept.where(~pd.Series(empty, index=block.index), None)
    log.once("N606", "well_id", block, f"{count} of {len(block)} rows without an id, below one that has it",
             "an id on every row", "taken as further rows of that well")  # fmt: skip


def groups(block: pd.DataFrame, log: IssueLog) -> None:
    """Day and region of a group that stand on its first row only; changes ``block``.

    Both must be blank in the same rows, and a tenth of the rows or more: two cells merged over a group leave the
    same blanks, values not recorded do not.
    """
    if "completed_date" not in block or "region_code" not in block or len(block) < FEWEST + 1:
        return
    day, region = block["completed_date"].isna().to_numpy(), block["region_code"].isna().to_numpy()
    count = int(day.sum())
    if count < FEWEST or count < LEAST_SHARE * len(block) or day[0] or not (day == region).all():
        return
    lead: NDArray[np.int64] = np.maximum.accumulate(np.where(day, 0, np.arange(len(block))))
    for name in ("completed_date", "completed_precision_code", "region_code"):
        if name in block:
            block[name] = block[name].to_numpy()[lead] if name != "region_code" else block[name].ffill()
    log.once("N307", "completed_date", block, f"{count} of {len(block)} rows without day and region, below one with",
             "a day and a region on every row", "taken from the row above")  # fmt: skip
