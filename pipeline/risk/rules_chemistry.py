"""Rules on what the water does to pipe and people."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pipeline.risk.rule import Finding, test
from pipeline.risk.view import Floats, View

# dissolved solids in mg/L a microsiemens per centimetre; common practice, from memory
_SOLIDS_PER_CONDUCTIVITY = 0.65
PLASTIC = ("pe", "pvc", "pex")


def saturation_index(
    acidity_ph: ArrayLike,
    temperature_degc: ArrayLike,
    solids_mg_per_l: ArrayLike,
    hardness_calcium_mg_per_l: ArrayLike,
    alkalinity_mg_per_l: ArrayLike,
) -> Floats:
    """Saturation index of calcium carbonate, long form. [1]

    Parameters
    ----------
    acidity_ph, temperature_degc : array_like [pH], [degC]
    solids_mg_per_l : array_like
        Dissolved solids. [mg/L]
    hardness_calcium_mg_per_l, alkalinity_mg_per_l : array_like
        As calcium carbonate. [mg/L]

    Notes
    -----
    pHs = (9.3 + A + B) - (C + D); source ``langelier`` in references.csv. NaN where an input is missing
    or not above zero.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        a = (np.log10(solids_mg_per_l) - 1.0) / 10.0
        b = -13.12 * np.log10(np.asarray(temperature_degc, float) + 273.0) + 34.55
        c = np.log10(hardness_calcium_mg_per_l) - 0.4
        d = np.log10(alkalinity_mg_per_l)
        index = np.asarray(acidity_ph, float) - ((9.3 + a + b) - (c + d))
    return np.where(np.isfinite(index), index, np.nan)


def _index(view: View) -> Floats:
    return saturation_index(
        view.number("wells.acidity_ph"), view.number("design.temperature_water_degc"),
        _SOLIDS_PER_CONDUCTIVITY * view.number("wells.conductivity_us_per_cm"),
        view.number("not_recorded.hardness_calcium_mg_per_l"), view.number("not_recorded.alkalinity_mg_per_l"),
    )  # fmt: skip


def _blank(view: View) -> Floats:
    return np.full(len(view), np.nan)


@test("R14")
def methane(view: View, limit: float) -> Finding:
    """Dissolved methane at or above the action level."""
    value = view.number("wells.methane_mg_per_l")
    return Finding(value >= limit, value)


@test("R15")
def hydrogen_sulfide(view: View, limit: float) -> Finding:
    """Hydrogen sulfide noted."""
    return Finding(view.truth("wells.has_hydrogen_sulfide"), _blank(view))


@test("R16")
def acid(view: View, limit: float) -> Finding:
    """pH below the limit of galvanised steel."""
    value = view.number("wells.acidity_ph")
    return Finding(value < limit, value)


@test("R17")
def dissolving(view: View, limit: float) -> Finding:
    """Water that takes up metals."""
    value = _index(view)
    return Finding(value < limit, value)


@test("R18")
def mixed_metals(view: View, limit: float) -> Finding:
    """Chloride high against sulfate."""
    value = view.number("wells.chloride_mg_per_l") / view.number("not_recorded.sulfate_mg_per_l")
    return Finding(value > limit, value)


@test("R19")
def salty(view: View, limit: float) -> Finding:
    """Chloride, or where it is not known conductivity, above its limit."""
    chloride, conductivity = view.number("wells.chloride_mg_per_l"), view.number("wells.conductivity_us_per_cm")
    by_chloride = chloride > limit
    tripped = by_chloride | (conductivity > view.base("limit_conductivity_us_per_cm"))
    # the limit has the unit of the rule; a flag on conductivity alone shows no number
    return Finding(tripped, chloride, limit=np.where(by_chloride, limit, np.nan))


@test("R20")
def stainless_grade(view: View, limit: float) -> Finding:
    """Stainless steel recommended: the grade is to be shown."""
    return Finding(view.is_in("selection.family_code", ("stainless",)), _blank(view))


@test("R21")
def scaling(view: View, limit: float) -> Finding:
    """Water that lays down scale."""
    value = _index(view)
    return Finding(value > limit, value)


@test("R22")
def warm(view: View, limit: float) -> Finding:
    """Plastic recommended in water warmer than its rating."""
    value = view.number("design.temperature_water_degc")
    plastic = view.is_in("selection.family_code", PLASTIC)
    return Finding(plastic & (value > limit + 1e-9), value)


@test("R36")
def stray_current(view: View, limit: float) -> Finding:
    """Poor earth or cathodic protection near."""
    return Finding(view.truth("not_recorded.has_poor_earth"), _blank(view))


@test("R37")
def certificate(view: View, limit: float) -> Finding:
    """Chosen goods without certificate."""
    return Finding(view.denied("not_recorded.has_certificate"), _blank(view))


@test("R38")
def fluoropolymer(view: View, limit: float) -> Finding:
    """Fluoropolymer tape or paste."""
    return Finding(view.truth("not_recorded.has_fluoropolymer"), _blank(view))


@test("R39")
def shared_trench(view: View, limit: float) -> Finding:
    """Water line in one trench with a drain."""
    return Finding(view.truth("not_recorded.has_shared_trench"), _blank(view))
