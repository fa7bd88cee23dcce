"""Check values: printed or hand-worked numbers with their source, held against the real formulas.

The numbers are data (schemas/reference/check_values.csv); a row names a formula of this file, which only calls
the functions that a run uses. The command ``checks`` prints what was expected, found and by how much it deviates.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np

from pipeline import schema
from pipeline.errors import SchemaError
from pipeline.physics import (
    chemistry,
    friction,
    handling,
    pressure,
    pump,
    strength,
    stretch,
    surge,
    tension,
    water,
    well,
)
from pipeline.sizing.constants import temperature_factors
from pipeline.units import convert, line

# unit in which each input of a formula is taken; None for a word
SI: dict[str, str | None] = {
    "alkalinity": "mg/L", "angle": "degree", "bore": "m", "c": "", "cable": "N/m", "calcium": "mg/L",
    "capacity": "m**2/s", "capacity_share": "", "change": "delta_degC", "clearance": "m", "coefficient": "",
    "count": "", "cut": "m", "density": "kg/m**3", "depth": "m", "diameter": "m", "dose": "mg/L",
    "each": "m**3", "efficiency": "", "expansion": "1/delta_degC", "exponent": "", "factor": "",
    "flow": "m**3/s", "frequency": "", "friction": "m", "friction_factor": "", "gamma": "Pa/m", "grip": "",
    "head": "m", "height": "m", "inflow": "m**3/s", "length": "m", "limit": "kg", "load": "N", "mass": "kg",
    "material": None, "modulus": "Pa", "motor": "m", "need": "m**3", "outside": "m", "ph": "", "piece": "m",
    "pipe": "N/m", "pitch": "m", "poisson": "", "power": "W", "pressure": "Pa", "pressure_head": "Pa",
    "pump": "N", "pump_volume": "m**3", "radius": "m", "rating": "Pa", "ratio": "", "reach": "m", "root": "m",
    "roughness": "m", "saturation": "", "seconds": "s", "seconds_to": "s", "share": "", "solids": "mg/L",
    "speed": "1/minute", "speed_ratio": "", "static": "m", "storativity": "", "strength": "", "stress": "Pa",
    "temperature": "degC", "transmissivity": "m**2/s", "travel": "m", "velocity": "m/s", "volume": "m**3",
    "wall": "m", "water": "m", "wave": "m/s",
}  # fmt: skip
BULK, COLD = water.BULK_MODULUS_PA, 1000.0  # water of the handbooks' surge examples


def _string(*given: float) -> tuple[Any, ...]:
    """Arguments that the formulas of a hanging string share, from the inputs named in STRING."""
    *most, bore, outside = given
    return (*most, 0.0, tension.area_bore_m2(bore), tension.area_bore_m2(outside))


def _head_friction(flow: float, length: float, bore: float, roughness: float, temperature: float) -> Any:
    viscosity = water.viscosity_kinematic_m2_per_s(temperature)
    return friction.head_friction_m(flow, length, bore, roughness, viscosity)


def _head_field(
    pressure: float, temperature: float, static: float, flow: float, length: float, bore: float, c: float,
) -> Any:  # fmt: skip
    """Head of a pump from a gauge, the level below the gauge and the friction of the column between."""
    lost = friction.head_hazen_williams_m(flow, length, bore, c)
    return pressure / water.weight_specific_n_per_m3(temperature) + static + lost


def _head_system(
    static: float, friction_factor: float, length: float, diameter: float, coefficient: float, flow: float, bore: float,
) -> Any:  # fmt: skip
    whole = friction_factor * length / diameter + coefficient
    return static + friction.head_minor_m(whole, friction.velocity_m_per_s(flow, bore))


def _factor(material: str, temperature: float) -> Any:
    group: Any = SimpleNamespace(material_ids=(material,))
    return temperature_factors(group, np.array([temperature]))[0, 0]


def _load(cut: float, pressure: float, gamma: float, *string: float) -> Any:
    """Tension at a cut, the pressure being that in the bore at the hanger."""
    return tension.load_axial_n(cut, *_string(*string), pressure + gamma * cut, gamma)


def _stretch_share(pressure: float, gamma: float, modulus: float, poisson: float, *string: float) -> Any:
    return stretch.stretch_m(*_string(*string), pressure, gamma, modulus, poisson) / string[0]


def _wave(modulus: float, bore: float, wall: float, poisson: float) -> Any:
    return surge.wave_speed_m_per_s(COLD, BULK, modulus, bore, wall, poisson, surge.ANCHOR_TOP)


def _pressure_with_surge(pressure: float, modulus: float, bore: float, wall: float, poisson: float, flow: float) -> Any:
    speed = _wave(modulus, bore, wall, poisson)
    return pressure + surge.pressure_surge_pa(COLD, speed, friction.velocity_m_per_s(flow, bore))


def _area_root_share(outside: float, pitch: float, length: float, bore: float) -> Any:
    root = tension.diameter_root_npt_m(outside, pitch, length)
    return tension.area_wall_m2(root, bore) / tension.area_wall_m2(outside, bore)


def _capacity_fall(transmissivity: float, storativity: float, radius: float, seconds: float, seconds_to: float) -> Any:
    return 1.0 - well.ratio_capacity_time(transmissivity, storativity, radius, seconds, seconds_to)


def _use_of_rating(head: float, temperature: float, rating: float) -> Any:
    return head * water.weight_specific_n_per_m3(temperature) / rating


def _head_rated(share: float, stress: float, bore: float, wall: float, ratio: float, temperature: float) -> Any:
    """Rated head of a pump whose shutoff head just meets the limit for hours."""
    limit = pressure.limit_hours_inside_pa(share, stress, 1.0, bore, wall)
    return limit / water.weight_specific_n_per_m3(temperature) / ratio


def _rating_warm(material: str, temperature: float, rating: float, factor: float) -> Any:
    return rating * _factor(material, temperature) * factor


def _volume_spare(need: float, *given: float) -> Any:
    return well.volume_available_m3(*given) - need


def _index(ph: float, *analysis: float) -> Any:
    return chemistry.index_langelier(ph, chemistry.acidity_saturation_ph(*analysis))


def _bleach_bore(bore: float, length: float, dose: float, strength: float) -> Any:
    return chemistry.volume_bleach_m3(well.volume_bore_m3(bore, length), dose, strength)


def _load_clear(length: float, level: float, pipe: float, cable: float, pump: float, bore: float, gamma: float) -> Any:
    return tension.load_clear_of_water_n(length, level, pipe, cable, pump, tension.area_bore_m2(bore), gamma)


def _ratio_hazen_williams(flow: float, bore: float, diameter: float, c: float) -> Any:
    lost = friction.head_hazen_williams_m(flow, 1.0, np.array([bore, diameter]), c)
    return lost[0] / lost[1]


def _creep(load: float, length: float, outside: float, bore: float, modulus: float) -> Any:
    return stretch.stretch_creep_m(load, 0.0, length, tension.area_wall_m2(outside, bore), modulus)


STRING = "length water pipe cable pump pump_volume bore outside"
WELL_IN_TIME = "depth static clearance bore inflow seconds"
ANALYSIS = "solids temperature calcium alkalinity"
# formula of a row: the function, its inputs in order, the unit of its result
FORMULAS: dict[str, tuple[Callable[..., Any], str, str]] = {
    "head_friction": (_head_friction, "flow length bore roughness temperature", "m"),
    "head_hazen_williams": (friction.head_hazen_williams_m, "flow length bore c", "m"),
    "ratio_hazen_williams": (_ratio_hazen_williams, "flow bore diameter c", ""),
    "head_minor": (friction.head_minor_m, "coefficient velocity", "m"),
    "head_system": (_head_system, "static friction_factor length diameter coefficient flow bore", "m"),
    "head_field": (_head_field, "pressure temperature static flow length bore c", "m"),
    "velocity": (friction.velocity_m_per_s, "flow bore", "m/s"),
    "weight_specific": (water.weight_specific_n_per_m3, "temperature", "N/m**3"),
    "pressure_of_head": (lambda h, t: h * water.weight_specific_n_per_m3(t), "head temperature", "Pa"),
    "head_of_pressure": (lambda p, t: p / water.weight_specific_n_per_m3(t), "pressure temperature", "m"),
    "use_of_rating": (_use_of_rating, "head temperature rating", ""),
    "pressure_wall": (pressure.pressure_wall_pa, "cut length water pressure_head friction gamma", "Pa"),
    "rating_outside": (pressure.rating_outside_pa, "stress outside wall", "Pa"),
    "rating_inside": (pressure.rating_inside_pa, "stress bore wall", "Pa"),
    "rating_share": (lambda rating, factor: rating * factor, "rating factor", "Pa"),
    "rating_warm": (_rating_warm, "material temperature rating factor", "Pa"),
    "factor_temperature": (_factor, "material temperature", ""),
    "rating_threaded_steel": (pressure.rating_threaded_steel_pa, "stress outside wall height", "Pa"),
    "limit_hours_inside": (pressure.limit_hours_inside_pa, "share stress factor bore wall", "Pa"),
    "head_rated_dead_head": (_head_rated, "share stress bore wall ratio temperature", "m"),
    "pressure_collapse": (pressure.pressure_collapse_pa, "modulus poisson outside wall", "Pa"),
    "head_surge": (lambda a, v: surge.pressure_surge_pa(COLD, a, v) / (COLD * water.GRAVITY), "wave velocity", "m"),
    "pressure_surge": (lambda a, v: surge.pressure_surge_pa(COLD, a, v), "wave velocity", "Pa"),
    "wave_speed": (_wave, "modulus bore wall poisson", "m/s"),
    "pressure_with_surge": (_pressure_with_surge, "pressure modulus bore wall poisson flow", "Pa"),
    "duration_critical": (surge.duration_critical_s, "length wave", "s"),
    "head_shutoff": (pump.head_shutoff_m, "head ratio speed_ratio exponent", "m"),
    "load_axial": (_load, f"cut pressure gamma {STRING}", "N"),
    "load_clear": (_load_clear, "length water pipe cable pump bore gamma", "N"),
    "load_drained": (tension.load_drained_n, "length pipe cable pump", "N"),
    "stress_axial": (strength.stress_axial_pa, "load outside bore", "Pa"),
    "use_axial": (strength.use_axial_plastic, "load root bore efficiency stress", ""),
    "mass_pipe": (
        lambda n, d, t, rho: n * rho * tension.area_wall_m2(d, d - 2.0 * t), "length outside wall density", "kg"),
    "mass_water": (lambda d, n, rho: rho * well.volume_bore_m3(d, n), "bore length density", "kg"),
    "diameter_pitch_npt": (tension.diameter_pitch_npt_m, "outside pitch", "m"),
    "area_root_share": (_area_root_share, "outside pitch length bore", ""),
    "stretch_share": (_stretch_share, f"pressure gamma modulus poisson {STRING}", ""),
    "stretch_pressure": (stretch.stretch_pressure_m, "pressure length outside bore modulus poisson", "m"),
    "stretch_creep": (_creep, "load length outside bore modulus", "m"),
    "stretch_thermal": (stretch.stretch_thermal_m, "expansion length change", "m"),
    "velocity_cooling": (well.velocity_cooling_m_per_s, "flow bore motor", "m/s"),
    "flow_cooling": (well.flow_cooling_m3_per_s, "velocity bore motor", "m**3/s"),
    "volume_bore": (well.volume_bore_m3, "bore length", "m**3"),
    "volume_available": (well.volume_available_m3, WELL_IN_TIME, "m**3"),
    "volume_spare": (_volume_spare, f"need {WELL_IN_TIME}", "m**3"),
    "depth_least": (well.depth_least_m, "need static clearance bore inflow seconds", "m"),
    "volume_need": (well.volume_need_m3, "count each", "m**3"),
    "volume_each": (lambda volume, count: volume / count, "volume count", "m**3"),
    "volume_pumped": (well.volume_pumped_m3, "flow seconds", "m**3"),
    "flow_mean": (well.flow_mean_m3_per_s, "volume seconds", "m**3/s"),
    "drawdown": (lambda q, sc, share: well.drawdown_m(q, sc * share), "flow capacity capacity_share", "m"),
    "capacity_fall": (_capacity_fall, "transmissivity storativity radius seconds seconds_to", ""),
    "power_water": (
        lambda q, h, t: well.power_water_w(q, h, water.weight_specific_n_per_m3(t)), "flow head temperature", "W"),
    "torque_motor": (well.torque_motor_n_m, "power speed", "N*m"),
    "load_stroke": (well.load_stroke_n, "bore head gamma", "N"),
    "flow": (lambda flow: flow, "flow", "m**3/s"),
    "term_solids": (chemistry.term_solids, "solids", ""),
    "term_temperature": (chemistry.term_temperature, "temperature", ""),
    "term_calcium": (chemistry.term_calcium, "calcium", ""),
    "term_alkalinity": (chemistry.term_alkalinity, "alkalinity", ""),
    "acidity_saturation": (chemistry.acidity_saturation_ph, ANALYSIS, ""),
    "index_langelier": (_index, f"ph {ANALYSIS}", ""),
    "index_ryznar": (chemistry.index_ryznar, "ph saturation", ""),
    "mass_lift": (handling.mass_lift_kg, "reach height travel angle frequency grip", "kg"),
    "lift_ratio": (lambda mass, limit: mass / limit, "mass limit", ""),
    "piece_count": (handling.piece_count, "length piece", ""),
    "joint_count": (lambda length, piece: handling.piece_count(length, piece) - 1.0, "length piece", ""),
    "volume_bleach": (chemistry.volume_bleach_m3, "volume dose strength", "m**3"),
    "volume_bleach_bore": (_bleach_bore, "bore length dose strength", "m**3"),
}  # fmt: skip


@dataclass(frozen=True)
class Check:
    """One check value and what was found; ``expected`` and ``found`` in ``unit``, deviations of found from expected."""

    check: str
    what: str
    inputs: str
    expected: float
    found: float
    unit: str
    deviation: float
    allowed: float
    passes: bool
    source: str
    how: str
    note: str

    def row(self) -> dict[str, Any]:
        """As a row for people and machines."""
        return asdict(self)

    def line(self) -> dict[str, str]:
        """As a row of text: the deviation as a share of the expected value."""
        share = self.deviation / abs(self.expected) if self.expected else float("nan")
        return {
            "check": self.check, "what": self.what, "expected": f"{self.expected:.6g} {self.unit}".strip(),
            "found": f"{self.found:.6g}", "deviation": f"{share:+.3%}",
            "allowed": f"{self.allowed / abs(self.expected):.3%}", "holds": "yes" if self.passes else "NO",
            "how": self.how, "source": self.source,
        }  # fmt: skip


def inputs(text: str) -> dict[str, Any]:
    """Inputs of a row, ``name=quantity; ...``, in SI by name.

    Raises
    ------
    SchemaError
        When an input is not one that a formula takes.
    """
    values: dict[str, Any] = {}
    for part in text.split(";"):
        name, _, quantity = part.strip().partition("=")
        if name not in SI:
            raise SchemaError(f"check_values.csv: '{name}' is not an input; known: {', '.join(sorted(SI))}.")
        to = SI[name]
        number, _, unit = quantity.partition(" ")
        values[name] = quantity if to is None else float(convert(float(number), unit, to) if to else float(number))
    return values


def judge(row: dict[str, str]) -> Check:
    """Run the formula of one row of check_values.csv and hold it against the expected number.

    Raises
    ------
    SchemaError
        When the formula is not known.
    """
    if row["formula"] not in FORMULAS:
        raise SchemaError(f"check_values.csv, {row['check_id']}: formula '{row['formula']}' is not known.")
    formula, names, unit = FORMULAS[row["formula"]]
    given = inputs(row["inputs"])
    if set(given) != set(names.split()):
        raise SchemaError(f"check_values.csv, {row['check_id']}: '{row['formula']}' takes {names}.")
    found, expected = float(formula(*(given[name] for name in names.split()))), float(row["expected"])
    if unit:
        slope, offset = line(unit, row["unit"])
        found = found * slope + offset
    relative = float(row["tolerance_fraction"] or 0.0) * abs(expected)
    allowed = max(relative, float(row["tolerance_absolute"] or 0.0))
    deviation = found - expected
    titles = {r["reference_id"]: r["title"] for r in schema.rows("references")}
    return Check(
        row["check_id"], row["what"], row["inputs"], expected, found, row["unit"], deviation, allowed,
        abs(deviation) <= allowed, titles.get(row["reference_id"], row["reference_id"]), row["how"], row["note"],
    )  # fmt: skip


def results() -> list[Check]:
    """Every check value, in the order of check_values.csv."""
    return [judge(row) for row in schema.rows("reference/check_values")]
