"""One well explained: the page in plain words and the calculation behind it, as text and as HTML.

``plain.page`` makes the page once, as data; ``as_text`` and ``as_html`` only set it.
"""

from __future__ import annotations

import base64
import hashlib
import textwrap
from pathlib import Path
from typing import Any

from pipeline import words
from pipeline.explain_sheet.calculation import lines
from pipeline.explain_sheet.plain import Content, page
from pipeline.settings import Settings

__all__ = ["as_html", "as_text", "lines", "page"]

WIDTH = 118


def as_text(content: Content, units: str, settings: Settings | None = None) -> str:
    """The page as plain text; the lines of the calculation stand below each other, not in columns."""
    made = page(content, units, settings)
    out = [made["title"]]
    for part in made["sections"]:
        out += ["", part["title"]]
        out += [line for item in part["items"] for line in
                textwrap.wrap(item, WIDTH, initial_indent="  ", subsequent_indent="    ")]  # fmt: skip
        if part["table"]:
            out += _lines(part["table"]["rows"]) if part["id"] == "calculation" else _columns(part["table"])
    return "\n".join(out)


def _lines(rows: list[list[str]]) -> list[str]:
    out = []
    for number, title, formula, put_in, result, source in rows:
        out.append(f"  {number}. {title} [{source}]")
        out.append(f"     {formula}")
        out += [line for text in _inputs(put_in) for line in
                textwrap.wrap(text, WIDTH, initial_indent="       ", subsequent_indent="         ")]  # fmt: skip
        out.append(f"     {result}")
    return out


def _inputs(text: str) -> list[str]:
    """Inputs one a line: they are parted where a bracket closes."""
    return [part if part.endswith(")") else f"{part})" for part in text.split("); ")]


def _columns(table: dict[str, Any]) -> list[str]:
    rows = [table["headers"], *table["rows"]]
    widths = [max(len(row[i]) for row in rows) for i in range(len(table["headers"]))]
    right = table["numbers"]
    out = []
    for row in rows:
        cells = [row[i].rjust(w) if i in right else row[i].ljust(w) for i, w in enumerate(widths)]
        out.append(f"  {'  '.join(cells)}".rstrip())
    return out


def as_html(content: Content, units: str, settings: Settings | None = None) -> str:
    """The page as one self-contained HTML file: no script, no network; every word and value escaped."""
    import jinja2
    from markupsafe import Markup

    here = Path(__file__).parent
    style = (here / "style.css").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(here), autoescape=True, undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.globals["say"] = words.say
    return environment.get_template("page.html.j2").render(
        page=page(content, units, settings), style=Markup(style), policy=policy
    )
