"""Rules of places: where a well lies, what is barred, what is judged; each place's rule by its citation."""

import csv

import numpy as np
import pandas as pd
import pytest

import pipeline
from pipeline import schema
from pipeline.errors import UsageError
from pipeline.jurisdiction import barred, judge, of_pack, packs, rules
from pipeline.jurisdiction.places import area_of
from pipeline.jurisdiction.rules import COLUMNS
from pipeline.settings import Settings, load

SETTINGS = Settings(as_of="2024-06-01", draws=0)
OPTIONS = pd.DataFrame(list(schema.rows("options")))
FT, GPM, IN = 0.3048, 6.30901964e-5, 0.0254
USUAL = {
    "source_id": "invented", "market_code": "us", "use_code": "domestic", "status_code": "active",
    "depth_completed_m": 240 * FT, "depth_static_m": 60 * FT, "depth_pumping_m": 120 * FT,
    "flow_tested_m3_per_s": 12 * GPM, "diameter_casing_inside_m": 6.065 * IN, "duration_test_s": 6 * 3600.0,
}  # fmt: skip


def wells_of(*changes):
    return pd.DataFrame([{**USUAL, "well_id": f"w{n}"} | change for n, change in enumerate(changes)])


def outcomes(change, settings=SETTINGS, **edits):
    """Outcome of each rule of one well, through design, size and bill; ``edits`` alter a table before judging."""
    done = pipeline.size(wells_of(change), settings)
    frames = {n: done[n] for n in ("design", "selection", "bill_lines")}
    for name, edit in edits.items():
        frames[name] = edit(frames[name].copy())
    found = judge(wells_of(change), *frames.values(), settings)
    return dict(zip(found["rule_id"], found["judgement_code"], strict=True))


@pytest.mark.parametrize("text", ["NY", "New York", "US-NY", "36", "36061", "USA / New York", "NY (New York)",
                                  "New York State", "n.y.", "State of New York", "New York, United States", "36.0"])
def test_a_state_is_known_by_its_usual_spellings(text):
    assert area_of(text, is_us=True) == "US-NY"


@pytest.mark.parametrize("text", ["Maryland", "MD", "MT", "24", "Western Australia", "", "York"])
def test_a_name_that_other_countries_use_is_not_taken_for_a_state(text):
    assert area_of(text, is_us=False) == ""


def test_coordinates_elsewhere_keep_the_rules_off():
    wells = wells_of({"area_code": "Maryland"}, {"area_code": "Maryland", "latitude_deg": 6.6, "longitude_deg": -10.0})
    assert list(packs(wells.iloc[:1], SETTINGS)) == ["US-MD"]
    wells[["latitude_deg", "longitude_deg"]] = wells[["latitude_deg", "longitude_deg"]].astype(float)
    assert list(packs(wells, SETTINGS)) == ["US-MD", ""]


def test_rules_are_off_where_no_place_is_told():
    wells = wells_of({}, {"area_code": "Brindle"}, {"area_code": "Ohio"}, {"area_code": "Massachusetts"})
    assert list(packs(wells, SETTINGS)) == ["", "", "", ""]
    assert len(judge(wells, *[pd.DataFrame({"source_id": [], "well_id": []})] * 2, pd.DataFrame(), SETTINGS)) == 0
    assert list(packs(wells_of({"area_code": "MA", "region_code": "Southborough"}), SETTINGS)) == [
        "US-MA/southborough"
    ]


def test_reference_new_york_bars_weak_and_unthreaded_pipe():
    # 10 NYCRR Appendix 5-B, 5-B.5: PE at least 160 psi; PVC threaded and coupled, Schedule 80 or heavier
    gone = barred("US-NY", OPTIONS, SETTINGS)
    table = OPTIONS.set_index("option_id")
    assert gone["pe3408-sidr11.5-1"] == "ny_pe_rating" and "pe3408-sidr9-1" not in gone
    assert gone["pvc-sch40-glued-1"] == "ny_pvc_thread" and "pvc-sch80-thr-1" not in gone
    odd = table.loc[["pvc-sch80-thr-1"]].reset_index().assign(class_label="Sch 40", option_id="odd")
    assert barred("US-NY", odd, SETTINGS) == {"odd": "ny_pvc_schedule"}
    nothing = odd.assign(family_code="pe", rating_kpa="", option_id="untold")
    assert barred("US-NY", nothing, SETTINGS) == {"untold": "ny_pe_rating"}
    assert barred("", OPTIONS, SETTINGS) == {} == barred("US-OH", OPTIONS, SETTINGS)
    assert not any(option.startswith(("galv", "ss3")) for option in gone)


def test_reference_new_york_spliced_coil_is_a_caution():
    def joint(count):
        return lambda f: f.assign(option_id="pe3408-sidr9-1", family_code="pe", joint_count=count)

    assert outcomes({"area_code": "NY"}, selection=joint(1))["ny_pe_splice"] == "fails"
    assert outcomes({"area_code": "NY"}, selection=joint(0))["ny_pe_splice"] == "passes"


def _lines(item, quantity):
    def edit(lines):
        lines.loc[lines["item_id"].astype(str).str.startswith(item), "quantity"] = quantity
        return lines

    return edit


def test_reference_new_hampshire_valves_clamps_ties_and_barbs():
    # We 702.05 and 702.04: two check valves, two all-stainless clamps, ties every 5 to 20 ft
    def pe(f):
        return f.assign(option_id="pe3408-sidr9-1", family_code="pe", joint_count=0)

    nh = {"area_code": "NH"}
    assert outcomes(nh)["nh_check_valves"] == "passes"
    assert outcomes(nh, bill_lines=_lines("check_valve", 1))["nh_check_valves"] == "fails"
    assert outcomes(nh, selection=pe, bill_lines=_lines("clamp_hose", 2))["nh_clamps"] == "fails"
    assert outcomes(nh, selection=pe, bill_lines=_lines("clamp_hose", 4))["nh_clamps"] == "passes"
    assert outcomes(nh, selection=pe)["nh_barb_metal"] == "not_judged"
    assert outcomes(nh)["nh_cable_ties"] == "passes"
    assert outcomes(nh, bill_lines=_lines("cable_tie", 140 / 25))["nh_cable_ties"] == "fails"
    assert "nh_pitless" not in outcomes(nh | {"diameter_casing_inside_m": 15 * IN})
    assert outcomes(nh | {"diameter_casing_inside_m": np.nan})["nh_pitless"] == "not_judged"


@pytest.mark.parametrize(("gpm", "hours", "replaces", "told"), [
    (0.9, 6, False, "fails"), (1.0, 6, False, "passes"), (1.0, 1, False, "not_judged"), (0.9, 6, True, None),
])  # fmt: skip
def test_reference_maryland_yield_of_a_new_well(gpm, hours, replaces, told):
    # COMAR 26.04.04.26: 1 gpm for six hours; a well that replaces another is exempt
    well = {"area_code": "Maryland", "flow_tested_m3_per_s": gpm * GPM, "duration_test_s": hours * 3600.0}
    assert outcomes(well | {"is_replacement": replaces}).get("md_yield") == told


@pytest.mark.parametrize(("feet", "gpm"), [(100, 5), (150, 5), (151, 4), (200, 4), (201, 3), (300, 3), (301, 2)])
def test_reference_southborough_yield_by_depth(feet, gpm):
    # town code chapter 228-5: 5 to 6 gpm to 150 ft, 4 to 200, 3 to 300, 2 beyond, for four hours
    for flow, told in ((gpm, "passes"), (gpm - 0.1, "fails")):
        well = {"area_code": "US-MA", "region_code": "Southborough", "depth_completed_m": feet * FT,
                "depth_static_m": 5.0, "depth_pumping_m": 15.0, "flow_tested_m3_per_s": flow * GPM}  # fmt: skip
        found = {k: v for k, v in outcomes(well).items() if "yield" in k}
        assert list(found.values()) == [told], (feet, flow, found)


@pytest.mark.parametrize(("area", "rule", "limit_m"), [
    ("WA", "wa_flood", 2 * FT), ("WI", "wi_flood", 2 * FT), ("MT", "mt_flood", 18 * IN),
])  # fmt: skip
def test_reference_casing_above_the_flood(area, rule, limit_m):
    # WAC 173-160-291 and NR 812.29: 2 ft; Mont. 36.21.647: 18 in
    for height, told in ((limit_m + 0.01, "passes"), (limit_m - 0.01, "fails"), (np.nan, "not_judged")):
        well = {"area_code": area, "length_stick_up_m": 0.5 + height, "level_flood_m": 0.5}
        assert outcomes(well)[rule] == told


def test_reference_other_places():
    assert outcomes({"area_code": "MT", "is_flowing": True})["mt_flowing_valve"] == "not_judged"
    assert "mt_flowing_valve" not in outcomes({"area_code": "MT"})
    assert outcomes({"area_code": "WA", "has_access_port": False})["wa_access"] == "fails"
    assert "nh_access" not in outcomes({"area_code": "NH", "has_access_port": False})
    assert outcomes({"area_code": "TX", "has_sand": True})["tx_sand"] == "fails"
    assert outcomes({"area_code": "MI", "depth_pump_m": 40.0})["mi_record_length"] == "passes"
    assert outcomes({"area_code": "MI", "power_motor_w": 746.0})["mi_record_length"] == "fails"
    nebraska = outcomes({"area_code": "NE"})
    assert nebraska["ne_disinfection"] == "passes" and nebraska["ne_compound"] == "passes"


def test_reference_maine_ratings_hold_for_every_option():
    # 144 CMR 232 tables 604: what is sold here claims no more than the tables allow
    for rule in of_pack("US-ME", SETTINGS):
        assert rule.applies_to == "option" and rule.severity == "caution"
    for row in outcomes({"area_code": "Maine"}, selection=lambda f: f.assign(
            option_id="pe4710-dr11-1", family_code="pe")).items():
        assert row == ("me_pe4710_dr11", "passes")


def test_data_every_rule_is_cited_and_resolves():
    for row in schema.rows("jurisdiction"):
        assert row["citation"] and row["read_on"] and row["reference_id"] in schema.references(), row["rule_id"]
        assert row["how"] == "read"
    assert len({r.rule_id for r in rules(SETTINGS)}) == len(schema.rows("jurisdiction"))


def test_data_yields_of_places_are_those_of_the_reference_table():
    table = [(float(r["flow_least"]), float(r["duration"])) for r in schema.rows("reference/yield_rules")]
    here = [(r.value / GPM, r.hours) for r in rules(SETTINGS) if r.quantity == "flow_tested"]
    assert np.array(sorted(here)) == pytest.approx(np.array(sorted(table)), rel=1e-4)


def _write(path, **change):
    row = dict.fromkeys(COLUMNS, "") | {
        "rule_id": "brindle_bury", "area_code": "Brindle", "applies_to": "well", "quantity": "depth_discharge",
        "test": "at least", "value": "6", "unit": "ft", "severity": "caution", "sentence": "Buried six feet.",
        "citation": "invented",
    } | change  # fmt: skip
    with path.open("w", newline="", encoding="utf-8") as handle:
        writer = csv.DictWriter(handle, list(row))
        writer.writeheader()
        writer.writerow(row)
    return path


def test_a_rule_of_ones_own(tmp_path):
    _write(tmp_path / "mine.csv")
    (tmp_path / "settings.toml").write_text('local_rules = "mine.csv"\n')
    settings = load(tmp_path / "settings.toml")
    assert list(packs(wells_of({"area_code": "BRINDLE"}), settings)) == ["Brindle"]
    assert outcomes({"area_code": "Brindle"}, settings)["brindle_bury"] in ("passes", "fails")


@pytest.mark.parametrize(("change", "told"), [
    ({"severity": "bad"}, "line 2, column severity"), ({"quantity": "colour"}, "column quantity"),
    ({"value": "six"}, "column value"), ({"unit": "psi"}, "column unit"), ({"rule_id": "ny_pe_rating"}, "is taken"),
    ({"family_code": "clay"}, "column family_code"), ({"sentence": ""}, "column sentence"), ({"extra": "1"}, "extra"),
])  # fmt: skip
def test_a_rule_that_cannot_be_used_is_refused_in_words(tmp_path, change, told):
    settings = Settings(local_rules=_write(tmp_path / "mine.csv", **change))
    with pytest.raises(UsageError, match=told):
        rules(settings)


def test_property_a_well_is_judged_alike_alone_and_among_others():
    wells = wells_of({"area_code": "NY"}, {}, {"area_code": "NH"}, {"area_code": "MD", "flow_tested_m3_per_s": 1e-5})
    done = pipeline.size(wells, SETTINGS)
    whole = judge(wells, done["design"], done["selection"], done["bill_lines"], SETTINGS)
    parts = [judge(wells.iloc[[n]], done["design"].iloc[[n]], done["selection"].iloc[[n]],
                   done["bill_lines"][done["bill_lines"]["well_id"] == f"w{n}"], SETTINGS) for n in range(4)]  # fmt: skip
    pd.testing.assert_frame_equal(whole, pd.concat([p for p in parts if len(p)], ignore_index=True))
