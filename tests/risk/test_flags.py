"""Every flag has a well that trips it and one that does not; severities, units and counts."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pipeline import io, schema
from pipeline.risk import View, flags, flags_of, judged, judged_of, rules
from pipeline.risk.rule import TESTS
from pipeline.risk.rules_chemistry import saturation_index
from pipeline.settings import Settings

FT, IN, GPM, LB, HP = 0.3048, 0.0254, 6.30901964e-5, 0.45359237, 745.69987
SETTINGS = Settings(as_of="2024-06-01")

# an invented household well set by the rule: 240 ft deep, water at 60 ft, pump at 140 ft on coiled PE
WELLS = {
    "depth_completed_m": 240 * FT, "depth_drilled_m": 240 * FT, "depth_static_m": 60 * FT,
    "depth_pumping_m": 120 * FT, "flow_tested_m3_per_s": 12 * GPM, "completed_date": pd.Timestamp("2012-05-01"),
    "depth_screen_top_m": 200 * FT, "depth_casing_bottom_m": 200 * FT, "use_code": "domestic",
    "status_code": "active", "acidity_ph": 7.7, "chloride_mg_per_l": 20.0, "conductivity_us_per_cm": 400.0,
    "methane_mg_per_l": 0.0, "has_sand": False, "is_crooked": False, "has_hydrogen_sulfide": False,
    "is_flowing": False, "location_accuracy_m": 20.0, "material_drop_pipe_code": "pe", "length_stick_up_m": 1.0,
    "hardness_calcium_mg_per_l": 120.0, "alkalinity_mg_per_l": 150.0, "sulfate_mg_per_l": 60.0,
    "depth_frost_m": 3 * FT, "distance_power_line_m": 80.0, "has_poor_earth": False, "has_certificate": True,
    "has_fluoropolymer": False, "has_shared_trench": False, "level_flood_m": 0.0, "has_access_port": True,
}  # fmt: skip
DESIGN = {
    "depth_completed_m": 240 * FT, "depth_static_m": 60 * FT, "depth_static_basis_code": "recorded",
    "depth_pumping_m": 110 * FT, "depth_pumping_m_high": 125 * FT, "depth_pump_m": 140 * FT,
    "depth_setting_wanted_m": 140 * FT, "depth_setting_max_m": 224 * FT, "setting_limited_code": "none",
    "flow_duty_m3_per_s": 10 * GPM, "diameter_casing_inside_m": 6.065 * IN,
    "diameter_casing_inside_basis_code": "recorded", "diameter_pump_m": 3.75 * IN, "power_motor_w": 0.75 * HP,
    "temperature_water_degc": 13.0, "depth_discharge_m": 4 * FT, "pump_kind_code": "submersible",
    "use_code": "domestic", "head_shutoff_is_recorded": False,
}  # fmt: skip
SELECTION = {
    "option_id": "pe3408-sidr9-1", "family_code": "pe", "length_drop_pipe_m": 136 * FT, "joint_count": 0,
    "utilisation_pressure_dead_head_fraction": 0.6, "utilisation_pressure_surge_fraction": 0.6,
    "utilisation_tension_sustained_fraction": 0.4, "mass_piece_kg": 20.0, "load_pulling_n": 35 * 9.80665,
}  # fmt: skip
PVC = {"selection.option_id": "pvc-sch80-thr-1", "selection.family_code": "pvc"}
# options that nobody should sell, to show that they would be stopped
ODD = [
    {"option_id": "odd-thread", "joint_code": "threaded", "class_label": "Sch 40", "control": "outside"},
    {"option_id": "odd-barb", "joint_code": "barbed", "class_label": "SDR 9", "control": "outside"},
]

TRIPS = {
    "R01": {"design.setting_limited_code": "bottom", "design.depth_pump_m": 130 * FT},
    "R02": {"design.depth_setting_wanted_m": 230 * FT},
    "R03": {"wells.depth_screen_top_m": 130 * FT},
    "R04": {"design.depth_completed_m": 148 * FT},
    "R05": {"wells.flow_tested_m3_per_s": 4 * GPM},
    "R06": {"wells.flow_tested_m3_per_s": 8 * GPM},
    "R07": {"wells.depth_pumping_m": np.nan},
    "R08": {"wells.has_sand": True},
    "R09": {"wells.is_crooked": True},
    "R10": {"design.diameter_casing_inside_m": 3.94 * IN},
    "R11": {"design.flow_duty_m3_per_s": 4 * GPM},
    "R12": {"wells.depth_screen_top_m": np.nan, "wells.depth_casing_bottom_m": 60 * FT},
    "R13": {"wells.depth_static_m": -1.0},
    "R14": {"wells.methane_mg_per_l": 12.0},
    "R15": {"wells.has_hydrogen_sulfide": True},
    "R16": {"wells.acidity_ph": 6.2},
    "R17": {"wells.acidity_ph": 6.6},
    "R18": {"wells.sulfate_mg_per_l": 10.0},
    "R19": {"wells.chloride_mg_per_l": 300.0},
    "R20": {"selection.option_id": "ss304-sch40-1", "selection.family_code": "stainless"},
    "R21": {"wells.acidity_ph": 8.6},
    "R22": {"design.temperature_water_degc": 26.0},
    "R23": {"design.depth_discharge_m": 2 * FT},
    "R24": {"design.depth_discharge_m": -0.5},
    "R25": {"selection.joint_count": 1},
    "R26": {"selection.option_id": "pvc-sch40-glued-1", "selection.family_code": "pvc"},
    "R27": {"selection.option_id": "odd-thread", "selection.family_code": "pvc"},
    "R28": {"selection.utilisation_pressure_dead_head_fraction": 1.1},
    "R29": {"selection.utilisation_pressure_surge_fraction": 1.1},
    "R30": {"selection.length_drop_pipe_m": 160 * FT},
    "R31": {"selection.utilisation_tension_sustained_fraction": 0.9},
    "R32": {"selection.option_id": "odd-barb", "selection.family_code": "pe"},
    "R33": {"selection.load_pulling_n": 110 * LB * 9.80665},
    "R34": {"wells.distance_power_line_m": 5.0},
    "R35": {"wells.material_drop_pipe_code": "galvanised", "wells.completed_date": pd.Timestamp("1999-01-01")},
    "R36": {"wells.has_poor_earth": True},
    "R37": {"wells.has_certificate": False},
    "R38": {"wells.has_fluoropolymer": True},
    "R39": {"wells.has_shared_trench": True},
    "R40": {"wells.level_flood_m": 0.6},
    "R41": {"wells.completed_date": pd.Timestamp("1970-01-01")},
    "R42": {"wells.location_accuracy_m": 250.0},
    "R43": {"wells.depth_static_m": 250 * FT},
    "R44": {"wells.use_code": "monitoring"},
    "R45": {"wells.status_code": "plugged"},
    "R46": {"design.pump_kind_code": "jet", "design.depth_pumping_m": 20 * FT},
    "R47": {"design.pump_kind_code": "hand", "design.depth_pump_m": 50.0},
    "R48": {"wells.has_access_port": False},
}  # fmt: skip


def view_of(*changes, settings=SETTINGS):
    """One invented well a set of changes, beside each other."""
    places = {"wells": WELLS, "design": DESIGN, "selection": SELECTION}
    frames = []
    for place, usual in places.items():
        rows = [
            {"source_id": "invented", "well_id": f"w{n:03d}", **usual}
            | {k.partition(".")[2]: v for k, v in change.items() if k.startswith(f"{place}.")}
            for n, change in enumerate(changes)
        ]
        frames.append(pd.DataFrame(rows))
    options = pd.concat([pd.DataFrame(list(schema.rows("options"))), pd.DataFrame(ODD)]).fillna("")
    return View(*frames, settings, options)


def codes(*changes, settings=SETTINGS):
    """Codes of one well with changes."""
    return set(flags_of(view_of({k: v for c in changes for k, v in c.items()}, settings=settings))["code"])


def one(code, change, settings=SETTINGS):
    """The flag of one code on one well with a change."""
    found = flags_of(view_of(change, settings=settings)).set_index("code")
    return found.loc[code]


def test_a_normal_well_set_by_the_rule_is_silent():
    assert codes() == set()


@pytest.mark.parametrize("code", sorted(TRIPS))
def test_each_flag_is_tripped_by_its_well_alone_among_its_kind(code):
    assert code in codes(TRIPS[code])
    assert code not in codes()


def test_data_every_rule_has_a_test_and_a_well_that_trips_it():
    declared = {row["code"] for row in schema.rows("rules") if row["stage"] == "risk"}
    assert declared == set(TESTS) == set(TRIPS) == {f"R{n:02d}" for n in range(1, 49)}


def test_data_rules_are_complete_and_resolve():
    practice, sources = SETTINGS.practice, schema.references()
    for row in schema.rows("rules"):
        if row["stage"] != "risk":
            continue
        assert row["title"] and row["why"] and row["action"] and row["test"], row["code"]
        assert row["severity"] in schema.codes("severity") and row["applies_to"] in schema.codes("applies_to")
        assert row["reference_id"] in sources, row["code"]
        assert row["limit"] in practice or not row["limit"] or float(row["limit"]) is not None
    for row in schema.rows("risk_raised"):
        assert row["severity"] in schema.codes("severity") and row["reference_id"] in sources


def test_data_needs_name_declared_columns():
    held = {place: {c.field.name for c in schema.table(place)} for place in ("wells", "design", "selection")}
    held["option"] = set(schema.rows("options")[0])
    held["run"] = {"as_of"}
    for rule in rules():
        for name in rule.needs.replace("/", "|").split("|"):
            place, _, field = name.partition(".")
            assert place == "not_recorded" or field in held[place], (rule.code, name)


def test_reference_acid_water_stops_galvanised():
    # rural water supply network, Uganda and Zambia: no galvanised riser below pH 6.5
    flag = one("R16", {"wells.acidity_ph": 6.2})
    assert (flag["severity_code"], flag["applies_to_code"], flag["limit"]) == ("stop", "family", 6.5)
    assert "R16" not in codes({"wells.acidity_ph": 6.5})


@pytest.mark.parametrize(("methane", "tripped"), [(7.5, False), (10.0, True), (12.0, True)])
def test_reference_methane(methane, tripped):
    # Ohio State University water note: action level 10 mg/L
    assert ("R14" in codes({"wells.methane_mg_per_l": methane})) is tripped


@pytest.mark.parametrize(("pounds", "tripped"), [(101, False), (103, True)])
def test_reference_lift_of_two(pounds, tripped):
    # NIOSH 94-110: 51 lb is the load constant of one person, 102 lb of two
    assert ("R33" in codes({"selection.load_pulling_n": pounds * LB * 9.80665})) is tripped


@pytest.mark.parametrize(("pounds", "tripped"), [(50, False), (52, True)])
def test_reference_lift_of_one_piece(pounds, tripped):
    # NIOSH 94-110, as above
    assert ("R33" in codes({"selection.mass_piece_kg": pounds * LB})) is tripped


@pytest.mark.parametrize(
    ("bore_in", "least_gpm"),
    # least flow past a 3.75 in motor for 0.25 ft/s, computed from the ring: 13.9, 7.0 and 1.3 gpm
    # (trade table: 13, 7 and 1.2)
    [(6.065, 13.9), (5.047, 7.0), (4.026, 1.3)],
)
def test_reference_motor_cooling(bore_in, least_gpm):
    well = {"design.diameter_casing_inside_m": bore_in * IN, "design.power_motor_w": 3 * HP}
    assert "R11" in codes(well, {"design.flow_duty_m3_per_s": 0.97 * least_gpm * GPM})
    assert "R11" not in codes(well, {"design.flow_duty_m3_per_s": 1.03 * least_gpm * GPM})


def test_reference_small_motor_in_six_inch_bore_is_silent():
    # 10 gpm past a 3.75 in motor in 6.065 in runs at 0.18 ft/s: below 3 hp no flag
    assert "R11" not in codes({"design.flow_duty_m3_per_s": 10 * GPM})
    large = one("R11", {"design.power_motor_w": 3 * HP})
    assert large["value"] / FT == pytest.approx(0.180, rel=0.02)
    assert large["severity_code"] == "caution"


def test_reference_location_by_the_minute():
    # USGS accuracy code M: one minute, about 1.85 km north to south
    assert one("R42", {"wells.location_accuracy_m": 1850.0})["severity_code"] == "caution"
    assert one("R42", {"wells.location_accuracy_m": 250.0})["severity_code"] == "note"
    assert "R42" not in codes({"wells.location_accuracy_m": 100.0})


def test_reference_yield_of_a_new_well():
    # COMAR 26.04.04.26, Maryland: 1 gpm for six hours
    assert one("R05", {"wells.flow_tested_m3_per_s": 0.8 * GPM})["severity_code"] == "caution"
    assert one("R05", {"wells.flow_tested_m3_per_s": 4 * GPM})["severity_code"] == "note"


def test_low_yield_is_a_note_where_storage_meets_the_day_and_a_caution_where_it_is_short():
    change = {"wells.flow_tested_m3_per_s": 2 * GPM, "design.volume_demand_day_m3": 1.249}
    met, short = ({**change, "design.volume_available_m3": volume} for volume in (1.3, 0.9))
    assert one("R05", met)["severity_code"] == "note"
    assert one("R05", short)["severity_code"] == "caution"
    # a hand pump that cannot serve its people in a day, though its well yields enough
    crowd = {"design.volume_available_m3": 8.16, "design.volume_demand_day_m3": 45.0}
    assert one("R05", crowd)["severity_code"] == "caution"


def test_reference_saturation_index():
    # worked example of public calculator pages, from memory: pH 7.5, 25 C, solids 320, calcium 150, alkalinity 34
    assert float(saturation_index(7.5, 25.0, 320.0, 150.0, 34.0)) == pytest.approx(-0.7, abs=0.05)
    assert np.isnan(saturation_index(7.5, 25.0, 320.0, np.nan, 34.0))


def test_dry_run_rises_to_stop_only_where_the_level_is_recorded():
    dry = {"design.setting_limited_code": "bottom", "design.depth_pump_m": 105 * FT}
    assert one("R01", dry)["severity_code"] == "stop"
    assert one("R01", dry | {"design.depth_static_basis_code": "assumed"})["severity_code"] == "caution"
    # a setting that nothing limited is silent however small its margin
    assert "R01" not in codes({"design.depth_pump_m": 126 * FT})


def test_a_recorded_setting_is_judged_by_the_recorded_level_at_rest():
    recorded = {"design.setting_limited_code": "recorded", "wells.test_method_code": "airlift"}
    assert "R01" not in codes(recorded, {"design.depth_pump_m": 120 * FT})
    close = recorded | {"design.depth_static_m": 112 * FT, "design.depth_pump_m": 120 * FT}
    assert one("R01", close)["value"] / FT == pytest.approx(8.0)
    assert "R01" not in codes(close, {"design.depth_static_basis_code": "neighbours"})


def test_a_recorded_setting_above_the_level_of_a_pumped_test_is_a_stop():
    told = {"design.setting_limited_code": "recorded", "wells.depth_pumping_m": 130 * FT, "wells.test_method_code": "pumped",
            "design.depth_pumping_m": 130 * FT, "design.depth_pump_m": 120 * FT}  # fmt: skip
    found = one("R01", told)
    assert found["severity_code"] == "stop" and found["value"] / FT == pytest.approx(-10)


def test_cooling_of_small_motors_is_judged_in_a_known_bore_only():
    slow = TRIPS["R11"]
    assert one("R11", slow)["severity_code"] == "note"
    assumed = slow | {"design.diameter_casing_inside_basis_code": "assumed"}
    assert "R11" not in codes(assumed)
    assert "R11" in codes(assumed, {"design.power_motor_w": 5 * HP})


def test_dead_head_stops_only_on_a_recorded_shutoff_head():
    over = {"selection.utilisation_pressure_dead_head_fraction": 1.2}
    assert one("R28", over)["severity_code"] == "caution"
    assert one("R28", over | {"design.head_shutoff_is_recorded": True})["severity_code"] == "stop"


def test_pump_wider_than_a_recorded_bore_is_a_stop():
    tight = {"design.diameter_casing_inside_m": 3.7 * IN}
    assert one("R10", tight)["severity_code"] == "stop"
    assert one("R10", tight | {"design.diameter_casing_inside_basis_code": "assumed"})["severity_code"] == "caution"


def test_joints_of_coils_are_cautions_and_of_sticks_notes_past_many():
    assert one("R25", {"selection.joint_count": 1})["severity_code"] == "caution"
    assert "R25" not in codes(PVC, {"selection.joint_count": 40})
    assert one("R25", PVC | {"selection.joint_count": 41})["severity_code"] == "note"


def test_salty_by_conductivity_alone_shows_no_number():
    flag = one("R19", {"wells.chloride_mg_per_l": np.nan, "wells.conductivity_us_per_cm": 1800.0})
    assert np.isnan(flag["value"]) and np.isnan(flag["limit"])


def test_contradictions_are_counted():
    assert one("R43", {"wells.depth_pump_m": 50 * FT})["value"] == 1
    assert one("R43", {"wells.depth_pump_m": 250 * FT, "wells.depth_static_m": 260 * FT})["value"] == 3
    assert "R43" in codes({"wells.completed_date": pd.Timestamp("2025-01-01")})


def test_without_an_as_of_date_no_age_is_judged():
    undated = replace(SETTINGS, as_of="")
    assert not {"R35", "R41"} & codes(TRIPS["R35"] | TRIPS["R41"], settings=undated)
    counts = judged_of(view_of(TRIPS["R41"], settings=undated)).set_index("code")
    assert counts.loc["R41", "not_judged_count"] == 1


def test_limits_follow_the_settings():
    strict = replace(SETTINGS, practice_overlay={"limit_methane": {"low": 7, "base": 7, "high": 7}})
    assert "R14" in codes({"wells.methane_mg_per_l": 7.5}, settings=strict)


def test_property_nothing_known_trips_nothing_that_needs_it():
    """A missing input is never a flag: the well is not judged, and counted so."""
    for code, change in TRIPS.items():
        rule = next(r for r in rules() if r.code == code)
        for need in rule.needs.split("|"):
            blank = {name: None for name in need.split("/")}
            blank = {k.replace("not_recorded.", "wells."): v for k, v in blank.items()}
            if any(name.startswith(("option.", "run.")) for name in blank):
                continue
            view = view_of(change | blank)
            assert code not in set(flags_of(view)["code"]), (code, need)
            counts = judged_of(view).set_index("code").loc[code]
            assert (counts["judged_count"], counts["not_judged_count"]) == (0, 1)


def test_property_chunks_equal_the_whole_and_rows_are_typed():
    changes = list(TRIPS.values())
    whole = flags_of(view_of(*changes))
    assert io.to_arrow("risks", whole).num_rows == len(whole)
    assert whole[["well_id", "code"]].apply(tuple, axis=1).is_monotonic_increasing
    ids = [f"w{n:03d}" for n in range(len(changes))]
    for n in range(0, len(changes), 11):
        part = view_of(*changes[n : n + 11])
        found = flags_of(part)
        names = dict(zip([f"w{k:03d}" for k in range(11)], ids[n : n + 11], strict=False))
        found["well_id"] = found["well_id"].map(names)
        kept = whole[whole["well_id"].isin(ids[n : n + 11])].reset_index(drop=True)
        pd.testing.assert_frame_equal(found.reset_index(drop=True), kept, check_dtype=False)


def test_counts_agree_with_the_flags():
    view = view_of(*TRIPS.values())
    counts = judged_of(view).set_index("code")
    tripped = flags_of(view)["code"].value_counts()
    assert (counts["judged_count"] + counts["not_judged_count"] == len(TRIPS)).all()
    assert (counts["tripped_count"] == tripped.reindex(counts.index).fillna(0)).all()


def test_frames_with_few_columns_are_not_judged_and_typed():
    keys = pd.DataFrame({"source_id": ["invented"], "well_id": ["w1"]})
    found = flags(keys, keys, keys, SETTINGS)
    assert len(found) == 0 and io.to_arrow("risks", found).num_rows == 0
    assert (judged(keys, keys, keys, SETTINGS)["judged_count"] == 0).all()


def test_selection_in_another_order_is_matched_by_key():
    a = view_of(TRIPS["R16"], TRIPS["R30"])
    wells, design, selection = (a._frames[name] for name in ("wells", "design", "selection"))
    turned = flags(wells, design.iloc[::-1], selection.iloc[::-1], SETTINGS)
    pd.testing.assert_frame_equal(turned, flags(wells, design, selection, SETTINGS))


def test_confidence_is_that_of_the_deciding_input():
    warm = TRIPS["R22"] | {"design.temperature_water_basis_code": "assumed"}
    assert one("R22", warm)["input_confidence_code"] == "assumed"
    assert one("R16", TRIPS["R16"])["input_confidence_code"] == "recorded"
    assert one("R30", TRIPS["R30"])["input_confidence_code"] == "derived"
