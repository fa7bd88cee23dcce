"""A rule: its facts from rules.csv and risk_raised.csv, its test from code, met under one code."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib import import_module

import numpy as np
from numpy.typing import NDArray

from pipeline import schema
from pipeline.errors import SchemaError
from pipeline.risk.view import Flags, Floats, View

FAMILIES = ("rules_level", "rules_chemistry", "rules_pipe", "rules_handling", "rules_record")


@dataclass(frozen=True)
class Finding:
    """What a test says of every well.

    Attributes
    ----------
    tripped : ndarray of bool
    value : ndarray of float
        Value judged, in the unit of the rule; NaN where the rule has none.
    limit : ndarray or float, optional
        Limit of each well where it is not the rule's own.
    raised : ndarray of bool, optional
        Where the severity of risk_raised.csv holds in place of the rule's.
    """

    tripped: Flags
    value: Floats
    limit: NDArray[np.float64] | float | None = None
    raised: Flags | None = None


# a test sees the wells and the rule's own limit
Test = Callable[[View, float], Finding]
TESTS: dict[str, Test] = {}


def test(code: str) -> Callable[[Test], Test]:
    """Register the test of one code; a code is given once and never used again."""

    def keep(function: Test) -> Test:
        if code in TESTS:
            raise SchemaError(f"Two tests are registered for {code}.")
        TESTS[code] = function
        return function

    return keep


@dataclass(frozen=True)
class Rule:
    """One flag: facts as declared, and the test."""

    code: str
    title: str
    why: str
    severity: str
    severity_raised: str
    applies_to: str
    needs: str
    limit: str
    unit: str
    action: str
    reference_id: str
    test: Test

    def limit_of(self, view: View) -> float:
        """The declared limit: a number, or the base of a practice value; NaN where there is none."""
        if not self.limit:
            return float("nan")
        try:
            return float(self.limit)
        except ValueError:
            return view.base(self.limit)

    @property
    def deciding(self) -> str:
        """Column whose basis stands for the confidence of the flag: the first that is needed."""
        return self.needs.split("|")[0].split("/")[0]


@cache
def rules() -> tuple[Rule, ...]:
    """All risk rules in the order of their codes.

    Raises
    ------
    SchemaError
        When a declared rule has no test, or a test no declaration.
    """
    for family in FAMILIES:
        import_module(f"pipeline.risk.{family}")
    declared = {row["code"]: row for row in schema.rows("rules") if row["stage"] == "risk"}
    odd = sorted(set(declared) ^ set(TESTS))
    if odd:
        raise SchemaError(f"rules.csv and the tests of pipeline/risk differ in {odd}.")
    raised = {row["code"]: row["severity"] for row in schema.rows("risk_raised")}
    facts = ("title", "why", "severity", "applies_to", "needs", "limit", "unit", "action", "reference_id")
    return tuple(
        Rule(code=code, severity_raised=raised.get(code, row["severity"]), test=TESTS[code],
             **{name: row[name] for name in facts})
        for code, row in sorted(declared.items())
    )  # fmt: skip
