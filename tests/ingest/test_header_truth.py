"""The truth tables of headers name declared fields and units, and mark what decides length."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from pipeline import schema
from pipeline.ingest.proposal.model import DECIDING
from pipeline.units import line

HERE = Path(__file__).resolve().parent
TABLES = ("header_truth.csv", "header_styles.csv")


@pytest.mark.parametrize("name", TABLES)
def test_data_truth_is_declared(name: str) -> None:
    with (HERE / name).open(newline="", encoding="utf-8") as handle:
        rows = list(csv.DictReader(handle))
    assert len(rows) > 200
    known = schema.fields()
    seen: set[tuple[str, str, str]] = set()
    headers = {(r["source"], r["table"]): {x["header"] for x in rows if (x["source"], x["table"]) == (r["source"], r["table"])}
               for r in rows if r["condition"] or r["unit"].startswith("row:")}  # fmt: skip
    for row in rows:
        key = (row["source"], row["table"], row["header"])
        assert key not in seen and row["header"].strip(), key
        seen.add(key)
        names = [n for n in (row["field"], *row["acceptable"].split("|")) if n]
        assert set(names) <= set(known), key
        assert row["deciding"] == (row["field"] if row["field"] in DECIDING else ""), key
        assert row["tellable"] in (("yes", "no") if names else ("",)), key
        others = headers.get((row["source"], row["table"]), set())
        assert {h for h in row["condition"].split("|") if h} <= others, key
        if row["unit"].startswith("row:"):
            assert row["unit"][4:] in others, key
        elif row["unit"] and not row["acceptable"].startswith("flow_duty") and row["unit"] != "deg":
            measured = [n for n in names if known[n].unit and not n.endswith("itude_deg")]
            for field in measured:
                line(row["unit"], known[field].unit)
        if row["field"] and known[row["field"]].type == "number" and known[row["field"]].unit not in ("", "1"):
            assert row["unit"], key
