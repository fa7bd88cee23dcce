"""Validation rules: rows of rules.csv, and one made for every typical range of fields.csv."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from pipeline import schema
from pipeline.errors import SchemaError, UsageError
from pipeline.settings import Settings
from pipeline.validate import predicate

TEMPLATE = "V200"
RULES_PER_MASK = 60
# columns that the scan adds: the day the data stand for, and the middle of each region
ADDED = ("as_of_date", "region_latitude_deg", "region_longitude_deg", "region_latitude_spread_deg",
         "region_longitude_spread_deg")  # fmt: skip


@dataclass(frozen=True)
class Rule:
    """One rule: what it is called, why it matters, when it is judged, and the test that finds the fault.

    Attributes
    ----------
    needs : tuple of str
        Columns that must be present for a row to be judged.
    test : str
        SQL over the columns of ``wells``; true marks the fault.
    allowed : float
        Share of the judged rows of a source that may fail before the gate fails. [1]
    by_row : bool
        False for rules that are counted by source only and leave no row in ``issues``.
    low, high : float or None
        Ends of the typical range, for the rules made from fields.csv.
    """

    code: str
    title: str
    why: str
    severity: str
    needs: tuple[str, ...]
    test: str
    allowed: float
    action: str
    reference_id: str
    by_row: bool = True
    low: float | None = None
    high: float | None = None

    @property
    def field(self) -> str | None:
        """Canonical field at fault: the first that the rule needs, or reads."""
        if self.needs:
            return self.needs[0]
        named = re.findall(r"[a-z]\w*", self.test)
        return next((name for name in named if name in schema.fields()), None)

    @property
    def reads(self) -> tuple[str, ...]:
        """Columns of the wells that the rule needs or reads, added ones left out."""
        names = [*self.needs, *sorted(predicate.columns(self.test) - set(self.needs))]
        return tuple(name for name in names if name not in ADDED)

    @property
    def pair(self) -> tuple[str, str, bool] | None:
        """(larger, smaller, may be equal) as it should be, where the test compares two columns only."""
        match = re.fullmatch(r"(\w+) (>|>=|<|<=) (\w+)", self.test)
        if not match or set(match.group(1, 3)) != set(self.needs) or not set(self.needs) <= set(schema.fields()):
            return None
        left, sign, right = match.groups()
        if any(schema.fields()[name].type != "number" for name in (left, right)):
            return None
        # the fault is left > right, so that as it should be right >= left
        return (right, left, "=" not in sign) if sign[0] == ">" else (left, right, "=" not in sign)

    @property
    def expected(self) -> str:
        """What a faultless row shows, in the terms of the test."""
        if self.low is not None or self.high is not None:
            ends = [f"{x:g}" for x in (self.low, self.high) if x is not None]
            return f"{self.field} {'from ' + ' to '.join(ends) if len(ends) == 2 else ends[0] + ' or so'}"
        opposite = {">": "<=", "<": ">=", ">=": "<", "<=": ">"}
        match = re.fullmatch(r"([^<>=]+) (>|>=|<|<=) ([^<>=]+)", self.test)
        if match and not re.search(r"\b(AND|OR|NOT|IN)\b", self.test):
            return f"{match[1]} {opposite[match[2]]} {match[3]}"
        return f"not ({self.test})"


def _ranged(template: dict[str, str]) -> list[Rule]:
    """One rule a number of the table wells that has a typical range; the code is 200 + its place in fields.csv."""
    places = {name: place for place, name in enumerate(schema.fields(), start=1)}
    out = []
    for column in schema.table("wells"):
        field = column.field
        if field.typical_min is None and field.typical_max is None:
            continue
        ends = ((field.typical_min, "<"), (field.typical_max, ">"))
        tests = [f"{field.name} {sign} {end!r}" for end, sign in ends if end is not None]
        text = template["test"]
        if len(tests) == 2:
            text = text.format(field=field.name, low=repr(field.typical_min), high=repr(field.typical_max))
        else:
            text = tests[0]
        out.append(Rule(
            code=f"V{200 + places[field.name]}", title=f"{template['title']}: {schema.stem(field.name)}",
            why=template["why"], severity=template["severity"], needs=(field.name,), test=text,
            allowed=float(template["limit"]), action=template["action"], reference_id=template["reference_id"],
            # a value far out is told where it is read (N202), with the text that stood there; here it is counted
            by_row=template["applies_to"] != "source", low=field.typical_min, high=field.typical_max,
        ))  # fmt: skip
    return out


@cache
def declared() -> tuple[Rule, ...]:
    """Every validation rule, the declared ones first.

    Raises
    ------
    SchemaError
        When a rule needs or reads a column that ``wells`` lacks, or its test is not understood.
    """
    known = {column.field.name for column in schema.table("wells")} | set(ADDED)
    rows = [row for row in schema.rows("rules") if row["stage"] == "validate"]
    out: list[Rule] = []
    for row in rows:
        if row["code"] == TEMPLATE:
            continue
        needs = tuple(filter(None, row["needs"].split("|")))
        strange = (set(needs) | predicate.columns(row["test"])) - known
        if strange:
            raise SchemaError(f"rules.csv: rule {row['code']} names {sorted(strange)}, which the table wells lacks.")
        try:
            allowed = float(row["limit"])
        except ValueError:
            raise SchemaError(f"rules.csv: rule {row['code']} has the limit '{row['limit']}', not a share.") from None
        out.append(Rule(
            code=row["code"], title=row["title"], why=row["why"], severity=row["severity"], needs=needs,
            test=row["test"], allowed=allowed, action=row["action"], reference_id=row["reference_id"],
            by_row=row["applies_to"] != "source",
        ))  # fmt: skip
    out += _ranged(next(row for row in rows if row["code"] == TEMPLATE))
    twice = {rule.code for rule in out if sum(other.code == rule.code for other in out) > 1}
    if twice:
        raise SchemaError(f"rules.csv: the codes {sorted(twice)} stand twice.")
    return tuple(out)


@dataclass(frozen=True)
class Lost:
    """A rule of normalise that empties a cell; the gate counts wells that lost a value so.

    Attributes
    ----------
    allowed : float
        Share of the wells of a source that may lose a value. [1]
    """

    code: str
    title: str
    why: str
    allowed: float


@cache
def losses() -> tuple[Lost, ...]:
    """Rules of normalise that declare a share."""
    return tuple(
        Lost(row["code"], row["title"], row["why"], float(row["limit"]))
        for row in schema.rows("rules") if row["stage"] == "normalise" and row["limit"] and row["unit"] == "1"
    )  # fmt: skip


def allowed_shares(settings: Settings) -> dict[str, float]:
    """Allowed share of each rule, the settings' own figures applied.

    Raises
    ------
    UsageError
        When the settings name a rule that does not exist, or a share outside 0 to 1.
    """
    judged: list[Rule | Lost] = [*declared(), *losses()]
    shares = {rule.code: rule.allowed for rule in judged}
    strange = set(settings.gate_overlay) - set(shares)
    if strange:
        raise UsageError(f"Settings: [gate] names unknown rules {sorted(strange)}; see 'wellstring rules'.")
    for code, share in settings.gate_overlay.items():
        if not 0.0 <= share <= 1.0:
            raise UsageError(f"Settings: [gate] {code} = {share}; a share lies between 0 and 1.")
        shares[code] = float(share)
    return shares
