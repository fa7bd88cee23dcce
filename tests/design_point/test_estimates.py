"""Estimates from comparable wells on invented fields with a known answer, and their parts by hand."""

import numpy as np
import pandas as pd
import pytest
from fields_of_wells import SETTINGS, plane, without

from pipeline.design_point import design, learn, space
from pipeline.design_point.comparable import Comparable, told
from pipeline.design_point.ladder import quantiles_by_group
from pipeline.design_point.levels import work_out
from pipeline.design_point.neighbours import quantile_left_out
from pipeline.settings import Settings

BASIS = "depth_static_basis_code"


def held_out(wells, every=5, columns=("depth_static_m",)):
    """Truth, and the design points of every fifth well without its level."""
    out = np.arange(len(wells)) % every == 0
    asked = without(wells, out, *columns)
    return wells[out].reset_index(drop=True), design(asked, SETTINGS, learn(asked, SETTINGS))[out].reset_index(drop=True)


def same(left: pd.DataFrame, right: pd.DataFrame) -> None:
    pd.testing.assert_frame_equal(left.reset_index(drop=True), right.reset_index(drop=True), check_exact=True)


def test_a_plane_water_table_is_found_under_hills():
    truth, found = held_out(plane())
    miss = (found["depth_static_m"] - truth["depth_static_m"]).abs()
    assert (found[BASIS] == "neighbours").all()
    assert miss.median() < 1.2  # noise of 1 m has a median of 0.67; the table falls 0.5 m a km
    assert miss.median() < 0.3 * (truth["depth_static_m"] - truth["depth_static_m"].median()).abs().median()


@pytest.mark.parametrize("noise", [0.5, 3.0])
def test_the_band_holds_its_share_of_wells_left_out(noise):
    truth, found = held_out(plane(1500, noise=noise), every=3)
    inside = truth["depth_static_m"].between(found["depth_static_m_low"], found["depth_static_m_high"]).mean()
    assert 0.74 < inside < 0.86  # 80 % of 500 wells, within three standard errors


def test_outliers_among_the_neighbours_move_little():
    wells = plane()
    rng = np.random.default_rng(1)
    wrong = (rng.random(len(wells)) < 0.08) & (np.arange(len(wells)) % 5 != 0)
    spoilt = wells.copy()
    spoilt.loc[wrong, "depth_static_m"] = 400.0
    truth, found = held_out(spoilt)
    assert (found["depth_static_m"] - truth["depth_static_m"]).abs().median() < 2.0


def test_two_aquifers_are_told_apart_by_depth():
    wells = plane(800, noise=0.5)
    deep = np.arange(len(wells)) % 2 == 0
    rng = np.random.default_rng(2)
    wells["depth_completed_m"] = np.where(deep, rng.uniform(150, 170, len(wells)), wells["depth_static_m"] + 15)
    wells.loc[deep, "depth_static_m"] += 60
    truth, found = held_out(wells)
    assert (found["depth_static_m"] - truth["depth_static_m"]).abs().median() < 3
    blind = without(wells, slice(None), "depth_completed_m")
    truth, lost = held_out(blind)
    width = lambda frame: (frame["depth_static_m_high"] - frame["depth_static_m_low"]).median()  # noqa: E731
    assert width(lost) > 3 * width(found)  # without depths nobody can tell which aquifer it is


def test_wells_on_section_centres_are_estimated_from_their_own_section_and_around():
    wells = plane(600)
    for name, step in (("latitude_deg", 0.0145), ("longitude_deg", 0.02)):
        wells[name] = (wells[name] / step).round() * step
    assert wells[["latitude_deg", "longitude_deg"]].drop_duplicates().shape[0] < 450
    truth, found = held_out(wells)
    inside = truth["depth_static_m"].between(found["depth_static_m_low"], found["depth_static_m_high"]).mean()
    assert (found["depth_static_m"] - truth["depth_static_m"]).abs().median() < 2
    assert inside > 0.7


def test_a_well_is_never_its_own_neighbour():
    wells = plane(60)
    wells.loc[7, "depth_static_m"] = 500.0
    asked = learn(wells, SETTINGS).ask(wells)
    near = asked.near("static", np.ones(len(wells), bool))
    assert near[7, 1] < 100
    twin = pd.concat([wells, wells.iloc[[7]].assign(well_id="twin", depth_static_m=np.nan)], ignore_index=True)
    assert np.isfinite(learn(twin, SETTINGS).ask(twin).near("static", np.ones(61, bool))[60, 1])


def test_property_chunks_order_and_blocks_change_nothing():
    wells = without(plane(300), np.arange(300) % 3 == 0, "depth_static_m")
    wells = without(wells, np.arange(300) % 7 == 0, "depth_completed_m")
    comparable = learn(wells, SETTINGS)
    whole = design(wells, SETTINGS, comparable)
    for size in (1, 37, 299):
        parts = [design(wells.iloc[n : n + size], SETTINGS, comparable) for n in range(0, 300, size)[:8]]
        joined = pd.concat(parts, ignore_index=True)
        same(joined, whole.head(len(joined)))
    west = wells["longitude_deg"] < -92.8  # two blocks of the map, asked apart
    apart = pd.concat([design(wells[west], SETTINGS, comparable), design(wells[~west], SETTINGS, comparable)])
    same(apart.sort_values("well_id"), whole.sort_values("well_id"))
    mixed = wells.sample(frac=1, random_state=3)
    same(design(wells, SETTINGS, learn(mixed, SETTINGS)), whole)


def test_property_ties_are_broken_by_the_id_alone():
    wells = plane(90)
    wells[["latitude_deg", "longitude_deg"]] = 44.0, -93.0  # all on one point
    wells = without(wells, [3], "depth_static_m")
    found = design(wells, SETTINGS, learn(wells, SETTINGS))
    turned = wells.iloc[::-1].reset_index(drop=True)
    again = design(turned, SETTINGS, learn(turned, SETTINGS)).sort_values("well_id")
    same(again, found)
    assert found.loc[3, BASIS] == "neighbours"
    places = space.points(wells, space.keys(wells))
    apart = np.linalg.norm(places[:, None] - places[None], axis=2)[np.triu_indices(90, 1)]
    assert len(np.unique(apart)) == len(apart) and apart.max() < 0.002  # km


@pytest.mark.parametrize("count", [0, 1, 2, 9])
def test_small_tables_are_answered(count):
    wells = without(plane(10).head(count), slice(None), "depth_static_m").reset_index(drop=True)
    found = design(wells, SETTINGS, learn(wells, SETTINGS))
    assert len(found) == count
    assert (found[BASIS] == "assumed").all()


def test_wells_without_coordinates_take_their_group_and_then_the_source():
    wells = plane(120, region_code=["a", "b"] * 60)
    wells.loc[wells["region_code"] == "b", "depth_static_m"] += 30
    wells.loc[wells["region_code"] == "b", "depth_completed_m"] += 30
    wells = without(wells, slice(None), "latitude_deg", "longitude_deg")
    wells = without(wells, [0, 1, 2], "depth_static_m", "depth_completed_m")
    wells = without(wells, [2], "region_code")
    found = design(wells, SETTINGS, learn(wells, SETTINGS))
    assert (found.loc[:2, BASIS] == "neighbours").all()
    a, b, source = found.loc[:2, "depth_static_m"]
    rest = wells.iloc[3:]
    assert a == pytest.approx(rest.loc[rest["region_code"] == "a", "depth_static_m"].median())
    assert b == pytest.approx(rest.loc[rest["region_code"] == "b", "depth_static_m"].median())
    assert source == pytest.approx(rest["depth_static_m"].median())


def test_a_well_far_from_any_other_is_not_told_by_neighbours():
    wells = plane(400)
    far = wells.iloc[[0]].assign(well_id="far", latitude_deg=10.0, depth_static_m=np.nan)
    both = pd.concat([wells, far], ignore_index=True)
    comparable = learn(both, SETTINGS)
    assert np.isnan(comparable.ask(both).near("static", np.ones(401, bool))[400]).all()


def test_reference_quantiles_of_groups():
    # definition 6 of "Sample quantiles in statistical packages" (1996), which numpy calls weibull
    rng = np.random.default_rng(5)
    values, group = rng.normal(size=200), rng.integers(0, 6, 200)
    values[::17] = np.nan
    count, found = quantiles_by_group(values, group, 7)
    for number in range(6):
        mine = values[(group == number) & ~np.isnan(values)]
        assert count[number] == len(mine)
        assert found[number] == pytest.approx(np.quantile(mine, [0.1, 0.5, 0.9], method="weibull"), rel=1e-12)
    assert count[6] == 0 and np.isnan(found[6]).all()


def test_reference_bound_of_a_value_left_out():
    # split conformal rule: the ceil((n + 1) share)-th smallest; by hand for nine values and nine tenths: the ninth
    assert quantile_left_out(np.arange(1.0, 10.0), 0.9) == 9.0
    assert quantile_left_out(np.arange(1.0, 20.0), 0.9) == 18.0
    assert quantile_left_out(np.arange(1.0, 5.0), 0.9) > 4.0  # four values cannot bound nine tenths
    rng = np.random.default_rng(0)
    held = [rng.normal() <= quantile_left_out(rng.normal(size=19), 0.9) for _ in range(3000)]
    assert np.mean(held) == pytest.approx(0.9, abs=0.02)


def test_weighted_median_of_neighbours_by_hand():
    # five wells on a line, 1, 2, 4 and 8 km from the asked one; weights 1/(d + 0.2)^2 = 0.69, 0.21, 0.057, 0.015
    names = ["asked", "a", "b", "c", "d"]
    wells = plane(5, well_id=names, elevation_ground_m=np.nan, depth_completed_m=np.nan)
    wells["latitude_deg"] = 44 + np.array([0.0, 1, 2, 4, 8]) / 111.195
    wells["longitude_deg"] = -93.0
    wells["depth_static_m"] = [np.nan, 10.0, 30.0, 20.0, 40.0]
    from pipeline.design_point.neighbours import Donors, Manner

    donors = Donors(told(wells[1:]), wells["depth_static_m"].to_numpy(float)[1:], 12, False, {})
    manner = Manner(0.0, 2.0, 0.2, 0.0, 0.0, 1.0, 1.0)
    asked = told(wells[:1])
    middle, spread, apart = donors.weigh(asked, manner, donors.search(asked, manner))[0]
    weights = np.array([1.2, 2.2, 4.2, 8.2]) ** -2.0
    assert middle == 10.0  # the nearest holds more than half of all weight
    assert spread == pytest.approx((weights * [0, 20, 10, 30]).sum() / weights.sum(), rel=2e-3)
    assert apart == pytest.approx(3.75, abs=0.01)
    flat = Manner(0.0, 0.0, 0.2, 0.0, 0.0, 1.0, 1.0)
    assert donors.weigh(asked, flat, donors.search(asked, flat))[0, 0] == 20.0  # plain median, lower of the two


def test_ground_and_depth_carry_a_neighbour_over():
    from pipeline.design_point.neighbours import Donors, Manner

    wells = plane(2, elevation_ground_m=[310.0, 300.0], depth_completed_m=[60.0, 40.0], depth_static_m=[np.nan, 20.0])
    donors = Donors(told(wells[1:]), np.array([20.0]), 12, False, {})
    asked = told(wells[:1])
    for ground, slope, expected in ((0, 0, 20.0), (1, 0, 30.0), (0.5, 0, 25.0), (0, 0.1, 22.0), (1, 0.1, 32.0)):
        manner = Manner(0.0, 2.0, 0.2, ground, slope, 1.0, 1.0)
        assert donors.weigh(asked, manner, donors.search(asked, manner))[0, 0] == pytest.approx(expected)


def test_reference_capacity_from_a_yield_by_what_tests_drew_down():
    # pumped tests that draw a quarter of the water column: a yield Q over a column of 40 m then tells Q / 10 m
    wells = plane(40)
    wells["depth_completed_m"] = wells["depth_static_m"] + 40
    wells["flow_tested_m3_per_s"] = 1e-3
    wells["drawdown_test_m"] = 10.0
    wells = without(wells, [0], "drawdown_test_m")
    capacity = work_out(wells, SETTINGS, learn(wells, SETTINGS)).capacity
    assert capacity.base[0] == pytest.approx(1e-3 / 10, rel=1e-6)
    assert capacity.low[0] <= 0.8 * capacity.base[0] and capacity.high[0] >= 1.2 * capacity.base[0]
    assert capacity.base[1] == pytest.approx(1e-3 / 10)


def test_an_air_lifted_yield_keeps_its_declared_bound():
    wells = plane(40, test_method_code=["airlift"] + ["pumped"] * 39, flow_tested_m3_per_s=1e-3)
    wells["depth_completed_m"] = wells["depth_static_m"] + 40
    wells["drawdown_test_m"] = 10.0
    wells = without(wells, [0], "drawdown_test_m")
    capacity = work_out(wells, SETTINGS, learn(wells, SETTINGS)).capacity
    assert [capacity.low[0], capacity.base[0], capacity.high[0]] == pytest.approx([1e-3 / 40, 2e-3 / 40, 4e-3 / 40])


def test_donors_past_the_most_are_drawn_by_id():
    few = {"low": 120, "base": 120, "high": 120}
    settings = Settings(draws=0, practice_overlay={"wells_held": few})
    wells = without(plane(600), np.arange(600) % 5 == 0, "depth_static_m")
    held = learn(wells, settings).donors["made_up", "static"]
    assert len(held.value) == 120
    turned = learn(wells.iloc[::-1], settings).donors["made_up", "static"]
    assert (held.told.key == turned.told.key).all() and (held.value == turned.value).all()
    found = design(wells, settings, learn(wells, settings))[::5]
    assert (found["depth_static_m"] - plane(600)["depth_static_m"][::5]).abs().median() < 2.5


def test_nothing_learned_is_nothing_told():
    empty = learn(plane(0), SETTINGS)
    assert isinstance(empty, Comparable) and not empty.donors
    assert (design(plane(3), SETTINGS, empty)[BASIS] == "recorded").all()
