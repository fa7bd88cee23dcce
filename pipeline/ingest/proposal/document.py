"""A proposal as a layout: the content of its file, its text with comments for people, and the layout itself."""

from __future__ import annotations

import json
import re
from functools import cache
from typing import Any

from pipeline import schema
from pipeline.ingest.intake import folded
from pipeline.ingest.layouts import Layout, from_dict
from pipeline.ingest.proposal.asking import LIKELY, likely
from pipeline.ingest.proposal.model import Guess, Proposal, TableProposal

CONFIRM = "please confirm"
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_WIDE = 110


@cache
def _mapped() -> frozenset[str]:
    """Fields of a well that a column may be read as; ids and what a run keeps count with are not among them."""
    kept = ("source_", "market_", "weight_inclusion_", "completeness_", "completed_precision_", "well_id")
    return frozenset(c.field.name for c in schema.table("wells") if not c.field.name.startswith(kept))


def chosen(table: TableProposal, with_likely: bool, told: set[str] | None = None) -> dict[str, Guess]:
    """The guess that each field of a table is read from: sure ones, and the likely ones if asked for.

    Parameters
    ----------
    told : set of str
        Fields that other tables are sure of: for them no likely guess is offered.
    """
    out: dict[str, Guess] = {}
    kept = [g for g in table.guesses if g.field in _mapped()]
    for found in sorted((g for g in kept if g.sure), key=lambda g: -g.score):
        out.setdefault(found.field, found)
    if with_likely:
        for found in sorted((g for g in kept if likely(g)), key=lambda g: (-g.score, -g.field_score)):
            if found.field not in (told or set()):
                out.setdefault(found.field, found)
    return out


def _entry(table: TableProposal, found: Guess, order: str) -> dict[str, Any]:
    """One column of a layout."""
    declared = schema.fields()[found.field]
    entry: dict[str, Any] = {"from": found.header}
    if found.unit_from:
        entry["unit_from"] = found.unit_from
    if declared.unit and declared.type in ("number", "integer") and declared.unit != "degree" and (
        found.unit or not found.unit_from
    ):
        entry["unit"] = found.unit or declared.unit
    if found.below_casing_top:
        entry["minus"] = "length_stick_up_m"
    if found.codes:
        entry["codes"] = dict(found.codes)
    if found.field in table.pick and table.pick[found.field] != "first":
        entry["pick"] = table.pick[found.field]
    if found.field in table.where:
        entry["where"] = {h: list(texts) for h, texts in table.where[found.field].items()}
    if table.missing.get(found.header):
        entry["missing"] = list(table.missing[found.header])
    if found.date_order and declared.type == "date" and found.date_order != order:
        entry["date_order"] = found.date_order
    return entry


def to_document(proposal: Proposal, source_id: str, with_likely: bool = False) -> dict[str, Any]:
    """The proposal in the form of a layout file.

    Parameters
    ----------
    with_likely : bool
        Take likely answers too, not only sure ones.
    """
    source: dict[str, Any] = {"id": source_id, "title": "Columns as proposed from headers and values",
                              "date_order": proposal.date_order}  # fmt: skip
    for key in ("market", "crs", "area", "edition_of"):
        if getattr(proposal, key):
            source[key] = getattr(proposal, key)
    sure = {g.field for t in proposal.tables for g in t.guesses if g.sure}
    tables: dict[str, dict[str, Any]] = {}
    for table in (t for t in proposal.tables if t.role):
        picked = chosen(table, with_likely, sure)
        columns = {name: _entry(table, found, proposal.date_order) for name, found in picked.items()}
        used = [*table.id, *([table.order_by] if table.order_by else []), *(g.header for g in picked.values())]
        used += [g.unit_from for g in picked.values() if g.unit_from]
        used += [h for name in picked for h in table.where.get(name, {})]
        entry: dict[str, Any] = {"role": table.role, "match": list(dict.fromkeys(used)) or list(table.headers[:3])}
        entry["id"] = list(table.id)
        if table.order_by:
            entry["order_by"] = table.order_by
        tables[table.name] = {**entry, "columns": columns}
    _tell_apart(tables, {t.name: t.headers for t in proposal.tables if t.role})
    events: dict[str, Any] = {}
    event = next((g.header for g in proposal.wells.guesses if g.field == "event_date" and g.sure), "")
    if event:
        events["date_from"] = event
    file: dict[str, Any] = {}
    if len(tables) == 1 and next(t for t in proposal.tables if t.role).units_row:
        file["units_row"] = True
    parts = {"source": source, "file": file, "tables": tables, "events": events}
    return {key: part for key, part in parts.items() if part}


def _tell_apart(tables: dict[str, dict[str, Any]], headers: dict[str, tuple[str, ...]]) -> None:
    """Lengthen ``match`` or set ``match_absent`` where one table's names stand in another's header too."""
    have = {name: {folded(h): h for h in found} for name, found in headers.items()}
    for one, entry in tables.items():
        for other in tables:
            if one == other or not {folded(h) for h in entry["match"]} <= set(have[other]):
                continue
            beyond = [h for f, h in have[other].items() if f not in have[one]]
            mine = [h for f, h in have[one].items() if f not in have[other]]
            if mine:
                entry["match"] = [*entry["match"], mine[0]]
            elif beyond:
                entry["match_absent"] = [*entry.get("match_absent", []), beyond[0]]


def to_layout(proposal: Proposal, source_id: str, with_likely: bool = False) -> Layout:
    """The proposal as a layout."""
    return from_dict(to_document(proposal, source_id, with_likely), f"proposal for {source_id}")


def slug(name: str) -> str:
    """A name as a source_id: lower case, digits and underscores."""
    text = re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")
    return text if text and not text[0].isdigit() else f"wells_{text}".rstrip("_")


def _value(value: object) -> str:
    """A value in TOML."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    # JSON leaves one control character that TOML forbids in text
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _value(name)


def _told(text: str) -> str:
    """Text for a comment: one line without control characters."""
    return re.sub(r"[\x00-\x1f\x7f\u0085\u2028\u2029]+", " ", text)


def _comment(text: str, mark: str = "# ") -> list[str]:
    """Comment lines of bounded width."""
    import textwrap

    return textwrap.wrap(_told(text), _WIDE, initial_indent=mark, subsequent_indent=mark + "  ",
                         break_long_words=False, break_on_hyphens=False) or [mark.rstrip()]  # fmt: skip


def about(found: Guess) -> str:
    """One column in words: what it is taken for, how sure, why, what else it could be."""
    inside = f" in {found.unit}" if found.unit else f", unit in '{found.unit_from}'" if found.unit_from else ""
    parts = [f"'{found.header}': {found.field}{inside}, score {found.score:.2f}"]
    parts += [e.text for e in found.evidence[:3]]
    if found.runner_up:
        parts.append(f"next likely {found.runner_up} ({found.runner_up_score:.2f})")
    if found.samples:
        parts.append("as in " + ", ".join(f"{raw} -> {read}" for raw, read in found.samples[:3]))
    return "; ".join(parts)


def to_toml(proposal: Proposal, source_id: str, command: str = "") -> str:
    """Text of a layout file for the user to check: likely answers filled in and marked, the rest as comments.

    Parameters
    ----------
    command : str
        The command that reads the files with this layout.
    """
    document = to_document(proposal, source_id, with_likely=True)
    files = [f for t in proposal.tables for f in t.files or (t.file,)]
    lines = [f"# Layout proposed for {_told(', '.join(files))}."]
    lines += _comment(f"Lines marked '{CONFIRM}' are likely and not sure: check them, correct or delete them.")
    lines += [f"# Then: {_told(command)}"] if command else []
    for doubt in proposal.doubts:
        lines += _comment(f"Open: {doubt}.")
    for question in proposal.questions:
        lines += _comment(f"Question, worth {question.rows} rows: {question.text}")
    for name, instead in proposal.missing:
        lines += _comment(f"No column tells {name}: {instead}")
    lines += ["", "[source]", *(f"{k} = {_value(v)}" for k, v in document["source"].items())]
    if not document["source"].get("crs"):
        lines.append('# crs = "EPSG:32636"  # for projected coordinates: the code of their grid and zone')
    lines += ["", "[file]", *(f"{k} = {_value(v)}" for k, v in document["file"].items())] if "file" in document else []
    sure = {g.field for t in proposal.tables for g in t.guesses if g.sure}
    for table in (t for t in proposal.tables if t.role):
        lines += ["", *_table_lines(table, document["tables"][table.name], sure)]
    if "events" in document:
        lines += ["", "[events]", *(f"{k} = {_value(v)}" for k, v in document["events"].items())]
    return "\n".join(lines) + "\n"


def _table_lines(table: TableProposal, entry: dict[str, Any], sure: set[str]) -> list[str]:
    lines = [f"# {_told(', '.join(table.files or (table.file,)))}: "
             f"{'' if table.rows_exact else 'about '}{table.rows} rows."]  # fmt: skip
    lines += _comment(f"It joins: {table.link}.") if table.link else []
    lines.append(f"[tables.{_key(table.name)}]")
    lines += [f"{k} = {_value(v)}" for k, v in entry.items() if k != "columns"]
    if not table.id:
        lines[-1] += "  # no column is known as the id: the record number serves"
    picked = chosen(table, True, sure)
    for name, column in entry["columns"].items():
        found = picked[name]
        lines += ["", *_comment(about(found))]
        if name in table.reasons and "pick" in column:
            lines += _comment(f"of several rows of a well: {table.reasons[name]}")
        mark = "" if found.sure else f"  # {CONFIRM}: {_told(found.why_not)}"
        lines.append(f"[tables.{_key(table.name)}.columns.{name}]{mark}")
        lines += [f"{k} = {_value(v)}" for k, v in column.items()]
    read = {id(g) for g in picked.values()}
    half = [g for g in table.guesses if g.field and g.field != "well_id" and id(g) not in read
            and g.field_score >= LIKELY]  # fmt: skip
    for found in half:
        unit = schema.fields()[found.field].unit
        lines += ["", *_comment(f"{about(found)}; {found.why_not or 'another column is read'}")]
        lines.append(f"# [tables.{_key(table.name)}.columns.{found.field}]")
        lines.append(f"# from = {_value(found.header)}")
        lines += [f'# unit = "{found.unit}"  # write the unit: {unit} or another'] if unit else []
    shown = {g.header for g in half} | {g.header for g in picked.values()} | set(table.id)
    rest = [h for h in table.headers if h not in shown]
    if rest:
        lines += ["", "# Not read:", *(f"#   {_value(_told(h))}" for h in rest)]
    return lines
