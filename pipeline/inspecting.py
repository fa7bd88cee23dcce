"""The inspection of files from end to end: looked at, values read, told as text or JSON, layout written."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from pipeline import inspect_text, inspect_values, schema
from pipeline.errors import UsageError
from pipeline.ingest.inspection import Inspection
from pipeline.ingest.look import look, missing_of
from pipeline.ingest.proposal.document import to_toml
from pipeline.settings import Settings, load

# kept to the process: the sample, the layouts and the paths of this machine
_WITHIN = {"frame", "mapping", "path", "head", "grid"}


@dataclass(frozen=True)
class Asked:
    """What the user typed."""

    inputs: tuple[Path, ...]
    layouts: tuple[Path, ...] = ()
    units: str = ""
    everything: bool = False
    as_json: bool = False

    def settings(self) -> Settings:
        """Settings with the layouts and units given."""
        return load(None, layouts=self.layouts, units=self.units or None)


def account(asked: Asked, write_layout: Path | None = None) -> tuple[str, int]:
    """What was understood, as text or JSON, and the exit code: 0 all, 2 an answer is needed, 1 nothing readable.

    Raises
    ------
    UsageError
        When a path does not exist, or the layout file to write does.
    """
    settings = asked.settings()
    if write_layout is not None and write_layout.exists():
        raise UsageError(f"{write_layout}: stands already and is not overwritten; name another file.")
    found = look(list(asked.inputs), settings)
    for table in found.tables:
        if not table.hopeless:
            inspect_values.fill(table, settings)
    found.missing = missing_of(found)
    if write_layout is not None:
        return _written(found, write_layout, asked), 0
    if asked.as_json:
        return json.dumps(document(found), indent=1, ensure_ascii=False), found.exit_code
    names = [str(path) for path in asked.inputs]
    return inspect_text.text(found, names, [str(p) for p in asked.layouts], asked.everything), found.exit_code


def document(found: Inspection) -> dict[str, Any]:
    """An inspection for programs; keys as described in DEVELOPERS.md."""
    tables = []
    for table in found.tables:
        row = {k: v for k, v in vars(table).items() if k not in _WITHIN and k != "columns"}
        columns = [] if table.hopeless else [asdict(column) for column in table.columns]
        tables.append({**row, "understood": table.understood, "hopeless": table.hopeless, "columns": columns})
    return {
        "exit_code": found.exit_code, "tables": tables,
        "unread": [{"file": name, "reason": reason} for name, reason, _ in found.unread],
        "aside": [{"file": name, "reason": reason} for name, reason in found.aside],
        "missing": [{"field": name, "assumed": told} for name, told in found.missing],
        "questions": found.questions, "market": found.market,
    }  # fmt: skip


def layout_text(found: Inspection, asked: Asked, target: str) -> str:
    """Text of the layout that reads the files: the known one copied out, or the proposed one.

    Raises
    ------
    UsageError
        When the files are of several layouts, or of none.
    """
    tables = [t for t in found.tables if not t.hopeless]
    if not tables:
        raise UsageError("No layout can be written: none of the files holds a table of wells.")
    known = sorted({t.layout for t in tables if t.known != "proposed"})
    if len(known) + len(found.sources) > 1:
        told = ", ".join([*known, *(f"a proposal for {s.profiles[0].name}" for s in found.sources)])
        raise UsageError(f"The files are of several layouts ({told}); name the files of one.")
    if known:
        layout = next(t.mapping for t in tables if t.mapping is not None)
        path = next((p for p in asked.layouts if p.name == layout.path), schema.folder() / "sources" / layout.path)
        text = path.read_text(encoding="utf-8")
        return f"# Copy of the layout {layout.id}. Given with --layout, it wins over the packaged one.\n{text}"
    command = inspect_text.run_command([str(path) for path in asked.inputs], [target])
    proposal = found.sources[0].proposal
    return to_toml(proposal, proposal.source_id, command)


def _written(found: Inspection, target: Path, asked: Asked) -> str:
    text = layout_text(found, asked, str(target))
    work = target.with_name(f".{target.name}.{os.getpid()}")
    try:
        work.write_text(text, encoding="utf-8", newline="\n")
        os.link(work, target)
    except FileExistsError:
        raise UsageError(f"{target}: stands already and is not overwritten; name another file.") from None
    finally:
        work.unlink(missing_ok=True)
    return inspect_text.written(found, str(target), [str(path) for path in asked.inputs])


def one_line(asked: Asked, line: int) -> tuple[str, int]:
    """One physical line of one file and what becomes of it, and the exit code."""
    from pipeline import inspect_line

    if len(asked.inputs) != 1 or asked.inputs[0].is_dir():
        raise UsageError("--line takes one file, not several and no folder.")
    found = inspect_line.look_at(asked.inputs[0], line, asked.settings())
    if asked.as_json:
        return json.dumps(inspect_line.document(found), indent=1, ensure_ascii=False), 0
    return inspect_line.text(found), 0
