"""What tests share: the place of the open records, and one run of the sample data."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from pipeline.settings import Settings

ROOT = Path(__file__).resolve().parents[1]
RECORDS = ROOT.parent / "shared" / "records"
sys.path.insert(0, str(Path(__file__).resolve().parent))


@pytest.fixture(scope="session")
def records():
    """Folder of the real open records; a test that needs it is skipped where it is absent."""
    if not RECORDS.is_dir():
        pytest.skip("the open records are not beside this checkout (../shared/records)")
    return RECORDS


@pytest.fixture(scope="session")
def sample_run(tmp_path_factory):
    """One run of the sample data for the whole session."""
    import pipeline

    out = tmp_path_factory.mktemp("run") / "sample"
    pipeline.run([ROOT / "sample_data"], out, Settings(draws=8))
    return out
