"""What the report says, as rows: SQL over the Parquet of a run, and the manifest."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np

from pipeline import schema
from pipeline.demand import region_key_sql
from pipeline.errors import UsageError
from pipeline.export.database import literal, look_first_sql, parquet_sql, quoted, written_tables
from pipeline.export.display import shown, system
from pipeline.units import convert

_SQL_TYPE = {"number": "DOUBLE", "integer": "BIGINT", "boolean": "BOOLEAN", "date": "DATE"}


def manifest(folder: Path) -> dict[str, Any]:
    """manifest.json of a run; an empty one where it is missing or no JSON."""
    try:
        found = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


class Facts:
    """A run folder opened for asking; a table that the run lacks stands empty. Use as a context manager."""

    def __init__(self, folder: Path, units: str, region: str | None = None):
        import duckdb

        system(units)
        self.spill = folder / ".report.spill"
        self.folder, self.units, self.manifest = folder, units, manifest(folder)
        there = written_tables(folder)
        if "selection" not in there:
            raise UsageError(f"{folder} holds no table 'selection'; give the folder of a finished run.")
        self.base = duckdb.connect(":memory:", config={"memory_limit": "2GB", "temp_directory": str(self.spill)})
        self.base.execute(region_key_sql())
        for table in schema.tables():
            if table in there:
                source = f"SELECT * FROM {parquet_sql(table, folder)}"
            else:
                columns = (f"NULL::{_SQL_TYPE.get(c.field.type, 'VARCHAR')} AS {quoted(c.field.name)}"
                           for c in schema.table(table))  # fmt: skip
                source = f"SELECT {', '.join(columns)} WHERE false"
            self.base.execute(f"CREATE VIEW {quoted('every ' + table if region else table)} AS {source}")
        self.region = region
        if region is not None:
            self._narrow(region)
        self.base.execute((Path(__file__).parent / "sql" / "equipped.sql").read_text(encoding="utf-8"))

    def _narrow(self, region: str) -> None:
        """Put views of one region in place of the whole tables; its sums stand where those of the run stood.

        Raises
        ------
        UsageError
            When no well lies in that region.
        """
        here = f"region_key(area_code, region_code) = {literal(region)}"
        self.base.execute(f'CREATE TABLE here AS SELECT source_id, well_id FROM "every wells" WHERE {here}')
        (count,) = self.ask("SELECT count(*) AS n FROM here")
        if not count["n"]:
            named = 'SELECT DISTINCT region_key(area_code, region_code) AS r FROM "every wells" ORDER BY r LIMIT 6'
            some = self.ask(named)
            known = "; ".join(str(row["r"]) for row in some)
            raise UsageError(f"No well lies in region '{region}'. Regions are named 'Area / Region', such as {known}.")
        for table, columns in schema.tables().items():
            names = {c.field.name for c in columns}
            source = quoted("every " + table)
            if {"source_id", "well_id"} <= names:
                sql = f"SELECT t.* FROM {source} AS t SEMI JOIN here USING (source_id, well_id)"
            elif "region_level" in names:
                own = f"region_level = 'region' AND region_code = {literal(region)}"
                sql = (f"SELECT * REPLACE ('all' AS region_level) FROM {source} WHERE {own} UNION ALL"
                       f" SELECT * FROM {source} WHERE {own}")  # fmt: skip
            elif "region_code" in names:
                sql = f"SELECT * FROM {source} WHERE region_code = {literal(region)}"
            else:
                sql = f"SELECT * FROM {source}"
            self.base.execute(f"CREATE VIEW {quoted(table)} AS {sql}")

    def __enter__(self) -> Facts:
        return self

    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.base.close()
        shutil.rmtree(self.spill, ignore_errors=True)

    def ask(self, sql: str, **values: Any) -> list[dict[str, Any]]:
        """Rows of a query as dictionaries; missing is None."""
        done = self.base.execute(sql, values) if values else self.base.execute(sql)
        names = [column[0] for column in done.description or []]
        return [dict(zip(names, row, strict=True)) for row in done.fetchall()]

    def rows(self, name: str, **values: Any) -> list[dict[str, Any]]:
        """Rows of ``sql/<name>.sql``."""
        return self.ask((Path(__file__).parent / "sql" / f"{name}.sql").read_text(encoding="utf-8"), **values)

    def arrays(self, name: str, **values: Any) -> dict[str, Any]:
        """Columns of ``sql/<name>.sql`` as arrays."""
        sql = (Path(__file__).parent / "sql" / f"{name}.sql").read_text(encoding="utf-8")
        return (self.base.execute(sql, values) if values else self.base.execute(sql)).fetchnumpy()

    def look_first(self, most: int) -> list[dict[str, Any]]:
        """Wells to look at, the first first."""
        return self.ask(f"SELECT * FROM ({look_first_sql(most)}) ORDER BY place LIMIT {int(most)}")

    def basis(self) -> list[dict[str, Any]]:
        """Design values by how they are known: field, recorded, derived, neighbours, assumed."""
        fields = [c.field.name for c in schema.table("design") if c.field.name.endswith("_basis_code")]
        counts = ", ".join(
            f"count(*) FILTER (WHERE {quoted(field)} = '{code}')" for field in fields for code in schema.codes("basis")
        )
        (row,) = self.base.execute(f"SELECT {counts} FROM design").fetchall()
        values, codes = iter(row), list(schema.codes("basis"))
        return [{"field": field.removesuffix("_basis_code")} | {c: next(values) for c in codes} for field in fields]

    def currency(self) -> str:
        """Currency of the costs; empty where no price is known."""
        for table in ("demand", "selection", "bill_lines"):
            found = self.ask(f"SELECT currency FROM {table} WHERE currency IS NOT NULL LIMIT 1")
            if found:
                return str(found[0]["currency"])
        return ""

    def unit(self, column: str) -> str:
        """Unit in which a column is shown."""
        how = shown(column, self.units)
        return how.label if how else ""

    def show(self, value: float | None, column: str) -> float | None:
        """A value of a column in the unit shown."""
        how = shown(column, self.units)
        if value is None or not np.isfinite(value):
            return None
        if how is None or how.unit == how.unit_shown:
            return float(value)
        return float(convert([value], how.unit, how.unit_shown)[0])

    def show_by_ucum(self, value: float | None, ucum: str | None) -> tuple[float | None, str]:
        """A value whose unit stands beside it, in the unit shown, with the unit's label."""
        row = next((row for row in schema.suffixes() if row["ucum"] == ucum), None)
        if value is None or row is None:
            return value, ucum or ""
        if ucum == "m" and abs(value) < 1:  # bores and couplings read better in the small unit
            small = next(r for r in schema.suffixes() if r["suffix"] == "_mm")
            to = system(self.units)
            return float(convert([value], "m", small[f"unit_{to}"])[0]), small[f"label_{to}"]
        side = system(self.units)
        if row[f"unit_{side}"] != row["unit"]:
            value = float(convert([value], row["unit"], row[f"unit_{side}"])[0])
        return value, row[f"label_{side}"] if ucum != "1" else ""


def text(value: float | None, decimals: int = 0) -> str:
    """A number with thousands marked; a dash where it is missing."""
    if value is None or not np.isfinite(value):
        return "–"
    return f"{value:,.{decimals}f}"


def round_text(value: float | None) -> str:
    """A number at three significant figures, thousands marked."""
    if value is None or not np.isfinite(value):
        return "–"
    if abs(value) >= 1000:
        return f"{float(f'{value:.3g}'):,.0f}"
    return f"{value:.3g}"


def share(part: float, whole: float) -> str:
    """A share in per cent; never 0 % for some nor 100 % for not all."""
    if not whole:
        return "–"
    if 0 < part < whole:
        if part / whole < 0.005:
            return "<1 %"
        if part / whole > 0.995:
            return ">99 %"
    return f"{part / whole:.0%}".replace("%", " %")
