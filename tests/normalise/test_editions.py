"""Two editions of one source read together: a well of both stands once."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
from raw_tables import intake, layout, table

from pipeline.normalise import to_records
from pipeline.settings import Settings

COLUMNS = ("id", "depth", "level", "lat", "lon")


def raw(source, rows):
    made = table({name: [row[n] for row in rows] for n, name in enumerate(COLUMNS)}, file=f"{source}.csv")
    return replace(made, source_id=source)


def records(first, second):
    columns = {k: v for k, v in layout().wells_table().columns.items() if v.sources[0] in COLUMNS}
    one = layout({k: {"from": list(c.sources), "unit": c.unit} for k, c in columns.items()})
    both = {"main": replace(one, id="main"), "raw": replace(one, id="raw", edition_of="main")}
    parts = [intake(both[s], raw(s, rows)) for s, rows in (("main", first), ("raw", second))]
    whole = replace(parts[0], layouts=both, tables=parts[0].tables + parts[1].tables)
    ledger = [replace(entry, source_id=s) for p, s in zip(parts, both, strict=True) for entry in p.ledger]
    return to_records(replace(whole, ledger=ledger), Settings())


def test_a_well_of_both_editions_stands_once_by_its_id():
    found = records([("A1", "60", "12", "1.5", "30.1")], [("A1", "61", "12", "1.5", "30.1"), ("A2", "40", "9", "1.7", "30.2")])
    assert found.wells[["source_id", "well_id"]].to_numpy().tolist() == [["main", "A1"], ["raw", "A2"]]
    merged = found.events.dropna(subset=["merged_into_well_id"])
    assert merged["merged_into_well_id"].tolist() == ["A1"] and merged["event_kind_code"].tolist() == ["duplicate"]
    assert [entry.rows_used for entry in found.ledger] == [1, 2]


def test_wells_without_a_common_id_are_one_by_point_depth_and_level():
    found = records([("1", "60", "12", "1.50001", "30.1"), ("2", "40", "9", "1.7", "30.2")],
                    [("x", "60", "12", "1.50001", "30.1"), ("y", "40", "8", "1.7", "30.2")])  # fmt: skip
    assert found.wells["well_id"].tolist() == ["1", "2", "y"]  # another level at the same point: not the same record
    assert pd.notna(found.events.set_index("well_id").loc["x", "merged_into_well_id"])


def test_two_wells_at_one_point_tell_nothing():
    twins = [("1", "60", "12", "1.5", "30.1"), ("2", "60", "12", "1.5", "30.1")]
    found = records([("A", "60", "12", "1.5", "30.1")], twins)
    assert "A" in set(found.wells["well_id"])
    assert not (found.events["merged_into_well_id"] == "A").any()
