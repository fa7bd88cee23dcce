"""Source 2: a borehole survey of the invented country of Osemba, one semicolon file in metric units."""

from __future__ import annotations

import datetime as dt
from random import Random

from scenario.lines import Planter, Record, Truth, damage, joined, number, some
from scenario.water import Region, regions, to, well

FILE = "osemba_borehole_survey.csv"
FIRST_LINE = "# Invented sample data: Osemba, its districts, boreholes and people do not exist."
COLUMNS = """
point_no district village gps_north gps_east date_drilled borehole_depth_m static_level_m tested_yield_m3h
casing_mm screen_from_m screen_to_m pump_kind pump_installed_at_m riser_material state water_use people_served
ph chloride_mgl conductivity_us water_temp_c sand_seen smell surveyor contact_phone note
""".split()  # noqa: SIM905
USE = {"village": "communal", "public": "town water", "irrigation": "garden irrigation", "unknown": ""}
MATERIAL = {"pe": "HDPE", "pvc": "uPVC", "galvanised": "GI", "stainless": "stainless steel"}
NOTES = ("", "", "", "apron cracked", "committee meets monthly", "handle loose", "queue at noon", "fence missing")


def dmy(day: dt.date) -> str:
    """dd/mm/yyyy."""
    return f"{day.day:02d}/{day.month:02d}/{day.year}"


def pump(rng: Random, region: Region, static: float, tested: float, people_here: bool) -> str:
    """Kind of pump a project puts in: by hand where it can, by the sun in larger places."""
    if rng.random() < 0.04:
        return "none"
    if static > 45 or not people_here:
        return rng.choice(("solar pump", "submersible", "solar pump"))
    return "solar pump" if tested > 0.7 and rng.random() < 0.25 else "hand pump"


def record(rng: Random, region: Region, place: int) -> Record:
    """One surveyed borehole."""
    w = well(rng, region)
    m = lambda value, digits=1: number(value, digits, comma=True)  # noqa: E731
    kind = pump(rng, region, w["static"], w["tested"], w["use"] == "village")
    setting = w["setting"]
    if kind == "hand pump":
        # hand pumps stand a few pipes of three metres below the level
        deepest = w["depth"] - 3.0
        setting = min(3.0 * round((w["pumping"] * 0.4 + w["static"] * 0.6 + 7.0) / 3.0), deepest)
        material = rng.choice(("GI", "GI", "uPVC", "stainless steel"))
    else:
        material = MATERIAL[w["material"]]
    installed = kind != "none" and rng.random() < 0.72
    chemistry = rng.random() < 0.14
    people = int(round(rng.lognormvariate(5.6, 0.6) * (3 if w["use"] == "public" else 1), -1))
    return {
        "point_no": f"OS-{place:04d}",
        "district": region.name,
        "village": f"Village {rng.randint(1, 420):03d}",
        "gps_north": m(w["latitude"], 5),
        "gps_east": m(w["longitude"], 5),
        "date_drilled": dmy(w["date"]),
        "borehole_depth_m": m(w["depth"]),
        "static_level_m": some(rng, 0.95, m(max(w["static"], 0.4), 2)),
        "tested_yield_m3h": some(rng, 0.88, m(to(w["tested"], "L/s", "m3/h"), 2)),
        "casing_mm": some(rng, 0.85, w["casing"]),
        "screen_from_m": some(rng, 0.5, m(w["screen_top"])),
        "screen_to_m": "",
        "pump_kind": kind,
        "pump_installed_at_m": m(setting) if installed else "",
        "riser_material": some(rng, 0.8, material) if installed else "",
        "state": rng.choices(("functional", "not functional", "abandoned"), (86, 10, 4))[0],
        "water_use": USE[w["use"]],
        "people_served": some(rng, 0.85, str(people)),
        "ph": m(w["ph"]) if chemistry else "",
        "chloride_mgl": m(w["chloride"], 0) if chemistry else "",
        "conductivity_us": m(w["conductivity"], 0) if rng.random() < 0.35 else "",
        "water_temp_c": some(rng, 0.3, m(w["temperature"])),
        "sand_seen": "yes" if w["sand"] else some(rng, 0.7, "no"),
        "smell": "yes" if w["sulfide"] else some(rng, 0.7, "no"),
        "surveyor": f"SURVEYOR {rng.randint(1, 25):02d}",
        "contact_phone": f"000-{rng.randint(0, 9999):04d}",
        "note": rng.choice(NOTES),
        "_screen_bottom": m(w["screen_bottom"]),
    }


def value(text: str) -> float:
    """A decimal comma number, NaN where empty."""
    return float(text.replace(",", ".")) if text else float("nan")


def _slips(rng: Random, plant: Planter, by_name: dict[str, Region]) -> None:
    full = lambda r: r["pump_installed_at_m"] and r["static_level_m"] and value(r["static_level_m"]) > 5  # noqa: E731
    for r in plant.take(5, "level_and_depth_exchanged", full):
        r["static_level_m"], r["borehole_depth_m"] = r["borehole_depth_m"], r["static_level_m"]
    for r in plant.take(
        8,
        "feet_in_a_metre_column",
        lambda r: full(r) and to(value(r["pump_installed_at_m"]), "m", "ft") > value(r["borehole_depth_m"]) + 1,
    ):
        r["pump_installed_at_m"] = number(to(value(r["pump_installed_at_m"]), "m", "ft"), 1, True)
    for r in plant.take(10, "pipe_count_as_depth", lambda r: full(r) and value(r["static_level_m"]) > 8):
        # a count of ten-foot pipes, taken for feet and converted to metres
        count = int(to(value(r["pump_installed_at_m"]), "m", "ft") // 10)
        r["pump_installed_at_m"] = number(to(count, "ft", "m"), 2, True)
    plant.put(
        10,
        "yield_by_the_minute",
        "tested_yield_m3h",
        lambda r: number(60 * value(r["tested_yield_m3h"]), 1, True),
        lambda r: r["tested_yield_m3h"] and 0.5 < value(r["tested_yield_m3h"]) < 6,
    )
    plant.put(25, "yield_zero", "tested_yield_m3h", lambda r: "0")
    plant.put(6, "level_zero", "static_level_m", lambda r: "0")
    plant.put(3, "depth_zero", "borehole_depth_m", lambda r: "0")
    plant.put(12, "people_minus_99", "people_served", lambda r: "-99")
    plant.put(30, "year_only", "date_drilled", lambda r: r["date_drilled"][-4:])
    plant.put(18, "two_digit_year", "date_drilled", lambda r: r["date_drilled"][:6] + r["date_drilled"][-2:])
    plant.put(5, "day_not_known", "date_drilled", lambda r: "00" + r["date_drilled"][2:])
    plant.put(2, "date_in_the_future", "date_drilled", lambda r: r["date_drilled"][:6] + "2071")
    plant.put(
        10,
        "decimal_point",
        "static_level_m",
        lambda r: r["static_level_m"].replace(",", "."),
        lambda r: "," in r["static_level_m"],
    )
    plant.put(15, "district_misspelt", "district", lambda r: by_name[r["district"]].misspelt)
    for r in plant.take(4, "latitude_and_longitude_exchanged"):
        r["gps_north"], r["gps_east"] = r["gps_east"], r["gps_north"]
    for r in plant.take(3, "place_zero"):
        r["gps_north"], r["gps_east"] = "0", "0"
    for r in plant.take(3, "hand_pump_too_deep", lambda r: r["pump_kind"] == "submersible" and full(r)):
        r["pump_kind"], r["borehole_depth_m"], r["pump_installed_at_m"] = "hand pump", "142,5", "128"
    for r in plant.take(9, "dry_hole", lambda r: r["pump_kind"] == "none"):
        r.update(state="dry", static_level_m="dry", tested_yield_m3h="", pump_installed_at_m="")
    plant.put(4, "latitude_without_sign", "gps_north", lambda r: r["gps_north"].lstrip("-"))
    plant.put(3, "one_coordinate", "gps_east", lambda r: "")
    bare = lambda r: not r["pump_installed_at_m"] and not r["screen_from_m"] and r["state"] == "functional"  # noqa: E731
    for r in plant.take(6, "drilling_stopped", bare):
        r.update(borehole_depth_m=rng.choice(("2,5", "3", "4,5")), static_level_m="", tested_yield_m3h="")
    plant.put(3, "level_below_bottom", "static_level_m", lambda r: number(value(r["borehole_depth_m"]) + 8, 1, True),
              lambda r: bare(r) and r["static_level_m"])  # fmt: skip
    for r in plant.take(
        1, "conductivity_in_millisiemens", lambda r: value(r["chloride_mgl"]) > 20 and r["conductivity_us"]
    ):
        r["conductivity_us"] = number(value(r["conductivity_us"]) / 1000, 3, True)
    for r in plant.take(3, "no_id"):
        r["point_no"] = ""


def make(seed: int) -> tuple[dict[str, bytes], Truth]:
    """The file and how many of each fault it carries, by the id of the record."""
    rng = Random(f"{seed} osemba")
    found = regions("osemba")
    rows: list[Record] = []
    for region in found:
        rows += [record(rng, region, len(rows) + i + 1) for i in range(region.records)]
    for r in rows:
        r["screen_to_m"] = r.pop("_screen_bottom") if r["screen_from_m"] else ""
    rng.shuffle(rows)
    plant = Planter(rng, rows, "point_no")
    truth = plant.truth
    fits = lambda r: r["static_level_m"] and r["pump_installed_at_m"] and r["state"] == "functional"  # noqa: E731
    extra = [{**old, "surveyor": f"SURVEYOR {rng.randint(1, 25):02d}"} for old in plant.take(12, "sent_twice", fits)]
    for old in plant.take(4, "sent_twice_exchanged", fits):
        extra += [{**old, "static_level_m": old["borehole_depth_m"], "borehole_depth_m": old["static_level_m"]}]
    truth["abandoned"] = [r["point_no"] for r in rows if r["state"] == "abandoned"]
    _slips(rng, plant, {r.name: r for r in found})
    for again in extra:
        rows.insert(rng.randrange(len(rows) // 3, len(rows)), again)
    truth["records"] = [str(len(rows))]
    header = ";".join(COLUMNS)
    lines = damage(rng, [joined([r[c] for c in COLUMNS], ";") for r in rows], header, ";", 4, 3, 1, truth)
    lines.append(f"Total;{len(rows)} points" + ";" * (len(COLUMNS) - 2))
    truth["totals_row"].append("Total")
    content = bytearray("\n".join([FIRST_LINE, header, *lines]).encode("utf-8") + b"\n")
    # two notes typed on another machine: one byte of another encoding in a file of UTF-8
    for _ in range(2):
        place = content.index(b"apron cracked", rng.randrange(len(content) // 4, 3 * len(content) // 4))
        content[place : place + 13] = b"apron crack\xe9d"
        truth["stray_byte"].append("")
    return {FILE: bytes(content)}, dict(truth)
