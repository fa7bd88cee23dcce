"""Source layouts: one TOML file a layout edition says how to know a file and what its columns mean."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from dataclasses import field as attribute
from functools import cache
from pathlib import Path
from typing import Any

from pipeline import schema
from pipeline.errors import SchemaError, UsageError

PICKS = ("first", "last", "min", "max")
_TOP = {"source", "file", "tables", "exclude", "events"}
_SOURCE = {"id", "title", "publisher", "licence", "retrieved", "edition", "invented", "market", "area", "crs",
           "date_order", "cannot_tell", "notes", "edition_of"}  # fmt: skip
_FILE = {"encoding", "delimiter", "comment", "type_row", "units_row", "missing"}
_TABLE = {"role", "match", "match_absent", "id", "columns", "order_by", "exclude"}
_COLUMN = {"from", "unit", "unit_from", "missing", "minus", "codes", "default", "pick", "where", "positive",
           "date_order", "fills", "phrase"}  # fmt: skip
_EVENTS = {"kind_from", "date_from"}
_UNITLESS = {"string", "text", "code", "boolean", "date", "integer"}


@dataclass(frozen=True)
class ColumnMap:
    """How one canonical field is found in a raw table.

    Attributes
    ----------
    field : str
        Canonical name.
    sources : tuple of str
        Raw headers; the first that is not missing wins. Empty for a constant (``default``).
    unit, unit_from : str
        Unit of the column, or the raw column that holds unit words row by row.
    missing : tuple of str
        Further words for missing, for this column only.
    minus : str
        Canonical field subtracted after conversion: levels below a casing top become levels below ground.
    codes : dict
        Raw text to code, beyond the spellings of the code list.
    default : str
        Constant where missing.
    pick : str
        Child tables: which value of several rows of a well: first, last, min or max.
    where : dict of raw header -> tuple of allowed raw texts
        Rows that do not match give no value.
    positive : bool
        Zeros and negatives count as missing.
    date_order : str
        ymd, dmy or mdy; empty: as the layout says.
    fills : str
        The column holds the time, in ``unit``, that it takes to fill this volume ("20 L"); it is read as a flow.
    phrase : str
        The column holds remarks; of each only the number is read that follows the words of this row of phrases.csv.
    """

    field: str
    sources: tuple[str, ...] = ()
    unit: str = ""
    unit_from: str = ""
    missing: tuple[str, ...] = ()
    minus: str = ""
    codes: dict[str, str] = attribute(default_factory=dict)
    default: str = ""
    pick: str = "first"
    where: dict[str, tuple[str, ...]] = attribute(default_factory=dict)
    positive: bool = False
    date_order: str = ""
    fills: str = ""
    phrase: str = ""

    def raw_columns(self) -> list[str]:
        """Raw headers this column reads."""
        return [*self.sources, *([self.unit_from] if self.unit_from else []), *self.where]


@dataclass(frozen=True)
class TableMap:
    """One table of a layout.

    Attributes
    ----------
    name, role : str
        Role is "wells" or "child".
    match, match_absent : tuple of str
        Raw headers that must all be present, and that must not be.
    id : tuple of str
        Raw columns of the well id, joined by "-"; empty: the record number serves as id.
    columns : dict of canonical field -> ColumnMap
    order_by : str
        Raw column by which rows of a well are put in order before ``pick`` first or last; empty: file order.
    exclude : dict of raw header -> {raw prefix: reason_code}
        Records left out on purpose; prefixes compare without regard to case.
    """

    name: str
    role: str
    match: tuple[str, ...]
    match_absent: tuple[str, ...] = ()
    id: tuple[str, ...] = ()
    columns: dict[str, ColumnMap] = attribute(default_factory=dict)
    order_by: str = ""
    exclude: dict[str, dict[str, str]] = attribute(default_factory=dict)


@dataclass(frozen=True)
class Layout:
    """One layout edition, parsed and checked; see the attributes for the keys of the file."""

    id: str
    title: str = ""
    publisher: str = ""
    licence: str = ""
    retrieved: str = ""
    edition: str = ""
    edition_of: str = ""
    invented: bool = False
    market: str = ""
    area: str = ""
    crs: str = "EPSG:4326"
    date_order: str = "ymd"
    cannot_tell: tuple[str, ...] = ()
    notes: str = ""
    encoding: str = ""
    delimiter: str = ""
    comment: str = "#"
    type_row: bool = False
    units_row: bool = False
    missing: tuple[str, ...] = ("",)
    tables: dict[str, TableMap] = attribute(default_factory=dict)
    exclude: dict[str, dict[str, str]] = attribute(default_factory=dict)
    kind_from: str = ""
    date_from: str = ""
    path: str = ""

    def wells_table(self) -> TableMap:
        """The one table of role wells."""
        return next(table for table in self.tables.values() if table.role == "wells")

    def exclusions(self, table: str) -> dict[str, dict[str, str]]:
        """Raw tests that leave out records of ``table``, by header."""
        found = self.tables[table]
        return {**self.exclude, **found.exclude} if found.role == "wells" else found.exclude

    def raw_columns(self, table: str) -> list[str]:
        """Raw headers that ``table`` needs; every other column is dropped at the door."""
        found = self.tables[table]
        names = [*found.id, *([found.order_by] if found.order_by else [])]
        for column in found.columns.values():
            names += column.raw_columns()
        names += list(self.exclusions(table))
        if found.role == "wells":
            names += [name for name in (self.kind_from, self.date_from) if name]
        return list(dict.fromkeys(names))

    def check_units(self) -> None:
        """Ask that every declared unit measures what its field measures.

        Raises
        ------
        SchemaError
            Naming the file, the table and the column.
        """
        from pipeline.units import line, typed

        for table in self.tables.values():
            for column in table.columns.values():
                wanted = schema.fields()[column.field].unit
                if column.unit and wanted:
                    try:
                        if column.fills:
                            typed(column.fills, "m**3")
                        line(column.unit, "s" if column.fills else wanted)
                    except UsageError as error:
                        key = f"[tables.{table.name}.columns.{column.field}]"
                        raise SchemaError(f"Layout {self.path}: {key}: {error}") from None


class _Reader:
    """Checks keys and types while a layout is built; every message names file and key."""

    def __init__(self, where: str):
        self.where = where

    def fail(self, key: str, what: str) -> SchemaError:
        return SchemaError(f"Layout {self.where}: {key}: {what}.")

    def known(self, key: str, found: Any, allowed: set[str]) -> dict[str, Any]:
        if not isinstance(found, dict):
            raise self.fail(key, "must be a table")
        strange = sorted(set(found) - allowed)
        if strange:
            raise self.fail(key, f"unknown key {strange}; known are {sorted(allowed)}")
        return found

    def text(self, key: str, value: Any) -> str:
        if not isinstance(value, str):
            raise self.fail(key, f"must be text, is {value!r}")
        return value

    def flag(self, key: str, value: Any) -> bool:
        if not isinstance(value, bool):
            raise self.fail(key, f"must be true or false, is {value!r}")
        return value

    def texts(self, key: str, value: Any) -> tuple[str, ...]:
        values = [value] if isinstance(value, str) else value
        if not isinstance(values, list) or not all(isinstance(v, str) for v in values):
            raise self.fail(key, f"must be text or a list of texts, is {value!r}")
        return tuple(values)

    def one_of(self, key: str, value: Any, allowed: tuple[str, ...]) -> str:
        if value not in allowed:
            raise self.fail(key, f"is {value!r}; write one of {list(allowed)}")
        return str(value)

    def mapping(self, key: str, value: Any) -> dict[str, str]:
        if not isinstance(value, dict) or not all(isinstance(v, str) for v in value.values()):
            raise self.fail(key, "must map texts to texts")
        return dict(value)

    def reasons(self, key: str, value: Any) -> dict[str, dict[str, str]]:
        if not isinstance(value, dict):
            raise self.fail(key, "must map a raw column to {prefix = reason}")
        return {name: self.mapping(f'{key}."{name}"', found) for name, found in value.items()}


def _column(reader: _Reader, key: str, name: str, found: Any) -> ColumnMap:
    row = reader.known(key, found, _COLUMN)
    declared = schema.fields().get(name)
    if declared is None:
        raise reader.fail(key, f"'{name}' is no field of fields.csv")
    where = row.get("where", {})
    if not isinstance(where, dict):
        raise reader.fail(f"{key}.where", "must map a raw column to a list of texts")
    column = ColumnMap(
        field=name,
        sources=reader.texts(f"{key}.from", row.get("from", [])),
        unit=reader.text(f"{key}.unit", row.get("unit", "")),
        unit_from=reader.text(f"{key}.unit_from", row.get("unit_from", "")),
        missing=reader.texts(f"{key}.missing", row.get("missing", [])),
        minus=reader.text(f"{key}.minus", row.get("minus", "")),
        codes=reader.mapping(f"{key}.codes", row.get("codes", {})),
        default=reader.text(f"{key}.default", row.get("default", "")),
        pick=reader.one_of(f"{key}.pick", row.get("pick", "first"), PICKS),
        where={k: reader.texts(f"{key}.where", v) for k, v in where.items()},
        positive=reader.flag(f"{key}.positive", row.get("positive", False)),
        date_order=reader.one_of(f"{key}.date_order", row.get("date_order", ""), ("", "ymd", "dmy", "mdy")),
        fills=reader.text(f"{key}.fills", row.get("fills", "")),
        phrase=reader.text(f"{key}.phrase", row.get("phrase", "")),
    )
    if not column.sources and not column.default:
        raise reader.fail(key, "needs 'from', or 'default' for a constant")
    measured = declared.unit and name not in ("latitude_deg", "longitude_deg")  # their unit follows from crs
    if column.sources and measured and not (column.unit or column.unit_from):
        raise reader.fail(key, f"needs 'unit' or 'unit_from'; the field is kept in {declared.unit}")
    if column.unit and declared.type in _UNITLESS:
        raise reader.fail(f"{key}.unit", f"'{name}' takes no unit")
    if column.fills and declared.unit != "m**3/s":
        raise reader.fail(f"{key}.fills", f"'{name}' is no flow")
    if column.phrase and column.phrase not in {r["phrase"] for r in schema.rows("phrases")}:
        raise reader.fail(f"{key}.phrase", f"'{column.phrase}' is no phrase of phrases.csv")
    if column.minus and column.minus not in schema.fields():
        raise reader.fail(f"{key}.minus", f"'{column.minus}' is no field of fields.csv")
    if declared.codes:
        strange = sorted(set(column.codes.values()) - set(schema.codes(declared.codes)))
        if strange:
            raise reader.fail(f"{key}.codes", f"{strange} are no codes of codes/{declared.codes}.csv")
    return column


def _table(reader: _Reader, name: str, found: Any) -> TableMap:
    key = f"[tables.{name}]"
    row = reader.known(key, found, _TABLE)
    role = reader.one_of(f"{key} role", row.get("role"), ("wells", "child"))
    match = reader.texts(f"{key} match", row.get("match", []))
    if not match:
        raise reader.fail(key, "needs 'match', the headers by which the table is known")
    columns = row.get("columns", {})
    if not isinstance(columns, dict):
        raise reader.fail(f"{key}.columns", "must be a table")
    parsed = {c: _column(reader, f"[tables.{name}.columns.{c}]", c, v) for c, v in columns.items()}
    table = TableMap(
        name=name, role=role, match=match,
        match_absent=reader.texts(f"{key} match_absent", row.get("match_absent", [])),
        id=reader.texts(f"{key} id", row.get("id", [])), columns=parsed,
        order_by=reader.text(f"{key} order_by", row.get("order_by", "")),
        exclude=reader.reasons(f"{key} exclude", row.get("exclude", {})),
    )  # fmt: skip
    if role == "child" and not table.id:
        raise reader.fail(key, "a child table needs 'id', the column that names the well")
    return table


def from_dict(document: dict[str, Any], where: str) -> Layout:
    """A layout from the content of its TOML file.

    Parameters
    ----------
    document : dict
        As tomllib reads it.
    where : str
        Name of the file, for messages.

    Raises
    ------
    SchemaError
        Naming the file and the key that is wrong.
    """
    reader = _Reader(where)
    reader.known("the file", document, _TOP)
    source = reader.known("[source]", document.get("source"), _SOURCE)
    file = reader.known("[file]", document.get("file", {}), _FILE)
    events = reader.known("[events]", document.get("events", {}), _EVENTS)
    if not source.get("id"):
        raise reader.fail("[source]", "needs 'id'")
    tables = document.get("tables")
    if not isinstance(tables, dict) or not tables:
        raise reader.fail("[tables]", "at least one table is needed")
    parsed = {name: _table(reader, name, found) for name, found in tables.items()}
    if sum(table.role == "wells" for table in parsed.values()) != 1:
        raise reader.fail("[tables]", "exactly one table must have role = \"wells\"")
    names = ("id", "title", "publisher", "licence", "retrieved", "edition", "edition_of", "area", "crs", "notes")
    plain = {name: reader.text(f"[source] {name}", source[name]) for name in names if name in source}
    order = source.get("date_order", "ymd")
    return Layout(
        **plain,
        invented=reader.flag("[source] invented", source.get("invented", False)),
        market=reader.one_of("[source] market", source.get("market", ""), ("", "us", "metric")),
        date_order=reader.one_of("[source] date_order", order, ("ymd", "dmy", "mdy")),
        cannot_tell=reader.texts("[source] cannot_tell", source.get("cannot_tell", [])),
        encoding=reader.text("[file] encoding", file.get("encoding", "")),
        delimiter=reader.text("[file] delimiter", file.get("delimiter", "")),
        comment=reader.text("[file] comment", file.get("comment", "#")),
        type_row=reader.flag("[file] type_row", file.get("type_row", False)),
        units_row=reader.flag("[file] units_row", file.get("units_row", False)),
        missing=tuple(dict.fromkeys(("", *reader.texts("[file] missing", file.get("missing", []))))),
        tables=parsed,
        exclude=reader.reasons("[exclude]", document.get("exclude", {})),
        kind_from=reader.text("[events] kind_from", events.get("kind_from", "")),
        date_from=reader.text("[events] date_from", events.get("date_from", "")),
        path=where,
    )


def read_layout(path: Path) -> Layout:
    """A layout from its TOML file.

    Raises
    ------
    UsageError
        When the file is missing or unreadable.
    SchemaError
        When it is no TOML or a key is wrong.
    """
    try:
        document = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise UsageError(f"Layout file {path}: {error.strerror}.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SchemaError(f"Layout file {path.name}: {error}.") from None
    return from_dict(document, path.name)


@cache
def packaged() -> dict[str, Layout]:
    """Layouts declared under schemas/sources, by source_id."""
    out: dict[str, Layout] = {}
    for path in sorted((schema.folder() / "sources").glob("*.toml")):
        layout = read_layout(path)
        if layout.id != path.stem:
            raise SchemaError(f"Layout {path.name}: [source] id is '{layout.id}', not the file's stem.")
        out[layout.id] = layout
    return out


def available(paths: tuple[Path, ...] = ()) -> dict[str, Layout]:
    """Packaged layouts and the user's own, which win over a packaged one of the same id."""
    out = dict(packaged())
    for path in paths:
        layout = read_layout(path)
        layout.check_units()
        out[layout.id] = layout
    return out
