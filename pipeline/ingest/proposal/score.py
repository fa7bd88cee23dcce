"""One guess a column: words, values, neighbours and units weighed together.

Every reason adds to the logarithm of the odds of a reading; coefficients stand in proposal_weights.csv.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.ingest.proposal import relations
from pipeline.ingest.proposal.concepts import Header, cut_names, parse
from pipeline.ingest.proposal.described import Described, read_descriptions
from pipeline.ingest.proposal.meaning import Meaning, fits, meanings, weight
from pipeline.ingest.proposal.model import DECIDING, DEPTHS, Evidence, Guess
from pipeline.ingest.proposal.place import Context, Custom, custom
from pipeline.ingest.proposal.cells import Cells, look
from pipeline.ingest.proposal.readings import date_order, samples
from pipeline.ingest.proposal.unit_columns import unit_columns
from pipeline.ingest.proposal.unit_evidence import UnitGuess, guess_unit
from pipeline.ingest.proposal.values import evidence as value_evidence
from pipeline.units import line

# fields of which a table may hold several columns that are all right
_FIRST_COMES = frozenset({"well_id", "region_code", "event_date"})
_PAIR = {"latitude_deg": "longitude_deg", "longitude_deg": "latitude_deg"}
_LEAST_ODDS = -1.0
_MOST_CANDIDATES = 4
_MANY_TESTS = 3


@dataclass
class _Candidate:
    """One reading of one column."""

    field: str
    odds: float
    reasons: list[Evidence] = field(default_factory=list)

    @property
    def chance(self) -> float:
        return chance(self.odds)


@dataclass
class _Column:
    """A column on the way to its guess."""

    place: int
    header: str
    parsed: Header
    profile: Cells
    units_row: str
    described: Described
    candidates: list[_Candidate] = field(default_factory=list)
    unit: UnitGuess = field(default_factory=UnitGuess)
    cell_unit: str = ""
    unit_from: str = ""
    lost_to: str = ""
    why_not: str = ""

    @property
    def best(self) -> _Candidate | None:
        return self.candidates[0] if self.candidates else None


def chance(odds: float) -> float:
    """Chance from the sum of the evidence, by the declared logistic."""
    return 1.0 / (1.0 + math.exp(-(weight("slope") * odds + weight("bias"))))


def canonical() -> frozenset[str]:
    """Fields that a file may hold under their own names."""
    kept = ("source_", "market_", "weight_inclusion_", "completeness_", "completed_precision_")
    return frozenset(c.field.name for c in schema.table("wells") if not c.field.name.startswith(kept))


def _unit_written(column: _Column, name: str) -> str:
    """Unit written for the column that fits a field."""
    from pipeline.ingest.header_words import unit_of

    for unit in (column.parsed.unit, unit_of(column.units_row) if column.units_row else "", column.cell_unit,
                 column.profile.cell_unit if column.profile.cell_unit_share >= 0.5 else "",
                 column.described.unit_for(name)):  # fmt: skip
        if unit and fits(unit, name):
            return unit
    return ""


def _candidates(column: _Column) -> list[_Candidate]:
    """Readings of a column from its words and its description, values weighed in."""
    own = column.header.strip()
    if own in canonical():
        return [_Candidate(own, 9.0, [Evidence("header", "named as the field itself", 9.0)])]
    found: dict[str, _Candidate] = {}
    for meaning in meanings(column.parsed):
        if meaning.odds > _LEAST_ODDS:
            text = f"header reads {' '.join(meaning.concepts).replace('_word', '').replace('_', ' ')}"
            found[meaning.field] = _Candidate(meaning.field, meaning.odds, [Evidence("header", text, meaning.odds)])
    _described(column, found)
    for candidate in found.values():
        unit = _unit_written(column, candidate.field)
        other = column.parsed.unit or ""
        if not unit and other and schema.fields()[candidate.field].unit:
            candidate.odds += weight("foreign_turn")
        for reason in value_evidence(candidate.field, column.profile, unit):
            candidate.reasons.append(reason)
            candidate.odds += reason.weight
        candidate.odds += weight("fuller") * (column.profile.filled_share - 0.5)
    kept = [c for c in found.values() if c.odds > _LEAST_ODDS]
    return sorted(kept, key=lambda c: (-c.odds, c.field))[:_MOST_CANDIDATES]


def _described(column: _Column, found: dict[str, _Candidate]) -> None:
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
            found[meaning.field] = _Candidate(meaning.field, odds, [reason])


def _pairs(columns: list[_Column], cut: bool) -> None:
    """A column that says only from, to, top or bottom takes its object from the column beside it."""
    ends = {"top": "bottom", "bottom": "top"}
    for left, right in zip(columns, columns[1:], strict=False):
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
                            one.candidates.append(_Candidate(meaning.field, odds, [Evidence("table", text, odds)]))
                            for reason in value_evidence(meaning.field, one.profile, _unit_written(one, meaning.field)):
                                one.candidates[-1].reasons.append(reason)
                                one.candidates[-1].odds += reason.weight
                    one.candidates.sort(key=lambda c: (-c.odds, c.field))


def _claims(columns: list[_Column]) -> dict[str, list[_Column]]:
    out: dict[str, list[_Column]] = {}
    for column in columns:
        if column.best:
            out.setdefault(column.best.field, []).append(column)
    return {name: sorted(rivals, key=lambda c: (-c.best.odds, c.header)) for name, rivals in out.items()}  # type: ignore[union-attr]


def _metres(column: _Column, unit: str) -> NDArray[np.float64]:
    slope, offset = line(unit, "m")
    values = np.where(np.isin(column.profile.numbers, (999.0, 9999.0, 99999.0, -999.0, -9999.0)), np.nan,
                      column.profile.numbers)  # fmt: skip
    return values * slope + offset


def _in_unit(column: _Column, unit: str) -> NDArray[np.float64]:
    slope, offset = line(column.unit.unit, unit)
    return column.profile.numbers * slope + offset


def _weigh_units(columns: list[_Column], where: Custom, context: Context) -> None:
    """Unit of every column for its best reading; written ones first, so that they tell the others."""
    written: list[tuple[int, str]] = []
    for column in columns:
        unit = column.best and _unit_written(column, column.best.field)
        if unit and column.best:
            written.append((column.place, unit))
    inferred = [(c.place, c.unit.unit) for c in columns
                if c.best and c.best.odds > 2 and c.unit.unit and not c.unit.written and not c.unit.why_not]  # fmt: skip
    for column in columns:
        if column.best and schema.fields()[column.best.field].unit:
            sisters = [unit for place, unit in written if place != column.place]
            alike = [unit for place, unit in inferred if place != column.place]
            column.unit = guess_unit(
                column.best.field, column.parsed, column.units_row, column.described.text, column.cell_unit,
                column.profile, where, sisters, list(context.units), alike,
            )  # fmt: skip


def _relate(columns: list[_Column]) -> None:
    """Weigh the order of depths and levels against the leaders of their fields."""
    leaders: dict[str, tuple[str, NDArray[np.float64]]] = {}
    for name, rivals in _claims(columns).items():
        if schema.fields()[name].unit == "m" and rivals[0].unit.unit:
            leaders[name] = rivals[0].header, _metres(rivals[0], rivals[0].unit.unit)
    for column in columns:
        for candidate in column.candidates:
            unit = column.unit.unit if candidate is column.best else _unit_written(column, candidate.field)
            if schema.fields()[candidate.field].unit != "m" or not (unit or column.unit.unit):
                continue
            unit = unit or column.unit.unit
            if not fits(unit, candidate.field):
                continue
            others = {k: v for k, v in leaders.items() if v[0] != column.header}
            for reason in relations.ordered(candidate.field, _metres(column, unit), others):
                candidate.reasons.append(reason)
                candidate.odds += reason.weight
        column.candidates.sort(key=lambda c: (-c.odds, c.field))


def _drawdowns(columns: list[_Column]) -> None:
    """A drawdown column that holds the pumping level is a doubt, with the evidence."""
    claims = _claims(columns)
    for column in claims.get("drawdown_test_m", []):
        static = claims.get("depth_static_m", [])
        if static and column.unit.unit and static[0].unit.unit and column.best:
            why = relations.drawdown_is_level(
                _metres(column, column.unit.unit), _metres(static[0], static[0].unit.unit)
            )
            if why:
                column.why_not = f"may hold the pumping level: {why}"
                column.best.reasons.append(Evidence("relation", why, weight("relation_against")))
                column.candidates.insert(1, _Candidate("depth_pumping_m", column.best.odds - 0.5))


def _settle(columns: list[_Column]) -> None:
    """Where several columns claim a field: the better evidence, or a doubt."""
    for _ in range(3):
        moved = False
        for name, rivals in _claims(columns).items():
            top = rivals[0]
            if name in _FIRST_COMES:
                _first(rivals)
                continue
            for rival in rivals[1:]:
                lead = top.best.odds - rival.best.odds  # type: ignore[union-attr]
                second = rival.candidates[1] if len(rival.candidates) > 1 else None
                if lead >= weight("margin") and second and second.odds >= 2.0 and second.field not in _claims(columns):
                    rival.candidates = [*rival.candidates[1:], rival.candidates[0]]
                    moved = True
                elif lead >= weight("margin"):
                    rival.lost_to, rival.why_not = top.header, "another column fits better"
                else:
                    _tie(name, top, rival)
        if not moved:
            return


def _first(rivals: list[_Column]) -> None:
    """Of ids and names of places as likely as each other one serves: without gaps, then by name."""
    top = rivals[0].best.odds  # type: ignore[union-attr]
    near = [c for c in rivals if top - c.best.odds < weight("margin")]  # type: ignore[union-attr]
    first = min(near, key=lambda c: (c.profile.unique_share < 0.98 and c.best.field == "well_id", -round(c.profile.filled_share, 1), c.header))  # type: ignore[union-attr]
    for rival in rivals:
        if rival is not first:
            rival.lost_to, rival.why_not = first.header, "another column fits better"


def _tie(name: str, top: _Column, rival: _Column) -> None:
    """Two columns as likely: the same thing in two units or copies is no doubt, all else is."""
    declared = schema.fields()[name].unit
    if declared and top.unit.unit and rival.unit.unit:
        same, _ = relations.same_thing(_in_unit(top, declared), _in_unit(rival, declared))
        if same:
            rival.lost_to, rival.why_not = top.header, f"the same as '{top.header}'"
            return
    for column in (top, rival):
        if not column.lost_to:
            column.why_not = "two columns claim this field"


def _of_tests(columns: list[_Column]) -> None:
    """In a table about pumping tests the pump is as likely as not the one that was brought for the test."""
    spoken = [{c for way, _ in column.parsed.readings[:1] for c in way} for column in columns]
    tests = sum("test" in words for words in spoken)
    if tests < _MANY_TESTS or any(c.best and c.best.field == "completed_date" and c.best.odds > 2 for c in columns):
        return
    for column in columns:
        if column.best and column.best.field in ("depth_pump_m", "length_drop_pipe_m") and not column.why_not:
            column.why_not = f"{tests} columns speak of a test; this may be the pump of the test"


def _coordinates(columns: list[_Column]) -> tuple[Cells, Cells] | None:
    claims = _claims(columns)
    if "latitude_deg" in claims and "longitude_deg" in claims:
        lat, lon = claims["latitude_deg"][0].profile, claims["longitude_deg"][0].profile
        if abs(lat.median) <= 90 and abs(lon.median) <= 180:
            return lat, lon
    return None


def _together(columns: list[_Column]) -> None:
    """Latitude and longitude come in pairs: one without the other is hardly one, two that are degrees support each other."""
    held = {name: [c for c in columns for k in c.candidates if k.field == name] for name in _PAIR}
    for column in columns:
        for candidate in column.candidates:
            if candidate.field in _PAIR:
                other = [c for c in held[_PAIR[candidate.field]]
                         if (abs(c.profile.median) <= 180) == (abs(column.profile.median) <= 180)]  # fmt: skip
                fits_ = any(c is not column and c.profile.decimals >= 1.5 for c in other) and column.profile.decimals >= 1.5
                key = "alone" if not other else "relation" if fits_ else ""
                if key:
                    text = "no column for the other coordinate" if key == "alone" else f"beside '{other[0].header}'"
                    candidate.reasons.append(Evidence("relation", text, weight(key)))
                    candidate.odds += weight(key)
        column.candidates.sort(key=lambda c: (-c.odds, c.field))


def _exchanged(columns: list[_Column]) -> None:
    """Latitude and longitude whose values say the reverse, or that are no degrees at all, are doubts."""
    for column in columns:
        concepts = {c for way, _ in column.parsed.readings for c in way}
        if concepts & {"northing", "easting"} and np.isfinite(column.profile.median):
            if abs(column.profile.median) > 1000:
                column.why_not = "projected coordinates: a crs is needed"
        best = column.best
        if best and best.field == "latitude_deg" and np.isfinite(column.profile.high) and not column.why_not:
            if max(abs(column.profile.p05), abs(column.profile.p95)) > 90:
                column.why_not = "values are no latitudes"


def _finish(column: _Column, stick_up: bool) -> Guess:
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
        found.unit_from = column.unit_from
    elif declared.unit == "degree":
        found.unit = "deg"
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
    found.samples = samples(found, column.profile)
    return found


def _why_not(found: Guess, column: _Column, stick_up: bool) -> str:
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
    columns = [
        _Column(place, header, parse(header, cut), profile, unit, told.get(header, Described()))
        for place, (header, profile, unit) in enumerate(zip(headers, seen, below, strict=False))
    ]
    for place, (header, unit) in unit_columns(headers, [c.parsed for c in columns], seen).items():
        columns[place].unit_from, columns[place].cell_unit = header, unit
    for column in columns:
        column.candidates = _candidates(column)
    _pairs(columns, cut)
    names = [c.profile for c in columns if c.best and c.best.field in ("area_code", "region_code")]
    where = custom(context, _coordinates(columns), names, list(headers))
    if where.length == "unknown" and context.market in ("us", "metric"):
        where = Custom(context.market, "us" if context.market == "us" else "", f"the market is set to {context.market}")
    _weigh_units(columns, where, context)
    _relate(columns)
    _weigh_units(columns, where, context)
    _together(columns)
    _exchanged(columns)
    _settle(columns)
    _drawdowns(columns)
    _weigh_units(columns, where, context)
    _of_tests(columns)
    stick_up = any(c.best and c.best.field == "length_stick_up_m" and not c.why_not for c in columns)
    return [_finish(column, stick_up) for column in columns]
