"""From concepts to fields: rules of header_meanings.csv, each with what it needs, allows and forbids."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache

from pipeline import schema
from pipeline.errors import UsageError
from pipeline.ingest.proposal.concepts import Header, kinds
from pipeline.units import line


@cache
def weight(name: str) -> float:
    """One coefficient of proposal_weights.csv."""
    return _weights()[name]


@cache
def _weights() -> dict[str, float]:
    return {row["name"]: float(row["value"]) for row in schema.rows("proposal_weights")}


# a rule of this weight says enough to stand beside a word that is not known
_SPECIFIC = 4.2
# words that turn a number into something else and a code into nothing else
_ABOUT_CODES = frozenset({"code", "name"})


@dataclass(frozen=True)
class _Rule:
    field: str
    needs: tuple[frozenset[str], ...]
    allows: frozenset[str]
    forbids: frozenset[str]
    weight: float


@dataclass(frozen=True)
class Meaning:
    """A field that a header may mean: logarithm of its odds by the words alone, and the words that say so."""

    field: str
    odds: float
    concepts: tuple[str, ...] = ()
    foreign: tuple[str, ...] = ()


@cache
def _rules() -> tuple[_Rule, ...]:
    out = []
    for row in schema.rows("header_meanings"):
        needs = tuple(frozenset(group.split("/")) for group in row["needs"].split())
        allows = frozenset(row["allows"].split()) | (_ABOUT_CODES if row["field"].endswith("_code") else frozenset())
        out.append(_Rule(row["field"], needs, allows, frozenset(row["forbids"].split()),
                         float(row["weight"])))  # fmt: skip
    return tuple(out)


@cache
def _measures() -> tuple[tuple[str, str], ...]:
    return (("length_unit", "m"), ("flow_unit", "m**3/s"), ("time_unit", "s"), ("power_unit", "W"),
            ("pressure_unit", "Pa"))  # fmt: skip


@cache
def fits(unit: str, name: str) -> bool:
    """Whether a unit measures what the field measures."""
    declared = schema.fields()[name]
    return bool(declared.unit) and measures(unit, declared.unit)


@cache
def measures(unit: str, other: str) -> bool:
    """Whether two units measure the same."""
    try:
        line(unit, other)
    except UsageError:
        return False
    return True


def _judge(rule: _Rule, have: frozenset[str], unknown: float) -> float | None:
    if not all(group & have for group in rule.needs) or rule.forbids & have:
        return None
    spoken = frozenset().union(*(group & have for group in rule.needs)) | rule.allows
    cost = weight("unknown_word") + weight("generic_unknown") * max(0.0, _SPECIFIC - rule.weight)
    if "ANY" in rule.allows:
        cost = weight("unknown_word") * weight("unknown_in_id")
    odds = rule.weight + cost * max(0.0, unknown)
    for concept in have - spoken:
        kind = kinds().get(concept, "soft")
        if kind == "turn":
            odds += weight("foreign_turn")
        elif kind == "thing":
            odds += weight("foreign_thing")
    return odds


@lru_cache(maxsize=20000)
def meanings(header: Header) -> tuple[Meaning, ...]:
    """Fields a header may mean, the likeliest first; their odds are those of the words, without the values."""
    best: dict[str, Meaning] = {}
    of_unit = {name for name, unit in _measures() if header.unit and measures(header.unit, unit)}
    for concepts, unknown in header.readings:
        have = frozenset(concepts) | of_unit
        for rule in _rules():
            declared = schema.fields()[rule.field]
            odds = _judge(rule, have, unknown)
            if odds is None:
                continue
            if header.unit and declared.unit and not fits(header.unit, rule.field):
                continue
            if header.unit and not declared.unit and declared.type in ("code", "date") and not of_unit <= {"time_unit"}:
                continue
            if rule.field not in best or odds > best[rule.field].odds:
                best[rule.field] = Meaning(rule.field, odds, tuple(c for c in concepts if c not in rule.forbids))
    return tuple(sorted(best.values(), key=lambda m: (-m.odds, m.field)))
