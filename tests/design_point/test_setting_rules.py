"""Recorded pump settings correct the setting rules; the residual table; on invented wells with a known habit."""

import numpy as np
import pandas as pd
import pytest
from fields_of_wells import SETTINGS, plane, without

from pipeline import schema
from pipeline.design_point import design, learn, residuals
from pipeline.design_point.calibration import learn_rule, medians_left_out

FT = 0.3048


def habit(count=120, share=0.9, regions=("a", "b", "c"), seed=4, **columns):
    """Wells whose pumps hang at a share of the column above the usual clearance, with some scatter."""
    wells = plane(count, region_code=[regions[n % len(regions)] for n in range(count)], **columns)
    wells["depth_completed_m"] = wells["depth_static_m"] + 60
    rng = np.random.default_rng(seed)
    column = 60 - 16 * FT  # down to the clearance above the bottom
    wells["depth_pump_m"] = wells["depth_static_m"] + (share + rng.normal(0, 0.03, count)) * column
    return wells


def test_a_habit_of_deep_pumps_is_learned():
    wells = habit()
    blank = without(wells, np.arange(120) % 4 == 0, "depth_pump_m")
    asked = blank["depth_pump_m"].isna()
    plain = design(blank[asked], SETTINGS, learn(without(wells, slice(None), "depth_pump_m"), SETTINGS))
    found = design(blank[asked], SETTINGS, learn(blank, SETTINGS))
    truth = wells.loc[asked, "depth_pump_m"].to_numpy()
    miss, before = np.abs(found["depth_pump_m"] - truth).median(), np.abs(plain["depth_pump_m"] - truth).median()
    assert before > 10  # 0.9 of the column where the declared rule for screened wells says 0.55
    assert miss < 2
    inside = (truth >= found["depth_pump_m_low"]) & (truth <= found["depth_pump_m_high"])
    assert inside.mean() > 0.7
    width = lambda frame: (frame["depth_pump_m_high"] - frame["depth_pump_m_low"]).median()  # noqa: E731
    assert width(found) < 0.6 * width(plain)


def test_few_recorded_settings_move_the_rule_a_little_and_many_give_it_up():
    missed = np.full(200, 0.3)
    corrections = [learn_rule(missed[:n], np.full(n, "a"), SETTINGS)[1]["middle"] for n in (8, 24, 200)]
    # n / (n + 8) of what is missed: 0.15, 0.225, 0.288
    assert corrections == pytest.approx([0.3 * n / (n + 8) for n in (8, 24, 200)])
    assert learn_rule(missed[:7], np.full(7, "a"), SETTINGS) is None


def test_a_region_without_recorded_settings_borrows_with_a_wider_band():
    rng = np.random.default_rng(0)
    region = np.repeat([f"r{n}" for n in range(10)], 30)
    missed = np.repeat(rng.normal(0.1, 0.15, 10), 30) + rng.normal(0, 0.03, 300)
    own, other = learn_rule(missed, region, SETTINGS)
    assert other["down"] > 1.5 * own["down"].max() and other["up"] > 1.5 * own["up"].max()
    assert other["middle"] == pytest.approx(np.median(missed) * 300 / 308)
    for name in ("r0", "r7"):
        mine = np.median(missed[region == name])
        assert own.loc[name, "middle"] == pytest.approx((30 * mine + 8 * other["middle"]) / 38)
    lone, wide = learn_rule(missed[:30], region[:30], SETTINGS)
    assert wide["up"] == pytest.approx(1.5 * lone["up"].max())  # no second region tells how regions differ


def test_regions_are_told_apart():
    wells = pd.concat([habit(60, 0.9, ("a",)), habit(60, 0.4, ("b",), noise=1.0).assign(
        well_id=[f"v{n}" for n in range(60)])], ignore_index=True)  # fmt: skip
    blank = without(wells, np.arange(120) % 4 == 0, "depth_pump_m")
    asked = blank["depth_pump_m"].isna()
    found = design(blank[asked], SETTINGS, learn(blank, SETTINGS))
    share = (found["depth_pump_m"] - found["depth_static_m"]) / (60 - 16 * FT)
    in_a = (found["region_code"] == "a").to_numpy()
    assert share[in_a].median() > 0.75 and share[~in_a].median() < 0.55


def test_hand_and_motor_pumps_are_told_apart():
    wells = habit(80, 0.9)
    hand = wells.assign(well_id=[f"h{n}" for n in range(80)], use_code="village", depth_pump_m=np.nan)
    both = pd.concat([wells, hand], ignore_index=True)
    found = design(both, SETTINGS, learn(both, SETTINGS))
    plain = design(both, SETTINGS, learn(hand, SETTINGS))
    assert found.loc[80:, "depth_pump_m"].to_numpy() == pytest.approx(plain.loc[80:, "depth_pump_m"].to_numpy())


@pytest.mark.parametrize("count", [2, 3, 6, 7])
def test_medians_left_out_are_those_of_the_others(count):
    values = np.random.default_rng(count).normal(size=count).round(1)
    others = [np.median(np.delete(values, n)) for n in range(count)]
    assert medians_left_out(values) == pytest.approx(others)
    assert np.isnan(medians_left_out(values[:1])).all()


def test_residuals_hold_recorded_against_modelled():
    wells = habit(40, flow_tested_m3_per_s=1e-3, test_method_code="pumped")
    wells["drawdown_test_m"] = 10.0
    wells = without(wells, np.arange(40) >= 20, "depth_pump_m")
    wells = without(wells, [0], "drawdown_test_m", "flow_tested_m3_per_s")
    comparable = learn(wells, SETTINGS)
    found = residuals(wells, SETTINGS, comparable)
    assert list(found.columns) == [c.field.name for c in schema.table("residuals")]
    counts = found["rule_code"].value_counts()
    assert counts["drawdown"] == 39 and counts.filter(like="setting").sum() == 20
    assert (found["residual_m"] == found["recorded_m"] - found["modelled_m"]).all()
    inside = found["recorded_m"].between(found["modelled_m_low"], found["modelled_m_high"])
    assert (found["is_in_band"].astype(bool) == inside).all()
    drawdown = found[found["rule_code"] == "drawdown"]
    assert drawdown["recorded_m"].to_numpy() == pytest.approx(np.full(39, 10.0))
    assert drawdown["modelled_m"].between(8, 12.5).all()  # the wells around drew down a sixth of their column as well
    setting = found[found["rule_code"] != "drawdown"].set_index("well_id")
    blank = without(wells, slice(None), "depth_pump_m")
    asked = design(blank, SETTINGS, comparable).set_index("well_id").loc[setting.index]
    assert setting["modelled_m"].to_numpy() == pytest.approx(asked["depth_pump_m"].to_numpy())


def test_residuals_of_wells_that_record_nothing_are_none():
    wells = plane(5)
    found = residuals(wells, SETTINGS, learn(wells, SETTINGS))
    assert len(found) == 0 and list(found.columns) == [c.field.name for c in schema.table("residuals")]


def test_property_corrections_are_the_same_in_any_order():
    wells = habit(60)
    one, two = (learn(frame, SETTINGS).setting.by_region for frame in (wells, wells.sample(frac=1, random_state=1)))
    assert one.keys() == two.keys() and one
    for key in one:
        pd.testing.assert_frame_equal(one[key].sort_index(), two[key].sort_index(), check_exact=True)
