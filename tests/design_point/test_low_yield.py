"""Low yield is what the well sustains: small tests, storage, open cases, untested wells in poor ground; by hand."""

from __future__ import annotations

import numpy as np
import pytest
from fields_of_wells import SETTINGS, plane, without
from wells import design_of, wells_of

from pipeline.design_point import design, duty, learn
from pipeline.units import convert

FT = 0.3048
SMALL = {"use": "domestic", "depth_completed": "200 ft", "depth_static": "40 ft", "flow_tested": "2 gpm",
         "depth_pumping": "41 ft", "test_method": "pumped"}  # fmt: skip


def gpm(frame, name="flow_duty_m3_per_s"):
    return np.asarray(convert(frame[name].to_numpy(float), "m**3/s", "gpm"))


def test_a_small_test_that_hardly_drew_down_is_no_low_yield():
    """2 gpm drew 1 ft (2 gpm/ft): water above the deepest setting 200 - 16 - 10 - 10 - 40 = 124 ft, half of it 62 ft.

    Even with all losses growing with the square of the rate 2 gpm times the root of 62 ft over 1 ft, 15.7 gpm, are
    there: a household's 10 gpm are asked of it, at 10/2 = 5 ft of drawdown in proportion.
    """
    found = design_of(SMALL)
    assert gpm(found)[0] == pytest.approx(10)
    assert found["depth_pumping_m"][0] / FT == pytest.approx(40 + 10 + 5, abs=0.01)
    assert found["depth_pump_m"][0] / FT == pytest.approx(75, abs=0.01) and found["setting_limited_code"][0] == "none"
    assert found["grade_code"][0] == "A"


def test_what_a_small_test_shows_is_the_root_of_water_over_fall():
    rows = [SMALL | {"depth_pumping": f"{40 + fall} ft"} for fall in (4, 16, 62, 100)]
    gives = np.asarray(convert(duty.sustained_flow(wells_of(*rows), SETTINGS), "m**3/s", "gpm"))
    # roots of 62/4 and 62/16 times 2 gpm; 62/62 gives no more than the test, and is short of 5 gpm: low yield
    assert gives == pytest.approx([2 * np.sqrt(15.5), 2.0, 2.0, 2.0], rel=1e-6)
    assert duty.is_low_yield(wells_of(*rows), SETTINGS).tolist() == [False, True, True, True]


@pytest.mark.parametrize("row", [SMALL | {"test_method": "airlift"}, SMALL | {"test_method": "bailed"},
                                 {k: v for k, v in SMALL.items() if k != "depth_pumping"},
                                 {k: v for k, v in SMALL.items() if k != "depth_static"},
                                 SMALL | {"depth_screen_top": "50 ft"}])  # fmt: skip
def test_without_a_pumped_fall_or_water_above_the_screen_the_yield_is_what_was_tested(row):
    found = design_of(row)
    assert gpm(found)[0] == pytest.approx(2) and found["depth_pump_m"][0] / FT > 170


def test_a_fall_below_what_can_be_read_is_reckoned_as_readable():
    """A fall of 0.1 ft is no more evidence than 0.3 m."""
    row = SMALL | {"flow_tested": "0.5 gpm", "depth_pumping": "40.1 ft"}
    gives = duty.sustained_flow(wells_of(row), SETTINGS)
    expected = 0.5 * np.sqrt(62 * FT / 0.3)
    assert np.asarray(convert(gives, "m**3/s", "gpm"))[0] == pytest.approx(0.5 if expected < 5 else expected)
    assert expected < 5


def test_a_yield_that_may_be_the_rate_of_a_small_test_leaves_both_open():
    """3.2 times (root of a half over the low share of drawdown, 0.05) at the most; nothing of the kind when bailed."""
    untold = {k: v for k, v in SMALL.items() if k not in ("depth_pumping", "test_method")}
    found = design_of(untold, untold | {"test_method": "bailed"}, untold | {"flow_tested": "1 gpm"})
    assert gpm(found, "flow_duty_m3_per_s_high") == pytest.approx([2 * np.sqrt(10), 2, np.sqrt(10)], rel=1e-6)
    low = found["depth_pump_m_low"].to_numpy(float) / FT
    assert low[0] < 100 < 150 < min(low[1], low[2])  # 1 gpm is a low yield whatever was drawn down
    assert (found["depth_pump_m"] / FT > 180).all()


def test_an_untested_well_where_one_in_ten_gives_too_little_may_be_set_deep():
    wells = plane(100, flow_tested_m3_per_s=1e-3, drawdown_test_m=1.0)
    poor = wells.copy()
    poor.loc[np.arange(100) % 5 == 1, "flow_tested_m3_per_s"] = 5e-5
    ends = []
    for field in (wells, poor):
        asked = without(field, [0], "flow_tested_m3_per_s", "drawdown_test_m")
        found = design(asked, SETTINGS, learn(asked, SETTINGS)).iloc[0]
        ends.append((found["flow_duty_m3_per_s"], found["depth_pump_m"], found["depth_pump_m_high"],
                     found["depth_pumping_m_high"]))  # fmt: skip
        assert found["depth_pump_m_high"] <= field.loc[0, "depth_completed_m"]
    # yields around limit no duty and move no setting: they open the band
    assert ends[0][0] == ends[1][0] and ends[0][1] == pytest.approx(ends[1][1], rel=0.2)
    assert ends[1][2] >= ends[0][2] and ends[1][3] > ends[0][3] + 1 and ends[1][2] > wells.loc[0, "depth_completed_m"] - 4


def test_a_low_yield_well_with_a_pump_on_record_is_drawn_down_to_that_pump():
    row = SMALL | {"depth_pumping": "90 ft", "depth_pump": "120 ft"}
    found = design_of(row, row | {"depth_pumping": "140 ft"})
    level = found["depth_pumping_m"].to_numpy(float) / FT
    assert level[0] == pytest.approx(110, abs=0.5)  # the least submergence above it
    assert level[1] == pytest.approx(140, abs=0.5)  # a test that drew the water below the pump is not hidden


def test_a_crowd_at_an_untested_hand_pump_is_not_judged():
    wells = wells_of({"use": "village", "depth_completed": "50 m", "depth_static": "12 m"})
    wells["people_served_count"] = 400.0
    found = design(wells, SETTINGS, learn(wells, SETTINGS))
    assert np.isnan(found["volume_available_m3"][0]) and found["volume_demand_day_m3"][0] == pytest.approx(6.0)
