import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))

import invented_run


@pytest.fixture(scope="session")
def told(tmp_path_factory):
    """An invented run folder with its report: (folder, frames, text of the page); do not write into it."""
    from pipeline.report import write_report

    folder = tmp_path_factory.mktemp("told") / "run"
    tables = invented_run.write(folder, 300)
    write_report(folder, "us")
    return folder, tables, (folder / "report.html").read_text(encoding="utf-8")
