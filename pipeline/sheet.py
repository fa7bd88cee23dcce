"""One well in full: the recommendation, every option's checks, and the sheet an engineer can follow.

The same engine as a run; nothing is worked out here but what is shown.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline import io, schema
from pipeline.errors import UsageError
from pipeline.settings import Settings
from pipeline.settings import of_run as of_finished
from pipeline.typed import _field, _value

Content = dict[str, list[dict[str, Any]]]
FIRST = ("design", "selection", "options", "not_chosen", "risks", "bill_lines")  # order of the answer
OF_WHOLE_RUN = ("measure_first",)  # written by commands that look at a run as a whole


def of_values(given: list[str], settings: Settings) -> Content:
    """Sheet of a well typed in as ``name=value`` texts, such as ``depth_static=120 ft`` or ``use=domestic``.

    Raises
    ------
    UsageError
        When a name is not a field of the table ``wells``, or a value cannot be read.
    """
    from pipeline.api import complete, size

    row: dict[str, Any] = {}
    for text in given:
        name, sign, value = text.partition("=")
        if not sign:
            raise UsageError(f"--set {text}: write it as NAME=VALUE, such as depth_static=\"120 ft\".")
        field = _field(name.strip())
        row[field.name] = _value(field, value.strip())
    wells = complete(pd.DataFrame([row]), settings)
    return _content(wells, size(wells, settings), settings)


def of_run(folder: Path, well: str, settings: Settings) -> Content:
    """Sheet of one well of a finished run, with the settings of that run.

    Raises
    ------
    UsageError
        When the folder is no finished run, or the well is not in it, or two sources share its id.
    """
    from pipeline.chain import PER_WELL

    settings, _ = of_finished(folder, settings)
    source, _, bare = well.rpartition(":")
    wanted = [("well_id", "=", bare)] + ([("source_id", "=", source)] if source else [])
    wells = _rows("wells", folder, wanted)
    if wells.empty:
        gone = _rows("excluded", folder, [("well_id", "=", bare)])
        if len(gone):
            raise UsageError(f"Well '{well}' was left out of this run: {gone['reason_code'].iloc[0]}.")
        raise UsageError(f"Well '{well}' is not in {folder}; ids are in tables/wells.")
    if len(wells) > 1:
        names = [f"{s}:{bare}" for s in wells["source_id"]]
        raise UsageError(f"Well '{well}' is in two sources; say which: {' or '.join(names)}.")
    own = [("source_id", "=", wells["source_id"].iloc[0]), ("well_id", "=", bare)]
    tables = {name: _rows(name, folder, own) for name in (*PER_WELL, *OF_WHOLE_RUN)}
    return _content(wells, tables, settings)


def _rows(name: str, folder: Path, wanted: list[tuple[str, str, str]]) -> pd.DataFrame:
    """Rows of a table of a run; none where the run has no such table."""
    import pyarrow.parquet as pq

    frames = [pq.read_table(path, filters=wanted).to_pandas() for path in io.parts(name, folder)]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()


def _content(wells: pd.DataFrame, tables: dict[str, pd.DataFrame], settings: Settings) -> Content:
    """All records of one well; what a run stored is shown as stored."""
    from pipeline.explain_sheet import lines
    from pipeline.sizing import option_sheets

    out = {"wells": _records("wells", wells)}
    out |= {name: _records(name, tables[name]) for name in FIRST if name != "options"}
    design = tables["design"]
    # an older run lacks columns declared since: what they hold is not known of it
    design = design.reindex(columns=[c.field.name for c in schema.table("design")])
    options: list[dict[str, Any]] = option_sheets(design, settings, wells)
    out["options"] = options
    wanted = out["selection"][0]["option_id"]
    chosen = next((o for o in options if o["option_id"] == wanted), None)
    out["calculation"] = lines(out["wells"][0], design, chosen, settings)
    rest = [name for name in tables if name not in out]
    out |= {name: _records(name, tables[name]) for name in rest}
    return {name: out[name] for name in ("wells", *FIRST, "calculation", *rest)}


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


def text(content: Content, units: str, settings: Settings | None = None) -> str:
    """The page of the well as plain text."""
    from pipeline.explain_sheet import as_text

    return as_text(content, units, settings)


def html(content: Content, units: str, settings: Settings | None = None) -> str:
    """The page of the well as one self-contained HTML file."""
    from pipeline.explain_sheet import as_html

    return as_html(content, units, settings)
