"""Small invented raw tables and layouts for the tests of normalise."""

from __future__ import annotations

from typing import Any

import pandas as pd

from pipeline.ingest.intake import Intake, LedgerEntry, RawTable
from pipeline.ingest.layouts import Layout, from_dict

METRES = {
    "depth_completed_m": {"from": "depth", "unit": "m"},
    "depth_static_m": {"from": "level", "unit": "m"},
    "depth_pump_m": {"from": "pump", "unit": "m"},
    "flow_tested_m3_per_s": {"from": "yield", "unit": "m3/h"},
    "use_code": {"from": "use"},
    "status_code": {"from": "status"},
    "completed_date": {"from": "done"},
    "latitude_deg": {"from": "lat", "unit": "degree"},
    "longitude_deg": {"from": "lon", "unit": "degree"},
    "region_code": {"from": "region"},
}


def layout(columns: dict[str, Any] | None = None, children: dict[str, Any] | None = None, **more: Any) -> Layout:
    """A layout with a wells table of the given columns."""
    wells = {"role": "wells", "match": ["id"], "id": "id", "columns": METRES if columns is None else columns}
    source = {"id": "invented", "market": "metric", "retrieved": "2026-11", "invented": True, **more.pop("source", {})}
    return from_dict({"source": source, "tables": {"wells": wells, **(children or {})}, **more}, "invented.toml")


def table(rows: dict[str, list[Any]], name: str = "wells", file: str = "wells.csv") -> RawTable:
    """A raw table from columns of texts."""
    frame = pd.DataFrame({k: pd.Series(v, dtype="str") for k, v in rows.items()})
    frame["_line"], frame["_row"] = range(2, len(frame) + 2), range(1, len(frame) + 1)
    return RawTable("invented", name, file, frame)


def intake(found: Layout, *tables: RawTable) -> Intake:
    """An intake of the given tables, its ledger as ingest leaves it."""
    ledger = [LedgerEntry(t.file, t.table, t.source_id, len(t.frame) + 1, len(t.frame)) for t in tables]
    return Intake({found.id: found}, list(tables), ledger=ledger)
