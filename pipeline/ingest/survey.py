"""First look at all inputs: tables that layouts know, and proposals for those that none knows, taken together."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd

from pipeline.errors import SourceError
from pipeline.ingest.discreet import title
from pipeline.ingest.files import InputFile, Opened, list_files, open_file, other_kind
from pipeline.ingest.glance import Glance, glance
from pipeline.ingest.header import Candidate, best, unique_names
from pipeline.ingest.header_words import is_units_row
from pipeline.ingest.layouts import Layout, TableMap, available, read_layout
from pipeline.ingest.own_lists import own_list
from pipeline.ingest.parse import Parsed
from pipeline.ingest.proposal.assemble import Assembled, Source, assemble
from pipeline.ingest.proposal.document import slug, to_layout
from pipeline.ingest.proposal.heading import score
from pipeline.ingest.proposal.model import TableProposal
from pipeline.ingest.proposal.unknown import Unknown, bare
from pipeline.ingest.recognise import Recogniser
from pipeline.ingest.sheets import Grid
from pipeline.ingest.texts import single_bytes
from pipeline.settings import Settings

# rows that must be as wide as the first for it to be taken as the header
_ROWS_COMPARED = 6


class NotUnderstood(SourceError):
    """A table whose columns are not understood well enough; carries what was proposed for its source."""

    def __init__(self, message: str, source: Source, name: str):
        super().__init__(message, exit_code=2)
        self.source, self.name = source, name
        self.proposal = source.proposal


@dataclass
class Found:
    """A table in a file: where its header is, and what it is read as.

    Attributes
    ----------
    proposal : TableProposal or None
        What was proposed, where no layout knew the table.
    """

    opened: Opened
    head: Candidate
    grid: Grid | None
    layout: Layout
    table: TableMap
    proposal: TableProposal | None = None


@dataclass
class Entry:
    """One table of the inputs, or one file that holds none, in the order of the inputs.

    Attributes
    ----------
    name : str
        As in messages and ledger; ``book.xlsx: sheet`` where a workbook has several tables.
    found : Found or None
        What it is read as: by a layout, or by a proposal that is certain.
    profile, seen : Unknown or None, Glance or None
        What was looked at, where no layout knows it.
    fault : SourceError or None
        Why it is not read; a ``NotUnderstood`` where a proposal is not certain.
    aside : str
        Why it is left aside on purpose.
    """

    file: InputFile
    name: str
    opened: Opened | None = None
    head: Candidate | None = None
    grid: Grid | None = None
    found: Found | None = None
    profile: Unknown | None = None
    seen: Glance | None = None
    fault: SourceError | None = None
    aside: str = ""

    @property
    def named(self) -> bool:
        """Whether the user named just this table, not a folder, an archive or a workbook with several."""
        return not self.file.in_folder and self.name == self.file.name


@dataclass
class Survey:
    """All tables of the inputs, and what is proposed for those that no layout knows."""

    entries: list[Entry] = field(default_factory=list)
    assembled: Assembled = field(default_factory=Assembled)


def heads(opened: Opened) -> Iterator[tuple[Candidate, Grid | None]]:
    """Rows that may be headers, of the text or of each sheet in turn."""
    yield from opened.heads()


def parts(opened: Opened) -> list[Opened]:
    """The tables of a file: one, or one a sheet where several sheets have rows of two cells or more."""
    grids = opened.grids or []
    filled = [g for g in grids if g.candidates()] if len(grids) > 1 else grids
    if len(filled) < 2:
        return [replace(opened, grids=filled) if filled else opened]
    return [
        replace(opened, name=f"{opened.name}: {title(g.title, grids.index(g) + 1)}", grids=[g], one_of_many=True)
        for g in filled
    ]  # fmt: skip


def _plain_head(found: list[tuple[Candidate, Grid | None]]) -> Candidate | None:
    """The first row, where it and all below have the same filled width and no cell of it is a number."""
    if not found:
        return None
    first = found[0][0]
    rows = [h for h, _ in found if h.delimiter == first.delimiter and h.line > first.line][:_ROWS_COMPARED]
    cells = [c.strip() for c in first.cells]
    named = all(cells) and len({c.lower() for c in cells}) == len(cells) and all(len(c.split()) <= 6 for c in cells)
    number = any(c.replace(".", "").replace("-", "").isdigit() for c in cells)
    # a sheet does not tell empty cells at the end of a row
    even = len(rows) >= 2 and all(len(r.cells) == len(cells) or (not r.delimiter and len(r.cells) < len(cells))
                                  for r in rows)  # fmt: skip
    return first if named and not number and even else None


class Reader:
    """Reads files one after another and remembers layouts proposed on the way.

    ``survey`` looks at all inputs and proposes over the whole set; ``find`` looks at one opened file alone;
    ``read`` reads a table that was found.
    """

    def __init__(self, settings: Settings, packaged: bool = True):
        self.settings = settings
        self.layouts = available(settings.layouts) if packaged else {}
        own = {read_layout(path).id for path in settings.layouts}
        self.recogniser = Recogniser(self.layouts, own)
        self._encodings = sorted({layout.encoding for layout in self.layouts.values() if single_bytes(layout.encoding)})

    # --- looking ---

    def survey(
        self, paths: list[Path], known: Callable[[Entry], None] | None = None, strict: bool = True
    ) -> Survey:
        """All tables of the inputs, in order, with proposals over the whole set of those that no layout knows.

        Parameters
        ----------
        paths : list of Path
            Files and folders; members of archives and sheets of workbooks count as files of a folder.
        known : callable, optional
            Called with each table that a layout knows, as soon as it is met; the content of its file is let go
            afterwards.
        strict : bool
            Whether a file that was named alone and cannot be read ends it; otherwise its entry carries the fault.

        Raises
        ------
        UsageError
            When a path does not exist.
        SchemaError
            When two layouts fit a table equally well.
        SourceError
            When a file that was named alone is empty, binary or holds no table.
        """
        out = Survey()
        for file in list_files([Path(p) for p in paths]):
            for entry in self._entries(file):
                out.entries.append(entry)
                if entry.fault is not None and entry.named and strict:
                    raise entry.fault
                if entry.found is not None and known is not None:
                    known(entry)
                    entry.opened = entry.grid = None
        unknown = [e for e in out.entries if e.profile is not None]
        if unknown:
            told = [(e.name, unique_names(e.head.cells).unique) for e in out.entries if e.found and e.head]
            profiles = [e.profile for e in unknown if e.profile is not None]
            out.assembled = assemble(profiles, told, free_id=self._free_id, market=self.settings.market)
            self._settle(unknown, out.assembled)
        return out

    def _entries(self, file: InputFile) -> Iterator[Entry]:
        if what := other_kind(file.name):
            yield Entry(file, file.name, fault=_kind_fault(file.name, what))
            return
        members = open_file(file)
        while True:
            name = file.name
            try:
                opened = next(members, None)
                if opened is None:
                    return
                name = opened.name
                if opened.fault:
                    raise SourceError(opened.fault)
                if what := other_kind(name):  # of an archive
                    raise _kind_fault(name, what)
                tables = parts(opened)
            except SourceError as error:
                yield Entry(file, name, fault=error)
                continue
            for table in tables:
                entry = Entry(file, table.name, table)
                try:
                    self._look(entry, table)
                except SourceError as error:
                    entry.fault = error
                yield entry

    def _look(self, entry: Entry, opened: Opened) -> None:
        """Find the header of a table and the layout that knows it, else what its columns hold."""
        rows = list(heads(opened))
        # a header in an encoding that only a layout tells is known once it is read so
        for encoding in ("", *self._encodings):
            tried = list(opened.heads(encoding)) if encoding else rows
            chosen = best(iter([h for h, _ in tried]), self.recogniser.rank)
            found = self.recogniser.find(chosen.cells, chosen.delimiter, opened.name) if chosen else None
            if chosen is not None and found is not None and encoding in ("", found.layout.encoding):
                entry.head, entry.grid = chosen, next(g for h, g in tried if h is chosen)
                entry.found = Found(opened, chosen, entry.grid, found.layout, found.table)
                return
        chosen = best(iter([h for h, _ in rows]), score)
        plain = _plain_head(rows)
        if plain is not None and (chosen is None or chosen.line > plain.line):
            chosen = plain
        if chosen is None:
            chosen = next((h for h, _ in rows), None)
        if chosen is None:
            raise SourceError(f"{opened.name}: no table of columns is in it.", exit_code=2)
        entry.head, entry.grid = chosen, next(g for h, g in rows if h is chosen)
        if aside := own_list(chosen.cells):
            entry.aside = aside
            return
        entry.profile, entry.seen = self._profile(opened, chosen, entry.grid)

    def _profile(self, opened: Opened, head: Candidate, grid: Grid | None) -> tuple[Unknown, Glance]:
        seen = glance(opened, head, grid, None)
        names = unique_names(head.cells).unique
        if not seen.rows:
            raise SourceError(f"{opened.name}: a header and no record below it.")
        if not len(seen.frame):
            raise _misfit(opened.name, seen.rows, len(names))
        units = opened.units(head, grid) or None

        def column(wanted: list[str]) -> pd.DataFrame:
            if seen.whole and seen.pieces == 1:
                return seen.frame[wanted]
            return self._parse(opened, head, grid, wanted, None, None).frame

        return Unknown(opened.name, names, bare(seen.frame), units, seen.rows, seen.whole, column), seen

    def _settle(self, unknown: list[Entry], assembled: Assembled) -> None:
        """Give every unknown table its layout, its reason to be left aside, or its fault."""
        layouts: dict[str, Layout] = {}
        for source in assembled.sources:
            if source.proposal.certain:
                layout = to_layout(source.proposal, source.proposal.source_id)
                if len(source.proposal.tables) == 1:
                    layout = replace(layout, units_row=source.profiles[0].units is not None)
                layouts[layout.id] = self.layouts[layout.id] = layout
        for entry in unknown:
            assert entry.profile is not None
            entry.aside = assembled.why_aside(entry.profile)
            source_of = assembled.source_of(entry.profile)
            if entry.aside or source_of is None or entry.head is None or entry.opened is None:
                continue
            proposal = source_of.proposal
            if proposal.certain:
                layout, table = layouts[proposal.source_id], source_of.table_of(entry.profile)
                assert table is not None
                entry.found = Found(entry.opened, entry.head, entry.grid, layout, layout.tables[table.name], table)
            else:
                entry.fault = NotUnderstood(self._why(entry, source_of), source_of, entry.name)

    def find(self, opened: Opened) -> Found:
        """The table that one opened file holds, on its own.

        Raises
        ------
        SourceError
            When it holds no table, or one that is not understood.
        """
        if opened.fault:
            raise SourceError(opened.fault)
        entry = Entry(InputFile(Path(opened.name), opened.name, False), opened.name, opened)
        self._look(entry, opened)
        if entry.profile is not None:
            found = assemble([entry.profile], [], free_id=self._free_id, market=self.settings.market)
            self._settle([entry], found)
        if entry.fault is not None:
            raise entry.fault
        if entry.found is None:
            raise SourceError(f"{opened.name}: {entry.aside}")
        return entry.found

    def _free_id(self, name: str) -> str:
        base = slug(Path(name.split(": ")[-1]).name.split(".")[0])
        number, found = 1, base
        while found in self.layouts:
            number += 1
            found = f"{base}_{number}"
        return found

    def _why(self, entry: Entry, source: Source) -> str:
        proposal = source.proposal
        if any(g.field for t in proposal.tables for g in t.guesses):
            text = f"{entry.name}: columns not understood well enough: {'; '.join(proposal.doubts)}."
        else:
            text = f"{entry.name}: not a table of wells, or columns not understood: no header word is known."
        near = self.recogniser.nearest(entry.head.cells if entry.head else ())
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

    # --- reading ---

    def _parse(self, opened: Opened, head: Candidate, grid: Grid | None, wanted: list[str] | None,
               units_row: bool | None, limit: int | None, encoding: str = "") -> Parsed:  # fmt: skip
        return opened.parse(head, grid, wanted, units_row, limit, self.settings.threads, encoding)

    def read(self, found: Found) -> Parsed:
        """Records of a table, only the columns that its layout uses."""
        layout, table = found.layout, found.table
        wanted = layout.raw_columns(table.name) or list(table.match)
        parsed = found.opened.parse(
            found.head, found.grid, wanted, layout.units_row or None, self.settings.limit, self.settings.threads,
            single_bytes(layout.encoding), coded=True,
        )  # fmt: skip
        if not parsed.rows_read:
            raise SourceError(f"{found.opened.name}: a header and no record below it.")
        if not len(parsed.frame):
            raise _misfit(found.opened.name, parsed.rows_read, len(found.head.cells))
        return parsed


def _kind_fault(name: str, what: str) -> SourceError:
    ending = Path(name).suffix
    return SourceError(f"{name}: {what} ({ending}), not a table; give it the ending .csv if it is one.")


def _misfit(name: str, rows: int, width: int) -> SourceError:
    return SourceError(
        f"{name}: none of its {rows} records fits the {width} columns of its header; check the delimiter and the "
        "quotes."
    )
