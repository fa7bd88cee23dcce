"""What a whole table says of its columns: the name of its file or sheet, its other headers, one date, symbols.

Every reading found here is weaker than one that the column's own header gives, and is added beside those.
"""

from __future__ import annotations

import re
from functools import cache

from pipeline import schema
from pipeline.ingest.proposal.column import Candidate, Column, unit_written
from pipeline.ingest.proposal.concepts import Header, parse
from pipeline.ingest.proposal.meaning import meanings, weight
from pipeline.ingest.proposal.model import Evidence
from pipeline.ingest.proposal.values import evidence as value_evidence

# what a table of parts may be about; the first of several that its name says
_ABOUT = {"geology": ("geology",), "screen": ("screen",), "casing": ("casing",), "level": ("water", "level"),
          "test": ("test",), "pump": ("pump",)}  # fmt: skip
# concepts of a header that needs something more to mean a field
_BARE = frozenset({"top", "bottom", "depth", "diameter", "measured", "duration", "type", "method", "length", "rate",
                   "to", "below_ground", "level", "inside", "total_word", "power", "set", "material"})  # fmt: skip
_TIMES = ("hour", "min")
_NO_WELLS = frozenset({"latitude", "longitude", "drilled", "completed", "elevation"})
# names of tables of layers; other words of rock may stand in the name of any table
_ROCK = re.compile(r"lith|geolog|strat|formation|layer")
# names of tables of drilled intervals; only beside a top and a bottom, for wells are called boreholes too
_HOLE = re.compile(r"hole")
_UNSURE = 2.4
_MOST_KINDS = 20
_FEWEST_SYMBOLS = 3
_BUILT = frozenset({"agency", "casing", "screen", "drilled", "completed"})
_SEEN = frozenset({"visit", "result", "people", "household", "status", "media", "chemistry", "stage_well", "measured"})
_ONE_ROW = 0.98


@cache
def _symbols() -> dict[str, str]:
    return {row["symbol"]: row["concept"] for row in schema.rows("chemical_symbols")}


def symbols(headers: tuple[str, ...]) -> dict[str, Header]:
    """What headers that are symbols of elements mean, where so many of a table are that it is one of chemistry."""
    found = {h: s for h in headers if (s := re.split(r"[^A-Za-z]", h.strip(), maxsplit=1)[0]) in _symbols()}
    if len(found) < _FEWEST_SYMBOLS:
        return {}
    return {h: Header((((_symbols()[s],) if _symbols()[s] else (), 0.0 if _symbols()[s] else 1.0),), parse(h).unit)
            for h, s in found.items()}  # fmt: skip


def _spoken(column: Column) -> set[str]:
    return {c for way, _ in column.parsed.readings for c in way}


def named(name: str) -> str:
    """What part of a well the name of a file or sheet says its table is about; "" where it says none."""
    last = re.sub(r"\.\w{1,5}$", "", name.split(": ")[-1].split("/")[-1])
    words = {c for way, _ in parse(last).readings for c in way}
    if not _ROCK.search(last.lower()):
        words -= {"geology"}
    return next((kind for kind in _ABOUT if kind in words), "")


def about(name: str, columns: list[Column]) -> str:
    """What a table is about, by the words of its name, else by the one part of a well that its headers name."""
    if told := named(name):
        return told
    spoken = [_spoken(c) for c in columns]
    every = set().union(*spoken) if spoken else set()
    if _HOLE.search(name.lower()) and {"top", "bottom"} <= every and not every & _NO_WELLS:
        return "hole"
    parts = {kind for kind in ("screen", "casing", "test") if kind in every}
    return parts.pop() if len(parts) == 1 and not every & _NO_WELLS else ""


def by_table(columns: list[Column], kind: str) -> None:
    """Bare headers (from, to, diameter, hours) take what the table is about; changes ``columns``."""
    yields = any(c.best and c.best.field == "flow_tested_m3_per_s" and c.best.odds > _UNSURE for c in columns)
    for column in columns:
        bare = not any(way or cost for way, cost in column.parsed.readings)
        if bare and column.parsed.unit in _TIMES and column.profile.numeric >= 0.5 and (kind == "test" or yields):
            _add(column, "duration_test_s", weight("hours_alone"),
                 Evidence("table", "a time beside a yield", weight("hours_alone")))  # fmt: skip
        known = column.best and column.best.odds > _UNSURE and kind != "geology"
        if not kind or column.profile.numeric < 0.5 or known:
            continue
        for concepts, cost in column.parsed.readings:
            if cost > 0.5 or not set(concepts) <= _BARE or not concepts:
                continue
            if kind == "geology":
                if not {"top", "bottom"} & set(concepts):
                    continue
                # where rock lies says nothing of the well
                column.candidates = []
                continue
            if kind == "hole":
                if "bottom" in concepts:  # how deep was drilled; how wide says nothing of the bore above the pump
                    odds = weight("hole_interval")
                    text = "the lower end of an interval in a table of holes"
                    _add(column, "depth_drilled_m", odds, Evidence("table", text, odds))
                continue
            told = meanings(Header(((tuple(dict.fromkeys((*_ABOUT[kind], *concepts))), cost),), column.parsed.unit))
            best = told[0] if told else None
            if best is None or best.odds <= 1.0:
                continue
            odds = min(best.odds, 4.2) + weight("table_name")
            text = f"header reads {' '.join(concepts).replace('_', ' ')} in a table of {kind}"
            _add(column, best.field, odds, Evidence("table", text, odds))


def _add(column: Column, name: str, odds: float, reason: Evidence) -> None:
    column.candidates = [c for c in column.candidates if c.field != name]
    made = Candidate(name, odds, [reason])
    for more in value_evidence(name, column.profile, unit_written(column, name)):
        made.reasons.append(more)
        made.odds += more.weight
    column.candidates.append(made)
    column.candidates.sort(key=lambda c: (-c.odds, c.field))


def only_date(columns: list[Column]) -> None:
    """The one date of a list of wells built, one row a well, is when each was completed; changes ``columns``."""
    dated = [c for c in columns if max(c.profile.dates, c.profile.packed) >= 0.8]
    if len(dated) != 1 or any(c.best and c.best.field == "completed_date" and c.best.odds > _UNSURE for c in columns):
        return
    column = dated[0]
    if not any(set(way) <= {"date", "borehole", "well"} and "date" in way and not cost
               for way, cost in column.parsed.readings):  # fmt: skip
        return
    rest = [c for c in columns if c is not column]
    every = set().union(*map(_spoken, rest)) if rest else set()
    deep = any(c.best and c.best.field in ("depth_drilled_m", "depth_completed_m") and c.best.odds > 2 for c in rest)
    one_each = any(c.best and c.best.field == "well_id" and c.profile.unique_share >= _ONE_ROW for c in rest)
    if deep and one_each and every & _BUILT and not every & _SEEN:
        reason = Evidence("table", "the only date in a list of wells, one row a well", weight("only_date"))
        _add(column, "completed_date", weight("only_date"), reason)


def by_cells(columns: list[Column]) -> None:
    """Columns of codes by what their cells spell, whatever the header calls them; changes ``columns``."""
    from pipeline.ingest.proposal.values import share_of_codes

    for column in columns:
        spoken = _spoken(column)
        sure = column.best and column.best.odds > _UNSURE
        few = column.profile.letters >= 0.5 and column.profile.distinct <= _MOST_KINDS
        if sure or not few or spoken & {"agency", "test", "remark"}:
            continue
        if share_of_codes(column.profile, "pump_kind") >= 0.9 and not spoken & {"casing", "screen"}:
            _add(column, "pump_kind_code", weight("told_by_cells"),
                 Evidence("values", "cells are kinds of pump", weight("told_by_cells")))  # fmt: skip
        elif "pipe" in spoken and not spoken & {"casing", "screen"} and (
            share_of_codes(column.profile, "pipe_material") >= 0.9
        ):
            _add(column, "material_drop_pipe_code", weight("told_by_cells"),
                 Evidence("values", "cells are materials of pipe", weight("told_by_cells")))  # fmt: skip
    coded = [c for c in columns if c.best and c.best.field in _LISTED]
    for column in coded:
        name = column.best.field  # type: ignore[union-attr]
        if share_of_codes(column.profile, _LISTED[name]) >= 0.5:
            continue
        for other in columns:
            shared = set(other.parsed.words) & set(column.parsed.words) - {"of", "the", "code", "type"}
            if other is column or not shared or share_of_codes(other.profile, _LISTED[name]) < 0.6:
                continue
            odds = column.best.odds + weight("margin")  # type: ignore[union-attr]
            text = f"cells are spelled out, those of '{column.header}' are not"
            _add(other, name, odds, Evidence("values", text, odds))


_LISTED = {"use_code": "use", "status_code": "status", "test_method_code": "test_method"}
# words by which a number is given, beside those of ids
_NUMBERED = frozenset({"id", "code", "register", "permit_word"})
_SITES = frozenset({"place", "well", "borehole", "hole"})
_POINTS = frozenset({"point", "punto", "ponto", "tag", "log", "job", "num", "reg", "piece", "pt"})
_NOT_IDS = frozenset({"agency", "media", "money", "remark", "latitude", "longitude", "northing", "easting", "date",
                      "year", "use", "status", "depth", "level"})  # fmt: skip
# what codes that all differ cannot be, whatever the header seems to say
_MAY_BE_ID = ("well_id", "region_code", "area_code")
_FIRST_PLACES = 2


def identified(columns: list[Column]) -> None:
    """Where no id is sure: the column of codes that all differ and is called a number, else the first such column."""
    if any(c.best and c.best.field == "well_id" and c.best.chance >= weight("sure_field") for c in columns):
        return
    # a number of a place that several rows share is the id of a table of visits
    if any(c.best and c.best.field == "well_id" and c.profile.filled and _spoken(c) & _SITES and not _codes(c)
           for c in columns):  # fmt: skip
        return
    ranked = []
    for column in columns:
        spoken, words = _spoken(column), set(column.parsed.words)
        numbered = bool(spoken & _NUMBERED or words & _POINTS)
        other = column.best and column.best.field not in _MAY_BE_ID and column.best.odds > 1.0
        spoken -= {"agency"} if "log" in words else set()
        sampled = spoken & {"visit", "result"} and "permit_word" not in spoken
        if other or sampled or "row_key" in spoken or spoken & _NOT_IDS or not _codes(column):
            continue
        if numbered or column.place < _FIRST_PLACES:
            ranked.append((not numbered, column.place, column))
    if ranked:
        unnumbered, *_, column = min(ranked, key=lambda r: r[:2])
        odds = weight("first_codes") if unnumbered else weight("numbered_codes")
        reason = Evidence("values", "no value occurs twice, and no other column is an id", odds)
        _add(column, "well_id", odds, reason)


def _codes(column: Column) -> bool:
    """Whether cells are codes of which hardly one occurs twice: no prose, dates, measures or coordinates."""
    cells = column.profile
    if cells.filled < 8 or cells.filled_share < 0.9 or cells.unique_share < _ONE_ROW:
        return False
    if cells.dates + cells.angles > 0.1 or cells.decimals > 0.01 or cells.whole < 0.98 * cells.numeric:
        return False
    short = sum(len(t) <= 24 and not re.search(r"\s\S+\s|[A-Za-z]{3,}\s+[A-Za-z]{3,}", t) for t in cells.texts)
    figures = cells.numeric > 0.9 or any(ch.isdigit() for t in cells.texts for ch in t)
    return short >= 0.95 * len(cells.texts) and figures
