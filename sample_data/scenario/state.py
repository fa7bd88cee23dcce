"""Source 1: well completion reports of the invented State of Brindle, one CSV in US units."""

from __future__ import annotations

import datetime as dt
from random import Random

from scenario.lines import Planter, Record, Truth, damage, joined, mdy, number, some
from scenario.water import Region, regions, to, well

FILE = "brindle_state_completions.csv"
FIRST_LINE = "# Invented sample data: the State of Brindle, its counties, wells and people do not exist."
COLUMNS = """
WELL_ID FORM_NO RPT_TYPE RPT_DATE COMP_DATE COUNTY USE_CD LAT_DD LON_DD LOC_ACC_FT GRND_EL_FT HOLE_DP_FT
WELL_DP_FT CSG_ID_IN CSG_BOT_FT SCR_TOP_FT SCR_BOT_FT BEDRK_FT SWL_FT PMPG_LVL_FT YIELD_GPM TEST_HRS TEST_MTHD
PUMP_TYPE PUMP_SET_FT PUMP_GPM DROP_PIPE_FT DROP_MATL MOTOR_HP TDH_FT SHUTOFF_FT CUTOUT_PSI WTR_TEMP_F PH CL_MG_L
FLOWING SAND SULFUR CROOKED STKUP_FT OWNER OWNER_ADDR DRILLER REMARKS
""".split()  # noqa: SIM905
USE = {
    "domestic": "DOM",
    "stock": "STK",
    "irrigation": "IRR",
    "public": "PUB",
    "commercial": "COM",
    "industrial": "IND",
    "unknown": "UNK",
    "monitoring": "MON",
    "geothermal": "GEO",
    "test": "TST",
}
METHOD = {"pumped": "PUMPED", "airlift": "AIR", "bailed": "BAIL"}
MATERIAL = {"pe": "POLY", "pvc": "PVC", "galvanised": "GALV", "stainless": "SS"}
REMARKS = (
    "",
    "",
    "",
    "",
    "driller reports hard layer",
    "cuttings logged",
    "grouted to surface",
    "developed by surging",
    "cap locked",
    "old well nearby, to be plugged",
    "test by helper, see form",
)
SECTION_DEG = 0.0145


def record(rng: Random, region: Region, number_of: int) -> Record:
    """One completion report of a new well."""
    w = well(rng, region)
    ft = lambda value, digits=0: number(to(value, "m", "ft"), digits)  # noqa: E731
    lattice = rng.random() < 0.38
    lat, lon = w["latitude"], w["longitude"]
    if lattice:
        # the centre of the survey section stands for the well
        lat, lon = (round(x / SECTION_DEG) * SECTION_DEG for x in (lat, lon))
    supply = w["use"] not in ("monitoring", "geothermal", "test")
    tested = supply and rng.random() < 0.9
    jet = supply and w["pumping"] < 6 and rng.random() < 0.25
    known = tested and (w["use"] in ("irrigation", "public") or rng.random() < 0.42)
    setting = w["setting"] if known and not jet else None
    chemistry = supply and rng.random() < 0.30
    shown = lambda share, value: value if supply and rng.random() < share else None  # noqa: E731
    report = w["date"] + dt.timedelta(days=rng.randint(8, 70))
    return {
        "WELL_ID": f"BR{w['date'].year % 100:02d}-{number_of:05d}",
        "FORM_NO": f"F{200000 + 7 * number_of}",
        "RPT_TYPE": "NEW",
        "RPT_DATE": mdy(report),
        "COMP_DATE": mdy(w["date"]),
        "COUNTY": region.name,
        "USE_CD": USE[w["use"]],
        "LAT_DD": f"{lat:.5f}",
        "LON_DD": f"{lon:.5f}",
        "LOC_ACC_FT": "3700" if lattice else rng.choice(("15", "30", "100", "")),
        "GRND_EL_FT": some(rng, 0.8, ft(w["elevation"])),
        "HOLE_DP_FT": ft(w["drilled"]),
        "WELL_DP_FT": ft(w["depth"]),
        "CSG_ID_IN": some(rng, 0.9, w["casing"]),
        "CSG_BOT_FT": some(rng, 0.85, ft(w["casing_bottom"])),
        "SCR_TOP_FT": ft(w["screen_top"]),
        "SCR_BOT_FT": ft(w["screen_bottom"]),
        "BEDRK_FT": ft(w["bedrock"]),
        "SWL_FT": some(rng, 0.94, ft(w["static"], 1)),
        "PMPG_LVL_FT": ft(w["pumping"], 1) if tested and w["method"] == "pumped" else "",
        "YIELD_GPM": number(to(w["tested"], "L/s", "gpm"), 1 if w["tested"] < 0.6 else 0) if tested else "",
        "TEST_HRS": number(w["duration_h"]) if tested else "",
        "TEST_MTHD": METHOD[w["method"]] if tested else "",
        "PUMP_TYPE": "JET" if jet else "SUB" if known else "",
        "PUMP_SET_FT": ft(setting),
        "DROP_PIPE_FT": ft(setting - 1.2) if setting and w["use"] == "domestic" and rng.random() < 0.8 else "",
        "DROP_MATL": some(rng, 0.7, MATERIAL[w["material"]]) if known else "",
        "PUMP_GPM": number(to(w["duty"], "L/s", "gpm"), 1) if known and rng.random() < 0.35 else "",
        "MOTOR_HP": number(w["motor_hp"], 2) if known and rng.random() < 0.8 else "",
        "TDH_FT": ft(shown(0.25, w["head"])) if known else "",
        "SHUTOFF_FT": ft(shown(0.25, w["shutoff"])) if known else "",
        "CUTOUT_PSI": rng.choice(("50", "60", "60", "70")) if known and w["use"] == "domestic" else "",
        "WTR_TEMP_F": number(to(shown(0.45 if w["temperature"] > 30 else 0.25, w["temperature"]), "degC", "degF"), 0),
        "PH": number(w["ph"], 1) if chemistry else "",
        "CL_MG_L": number(w["chloride"], 0) if chemistry else "",
        "FLOWING": "Y" if w["flowing"] else some(rng, 0.5, "N"),
        "SAND": "Y" if w["sand"] else some(rng, 0.5, "N"),
        "SULFUR": "Y" if w["sulfide"] else some(rng, 0.5, "N"),
        "CROOKED": "Y" if w["crooked"] else "",
        "STKUP_FT": some(rng, 0.6, rng.choice(("1", "1.5", "2", "2"))),
        "OWNER": f"OWNER {rng.randint(1, 2400):04d}",
        "OWNER_ADDR": f"{rng.randint(1, 999)} PLACEHOLDER RD",
        "DRILLER": f"DRILLER {rng.randint(1, 40):03d}",
        "REMARKS": rng.choice(REMARKS),
    }


def _between(first: str, last: str) -> list[str]:
    return COLUMNS[COLUMNS.index(first) : COLUMNS.index(last) + 1]


def _supply(r: Record) -> bool:
    return r["USE_CD"] in ("DOM", "STK", "IRR", "PUB") and r["SWL_FT"] != "" and r["RPT_TYPE"] == "NEW"


def _young(r: Record) -> bool:
    return _supply(r) and int(r["COMP_DATE"][-4:]) < 2019


def _later(rng: Random, r: Record) -> str:
    done = dt.datetime.strptime(r["COMP_DATE"], "%m/%d/%Y").date()
    return mdy(done + dt.timedelta(rng.randint(300, 2200)))


def _again(rng: Random, plant: Planter) -> list[Record]:
    """Reports of wells that are in the file already: sent twice, deepened, given a pump, plugged."""

    def form(first: int) -> str:
        return f"F{rng.randint(first * 100000, first * 100000 + 99999)}"

    extra = [{**old, "FORM_NO": form(3)} for old in plant.take(30, "sent_twice", _supply)]
    for old in plant.take(10, "same_well_other_id", _supply):
        extra += [{**old, "WELL_ID": old["WELL_ID"] + "R", "FORM_NO": form(4)}]
    for old in plant.take(20, "deepened", _young):
        depth = str(int(old["WELL_DP_FT"]) + rng.randrange(40, 160, 5))
        changed = {"HOLE_DP_FT": depth, "WELL_DP_FT": depth, "REMARKS": "deepened", "COMP_DATE": _later(rng, old)}
        extra += [{**old, **changed, "FORM_NO": form(5), "RPT_TYPE": "DEEPENING"}]
    for old in plant.take(40, "pump_report", lambda r: _young(r) and r["PUMP_SET_FT"]):
        blank = {c: "" for c in _between("SCR_BOT_FT", "TEST_MTHD")}
        extra += [{**old, **blank, "FORM_NO": form(6), "RPT_TYPE": "PUMP", "COMP_DATE": _later(rng, old)}]
    for old in plant.take(45, "plugged_later", _young):
        changed = {"RPT_TYPE": "PLUGGING", "COMP_DATE": _later(rng, old), "REMARKS": "filled and capped"}
        extra += [{**old, **changed, "FORM_NO": form(7)}]
    return extra


def _slips(rng: Random, plant: Planter, by_name: dict[str, Region]) -> None:
    """Values typed wrongly."""
    full = lambda r: r["SWL_FT"] and float(r["SWL_FT"]) > 15 and r["WELL_DP_FT"] and r["RPT_TYPE"] == "NEW"  # noqa: E731
    for r in plant.take(12, "level_and_depth_exchanged", lambda r: full(r) and r["PUMP_SET_FT"]):
        r["SWL_FT"], r["WELL_DP_FT"] = r["WELL_DP_FT"], r["SWL_FT"]
        r["HOLE_DP_FT"] = ""
    for r in plant.take(8, "metres_typed_as_feet", full):
        for c in (
            "HOLE_DP_FT",
            "WELL_DP_FT",
            "SWL_FT",
            "PMPG_LVL_FT",
            "PUMP_SET_FT",
            "CSG_BOT_FT",
            "SCR_TOP_FT",
            "SCR_BOT_FT",
        ):
            r[c] = number(to(float(r[c]), "ft", "m"), 1) if r[c] else ""
        r["DROP_PIPE_FT"] = ""
    for r in plant.take(
        9, "pipe_count_as_depth", lambda r: full(r) and 80 < float(r["PUMP_SET_FT"] or 0) < 9 * float(r["SWL_FT"])
    ):
        # the number of ten-foot pipes stands where the depth belongs
        r["PUMP_SET_FT"], r["DROP_PIPE_FT"] = str(int(float(r["PUMP_SET_FT"]) // 10)), ""
    for r in plant.take(
        22,
        "drawdown_as_level",
        lambda r: (
            full(r) and r["PMPG_LVL_FT"] and float(r["PMPG_LVL_FT"]) - float(r["SWL_FT"]) < 0.9 * float(r["SWL_FT"])
        ),
    ):
        r["PMPG_LVL_FT"] = number(float(r["PMPG_LVL_FT"]) - float(r["SWL_FT"]), 1)
    for r in plant.take(7, "screen_ends_exchanged", lambda r: r["SCR_TOP_FT"] != ""):
        r["SCR_TOP_FT"], r["SCR_BOT_FT"] = r["SCR_BOT_FT"], r["SCR_TOP_FT"]
    plant.put(
        6,
        "yield_by_the_hour",
        "YIELD_GPM",
        lambda r: number(60 * float(r["YIELD_GPM"]), 0),
        lambda r: (
            r["YIELD_GPM"]
            and 8 < float(r["YIELD_GPM"]) < 40
            and r["USE_CD"] == "DOM"
            and r["CSG_ID_IN"] in ("4", "5", "6")
        ),
    )
    plant.put(5, "depth_9999", "WELL_DP_FT", lambda r: "9999")
    plant.put(15, "level_minus_99", "SWL_FT", lambda r: "-99")
    plant.put(20, "yield_zero", "YIELD_GPM", lambda r: "0")
    plant.put(5, "yield_9999", "YIELD_GPM", lambda r: "9999")
    plant.put(
        10, "level_in_words", "SWL_FT", lambda r: rng.choice(("dry", "flowing", "~" + r["SWL_FT"], r["SWL_FT"] + "'"))
    )
    plant.put(90, "year_only", "COMP_DATE", lambda r: "1/1/" + r["COMP_DATE"][-4:])
    plant.put(60, "two_digit_year", "COMP_DATE", lambda r: r["COMP_DATE"][:-4] + r["COMP_DATE"][-2:])
    plant.put(4, "date_in_the_future", "COMP_DATE", lambda r: r["COMP_DATE"][:-4] + rng.choice(("2062", "2041")))
    plant.put(25, "county_misspelt", "COUNTY", lambda r: by_name[r["COUNTY"]].misspelt)
    plant.put(
        60, "county_other_case", "COUNTY", lambda r: rng.choice((r["COUNTY"].upper() + " ", " " + r["COUNTY"].lower()))
    )
    plant.put(
        30,
        "use_misspelt",
        "USE_CD",
        lambda r: rng.choice(("DOMESTC", "dom.", "Domstic", "D0M")),
        lambda r: r["USE_CD"] == "DOM",
    )
    plant.put(20, "longitude_without_sign", "LON_DD", lambda r: r["LON_DD"].lstrip("-"))
    for r in plant.take(6, "latitude_and_longitude_exchanged"):
        r["LAT_DD"], r["LON_DD"] = r["LON_DD"], r["LAT_DD"]
    for r in plant.take(8, "line_break_in_quotes"):
        r["REMARKS"] = "see second page\nof the form"
    for r in plant.take(8, "cp1252_byte"):
        r["REMARKS"] = rng.choice(("bit 6½ in", "water at 48°", "driller says “good”"))
    for r in plant.take(5, "no_id", lambda r: r["RPT_TYPE"] == "NEW"):
        r["WELL_ID"] = ""


def _contradictions(plant: Planter) -> None:
    """Values that cannot stand beside each other, and cells that are no plain number."""
    fresh = lambda r: r["RPT_TYPE"] == "NEW" and r["USE_CD"] in ("DOM", "STK") and float(r["SWL_FT"] or 0) > 20  # noqa: E731
    more = lambda text, feet: number(float(text) + feet, 0)  # noqa: E731
    put = plant.put
    bare = lambda r: fresh(r) and not r["PUMP_SET_FT"] and not r["PMPG_LVL_FT"]  # noqa: E731
    put(5, "level_below_bottom", "SWL_FT", lambda r: more(r["WELL_DP_FT"], 30), bare)
    for r in plant.take(4, "pump_below_bottom", lambda r: fresh(r) and r["PUMP_SET_FT"] and not r["DROP_PIPE_FT"]):
        r["PUMP_SET_FT"], r["SWL_FT"] = more(r["WELL_DP_FT"], 40), ""
    put(
        3,
        "screen_below_bottom",
        "SCR_BOT_FT",
        lambda r: more(r["WELL_DP_FT"], 25),
        lambda r: fresh(r) and r["SCR_TOP_FT"],
    )
    for r in plant.take(3, "screen_above_level", lambda r: fresh(r) and r["SCR_TOP_FT"]):
        r["SCR_TOP_FT"], r["SCR_BOT_FT"] = "6", "14"
    put(
        4,
        "casing_below_hole",
        "CSG_BOT_FT",
        lambda r: more(r["HOLE_DP_FT"], 25),
        lambda r: fresh(r) and r["CSG_BOT_FT"],
    )
    put(4, "flowing_with_deep_level", "FLOWING", lambda r: "Y", lambda r: fresh(r) and r["FLOWING"] != "Y")
    put(3, "above_ground_not_flowing", "FLOWING", lambda r: "N", lambda r: r["SWL_FT"] and float(r["SWL_FT"]) < -3)
    put(5, "bore_of_a_pipe", "CSG_ID_IN", lambda r: "1.25", lambda r: fresh(r) and r["CSG_ID_IN"])
    put(2, "bore_in_the_wrong_unit", "CSG_ID_IN", lambda r: "60", lambda r: fresh(r) and float(r["WELL_DP_FT"]) > 120)
    put(
        3,
        "pipe_longer_than_well",
        "DROP_PIPE_FT",
        lambda r: more(r["WELL_DP_FT"], 60),
        lambda r: fresh(r) and r["DROP_PIPE_FT"],
    )
    put(4, "duty_above_yield", "PUMP_GPM", lambda r: number(3 * float(r["YIELD_GPM"]), 1),
        lambda r: r["PUMP_GPM"] and not r["MOTOR_HP"] and 0 < float(r["YIELD_GPM"] or 0) < 30)  # fmt: skip
    put(
        1,
        "motor_too_weak",
        "MOTOR_HP",
        lambda r: "0.1",
        lambda r: float(r["PUMP_GPM"] or 0) > 4 and float(r["TDH_FT"] or 0) > 120 and r["MOTOR_HP"],
    )
    for r in plant.take(1, "heads_exchanged", lambda r: r["TDH_FT"] and r["SHUTOFF_FT"]):
        r["TDH_FT"], r["SHUTOFF_FT"] = r["SHUTOFF_FT"], r["TDH_FT"]
    put(6, "metres_in_the_cell", "SWL_FT", lambda r: number(to(float(r["SWL_FT"]), "ft", "m"), 1) + " m", fresh)
    put(4, "not_a_number", "SWL_FT", lambda r: "see log", fresh)
    put(3, "beyond_all_bounds", "YIELD_GPM", lambda r: "55000", lambda r: fresh(r) and r["YIELD_GPM"])
    put(6, "date_of_a_placeholder", "COMP_DATE", lambda r: "1/1/1900", fresh)
    put(9, "depth_888", "WELL_DP_FT", lambda r: "888", lambda r: fresh(r) and float(r["WELL_DP_FT"]) < 300)
    for r in plant.take(8, "place_not_given", fresh):
        r["LAT_DD"] = r["LON_DD"] = r["LOC_ACC_FT"] = ""


def make(seed: int) -> tuple[dict[str, bytes], Truth]:
    """The file and how many of each fault it carries, by the id of the record."""
    rng = Random(f"{seed} brindle")
    found = regions("brindle")
    rows: list[Record] = []
    for region in found:
        rows += [record(rng, region, len(rows) + i + 1) for i in range(region.records)]
    rows.sort(key=lambda r: dt.datetime.strptime(r["COMP_DATE"], "%m/%d/%Y"))
    plant = Planter(rng, rows, "WELL_ID")
    truth = plant.truth
    for use, name in (("MON", "monitoring"), ("GEO", "geothermal"), ("TST", "test_hole")):
        truth[name] = [r["WELL_ID"] for r in rows if r["USE_CD"] == use]
    extra = _again(rng, plant)
    _slips(rng, plant, {r.name: r for r in found})
    _contradictions(plant)
    for r in plant.take(14, "dry_hole", lambda r: r["RPT_TYPE"] == "NEW" and r["USE_CD"] == "DOM"):
        r.update({c: "" for c in _between("SCR_TOP_FT", "CL_MG_L")}, SWL_FT="dry", YIELD_GPM="0", REMARKS="dry hole")
    for again in extra:
        rows.insert(rng.randrange(len(rows) // 3, len(rows)), again)
    truth["records"] = [str(len(rows))]
    lines = [joined([r.get(c, "") for c in COLUMNS], ",") for r in rows]
    header = ",".join(COLUMNS)
    lines = damage(rng, lines, header, ",", 6, 5, 2, truth)
    lines.append(f"TOTAL,{len(rows)} reports" + "," * (len(COLUMNS) - 2))
    truth["totals_row"].append("TOTAL")
    text = "\r\n".join([FIRST_LINE, header, *lines]) + "\r\n"
    return {FILE: text.encode("cp1252")}, dict(truth)
