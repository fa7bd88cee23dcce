"""Rules on the chosen pipe: pressure, joints, length, sunlight, frost."""

from __future__ import annotations

import numpy as np

from pipeline.risk.rule import Finding, test
from pipeline.risk.rules_chemistry import PLASTIC
from pipeline.risk.view import View

_COILED = ("pe", "pex")


@test("R23")
def frost(view: View, limit: float) -> Finding:
    """Discharge above the frost depth."""
    value = view.number("design.depth_discharge_m") - view.number("not_recorded.depth_frost_m")
    return Finding(value < limit, value)


@test("R24")
def sunlight(view: View, limit: float) -> Finding:
    """Plastic that ends above ground; the pipe of a hand pump stays inside its stand."""
    depth = view.number("design.depth_discharge_m")
    plastic = view.is_in("selection.family_code", PLASTIC) & ~view.is_in("design.pump_kind_code", ("hand",))
    return Finding(plastic & (depth < limit), depth)


@test("R25")
def joints(view: View, limit: float) -> Finding:
    """Many joints, or any in coiled pipe."""
    count = view.number("selection.joint_count")
    coupled = view.is_in("selection.family_code", _COILED) & (count > 0)
    return Finding(coupled | (count > limit), count, limit=np.where(coupled, 0.0, limit), raised=coupled)


@test("R26")
def glued(view: View, limit: float) -> Finding:
    """Solvent joints past their depth."""
    depth = view.number("design.depth_pump_m")
    return Finding(view.is_in("option.joint_code", ("glued",)) & (depth > limit), depth)


@test("R27")
def thin_thread(view: View, limit: float) -> Finding:
    """Threaded PVC of Schedule 40."""
    threaded = view.is_in("option.joint_code", ("threaded",)) & view.is_in("selection.family_code", ("pvc",))
    return Finding(threaded & view.contains("option.class_label", "Sch 40"), np.full(len(view), np.nan))


@test("R28")
def dead_head(view: View, limit: float) -> Finding:
    """Dead-head pressure above its limit."""
    share = view.number("selection.utilisation_pressure_dead_head_fraction")
    return Finding(share > limit, share, raised=view.truth("design.head_shutoff_is_recorded"))


@test("R29")
def surge(view: View, limit: float) -> Finding:
    """Recurring surge above its limit."""
    share = view.number("selection.utilisation_pressure_surge_fraction")
    return Finding(share > limit, share)


@test("R30")
def stretch(view: View, limit: float) -> Finding:
    """Long PE."""
    length = view.number("selection.length_drop_pipe_m")
    return Finding(view.is_in("selection.family_code", ("pe",)) & (length > limit), length)


@test("R31")
def creep(view: View, limit: float) -> Finding:
    """Sustained pull of PE near or past its limit."""
    share = view.number("selection.utilisation_tension_sustained_fraction")
    pe = view.is_in("selection.family_code", ("pe",))
    return Finding(pe & (share > limit), share, raised=share > 1.0)


@test("R32")
def tube_barb(view: View, limit: float) -> Finding:
    """Barbed joints on plastic controlled by its outside."""
    barbed = view.is_in("option.joint_code", ("barbed",)) & view.is_in("selection.family_code", _COILED)
    return Finding(barbed & view.is_in("option.control", ("outside",)), np.full(len(view), np.nan))
