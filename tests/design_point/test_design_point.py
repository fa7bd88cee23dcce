"""The design point of typed wells against worked examples and its own rules."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from wells import G1, design_of, wells_of

from pipeline.design_point import design, learn
from pipeline.settings import Settings
from pipeline.units import convert

FT = 0.3048


def feet(frame, name):
    return frame[name].to_numpy(float) / FT


def test_reference_golden_well_setting():
    # job of the trade, worked by hand: SC 12/60 = 0.20 gpm/ft; 10 gpm draws 50 ft; 60 + 10 + 50 = 120; + 20 = 140
    found = design_of(G1)
    assert convert(found["specific_capacity_m2_per_s"], "m**2/s", "gpm/ft")[0] == pytest.approx(0.20, rel=1e-6)
    assert feet(found, "depth_pumping_m")[0] == pytest.approx(120, abs=0.01)
    assert feet(found, "depth_pump_m")[0] == pytest.approx(140, abs=0.01)
    assert feet(found, "length_drop_pipe_m")[0] == pytest.approx(136, abs=0.01)  # pitless adapter at 4 ft
    assert found["grade_code"][0] == "A"


def test_reference_specific_capacity_band():
    # USGS SIR 2010-5212: within about 20 %: 0.5 gpm/ft at 10 gpm draws 20 ft, 16.7 to 25 ft
    found = design_of({"depth_completed": "300 ft", "depth_static": "50 ft", "flow_tested": "10 gpm",
                       "depth_pumping": "70 ft", "flow_duty": "10 gpm"})  # fmt: skip
    flow = 10.0
    low, high = (
        flow / convert(found[f"specific_capacity_m2_per_s_{e}"], "m**2/s", "gpm/ft")[0] for e in ("high", "low")
    )
    assert low == pytest.approx(16.7, abs=0.05) and high == pytest.approx(25.0, abs=0.05)


def test_observed_values_win():
    found = design_of(
        {**G1, "depth_pump": "180 ft"}, {**G1, "length_drop_pipe": "150 ft"}, {**G1, "flow_duty": "7 gpm"}
    )
    assert feet(found, "depth_pump_m")[0] == pytest.approx(180)
    assert found["setting_limited_code"][0] == "recorded"
    assert feet(found, "length_drop_pipe_m")[1] == pytest.approx(150)
    assert found["length_drop_pipe_basis_code"][1] == "recorded"
    assert convert(found["flow_duty_m3_per_s"], "m**3/s", "gpm")[2] == pytest.approx(7)


def test_a_pumped_level_below_the_recorded_pump_is_not_hidden():
    told = {**G1, "depth_pump": "100 ft"}
    found = design_of({**told, "test_method": "pumped"}, {**told, "test_method": "airlift"}, {**told, "depth_pumping": "60 ft"})
    assert feet(found, "margin_water_m")[0] == pytest.approx(-20, abs=0.1)  # 120 ft while pumped, pump at 100
    assert (feet(found, "margin_water_m")[1:] > 0).all()  # blown or without a fall: no evidence against the pump


def test_setting_respects_bottom_and_screen():
    high_water = {
        "depth_completed": "200 ft",
        "depth_static": "50 ft",
        "flow_tested": "30 gpm",
        "depth_pumping": "56 ft",
    }
    found = design_of({**high_water, "depth_screen_top": "85 ft"},
                      {**high_water, "depth_pumping": "190 ft", "depth_screen_top": "85 ft"},
                      {"depth_completed": "60 ft", "depth_static": "40 ft", "flow_tested": "12 gpm", "depth_pumping": "50 ft"})  # fmt: skip
    assert feet(found, "depth_pump_m")[0] == pytest.approx(80, abs=0.01)  # wanted 82: 5 ft above the screen
    assert found["setting_limited_code"][0] == "screen"
    assert feet(found, "depth_pump_m")[1] > 85  # the water falls into the screen: the pump follows
    assert feet(found, "depth_pump_m")[2] <= 60 - 15 + 0.01  # shallow well: a quarter of the depth at the most
    assert found["setting_limited_code"][2] == "bottom"


def test_low_yield_well_is_set_deep_with_the_level_at_its_intake():
    found = design_of({"use": "domestic", "depth_completed": "400 ft", "depth_static": "30 ft", "flow_tested": "1 gpm"})
    assert feet(found, "depth_pump_m")[0] == pytest.approx(400 - 16, abs=0.01)
    assert feet(found, "depth_pumping_m")[0] > 360
    assert convert(found["flow_duty_m3_per_s"], "m**3/s", "gpm")[0] == pytest.approx(1.0)


def test_hand_pump_has_no_shutoff_head_and_ends_above_ground():
    found = design_of({"use": "village", "depth_completed": "60 m", "depth_static": "12 m"})
    assert found["pump_kind_code"][0] == "hand"
    assert np.isnan(found["head_shutoff_m"][0])
    assert found["length_drop_pipe_m"][0] > found["depth_pump_m"][0]
    assert convert(found["flow_duty_m3_per_s"], "m**3/s", "L/min")[0] == pytest.approx(17)  # Sphere: 17 L/min


def test_total_head_given_is_used_as_typed():
    found = design_of({"depth_completed": "300 ft", "head_total_dynamic": "250 ft"})
    assert feet(found, "head_before_friction_m")[0] == pytest.approx(250)
    assert bool(found["head_is_given"][0])


@pytest.mark.parametrize(
    ("row", "grade"),
    [(G1, "A"), ({k: v for k, v in G1.items() if k != "depth_pumping"}, "B"),
     ({"depth_completed": "200 ft", "depth_static": "50 ft"}, "C"), ({"depth_completed": "200 ft"}, "D"),
     (G1 | {"depth_pumping": "12 ft"}, "B"),  # a rate typed in the place of the level: above the static level
     ({"use": "domestic"}, "E"), ({"depth_completed": "200 ft", "length_drop_pipe": "100 ft"}, "A")],
)  # fmt: skip
def test_grades(row, grade):
    assert design_of(row)["grade_code"][0] == grade


@pytest.mark.parametrize("grade", "ABCDE")
def test_a_value_that_rests_on_a_repair_lowers_the_grade_by_one(grade):
    depth = {"use": "domestic", "depth_completed": "200 ft"}
    row = {"A": G1, "B": {k: v for k, v in G1.items() if k != "depth_pumping"},
           "C": depth | {"depth_static": "50 ft"}, "D": depth, "E": {"use": "domestic"}}[grade]  # fmt: skip
    as_read, terms = wells_of(row), Settings(draws=0)
    wells = pd.concat([as_read.assign(repaired_count=pd.array([n], "Int32")) for n in (0, 1, 2, None)])
    wells["well_id"] = ["0", "1", "2", "not told"]
    found = design(wells.reset_index(drop=True), terms, learn(as_read, terms))
    lower = "ABCDE"[min("ABCDE".index(grade) + 1, 4)]
    assert found["grade_code"].tolist() == [grade, lower, lower, grade]


OPTIONAL = ["flow_tested", "depth_pumping", "depth_static", "diameter_casing_inside", "temperature_water"]


@settings(max_examples=40, deadline=None)
@given(st.sets(st.sampled_from(OPTIONAL), min_size=1))
def test_property_a_missing_input_never_raises_the_grade(missing):
    whole, less = design_of(G1, {k: v for k, v in G1.items() if k not in missing})["grade_code"]
    assert less >= whole


@settings(max_examples=60, deadline=None)
@given(
    depth=st.floats(5, 900), static=st.floats(-5, 900), pumped=st.floats(0, 900), flow=st.floats(0.01, 200),
    use=st.sampled_from(["domestic", "stock", "irrigation", "village", "public_supply", "unknown"]),
)  # fmt: skip
def test_property_any_well_gets_a_design_in_order(depth, static, pumped, flow, use):
    found = design_of({"use": use, "depth_completed": f"{depth} m", "depth_static": f"{static} m",
                       "depth_pumping": f"{pumped} m", "flow_tested": f"{flow} gpm"})  # fmt: skip
    for name in ("depth_pump_m", "length_drop_pipe_m", "flow_duty_m3_per_s", "head_before_friction_m"):
        low, base, high = (found[name + end][0] for end in ("_low", "", "_high"))
        assert np.isfinite([low, base, high]).all()
        assert low <= base + 1e-9 and base <= high + 1e-9, name
    assert found["depth_pump_m"][0] <= depth
    assert found["length_drop_pipe_m"][0] > 0
