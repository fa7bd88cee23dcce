"""Rules of places: the declared ones and the user's, read once and refused in words where they are not usable."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import lru_cache
from pathlib import Path

from pipeline import schema
from pipeline.errors import PipelineError, UsageError
from pipeline.jurisdiction.quantities import QUANTITIES, Quantity
from pipeline.settings import Settings
from pipeline.units import convert

APPLIES_TO = ("option", "selection", "well", "bill", "duty")
TESTS = ("at least", "at most", "one of")
_ASKED = ("rule_id", "area_code", "applies_to", "severity", "sentence", "citation")
Wrong = Callable[[str, str], UsageError]
_NUMBERS = ("value", "when_from", "when_to", "hours")


@dataclass(frozen=True)
class Rule:
    """One rule of a place.

    Attributes
    ----------
    area_code : str
        Where it holds: ISO 3166-2 code, or the name by which records call a place that has none.
    region_words : tuple of str
        Town or county within the area, as records write it; empty: the whole area.
    applies_to : str
        ``option`` bars a pipe from the choice where the severity is stop; ``selection``, ``well`` and ``bill``
        are judged of what was chosen, recorded and billed; a ``duty`` is told and judged of no well.
    value : float
        Limit in the SI unit of the quantity, NaN where ``words`` holds allowed codes.
    when, when_from, when_to
        Quantity and range (from above, to and with) in which the rule speaks; "" always.
    exempt : str
        Column of the wells whose yes frees a well of the rule.
    hours : float
        Hours that a yield is to be held, NaN for none.
    """

    rule_id: str
    area_code: str
    region_words: tuple[str, ...]
    applies_to: str
    family_code: tuple[str, ...]
    joint_code: tuple[str, ...]
    class_words: str
    material_id: tuple[str, ...]
    uses: tuple[str, ...]
    when: str
    when_from: float
    when_to: float
    exempt: str
    quantity: str
    test: str
    value: float
    words: tuple[str, ...]
    hours: float
    severity: str
    sentence: str
    citation: str
    dated: str
    read_on: str
    source: str

    @property
    def place(self) -> str:
        """Pack to which the rule belongs: the area, and the town where it has one."""
        return f"{self.area_code}/{self.region_words[0]}" if self.region_words else self.area_code


COLUMNS = (*(f.name for f in fields(Rule) if f.name not in ("words", "source")), "unit", "when_unit")


def rules(settings: Settings) -> tuple[Rule, ...]:
    """Every rule of the run: those declared, and those of the user's file (settings key ``local_rules``).

    Raises
    ------
    UsageError
        With file, line, column and remedy where a rule of the user's file cannot be used.
    """
    return _rules(settings.local_rules)


@lru_cache(maxsize=8)
def _rules(own: Path | None) -> tuple[Rule, ...]:
    declared = [_rule(row, n, "jurisdiction.csv") for n, row in enumerate(schema.rows("jurisdiction"), 2)]
    taken = {rule.rule_id for rule in declared}
    mine = []
    for number, row in _own_rows(own) if own else ():
        rule = _rule(row, number, own.name if own else "")
        if rule.rule_id in taken:
            raise UsageError(f"{rule.source}, line {number}, column rule_id: '{rule.rule_id}' is taken; "
                             "write another name.")  # fmt: skip
        taken.add(rule.rule_id)
        mine.append(rule)
    return (*declared, *mine)


def _own_rows(path: Path) -> list[tuple[int, dict[str, str]]]:
    try:
        with path.open(newline="", encoding="utf-8-sig") as handle:
            reader = csv.DictReader(handle)
            found = [(reader.line_num, row) for row in reader]
            heads = [head.strip() for head in reader.fieldnames or ()]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise UsageError(f"Local rules {path}: {error}. Give a CSV file in UTF-8.") from None
    lacking = [c for c in _ASKED if c not in heads]
    if lacking:
        raise UsageError(f"Local rules {path.name}: column {lacking} is missing; "
                         f"the first line names the columns: {', '.join(COLUMNS)}.")  # fmt: skip
    strange = [c for c in heads if c not in (*COLUMNS, "reference_id", "how")]
    if strange:
        raise UsageError(f"Local rules {path.name}: column {strange} is not known; known are {', '.join(COLUMNS)}.")
    for number, row in found:
        if None in row or None in row.values():
            raise UsageError(f"Local rules {path.name}, line {number}: it has not as many cells as the first line; "
                             "put a cell that holds a comma between quotation marks.")  # fmt: skip
    return [(n, {key.strip(): text.strip() for key, text in row.items()}) for n, row in found
            if any(text.strip() for text in row.values())]  # fmt: skip


def _rule(row: dict[str, str], line: int, file: str) -> Rule:
    """One row as a rule; what cannot be used is named by file, line and column."""
    got = {name: row.get(name, "") for name in COLUMNS}

    def wrong(column: str, why: str) -> UsageError:
        return UsageError(f"{file}, line {line}, column {column}: {why}")

    for name in _ASKED:
        if not got[name]:
            raise wrong(name, "it is empty; every rule has one.")
    for name, known in (("applies_to", APPLIES_TO), ("severity", tuple(schema.codes("severity")))):
        if got[name] not in known:
            raise wrong(name, f"'{got[name]}' is not known; write one of {', '.join(known)}.")
    numbers = {}
    for name in _NUMBERS:
        try:
            is_number = bool(got[name]) and not (name == "value" and got["test"] == "one of")
            numbers[name] = float(got[name]) if is_number else float("nan")
        except ValueError:
            raise wrong(name, f"'{got[name]}' is no number; the unit goes into its own column.") from None
    if got["applies_to"] != "duty":
        quantity = _quantity(got["quantity"], "quantity", wrong)
        if got["applies_to"] not in quantity.applies_to:
            raise wrong("applies_to", f"'{got['quantity']}' speaks of {' or '.join(quantity.applies_to)}.")
        if got["test"] not in TESTS:
            raise wrong("test", f"'{got['test']}' is not known; write one of {', '.join(TESTS)}.")
        if (got["test"] == "one of") != quantity.is_code:
            raise wrong("test", f"'{got['quantity']}' is a {'code' if quantity.is_code else 'number'}; "
                                f"write {'one of' if quantity.is_code else 'at least or at most'}.")  # fmt: skip
        if not got["value"]:
            raise wrong("value", "it is empty; the rule needs a limit.")
        if not quantity.is_code:
            numbers["value"] = _si(numbers["value"], got["unit"], quantity.unit, wrong, "unit")
    if got["when"]:
        when = _quantity(got["when"], "when", wrong)
        for name in ("when_from", "when_to"):
            numbers[name] = _si(numbers[name], got["when_unit"], when.unit, wrong, "when_unit")
    if got["exempt"] and schema.fields().get(got["exempt"]) is None:
        raise wrong("exempt", f"'{got['exempt']}' is no column of a well; 'is_replacement' is one.")
    for name, allowed in (("family_code", set(schema.codes("family"))), ("joint_code", set(schema.codes("joint"))),
                        ("uses", set(schema.codes("use")))):  # fmt: skip
        strange = sorted(set(_words(got[name])) - allowed)
        if strange:
            raise wrong(name, f"{', '.join(strange)} is not known; write one of {', '.join(sorted(allowed))}.")
    lists = {n: _words(got[n]) for n in ("region_words", "family_code", "joint_code", "material_id", "uses")}
    texts = {n: got[n] for n in ("rule_id", "area_code", "applies_to", "class_words", "when", "exempt", "quantity",
                                 "test", "severity", "sentence", "citation", "dated", "read_on")}  # fmt: skip
    words = _words(got["value"]) if got["test"] == "one of" else ()
    return Rule(**texts, **lists, **numbers, words=words, source=file)  # type: ignore[arg-type]


def _quantity(name: str, column: str, wrong: Wrong) -> Quantity:
    if name not in QUANTITIES:
        raise wrong(column, f"'{name}' cannot be judged; write one of {', '.join(sorted(QUANTITIES))}.")
    return QUANTITIES[name]


def _si(value: float, unit: str, to: str, wrong: Wrong, column: str) -> float:
    if unit in ("", "1") and to == "":
        return value
    try:
        return float(convert([value], "" if unit == "1" else unit, to)[0])
    except (PipelineError, ValueError):
        raise wrong(column, f"'{unit}' does not measure this; its unit in the tables is {to or '1'}.") from None


def _words(text: str) -> tuple[str, ...]:
    return tuple(word.strip() for word in text.split("|") if word.strip() and word.strip() != "*")
