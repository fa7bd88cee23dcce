"""Every row of schemas/reference/check_values.csv, a printed value with its source, against the formulas."""

from __future__ import annotations

import pytest

from pipeline import schema
from pipeline.physics import chemistry, friction, handling, pressure, surge, water, well
from pipeline.units import convert

SI = {
    "flow": "m**3/s", "length": "m", "diameter_inside": "m", "diameter_outside": "m", "diameter": "m", "wall": "m",
    "roughness": "m", "temperature": "degC", "stress": "Pa", "rating": "Pa", "modulus": "Pa", "factor": "", "c": "",
    "poisson": "", "wave_speed": "m/s", "change_velocity": "m/s", "velocity": "m/s", "diameter_casing_inside": "m",
    "diameter_motor": "m", "solids": "mg/L", "calcium": "mg/L", "alkalinity": "mg/L", "reach": "m", "height": "m",
    "travel": "m", "twist": "degree", "frequency": "", "grip": "", "volume": "m**3", "dose": "mg/L", "strength": "",
}  # fmt: skip


def head_friction(flow, length, diameter_inside, roughness, temperature):
    viscosity = water.viscosity_kinematic_m2_per_s(temperature)
    return friction.head_friction_m(flow, length, diameter_inside, roughness, viscosity)


FORMULAS = {
    "head_friction": (head_friction, "m"),
    "head_hazen_williams": (friction.head_hazen_williams_m, "m"),
    "velocity": (friction.velocity_m_per_s, "m/s"),
    "rating_outside": (pressure.rating_outside_pa, "Pa"),
    "rating_inside": (pressure.rating_inside_pa, "Pa"),
    "rating_share": (lambda rating, factor: rating * factor, "Pa"),
    "head_surge": (lambda a, v: surge.pressure_surge_pa(1000.0, a, v) / (1000.0 * water.GRAVITY), "m"),
    "duration_critical": (surge.duration_critical_s, "s"),
    "velocity_cooling": (well.velocity_cooling_m_per_s, "m/s"),
    "flow_cooling": (well.flow_cooling_m3_per_s, "m**3/s"),
    "volume_bore": (well.volume_bore_m3, "m**3"),
    "acidity_saturation": (chemistry.acidity_saturation_ph, ""),
    "mass_lift": (handling.mass_lift_kg, "kg"),
    "volume_bleach": (chemistry.volume_bleach_m3, "m**3"),
    "pressure_collapse": (pressure.pressure_collapse_pa, "Pa"),
}


def in_si(text: str) -> list[float]:
    values = []
    for part in text.split(";"):
        name, quantity = part.strip().split("=")
        number, _, unit = quantity.partition(" ")
        values.append(float(convert(float(number), unit, SI[name]) if SI[name] else float(number)))
    return values


@pytest.mark.parametrize("row", schema.rows("reference/check_values"), ids=lambda row: row["check_id"])
def test_reference_check_values(row):
    formula, unit = FORMULAS[row["formula"]]
    found = float(formula(*in_si(row["inputs"])))
    expected = float(convert(float(row["expected"]), row["unit"], unit)) if unit else float(row["expected"])
    assert found == pytest.approx(expected, rel=float(row["tolerance_fraction"])), row["reference_id"]


def test_data_check_values_cover_each_formula():
    assert {row["formula"] for row in schema.rows("reference/check_values")} == set(FORMULAS)
