"""Lines of totals leave with a reason; wells stay."""

from __future__ import annotations

import pytest
from raw_tables import intake, layout, table

from pipeline.normalise import to_records
from pipeline.normalise.totals import _says_total
from pipeline.settings import Settings

COLUMNS = {
    "depth_completed_m": {"from": "depth", "unit": "m"},
    "flow_tested_m3_per_s": {"from": "yield", "unit": "m3/h"},
    "region_code": {"from": "region"},
    "use_code": {"from": "use"},
    "completed_date": {"from": "done"},
}


def run(*lines: tuple[str, str, str, str, str, str]):
    names = ("id", "region", "use", "depth", "yield", "done")
    rows = {name: [line[i] for line in lines] for i, name in enumerate(names)}
    found = layout(COLUMNS, file={"missing": ["NA"]})
    return to_records(intake(found, table(rows)), Settings())


WELL = ("W1", "Fenmark", "domestic", "60", "2", "2001-05-06")


@pytest.mark.parametrize(
    "line",
    [
        ("TOTAL", "", "", "", "", ""), ("Total", "716 points", "", "", "", ""), ("", "Total", "", "", "", ""),
        ("Grand total:", "", "", "4710", "88.2", ""), ("Average", "", "", "61.2", "1.9", ""),
        ("", "", "716 records", "", "", ""), ("Count: 716", "", "", "", "", ""), ("12 wells", "NA", "NA", "NA", "", ""),
        ("Total number of wells", "NA", "", "716", "", ""), ("sub-total", "", "", "12", "", ""),
    ],
)  # fmt: skip
def test_a_line_of_totals_is_left_out_and_counted(line) -> None:
    out = run(WELL, line)
    assert list(out.wells["well_id"]) == ["W1"]
    assert out.ledger[0].excluded == {"totals_row": 1} and out.ledger[0].quarantined == {}
    assert out.ledger[0].balances() and len(out.excluded) == 1
    assert out.excluded["source_line"].iloc[0] == 3
    assert not set(out.issues["code"])


@pytest.mark.parametrize(
    "line",
    [
        ("W2", "", "", "", "", ""), ("Total", "Fenmark", "domestic", "60", "2", "2001-05-06"),
        ("Sum", "", "domestic", "", "", ""), ("12", "", "", "", "", ""), ("W3", "Total", "", "40", "", ""),
        ("Point", "", "", "60", "", ""), ("Well 12", "", "", "", "", ""), ("Point 7", "", "", "33", "", ""),
        ("Totally Creek", "", "", "", "", ""), ("3 Points Ranch", "", "", "50", "", ""),
    ],
)  # fmt: skip
def test_a_well_stays(line) -> None:
    out = run(WELL, line)
    assert sorted(out.wells["well_id"]) == sorted(["W1", line[0]])
    assert out.ledger[0].excluded == {}


def test_a_record_without_id_is_no_total() -> None:
    out = run(WELL, ("", "Fenmark", "", "60", "", ""))
    assert out.ledger[0].quarantined == {"no_id": 1} and out.ledger[0].excluded == {}


def test_words_of_totals() -> None:
    import pyarrow as pa

    yes = ["Total", "TOTAL:", "grand total", "Sum", "716 points", "1,925 reports", "Total: 12 wells", "Records: 12"]
    no = ["well", "Points", "Summit", "W1", "12", "", "Mean Creek", "well 7", "BH 716"]
    assert _says_total(pa.array(yes)).tolist() == [True] * len(yes)
    assert _says_total(pa.array(no)).tolist() == [False] * len(no)
