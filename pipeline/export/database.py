"""One DuckDB file a run: tables stored or, past a size, seen through views; described by the dictionary."""

from __future__ import annotations

import os
import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline import io, schema, words
from pipeline.demand import region_key_sql
from pipeline.errors import PipelineError, UsageError

if TYPE_CHECKING:
    import duckdb

NAME = "wellstring.duckdb"
STORED_ROWS = 500_000
_SQL_TYPE = {"string": "VARCHAR", "text": "VARCHAR", "code": "VARCHAR", "number": "DOUBLE", "integer": "BIGINT",
             "boolean": "BOOLEAN", "date": "DATE"}  # fmt: skip


def quoted(name: str) -> str:
    """A name as SQL writes it."""
    return '"' + name.replace('"', '""') + '"'


def literal(text: str) -> str:
    """A text as SQL writes it."""
    return "'" + text.replace("'", "''") + "'"


def is_by_record(table: str) -> bool:
    """Whether a table has a row a well or a record, so that it grows with the input."""
    return any(c.field.name in ("well_id", "source_row") for c in schema.table(table))


def written_tables(folder: Path) -> list[str]:
    """Declared tables that this run has written, in the order of their declaration."""
    return [row["table"] for row in schema.rows("tables_about") if io.parts(row["table"], folder)]


def row_count(table: str, folder: Path) -> int:
    """Rows of a table of a run, from the footers of its files."""
    import pyarrow.parquet as pq

    return sum(pq.read_metadata(path).num_rows for path in io.parts(table, folder))


def parquet_sql(table: str, folder: Path) -> str:
    """SQL that reads a table of a run from its Parquet files; signs that DuckDB takes as patterns are escaped."""
    paths = [re.sub(r"([\[*?])", r"[\1]", path.resolve().as_posix()) for path in io.parts(table, folder)]
    return f"read_parquet([{', '.join(literal(path) for path in paths)}])"


def comment_of(field: schema.Field) -> str:
    """Description of a column with its unit."""
    unit = field.unit or ("1" if field.ucum == "1" else "")
    return f"{field.description} [{unit}]" if unit else field.description


def write_duckdb(folder: Path, stored_rows: int = STORED_ROWS) -> None:
    """Write ``wellstring.duckdb`` into the run folder, in one move.

    Parameters
    ----------
    folder : Path
        Run folder with its Parquet tables.
    stored_rows : int
        A table with a row a well or record is stored up to so many rows; above it the file holds a
        view over the Parquet parts by their full path, which :func:`point_views` sets anew once the
        folder has moved. Regional tables are always stored.

    Raises
    ------
    UsageError
        When the folder holds no tables.
    """
    import duckdb

    tables = written_tables(folder)
    if not tables:
        raise UsageError(f"{folder} holds no tables; give the folder of a finished run.")
    work, spill = folder / f".{NAME}.writing", folder / f".{NAME}.spill"
    work.unlink(missing_ok=True)
    settings: dict[str, str | bool | int | float | list[str]] = {"memory_limit": "2GB", "temp_directory": str(spill)}
    try:
        with duckdb.connect(str(work), config=settings) as base:
            viewed = {t for t in tables if is_by_record(t) and row_count(t, folder) > stored_rows}
            for table in tables:
                if table in viewed:
                    _view(base, table, folder)
                else:
                    _store(base, table, folder)
            base.begin()
            for table in tables:
                _comments(base, "VIEW" if table in viewed else "TABLE", table)
            _dictionary(base)
            base.execute(region_key_sql())
            _helpful_views(base, tables)
            base.commit()
            base.execute("CHECKPOINT")
        os.replace(work, folder / NAME)
    finally:
        work.unlink(missing_ok=True)
        shutil.rmtree(spill, ignore_errors=True)


def _comments(base: duckdb.DuckDBPyConnection, kind: str, table: str) -> None:
    about = next(row for row in schema.rows("tables_about") if row["table"] == table)
    text = f"{about['sentence']} ({about['grain']})"
    statements = [f"COMMENT ON {kind} {quoted(table)} IS {literal(text)}"]
    for column in schema.table(table):
        name = f"{quoted(table)}.{quoted(column.field.name)}"
        statements.append(f"COMMENT ON COLUMN {name} IS {literal(comment_of(column.field))}")
    base.execute(";\n".join(statements))


def _store(base: duckdb.DuckDBPyConnection, table: str, folder: Path) -> None:
    columns = ", ".join(
        f"{quoted(c.field.name)} {_SQL_TYPE[c.field.type]}{' NOT NULL' if c.required else ''}"
        for c in schema.table(table)
    )
    base.execute(f"CREATE TABLE {quoted(table)} ({columns})")
    base.execute(f"INSERT INTO {quoted(table)} BY NAME SELECT * FROM {parquet_sql(table, folder)}")


def _view(base: duckdb.DuckDBPyConnection, table: str, folder: Path) -> None:
    base.execute(f"CREATE OR REPLACE VIEW {quoted(table)} AS SELECT * FROM {parquet_sql(table, folder)}")


def _dictionary(base: duckdb.DuckDBPyConnection) -> None:
    """The dictionary and the code lists as tables, for whoever has only this file."""
    columns = [
        (table, c.field.name, place, words.label(c.field.name), c.field.type, c.field.unit or None,
         c.field.ucum or None, c.field.codes or None, c.is_key, c.field.description)
        for table in sorted(schema.tables())
        for place, c in enumerate(schema.table(table), start=1)
    ]  # fmt: skip
    names = ("table_name", "column_name", "position", "label", "type", "unit", "ucum", "code_list", "is_key",
             "description")  # fmt: skip
    _keep(base, "dictionary", names, columns)
    base.execute("COMMENT ON TABLE dictionary IS 'Every declared column with unit and meaning.'")
    lists = sorted({c.field.codes for table in schema.tables().values() for c in table if c.field.codes})
    labels = [(name, code, text) for name in lists for code, text in schema.codes(name).items()]
    _keep(base, "code_labels", ("code_list", "code", "label"), labels)
    base.execute("COMMENT ON TABLE code_labels IS 'Codes of the coded columns and what they stand for.'")


def _keep(base: duckdb.DuckDBPyConnection, table: str, names: tuple[str, ...], rows: list[tuple[Any, ...]]) -> None:
    """Store a few rows of our own as a table."""
    import pyarrow as pa

    columns = zip(*rows, strict=True)
    base.register("given", pa.table({name: list(column) for name, column in zip(names, columns, strict=True)}))
    base.execute(f"CREATE TABLE {quoted(table)} AS SELECT * FROM given")
    base.unregister("given")


def look_first_sql(most: int | None = None) -> str:
    """Query over selection and risks that puts the wells in the order in which to look at them.

    With ``most`` it gives the same first wells without ranking the rest.
    """
    text = (Path(__file__).parent / "look_first.sql").read_text(encoding="utf-8").strip()
    return text.replace("$head", "" if most is None else f"WHERE place_in_reason <= {int(most)}")


def helpful_views() -> list[tuple[str, str, str]]:
    """Name, comment and SQL of every view of views.sql."""
    text = (Path(__file__).parent / "views.sql").read_text(encoding="utf-8")
    found = []
    for statement in re.split(r";[ \t]*$", text, flags=re.MULTILINE)[:-1]:
        blocks = statement.strip().split("\n\n")
        lines = blocks[-1].splitlines()
        comment = " ".join(line[2:].strip() for line in lines if line.startswith("--"))
        sql = "\n".join(line for line in lines if not line.startswith("--"))
        name = sql.split("VIEW", 1)[1].split(" AS", 1)[0].strip()
        sql = sql.replace("$not_stated", words.say("place.not_stated")).replace("$look_first", look_first_sql())
        found.append((name, comment, sql))
    return found


_NEEDS = {"families_by_region": ("selection",), "pipe_length_by_region": ("selection", "design"),
          "material_of_the_run": ("demand",), "material_by_region": ("demand",), "material_by_year": ("demand",),
          "what_governs": ("selection",),
          "why_not": ("not_chosen",), "flags_by_code": ("risks",), "stock_to_order": ("stock_plan",),
          "wells_to_look_at": ("selection", "risks")}  # fmt: skip


def _helpful_views(base: duckdb.DuckDBPyConnection, tables: list[str]) -> None:
    for name, comment, sql in helpful_views():
        if all(table in tables for table in _NEEDS[name]):
            base.execute(sql)
            base.execute(f"COMMENT ON VIEW {quoted(name)} IS {literal(comment)}")


def point_views(folder: Path) -> list[str]:
    """Set the views over Parquet anew after the run folder has moved; returns the tables they show.

    Raises
    ------
    UsageError
        When the folder holds no database.
    PipelineError
        When the database is open elsewhere or cannot be written.
    """
    import duckdb

    path = folder / NAME
    if not path.is_file():
        raise UsageError(f"{folder} holds no {NAME}; give the folder of a finished run.")
    try:
        with duckdb.connect(str(path)) as base:
            found = base.execute("SELECT view_name FROM duckdb_views() WHERE NOT internal").fetchall()
            seen = {name for (name,) in found}
            moved = [table for table in written_tables(folder) if table in seen]
            base.begin()
            for table in moved:
                _view(base, table, folder)
                _comments(base, "VIEW", table)
            base.commit()
    except duckdb.Error as error:
        raise PipelineError(f"{path} cannot be changed: {str(error).splitlines()[0]}") from None
    return moved
