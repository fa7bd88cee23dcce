"""What stands on each sheet: a query over the tables of the run, columns in words and in the reader's units."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from pipeline import schema, words
from pipeline.export.database import look_first_sql, parquet_sql, quoted, row_count, written_tables
from pipeline.export.display import header, in_words, shown, to_shown, unit_by_row
from pipeline.report import names

MOST_ROWS = 20_000  # rows of a sheet with a row a well; the tables of the run hold the others
_PIPES = ("option_id", "alternate_1_option_id", "alternate_2_option_id", "option_before_id")


@dataclass
class Sheet:
    """One sheet: columns in words, values as shown, decimals of each number column (None for text).

    Attributes
    ----------
    left_out : int
        Rows that the sheet does not hold because the run has more than a workbook should.
    """

    sheet_id: str
    title: str
    lead: str
    audience: str
    frame: pd.DataFrame
    decimals: list[int | None]
    about: list[str]
    left_out: int = 0


def sheets(folder: Path, units: str, most_rows: int = MOST_ROWS) -> list[Sheet]:
    """All sheets of sheets.csv whose tables the run has written, in their order.

    Parameters
    ----------
    folder : Path
        Run folder with its Parquet tables.
    units : str
        ``us`` or ``metric``.
    most_rows : int
        A sheet with a row a well is left empty, and says so, where the run has more wells.
    """
    there = set(written_tables(folder))
    out = []
    with duckdb.connect(":memory:") as base:
        for table in sorted(there):
            base.execute(f"CREATE VIEW {quoted(table)} AS SELECT * FROM {parquet_sql(table, folder)}")
        for row in sorted(schema.rows("sheets"), key=lambda row: int(row["position"])):
            needs = row["needs"].split("|")
            if not there.issuperset(needs):
                continue
            rows = row_count(needs[0], folder)
            too_many = row["by_well"] == "yes" and rows > most_rows
            query = f"SELECT * FROM ({_sql(row['sheet_id'])}) LIMIT 0" if too_many else _sql(row["sheet_id"])
            found = base.execute(query).df()
            if found.empty and not too_many:
                continue
            frame, decimals, about = for_reader(found, units)
            out.append(Sheet(
                row["sheet_id"], words.say(f"sheet.{row['sheet_id']}"), words.say(f"sheet.{row['sheet_id']}.lead"),
                words.say(f"sheet.audience.{row['audience']}"), frame, decimals, about, rows if too_many else 0,
            ))  # fmt: skip
    return out


def _sql(sheet_id: str) -> str:
    text = (Path(__file__).parent / "sheets" / f"{sheet_id}.sql").read_text(encoding="utf-8")
    return text.replace("$look_first", look_first_sql()).strip().rstrip(";")


def for_reader(frame: pd.DataFrame, units: str) -> tuple[pd.DataFrame, list[int | None], list[str]]:
    """Columns in words, numbers in the reader's units, codes as labels, pipes and items by name.

    Returns
    -------
    frame : DataFrame
    decimals : list
        Decimals of each number column, None for text.
    about : list of str
        What each column means.
    """
    if "unit" in frame and any(name in frame for name in ("need", "have", "value", "limit")):
        frame = unit_by_row(frame, units)
    fields = declared()
    out: dict[str, object] = {}
    decimals: list[int | None] = []
    about = []
    for name in frame.columns:
        field, values = fields.get(name) or fields[name.removesuffix("_low").removesuffix("_high")], frame[name]
        if name in _PIPES or name == "item_id":
            known = {code: names.item(code) for code in values.dropna().unique()}
            found, places = values.map(known, na_action="ignore"), None
        elif field.type == "number":
            how = shown(name, units)
            places = how.decimals if how else 2
            found = pd.Series(np.round(to_shown(values, name, units), places if how else 6), index=values.index)
        elif field.type == "integer":
            found, places = values, 0
        elif field.name == "reason_code":
            found, places = values.map({c: names.trouble(c) for c in values.dropna().unique()}), None
        elif field.name in ("check_code", "governs_check_code") or field.codes:
            found, places = in_words(values, field), None
        elif field.type == "boolean":
            found, places = values.map({True: "yes", False: "no"}), None
        else:
            found, places = values, None
        out[header(name, units)] = found
        decimals.append(places)
        about.append(field.description)
    return pd.DataFrame(out), decimals, about


@cache
def declared() -> dict[str, schema.Field]:
    """Every column of every table by name, with the ends of bands and their basis."""
    return {column.field.name: column.field for table in schema.tables().values() for column in table}
