"""Input paths to raw text tables: files opened, recognised or proposed for, parsed; the ledger begun."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline import schema
from pipeline.errors import SourceError
from pipeline.ingest.decisions import decisions_of, notes_of
from pipeline.ingest.intake import LINE, ROW, Intake, LedgerEntry, RawTable
from pipeline.ingest.joining import align
from pipeline.ingest.layouts import packaged
from pipeline.ingest.parse import Parsed, filled
from pipeline.ingest.proposal.document import to_document, to_toml
from pipeline.ingest.survey import Entry, Found, NotUnderstood, Reader, Survey, heads
from pipeline.settings import Settings

_heads = heads

__all__ = ["Found", "NotUnderstood", "Reader", "Survey", "propose", "read_inputs"]


def _add(intake: Intake, found: Found, parsed: Parsed) -> None:
    layout, table, name = found.layout, found.table, found.opened.name
    intake.layouts[layout.id] = layout
    intake.tables.append(RawTable(layout.id, table.name, name, parsed.frame))
    counts = {str(k): int(v) for k, v in parsed.faults["reason"].value_counts().items()}
    intake.ledger.append(
        LedgerEntry(name, table.name, layout.id, parsed.lines, parsed.rows_read, 0, {}, counts,
                    sum(parsed.bytes.values()), filled(parsed.kinds), filled(parsed.bytes))
    )
    if counts:
        faults = parsed.faults.rename(columns={
            "line": "source_line", "row": "source_row", "offset": "byte_offset", "length": "byte_length",
            "reason": "reason_code",
        }).assign(source_id=layout.id, source_file=name, source_table=table.name)  # fmt: skip
        columns = schema.arrow_schema("quarantine").names
        kept = faults[columns] if intake.quarantine.empty else pd.concat([intake.quarantine, faults[columns]])
        intake.quarantine = kept.reset_index(drop=True)
    intake.notes += [(name, note) for note in found.opened.told()]
    if parsed.cp1252:
        intake.notes.append((name, f"{parsed.cp1252} records are not UTF-8 and were read as cp1252."))
    if found.proposal:
        intake.notes += [(name, note) for note in notes_of(found.proposal)]
    intake.decisions += decisions_of(found)
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
    done: dict[int, Parsed | SourceError] = {}

    def read(entry: Entry) -> None:
        assert entry.found is not None
        try:
            done[id(entry)] = reader.read(entry.found)
        except SourceError as error:
            if entry.named:
                raise
            done[id(entry)] = error

    survey = reader.survey(paths, read)
    for entry in survey.entries:
        if isinstance(entry.fault, NotUnderstood) and entry.named:
            raise with_proposal(entry.fault, [e for e in survey.entries if _same_source(e, entry)])
    for entry in survey.entries:
        if entry.found is not None and id(entry) not in done:
            read(entry)
        outcome = done.get(id(entry), entry.fault)
        if entry.aside:
            intake.not_read.append((entry.name, entry.aside))
        elif isinstance(outcome, SourceError):
            intake.not_read.append((entry.name, str(outcome).removeprefix(f"{entry.name}: ")))
        elif entry.found is not None and outcome is not None:
            copied = _copy_of(intake, entry.found, outcome)
            if copied:
                intake.not_read.append((entry.name, f"The same records as {copied}."))
            else:
                _add(intake, entry.found, outcome)
    if not intake.tables:
        _nothing(survey, intake)
    for layout in intake.layouts.values():
        if layout.id not in packaged():
            align(intake, layout)
    return intake


def _nothing(survey: Survey, intake: Intake) -> None:
    """Say what was met where nothing could be read, with a proposal where there is one."""
    asked = [e for e in survey.entries if isinstance(e.fault, NotUnderstood)]
    if asked:
        def worth(entry: Entry) -> float:
            assert isinstance(entry.fault, NotUnderstood)
            return sum(g.score for t in entry.fault.proposal.tables for g in t.guesses if g.field)

        likely = max(asked, key=worth)
        assert isinstance(likely.fault, NotUnderstood)
        raise with_proposal(likely.fault, [e for e in survey.entries if _same_source(e, likely)])
    told = "; ".join(f"{name}: {reason}" for name, reason in intake.not_read[:3])
    raise SourceError(f"Nothing could be read: {told}")


def _same_source(one: Entry, other: Entry) -> bool:
    """Whether two tables would be read as one source, or one describes the other's."""
    if isinstance(one.fault, NotUnderstood) and isinstance(other.fault, NotUnderstood):
        return one.fault.source is other.fault.source
    return False


def free_path(stem: str, folder: Path | None = None) -> Path:
    """A name for a layout file that no file has yet."""
    where = folder or Path.cwd()
    target, number = where / f"{stem}.layout.toml", 1
    while target.exists():
        number += 1
        target = where / f"{stem}-{number}.layout.toml"
    return target


def with_proposal(error: NotUnderstood, entries: list[Entry]) -> SourceError:
    """The same error, the proposed layout written beside the user and named with the next command.

    Parameters
    ----------
    entries : list of Entry
        All tables of the proposed source.
    """
    first = error.source.profiles[0].name
    stem = Path(first.split(": ")[-1]).name.split(".")[0] if ".xlsx: " not in first else first.split(".")[0]
    target = free_path(stem)
    paths = list(dict.fromkeys(str(e.file.path) for e in entries))
    command = (f"wellstring run {' '.join(shlex.quote(p) for p in paths)} --layout {shlex.quote(target.name)} "
               "--out DIR")  # fmt: skip
    try:
        text = to_toml(error.proposal, error.proposal.source_id, command)
        target.write_text(text, encoding="utf-8", newline="\n")
    except OSError as fault:
        return SourceError(f"{error} A proposed layout could not be written ({fault.strerror}).", exit_code=2)
    asked = " ".join(q.text for q in error.proposal.questions)
    return SourceError(
        f"{error}{' ' + asked if asked else ''} A layout to complete is in {target.name}; then: {command}", exit_code=2
    )


def propose(path: Path) -> dict[str, object]:
    """The mapping proposed for one file, as a layout document, whether or not a layout knows it.

    Raises
    ------
    SourceError
        When the file holds no table.
    """
    found = Reader(Settings(), packaged=False).survey([Path(path)])
    source = next(iter(found.assembled.sources), None)
    if source is None:
        faults = [e.fault for e in found.entries if e.fault is not None]
        raise faults[0] if faults else SourceError(f"{Path(path).name}: no table of columns is in it.", exit_code=2)
    document = to_document(source.proposal, source.proposal.source_id)
    return {**document, "certain": source.proposal.certain, "doubts": source.proposal.doubts}
