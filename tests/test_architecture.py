"""Who may import whom, held by the source itself."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PIPELINE = ROOT / "pipeline"
# rooms in the order of the flow: a room may import what stands before it, and its own modules
BASE = {"errors", "schema", "units", "settings", "io", "rng", "compiled", "words", "physics"}
MAY = {
    "errors": set(), "keeping": set(), "schema": {"errors"}, "units": {"errors", "schema", "keeping"}, "words": {"errors", "schema"},
    "typed": {"errors", "schema", "units"},
    "settings": {"errors", "schema", "units"}, "io": {"errors", "schema"}, "rng": {"compiled"}, "compiled": {"keeping"},
    "physics": {"compiled"}, "ingest": BASE, "normalise": BASE | {"ingest", "typed"}, "validate": BASE,
    "design_point": BASE, "materials": BASE, "jurisdiction": BASE, "sizing": BASE | {"materials", "jurisdiction"}, "risk": BASE | {"materials"},
    "install": BASE | {"materials"}, "demand": BASE, "export": BASE | {"demand"}, "report": BASE | {"export", "demand"},
    "workbook": BASE | {"export", "report"}, "public": BASE | {"export", "report"},
    "sheet": BASE | {"typed", "api", "chain", "sizing", "explain_sheet"},
    "explain_sheet": BASE | {"design_point", "sizing", "materials", "export", "install"},
    "inspect_values": BASE | {"ingest", "normalise"}, "inspect_text": BASE | {"ingest", "inspect_values"},
    "inspect_line": BASE | {"ingest", "normalise", "inspect_values"},
    "reference_pages": BASE | {"source_list"},
    "source_list": BASE | {"ingest"},
    "inspecting": BASE | {"ingest", "inspect_values", "inspect_text", "inspect_line"},
    "check_values": BASE | {"sizing"}, "practice_table": BASE | {"design_point", "materials", "sizing"},
    "measure": BASE | {"design_point", "sizing"},
    "price_shift": BASE | {"materials", "sizing", "export"},
    "scenario": BASE | {"design_point", "materials", "sizing", "risk", "demand", "export", "jurisdiction"},
    "stock": BASE | {"materials", "demand", "export"},
    "api": BASE | {"chain", "design_point", "sheet"},
}  # fmt: skip
FREE = {"chain", "cli", "__init__", "__main__"}


def room(path: Path) -> str:
    return path.relative_to(PIPELINE).parts[0].removesuffix(".py")


def imports(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("pipeline"):
            rest = node.module.split(".")[1:]
            found |= {rest[0]} if rest else {alias.name for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {a.name.split(".")[1] for a in node.names if a.name.startswith("pipeline.")}
    return found


def test_rooms_import_only_what_stands_before_them():
    for path in sorted(PIPELINE.rglob("*.py")):
        name = room(path)
        if name in FREE:
            continue
        assert name in MAY, f"{path.name}: place the new room '{name}' in the table of this test"
        strange = imports(path) - MAY[name] - {name, "__version__"}
        assert not strange, f"{path.relative_to(ROOT)} imports {sorted(strange)}"


def test_one_module_speaks_pint_and_one_the_validation_library():
    for path in sorted(PIPELINE.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        if "import pint" in text:
            assert path.name == "units.py"
        if "great_expectations" in text:
            assert room(path) in ("validate", "chain"), path


def test_modules_are_rooms_not_halls():
    for path in sorted(PIPELINE.rglob("*.py")):
        lines = len(path.read_text(encoding="utf-8").splitlines())
        assert lines <= 450, f"{path.relative_to(ROOT)} has {lines} lines"


def test_no_table_is_walked_row_by_row():
    # a handful of distinct spellings or faulty prices may be walked for a message; a table of wells may not
    for path in sorted(PIPELINE.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        assert ".iterrows(" not in text and "axis=1).apply" not in text and ".apply(" not in text, path
        assert ".itertuples(" not in text or path.name in ("goods.py", "places.py"), path
