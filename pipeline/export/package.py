"""datapackage.json: what every Parquet and CSV file of a run holds, as Table Schema."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from pipeline import io, schema, words
from pipeline.errors import UsageError
from pipeline.export.database import row_count, written_tables
from pipeline.export.display import code_words, header, shown

# types of Table Schema, https://specs.frictionlessdata.io/table-schema/ (version 1)
_TYPE = {"string": "string", "text": "string", "code": "string", "number": "number", "integer": "integer",
         "boolean": "boolean", "date": "date"}  # fmt: skip


def field_descriptor(column: schema.Column) -> dict[str, Any]:
    """Table Schema field of a declared column as it stands in Parquet: SI, codes."""
    field = column.field
    constraints: dict[str, Any] = {"required": True} if column.required else {}
    if field.codes:
        constraints["enum"] = list(schema.codes(field.codes))
    found = {
        "name": field.name,
        "title": words.label(field.name),
        "type": _TYPE[field.type],
        "description": field.description,
        "unit": field.unit,
        "ucum": field.ucum,
        "constraints": constraints,
    }
    return {key: value for key, value in found.items() if value}


def csv_descriptor(column: schema.Column, units: str) -> dict[str, Any]:
    """Table Schema field of a column as it stands in the CSV for people: reader's units, labels."""
    found = field_descriptor(column)
    field, how = column.field, shown(column.field.name, units)
    found |= {"name": header(field.name, units), "source_column": field.name}
    if field.codes:
        labels = list(dict.fromkeys(code_words(field).values()))
        found["constraints"] = found.get("constraints", {}) | {"enum": labels}
    if field.type == "boolean":
        found |= {"trueValues": ["yes"], "falseValues": ["no"]}
    if field.type == "number" and how:
        found |= {"unit": how.unit_shown, "ucum": how.ucum_shown}
    return {key: value for key, value in found.items() if value}


def write_datapackage(folder: Path, units: str) -> None:
    """Write ``datapackage.json``: one resource a table, a second one where it also stands as CSV.

    Raises
    ------
    UsageError
        When the folder holds no tables.
    """
    tables = written_tables(folder)
    if not tables:
        raise UsageError(f"{folder} holds no tables; give the folder of a finished run.")
    about = {row["table"]: row for row in schema.rows("tables_about")}
    resources = []
    for table in tables:
        columns, key = schema.table(table), schema.key_of(table)
        common = {"title": about[table]["grain"], "description": about[table]["sentence"]}
        paths = [path.relative_to(folder).as_posix() for path in io.parts(table, folder)]
        resources.append({
            "name": table, "path": paths if len(paths) > 1 else paths[0], "format": "parquet",
            "mediatype": "application/vnd.apache.parquet", "rows": row_count(table, folder), **common,
            "schema": {"fields": [field_descriptor(c) for c in columns], "missingValues": [""],
                       **({"primaryKey": key} if key else {})},
        })  # fmt: skip
        path = folder / "csv" / f"{table}.csv"
        if path.is_file():
            content = path.read_bytes()
            resources.append({
                "name": f"{table}-csv", "path": f"csv/{table}.csv", "format": "csv", "mediatype": "text/csv",
                "encoding": "utf-8", "bytes": len(content), "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
                "profile": "tabular-data-resource", **common,
                "dialect": {"delimiter": ",", "lineTerminator": "\r\n", "quoteChar": '"', "doubleQuote": True},
                "schema": {"fields": [csv_descriptor(c, units) for c in columns], "missingValues": [""],
                           **({"primaryKey": [header(name, units) for name in key]} if key else {})},
            })  # fmt: skip
    io.write_json(folder / "datapackage.json", {
        "profile": "data-package", "name": "wellstring-run", "title": words.say("report.title"),
        "description": " ".join(words.cautions()), "resources": resources,
    })  # fmt: skip
