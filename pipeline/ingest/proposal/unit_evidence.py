"""In which unit a column is: what is written, and where nothing is, what place, neighbours and values say."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from pipeline import schema
from pipeline.ingest.header_words import unit_of
from pipeline.ingest.proposal.cells import Cells
from pipeline.ingest.proposal.concepts import Header, folded, tokens
from pipeline.ingest.proposal.meaning import fits, weight
from pipeline.ingest.proposal.model import Evidence
from pipeline.ingest.proposal.place import Custom
from pipeline.units import line

_LENGTHS = ("depth", "stick", "bore", "height")
_SYSTEM = {"ft": "us", "in": "us", "gpm": "us", "gpd": "us", "gph": "us", "cfs": "us", "hp": "us", "psi": "us",
           "degF": "us", "lb": "us", "imp gpm": "imperial", "m": "metric", "cm": "metric", "mm": "metric",
           "L/s": "metric", "L/min": "metric", "L/h": "metric", "m**3/h": "metric", "m**3/d": "metric",
           "kPa": "metric", "bar": "metric", "kW": "metric"}  # fmt: skip
# units that people of a metric country use as well, so they say little of the others
_SHARED = frozenset({"hp", "in", "mm", "psi", "degC", "bar", "degF"})
# an unwritten unit needs the custom of the place and one more kind of evidence, or so many kinds
_FEWEST_KINDS = 2
_PLACE_LEAD = 3.0
_LEAST_LEAD = 0.8
# what place, neighbours and size still say where a unit is written
_SHARE_OF_REST = 0.25
_MANY_ROUND, _FEWEST_CELLS = 0.3, 20
# measures whose units lie so far apart, or one of which is so usual, that the size of the values tells
_TOLD_BY_SIZE = frozenset({"chemistry", "conductivity", "temperature"})
_BORE_SCORE = 0.995
# chance of a unit that the place and the values tell, and the most that one is given which is asked about
_PLACE_SCORE, _ASKED_SCORE = 0.99, 0.9
# share of whole feet in metres that speaks against both, and how much likelier the size may be in the other system
_FOOT_GRID, _SIZE_LEAD = 0.3, 0.7
_GALLONS = frozenset({"gpm", "gph", "gpd"})


@dataclass(frozen=True)
class Shape:
    """Where a field usually lies: median of tables in SI and spread of its logarithm."""

    measure: str
    median: float
    spread: float


@dataclass(frozen=True)
class Choice:
    """A unit in use for a measure, how usual it is by custom, and nominal sizes."""

    unit: str
    usual: dict[str, float]
    nominal: tuple[float, ...]


@dataclass
class UnitGuess:
    """A unit with its chance, evidence and what stands against using it."""

    unit: str = ""
    score: float = 0.0
    evidence: list[Evidence] = field(default_factory=list)
    why_not: str = ""
    runner_up: str = ""
    runner_up_score: float = 0.0
    written: bool = False
    of_the_place: str = ""

    @property
    def inferred(self) -> bool:
        """Whether the unit is not written and sure all the same."""
        return bool(self.unit) and not self.written and not self.why_not


@cache
def shapes() -> dict[str, Shape]:
    """Usual size of each field, from value_shapes.csv."""
    return {row["field"]: Shape(row["measure"], float(row["median_si"]), float(row["spread_ln"]))
            for row in schema.rows("value_shapes")}  # fmt: skip


@cache
def choices(measure: str) -> tuple[Choice, ...]:
    """Units in use for a measure, from unit_choices.csv."""
    out = []
    for row in schema.rows("unit_choices"):
        if row["measure"] == measure:
            usual = {k: float(row[k]) for k in ("us", "metric", "mixed", "unknown")}
            out.append(Choice(row["unit"], usual, tuple(float(x) for x in row["nominal"].split("|") if x)))
    return tuple(out)


def in_text(text: str, name: str) -> str:
    """Unit of the field that a sentence names, "" when none or several do."""
    words = tokens(text)
    found = set()
    for size in (4, 3, 2, 1):
        for place in range(len(words) - size + 1):
            piece = " ".join(words[place : place + size])
            unit = unit_of(piece) if len(piece) > 1 and piece not in ("in", "us", "min", "day", "hour", "to") else ""
            if unit and fits(unit, name):
                found.add(unit)
        if found:
            break
    return found.pop() if len(found) == 1 else ""


def is_us_gallon(text: str) -> bool:
    """Whether the gallon is written as the US one."""
    return "us" in tokens(text) or folded(text).replace(" ", "").startswith("us")


def convertible(profile: Cells, unit: str, name: str) -> tuple[float, float, float]:
    """Fifth centile, median and ninety-fifth centile in the unit of the field."""
    slope, offset = line(unit, schema.fields()[name].unit)
    return profile.p05 * slope + offset, profile.median * slope + offset, profile.p95 * slope + offset


def size_odds(profile: Cells, unit: str, name: str) -> float:
    """Logarithm of the likelihood of the median size, nought where it is at its most likely."""
    shape = shapes().get(name)
    if shape is None or not math.isfinite(profile.median):
        return 0.0
    middle = convertible(profile, unit, name)[1]
    if not middle > 0:
        return 0.0
    away = math.log(middle / shape.median) / shape.spread
    # tails as wide as those of a table of few wells in an odd place
    return -1.5 * math.log1p(away * away / 3.0)


def nominal_share(profile: Cells, sizes: tuple[float, ...]) -> float:
    """Share of the numbers that are nominal sizes."""
    values = profile.numbers[np.isfinite(profile.numbers) & (profile.numbers > 0)]
    if not len(values) or not sizes:
        return 0.0
    near = np.abs(values[:, None] / np.array(sizes)[None, :] - 1.0) <= 0.004
    return float(near.any(axis=1).mean())


def _round_share(profile: Cells) -> float:
    """Share of multiples of five, where the numbers are large enough for that to say something."""
    return profile.fives if profile.median >= 15 else 0.0


def systems(units: list[str]) -> Counter[str]:
    """How many written units speak for each system of units."""
    return Counter(_SYSTEM[u] for u in units if u in _SYSTEM and u not in _SHARED)


def guess_unit(
    name: str, header: Header, units_row: str, described: str, cell: str, profile: Cells, custom: Custom,
    sisters: list[str], outside: list[str], inferred: list[str],
) -> UnitGuess:  # fmt: skip
    """The unit of a column taken for a field.

    Parameters
    ----------
    units_row, described : str
        Cell of a row of units, description in a sister dictionary.
    cell : str
        Unit told by a column of units, "" when there is none.
    sisters, outside, inferred : list of str
        Units written for other columns of the table, in other tables of the source, and those that other columns of
        the table are taken to be in without being written.
    """
    written: dict[str, list[Evidence]] = {}

    def say(unit: str, kind: str, text: str, odds: float) -> None:
        if unit and fits(unit, name):
            written.setdefault(unit, []).append(Evidence(kind, text, odds))

    say(header.unit, "header", f"header says {header.unit_text}", weight("unit_written"))
    say(unit_of(units_row) if units_row else "", "units_row", f"row of units says {units_row.strip()}",
        weight("unit_written"))
    say(in_text(described, name) if described else "", "dictionary", f"dictionary says: {described[:80]}",
        weight("unit_described"))
    say(cell, "unit_column", f"unit column says {cell}", weight("unit_written"))
    if profile.cell_unit_share >= 0.5:
        say(profile.cell_unit, "values", f"{profile.cell_unit_share:.0%} of cells say {profile.cell_unit}",
            weight("unit_cells"))
    odds, told = _inferred(name, profile, custom, sisters, outside, inferred)
    for unit, reasons in written.items():
        odds[unit] = odds.get(unit, -3.0) * _SHARE_OF_REST + sum(r.weight for r in reasons)
    found = _ranked(odds)
    if not found:
        return UnitGuess()
    unit, score = found[0]
    best = UnitGuess(unit, score, [*written.get(unit, []), *told.get(unit, [])], written=unit in written)
    if len(found) > 1:
        best.runner_up, best.runner_up_score = found[1]
    if not best.written and name in shapes():
        others = systems(sisters) + systems(inferred)
        best.of_the_place = _of_the_place(name, unit, profile, custom, others)
        if best.of_the_place:
            best.evidence.append(Evidence("place", best.of_the_place, _PLACE_LEAD))
            best.score = max(best.score, _PLACE_SCORE)
    best.why_not = _doubt(name, best, written, header, custom, told.get(unit, []))
    if best.why_not and not best.written:
        # what is too thin to be used is no certainty either
        best.score = min(best.score, _ASKED_SCORE)
        best.runner_up_score = max(best.runner_up_score, 1.0 - best.score) if best.runner_up else 0.0
    return best


def _ranked(odds: dict[str, float]) -> list[tuple[str, float]]:
    if not odds:
        return []
    top = max(odds.values())
    parts = {unit: math.exp(value - top) for unit, value in odds.items()}
    total = sum(parts.values())
    return sorted(((u, p / total) for u, p in parts.items()), key=lambda pair: (-pair[1], pair[0]))


def _inferred(
    name: str, profile: Cells, custom: Custom, sisters: list[str], outside: list[str], inferred: list[str]
) -> tuple[dict[str, float], dict[str, list[Evidence]]]:
    """Log odds of each usual unit from place, neighbours and values, and the reasons."""
    shape = shapes().get(name)
    odds: dict[str, float] = {}
    told: dict[str, list[Evidence]] = {}
    if shape is None:
        return odds, told
    near, far, alike = systems(sisters), systems(outside), systems(inferred)
    for choice in choices(shape.measure):
        reasons: list[Evidence] = []
        usual = choice.usual[custom.length]
        if custom.length != "unknown":
            reasons.append(Evidence("place", f"{custom.why}, where {choice.unit} is usual" if usual > 0 else custom.why,
                                    usual))  # fmt: skip
        value = usual
        system = _SYSTEM.get(choice.unit, "")
        beside = (
            (near, "unit_sisters", "units written beside it"), (far, "unit_other_tables", "units in other tables"),
            (alike, "unit_depths_agree", "units found beside it"),
        )  # fmt: skip
        for tally, key, text in beside:
            ours, all_told = tally.get(system, 0), sum(tally.values())
            if all_told and choice.unit not in _SHARED:
                step = weight(key) * (2.0 * ours / all_told - 1.0) / 2.0 * min(1.0, (1 + all_told) / 3.0)
                value += step
                reasons.append(Evidence("table", f"{ours} of {all_told} {text} are {system}", step))
        size = size_odds(profile, choice.unit, name)
        value += size
        if math.isfinite(profile.median):
            low, middle, high = convertible(profile, choice.unit, name)
            reasons.append(Evidence("values", f"median {profile.median:g} {choice.unit} = {middle:.3g} "
                                    f"{schema.fields()[name].unit}", size))  # fmt: skip
            field_ = schema.fields()[name]
            if (field_.hard_max is not None and high > field_.hard_max) or (
                field_.hard_min is not None and low < field_.hard_min
            ):
                value += weight("out_of_range")
        round_ = _round_share(profile)
        drilled = shape.measure in ("depth", "flow") and round_ >= _MANY_ROUND and profile.filled >= _FEWEST_CELLS
        if drilled and custom.length in ("us", "metric") and usual > 0:
            value += weight("unit_round")
            text = f"{round_:.0%} of values are multiples of five, as people write them"
            reasons.append(Evidence("grid", text, weight("unit_round")))
        if choice.nominal:
            share = nominal_share(profile, choice.nominal)
            if share >= 0.5:
                step = weight("unit_nominal") * share
                value += step
                reasons.append(Evidence("sizes", f"{share:.0%} of values are nominal sizes in {choice.unit}", step))
        if shape.measure == "depth" and choice.unit == "m" and profile.foot_grid >= 0.5 and profile.filled >= 8:
            step = weight("unit_grid") * profile.foot_grid
            value += step
            text = f"{profile.foot_grid:.0%} of values are whole feet turned into metres"
            reasons.append(Evidence("grid", text, step))
        odds[choice.unit] = value
        told[choice.unit] = reasons
    return odds, _against_next(odds, told)


def _against_next(odds: dict[str, float], told: dict[str, list[Evidence]]) -> dict[str, list[Evidence]]:
    """Reasons for each unit with the weight by which they beat those for its next rival."""
    out = {}
    for unit, reasons in told.items():
        rival = max((u for u in odds if u != unit), key=lambda u: (odds[u], u), default="")
        theirs = {r.kind: r.weight for r in told.get(rival, [])}
        # two units of one system share their neighbours; those speak against the other systems
        lead = [Evidence(r.kind, r.text, 2.0 * r.weight if r.kind == "table" else r.weight - theirs.get(r.kind, 0.0))
                for r in reasons]  # fmt: skip
        out[unit] = sorted((r for r in lead if r.weight > 0), key=lambda r: -r.weight)
    return out


def _doubt(
    name: str, best: UnitGuess, written: dict[str, list[Evidence]], header: Header, custom: Custom, told: list[Evidence]
) -> str:
    """What keeps the unit from being used without asking."""
    if header.two_units:
        return "two units are written in the header"
    if len(written) > 1:
        return f"written as {' and as '.join(sorted(written))}"
    if best.unit in _GALLONS and custom.gallon in ("imperial", "either") and not is_us_gallon(header.unit_text):
        return "gallons may be imperial here"
    if best.written:
        return "" if best.score >= weight("sure_unit") else "values do not look like the unit that is written"
    if not best.score >= weight("sure_unit"):
        return "no unit is written"
    leads = {r.kind: r.weight for r in told}
    measure = shapes()[name].measure
    if measure in _TOLD_BY_SIZE or (measure == "bore" and leads.get("sizes", 0.0) >= 1.0 and best.score >= _BORE_SCORE):
        return ""
    beside = [kind for kind in ("grid", "sizes", "table") if leads.get(kind, 0.0) >= _LEAST_LEAD]
    if (leads.get("place", 0.0) >= _PLACE_LEAD and beside) or len(beside) >= _FEWEST_KINDS:
        return ""
    if best.of_the_place:
        return ""
    return "no unit is written, and too little tells it"


def _of_the_place(name: str, unit: str, profile: Cells, custom: Custom, others: Counter[str]) -> str:
    """Why the unit is the one that the place uses and the values fit; "" where something speaks against it.

    The place must be of one system, no column beside may be in another, and the values must lie where the field does,
    be no whole feet turned into metres, and be as likely in this unit as in the one of the other system.
    """
    custom_row = next((row for row in _usual() if row[:3] == (shapes()[name].measure, custom.length, unit)), None)
    system = {"us": "us", "metric": "metric"}.get(custom.length, "")
    if custom_row is None or not system or profile.filled < _FEWEST_CELLS or not math.isfinite(profile.median):
        return ""
    if any(count and other != system for other, count in others.items()):
        return ""
    rival, least, most = custom_row[3:]
    if not (least <= profile.median <= most) or profile.foot_grid >= _FOOT_GRID:
        return ""
    field_ = schema.fields()[name]
    low, middle, high = convertible(profile, unit, name)
    if not ((field_.hard_min is None or low >= field_.hard_min)
            and (field_.hard_max is None or high <= field_.hard_max)):  # fmt: skip
        return ""
    if not ((field_.typical_min is None or middle >= field_.typical_min)
            and (field_.typical_max is None or middle <= field_.typical_max)):  # fmt: skip
        return ""
    if rival and size_odds(profile, unit, name) < size_odds(profile, rival, name) - _SIZE_LEAD:
        return ""
    return f"{custom.why}, and a median of {profile.median:g} {unit} is usual"


@cache
def _usual() -> tuple[tuple[str, str, str, str, float, float], ...]:
    """Measure, custom, unit, unit of the other system, least and largest median, from unit_places.csv."""
    return tuple((row["measure"], row["custom"], row["unit"], row["rival"], float(row["least"]), float(row["most"]))
                 for row in schema.rows("unit_places"))  # fmt: skip
