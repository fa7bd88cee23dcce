"""Blocks of the report: tables and figures as plain data for the template."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pipeline import words


def table(
    caption: str,
    headers: Sequence[str],
    rows: Sequence[Sequence[str]],
    numbers: Sequence[int] = (),
    foot: Sequence[str] = (),
    note: str = "",
    marks: Sequence[str] = (),
) -> dict[str, Any]:
    """A table; ``numbers`` are the columns set to the right, ``marks`` a colour a row."""
    return {
        "kind": "table",
        "caption": caption,
        "headers": list(headers),
        "rows": [list(r) for r in rows],
        "numbers": set(numbers),
        "foot": list(foot),
        "note": note,
        "marks": list(marks),
    }


def figure(kind: str, title: str, about: str, drawn: Any) -> dict[str, Any]:
    """A figure; ``about`` says in words what it shows, for those who cannot see it."""
    return {"kind": kind, "title": title, "about": about, "drawn": drawn}


def text(*message_ids: str, **values: object) -> dict[str, Any]:
    """Paragraphs of the catalogue."""
    return {"kind": "text", "paragraphs": [words.say(message_id, **values) for message_id in message_ids]}


def section(name: str, *blocks: dict[str, Any] | None, **values: object) -> dict[str, Any]:
    """A section with heading and first words ``report.<name>.title`` and ``report.<name>.lead``."""
    return {
        "id": name,
        "title": words.say(f"report.{name}.title"),
        "lead": words.say(f"report.{name}.lead", **values),
        "blocks": [b for b in blocks if b],
    }


def some(rows: Sequence[Any], most: int) -> tuple[Sequence[Any], str]:
    """The first rows and, where there are more, a note that says so."""
    if len(rows) <= most:
        return rows, ""
    return rows[:most], words.say("report.more", shown=most, all=f"{len(rows):,}")
