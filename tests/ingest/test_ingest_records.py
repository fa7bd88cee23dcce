"""Real open records, where they lie beside the checkout: everything reads and balances."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import SourceError
from pipeline.ingest import read_inputs
from pipeline.settings import Settings

RECORDS = Path(__file__).resolve().parents[2].parent / "shared" / "records"
FOLDERS = sorted(p for p in RECORDS.iterdir() if p.is_dir()) if RECORDS.is_dir() else []
# rows as the README of the records tells them, by folder and table
COUNTS = {
    "us-california-oswcr-navarro": {"wells": 274, "bedrock": 134},
    "us-california-oswcr-centralvalley": {"wells": 15_368},
    "us-california-dwr-periodic-gwl": {"perforations": 11_168, "wells": 5_321},
    "us-minnesota-cwi": {"index": 24},
    "us-usgs-nwis-tsv": {"sites": 32_666, "levels": 97_680},
    "us-usgs-rdb": {},
    "ca-britishcolumbia-gwells": {"casing": 64_011, "screen": 28_459, "perforation": 5_964,
                                  "drilling_method": 105_844, "aquifer_test": 448, "wells": 55},
    "ug-uganda-boreholes": {"wells": 173 + 171},
    "mw-malawi-pumpingtest": {"wells": 203 + 203},
}  # fmt: skip


@pytest.mark.skipif(not FOLDERS, reason="the open records do not lie beside this checkout (../shared/records)")
@pytest.mark.parametrize("folder", FOLDERS, ids=lambda p: p.name)
def test_real_records_read_and_balance(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    try:
        intake = read_inputs([folder], Settings())
    except SourceError as error:
        assert folder.name not in COUNTS, str(error)
        assert error.exit_code == 2 and len(list(tmp_path.glob("*.layout.toml"))) == 1
        return
    rows: dict[str, int] = {}
    for raw, entry in zip(intake.tables, intake.ledger, strict=True):
        assert entry.rows_read == len(raw.frame) + sum(entry.quarantined.values())
        rows[raw.table] = rows.get(raw.table, 0) + entry.rows_read
    for table, count in COUNTS.get(folder.name, {}).items():
        assert rows[table] == count
