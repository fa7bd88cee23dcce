"""One well in full: the recommendation, every option's checks, and the sheet an engineer can follow.

The same engine as a run; nothing is worked out here but what is shown.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline import io, schema
from pipeline.errors import UsageError
from pipeline.settings import Settings
from pipeline.typed import _field, _value

Content = dict[str, list[dict[str, Any]]]


def of_values(given: list[str], settings: Settings) -> Content:
    """Sheet of a well typed in as ``name=value`` texts, such as ``depth_static=120 ft`` or ``use=domestic``.

    Raises
    ------
    UsageError
        When a name is not a field of the table ``wells``, or a value cannot be read.
    """
    from pipeline.api import complete
    from pipeline.design_point import design, learn

    row: dict[str, Any] = {}
    for text in given:
        name, sign, value = text.partition("=")
        if not sign:
            raise UsageError(f"--set {text}: write it as NAME=VALUE, such as depth_static=\"120 ft\".")
        field = _field(name.strip())
        row[field.name] = _value(field, value.strip())
    wells = complete(pd.DataFrame([row]), settings)
    return _content(wells, design(wells, settings, learn(wells, settings)), settings)


def of_run(folder: Path, well: str, settings: Settings) -> Content:
    """Sheet of one well of a finished run, with the settings of that run.

    Raises
    ------
    UsageError
        When the folder is no finished run, or the well is not in it, or two sources share its id.
    """
    manifest = folder / "manifest.json"
    if not manifest.is_file():
        raise UsageError(f"{folder} holds no finished run (no manifest.json).")
    told = json.loads(manifest.read_text(encoding="utf-8"))["settings"]
    settings = replace(
        settings, market=told["market"], draws=told["draws"], seed=told["seed"], as_of=told["as_of"],
        practice_overlay=told["practice_overlay"],
    )  # fmt: skip
    source, _, bare = well.rpartition(":")
    wanted = [("well_id", "=", bare)] + ([("source_id", "=", source)] if source else [])
    found = {name: _rows(name, folder, wanted) for name in
             ("wells", "design", "selection", "not_chosen", "risks", "bill_lines")}  # fmt: skip
    if found["wells"].empty:
        gone = _rows("excluded", folder, [("well_id", "=", bare)])
        if len(gone):
            raise UsageError(f"Well '{well}' was left out of this run: {gone['reason_code'].iloc[0]}.")
        raise UsageError(f"Well '{well}' is not in {folder}; ids are in tables/wells.")
    if len(found["wells"]) > 1:
        names = [f"{s}:{bare}" for s in found["wells"]["source_id"]]
        raise UsageError(f"Well '{well}' is in two sources; say which: {' or '.join(names)}.")
    return _content(found["wells"], found["design"], settings, found)


def _rows(name: str, folder: Path, wanted: list[tuple[str, str, str]]) -> pd.DataFrame:
    import pyarrow.parquet as pq

    frames = [pq.read_table(path, filters=wanted).to_pandas() for path in io.parts(name, folder)]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()


def _content(wells: pd.DataFrame, design: pd.DataFrame, settings: Settings,
             stored: dict[str, pd.DataFrame] | None = None) -> Content:  # fmt: skip
    """All records of one well; what a run stored is shown as stored."""
    from pipeline.materials import bill
    from pipeline.risk import flags
    from pipeline.sizing import option_sheets, size

    tables = stored
    if tables is None:
        sized = size(design, wells, settings)
        tables = {
            "wells": wells, "design": design, "selection": sized.selection, "not_chosen": sized.not_chosen,
            "risks": flags(wells, design, sized.selection, settings, sized.changes),
            "bill_lines": bill(sized.selection, design, settings),
        }  # fmt: skip
    out = {name: _records(name, tables[name]) for name in
           ("wells", "design", "selection", "not_chosen", "risks", "bill_lines")}  # fmt: skip
    out["options"] = option_sheets(design, settings)
    return {name: out[name] for name in
            ("wells", "design", "selection", "options", "not_chosen", "risks", "bill_lines")}  # fmt: skip


def _records(name: str, frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows as plain records in SI; what has no unit of its own row carries ``units`` by column in UCUM."""
    ucum = {c.field.name: c.field.ucum for c in schema.table(name) if c.field.ucum}
    out = []
    for row in frame.to_dict("records"):
        record = {str(key): _plain(value) for key, value in row.items()}
        if "unit" not in record:
            record["unit"] = {key: ucum[key] for key in record if key in ucum}
        out.append(record)
    return out


def _plain(value: Any) -> Any:
    """A value as JSON knows it; missing is None, whatever the type."""
    if value is None or value is pd.NaT or value is pd.NA or (isinstance(value, float) and not np.isfinite(value)):
        return None
    if isinstance(value, np.generic):
        return _plain(value.item())
    return value if isinstance(value, (str, int, float, bool)) else str(value)


def text(content: Content, units: str) -> str:
    """The sheet as a page of plain text; see sheet_text.py."""
    from pipeline.sheet_text import page

    return page(content, units)
