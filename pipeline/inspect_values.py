"""How the user's own values are read: the columns of a table looked at, passed through the reader of a run.

What a table's dates, codes and places are taken for is told from the same pass, so that nothing is shown
that a run would do otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from pipeline import schema, words
from pipeline.errors import UsageError
from pipeline.ingest import discreet
from pipeline.ingest.inspection import ASKED, READ, ColumnSeen, TableSeen, guarded
from pipeline.ingest.intake import RawTable, folded
from pipeline.ingest.layouts import ColumnMap, Layout, TableMap
from pipeline.normalise import dates, places
from pipeline.normalise import text as text_words
from pipeline.normalise.columns import Reader
from pipeline.normalise.issues import IssueLog
from pipeline.normalise.records import market_of
from pipeline.settings import Settings
from pipeline.units import convert, line, spelled

SHOWN = 3
# a text of a coded column is a code, and shown as it is, when so many rows share it and it is no sentence
FEWEST_SHARED, WORDS_OF_A_CODE = 3, 5
# a coordinate beyond this is none in degrees
_WIDEST_DEG = 360
_PLACE = ("latitude_deg", "longitude_deg")
_SLASHED = r"^\s*(\d{1,2})[-/.](\d{1,2})[-/.](?:\d{4}|\d{2})(?:[T ,].*)?$"


@dataclass
class Pass:
    """Some columns of a table as a run would read them.

    Attributes
    ----------
    block : DataFrame
        Canonical values, with ``source_row`` and ``_reason``.
    faults : DataFrame
        Rows of the table ``issues``.
    frame : DataFrame
        The raw rows that stand beside those of ``block``.
    totals : set of int
        Numbers of the records that are lines of totals.
    """

    columns: list[ColumnSeen]
    layout: Layout
    block: pd.DataFrame
    faults: pd.DataFrame
    frame: pd.DataFrame
    totals: set[int]


def passes(table: TableSeen, settings: Settings) -> Iterator[Pass]:
    """The mapped and half understood columns of a table, each read once, no field twice in one pass."""
    shown = [c for c in table.columns if c.field and c.state in (READ, ASKED) and c.header in table.frame]
    if not shown or table.frame.empty:
        return
    for turn in _turns(shown):
        layout = _mapping(table, turn)
        log = IssueLog()
        latest = dates.newest(settings.as_of, layout.retrieved)
        reader = Reader(layout, market_of(layout, settings), latest, log, [table.file], 1)
        block = reader.block(RawTable(layout.id, table.table, table.file, _needed(table, layout)), 0)
        totals = {int(row) for found in reader.totals for row in found["source_row"]}
        kept = ~table.frame["_row"].isin(totals).to_numpy()
        yield Pass(turn, layout, block, log.table(), table.frame[kept].reset_index(drop=True), totals)


def fill(table: TableSeen, settings: Settings) -> None:
    """Put readings and notes into the columns of a table that are mapped or half understood; changes them."""
    for place, found in enumerate(passes(table, settings)):
        for column in found.columns:
            _show(column, found.frame, found.block, found.faults, found.layout, table.table or "wells", settings)
        _place(found.columns, found.block, found.layout)
        if place == 0:
            counts = found.block["_reason"].value_counts().to_dict()
            table.left_out = {str(k): int(v) for k, v in counts.items()}
            if found.totals:
                table.left_out["totals_row"] = len(found.totals)


def _turns(columns: list[ColumnSeen]) -> list[list[ColumnSeen]]:
    """Columns parted so that in each turn every field is read from one of them."""
    out: list[list[ColumnSeen]] = []
    for column in columns:
        for turn in out:
            if all(c.field != column.field for c in turn) or column.field == "well_id":
                turn.append(column)
                break
        else:
            out.append([column])
    return out


def _mapping(table: TableSeen, turn: list[ColumnSeen]) -> Layout:
    """A layout that reads exactly the columns of a turn; the rest as the table's own layout has it."""
    known = table.mapping.tables[table.table] if table.mapping else None
    columns: dict[str, ColumnMap] = {}
    for seen in turn:
        if seen.field == "well_id":
            continue
        declared = known.columns.get(seen.field) if known else None
        if declared is None:
            # the unit of a place follows from its grid
            unit = "" if seen.field in _PLACE else seen.unit or schema.fields()[seen.field].unit
            declared = ColumnMap(seen.field, (seen.header,), "" if seen.unit_from else unit, seen.unit_from,
                                 date_order=seen.date_order, codes=seen.codes)  # fmt: skip
        columns[seen.field] = replace(declared, sources=(seen.header,), default="", minus="")
    if known is not None and table.mapping is not None:
        return replace(table.mapping, tables={**table.mapping.tables, table.table: replace(known, columns=columns)})
    ids = tuple(c.header for c in turn if c.field == "well_id")[:1]
    read = TableMap(table.table or "wells", "wells", tuple(c.header for c in turn), (), ids, columns)
    missing = ("", "NA", "N/A", "na", "n/a", "null", "NULL", "-", "None")
    layout = Layout(table.layout or "proposed", tables={read.name: read}, missing=missing)
    return replace(layout, crs=table.crs) if table.crs else layout


def _needed(table: TableSeen, layout: Layout) -> pd.DataFrame:
    """The columns of the sample that a layout names, under the names it writes."""
    by_name = {folded(str(c)): c for c in table.frame.columns}
    out = pd.DataFrame(index=table.frame.index)
    for name in layout.raw_columns(table.table or "wells"):
        if folded(name) in by_name:
            out[name] = table.frame[by_name[folded(name)]]
        else:
            out[name] = pd.Series(None, index=table.frame.index, dtype="str")
    out["_line"], out["_row"] = table.frame["_line"], table.frame["_row"]
    return out


def _show(column: ColumnSeen, frame: pd.DataFrame, block: pd.DataFrame, faults: pd.DataFrame, layout: Layout,
          table: str, settings: Settings) -> None:  # fmt: skip
    texts = frame[column.header].fillna("").str.strip().reset_index(drop=True)
    if column.field == "well_id":
        column.readings = [(t, t) for t in _distinct(texts[texts != ""])]
        others = [name for name in layout.tables[table].id if folded(name) != folded(column.header)]
        if others and len(others) < len(layout.tables[table].id):
            column.notes.append(words.say("inspect.id_with", columns=", ".join(f"'{name}'" for name in others)))
        return
    values = block[column.field].reset_index(drop=True)
    mine = faults[faults["field"] == column.field]
    filled = texts[texts != ""]
    if filled.empty:
        column.empty = True
        column.notes.append(words.say("inspect.empty", rows=f"{len(texts):,}"))
        return
    read = values[filled.index]
    known = pd.Series(read.notna().to_numpy(), index=filled.index)
    typed = schema.fields()[column.field].type
    nothing = filled.map(text_words.fold).isin(text_words.missing_words(layout.missing))
    column.missing_share = float(1 - (~nothing).sum() / max(len(texts), 1))
    column.empty = bool(nothing.all())
    for text in _distinct(filled[known]):
        at = filled[filled == text].index[0]
        word = str(frame[column.unit_from].iloc[at] or "") if column.unit_from in frame else ""
        told = reading(column, read[at], settings.units, word)
        if column.field == "completed_date" and "completed_precision_code" in block:
            told = dated(told, int(block["completed_precision_code"].iloc[at]))
        raw = text if typed == "string" else discreet.shown(text)
        column.readings.append((f"{raw} {word}".strip(), told))
    filters = next((m.where for m in layout.tables[table].columns.values() if m.field == column.field), {})
    only = [
        words.say("inspect.where", column=header,
                  texts=", ".join(_short(t) for t in allowed[:SHOWN]) + (" …" if len(allowed) > SHOWN else ""))
        for header, allowed in filters.items()
    ]  # fmt: skip
    if only:
        column.notes.append(words.say("inspect.only_where", told=f' {words.say("inspect.and")} '.join(only)))
    if is_prose(column):
        column.readings = [(words.say("inspect.prose"), read) for _, read in column.readings]
        column.notes.append(words.say("inspect.prose_found", rows=f"{int(known.sum()):,}", of=f"{len(filled):,}"))
    elif not filters:
        _tell_unread(column, filled[~nothing], known[~nothing])
    if typed == "date":
        declared = next((m.date_order for m in layout.tables[table].columns.values() if m.field == column.field), "")
        _tell_dates(column, filled, mine, declared or layout.date_order)
    if typed in ("code", "boolean"):
        _tell_codes(column, filled, values, mine)


def is_prose(column: ColumnSeen) -> bool:
    """Whether people's words or names may stand in the column, so that its text is not shown."""
    return bool(guarded(column.header))


def _distinct(texts: pd.Series) -> list[str]:
    """Up to three different texts; those of most digits of difference first met win."""
    return [str(t) for t in dict.fromkeys(texts.head(400))][:SHOWN]


def reading(column: ColumnSeen, value: Any, units: str, word: str = "") -> str:
    """One value as people read it, in the unit of its column or in that which ``word`` of its row names."""
    field = schema.fields()[column.field]
    if field.type in ("number", "integer"):
        return number(float(value), column, units, word)
    if field.type == "date":
        return str(pd.Timestamp(value).date())
    if field.type == "code":
        return schema.codes(field.codes).get(str(value), str(value))
    if field.type == "boolean":
        return words.say("inspect.yes" if value else "inspect.no")
    return str(value)


def dated(day: str, precision: int) -> str:
    """A day as exactly as it is known."""
    if precision == dates.YEAR:
        return words.say("inspect.year_alone", year=day[:4])
    return words.say("inspect.month_alone", month=day[:7]) if precision == dates.MONTH else day


def number(value: float, column: ColumnSeen, units: str, word: str = "") -> str:
    """A value in SI in the unit of its column, and in the units asked for where those differ."""
    field = schema.fields()[column.field]
    own = _of_row(word, field.unit) or column.unit
    if column.field.endswith("_deg"):
        projected = abs(value) > _WIDEST_DEG
        return f"{value:,.10g} m" if projected else f"{value:.6f}".rstrip("0").rstrip(".") + "°"
    row = schema.suffix_of(column.field)
    if field.unit and row and (column.fills or not own):
        # the unit stands in another column, or the column holds a time to fill a vessel
        own = "L/min" if column.fills else row[f"unit_{units or 'metric'}"] if column.unit_from else own
    shown = float(convert(value, field.unit, own)) if own and field.unit else value
    told = f"{shown:,.6g}"
    text = f"{told} {unit_label(own)}".strip() if own or not field.unit else told
    datum = "inspect.below_casing" if column.below_casing_top else "inspect.below_ground"
    if column.field.startswith("depth_"):
        text = f"{text} {words.say(datum)}"
    if units and row and own and field.unit:
        wanted = row[f"unit_{units}"]
        if wanted != own:
            other = float(convert(value, field.unit, wanted))
            text += f" = {other:,.4g} {row[f'label_{units}']}"
    return text


def _of_row(word: str, target: str) -> str:
    """The unit that a row names, "" where it names none that fits."""
    if not word or not target:
        return ""
    try:
        line(word.strip(" ()[]"), target)
    except UsageError:
        return ""
    return spelled(word.strip(" ()[]"))


@cache
def _labels() -> dict[str, str]:
    out: dict[str, str] = {}
    for row in schema.suffixes():
        out[row["unit"]] = out.get(row["unit"], row["unit"])
        for side in ("us", "metric"):
            if row[f"unit_{side}"]:
                out[row[f"unit_{side}"]] = row[f"label_{side}"]
    out["degree"] = out["deg"] = "°"
    return out


def unit_label(unit: str) -> str:
    """A unit as people write it."""
    if words.says(f"unit.{unit}"):
        return words.say(f"unit.{unit}")
    return "" if unit == "1" else _labels().get(unit, unit.replace("**", "^").replace("^3", "³"))


def _tell_unread(column: ColumnSeen, filled: pd.Series, known: pd.Series) -> None:
    """How many of the filled cells give no value, with examples."""
    lost = filled[~known]
    if lost.empty or schema.fields()[column.field].type in ("code", "boolean"):
        return
    common = lost.value_counts().head(SHOWN)
    told = ", ".join(f"{_short(str(t))} ({n:,})" for t, n in common.items())
    column.notes.append(words.say("inspect.no_value", rows=f"{len(lost):,}", of=f"{len(filled):,}", texts=told))


def _short(text: str, most: int = 24) -> str:
    text = discreet.shown(" ".join(text.split()))
    return f"'{text}'" if len(text) <= most else f"'{text[: most - 1]}…'"


def _tell_dates(column: ColumnSeen, filled: pd.Series, faults: pd.DataFrame, declared: str) -> None:
    """Order of day and month and what decided it; years alone; two-digit years."""
    parts = filled.str.extract(_SLASHED).dropna().astype(int)
    if len(parts):
        day_first = int(((parts[0] > 12) & (parts[1] <= 12)).sum())
        month_first = int(((parts[1] > 12) & (parts[0] <= 12)).sum())
        decided = faults[faults["code"] == "N305"]
        order = str(decided["found"].iloc[0]) if len(decided) else declared
        column.notes.append(words.say(
            f"inspect.order_{order}", day=f"{day_first:,}", month=f"{month_first:,}", dates=f"{len(parts):,}"
        ))  # fmt: skip
    for code in ("N302", "N303", "N304", "N306"):
        here = faults[faults["code"] == code]
        if len(here):
            example = str(here["found"].iloc[0])
            column.notes.append(words.say(f"inspect.{code}", rows=f"{len(here):,}", found=example))


def _tell_codes(column: ColumnSeen, filled: pd.Series, values: pd.Series, faults: pd.DataFrame) -> None:
    """Which spellings are known and which are not, by count."""
    strange = set(faults.loc[faults["code"] == "N401", "found"].dropna())
    counts = filled.value_counts()
    known = [(str(t), int(n)) for t, n in counts.items() if discreet.shown(str(t))[:80] not in strange]
    lost = [(str(t), int(n)) for t, n in counts.items() if discreet.shown(str(t))[:80] in strange]
    first = {t: values[filled[filled == t].index[0]] for t, _ in known[:6]}
    codes = schema.codes(schema.fields()[column.field].codes) if schema.fields()[column.field].codes else {}
    column.readings = [
        (discreet.shown(t), words.say("inspect.yes" if v else "inspect.no") if isinstance(v, (bool, np.bool_)) else
         codes.get(str(v), words.say("inspect.none") if pd.isna(v) else str(v)))
        for t, v in list(first.items())[:SHOWN]
    ]  # fmt: skip
    if len(known) > len(column.readings) or lost:
        rows = sum(n for _, n in known)
        column.notes.append(words.say("inspect.codes_known", texts=len(known), rows=f"{rows:,}", of=f"{len(filled):,}"))
    if lost:
        told = ", ".join(f"{_spelling(column, t, n)} {n:,}" for t, n in lost[:6])
        more = f" +{len(lost) - 6}" if len(lost) > 6 else ""
        column.notes.append(words.say("inspect.codes_lost", texts=len(lost), told=told + more))


def _spelling(column: ColumnSeen, text: str, rows: int) -> str:
    """A spelling as shown: one that many rows share is a code that the user must see to answer for it."""
    if rows < FEWEST_SHARED or is_prose(column) or len(text.split()) > WORDS_OF_A_CODE:
        return _short(text)
    return f"'{text}'"


def _place(turn: list[ColumnSeen], block: pd.DataFrame, layout: Layout) -> None:
    """Where the points lie, as WGS 84, told at the latitude."""
    column = next((c for c in turn if c.field == "latitude_deg"), None)
    if column is None or "longitude_deg" not in block or "latitude_deg" not in block:
        return
    log = IssueLog()
    points = block[["source_id", "well_id", "source_file", "source_row", "latitude_deg", "longitude_deg"]].copy()
    places.settle(points, layout.crs, log)
    lat, lon = points["latitude_deg"].to_numpy(), points["longitude_deg"].to_numpy()
    known = ~np.isnan(lat) & ~np.isnan(lon)
    if not known.any():
        column.notes.append(words.say("inspect.no_points"))
        return
    ends = [float(f(v[known])) for v in (lat, lon) for f in (np.min, np.max)]
    extent = words.say(
        "inspect.points", points=f"{int(known.sum()):,}", south=_axis(ends[0], "NS"), north=_axis(ends[1], "NS"),
        west=_axis(ends[2], "EW"), east=_axis(ends[3], "EW"),
    )  # fmt: skip
    is_degrees = layout.crs.upper() in ("", "EPSG:4326")
    column.notes.append(extent if is_degrees else f"{extent} {words.say('inspect.from_crs', crs=layout.crs)}")
    for code, count in log.table()["code"].value_counts().items():
        title = next((r["title"] for r in schema.rows("rules") if r["code"] == code), str(code))
        column.notes.append(f"{title}: {int(count):,}")


def _axis(value: float, sides: str) -> str:
    if math.isnan(value):
        return "?"
    return f"{abs(value):.2f}° {sides[0] if value >= 0 else sides[1]}"
