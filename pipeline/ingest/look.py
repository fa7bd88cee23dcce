"""Looking at files without reading them through: which tables they hold and what each column is taken for.

The answer is the one that a run would come to; values are taken of mapped columns only.
"""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import SourceError
from pipeline.ingest import propose as proposing
from pipeline.ingest.files import InputFile, Opened, list_files, open_file
from pipeline.ingest.glance import Glance, glance
from pipeline.ingest.header import Candidate, best, decode, is_type_row, unique_names
from pipeline.ingest.header_words import is_units_row
from pipeline.ingest.inspection import Inspection, TableSeen, declared_columns, guessed_columns
from pipeline.ingest.layouts import Layout, TableMap
from pipeline.ingest.reading import Reader, _heads
from pipeline.ingest.sheets import Grid
from pipeline.settings import Settings

_DELIMITERS = {",": "comma", "\t": "tab", ";": "semicolon", "|": "pipe"}


def look(paths: list[Path], settings: Settings) -> Inspection:
    """Every table of the files and folders, and what is missing for the job.

    Raises
    ------
    UsageError
        When a path does not exist.
    SchemaError
        When a layout is wrong.
    """
    reader, out = Reader(settings), Inspection()
    for file in list_files([Path(p) for p in paths]):
        members = open_file(file)
        while True:
            name = file.name
            try:
                opened = next(members, None)
                if opened is None:
                    break
                name = opened.name
                if opened.fault:
                    raise SourceError(opened.fault)
                out.tables.append(_table(reader, file, opened))
            except SourceError as error:
                named = not file.in_folder and name == file.name
                out.unread.append((name, str(error).removeprefix(f"{name}: "), named))
                if name == file.name:
                    break
    return out


def _table(reader: Reader, file: InputFile, opened: Opened) -> TableSeen:
    """The table that one opened file holds."""
    heads = list(_heads(opened))
    chosen = best(iter([h for h, _ in heads]), reader.recogniser.rank)
    found = reader.recogniser.find(chosen.cells, chosen.delimiter, opened.name) if chosen else None
    if chosen is None or found is None:
        return _unknown(reader, file, opened, heads)
    grid = next(g for h, g in heads if h is chosen)
    seen = glance(opened, chosen, grid, found.layout.units_row or None)
    table = _begin(file, opened, chosen, grid, seen)
    _declare(table, found.layout, found.table, unique_names(chosen.cells).unique)
    own = {path.name for path in reader.settings.layouts}
    table.known = "own" if found.layout.path in own else "packaged"
    return table


def _unknown(reader: Reader, file: InputFile, opened: Opened, heads: list[tuple[Candidate, Grid | None]]) -> TableSeen:
    """A table that no layout knows, with what its columns are guessed to be."""
    chosen = best(iter([h for h, _ in heads]), proposing.score) or next((h for h, _ in heads), None)
    if chosen is None:
        raise SourceError(f"{opened.name}: no table of columns is in it.", exit_code=2)
    grid = next(g for h, g in heads if h is chosen)
    seen = glance(opened, chosen, grid, None)
    table = _begin(file, opened, chosen, grid, seen)
    headers = unique_names(chosen.cells).unique
    below = _row_below(opened, chosen, grid)
    units = [cell.strip(" ()[]") for cell in below] if table.units_line else None
    if units is not None:
        units += [""] * (len(headers) - len(units))
    proposal = proposing.propose(headers, seen.frame, units)
    table.columns = guessed_columns(proposal.guesses)
    table.doubts, table.known, table.proposal = list(proposal.doubts), "proposed", proposal
    table.table = "wells"
    if proposal.certain:
        layout = proposing.to_layout(proposal, reader._free_id(opened.name))
        table.layout, table.mapping = layout.id, layout
        table.id = list(layout.wells_table().id)
    return table


def _declare(table: TableSeen, layout: Layout, found: TableMap, headers: tuple[str, ...]) -> None:
    table.layout, table.title, table.table, table.role = layout.id, layout.title, found.name, found.role
    table.id, table.mapping = list(found.id), layout
    table.cannot_tell = list(layout.cannot_tell)
    table.columns = declared_columns(headers, layout, found)
    table.constants = {n: c.default for n, c in found.columns.items() if c.default and not c.sources}
    known = {" ".join(h.split()).lower() for h in headers}
    table.absent = [n for n in layout.raw_columns(found.name) if " ".join(n.split()).lower() not in known]


def _begin(file: InputFile, opened: Opened, head: Candidate, grid: Grid | None, seen: Glance) -> TableSeen:
    """What is known of a table before its columns are understood."""
    below = _row_below(opened, head, grid)
    line = head.line + head.lines
    return TableSeen(
        file=opened.name, path=file.path, format=_format(file, opened), encoding=_encoding(opened, seen),
        delimiter=_DELIMITERS.get(head.delimiter, ""),
        sheet=grid.title if grid is not None and len(opened.grids or []) > 1 else "",
        header_line=head.line, header_lines=head.lines, units_line=line if is_units_row(below) else 0,
        types_line=line if is_type_row(below) else 0, rows=seen.rows, rows_exact=seen.whole,
        looked_at=len(seen.frame), pieces=seen.pieces, faults=seen.faults, frame=seen.frame,
    )  # fmt: skip


def _row_below(opened: Opened, head: Candidate, grid: Grid | None) -> list[str]:
    """Cells of the row right below the header."""
    if grid is not None:
        return [cell.strip() for cell in grid.rows[head.line]] if head.line < len(grid.rows) else []
    assert opened.text is not None
    rest = bytes(opened.text[head.after : head.after + 65536]).split(b"\n", 1)[0]
    return [cell.strip('" ') for cell in decode(rest).rstrip("\r").split(head.delimiter)]


def _format(file: InputFile, opened: Opened) -> str:
    """Kind of file: text, workbook, dbf or geojson, with the archive around it."""
    inner = opened.name.lower()
    if opened.text is not None:
        kind = "text"
    elif ".dbf" in inner:
        kind = "dbf"
    else:
        kind = "geojson" if opened.grids and opened.grids[0].title == opened.name else "workbook"
    packed = file.path.suffix.lower()
    return f"{kind} in {packed}" if packed in (".gz", ".zip") else kind


def _encoding(opened: Opened, seen: Glance) -> str:
    if opened.text is None:
        return ""
    if seen.cp1252:
        return "cp1252"
    if opened.skip:
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
            sure = column.state == "read"
            texts: list[str] = []
            if sure and column.header in table.frame:
                cells = table.frame[column.header].dropna().str.strip()
                texts = list(dict.fromkeys(cells[cells != ""]))[:3]
            note = "" if sure else column.why_not or "not read"
            out.append(
                {"file": table.file, "table": table.table, "layout": table.layout, "column": column.header,
                 "field": column.field, "unit": column.unit or column.unit_from, "sure": sure, "samples": texts,
                 "note": note}
            )  # fmt: skip
    for name, reason, _ in found.unread:
        out.append({"file": name, "table": "", "layout": "", "column": "", "field": "", "unit": "", "sure": False,
                    "samples": [], "note": reason})  # fmt: skip
    return out
