"""The compiled scalar form gives the very number of the array form, in whichever order they are first called.

Each order runs in a process and a cache folder of its own: what is tested is also the code kept on disk,
and a crash of compiled code must fail a test, not end the run.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = """
import json, sys
import numpy as np
from pipeline.physics import friction, pressure, tension

pick = np.random.default_rng(11)
cases = {
    "head": (friction.head_friction_m, pick.uniform([1e-6, 1, .015, 0, 1e-6], [.02, 400, .12, 3e-4, 2e-6], (50, 5))),
    "load": (tension.load_hanging_n, pick.uniform(.1, 9, (50, 11))),
    "hdb": (pressure.factor_hdb, 
            np.column_stack([pick.uniform(0, 70, 50)] + [np.full(50, v) for v in (23., 60., 11., 5.5, 60.)])),
}
forms = {"scalar": lambda f, rows: [float(f.scalar(*row)) for row in rows.tolist()],
         "array": lambda f, rows: [float(v) for v in f(*rows.T)]}
print(json.dumps({way: [forms[way](f, rows) for f, rows in cases.values()] for way in sys.argv[1:]}))
"""


def run(order, cache):
    settings = {**os.environ, "WELLSTRING_CACHE": str(cache), "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", PROGRAM, *order], env=settings, capture_output=True, text=True)
    assert done.returncode == 0, f"{order}: process ended with {done.returncode}\n{done.stderr[-800:]}"
    return json.loads(done.stdout)


@pytest.mark.slow
@pytest.mark.parametrize("order", [["scalar", "array"], ["array", "scalar"]])
def test_property_scalar_equals_array(order, tmp_path):
    found = run(order, tmp_path)
    assert found["scalar"] == found["array"]
    assert all(len(values) == 50 and len(set(values)) > 1 for values in found["scalar"])
