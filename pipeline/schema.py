"""What is declared under schemas/: fields, tables, codes, practice, references; and what follows from it.

Every other module asks here; none opens a declaration by itself. Column types, Arrow schemas,
headers and the data dictionary are derived from one row of ``fields.csv``.
"""

from __future__ import annotations

import csv
import tomllib
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import pyarrow as pa

from pipeline.errors import SchemaError

ARROW = {
    "string": pa.string(),
    "text": pa.string(),
    "code": pa.string(),
    "number": pa.float64(),
    "integer": pa.int64(),
    "boolean": pa.bool_(),
    "date": pa.date32(),
}


@cache
def folder() -> Path:
    """Folder of the declarations: inside the installed package, else beside it in a checkout."""
    here = Path(__file__).resolve().parent
    for candidate in (here / "schemas", here.parent / "schemas"):
        if (candidate / "fields.csv").is_file():
            return candidate
    raise SchemaError(f"The declarations (schemas/) are missing beside {here}; install wellstring again.")


def read_rows(path: Path) -> list[dict[str, str]]:
    """Rows of a declaration CSV as dictionaries of text, in file order."""
    with path.open(newline="", encoding="utf-8") as handle:
        return list(csv.DictReader(handle))


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """Rows of ``schemas/<name>.csv``; ``name`` may hold a folder, as in ``reference/pvc``."""
    return tuple(read_rows(folder() / f"{name}.csv"))


@dataclass(frozen=True)
class Field:
    """One canonical column: what it is called, measures and may hold."""

    name: str
    type: str
    unit: str
    ucum: str
    hard_min: float | None
    hard_max: float | None
    typical_min: float | None
    typical_max: float | None
    codes: str
    description: str
    reference_id: str

    def to_arrow(self, required: bool = False) -> pa.Field:
        """Arrow field with unit, UCUM code and description as metadata."""
        notes = {"unit": self.unit, "ucum": self.ucum, "description": self.description}
        kept = {key: text for key, text in notes.items() if text}
        return pa.field(self.name, ARROW[self.type], nullable=not required, metadata=kept)


@dataclass(frozen=True)
class Column:
    """One column of a declared table."""

    field: Field
    is_key: bool
    required: bool


def _number(text: str) -> float | None:
    return float(text) if text else None


@cache
def fields() -> dict[str, Field]:
    """Canonical fields by name, from fields.csv."""
    out = {}
    for row in rows("fields"):
        numbers = {k: _number(row[k]) for k in ("hard_min", "hard_max", "typical_min", "typical_max")}
        texts = {k: row[k] for k in ("name", "type", "unit", "ucum", "codes", "description", "reference_id")}
        out[row["name"]] = Field(**texts, **numbers)  # type: ignore[arg-type]
    return out


def _banded(field: Field) -> list[Field]:
    """The value itself, its low, its high and how it is known."""
    text = field.description.rstrip(".")
    basis = Field(
        f"{stem(field.name)}_basis_code", "code", "", "", None, None, None, None, "basis",
        f"How this value is known: {text[0].lower()}{text[1:]}.", field.reference_id,
    )  # fmt: skip
    return [
        field,
        replace(field, name=f"{field.name}_low", description=f"{text}; low end, tenth percentile."),
        replace(field, name=f"{field.name}_high", description=f"{text}; high end, ninetieth percentile."),
        basis,
    ]


@cache
def suffixes() -> tuple[dict[str, str], ...]:
    """Unit suffixes, longest first, from suffixes.csv."""
    return tuple(sorted(rows("suffixes"), key=lambda row: -len(row["suffix"])))


def suffix_of(name: str) -> dict[str, str] | None:
    """Row of suffixes.csv that ends ``name``; percentile and band endings are looked through."""
    bare = name
    for ending in ("_low", "_high", "_expected", "_p10", "_p50", "_p90"):
        bare = bare.removesuffix(ending)
    return next((row for row in suffixes() if bare.endswith(row["suffix"])), None)


def stem(name: str) -> str:
    """Field name without its unit suffix, as typed by people: depth_static_m -> depth_static."""
    row = suffix_of(name)
    if row and name.endswith(row["suffix"]):
        return name[: -len(row["suffix"])]
    return name.removesuffix("_code")


@cache
def tables() -> dict[str, tuple[Column, ...]]:
    """Columns of every declared table, banded fields spread into value, low, high and basis."""
    known = fields()
    out: dict[str, list[Column]] = {}
    for row in sorted(rows("tables"), key=lambda r: (r["table"], int(r["position"]))):
        if row["field"] not in known:
            raise SchemaError(
                f"tables.csv: '{row['table']}' names the field '{row['field']}', which fields.csv lacks."
            )
        field, columns = known[row["field"]], out.setdefault(row["table"], [])
        spread = _banded(field) if row["band"] == "yes" else [field]
        columns.extend(Column(f, row["key"] == "yes", row["required"] == "yes" and f is field) for f in spread)
    return {name: tuple(columns) for name, columns in out.items()}


def table(name: str) -> tuple[Column, ...]:
    """Columns of one declared table."""
    try:
        return tables()[name]
    except KeyError:
        raise SchemaError(f"No table '{name}' is declared in tables.csv.") from None


def key_of(name: str) -> list[str]:
    """Key columns of a table; rows are written in the order of the key."""
    return [column.field.name for column in table(name) if column.is_key]


@cache
def arrow_schema(name: str) -> pa.Schema:
    """Arrow schema of a declared table, units and descriptions in the field metadata."""
    about = next(row for row in rows("tables_about") if row["table"] == name)
    notes = {"table": name, "grain": about["grain"], "description": about["sentence"]}
    return pa.schema([c.field.to_arrow(c.required) for c in table(name)], metadata=notes)


@cache
def codes(name: str) -> dict[str, str]:
    """Codes of a list and their labels."""
    return {row["code"]: row["label"] for row in rows(f"codes/{name}")}


@cache
def spellings(name: str) -> dict[str, str]:
    """Spellings met in the wild, folded to lower case with single blanks, to their code."""
    out: dict[str, str] = {}
    for row in rows(f"codes/{name}"):
        for text in (row["code"], row["label"], *filter(None, row["as_written"].split("|"))):
            out.setdefault(" ".join(text.lower().split()), row["code"])
    return out


@cache
def references() -> dict[str, dict[str, str]]:
    """Sources by id, from references.csv."""
    return {row["reference_id"]: row for row in rows("references")}


@cache
def toml(name: str) -> dict[str, Any]:
    """A declaration kept as TOML, such as ``words/en``."""
    with (folder() / f"{name}.toml").open("rb") as handle:
        return tomllib.load(handle)
