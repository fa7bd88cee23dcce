"""Rules on the record itself: age, place, contradictions, scope."""

from __future__ import annotations

import numpy as np

from pipeline.risk.rule import Finding, test
from pipeline.risk.view import View

NOT_SUPPLY = ("monitoring", "test", "geothermal", "injection", "oil_gas", "unused")


@test("R40")
def flood(view: View, limit: float) -> Finding:
    """Casing too low above the flood level."""
    value = view.number("wells.length_stick_up_m") - view.number("not_recorded.level_flood_m")
    return Finding(value < limit, value)


@test("R41")
def old_well(view: View, limit: float) -> Finding:
    """Well past its age."""
    age = view.age_years("wells.completed_date")
    return Finding(age > limit, age)


@test("R42")
def place(view: View, limit: float) -> Finding:
    """Location accuracy beyond the limit."""
    value = view.number("wells.location_accuracy_m")
    return Finding(value > limit, value, raised=value > view.base("limit_location_coarse"))


@test("R43")
def contradiction(view: View, limit: float) -> Finding:
    """How many pairs of values contradict each other."""
    static, pump = view.number("wells.depth_static_m"), view.number("wells.depth_pump_m")
    bottom = np.fmax(view.number("wells.depth_completed_m"), view.number("wells.depth_drilled_m"))
    faults = [
        static > bottom, pump > bottom, pump <= static, view.number("wells.flow_tested_m3_per_s") == 0,
        view.age_years("wells.completed_date") < -1e-9,
    ]  # fmt: skip
    count = np.sum(faults, axis=0).astype(float)
    return Finding(count > limit, count)


@test("R44")
def not_supply(view: View, limit: float) -> Finding:
    """Use that takes no drop pipe."""
    return Finding(view.is_in("wells.use_code", NOT_SUPPLY), np.full(len(view), np.nan))


@test("R45")
def closed(view: View, limit: float) -> Finding:
    """Plugged or dry."""
    return Finding(view.is_in("wells.status_code", ("plugged", "dry")), np.full(len(view), np.nan))


@test("R48")
def no_access(view: View, limit: float) -> Finding:
    """No port for a level probe."""
    return Finding(view.denied("not_recorded.has_access_port"), np.full(len(view), np.nan))
