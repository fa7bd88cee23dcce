"""One guess a column: words, values, neighbours and units weighed together.

Every reason adds to the logarithm of the odds of a reading; coefficients stand in proposal_weights.csv.
"""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.ingest.proposal import relations
from pipeline.ingest.proposal.calibration import chance_of
from pipeline.ingest.proposal.cells import look
from pipeline.ingest.proposal.code_words import beyond_spellings
from pipeline.ingest.proposal.column import Candidate, Column, claims, metres, unit_written
from pipeline.ingest.proposal.concepts import Header, cut_names, parse
from pipeline.ingest.proposal.described import Described, read_descriptions
from pipeline.ingest.proposal.meaning import Meaning, fits, meanings, weight
from pipeline.ingest.proposal.model import DECIDING, DEPTHS, Evidence, Guess
from pipeline.ingest.proposal.place import Context, Custom, custom
from pipeline.ingest.proposal.readings import date_order, samples
from pipeline.ingest.proposal.rivals import coordinates, drawdowns, exchanged, of_tests, settle, together
from pipeline.ingest.proposal.table_words import about, by_cells, by_table, identified, only_date, symbols
from pipeline.ingest.proposal.unit_columns import unit_columns
from pipeline.ingest.proposal.unit_evidence import guess_unit
from pipeline.ingest.proposal.values import evidence as value_evidence

_LEAST_ODDS = -1.0
_LIKELY = 2.0
_MOST_CANDIDATES = 4


def canonical() -> frozenset[str]:
    """Fields that a file may hold under their own names."""
    kept = ("source_", "market_", "weight_inclusion_", "completeness_", "completed_precision_")
    return frozenset(c.field.name for c in schema.table("wells") if not c.field.name.startswith(kept))


def _candidates(column: Column) -> list[Candidate]:
    """Readings of a column from its words and its description, values weighed in."""
    own = column.header.strip()
    if own in canonical():
        return [Candidate(own, 9.0, [Evidence("header", "named as the field itself", 9.0)])]
    found: dict[str, Candidate] = {}
    for meaning in meanings(column.parsed):
        if meaning.odds > _LEAST_ODDS:
            text = f"header reads {' '.join(meaning.concepts).replace('_word', '').replace('_', ' ')}"
            found[meaning.field] = Candidate(meaning.field, meaning.odds, [Evidence("header", text, meaning.odds)])
    _described(column, found)
    for candidate in found.values():
        unit = unit_written(column, candidate.field)
        other = column.parsed.unit or ""
        if not unit and other and schema.fields()[candidate.field].unit:
            candidate.odds += weight("foreign_turn")
        for reason in value_evidence(candidate.field, column.profile, unit):
            candidate.reasons.append(reason)
            candidate.odds += reason.weight
        candidate.odds += weight("fuller") * (column.profile.filled_share - 0.5)
    kept = [c for c in found.values() if c.odds > _LEAST_ODDS]
    return sorted(kept, key=lambda c: (-c.odds, c.field))[:_MOST_CANDIDATES]


def _described(column: Column, found: dict[str, Candidate]) -> None:
    """Weigh in what a sister dictionary says of the column."""
    told = column.described.meanings
    if not told:
        return
    names = {m.field: m for m in told}
    best: Meaning = told[0]
    for candidate in found.values():
        key = "described_same" if candidate.field in names else "described_other"
        if candidate.field in names or best.odds >= 2.0:
            reason = Evidence("dictionary", f"dictionary says: {column.described.text[:80]}", weight(key))
            candidate.reasons.append(reason)
            candidate.odds += reason.weight
    for meaning in told:
        if meaning.field not in found and meaning.odds > 1.0:
            odds = min(meaning.odds, 3.0) + weight("described_alone")
            reason = Evidence("dictionary", f"dictionary says: {column.described.text[:80]}", odds)
            found[meaning.field] = Candidate(meaning.field, odds, [reason])


def _pairs(columns: list[Column], cut: bool) -> None:
    """A column that says only from, to, top or bottom takes its object from the column beside it."""
    ends = {"top": "bottom", "bottom": "top"}
    for left, right in itertools.pairwise(columns):
        for one, other in ((left, right), (right, left)):
            alone = {c for way, _ in one.parsed.readings for c in way} - {"depth", "to", "below_ground", "total_word"}
            unknown = min((n for _, n in one.parsed.readings), default=1)
            if len(alone) != 1 or not alone <= set(ends) or unknown:
                continue
            (end,) = alone
            for concepts, _ in other.parsed.readings:
                if ends[end] in concepts and {"screen", "casing", "liner"} & set(concepts):
                    swapped = tuple(end if c == ends[end] else c for c in concepts)
                    for meaning in meanings(Header(((swapped, 0),), one.parsed.unit)):
                        odds = meaning.odds + weight("paired")
                        text = f"header reads {end}, beside '{other.header}'"
                        if all(c.field != meaning.field for c in one.candidates) and odds > 1:
                            one.candidates.append(Candidate(meaning.field, odds, [Evidence("table", text, odds)]))
                            for reason in value_evidence(meaning.field, one.profile, unit_written(one, meaning.field)):
                                one.candidates[-1].reasons.append(reason)
                                one.candidates[-1].odds += reason.weight
                    one.candidates.sort(key=lambda c: (-c.odds, c.field))


def _weigh_units(columns: list[Column], where: Custom, context: Context) -> None:
    """Unit of every column for its best reading; written ones first, so that they tell the others."""
    written: list[tuple[int, str]] = []
    for column in columns:
        unit = column.best and unit_written(column, column.best.field)
        if unit and column.best:
            written.append((column.place, unit))
        elif column.parsed.unit and (not column.best or not fits(column.parsed.unit, column.best.field)):
            # a column of no use tells in which units the table is written all the same
            written.append((column.place, column.parsed.unit))
    inferred = [(c.place, c.unit.unit) for c in columns if c.best and c.best.odds > _LIKELY and c.unit.inferred]
    for column in columns:
        if column.best and schema.fields()[column.best.field].unit:
            sisters = [unit for place, unit in written if place != column.place]
            alike = [unit for place, unit in inferred if place != column.place]
            column.unit = guess_unit(
                column.best.field, column.parsed, column.units_row, column.described.text, column.cell_unit,
                column.profile, where, sisters, list(context.units), alike,
            )  # fmt: skip


def _relate(columns: list[Column]) -> None:
    """Weigh the order of depths and levels against the leaders of their fields."""
    leaders: dict[str, tuple[str, NDArray[np.float64]]] = {}
    for name, rivals in claims(columns).items():
        if schema.fields()[name].unit == "m" and rivals[0].unit.unit:
            leaders[name] = rivals[0].header, metres(rivals[0], rivals[0].unit.unit)
    for column in columns:
        for candidate in column.candidates:
            unit = column.unit.unit if candidate is column.best else unit_written(column, candidate.field)
            if schema.fields()[candidate.field].unit != "m" or not (unit or column.unit.unit):
                continue
            unit = unit or column.unit.unit
            if not fits(unit, candidate.field):
                continue
            others = {k: v for k, v in leaders.items() if v[0] != column.header}
            for reason in relations.ordered(candidate.field, metres(column, unit), others):
                candidate.reasons.append(reason)
                candidate.odds += reason.weight
        column.candidates.sort(key=lambda c: (-c.odds, c.field))


def _finish(column: Column, stick_up: bool) -> Guess:
    best = column.best
    found = Guess(column.header)
    if best is None:
        found.why_not = column.why_not
        return found
    declared = schema.fields()[best.field]
    found.field, found.field_score = best.field, best.chance
    rest = sum(c.chance for c in column.candidates[1:])
    if rest > 0:
        found.field_score = best.chance * best.chance / (best.chance + 0.5 * rest * (1 - best.chance) + 1e-12)
    found.unit_score = 1.0
    if declared.unit and declared.unit not in ("degree",) and declared.type == "number":
        found.unit, found.unit_score = column.unit.unit, column.unit.score
        found.unit_from, found.unit_written = column.unit_from, column.unit.written
    elif declared.unit == "degree":
        found.unit = "m" if "crs" in column.why_not else "deg"
    found.score = found.field_score * found.unit_score
    found.evidence = sorted([*best.reasons, *column.unit.evidence], key=lambda e: -abs(e.weight))
    found.below_casing_top = column.parsed.datum == "casing_top" and best.field in DEPTHS
    if len(column.candidates) > 1:
        second = column.candidates[1]
        found.runner_up, found.runner_up_score = second.field, second.chance
    elif column.unit.runner_up:
        found.runner_up = f"{best.field} in {column.unit.runner_up}"
        found.runner_up_score = best.chance * column.unit.runner_up_score
    found.why_not = column.why_not or _why_not(found, column, stick_up)
    if best.field == "completed_date":
        found.date_order, clear = date_order(column.profile)
        if not clear and not found.why_not:
            found.why_not = "day and month cannot be told apart"
    if declared.type == "code":
        found.codes = beyond_spellings(column.profile.texts, column.profile.distinct, declared.codes)
    found.samples = samples(found, column.profile)
    found.score = chance_of(found)
    return found


def _why_not(found: Guess, column: Column, stick_up: bool) -> str:
    if not column.profile.filled:
        return "no cell is filled"
    if found.field_score < weight("sure_field"):
        return "only some of its words fit" if found.field_score < 0.6 else "the evidence is too thin"
    declared = schema.fields()[found.field]
    if declared.type == "number" and declared.unit and declared.unit != "degree":
        if not found.unit:
            return "no unit is written"
        if column.unit.why_not:
            return column.unit.why_not
    if found.below_casing_top and not stick_up:
        return "measured from the casing top, and no column tells how high that is"
    if found.field == "drawdown_test_m" and column.parsed.datum == "casing_top":
        return "may hold the pumping level: it is counted from the casing top"
    if column.parsed.datum == "reference_point" and found.field in DECIDING:
        return "measured from a reference point"
    return ""


def guess_table(
    headers: tuple[str, ...], sample: pd.DataFrame, units_row: list[str] | None = None,
    described: dict[str, str] | None = None, context: Context | None = None,
) -> list[Guess]:  # fmt: skip
    """What each column of a table means, in which unit, and how sure that is.

    Parameters
    ----------
    headers : tuple of str
        Unique names of the columns, in order.
    sample : DataFrame of text, shape (rows, columns)
        Rows from head, middle and tail; columns in the order of ``headers``.
    units_row : list of str, optional
        Cells of a row of units below the header.
    described : dict of header -> text, optional
        Descriptions and unit words from a sister dictionary.
    context : Context, optional
        What is known besides the table.

    Returns
    -------
    list of Guess, one a header, in order
    """
    context = context or Context()
    cut = cut_names(headers)
    below = units_row or [""] * len(headers)
    told = read_descriptions(described or {})
    seen = look(sample)
    apart = symbols(headers)
    columns = [
        Column(place, header, apart.get(header) or parse(header, cut), profile, unit, told.get(header, Described()))
        for place, (header, profile, unit) in enumerate(zip(headers, seen, below, strict=False))
    ]
    for place, (header, unit) in unit_columns(headers, [c.parsed for c in columns], seen).items():
        columns[place].unit_from, columns[place].cell_unit = header, unit
    for column in columns:
        column.candidates = _candidates(column)
    _pairs(columns, cut)
    by_table(columns, about(context.table, columns))
    by_cells(columns)
    identified(columns)
    only_date(columns)
    names = [c.profile for c in columns if c.best and c.best.field in ("area_code", "region_code")]
    where = custom(context, coordinates(columns), names, list(headers))
    if where.length == "unknown" and context.market in ("us", "metric"):
        where = Custom(context.market, "us" if context.market == "us" else "", f"the market is set to {context.market}")
    _weigh_units(columns, where, context)
    _relate(columns)
    _weigh_units(columns, where, context)
    together(columns)
    exchanged(columns)
    settle(columns)
    drawdowns(columns)
    _weigh_units(columns, where, context)
    of_tests(columns)
    stick_up = any(c.best and c.best.field == "length_stick_up_m" and not c.why_not for c in columns)
    return [_finish(column, stick_up) for column in columns]
