"""A column on the way to its guess: how it may be read, and in which unit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from dataclasses import field as attribute

import numpy as np
from numpy.typing import NDArray

from pipeline.ingest.header_words import unit_of
from pipeline.ingest.proposal.cells import SENTINELS, Cells
from pipeline.ingest.proposal.concepts import Header
from pipeline.ingest.proposal.described import Described
from pipeline.ingest.proposal.meaning import fits, weight
from pipeline.ingest.proposal.model import Evidence
from pipeline.ingest.proposal.unit_evidence import UnitGuess
from pipeline.units import line


@dataclass
class Candidate:
    """One reading of one column."""

    field: str
    odds: float
    reasons: list[Evidence] = attribute(default_factory=list)

    @property
    def chance(self) -> float:
        """Chance of the reading, 0 to 1."""
        return chance(self.odds)


@dataclass
class Column:
    """A column on the way to its guess."""

    place: int
    header: str
    parsed: Header
    profile: Cells
    units_row: str
    described: Described
    candidates: list[Candidate] = attribute(default_factory=list)
    unit: UnitGuess = attribute(default_factory=UnitGuess)
    cell_unit: str = ""
    unit_from: str = ""
    lost_to: str = ""
    why_not: str = ""

    @property
    def best(self) -> Candidate | None:
        """The likeliest reading, None where there is none."""
        return self.candidates[0] if self.candidates else None


def chance(odds: float) -> float:
    """Chance from the sum of the evidence, by the declared logistic."""
    return 1.0 / (1.0 + math.exp(-(weight("slope") * odds + weight("bias"))))


def unit_written(column: Column, name: str) -> str:
    """Unit written for the column that fits a field."""
    for unit in (column.parsed.unit, unit_of(column.units_row) if column.units_row else "", column.cell_unit,
                 column.profile.cell_unit if column.profile.cell_unit_share >= 0.5 else "",
                 column.described.unit_for(name)):  # fmt: skip
        if unit and fits(unit, name):
            return unit
    return ""


def claims(columns: list[Column]) -> dict[str, list[Column]]:
    """Columns by the field each is likeliest, the best column first."""
    out: dict[str, list[Column]] = {}
    for column in columns:
        if column.best:
            out.setdefault(column.best.field, []).append(column)
    return {name: sorted(rivals, key=lambda c: (-c.best.odds, c.header)) for name, rivals in out.items()}  # type: ignore[union-attr]


def metres(column: Column, unit: str) -> NDArray[np.float64]:
    """Values of a column in metres, numbers that stand for missing left out."""
    slope, offset = line(unit, "m")
    values = np.where(np.isin(column.profile.numbers, SENTINELS), np.nan,
                      column.profile.numbers)  # fmt: skip
    return values * slope + offset


def in_unit(column: Column, unit: str) -> NDArray[np.float64]:
    """Values of a column whose unit is known, in another unit."""
    slope, offset = line(column.unit.unit, unit)
    return column.profile.numbers * slope + offset
