"""A mapping proposed for a table that no layout knows, from the words and units in its header.

Only whole words count, and only units that are written: a guess that is wrong goes unseen,
a question does not. What the words mean stands in header_words.csv and unit_words.csv.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from functools import lru_cache

import pandas as pd

from pipeline import schema
from pipeline.ingest.header_words import FILLER, phrases, spelled_out, unit_of, unit_within, words_of
from pipeline.ingest.layouts import Layout, from_dict

# a table of wells is worth reading when it tells one of these
DEPTHS = ("depth_completed_m", "depth_drilled_m", "depth_static_m", "depth_pumping_m", "depth_pump_m",
          "length_drop_pipe_m")  # fmt: skip
# what decides the length of the pipe: half understood, such a column is asked about rather than passed over
DECIDING = (*DEPTHS, "flow_tested_m3_per_s")
SURE, LIKELY, HALF = 1.0, 0.6, 0.5
# a cell of more words is prose, not a name
MOST_WORDS = 8
_CASING_TOP = ("btoc", "toc", "below casing", "casing top")


@dataclass
class Guess:
    """What one column is taken to be.

    Attributes
    ----------
    header, field, unit : str
        Raw name, canonical field ("" when none) and unit as pint reads it.
    score : float
        1: a declared phrase, whole; less: some of its words.
    why_not : str
        What keeps it from being sure; "" when nothing does.
    """

    header: str
    field: str = ""
    unit: str = ""
    score: float = 0.0
    why_not: str = ""
    below_casing_top: bool = False

    @property
    def sure(self) -> bool:
        """Whether the column may be used without asking."""
        return bool(self.field) and not self.why_not


@dataclass
class Proposal:
    """Guesses for all columns of a table, and why they do not suffice (empty: they do)."""

    guesses: list[Guess]
    doubts: list[str] = field(default_factory=list)
    date_order: str = "ymd"

    @property
    def certain(self) -> bool:
        """Whether the table may be read as proposed."""
        return not self.doubts


def _fits(unit: str, name: str) -> bool:
    """Whether a unit measures what the field measures."""
    from pipeline.errors import UsageError
    from pipeline.units import line

    try:
        line(unit, schema.fields()[name].unit)
    except UsageError:
        return False
    return True


def guess(header: str, units_row: str = "") -> Guess:
    """What a column of this header is taken to be; ``units_row`` is the cell below it in a row of units."""
    return replace(_guess(header, units_row))


@lru_cache(maxsize=1)
def _canonical() -> frozenset[str]:
    """Fields that a file may hold under their own names: those of a well, not those a run keeps count with."""
    kept = ("source_", "market_", "weight_inclusion_", "completeness_", "completed_precision_")
    return frozenset(c.field.name for c in schema.table("wells") if not c.field.name.startswith(kept))


@lru_cache(maxsize=4096)
def _guess(header: str, units_row: str) -> Guess:
    known = schema.fields()
    if header.strip() in _canonical():
        unit = known[header.strip()].unit
        return Guess(header, header.strip(), unit, SURE)
    bracketed = re.search(r"[\(\[]([^)\]]*)[\)\]]", header)
    unit = unit_of(bracketed.group(1)) if bracketed else ""
    words = words_of(re.sub(r"[\(\[][^)\]]*[\)\]]", " ", header) if bracketed else header)
    at_top = any(mark in header.lower() for mark in _CASING_TOP)
    if not unit and units_row:
        unit = unit_of(units_row)
    tails: list[tuple[list[str], str]] = [(words, unit or unit_within(words))]
    if not unit:
        # the last words may be the unit: swl_m, yield gpm, flow_m3_per_h
        for count in (3, 2, 1):
            tail = unit_of(" ".join(words[-count:])) if len(words) > count else ""
            if tail:
                tails.insert(0, (words[:-count], tail))
                break
    best = Guess(header, below_casing_top=at_top)
    for rest, tail in tails:
        for name, score in _meanings(rest):
            if score > best.score and (not tail or (known[name].unit and _fits(tail, name))):
                best = Guess(header, name, tail if known[name].unit else "", score, "", at_top)
    return best


def _meanings(words: list[str]) -> list[tuple[str, float]]:
    """Fields whose phrases the words are, or hold."""
    out: list[tuple[str, float]] = []
    full = spelled_out(words)
    # a first word is no filler: the date of a level is no date of the well
    for core in (words, full, [w for place, w in enumerate(full) if place == 0 or w not in FILLER]):
        out += phrases().get(" ".join(core), [])
    words = full
    if not out and len(words) <= MOST_WORDS:
        have = set(words)
        for phrase, meanings in phrases().items():
            parts = phrase.split()
            if len(parts) > 1 and set(parts) <= have:
                out += [(name, LIKELY * weight * len(parts) / len(have)) for name, weight in meanings]
    return out


def score(cells: tuple[str, ...]) -> float:
    """How much a row looks like a header of wells; nought when fewer than two columns are known."""
    known = [found.score for found in map(guess, cells) if found.score >= LIKELY]
    return sum(known) if len(known) >= 2 else 0.0


def propose(headers: tuple[str, ...], sample: pd.DataFrame, units_row: list[str] | None = None) -> Proposal:
    """Guesses for every column and whether they suffice.

    Parameters
    ----------
    headers : tuple of str
        Unique names of the columns.
    sample : DataFrame
        First rows as text, to settle the order of day and month.
    """
    below = units_row or [""] * len(headers)
    guesses = [guess(h, u) for h, u in zip(headers, below, strict=False)]
    doubts = []
    claims: dict[str, list[Guess]] = {}
    for found in guesses:
        if found.field:
            claims.setdefault(found.field, []).append(found)
    for name, rivals in claims.items():
        top = max(r.score for r in rivals)
        leaders = [r for r in rivals if r.score == top]
        for rival in rivals:
            if rival.score < top or (len(leaders) == 1 and top < LIKELY):
                rival.why_not = "another column fits better" if rival.score < top else "only some of its words fit"
        if len(leaders) > 1:
            for rival in leaders:
                rival.why_not = "two columns claim this field"
            doubts.append(f"columns {', '.join(repr(r.header) for r in leaders)} could all be {name}")
    stick_up = any(g.field == "length_stick_up_m" and g.sure for g in guesses)
    for found in guesses:
        if not found.sure:
            continue
        declared = schema.fields()[found.field]
        if declared.unit and declared.unit != "deg" and not found.unit and declared.type == "number":
            if found.field.endswith("_deg"):
                found.unit = "deg"
            else:
                found.why_not = "no unit is written"
                doubts.append(f"column '{found.header}' looks like {found.field} and tells no unit")
        elif found.score < LIKELY:
            found.why_not = "only some of its words fit"
        elif found.below_casing_top and not stick_up:
            found.why_not = "measured from the casing top, and no column tells how high that is"
            doubts.append(f"column '{found.header}' is measured from the casing top, whose height is not told")
    if not any(g.sure and g.field in DEPTHS for g in guesses):
        doubts.append("no column with a written unit tells a depth or level")
    read = {g.field for g in guesses if g.sure}
    doubts += [
        f"column '{g.header}' may be {g.field}" for g in guesses
        if g.field in DECIDING and g.field not in read and g.unit and HALF <= g.score < LIKELY
    ]  # fmt: skip
    order = "ymd"
    for found in guesses:
        if found.sure and found.field == "completed_date" and found.header in sample:
            order, clear = date_order(sample[found.header])
            if not clear:
                found.why_not = "day and month cannot be told apart"
                doubts.append(f"dates in '{found.header}' can be read day first or month first")
    return Proposal(guesses, sorted(dict.fromkeys(doubts)), order)


def date_order(texts: pd.Series) -> tuple[str, bool]:
    """Order of slashed dates, and whether the values settle it."""
    form = r"^\s*(\d{1,2})[/.\-](\d{1,2})[/.\-]\d{2,4}\b"
    parts = texts.dropna().astype("str").str.extract(form).dropna().astype(int)
    if parts.empty:
        return "ymd", True
    day_first, month_first = bool((parts[0] > 12).any()), bool((parts[1] > 12).any())
    return ("dmy" if day_first else "mdy"), day_first != month_first


def to_document(proposal: Proposal, source_id: str, only_sure: bool = True) -> dict[str, object]:
    """The proposal in the form of a layout file."""
    used = [g for g in proposal.guesses if g.sure]
    columns: dict[str, dict[str, object]] = {}
    for found in used:
        if found.field == "well_id":
            continue
        entry: dict[str, object] = {"from": found.header}
        if schema.fields()[found.field].unit:
            entry["unit"] = found.unit or schema.fields()[found.field].unit
        if found.below_casing_top:
            entry["minus"] = "length_stick_up_m"
        columns[found.field] = entry
    ids = [g.header for g in used if g.field == "well_id"]
    american = any(c.get("unit") in ("ft", "in", "gpm") for c in columns.values())
    return {
        "source": {"id": source_id, "title": "Columns as proposed from the header", "date_order": proposal.date_order,
                   "market": "us" if american else "metric"},
        "file": {"missing": ["NA", "N/A", "na", "n/a", "null", "NULL", "-", "None"]},
        "tables": {"wells": {"role": "wells", "match": [g.header for g in used] or [proposal.guesses[0].header],
                             "id": ids[0] if ids else [], "columns": columns}},
    }  # fmt: skip


def to_layout(proposal: Proposal, source_id: str) -> Layout:
    """The proposal as a layout."""
    return from_dict(to_document(proposal, source_id), f"proposal for {source_id}")


def slug(name: str) -> str:
    """A name as a source_id: lower case, digits and underscores."""
    text = re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")
    return text if text and not text[0].isdigit() else f"wells_{text}".rstrip("_")


def _quoted(value: object) -> str:
    import json

    return json.dumps(value, ensure_ascii=False)


def to_toml(proposal: Proposal, source_id: str, file: str) -> str:
    """Text of a layout file for the user to complete; what is not sure stands as comments."""
    document = to_document(proposal, source_id)
    lines = [
        f"# Layout proposed for {file}. Complete it, then run again with --layout and this file.",
        *(f"# Open: {doubt}." for doubt in proposal.doubts),
        "",
    ]
    for part in ("source", "file"):
        lines += [f"[{part}]", *(f"{k} = {_quoted(v)}" for k, v in document[part].items()), ""]  # type: ignore[attr-defined]
    wells = document["tables"]["wells"]  # type: ignore[index]
    lines += ["[tables.wells]", 'role = "wells"', f"match = {_quoted(wells['match'])}"]
    lines += [f"id = {_quoted(wells['id'])}  # empty: the record number serves as id", ""]
    for name, entry in wells["columns"].items():
        lines += [f"[tables.wells.columns.{name}]", *(f"{k} = {_quoted(v)}" for k, v in entry.items()), ""]
    for found in proposal.guesses:
        if found.field and not found.sure:
            unit = schema.fields()[found.field].unit
            lines += [f"# {found.why_not}:", f"# [tables.wells.columns.{found.field}]",
                      f"# from = {_quoted(found.header)}"]  # fmt: skip
            lines += [f'# unit = "{found.unit}"  # write the unit: {unit} or another'] if unit else []
            lines.append("")
    others = [g.header for g in proposal.guesses if not g.field]
    if others:
        lines += ["# Columns not understood; they are not read:", *(f"#   {_quoted(h)}" for h in others)]
    return "\n".join(lines) + "\n"


def guess_table(
    headers: tuple[str, ...], sample: pd.DataFrame, units_row: list[str] | None, described: dict[str, str],
    context: dict[str, str],
) -> list[object]:  # fmt: skip
    """The guesses of ``propose`` in the form of the proposal package."""
    from pipeline.ingest.proposal import model

    found = propose(headers, sample, units_row)
    out: list[object] = []
    for one in found.guesses:
        text = f"header says {one.field}" + (f" in {one.unit}" if one.unit else "")
        if one.field and not one.unit and one.header in described and schema.fields()[one.field].unit:
            told = re.search(r"[\(\[]([^)\]]*)[\)\]]", described[one.header])
            if told and unit_of(told.group(1)) and _fits(unit_of(told.group(1)), one.field):
                one.unit, text = unit_of(told.group(1)), text + ", dictionary tells the unit"
                one.why_not = "" if "unit" in one.why_not else one.why_not
        out.append(model.Guess(
            one.header, one.field, one.unit, one.score, one.score, one.score if one.unit else 0.0,
            [model.Evidence("header", text, 2.0)] if one.field else [], why_not=one.why_not,
            below_casing_top=one.below_casing_top,
        ))  # fmt: skip
    return out
