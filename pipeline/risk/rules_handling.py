"""Rules on pump, hole and lifting."""

from __future__ import annotations

import numpy as np

from pipeline.risk.rule import Finding, test
from pipeline.risk.view import View

_GRAVITY = 9.80665
# widest pump of the 4 in class and widest bore taken as 4 in casing, from practice.csv
_CLASS_4IN = "diameter_pump_4in"


@test("R08")
def sand(view: View, limit: float) -> Finding:
    """Sand noted."""
    return Finding(view.truth("wells.has_sand"), np.full(len(view), np.nan))


@test("R09")
def crooked(view: View, limit: float) -> Finding:
    """Crooked, tight or lined hole noted."""
    return Finding(view.truth("wells.is_crooked"), np.full(len(view), np.nan))


@test("R10")
def fit(view: View, limit: float) -> Finding:
    """Room between pump and smallest bore."""
    pump = view.number("design.diameter_pump_m")
    room = view.number("design.diameter_casing_inside_m") - pump
    is_4in = pump <= view.settings.practice[_CLASS_4IN].high
    wanted = np.where(is_4in, view.base("clearance_fit_4in"), limit)
    is_recorded = view.is_in("design.diameter_casing_inside_basis_code", ("recorded",))
    return Finding(room < wanted - 1e-9, room, limit=wanted, raised=(room <= 0) & is_recorded)


@test("R11")
def cooling(view: View, limit: float) -> Finding:
    """Velocity in the ring between motor and bore; small motors are judged in a known bore only."""
    bore, pump = view.number("design.diameter_casing_inside_m"), view.number("design.diameter_pump_m")
    power, warm = view.number("design.power_motor_w"), view.number("design.temperature_water_degc")
    ring = np.pi / 4 * (np.square(bore) - np.square(pump))
    with np.errstate(divide="ignore", invalid="ignore"):
        velocity = np.where(ring > 0, view.number("design.flow_duty_m3_per_s") / ring, np.nan)
    is_large = pump > view.settings.practice[_CLASS_4IN].high
    asked = is_large | (power >= view.base("power_cooling") * (1 - 1e-6))
    least = np.where(is_large, view.base("velocity_cooling_6in"), limit)
    least = np.where(asked, least, view.base("velocity_cooling_small"))
    is_warm = warm > view.base("temperature_motor") + 1e-9
    has_motor = view.is_in("design.pump_kind_code", ("submersible", "solar", "unknown"))
    is_assumed = view.is_in("design.diameter_casing_inside_basis_code", ("assumed",))
    tripped = has_motor & (((velocity < least) & (asked | ~is_assumed)) | (is_warm & ~np.isnan(velocity)))
    return Finding(tripped, velocity, limit=least, raised=asked | is_warm)


@test("R33")
def lift(view: View, limit: float) -> Finding:
    """Heaviest piece against one person, full string against two."""
    piece = view.number("selection.mass_piece_kg")
    string = view.number("selection.load_pulling_n") / _GRAVITY
    too_heavy = string > limit
    held = np.where(too_heavy, limit, view.base("lift_person"))
    tripped = too_heavy | (piece > view.base("lift_person"))
    return Finding(tripped, np.where(too_heavy, string, piece), limit=held)


@test("R34")
def power_line(view: View, limit: float) -> Finding:
    """Power line within reach of mast and string."""
    distance = view.number("not_recorded.distance_power_line_m")
    return Finding(distance <= limit, distance)


@test("R35")
def old_steel(view: View, limit: float) -> Finding:
    """Galvanised string past its age; the age of the well, as no pipe date is carried."""
    age = view.age_years("wells.completed_date")
    galvanised = view.is_in("wells.material_drop_pipe_code", ("galvanised",))
    return Finding(galvanised & (age > limit), age)
