"""Input paths to raw text tables: files opened, recognised, parsed; the ledger begun."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline import schema
from pipeline.errors import SourceError
from pipeline.ingest import propose as proposing
from pipeline.ingest.files import InputFile, Opened, list_files, open_file
from pipeline.ingest.header import BYTES_SEARCHED, DELIMITERS, Candidate, best, candidates, unique_names
from pipeline.ingest.header_words import is_units_row
from pipeline.ingest.intake import LINE, ROW, Intake, LedgerEntry, RawTable
from pipeline.ingest.layouts import Layout, TableMap, available, read_layout
from pipeline.ingest.parse import Parsed, parse
from pipeline.ingest.recognise import Recogniser
from pipeline.ingest.sheets import Grid, parse_grid
from pipeline.settings import Settings

SAMPLE_ROWS = 2000


class NotUnderstood(SourceError):
    """A table whose columns are not understood well enough; carries what was guessed."""

    def __init__(self, message: str, proposal: proposing.Proposal, name: str):
        super().__init__(message, exit_code=2)
        self.proposal, self.name = proposal, name


@dataclass
class Found:
    """A table in a file: where its header is, and what it is read as."""

    opened: Opened
    head: Candidate
    grid: Grid | None
    layout: Layout
    table: TableMap
    proposal: proposing.Proposal | None = None


def _comment(layout: Layout | None) -> str:
    return layout.comment if layout else "#"


def _heads(opened: Opened) -> Iterator[tuple[Candidate, Grid | None]]:
    """Rows that may be headers, of the text or of each sheet in turn."""
    if opened.text is not None:
        head = bytes(opened.text[: BYTES_SEARCHED + opened.skip])
        for candidate in candidates(head, opened.skip, DELIMITERS, "#"):
            yield candidate, None
    for grid in opened.grids or []:
        for candidate in grid.candidates():
            yield candidate, grid


class Reader:
    """Reads files one after another and remembers layouts proposed on the way."""

    def __init__(self, settings: Settings):
        self.settings = settings
        self.layouts = available(settings.layouts)
        own = {read_layout(path).id for path in settings.layouts}
        self.recogniser = Recogniser(self.layouts, own)
        self._proposed: dict[tuple[str, ...], tuple[Layout, proposing.Proposal]] = {}

    def find(self, opened: Opened) -> Found:
        """The table a file holds.

        Raises
        ------
        SourceError
            When it holds no table, or one that is not understood.
        """
        if opened.fault:
            raise SourceError(opened.fault)
        heads = list(_heads(opened))
        chosen = best(iter([h for h, _ in heads]), self.recogniser.rank)
        if chosen is not None:
            found = self.recogniser.find(chosen.cells, chosen.delimiter, opened.name)
            if found is not None:
                grid = next(g for h, g in heads if h is chosen)
                return Found(opened, chosen, grid, found.layout, found.table)
        return self._without_layout(opened, heads)

    def _without_layout(self, opened: Opened, heads: list[tuple[Candidate, Grid | None]]) -> Found:
        chosen = best(iter([h for h, _ in heads]), proposing.score)
        if chosen is None:
            chosen = next((h for h, _ in heads), None)
            if chosen is None:
                raise SourceError(f"{opened.name}: no table of columns is in it.", exit_code=2)
        grid = next(g for h, g in heads if h is chosen)
        key = tuple(c.strip().lower() for c in chosen.cells)
        if key not in self._proposed:
            names = unique_names(chosen.cells).unique
            first = self._parse(opened, chosen, grid, None, False, SAMPLE_ROWS)
            units = self._units_row(first.frame, names)
            proposal = proposing.propose(names, first.frame, units)
            if not proposal.certain:
                raise NotUnderstood(self._why(opened.name, chosen, proposal), proposal, opened.name)
            layout = proposing.to_layout(proposal, self._free_id(opened.name))
            layout = replace(layout, units_row=units is not None)
            self.layouts[layout.id] = layout
            self._proposed[key] = layout, proposal
        layout, proposal = self._proposed[key]
        return Found(opened, chosen, grid, layout, layout.wells_table(), proposal)

    def _free_id(self, name: str) -> str:
        base = proposing.slug(Path(name.split(": ")[-1]).name.split(".")[0])
        number, found = 1, base
        while found in self.layouts:
            number += 1
            found = f"{base}_{number}"
        return found

    def _why(self, name: str, head: Candidate, proposal: proposing.Proposal) -> str:
        if any(g.field for g in proposal.guesses):
            text = f"{name}: columns not understood well enough: {'; '.join(proposal.doubts)}."
        else:
            text = f"{name}: not a table of wells, or columns not understood: no header word is known."
        near = self.recogniser.nearest(head.cells)
        if near:
            layout, table, lacking = near
            text += f" Layout {layout.path} [tables.{table.name}] expects {lacking}, which the file lacks."
        return text

    @staticmethod
    def _units_row(frame: pd.DataFrame, names: tuple[str, ...]) -> list[str] | None:
        """Cells of the first row when all of them are units."""
        if frame.empty:
            return None
        cells = [str(frame[name].iloc[0]).strip(" ()[]") for name in names]
        return cells if is_units_row(cells) else None

    def _parse(self, opened: Opened, head: Candidate, grid: Grid | None, wanted: list[str] | None,
               units_row: bool | None, limit: int | None) -> Parsed:  # fmt: skip
        if grid is not None:
            return parse_grid(grid, head, wanted, units_row, limit)
        assert opened.text is not None
        return parse(opened.text, head, wanted, "#", units_row, limit, self.settings.threads, opened.name)

    def read(self, found: Found) -> Parsed:
        """Records of a table, only the columns that its layout uses."""
        layout, table = found.layout, found.table
        wanted = layout.raw_columns(table.name) or list(table.match)
        parsed = self._parse(found.opened, found.head, found.grid, wanted, layout.units_row or None,
                             self.settings.limit)
        if not parsed.rows_read:
            raise SourceError(f"{found.opened.name}: a header and no record below it.")
        if not len(parsed.frame):
            raise SourceError(
                f"{found.opened.name}: none of its {parsed.rows_read} records fits the {len(found.head.cells)} "
                "columns of its header; check the delimiter and the quotes."
            )
        return parsed


def _add(intake: Intake, found: Found, parsed: Parsed) -> None:
    layout, table, name = found.layout, found.table, found.opened.name
    intake.layouts[layout.id] = layout
    intake.tables.append(RawTable(layout.id, table.name, name, parsed.frame))
    counts = {str(k): int(v) for k, v in parsed.faults["reason"].value_counts().items()}
    intake.ledger.append(
        LedgerEntry(name, table.name, layout.id, parsed.lines, parsed.rows_read, 0, {}, counts)
    )
    if counts:
        faults = parsed.faults.rename(columns={
            "line": "source_line", "row": "source_row", "offset": "byte_offset", "length": "byte_length",
            "reason": "reason_code",
        }).assign(source_id=layout.id, source_file=name, source_table=table.name)  # fmt: skip
        columns = schema.arrow_schema("quarantine").names
        kept = faults[columns] if intake.quarantine.empty else pd.concat([intake.quarantine, faults[columns]])
        intake.quarantine = kept.reset_index(drop=True)
    if parsed.cp1252:
        intake.notes.append((name, f"{parsed.cp1252} records are not UTF-8 and were read as cp1252."))
    if found.proposal:
        used = ", ".join(f"'{g.header}' as {g.field}" + (f" in {g.unit}" if g.unit else "")
                         for g in found.proposal.guesses if g.sure)  # fmt: skip
        left = ", ".join(f"'{g.header}'" for g in found.proposal.guesses if not g.sure)
        intake.notes.append((name, f"No layout knows it; read by its header: {used}. Not read: {left or 'none'}."))
    if parsed.absent:
        told = ", ".join(f"'{c}'" for c in parsed.absent)
        intake.notes.append((name, f"The layout {layout.id} names columns that the file lacks: {told}."))


def _copy_of(intake: Intake, found: Found, parsed: Parsed) -> str:
    """Name of a table already read that holds the same records, "" when there is none."""
    for earlier in intake.tables:
        same = (earlier.source_id, earlier.table) == (found.layout.id, found.table.name)
        if same and len(earlier.frame) == len(parsed.frame) and len(parsed.frame) > 1:
            columns = [str(c) for c in parsed.frame if c not in (LINE, ROW)]
            missing = found.layout.missing
            one, two = (_plain(f, columns, missing) for f in (earlier.frame, parsed.frame))
            if np.array_equal(one, two):
                return earlier.file
    return ""


def _plain(frame: pd.DataFrame, columns: list[str], missing: tuple[str, ...]) -> Any:
    """A hash a row in which 5, 5.0 and 5.00 are one, and so are all words for missing."""
    parts: dict[str, Any] = {}
    for place, column in enumerate(columns):
        text = frame[column].fillna("").str.strip()
        number = pd.to_numeric(text, errors="coerce").astype(float).round(9)
        parts[f"n{place}"] = number
        parts[f"t{place}"] = text.where(number.isna() & ~text.isin(missing), "")
    return pd.util.hash_pandas_object(pd.DataFrame(parts), index=False).to_numpy()


def read_inputs(paths: list[Path], settings: Settings) -> Intake:
    """Files and folders to raw text tables with a line ledger.

    Parameters
    ----------
    paths : list of Path
        Files or folders; a folder is walked, hidden files are left out.
    settings : Settings
        ``layouts``, ``limit`` and ``threads`` are used.

    Raises
    ------
    UsageError
        When a path does not exist.
    SchemaError
        When a layout is wrong, or two fit a file equally well.
    SourceError
        When a named file is empty, binary or not understood (then a proposed layout is written to the
        working folder and named), or when a folder gives nothing to read.
    """
    reader, intake = Reader(settings), Intake()
    open_questions: list[tuple[InputFile, NotUnderstood]] = []
    for file in list_files([Path(p) for p in paths]):
        members = open_file(file)
        while True:
            name = file.name
            try:
                opened = next(members, None)
                if opened is None:
                    break
                name = opened.name
                found = reader.find(opened)
                parsed = reader.read(found)
            except SourceError as error:
                if isinstance(error, NotUnderstood):
                    open_questions.append((file, error))
                if not (file.in_folder or (name != file.name)):
                    if isinstance(error, NotUnderstood):
                        raise _with_proposal(file, error, settings) from None
                    raise
                intake.not_read.append((name, str(error).removeprefix(f"{name}: ")))
                continue
            copied = _copy_of(intake, found, parsed)
            if copied:
                intake.not_read.append((name, f"The same records as {copied}."))
            else:
                _add(intake, found, parsed)
    if not intake.tables:
        if open_questions:
            likely = max(open_questions, key=lambda q: sum(g.score for g in q[1].proposal.guesses))
            raise _with_proposal(*likely, settings)
        told = "; ".join(f"{name}: {reason}" for name, reason in intake.not_read[:3])
        raise SourceError(f"Nothing could be read: {told}")
    return intake


def _with_proposal(file: InputFile, error: NotUnderstood, settings: Settings) -> SourceError:
    """The same error, the proposed layout written beside the user and named."""
    stem = proposing.slug(Path(error.name.split(": ")[-1]).name.split(".")[0])
    plain = Path(error.name.split(": ")[-1]).name.split(".")[0]
    target, number = Path.cwd() / f"{plain}.layout.toml", 1
    while target.exists():
        number += 1
        target = Path.cwd() / f"{plain}-{number}.layout.toml"
    try:
        target.write_text(proposing.to_toml(error.proposal, stem, error.name), encoding="utf-8", newline="\n")
    except OSError as fault:
        return SourceError(f"{error} A proposed layout could not be written ({fault.strerror}).", exit_code=2)
    command = f"wellstring run {shlex.quote(str(file.path))} --layout {shlex.quote(target.name)} --out DIR"
    return SourceError(f"{error} A layout to complete is in {target.name}; then: {command}", exit_code=2)


def propose(path: Path) -> dict[str, object]:
    """The mapping proposed for one file, as a layout document, whether or not a layout knows it.

    Raises
    ------
    SourceError
        When the file holds no table.
    """
    reader = Reader(Settings())
    file = list_files([Path(path)])[0]
    opened = next(open_file(file))
    heads = list(_heads(opened))
    chosen = best(iter([h for h, _ in heads]), proposing.score) or next((h for h, _ in heads), None)
    if chosen is None:
        raise SourceError(f"{opened.name}: no table of columns is in it.", exit_code=2)
    grid = next(g for h, g in heads if h is chosen)
    sample = reader._parse(opened, chosen, grid, None, False, SAMPLE_ROWS).frame
    names = unique_names(chosen.cells).unique
    proposal = proposing.propose(names, sample, reader._units_row(sample, names))
    document = proposing.to_document(proposal, reader._free_id(opened.name))
    return {**document, "certain": proposal.certain, "doubts": proposal.doubts}
