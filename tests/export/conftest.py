import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "report"))

import invented_run


@pytest.fixture(scope="session")
def finished(tmp_path_factory):
    """An invented run folder with its tables; do not write into it."""
    folder = tmp_path_factory.mktemp("made") / "run"
    invented_run.write(folder, 120)
    return folder


@pytest.fixture
def run_folder(finished, tmp_path):
    """A copy of the invented run folder of one's own."""
    import shutil

    return shutil.copytree(finished, tmp_path / "run")
