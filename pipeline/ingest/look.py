"""Looking at files without reading them through: which tables they hold and what each column is taken for.

The answer is the one that a run would come to; values are taken of mapped columns only.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from pipeline import schema, words
from pipeline.errors import SourceError
from pipeline.ingest.glance import Glance, glance
from pipeline.ingest.header import ROWS_BELOW, is_type_row, rows_below, split_line, unique_names
from pipeline.ingest.inspection import (
    ASKED,
    MOST_QUESTIONS,
    READ,
    Inspection,
    TableSeen,
    declared_columns,
    guessed_columns,
)
from pipeline.ingest.intake import LINE, ROW, folded
from pipeline.ingest.opened import Opened
from pipeline.ingest.parse import ROOM_BELOW
from pipeline.ingest.proposal.asking import USED
from pipeline.ingest.proposal.assemble import Source
from pipeline.ingest.proposal.model import Question
from pipeline.ingest.reading import _plain
from pipeline.ingest.survey import Entry, NotUnderstood, Reader, Survey
from pipeline.ingest.texts import single_bytes
from pipeline.settings import Settings

_VALUE = re.compile(r"[-+]?\d[\d.,/:-]*")
_DELIMITERS = {",": "comma", "\t": "tab", ";": "semicolon", "|": "pipe"}


def look(paths: list[Path], settings: Settings) -> Inspection:
    """Every table of the files and folders, and what is missing for the job.

    Raises
    ------
    UsageError
        When a path does not exist.
    SchemaError
        When a layout is wrong, or two fit a table equally well.
    """
    reader = Reader(settings)
    survey = survey_of(reader, paths)
    out = Inspection()
    sources: list[Source] = []
    for entry in survey.entries:
        source = survey.assembled.source_of(entry.profile) if entry.profile is not None else None
        if entry.aside:
            out.aside.append((entry.name, entry.aside))
        elif entry.found is not None or isinstance(entry.fault, NotUnderstood):
            table = table_of(reader, entry, source)
            copied = _copy_of(out.tables, table)
            if copied:
                out.aside.append((entry.name, words.say("inspect.copy", file=copied)))
                continue
            out.tables.append(table)
            if source is not None and source not in sources:
                sources.append(source)
        elif entry.fault is not None:
            out.unread.append((entry.name, str(entry.fault).removeprefix(f"{entry.name}: "), entry.named))
    _leave_weak(out, {e.name for e in survey.entries if not e.named})
    sources = [s for s in sources if any(t.file in p.files for t in out.tables for p in s.profiles)]
    out.sources = sources
    found = [(q, source) for source in sources for q in source.proposal.questions if q.rows]
    found.sort(key=lambda pair: -pair[0].rows)
    out.questions = [asked(question, source) for question, source in found[:MOST_QUESTIONS]]
    out.market = next((s.proposal.market for s in sources if s.proposal.market), "")
    return out


def _leave_weak(out: Inspection, unnamed: set[str]) -> None:
    """Leave aside tables of a folder that may be anything, where others of it are understood."""
    if not any(t.understood for t in out.tables):
        return
    for table in [t for t in out.tables if t.file in unnamed and t.weak and not t.hopeless]:
        out.tables.remove(table)
        out.aside.append((table.file, words.say("inspect.weak", doubts="; ".join(table.doubts[:2]))))


def survey_of(reader: Reader, paths: list[Path]) -> Survey:
    """All tables of the inputs; unlike a run it passes over files that cannot be read."""
    return reader.survey(paths, strict=False)


def table_of(reader: Reader, entry: Entry, source: Source | None) -> TableSeen:
    """One table with its columns, by its layout or by what is proposed."""
    assert entry.opened is not None and entry.head is not None
    head, opened = entry.head, entry.opened
    known = entry.found.layout if entry.found is not None else None
    coding = single_bytes(known.encoding) if known else ""
    seen = entry.seen or glance(opened, head, entry.grid, (known and known.units_row) or None, coding)
    rows = _rows_below(entry)
    count, units = rows_below(rows, len(head.cells), (known and known.units_row) or None)
    below = {head.line + head.lines + at: is_type_row(row) for at, row in enumerate(rows[:count])}
    types = [line for line, typed in below.items() if typed]
    others = [line for line, typed in below.items() if not typed] if units else []
    table = TableSeen(
        file=entry.name, path=entry.file.path, format=_format(entry), encoding=_encoding(opened, seen, coding),
        delimiter=_DELIMITERS.get(head.delimiter, ""), header_line=head.line, header_lines=head.lines,
        units_line=others[0] if others else 0, types_line=types[0] if types else 0, rows_below=count,
        rows=seen.rows, rows_exact=seen.whole, looked_at=len(seen.frame), pieces=seen.pieces, faults=seen.faults,
        frame=seen.frame, head=head, grid=entry.grid,
    )  # fmt: skip
    headers = unique_names(head.cells).unique
    if entry.found is not None:
        layout, mapped = entry.found.layout, entry.found.table
        table.layout, table.title, table.table, table.role = layout.id, layout.title, mapped.name, mapped.role
        table.id, table.mapping = list(mapped.id), layout
    if source is None:
        _declare(table, reader, headers)
        return table
    table.known = "proposed"
    proposed = entry.found.proposal if entry.found is not None else source.table_of(entry.profile or entry.name)
    if proposed is None:
        proposed = next((t for t in source.proposal.tables if entry.name in (t.files or (t.file,))), None)
    table.doubts = list(source.proposal.doubts)
    if proposed is None:
        return table
    table.table, table.role, table.link, table.id = proposed.name, proposed.role, proposed.link, list(proposed.id)
    table.columns, table.crs = guessed_columns(proposed.guesses), source.proposal.crs
    if any(_VALUE.fullmatch(cell.strip()) for cell in head.cells):
        _hide_values(table)
    for column in table.columns:
        if column.state == READ and column.field in proposed.reasons:
            column.notes.append(proposed.reasons[column.field])
    return table


def _hide_values(table: TableSeen) -> None:
    """Where the row taken for the header may be a record, its cells are shown for columns with a meaning alone."""
    places = {header: place for place, header in enumerate(table.frame.columns, 1)}
    for column in table.columns:
        if not column.field:
            column.header = f"column {places.get(column.header, 0)}"
    table.notes.append(words.say("inspect.header_doubtful", line=table.header_line))


def _declare(table: TableSeen, reader: Reader, headers: tuple[str, ...]) -> None:
    layout = table.mapping
    assert layout is not None
    mapped = layout.tables[table.table]
    table.known = "own" if layout.path in {path.name for path in reader.settings.layouts} else "packaged"
    table.cannot_tell = list(layout.cannot_tell)
    table.columns = declared_columns(headers, layout, mapped)
    table.constants = {n: c.default for n, c in mapped.columns.items() if c.default and not c.sources}
    known = {folded(h) for h in headers}
    table.absent = [n for n in layout.raw_columns(mapped.name) if folded(n) not in known]


def _copy_of(earlier: list[TableSeen], table: TableSeen) -> str:
    """File of a table already seen that holds the same records, "" when there is none."""
    columns = list(dict.fromkeys(c.header for c in table.columns if c.state == READ))
    if not table.layout or not columns or len(table.frame) < 2:
        return ""
    missing = table.mapping.missing if table.mapping else ("",)
    for other in earlier:
        same = (other.layout, other.table, other.rows) == (table.layout, table.table, table.rows)
        if not same or len(other.frame) != len(table.frame):
            continue
        shared = [c for c in columns if c in other.frame and c in table.frame]
        if len(shared) < len(columns):
            continue
        if np.array_equal(_plain(other.frame, shared, missing), _plain(table.frame, shared, missing)):
            return other.file
    return ""


def missing_of(out: Inspection) -> list[tuple[str, str]]:
    """Fields the job uses that no column of any table tells, and what is taken instead, from declared practice."""
    read = {c.field for t in out.tables for c in t.columns if c.state in (READ, ASKED) and c.field and not c.empty}
    read |= {name for t in out.tables for name, value in t.constants.items() if value != "unknown"}
    if not read:
        return []
    practice = {row["practice_id"]: f"{row['base']} {row['unit']}".strip() for row in schema.rows("practice")}
    return [
        (names[0], words.say(f"assumed.{stem}", **practice)) for stem, names in USED if not read & set(names)
    ]  # fmt: skip


def asked(question: Question, source: Source) -> dict[str, object]:
    """A question with the lines of the layout that answer it, the likeliest answer filled in."""
    table = next((t for t in source.proposal.tables if t.name == question.table), None)
    guess = next((g for g in table.guesses if g.header == question.header), None) if table else None
    answer = question.choices[0] if question.choices else "?"
    if question.key in ("date_order", "crs") or guess is None:
        lines = ["[source]", f'{question.key} = "{answer if question.choices else "EPSG:..."}"']
    else:
        lines = [f"[tables.{question.table}.columns.{guess.field}]", f'from = "{question.header}"']
        if question.key != "from":
            lines.append(f'{question.key} = "{answer}"')
        elif guess.unit:
            lines.append(f'unit = "{guess.unit}"')
    return {"text": question.text, "table": question.table, "column": question.header, "key": question.key,
            "choices": list(question.choices), "rows": question.rows, "lines": lines}  # fmt: skip


def _rows_below(entry: Entry) -> list[list[str]]:
    """Cells of the first rows right below the header."""
    head, opened = entry.head, entry.opened
    assert head is not None and opened is not None
    if entry.grid is not None:
        at = head.line - 1 + head.lines
        return entry.grid.rows[at : at + ROWS_BELOW + 1]
    assert opened.text is not None
    rest = bytes(opened.text[head.after : head.after + ROOM_BELOW]).split(b"\n")
    return [split_line(line, head.delimiter) for line in rest[: ROWS_BELOW + 1]]


def _format(entry: Entry) -> str:
    """Kind of file: text, workbook, dbf, geojson or other, with the archive around it."""
    opened = entry.opened
    assert opened is not None
    inner = entry.name.lower().split(": ")[-1] if entry.file.path.suffix.lower() == ".zip" else entry.file.name.lower()
    endings = {".dbf": "dbf", ".shp": "dbf", ".geojson": "geojson", ".json": "geojson", ".gpkg": "geopackage"}
    kind = "text" if entry.grid is None else next((k for e, k in endings.items() if e in inner), "workbook")
    packed = entry.file.path.suffix.lower()
    return f"{kind} in {packed}" if packed in (".gz", ".zip") else kind


def _encoding(opened: Opened, seen: Glance, declared: str) -> str:
    if opened.text is None:
        return ""
    if opened.coding or declared:
        return opened.coding or declared
    if seen.cp1252:
        return "cp1252"
    if opened.part.skip > opened.part.begin:
        return "UTF-8 with byte order mark"
    return "ASCII" if seen.ascii else "UTF-8"


def describe(paths: list[Path], settings: Settings) -> list[dict[str, object]]:
    """What would be read: one row a column of each file.

    Returns
    -------
    list of dict
        file, table, layout, column, field, unit, sure, samples, note. Samples are shown for columns that would
        be read, and for no others.
    """
    found = look(paths, settings)
    out: list[dict[str, object]] = []
    for table in found.tables:
        for column in table.columns:
            sure = column.state == READ
            texts: list[str] = []
            if sure and column.header in table.frame:
                cells = table.frame[column.header].dropna().str.strip()
                texts = list(dict.fromkeys(cells[cells != ""]))[:3]
            out.append({
                "file": table.file, "table": table.table, "layout": table.layout, "column": column.header,
                "field": column.field, "unit": column.unit or column.unit_from, "sure": sure, "samples": texts,
                "note": "" if sure else column.why_not or "not read",
            })  # fmt: skip
    for name, reason in [*found.aside, *((name, reason) for name, reason, _ in found.unread)]:
        out.append({"file": name, "table": "", "layout": "", "column": "", "field": "", "unit": "", "sure": False,
                    "samples": [], "note": reason})  # fmt: skip
    return out


def whole_frame(table: TableSeen) -> list[str]:
    """Raw columns of the sample, those that count lines and records left out."""
    return [str(c) for c in table.frame.columns if c not in (LINE, ROW)]


def opened_of(entry: Entry) -> Opened:
    """The content of an entry.

    Raises
    ------
    SourceError
        When the file could not be opened.
    """
    if entry.opened is None:
        raise entry.fault or SourceError(f"{entry.name}: cannot be read.")
    return entry.opened
