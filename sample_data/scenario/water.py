"""Wells of an invented region that obey one hydrogeology: level, bottom, yield, drawdown, pump, water."""

from __future__ import annotations

import datetime as dt
import math
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from pipeline import units

FIRST_YEAR, LAST_YEAR = 2011, 2025
# drilling by month: little in winter, most in late summer
MONTHS = (3, 3, 5, 8, 10, 11, 12, 13, 12, 10, 7, 4)
# drilling by year: a boom, a slump, and a last year whose reports are not all in
YEARS = (80, 84, 90, 97, 108, 121, 130, 127, 118, 104, 92, 101, 110, 106, 70)
HORSE_POWER = (0.5, 0.75, 1, 1.5, 2, 3, 5, 7.5, 10, 15, 20, 25, 30, 40, 50, 60, 75, 100, 125)
DUTY_L_S = {
    "domestic": 0.63,
    "stock": 0.35,
    "irrigation": 20.0,
    "public": 6.0,
    "commercial": 1.4,
    "industrial": 3.5,
    "village": 0.28,
    "unknown": 0.6,
}


def to(value: float | None, unit: str, target: str) -> float | None:
    """One value in another unit; missing stays missing."""
    if value is None:
        return None
    slope, offset = units.line(unit, target)
    return value * slope + offset


@dataclass
class Region:
    """One row of regions.toml, numbers read."""

    name: str
    misspelt: str
    records: int
    casing: dict[str, float]
    uses: dict[str, float]
    ground: str
    number: dict[str, float] = field(default_factory=dict)


def _weights(text: str) -> dict[str, float]:
    return {name: float(weight) for name, weight in (part.split(":") for part in text.split("|"))}


def regions(source: str) -> list[Region]:
    """Regions of one source, in file order."""
    texts = {"source", "region", "misspelt", "records", "ground", "casing", "uses"}
    with (Path(__file__).parent / "regions.toml").open("rb") as handle:
        declared = tomllib.load(handle)
    every = [dict(zip(declared["columns"], row, strict=True)) for row in declared["rows"]]
    rows = [row for row in every if row["source"] == source]
    return [
        Region(
            r["region"],
            r["misspelt"],
            int(r["records"]),
            _weights(r["casing"]),
            _weights(r["uses"]),
            r["ground"],
            {k: float(v) for k, v in r.items() if k not in texts},
        )
        for r in rows
    ]


def pick(rng: Random, weights: dict[str, float]) -> str:
    """One name, by weight."""
    return rng.choices(list(weights), list(weights.values()))[0]


def spread(rng: Random, middle: float, sigma: float) -> float:
    """Lognormal about a median."""
    return middle * math.exp(rng.gauss(0.0, sigma))


def day(rng: Random, growth: float) -> dt.date:
    """Day of completion: boom, slump, season, and the region's own growth."""
    weights = [w * math.exp(growth * i) for i, w in enumerate(YEARS)]
    year = FIRST_YEAR + rng.choices(range(len(YEARS)), weights)[0]
    month = rng.choices(range(1, 13), MONTHS)[0]
    return dt.date(year, month, rng.randint(2, 28))


def well(rng: Random, region: Region) -> dict[str, Any]:
    """One well of the region, SI with L/s for flow; everything known, as nature and the driller know it."""
    n = region.number
    use = pick(rng, region.uses)
    big = use in ("irrigation", "public", "industrial")
    when = day(rng, n["growth"])
    above = rng.gauss(0.0, n["elevation_sd_m"])
    season = n["season_m"] * math.cos(2 * math.pi * (when.month - 9.5) / 12)
    static = n["water_m"] + n["water_per_elevation"] * above + rng.gauss(0.0, n["water_sd_m"]) + season
    if n["water_m"] > 0:
        static = max(static, 0.8)
    column = max(spread(rng, n["column_m"], n["column_sigma"]) * (1.3 if big else 1.0), 6.0)
    depth = max(static, 0.0) + column
    if use == "monitoring":
        depth = max(static, 0.0) + rng.uniform(2, 8)
    if use == "geothermal":
        depth = rng.uniform(60, 150)
    potential = spread(rng, n["yield_l_s"], n["yield_sigma"]) * (1.8 if big else 1.0)
    tested = min(potential, spread(rng, 40.0, 0.3) if big else spread(rng, 1.5, 0.35))
    size = pick(rng, region.casing)
    # a bore passes no more than its pump: 4 in, 5 in and 6 in, in inches or millimetres
    width = float(size) * (1.0 if float(size) > 20 else (to(1.0, "in", "mm") or 0.0))
    tested = min(tested, next((most for bore, most in ((115, 5.5), (130, 9.0), (165, 24.0)) if width < bore), 60.0))
    usable = depth - max(static, 0.0)
    fall = min(max(0.65 * usable * tested / potential * spread(rng, 1.0, 0.25), 0.2), 0.93 * usable)
    sand = region.ground == "sand"
    screen = min(0.45 * usable, rng.choice((3.0, 3.0, 6.0, 6.0, 9.0, 12.0)))
    out: dict[str, Any] = {
        "region": region.name,
        "use": use,
        "date": when,
        "elevation": n["elevation_m"] + above,
        "latitude": n["latitude"] + n["half_deg"] * rng.uniform(-1, 1),
        "longitude": n["longitude"] + n["half_deg"] * rng.uniform(-1, 1),
        "static": static,
        "depth": depth,
        "drilled": depth + (rng.uniform(0.3, 4.0) if rng.random() < 0.4 else 0.0),
        "tested": tested,
        "fall": fall,
        "pumping": static + fall,
        "casing": size,
        "screen_top": depth - screen - 0.6 if sand else None,
        "screen_bottom": depth - 0.6 if sand else None,
        "bedrock": None if sand else rng.uniform(1, 14),
        "duration_h": rng.choice((1, 1, 2, 2, 4, 6, 8, 24) if big else (0.5, 1, 1, 1, 2, 2, 4)),
        "method": pick(
            rng,
            {"pumped": 70, "airlift": 20, "bailed": 10} if big or sand else {"pumped": 25, "airlift": 60, "bailed": 15},
        ),
        "temperature": n["temperature_degc"] + rng.gauss(0, 1.0) + 0.027 * max(depth - 15.0, 0.0),
        "ph": n["ph"] + rng.gauss(0, n["ph_sd"]),
        "chloride": spread(rng, n["chloride_mg_l"], n["chloride_sigma"]),
        "sulfide": rng.random() < n["sulfide"],
        "sand": rng.random() < n["sand"],
        "crooked": rng.random() < n["crooked"],
        "flowing": static < -0.05,
    }
    if n["temperature_degc"] > 30 and rng.random() < 0.15:
        # near the fault that warms the region
        out["temperature"] += rng.uniform(8, 16)
    out["casing_bottom"] = out["screen_top"] if sand else min(out["bedrock"] + rng.uniform(4, 12), depth - 2)
    out["conductivity"] = 180 + 3.4 * out["chloride"] * rng.uniform(0.95, 1.15) + rng.uniform(0, 350)
    out.update(pumped(rng, out, potential))
    return out


def pumped(rng: Random, w: dict[str, Any], potential: float) -> dict[str, Any]:
    """Pump, setting and drop pipe as a contractor would have put them in."""
    duty = min(DUTY_L_S.get(w["use"], 0.6), 0.8 * potential)
    level = w["static"] + w["fall"] * duty / w["tested"]
    low = potential < 1.3 * duty
    deepest = w["depth"] - rng.uniform(2.5, 6.0)
    if w["screen_top"] is not None:
        deepest = min(deepest, w["screen_top"] - 1.0)
    wanted = w["depth"] - 4.0 if low else level + rng.uniform(5, 12)
    setting = max(min(wanted, deepest), max(w["static"], 0.0) + 1.5)
    delivery = {"domestic": 42.0, "irrigation": 30.0, "public": 45.0, "commercial": 42.0}.get(w["use"], 10.0)
    head = max(level, 2.0) + delivery
    watts = 9806.65 * duty / 1000.0 * head / 0.52
    # power of a US horse power motor, from the units door
    kilo = float(to(watts, "W", "hp") or 0.0)
    motor = next((hp for hp in HORSE_POWER if hp >= kilo), 150)
    material = "galvanised" if setting > 170 or duty > 5 else "pvc" if setting > 85 else "pe"
    if w["date"].year < 2015 and material != "galvanised" and rng.random() < 0.35:
        material = "galvanised"
    return {
        "duty": duty,
        "setting": setting,
        "head": head,
        "motor_hp": motor,
        "material": material,
        "shutoff": head * rng.uniform(1.22, 1.38),
        "people": 0,
    }
