"""Tables with several rows a well: which value to pick, in what order, and from which rows alone."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from pipeline import schema
from pipeline.ingest.header_words import unit_of
from pipeline.ingest.proposal.concepts import parse
from pipeline.ingest.proposal.meaning import meanings, measures
from pipeline.ingest.proposal.model import Evidence, Guess, TableProposal
from pipeline.ingest.proposal.unknown import Unknown, concepts_in, few, filled, is_dates, share_of_numbers, words_in

# what long tables are asked for: what was measured at a place
MEASURED = ("acidity_ph", "chloride_mg_per_l", "conductivity_us_per_cm", "temperature_water_degc", "methane_mg_per_l",
            "depth_static_m")  # fmt: skip
_LEVELS = {"depth_static_m", "depth_pumping_m"}
_MOST_PARAMETERS = 400
_PARAMETER = {"parameter", "param", "analyte", "characteristic", "constituent", "determinand", "variable", "test",
              "measure", "substance", "element", "determinant", "property", "observation", "chemical"}  # fmt: skip
_VALUE = {"value", "result", "results", "reading", "concentration", "measurement", "amount", "measured"}
_WHEN = {"head_words", "test", "level", "water", "static", "pumping"}
# words behind a comma that make another thing of it: temperature of the air, not of the water
_ELSEWHERE = {"air", "geology", "pollution", "change", "distance", "thickness"}
_BUILT = {"drilled", "completed", "work"}
# logarithm of the odds from which the name of a parameter is taken at its word, and the lead over the next
_CLEAR, _LEAD = 1.5, 1.0


@dataclass
class Filtered:
    """A table in which one column says what the rows are about.

    Attributes
    ----------
    taken : tuple of str
        Columns that are read through ``where`` alone, and the column that says it.
    guesses : list of Guess
        One a field; several may be of one column.
    where : dict of field -> {raw header: raw texts}
    """

    taken: tuple[str, ...]
    guesses: list[Guess] = field(default_factory=list)
    where: dict[str, dict[str, tuple[str, ...]]] = field(default_factory=dict)


def date_column(profile: Unknown, guesses: list[Guess]) -> str:
    """The column that dates the rows; dates of entry and update come last, and none is "" ."""
    ranked = []
    told = {g.header for g in guesses if g.field == "event_date" and g.field_score >= 0.5}
    for place, header in enumerate(profile.headers):
        if is_dates(profile, header):
            concepts = concepts_in(header)
            late = "received" in concepts
            ranked.append((late, header not in told, bool(concepts & _BUILT), not concepts & _WHEN, place, header))
    return min(ranked)[-1] if ranked and not min(ranked)[0] else ""


def settle(table: TableProposal, profile: Unknown, repeated: bool) -> None:
    """Fill ``pick``, ``order_by`` and ``reasons`` of a child table whose wells have several rows; changes ``table``."""
    if not repeated:
        return
    dates = date_column(profile, table.guesses)
    table.order_by = dates
    rules = {row["field"]: row for row in schema.rows("picks")}
    for found in table.guesses:
        if found.field in ("", "well_id", "event_date"):
            continue
        rule = rules.get(found.field)
        pick = (rule["dated"] if dates else rule["undated"]) if rule else "first"
        table.pick[found.field] = pick
        table.reasons[found.field] = rule["why"] if rule else "the first that is filled"


def not_of_the_well(guesses: list[Guess], dates: str, repeated: bool) -> list[Guess]:
    """Guesses of a child table without what is told of its rows and not of the well: the date of a reading."""
    if not repeated:
        return guesses
    return [
        replace(g, field="", unit="", score=0.0, field_score=0.0, why_not="", samples=[])
        if g.field == "completed_date" and not concepts_in(g.header) & _BUILT
        else g for g in guesses
    ]  # fmt: skip


def meaning_of(text: str) -> str:
    """Field that the name of a parameter stands for: ``Chloride, dissolved``; "" when none or several do."""
    plain = re.sub(r"[\(\[][^)\]]*[\)\]]", " ", text)
    head, _, rest = plain.partition(",")
    other = rest and concepts_in(rest) & _ELSEWHERE
    for part in dict.fromkeys((plain, plain if other else head)):
        found = meanings(parse(part))
        if not found or found[0].field not in MEASURED or found[0].odds < _CLEAR:
            continue
        if len(found) == 1 or found[0].odds - found[1].odds >= _LEAD or {f.field for f in found[:2]} <= _LEVELS:
            return found[0].field
    return ""


def long_form(profile: Unknown) -> Filtered | None:
    """The table as one row a measurement, None where it is not of that kind."""
    parameter, meant = "", dict[str, str]()
    for header in profile.headers:
        texts = few(profile, header, _MOST_PARAMETERS)
        if len(texts) < 2 or share_of_numbers(profile, header) > 0.2:
            continue
        found = {t: f for t in texts if (f := meaning_of(t))}
        named = bool(set(words_in(header)) & _PARAMETER)
        if len(set(found.values())) >= (1 if named else 2) and len(set(found.values())) > len(set(meant.values())):
            parameter, meant = header, found
    if not parameter:
        return None
    numeric = [h for h in profile.headers if h != parameter and share_of_numbers(profile, h) >= 0.6]
    values = [h for h in numeric if set(words_in(h)) & _VALUE]
    if not values:
        return None
    value = min(values, key=lambda h: (len(set(words_in(h)) - _VALUE), profile.headers.index(h)))
    unit = _unit_column(profile, [parameter, value])
    out = Filtered((parameter, value))
    for name in dict.fromkeys(meant.values()):
        told = tuple(sorted(t for t, f in meant.items() if f == name))
        declared = schema.fields()[name]
        units = {u for t in told if (u := _unit_in(t))}
        words = _cells_of(profile, unit, parameter, told) if unit and not units else []
        read = {u for t in words if (u := unit_of(t))}
        fixed = units.pop() if len(units) == 1 else read.pop() if len(read) == 1 and all(map(unit_of, words)) else ""
        fixed = fixed if not declared.unit or measures(fixed or "?", declared.unit) else ""
        read_as = Guess(
            value, name, fixed if declared.unit else "", 0.95, 0.97, 0.97,
            [Evidence("values", f"'{parameter}' says {', '.join(map(repr, told[:3]))}", 4.0)],
        )  # fmt: skip
        if declared.unit and fixed and words:
            read_as.evidence.append(Evidence("unit_column", f"'{unit}' says {', '.join(map(repr, words[:3]))}", 5.0))
        if declared.unit and not fixed:
            if unit:
                read_as.unit_from = unit
                read_as.evidence.append(Evidence("unit_column", f"'{unit}' tells the unit row by row", 3.0))
            else:
                read_as.score, read_as.unit_score, read_as.why_not = 0.3, 0.3, "no unit is written"
        rows = profile.sample.loc[profile.sample[parameter].isin(told), value]
        read_as.samples = [(str(t), f"{t} {read_as.unit}".strip()) for t in rows.dropna().unique()[:3]]
        out.guesses.append(read_as)
        out.where[name] = {parameter: told}
    return out


def _cells_of(profile: Unknown, header: str, parameter: str, told: tuple[str, ...]) -> list[str]:
    """Distinct texts of a column in the rows of some parameters."""
    rows = profile.sample[parameter].fillna("").astype("str").str.strip().isin(told)
    return [str(t) for t in filled(profile.sample.loc[rows, header]).unique()]


def _unit_column(profile: Unknown, apart: list[str]) -> str:
    best, top = "", 0.5
    for header in profile.headers:
        texts = few(profile, header)
        if header in apart or not texts:
            continue
        share = sum(bool(unit_of(t)) for t in texts) / len(texts)
        words = set(words_in(header))
        beside = set(words_in(apart[-1]))
        share *= len(profile.values(header)) / max(len(profile.sample), 1)
        mark = share + 0.3 * bool(words & {"unit", "units", "uom"}) + len(words & beside) / len(words | beside)
        if share >= 0.2 and mark > top:
            best, top = header, mark
    return best


def _unit_in(text: str) -> str:
    inside = re.search(r"[\(\[]([^)\]]*)[\)\]]", text)
    tail = inside.group(1) if inside else text.rsplit(",", 1)[-1] if "," in text else ""
    return unit_of(tail) if tail else ""
