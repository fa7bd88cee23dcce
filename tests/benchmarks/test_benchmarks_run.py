"""The benchmarks run from end to end on a few wells; no time is judged."""

import json
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent


def test_benchmarks_run_and_tell_their_figures(tmp_path):
    out = tmp_path / "figures.json"
    done = subprocess.run(
        [sys.executable, str(HERE / "run.py"), "--quick", "--rows", "300", "--json", str(out)],
        capture_output=True, text=True, cwd=tmp_path, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    found = json.loads(out.read_text())
    kernel = found["kernel"]
    assert kernel["options"] >= 100
    # three ways of doing the same job must name the same pipe
    assert kernel["choices_as_loop"] == kernel["choices_as_arrays"] == kernel["choices_as_all"] == 1.0
    assert found["friction"]["friction_error_most"] <= 1e-7
    assert 80 < found["operations_per_option"] < 400
    assert [w["rows"] for w in found["whole"]] == [300]
    assert found["whole"][0]["draws_32"]["counts"]["wells"] == 300
    assert found["whole"][0]["draws_32"]["memory_peak_bytes"] > 1e8
    assert "fluids" in done.stdout
