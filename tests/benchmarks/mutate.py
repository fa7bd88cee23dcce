"""Which deliberate errors in the formulas no test would notice.

Every function of pipeline/physics is given one error at a time: a sign or an operation exchanged, a comparison
turned, a constant made a tenth larger. For each, the tests of its module and of outside truth run until the first
failure, in a copy of the package whose formulas are not compiled (the same source, so the same arithmetic).
A mutant that no test kills is printed. Not part of the test run; it takes some minutes:

    python tests/benchmarks/mutate.py [--jobs 2] [--only tension] [--json]
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CHECKS, OTHERS = "tests/reference/test_check_values.py", "tests/reference/test_other_programs.py"
# tests of each module, the quickest to tell first
EDGES = "tests/physics/test_edges.py"
TESTS = {
    "chemistry": (CHECKS, "tests/physics/test_well_handling.py", EDGES),
    "friction": (CHECKS, "tests/physics/test_water_friction.py", EDGES, OTHERS),
    "handling": (CHECKS, "tests/physics/test_well_handling.py", EDGES),
    "pressure": (CHECKS, "tests/physics/test_pressure_surge.py", "tests/physics/test_strength_pump.py", EDGES, OTHERS),
    "pump": (CHECKS, "tests/physics/test_strength_pump.py", EDGES),
    "strength": (CHECKS, "tests/physics/test_strength_pump.py", EDGES, OTHERS),
    "stretch": (CHECKS, "tests/physics/test_tension_stretch.py", EDGES, OTHERS),
    "surge": (CHECKS, "tests/physics/test_pressure_surge.py", EDGES, OTHERS),
    "tension": (CHECKS, "tests/physics/test_tension_stretch.py", EDGES, OTHERS),
    "water": (CHECKS, "tests/physics/test_water_friction.py", EDGES, OTHERS),
    "well": (CHECKS, "tests/physics/test_well_handling.py", "tests/physics/test_strength_pump.py", EDGES, OTHERS),
}
SECONDS = 60  # a mutant that runs longer has changed the answer of a loop: killed
PLAIN = '''"""Formulas without compilation: the same source run by Python, for the mutation check."""
import numpy as np

def source_hash():
    return "plain"

class Scalar:
    def __init__(self, function):
        self.py_func = function
        self.__name__, self.__doc__ = function.__name__, function.__doc__
    def __call__(self, *values):
        return self.py_func(*values)

def scalar(function):
    return Scalar(function)

def arrays(function):
    plain = function.py_func
    def one(*values):
        try:
            return np.float64(plain(*(np.float64(v) for v in values)))
        except (ValueError, ZeroDivisionError, OverflowError):
            return np.float64("nan")
    def call(*values):
        given = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in values))
        with np.errstate(all="ignore"):
            flat = [one(*row) for row in zip(*(g.ravel() for g in given))]
        out = np.array(flat, dtype=float).reshape(given[0].shape)
        return out if out.shape else float(out)
    def lone(*values):
        with np.errstate(all="ignore"):
            return one(*values)
    lone.py_func = plain
    call.scalar = lone
    call.__doc__ = plain.__doc__
    return call
'''
# errors that cannot be noticed, and why; keyed on module, function and the start of the source line
EQUIVALENT: dict[tuple[str, str, str], str] = {
    ("friction", "factor_colebrook", "x = -1.8"): "where the Newton steps begin; they end at the same root",
    ("friction", "factor_colebrook", "step = (x"): "slope of the Newton step; a wrong one ends at the same root, later",
    ("friction", "factor_colebrook", "if not (abs(step)"): "when the steps stop, at the last digit either way",
    ("handling", "mass_lift_kg", "return 0.0 *"): "zero whatever the sum; the sum only carries NaN",
    ("friction", "head_friction_m", "return 0.0 *"): "zero whatever the product; the product only carries NaN",
}


@dataclass(frozen=True)
class Mutant:
    """One error: where it stands and the source with it."""

    module: str
    function: str
    line: int
    text: str
    change: str
    source: str


def _swaps(node: ast.AST) -> list[tuple[str, ast.AST]]:
    """Nodes to put in the place of one node, with words for the change."""
    out: list[tuple[str, ast.AST]] = []
    if isinstance(node, ast.BinOp):
        other = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}.get(type(node.op))
        if other:
            names = {ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/"}
            out.append((f"{names[type(node.op)]} to {names[other]}", ast.BinOp(node.left, other(), node.right)))
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        out.append(("minus dropped", node.operand))
    elif isinstance(node, ast.Compare) and len(node.ops) == 1:
        turned = {ast.Lt: ast.Gt, ast.Gt: ast.Lt, ast.LtE: ast.Gt, ast.GtE: ast.Lt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq}
        if type(node.ops[0]) in turned:
            out.append(("comparison turned", ast.Compare(node.left, [turned[type(node.ops[0])]()], node.comparators)))
    elif isinstance(node, ast.Constant) and isinstance(node.value, float) and node.value == node.value:
        out.append((f"{node.value!r} to {node.value * 1.1 + (node.value == 0) * 0.1!r}",
                    ast.Constant(node.value * 1.1 if node.value else 0.1)))  # fmt: skip
    return out


class _Replace(ast.NodeTransformer):
    """Put a node in the place of the nth node that has swaps."""

    def __init__(self, place: int, swap: int) -> None:
        self.place, self.swap, self.seen = place, swap, -1

    def visit(self, node: ast.AST) -> ast.AST:
        swaps = _swaps(node)
        if swaps:
            self.seen += 1
            if self.seen == self.place:
                return ast.copy_location(swaps[self.swap][1], node)
        return self.generic_visit(node)


def mutants(path: Path) -> list[Mutant]:
    """Every single error of a module's functions and of its constants."""
    text = path.read_text(encoding="utf-8")
    lines, out = text.splitlines(), []
    tree = ast.parse(text)
    for top in tree.body:
        if isinstance(top, ast.FunctionDef):
            name = top.name
        elif isinstance(top, ast.Assign) and not isinstance(top.value, ast.Call):
            name = "constants"
        else:
            continue
        sites = []

        def walk(node: ast.AST, sites: list = sites) -> None:
            if _swaps(node):
                sites.append(node)
            for child in ast.iter_child_nodes(node):
                walk(child)

        walk(top)
        for place, node in enumerate(sites):
            for swap, (change, _) in enumerate(_swaps(node)):
                whole = ast.parse(text)
                twin = next(t for t in whole.body if t.lineno == top.lineno)
                whole.body[whole.body.index(twin)] = _Replace(place, swap).visit(twin)
                source = ast.unparse(ast.fix_missing_locations(whole))
                out.append(Mutant(path.stem, name.lstrip("_"), node.lineno, lines[node.lineno - 1].strip(), change, source))
    return out


def copy_of_package(folder: Path) -> Path:
    """Sources, declarations and tests in a folder of their own, the formulas not compiled."""
    for name in ("pipeline", "schemas", "tests"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__", ".hypothesis"))
    shutil.copy(ROOT / "pyproject.toml", folder)
    (folder / "pipeline" / "compiled.py").write_text(PLAIN, encoding="utf-8")
    return folder


def start(folder: Path, files: tuple[str, ...]) -> int:
    """Run tests in a child that has the libraries loaded already; its process id."""
    child = os.fork()
    if child:
        return child
    os.chdir(folder)
    null = os.open(os.devnull, os.O_WRONLY)
    if not os.environ.get("MUTATE_SHOW"):
        os.dup2(null, 1), os.dup2(null, 2)
    sys.path[:0] = [str(folder), str(folder / "tests")]
    signal.alarm(SECONDS)
    import pytest

    import pipeline

    pipeline.__path__[:] = [str(folder / "pipeline")]
    how = ["-x", "-q", "--assert=plain", "-W", "ignore", "-p", "no:cacheprovider"]
    for file in files:
        code = int(pytest.main([*how, f"--rootdir={folder}", file]))
        if code:
            break
    os._exit(code)


def judge(found: list[Mutant], jobs: int, folder: Path) -> list[tuple[Mutant, bool, str]]:
    """Each mutant with whether a test noticed it, and how its run ended."""
    rooms = [copy_of_package(folder / str(n)) for n in range(jobs)]
    whole = start(rooms[0], tuple(dict.fromkeys(file for files in TESTS.values() for file in files)))
    _, status = os.waitpid(whole, 0)
    if os.waitstatus_to_exitcode(status) != 0:
        raise SystemExit("the tests do not pass without an error put in; run with MUTATE_SHOW=1 to see why")
    done, waiting, busy = [], list(found), {}
    while waiting or busy:
        while waiting and len(busy) < jobs:
            mutant, room = waiting.pop(0), next(r for r in rooms if r not in [b[1] for b in busy.values()])
            target = room / "pipeline" / "physics" / f"{mutant.module}.py"
            kept = target.read_text(encoding="utf-8")
            target.write_text(mutant.source, encoding="utf-8")
            busy[start(room, TESTS[mutant.module])] = (mutant, room, target, kept)
        child, status = os.wait()
        mutant, _, target, kept = busy.pop(child)
        target.write_text(kept, encoding="utf-8")
        code = os.waitstatus_to_exitcode(status)
        done.append((mutant, code != 0, "time" if code == -signal.SIGALRM else f"exit {code}"))
        if code == 0:
            print(f"not noticed: {mutant.module}.py:{mutant.line} {mutant.change}: {mutant.text}", file=sys.stderr, flush=True)
        if len(done) % 50 == 0:
            print(f"{len(done)} of {len(found)}", file=sys.stderr, flush=True)
    return done


def main() -> None:
    """Judge every mutant and print what was not noticed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--only", default="", help="modules, by commas")
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    sys.dont_write_bytecode = True
    for library in ("numpy", "pandas", "pyarrow", "pint", "scipy.optimize", "scipy.integrate", "scipy.special", "hypothesis",
                    "hypothesis.strategies", "duckdb", "fluids", "iapws", "typer.testing", "pytest"):  # fmt: skip
        try:
            __import__(library)
        except ImportError:
            print(f"{library} is not installed: its tests skip", file=sys.stderr)
    sys.path.insert(0, str(ROOT))
    import hypothesis

    from pipeline import units

    hypothesis.settings.register_profile("same", derandomize=True)  # the same cases for every error
    hypothesis.settings.load_profile("same")
    units.registry()  # loaded once; the formulas are not, each child takes its own
    only = [name for name in given.only.split(",") if name]
    paths = [p for p in sorted((ROOT / "pipeline" / "physics").glob("*.py")) if not only or p.stem in only]
    found = [mutant for path in paths for mutant in mutants(path)]
    begun = time.perf_counter()
    with tempfile.TemporaryDirectory() as name:
        done = judge(found, given.jobs, Path(name))
    seconds = time.perf_counter() - begun
    rows, lost = [], []
    total, killed = Counter(), Counter()
    for mutant, noticed, how in done:
        why = next((reason for (module, function, text), reason in EQUIVALENT.items()
                    if (module, function) == (mutant.module, mutant.function) and mutant.text.startswith(text)), "")  # fmt: skip
        total[mutant.module, mutant.function] += 1
        killed[mutant.module, mutant.function] += noticed or bool(why)
        if not noticed:
            lost.append({"place": f"{mutant.module}.py:{mutant.line}", "function": mutant.function, "change": mutant.change,
                         "source": mutant.text, "cannot be noticed": why})  # fmt: skip
        rows.append({"module": mutant.module, "function": mutant.function, "line": mutant.line, "change": mutant.change,
                     "noticed": noticed, "ended": how, "cannot_be_noticed": why})  # fmt: skip
    if given.json:
        print(json.dumps(rows, indent=1))
    else:
        for key in sorted(total):
            print(f"{key[0]:10} {key[1]:32} {total[key]:4} errors, {total[key] - killed[key]:3} not noticed")
        for row in lost:
            print("NOT NOTICED" if not row["cannot be noticed"] else "cannot be noticed",
                  *(f"{k}: {v}" for k, v in row.items() if v), sep=" | ")  # fmt: skip
        open_ = sum(not row["cannot be noticed"] for row in lost)
        print(f"{len(done)} errors put in, {sum(r['noticed'] for r in rows)} noticed, {len(lost) - open_} cannot be noticed, "
              f"{open_} not noticed; {seconds:.0f} s")  # fmt: skip
    raise SystemExit(1 if any(not row["cannot be noticed"] for row in lost) else 0)


if __name__ == "__main__":
    main()
