"""A real file that anyone can run: levels carried by a package of the registry, against an independent reader."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline.ingest import read_inputs
from pipeline.normalise import Records, to_records
from pipeline.settings import Settings


def workbook() -> Path | None:
    """The workbook inside the package, which is found and not imported."""
    found = importlib.util.find_spec("nmat")
    for folder in found.submodule_search_locations or () if found else ():
        books = sorted(Path(folder).glob("indata/*.xlsx"))
        if books:
            return books[0]
    return None


BOOK = workbook()
pytestmark = pytest.mark.skipif(BOOK is None, reason="the package nmaquifertool of the test extra is not installed")


@pytest.fixture(scope="module")
def ours() -> Records:
    assert BOOK is not None
    return to_records(read_inputs([BOOK], Settings()), Settings())


@pytest.fixture(scope="module")
def theirs() -> pd.DataFrame:
    return pd.read_excel(BOOK, sheet_name=0, engine="openpyxl")


def test_reference_rows_and_points_are_those_of_another_reader(ours: Records, theirs: pd.DataFrame) -> None:
    entry = next(e for e in ours.ledger if e.table == "wells")
    assert entry.rows_read == len(theirs)
    assert entry.balances()
    without_id = int(theirs["PointID"].isna().sum())
    assert sum(entry.quarantined.values()) == without_id
    assert ours.events["well_id"].nunique() == theirs["PointID"].nunique()
    assert len(ours.events) == len(theirs) - without_id


def test_reference_depths_and_levels_are_those_of_another_reader(ours: Records, theirs: pd.DataFrame) -> None:
    wells = ours.wells.set_index("well_id")
    # the fullest record of a point stands, of equally full ones the latest: where all are equally full, the latest
    last = theirs.dropna(subset=["PointID"]).sort_values("MSRMNT_Dat", kind="stable").groupby("PointID").last()
    both = last.index.intersection(wells.index)
    assert len(both) > 0.95 * len(last)
    depth = last.loc[both, "Well_Depth"].where(lambda v: v > 0) * 0.3048
    found = wells.loc[both, "depth_completed_m"]
    pd.testing.assert_series_equal(found, depth, check_names=False, check_dtype=False, rtol=1e-9)
    level = last.loc[both, "Depth_To_W"] * 0.3048
    static = wells.loc[both, "depth_static_m"]
    known = static.notna()
    assert known.mean() > 0.95
    assert np.isclose(static[known], level[known], atol=1e-6).mean() > 0.99


def test_a_longitude_of_nought_is_no_place(ours: Records, theirs: pd.DataFrame) -> None:
    lost = theirs.loc[theirs["Long_DD"] == 0, "PointID"].unique()
    assert len(lost), "the file holds such a point"
    wells = ours.wells.set_index("well_id")
    assert wells.loc[wells.index.intersection(lost), "longitude_deg"].isna().all()
