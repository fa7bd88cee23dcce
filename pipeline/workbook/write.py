"""Write workbook.xlsx: text stays text (no cell is ever a formula), numbers have a format, same bytes each time."""

from __future__ import annotations

import datetime as dt
import json
import math
import os
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.workbook.content import MOST_ROWS, Sheet, sheets

NAME = "workbook.xlsx"
# a cell holds at most so much text, ECMA-376 as common spreadsheets keep it
_CELL = 32_767
_SAFE = {
    "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False, "nan_inf_to_errors": False,
    "constant_memory": True,
}  # fmt: skip


def write_workbook(folder: Path, units: str = "us", most_rows: int = MOST_ROWS) -> Path:
    """Write ``workbook.xlsx`` into a run folder, in one move.

    Parameters
    ----------
    folder : Path
        Run folder with its Parquet tables and, where there is one, its manifest.
    units : str
        Units of the numbers, ``us`` or ``metric``.
    most_rows : int
        Sheets with a row a well are left empty above so many rows, and say so.

    Returns
    -------
    Path
        The file written.
    """
    import xlsxwriter

    folder = Path(folder)
    told = folder / "manifest.json"
    manifest = json.loads(told.read_text(encoding="utf-8")) if told.is_file() else {}
    content = sheets(folder, units, most_rows)
    work = folder / f".{NAME}.writing"
    try:
        with xlsxwriter.Workbook(str(work), _SAFE) as book:
            book.set_properties({
                "title": words.say("report.title"), "comments": words.say("report.cautions.short"),
                "created": _day(manifest.get("as_of", "")),
            })  # fmt: skip
            style = _styles(book)
            _first(book, style, content, manifest, units)
            for sheet in content:
                _sheet(book, style, sheet)
            _columns(book, style, content)
        os.replace(work, folder / NAME)
    finally:
        work.unlink(missing_ok=True)
    return folder / NAME


def _day(as_of: str) -> dt.datetime:
    """Day written into the file: the as-of date of the run, never the clock."""
    return dt.datetime.fromisoformat(as_of) if as_of else dt.datetime(2000, 1, 1)


def _styles(book: Any) -> dict[Any, Any]:
    """Formats by name, and by decimals for numbers."""
    style: dict[Any, Any] = {
        "title": book.add_format({"bold": True, "font_size": 16}),
        "strong": book.add_format({"bold": True, "text_wrap": True, "valign": "top"}),
        "wrap": book.add_format({"text_wrap": True, "valign": "top"}),
        "caution": book.add_format({"text_wrap": True, "valign": "top", "bg_color": "#FBE9D0"}),
        "header": book.add_format({
            "bold": True, "text_wrap": True, "valign": "top", "bg_color": "#DCE9EC", "bottom": 1,
        }),
        "text": book.add_format({"valign": "top"}),
    }  # fmt: skip
    for places in range(7):
        style[places] = book.add_format({"num_format": "#,##0" + ("." + "0" * places if places else "")})
    return style


def _text(value: object) -> str:
    return str(value)[:_CELL]


def _first(book: Any, style: dict[Any, Any], content: list[Sheet], manifest: dict[str, Any], units: str) -> None:
    """The sheet to read first: what this is, its date and units, what each sheet holds, assumptions, cautions."""
    page = book.add_worksheet(words.say("sheet.first"))
    page.hide_gridlines(2)
    page.set_column(0, 0, 34)
    page.set_column(1, 1, 110)
    settings = manifest.get("settings", {})
    lines: list[tuple[str, str, str]] = [
        ("title", words.say("report.title"), ""),
        ("wrap", "", words.say("sheet.first.lead")),
        ("", "", ""),
        ("strong", words.say("report.asked.as_of"), manifest.get("as_of") or "–"),
        ("strong", words.say("sheet.units"), words.say(f"sheet.units.{units}")),
        ("strong", words.say("report.asked.prices"), str(settings.get("prices", "–"))),
        ("strong", words.say("report.asked.changed"),
         ", ".join(sorted(settings.get("practice_overlay", {}))) or words.say("report.none")),
        ("strong", words.say("report.asked.draws"), str(manifest.get("draws", "–"))),
        ("", "", ""),
    ]  # fmt: skip
    for sheet in content:
        more = words.say("sheet.left_out", rows=f"{sheet.left_out:,}") if sheet.left_out else ""
        lines.append(("strong", f"{sheet.title} ({sheet.audience})", f"{sheet.lead} {more}".strip()))
    lines.append(("strong", words.say("sheet.columns"), words.say("sheet.columns.lead")))
    lines.append(("", "", ""))
    lines += [("caution", words.say("report.cautions.title") if k == 0 else "", text)
              for k, text in enumerate(words.cautions())]  # fmt: skip
    for row, (kind, left, right) in enumerate(lines):
        if kind != "title":  # programs that do not fit rows to wrapped text by themselves need a height
            page.set_row(row, 15 * max(1, -(-len(left) // 30), -(-len(right) // 105)))
        if left:
            page.write_string(row, 0, _text(left), style["title" if kind == "title" else "strong"])
        if right:
            page.write_string(row, 1, _text(right), style["caution" if kind == "caution" else "wrap"])
    page.set_landscape()
    page.fit_to_pages(1, 0)


def _sheet(book: Any, style: dict[Any, Any], sheet: Sheet) -> None:
    """One table: header in the first row, frozen and with filters; the first column stays in view."""
    page = book.add_worksheet(sheet.title[:31])
    frame = sheet.frame
    page.freeze_panes(1, 2 if len(frame.columns) > 4 else 1)
    page.repeat_rows(0)
    page.set_landscape()
    page.fit_to_pages(1, 0)
    page.set_row(0, 48)
    for place, (name, decimals) in enumerate(zip(frame.columns, sheet.decimals, strict=True)):
        page.set_column(place, place, _width(name, frame[name], decimals))
    for place, name in enumerate(frame.columns):
        page.write_string(0, place, _text(name), style["header"])
    if sheet.left_out:
        page.write_string(1, 0, words.say("sheet.left_out", rows=f"{sheet.left_out:,}"), style["text"])
        return
    columns = [_values(frame[name], decimals) for name, decimals in zip(frame.columns, sheet.decimals, strict=True)]
    formats = [style["text"] if d is None else style[min(d, 6)] for d in sheet.decimals]
    for row, cells in enumerate(zip(*columns, strict=True), start=1):
        for place, cell in enumerate(cells):
            if cell is None:
                continue
            if isinstance(cell, str):
                page.write_string(row, place, cell, formats[place])
            else:
                page.write_number(row, place, cell, formats[place])
    if len(frame):
        page.autofilter(0, 0, len(frame), max(len(frame.columns) - 1, 0))


def _values(values: pd.Series, decimals: int | None) -> list[str | float | None]:
    """Cells of a column: None where missing, numbers that are numbers, text cut to what a cell holds."""
    if decimals is None:
        cells = values.astype(object).where(values.notna(), None)
        return [None if cell is None else _text(_date(cell)) for cell in cells]
    numbers = pd.to_numeric(values, errors="coerce").to_numpy(dtype=float, na_value=math.nan)
    return [cell if math.isfinite(cell) else None for cell in numbers.tolist()]


def _date(cell: object) -> object:
    """A day as ISO 8601 text, which sorts as it should in every program."""
    return cell.date().isoformat() if isinstance(cell, (pd.Timestamp, dt.datetime)) else cell


def _width(name: str, values: pd.Series, decimals: int | None) -> int:
    """Width of a column by its words and first rows."""
    longest = 9 if decimals is not None else max((len(str(cell)) for cell in values.head(200).dropna()), default=0)
    word = max((len(part) for part in name.split()), default=0)
    return max(9, min(60, max(longest, word) + 2))


def _columns(book: Any, style: dict[Any, Any], content: list[Sheet]) -> None:
    """The last sheet: what every column means."""
    page = book.add_worksheet(words.say("sheet.columns"))
    page.freeze_panes(1, 0)
    heads = (("sheet.columns.sheet", 24), ("sheet.columns.column", 44), ("sheet.columns.means", 110))
    for place, (text, width) in enumerate(heads):
        page.set_column(place, place, width)
        page.write_string(0, place, words.say(text), style["header"])
    row = 1
    for sheet in content:
        for name, about in zip(sheet.frame.columns, sheet.about, strict=True):
            for place, text in enumerate((sheet.title, name, about)):
                page.write_string(row, place, _text(text), style["text"])
            row += 1
