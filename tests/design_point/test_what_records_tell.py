"""Frost, obstruction, driller's advice, variable speed and the name of a place on record, each by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from fields_of_wells import plane, without
from wells import G1, design_of, wells_of

from pipeline import schema
from pipeline.design_point import design, learn, residuals
from pipeline.settings import Settings
from pipeline.units import convert

FT = 0.3048
PLAIN = Settings(draws=0)
# rest at 60 ft, 12 gpm draws 60 ft: pumping level 120 ft with the dry season, pump wanted at 140 ft, bottom at 240 ft
BLOWN = {**G1, "test_method": "airlift"}


def told(*rows: dict[str, str], **values: object) -> pd.DataFrame:
    """Design points of typed wells with some columns set."""
    wells = wells_of(*rows)
    for name, value in values.items():
        wells[name] = value
    return design(wells, PLAIN, learn(wells, PLAIN))


def width(frame: pd.DataFrame, name: str) -> np.ndarray:
    return (frame[f"{name}_high"] - frame[f"{name}_low"]).to_numpy(float)


def test_reference_the_pipe_leaves_at_a_recorded_frost_depth():
    """Common practice, no source: the pitless adapter sits at the frost depth or a little below."""
    found = told(G1, G1, {**G1, "use": "village"}, depth_frost_m=[1.5, np.nan, 1.5])
    assert found["depth_discharge_m"].to_numpy(float)[:2] == pytest.approx([1.5, 4 * FT])
    assert found["depth_discharge_m"][2] < 0  # a hand pump stands above ground, whatever the frost
    assert np.diff(found["length_drop_pipe_m"])[0] == pytest.approx(1.5 - 4 * FT)
    assert width(found, "length_drop_pipe_m")[0] <= width(found, "length_drop_pipe_m")[1]


def test_an_obstruction_holds_the_pump_above_it():
    """Job of the trade: Z_max = min(bottom less clearance, top of screen less 5 ft, reported obstruction)."""
    found = told(G1, G1, G1, {**G1, "depth_pump": "180 ft"}, depth_obstruction_m=[130 * FT, 200 * FT, np.nan, 130 * FT])
    depth = found["depth_pump_m"].to_numpy(float) / FT
    assert depth == pytest.approx([127, 140, 140, 180])  # 3 ft above it; not reached; none; a recorded pump stands
    assert found["setting_limited_code"].tolist() == ["obstruction", "none", "none", "recorded"]
    assert found["depth_setting_max_m"][0] / FT == pytest.approx(127)
    assert found["depth_pump_m_high"][0] / FT <= 127 + 1e-6
    assert (found["depth_pumping_m"][0] < found["depth_pump_m"][0]) and found["depth_setting_wanted_m"][0] / FT > 130


def test_a_well_is_at_least_as_deep_as_what_blocks_it():
    found = told({"use": "domestic", "depth_static": "60 ft"}, depth_obstruction_m=200.0)
    assert found["depth_completed_m"][0] > 200 and found["depth_pump_m"][0] < 200


@pytest.mark.parametrize(("kind", "ratio"), [("submersible", 1.3), ("helical", np.nan)])
def test_reference_shutoff_head_follows_the_square_of_the_speed(kind, ratio):
    """Affinity laws (handbooks; from memory): 80 Hz on a 60 Hz pump, 1.78 of the head."""
    found = told(G1, G1, pump_kind_code=kind, is_variable_speed=[True, None])
    share = (found["head_shutoff_m"] / found["head_before_friction_m"]).to_numpy(float)
    assert share == pytest.approx([ratio * 1.1**2, ratio], nan_ok=True)
    high = (found["head_shutoff_m_high"] / found["head_before_friction_m_high"]).to_numpy(float)
    if np.isfinite(ratio):
        assert high[0] / high[1] == pytest.approx((80 / 60) ** 2, rel=1e-3)


def test_what_the_driller_advises_is_followed_unless_a_pumped_test_contradicts_it():
    advised = [100 * FT, np.nan, 160 * FT, 100 * FT, 238 * FT]
    found = told({**BLOWN, "depth_pumping": "60 ft"}, {**BLOWN, "depth_pumping": "60 ft"}, G1, G1, G1,
                 depth_pump_recommended_m=advised)  # fmt: skip
    depth = found["depth_pump_m"].to_numpy(float) / FT
    assert depth[0] == pytest.approx(100) and depth[2] == pytest.approx(160)
    assert found["depth_pumping_m"][0] / FT < 100  # the level stays above, as over a pump that hangs there
    assert depth[3] == pytest.approx(130)  # a pumped level at 120 ft: no pump hangs above its water
    assert depth[4] == pytest.approx(240 - 10)  # no deeper than the least clearance
    assert found["depth_pump_basis_code"].tolist() == ["derived"] * 5
    assert width(found, "depth_pump_m")[0] <= min(width(found, "depth_pump_m")[1], 20 * FT + 1e-9)


def test_a_low_yield_well_hangs_where_the_driller_advises():
    low = {"use": "domestic", "depth_completed": "400 ft", "depth_static": "30 ft", "flow_tested": "1 gpm"}
    found = told(low, {**low, "depth_pumping": "300 ft", "test_method": "pumped"}, depth_pump_recommended_m=250 * FT)
    assert found["depth_pump_m"].to_numpy(float) / FT == pytest.approx([250, 250])
    assert (found["depth_pumping_m"] < found["depth_pump_m"]).all()


def test_residuals_hold_advice_against_pumps_that_hang():
    wells = wells_of(G1, {**G1, "depth_pump": "170 ft"})
    wells["depth_pump_recommended_m"] = 160 * FT
    found = residuals(wells, PLAIN, learn(wells, PLAIN)).set_index("rule_code")
    assert found.loc["setting_advised", "residual_m"] / FT == pytest.approx(10)
    assert found.loc["setting_level", "modelled_m"] / FT == pytest.approx(140)  # as though nothing had been advised


def test_water_of_wells_without_coordinates_is_as_warm_as_their_country():
    """Ground water near the equator is no 12 degC: Uganda reads 22 to 27 (from memory)."""
    wells = wells_of(*[{"use": "domestic", "depth_completed": "60 m", "depth_static": "12 m"}] * 5)
    wells["area_code"] = ["Uganda", " minnesota", "a place unheard of", None, "Uganda"]
    wells["latitude_deg"], wells["longitude_deg"] = [np.nan] * 4 + [2.1], [np.nan] * 4 + [32.0]
    found = design(wells, PLAIN, learn(wells.iloc[:0], PLAIN))
    warm = found["temperature_water_degc"].to_numpy(float)
    assert 23 < warm[0] < 29 and 5 < warm[1] < 11 and warm[2] == warm[3] == pytest.approx(12, abs=1.2)
    assert warm[0] == pytest.approx(warm[4], abs=1)
    assert (width(found, "temperature_water_degc")[:1] >= width(found, "temperature_water_degc")[4] - 1e-9).all()
    assert found["depth_discharge_m"].to_numpy(float)[0] == 0 and found["depth_discharge_m"][1] > 4 * FT


def test_a_well_without_coordinates_takes_the_latitude_of_its_area():
    wells = plane(60, area_code="made up")
    wells["latitude_deg"] += 20  # 64 to 64.3 degrees north
    wells = without(wells, [0], "latitude_deg", "longitude_deg")
    found = design(wells, PLAIN, learn(wells, PLAIN))
    assert found["temperature_water_degc"][0] == pytest.approx(found["temperature_water_degc"][1], abs=2)  # not 12
    assert width(found, "temperature_water_degc")[0] >= width(found, "temperature_water_degc")[1] - 0.3
    assert found["depth_discharge_m"][0] == pytest.approx(8 * FT)


def test_data_places_lie_on_the_earth_and_are_named_once():
    rows = pd.DataFrame(schema.rows("reference/place_latitudes"))
    ends = rows[["latitude_low_deg", "latitude_high_deg"]].astype(float)
    assert (ends["latitude_low_deg"] < ends["latitude_high_deg"]).all() and ends.abs().to_numpy().max() < 72
    assert rows["place"].is_unique and (rows["place"] == rows["place"].str.casefold()).all()
    assert set(rows["reference_id"]) <= set(schema.references()) and set(rows["how"]) == {"memory"}


def test_duty_and_levels_stay_as_typed_where_nothing_of_this_is_recorded():
    found = design_of(G1)
    assert found["depth_pump_m"][0] / FT == pytest.approx(140)
    assert convert(found["flow_duty_m3_per_s"], "m**3/s", "gpm")[0] == pytest.approx(10)
