"""The layouts of sources that are known, as text for people: all in short, or one with its columns."""

from __future__ import annotations

import textwrap
from difflib import get_close_matches
from typing import Any

from pipeline import words
from pipeline.errors import UsageError
from pipeline.ingest.layouts import Layout, packaged

WIDTH = 100


def rows() -> list[dict[str, Any]]:
    """One row a layout, for programs."""
    return [
        {"id": s.id, "edition": s.edition, "edition_of": s.edition_of, "title": s.title, "publisher": s.publisher,
         "licence": s.licence, "retrieved": s.retrieved, "market": s.market, "invented": s.invented,
         "tables": list(s.tables), "fields": _fields(s), "cannot_tell": list(s.cannot_tell)}
        for s in packaged().values()
    ]  # fmt: skip


def _fields(layout: Layout) -> list[str]:
    return sorted({name for table in layout.tables.values() for name in table.columns})


def _wrap(text: str, indent: int = 2) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=" " * indent, subsequent_indent=" " * (indent + 2),
                         break_on_hyphens=False)  # fmt: skip


def text() -> str:
    """All layouts, a few lines each."""
    out: list[str] = []
    for layout in packaged().values():
        out += [layout.id, *_head(layout), ""]
    out.append(words.say("sources.more"))
    return "\n".join(out)


def _head(layout: Layout) -> list[str]:
    told = [layout.publisher, f"edition {layout.edition}" if layout.edition else "", layout.licence,
            words.say("sources.edition_of", other=layout.edition_of) if layout.edition_of else ""]  # fmt: skip
    out = [*_wrap(layout.title), *_wrap("; ".join(part for part in told if part))]
    out += _wrap(words.say("sources.tables", count=len(layout.tables), tables=", ".join(layout.tables)))
    if layout.cannot_tell:
        out += _wrap(words.say("sources.cannot_tell", told="; ".join(layout.cannot_tell)))
    return out


def one(source_id: str) -> str:
    """One layout: how it is known, and what each column is read as.

    Raises
    ------
    UsageError
        When no layout has this id.
    """
    known = packaged()
    if source_id not in known:
        near = get_close_matches(source_id, known, 3, 0.4)
        hint = f" Did you mean {' or '.join(near)}?" if near else " 'wellstring sources' lists them."
        raise UsageError(f"No layout is called '{source_id}'.{hint}")
    layout = known[source_id]
    out = [layout.id, *_head(layout)]
    for table in layout.tables.values():
        out += ["", *_wrap(words.say(f"sources.table_{table.role}", table=table.name), 2)]
        out += _wrap(words.say("sources.match", columns=", ".join(table.match)), 4)
        for name in table.id:
            out.append(f"    {name[:30]:<30} {words.label('well_id')}")
        for column in table.columns.values():
            unit = column.unit or (f"unit in '{column.unit_from}'" if column.unit_from else "")
            meant = f"{words.label(column.field)}{', ' + unit if unit else ''}"
            shown = " or ".join(column.sources) or words.say("sources.constant", value=column.default)
            if len(shown) > 30:
                out += [*_wrap(shown, 4), f"    {'':<30} {meant}"]
            else:
                out.append(f"    {shown:<30} {meant}")
    return "\n".join(out)
