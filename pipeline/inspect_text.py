"""What was understood of files, as plain text of a hundred columns: no colour, no boxes, most needed first."""

from __future__ import annotations

import re
import shlex
import textwrap
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from pipeline import schema, words
from pipeline.ingest.inspection import (
    ASKED,
    MOST_QUESTIONS,
    NOT_NEEDED,
    PERSONAL,
    PROSE,
    READ,
    UNKNOWN,
    ColumnSeen,
    Inspection,
    TableSeen,
)
from pipeline.ingest.proposal.model import DECIDING
from pipeline.inspect_values import unit_label

WIDTH = 100
_HEADER, _MEANING, _SURE = 22, 29, 12
_MANY = 40
# a column empty in so many of the rows is worth a word
_MOSTLY_EMPTY = 0.5
# a next likely reading below this chance is told with --all alone
_NEAR = 0.01
_SURELY, _LIKELY, _PERHAPS = 0.97, 0.85, 0.5


def text(found: Inspection, inputs: list[str], layouts: list[str], everything: bool = False) -> str:
    """The whole account of an inspection.

    Parameters
    ----------
    inputs, layouts : list of str
        As the user typed them, for the command to say next.
    everything : bool
        Show every column, and every line about it.
    """
    lines: list[str] = []
    titled: set[str] = set()
    alike: dict[tuple[str, ...], list[TableSeen]] = {}
    for table in found.tables:
        if not table.hopeless and (everything or not table.idle):
            same = (table.known, table.layout, table.table, table.format, *(c.header for c in table.columns))
            alike.setdefault(same if not everything else (table.file,), []).append(table)
    for first, *others in alike.values():
        lines += _table(first, everything, first.layout in titled)
        if others:
            told = ", ".join(f"{table.file} ({_rows_of(table)})" for table in others)
            lines += ["", *_wrap(words.say("inspect.alike", files=told), 2, 4)]
        lines.append("")
        titled.add(first.layout)
    lines += _others(found, everything)
    if any(not t.hopeless for t in found.tables):
        lines += [*_missing(found), *_questions(found)]
    lines += _next(found, inputs, layouts)
    return "\n".join(lines)


def _wrap(line: str, indent: int, more: int | None = None) -> list[str]:
    more = indent if more is None else more
    return textwrap.wrap(line, WIDTH, initial_indent=" " * indent, subsequent_indent=" " * more,
                         break_on_hyphens=False) or []  # fmt: skip


def _table(table: TableSeen, everything: bool, titled: bool) -> list[str]:
    out = [table.file if not table.sheet else f"{table.file}, sheet '{table.sheet}'"]
    out += _wrap(_shape(table), 2)
    if table.pieces > 1:
        each = table.looked_at // table.pieces
        of = words.say("inspect.of_all" if table.rows_exact else "inspect.of_about", rows=_many(table))
        out += _wrap(words.say("inspect.looked_at", pieces=table.pieces, each=f"{each:,}", whole=of), 2)
    out += _wrap(_known_by(table, titled), 2)
    for note in [*([table.link] if table.link else []), *table.notes]:
        out += _wrap(note, 2)
    for told, counts in (("inspect.faults", table.faults), ("inspect.left_out", table.left_out)):
        if counts:
            reasons = ", ".join(f"{words.reason(k)} {v:,}" for k, v in sorted(counts.items(), key=lambda p: -p[1]))
            out += _wrap(words.say(told, reasons=reasons, of=f"{table.looked_at:,}"), 2)
    used = [c for c in table.columns if c.state == READ and c.field]
    helping = [c.header for c in table.columns if c.state == READ and not c.field]
    asked = [c for c in table.columns if c.state == ASKED]
    brief = len(used) > _MANY and not everything
    if used:
        many = len({c.header for c in used} | set(helping))
        out += ["", "  " + words.say("inspect.columns_read", count=many, of=len({c.header for c in table.columns}))]
        for column in used:
            out += _column(column, everything, brief)
        if helping:
            out += _wrap(words.say("inspect.helping", columns=", ".join(helping)), 4, 6)
    read = {c.field for c in used}
    shown = asked if everything else [
        c for c in asked if not c.empty and c.field not in read and (c.field in DECIDING or (c.chance or 0) >= _PERHAPS)
    ]
    if shown:
        whole = len({c.header for c in table.columns})
        out += ["", "  " + words.say("inspect.columns_asked", count=len({c.header for c in shown}), of=whole)]
        for column in shown:
            out += _column(column, everything, False)
    out += _left(table, [c for c in asked if c not in shown], read, everything)
    return out


def _many(table: TableSeen) -> str:
    if table.rows_exact:
        return f"{table.rows:,}"
    if table.rows >= 1_000_000:
        return f"{table.rows / 1e6:.1f} million"
    return f"{round(table.rows, -2):,}"


def _rows_of(table: TableSeen) -> str:
    return words.say("inspect.rows" if table.rows_exact else "inspect.about_rows", rows=_many(table))


def _shape(table: TableSeen) -> str:
    """Format, encoding, header and rows in one sentence."""
    kind, _, packed = table.format.partition(" in ")
    parts = [words.say(f"inspect.format_{kind}", delimiter=table.delimiter)]
    if packed:
        parts.append(words.say("inspect.packed", kind=packed))
    if table.encoding:
        parts.append(table.encoding)
    row = "line" if kind == "text" else "row"
    parts.append(words.say("inspect.header_at", row=row, line=table.header_line))
    if table.units_line:
        parts.append(words.say("inspect.units_at", row=row, line=table.units_line))
    if table.types_line:
        parts.append(words.say("inspect.types_at", row=row, line=table.types_line))
    return f"{', '.join(parts)}; {_rows_of(table)}."


def _known_by(table: TableSeen, titled: bool) -> str:
    if table.known == "proposed":
        if table.understood:
            return words.say("inspect.proposed")
        told = "; ".join(plain(doubt) for doubt in table.doubts[:MOST_QUESTIONS])
        return words.say("inspect.half_proposed", doubts=f": {told}" if told and table.role == "wells" else "")
    title = "" if titled or not table.title else f" ({table.title})"
    return words.say(f"inspect.known_{table.known}", layout=table.layout, title=title, table=table.table)


def meaning(column: ColumnSeen) -> str:
    """Field in plain words, with its unit."""
    name = words.label(column.field)
    unit = unit_label(column.unit) if column.unit else ""
    if column.unit_from:
        return f"{name}, {words.say('inspect.unit_from', column=column.unit_from)}"
    if column.fills:
        return words.say("inspect.fills", name=name, unit=unit, volume=column.fills)
    if schema.fields()[column.field].unit and not unit:
        unit = "" if column.field.endswith("_deg") else words.say("inspect.no_unit")
    return f"{name}, {unit}" if unit else name


def sure(column: ColumnSeen) -> str:
    """How sure a reading is, as a word and a chance."""
    if column.chance is None:
        return words.say("inspect.declared")
    word = next(
        (w for w, limit in (("sure", _SURELY), ("likely", _LIKELY), ("perhaps", _PERHAPS)) if column.chance >= limit),
        "unclear",
    )
    shown = ">99" if column.chance > 0.99 else f"{column.chance * 100:.0f}"
    return f"{words.say(f'inspect.{word}')} {shown} %"


def _clip(line: str, width: int) -> str:
    line = " ".join(line.split())
    return line if len(line) <= width else line[: width - 1] + "…"


def readings(column: ColumnSeen, width: int) -> str:
    """The user's own values and how they are read, as many as fit; a unit is said once."""
    out, unit = "", None
    for raw, read in column.readings:
        shown = _clip(raw, 24)
        number, _, tail = read.partition(" ")
        if unit is not None and tail == unit:
            read = number
        unit = tail if schema.fields()[column.field].unit else None
        one = shown if raw == read else f"{shown} -> {read}"
        more = f"{out}; {one}" if out else one
        if len(more) > width and out:
            break
        out = more
    return _clip(out, width)


def _column(column: ColumnSeen, everything: bool, brief: bool) -> list[str]:
    """One column: a line of what it is and how its values are read, then why, then what was found in it."""
    declared = column.chance is None
    told = "" if declared else f"{sure(column):<{_SURE}} "
    left = f"    {_clip(column.header, _HEADER):<{_HEADER}} {_clip(meaning(column), _MEANING):<{_MEANING}} {told}"
    if everything and len(" ".join(column.header.split())) > _HEADER:
        left = f"    {' '.join(column.header.split())}\n{'':<{_HEADER + 4}} {meaning(column):<{_MEANING}} {told}"
    share = f" [{words.say('inspect.empty_share', share=f'{column.missing_share * 100:.0f}')}]"
    share = share if column.missing_share >= _MOSTLY_EMPTY and not column.empty else ""
    room = WIDTH - 5 - _HEADER - 1 - _MEANING - len(told) - len(share)
    first = readings(replace(column, readings=column.readings[:1]), WIDTH)
    if len(first) <= room:
        out = f"{left}{readings(column, room)}{share}".rstrip().split("\n")
    else:
        out = [*left.rstrip().split("\n"), f"      {readings(column, WIDTH - 6 - len(share))}{share}"]
    second = []
    if column.why_not:
        second.append(words.say("inspect.why_not", why=plain(column.why_not)))
    if not declared and column.evidence and (not brief or column.field in DECIDING):
        second.append(words.say("inspect.because", why="; ".join(column.evidence[: None if everything else 2])))
    near = column.runner_up_chance >= _NEAR
    if column.runner_up and (everything or column.state == ASKED or (near and column.field in DECIDING)):
        chance = f"{column.runner_up_chance * 100:.0f} %" if column.runner_up_chance else ""
        second.append(words.say("inspect.else", other=named(column.runner_up), chance=chance).strip())
    notes = list(column.notes) if everything or not brief or column.field in DECIDING else []
    if column.after:
        notes.insert(0, words.say("inspect.after", column=_clip(column.after, 50)))
    for line in [*(["; ".join(second)] if second else []), *notes]:
        out += _wrap(line, 6, 8) if everything else ["      " + _clip(line, WIDTH - 6)]
    return out


def plain(told: str) -> str:
    """A sentence with the names of fields in plain words."""
    known = schema.fields()
    return re.sub(r"[a-z]+(?:_[a-z0-9]+)+", lambda m: words.label(m[0]).lower() if m[0] in known else m[0], told)


def named(reading: str) -> str:
    """``depth_pumping_m in ft`` in plain words."""
    name, _, unit = reading.partition(" in ")
    if name not in schema.fields():
        return reading
    return f"{words.label(name)} in {unit_label(unit)}" if unit else words.label(name)


def _listed(headers: Iterable[str], everything: bool, lines: int = 2) -> str:
    """Headers in a row, as many as fit."""
    names = list(dict.fromkeys(headers))
    if everything:
        return ", ".join(names)
    out: list[str] = []
    size = 0
    for name in names:
        shown = _clip(name, 30)
        size += len(shown) + 2
        if size > lines * (WIDTH - 8) - 40 and out:
            return ", ".join(out) + " " + words.say("inspect.more", count=len(names) - len(out))
        out.append(shown)
    return ", ".join(out)


def _left(table: TableSeen, half: list[ColumnSeen], read: set[str], everything: bool) -> list[str]:
    """Columns that are not read, by reason."""
    groups = [(state, [c.header for c in table.columns if c.state == state])
              for state in (PERSONAL, PROSE, NOT_NEEDED, UNKNOWN)]  # fmt: skip
    filled = [c for c in half if not c.empty]
    instead = [f"{c.header} ({words.label(c.field)})" for c in filled if c.field in read]
    groups.insert(2, ("empty", [c.header for c in half if c.empty]))
    groups.insert(3, ("instead", instead))
    groups.insert(4, ("half", [c.header for c in filled if c.field not in read]))
    groups = [(state, headers) for state, headers in groups if headers]
    out: list[str] = []
    if groups or table.absent or table.constants:
        out.append("")
    if groups:
        whole = len({c.header for c in table.columns})
        out.append("  " + words.say("inspect.columns_left", count=sum(len(set(h)) for _, h in groups), of=whole))
    for state, headers in groups:
        told = words.say(f"inspect.left_{state}", count=len(headers), columns=_listed(headers, everything))
        out += _wrap(told, 4, 6)
    if table.absent:
        out += _wrap(words.say("inspect.absent", columns=_listed(table.absent, everything)), 2, 4)
    if table.constants:
        told = ", ".join(f"{words.label(n)} = {v}" for n, v in table.constants.items())
        out += _wrap(words.say("inspect.constants", told=told), 2, 4)
    return out


def _others(found: Inspection, everything: bool) -> list[str]:
    """Files that hold no table of wells."""
    lines = [
        (table.file, words.say("inspect.hopeless", columns=len(table.columns), line=table.header_line))
        for table in found.tables if table.hopeless
    ]  # fmt: skip
    if not everything:
        lines += [
            (table.file, words.say("inspect.idle", layout=table.layout, table=table.table))
            for table in found.tables if table.idle
        ]  # fmt: skip
    lines += [(name, reason) for name, reason, _ in found.unread]
    lines += found.aside
    if not lines:
        return []
    out = [words.say("inspect.not_tables")]
    for name, reason in lines:
        out += _wrap(f"{name}: {reason}", 2, 4)
    return [*out, ""]


def _missing(found: Inspection) -> list[str]:
    if not found.missing:
        return []
    out = [words.say("inspect.missing")]
    width = max(len(words.label(name)) for name, _ in found.missing)
    for name, assumed in found.missing:
        out += _wrap(f"{words.label(name):<{width}}  {assumed}", 2, width + 4)
    return [*out, ""]


def _questions(found: Inspection) -> list[str]:
    out: list[str] = []
    for place, question in enumerate(found.questions, 1):
        if not out:
            out.append(words.say("inspect.questions"))
        worth = words.say("inspect.worth", rows=f"{question['rows']:,}")
        out += _wrap(f"{place}. {question['text']} {worth}", 2, 5)
        for line in question["lines"]:  # type: ignore[attr-defined]
            out.append(f"       {line}")
    return [*out, ""] if out else []


def _next(found: Inspection, inputs: list[str], layouts: list[str]) -> list[str]:
    """The exact command to give next."""
    said = " ".join(shlex.quote(name) for name in inputs)
    given = "".join(f" --layout {shlex.quote(name)}" for name in layouts)
    if found.exit_code == 1 or not any(not t.hopeless for t in found.tables):
        return _wrap(words.say("inspect.next_none"), 0)
    if not any(t.role == "wells" for t in found.tables if not t.hopeless):
        return _wrap(words.say("inspect.next_parent"), 0)
    if all(t.understood or t.hopeless for t in found.tables):
        return [words.say("inspect.next_run"), f"  {run_command(inputs, layouts)}"]
    target = f"{layout_name(inputs)}.layout.toml"
    name = shlex.quote(target)
    return [
        words.say("inspect.next_layout"),
        f"  wellstring inspect {said}{given} --write-layout {name}",
        words.say("inspect.next_edit"),
        f"  {run_command(inputs, [target])}",
    ]


def run_command(inputs: list[str], layouts: list[str]) -> str:
    """The command that reads the files."""
    given = "".join(f" --layout {shlex.quote(name)}" for name in layouts)
    return f"wellstring run {' '.join(shlex.quote(name) for name in inputs)}{given}"


def layout_name(inputs: list[str]) -> str:
    """A name for the layout file, after the first input."""
    return Path(inputs[0]).resolve().name.split(".")[0] or "wells"


def written(found: Inspection, target: str, inputs: list[str]) -> str:
    """What to do with a layout file just written."""
    said, name = " ".join(shlex.quote(i) for i in inputs), shlex.quote(target)
    open_ends = [d for t in found.tables if not t.hopeless for d in t.doubts]
    lines = [words.say("inspect.written", file=target)]
    for doubt in open_ends[:10]:
        lines += _wrap(f"- {plain(doubt)}", 2, 4)
    lines += [words.say("inspect.next_check"), f"  wellstring inspect {said} --layout {name}",
              words.say("inspect.next_then"), f"  {run_command(inputs, [target])}"]  # fmt: skip
    return "\n".join(lines)
