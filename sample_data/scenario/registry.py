"""Source 3: the well registry of the invented province of Veldran, five tables with the unit of each row beside it."""

from __future__ import annotations

import datetime as dt
from random import Random
from typing import Any

from scenario.lines import Planter, Record, Truth, damage, joined, number, some
from scenario.water import pick, regions, to, well

FIRST_LINE = "# Invented sample data: the province of Veldran, its districts, wells and people do not exist."
TABLES = {
    "veldran_wells.txt": (
        "TAG|DISTRICT|STATUS|PURPOSE|LATITUDE|LONGITUDE|ELEVATION|COMPLETED|DRILLED_TO|FINISHED_AT|"
        "DEPTH_UNIT|BEDROCK_AT|STICK_UP_CM|PUMP_TYPE|PUMP_INTAKE|PIPE_MATERIAL|PIPE_LENGTH|PH|CHLORIDE|"
        "WATER_TEMP|METHANE|HARD_TO_PASS|OWNER_NAME"
    ),
    "veldran_casing.txt": (
        "TAG|PIECE|CASED_FROM|CASED_TO|LENGTH_UNIT|INSIDE_DIAMETER|DIAMETER_UNIT|CASING_MATERIAL"
    ),
    "veldran_screens.txt": (
        "TAG|SCREEN_FROM|SCREEN_TO|LENGTH_UNIT|SLOT_MM"
    ),
    "veldran_tests.txt": (
        "TAG|TESTED_ON|TEST_METHOD|RATE|RATE_UNIT|HOURS|LEVEL_BEFORE|LEVEL_PUMPING|DRAWDOWN|LEVEL_UNIT"
    ),
    "veldran_levels.txt": (
        "TAG|MEASURED_ON|LEVEL|LEVEL_UNIT|LEVEL_STATUS"
    ),
}  # fmt: skip
PURPOSE = {
    "domestic": "private dwelling",
    "stock": "livestock",
    "irrigation": "irrigation",
    "public": "municipal",
    "commercial": "commercial",
    "industrial": "process water",
    "unknown": "not known",
    "monitoring": "observation",
    "geothermal": "heat exchange",
    "test": "exploration",
}
METHOD = {"pumped": "constant rate", "airlift": "air lift", "bailed": "bailer"}
RATE_UNITS = {"L/s": 45, "L/min": 30, "m3/h": 15, "Imp gpm": 10}
MATERIAL = {"pe": "PE", "pvc": "PVC", "galvanised": "galvanized", "stainless": "stainless"}


def _well(rng: Random, w: dict[str, Any], tag: str) -> tuple[dict[str, list[Record]], str]:
    """Rows of one well in each table, and the unit its depths are written in."""
    unit = rng.choices(("m", "ft"), (80, 20))[0]
    length = lambda value, digits=1: number(to(value, "m", unit), digits)  # noqa: E731
    supply = w["use"] not in ("monitoring", "geothermal", "test")
    known = supply and rng.random() < 0.4
    chemistry = supply and rng.random() < 0.35
    rows: dict[str, list[Record]] = {name: [] for name in TABLES}
    rows["veldran_wells.txt"].append(
        {
            "TAG": tag,
            "DISTRICT": w["region"],
            "STATUS": rng.choices(("active", "inactive", "sealed", ""), (78, 5, 7, 10))[0],
            "PURPOSE": PURPOSE[w["use"]],
            "LATITUDE": f"{w['latitude']:.5f}",
            "LONGITUDE": f"{w['longitude']:.5f}",
            "ELEVATION": some(rng, 0.7, number(w["elevation"], 0)),
            "COMPLETED": w["date"].isoformat(),
            "DRILLED_TO": length(w["drilled"]),
            "FINISHED_AT": some(rng, 0.95, length(w["depth"])),
            "DEPTH_UNIT": unit,
            "BEDROCK_AT": length(w["bedrock"]),
            "STICK_UP_CM": some(rng, 0.6, rng.choice(("30", "45", "50", "60"))),
            "PUMP_TYPE": ("submersible" if w["pumping"] > 6 else rng.choice(("jet", "submersible"))) if known else "",
            "PUMP_INTAKE": length(w["setting"]) if known else "",
            "PIPE_MATERIAL": MATERIAL[w["material"]] if known and rng.random() < 0.7 else "",
            "PIPE_LENGTH": length(w["setting"] - 1.5) if known and rng.random() < 0.4 else "",
            "PH": number(w["ph"], 1) if chemistry else "",
            "CHLORIDE": number(w["chloride"], 0) if chemistry else "",
            "WATER_TEMP": some(rng, 0.3, number(w["temperature"], 1)),
            "METHANE": number(rng.lognormvariate(0.5, 1.3), 1) if supply and rng.random() < 0.14 else "",
            "HARD_TO_PASS": "yes" if w["crooked"] else "",
            "OWNER_NAME": f"OWNER {rng.randint(1, 900):04d}",
        }
    )
    _casing(rng, w, tag, unit, rows)
    if w["screen_top"] is not None and rng.random() < 0.9:
        rows["veldran_screens.txt"].append(
            {
                "TAG": tag,
                "SCREEN_FROM": length(w["screen_top"]),
                "SCREEN_TO": length(w["screen_bottom"]),
                "LENGTH_UNIT": unit,
                "SLOT_MM": rng.choice(("0.5", "0.75", "1")),
            }
        )
    if supply and rng.random() < 0.88:
        rate = pick(rng, {k: float(v) for k, v in RATE_UNITS.items()})
        pumping = length(w["pumping"], 2) if w["method"] == "pumped" else ""
        rows["veldran_tests.txt"].append(
            {
                "TAG": tag,
                "TESTED_ON": w["date"].isoformat(),
                "TEST_METHOD": METHOD[w["method"]],
                "RATE": number(to(w["tested"], "L/s", rate), 2),
                "RATE_UNIT": rate,
                "HOURS": number(w["duration_h"]),
                "LEVEL_BEFORE": length(w["static"], 2),
                "LEVEL_PUMPING": pumping,
                "DRAWDOWN": length(w["fall"], 2) if pumping and rng.random() < 0.6 else "",
                "LEVEL_UNIT": unit,
            }
        )
    _levels(rng, w, tag, rows)
    return rows, unit


def _casing(rng: Random, w: dict[str, Any], tag: str, unit: str, rows: dict[str, list[Record]]) -> None:
    inches = unit == "ft"
    size = number(to(float(w["casing"]), "mm", "in"), 2) if inches else w["casing"]
    length = lambda value: number(to(value, "m", unit), 1)  # noqa: E731
    ends = [(0.0, w["casing_bottom"], size, "steel" if float(w["casing"]) > 130 else "PVC")]
    if rng.random() < 0.2:
        ends.insert(0, (0.0, min(5.0, w["casing_bottom"]), number(float(size) * 1.6, 1), "steel"))
    for piece, (top, bottom, width, material) in enumerate(ends, start=1):
        rows["veldran_casing.txt"].append(
            {
                "TAG": tag,
                "PIECE": str(piece),
                "CASED_FROM": length(top),
                "CASED_TO": length(bottom),
                "LENGTH_UNIT": unit,
                "INSIDE_DIAMETER": width,
                "DIAMETER_UNIT": "in" if inches else "mm",
                "CASING_MATERIAL": material,
            }
        )


def _levels(rng: Random, w: dict[str, Any], tag: str, rows: dict[str, list[Record]]) -> None:
    if rng.random() > 0.55:
        return
    day = w["date"]
    for _ in range(rng.choice((1, 1, 2, 3, 4))):
        day = day + dt.timedelta(days=rng.randint(40, 420))
        if day > dt.date(2025, 12, 31):
            break
        status = rng.choices(("S", "P", "D", "O"), (88, 6, 2, 4))[0]
        level = {"S": w["static"] + rng.gauss(0.2, 0.4), "P": w["pumping"], "D": None, "O": None}[status]
        if status == "S" and w["static"] < -0.3 and rng.random() < 0.5:
            status, level = "F", None
        rows["veldran_levels.txt"].append(
            {
                "TAG": tag,
                "MEASURED_ON": day.isoformat(),
                "LEVEL": number(level, 2),
                "LEVEL_UNIT": "m",
                "LEVEL_STATUS": status,
            }
        )


def _slips(rng: Random, plant: Planter, tables: dict[str, list[Record]], misspelt: dict[str, str]) -> None:
    plant.put(12, "district_misspelt", "DISTRICT", lambda r: misspelt[r["DISTRICT"]])
    plant.put(20, "year_only", "COMPLETED", lambda r: r["COMPLETED"][:4])
    plant.put(2, "date_in_the_future", "COMPLETED", lambda r: "2098" + r["COMPLETED"][4:])
    plant.put(1, "date_before_1850", "COMPLETED", lambda r: "1194" + r["COMPLETED"][4:])
    plant.put(8, "longitude_without_sign", "LONGITUDE", lambda r: r["LONGITUDE"].lstrip("-"))
    plant.put(4, "depth_999", "FINISHED_AT", lambda r: "999", lambda r: r["FINISHED_AT"] and r["DEPTH_UNIT"] == "m")
    for r in plant.take(
        6,
        "completed_below_hole",
        lambda r: (
            r["FINISHED_AT"]
            and r["FINISHED_AT"] != r["DRILLED_TO"]
            and float(r["DRILLED_TO"]) - float(r["FINISHED_AT"]) > 1.5
        ),
    ):
        r["FINISHED_AT"], r["DRILLED_TO"] = r["DRILLED_TO"], r["FINISHED_AT"]
    test_of = {t["TAG"]: t for t in tables["veldran_tests.txt"]}
    for r in plant.take(
        6,
        "rate_in_the_wrong_unit",
        lambda r: (
            r["PURPOSE"] == "private dwelling"
            and r["TAG"] in test_of
            and test_of[r["TAG"]]["RATE_UNIT"] == "L/min"
            and float(test_of[r["TAG"]]["RATE"]) > 15
        ),
    ):
        test_of[r["TAG"]]["RATE_UNIT"] = "L/s"
    screen_of = {s["TAG"]: s for s in tables["veldran_screens.txt"]}
    for r in plant.take(3, "screen_ends_exchanged", lambda r: r["TAG"] in screen_of):
        s = screen_of[r["TAG"]]
        s["SCREEN_FROM"], s["SCREEN_TO"] = s["SCREEN_TO"], s["SCREEN_FROM"]
    tested = lambda r: test_of.get(r["TAG"], {"DRAWDOWN": ""})["DRAWDOWN"] != "" and r["FINISHED_AT"] != ""  # noqa: E731
    for r in plant.take(
        3, "drawdown_is_the_level", lambda r: tested(r) and float(test_of[r["TAG"]]["LEVEL_BEFORE"]) > 6
    ):
        test_of[r["TAG"]]["DRAWDOWN"] = test_of[r["TAG"]]["LEVEL_PUMPING"]
    for r in plant.take(
        2, "drawdown_beyond_the_water", lambda r: tested(r) and float(test_of[r["TAG"]]["LEVEL_BEFORE"]) > 1
    ):
        test_of[r["TAG"]]["DRAWDOWN"] = number(float(r["FINISHED_AT"]) + 12, 1)
    for r in plant.take(2, "level_below_bottom_while_pumping", lambda r: tested(r) and r["STATUS"] == "active"):
        test_of[r["TAG"]].update(LEVEL_PUMPING=number(float(r["FINISHED_AT"]) + 7, 1), DRAWDOWN="")
    for r in plant.take(4, "no_id", lambda r: r["TAG"] not in screen_of and r["TAG"] not in test_of):
        r["TAG"] = ""


def make(seed: int) -> tuple[dict[str, bytes], Truth]:
    """The five files and how many of each fault they carry, by the tag of the well."""
    rng = Random(f"{seed} veldran")
    found = regions("veldran")
    tables: dict[str, list[Record]] = {name: [] for name in TABLES}
    tag = 0
    for region in found:
        for _ in range(region.records):
            tag += rng.randint(1, 90)
            made, _unit = _well(rng, well(rng, region), f"{tag:07d}")
            for name, rows in made.items():
                tables[name] += rows
    plant = Planter(rng, tables["veldran_wells.txt"], "TAG")
    truth = plant.truth
    for name, column, text in (("sealed", "STATUS", "sealed"), ("observation", "PURPOSE", "observation")):
        truth[name] = [r["TAG"] for r in tables["veldran_wells.txt"] if r[column] == text]
    extra = [
        {**old, "TAG": f"{tag + 100 + i:07d}", "OWNER_NAME": "OWNER 0001"}
        for i, old in enumerate(
            plant.take(6, "same_well_other_id", lambda r: r["FINISHED_AT"] and r["STATUS"] == "active")
        )
    ]
    _slips(rng, plant, tables, {r.name: r.misspelt for r in found})
    tables["veldran_wells.txt"] += extra
    for name, count in (("veldran_casing.txt", 25), ("veldran_tests.txt", 6), ("veldran_levels.txt", 15)):
        for old in rng.sample(tables[name], count):
            lost = f"9{rng.randint(0, 999999):06d}"
            tables[name].insert(rng.randrange(len(tables[name])), {**old, "TAG": lost})
            truth[f"orphan {name}"].append(lost)
    files = {}
    for name, header in TABLES.items():
        truth[f"records {name}"] = [str(len(tables[name]))]
        lines = [joined([r[c] for c in header.split("|")], "|") for r in tables[name]]
        few, many, again = (
            (3, 2, 1) if name == "veldran_wells.txt" else (1, 0, 0) if name == "veldran_levels.txt" else (0, 0, 0)
        )
        spoilt: Truth = {k: [] for k in ("line_too_short", "line_too_long", "header_again")}
        lines = damage(rng, lines, header, "|", few, many, again, spoilt)
        for fault, ids in spoilt.items():
            truth[f"{fault} {name}"] = ids
        files[name] = ("\n".join([FIRST_LINE, header, *lines]) + "\n").encode("utf-8")
    return files, dict(truth)
