"""Frost and water temperature by latitude, where nothing is recorded."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from wells import wells_of

from pipeline import schema
from pipeline.design_point import design, learn
from pipeline.settings import Settings

FT = 0.3048
LATITUDES = [np.nan, 0.0, 15.0, 28.0, 36.0, 43.0, -43.0, 50.0, 65.0, 90.0]


def designed(latitudes, settings, **row):
    """Invented household wells that differ in their latitude alone."""
    usual = {"use": "domestic", "depth_completed": "240 ft", "depth_static": "60 ft", "flow_tested": "12 gpm",
             "depth_pumping": "120 ft"}  # fmt: skip
    wells = wells_of(*[usual | row for _ in latitudes])
    wells["latitude_deg"], wells["longitude_deg"] = np.array(latitudes, float), -70.0
    return design(wells, settings, learn(wells.iloc[:0], settings))


def test_reference_pitless_adapter_lies_below_frost():
    """New Hampshire We 702.05, latitude 43: 4 ft at the least; 0 and 8 ft at the ends (from memory)."""
    found = designed(LATITUDES, Settings(draws=0))["depth_discharge_m"].to_numpy(float) / FT
    assert found[[0, 1, 3, 5, 6, 9]] == pytest.approx([4, 0, 0, 4, 4, 8])
    assert (np.diff(found[[1, 2, 3, 4, 5, 7, 8, 9]]) >= 0).all()


def test_length_follows_the_depth_of_the_discharge_and_a_setting_of_the_user_stands():
    found = designed([0.0, 43.0], Settings(draws=0))
    assert np.diff(found["length_drop_pipe_m"])[0] == pytest.approx(-4 * FT, abs=1e-6)
    overlay = {"depth_discharge_pitless": {"low": 5, "base": 6, "high": 7},
               "temperature_default": {"low": 5, "base": 6, "high": 7}}  # fmt: skip
    same = designed(LATITUDES, Settings(draws=0, practice_overlay=overlay))
    assert same["depth_discharge_m"].to_numpy(float) == pytest.approx(6 * FT)
    assert np.ptp(same["temperature_water_degc"]) == 0


def test_water_is_warmer_towards_the_equator_and_with_depth_and_never_ice():
    found = designed(LATITUDES, Settings(draws=0))
    warm = found["temperature_water_degc"].to_numpy(float)
    assert warm[5] == warm[6] and (warm > 0).all() and (found["temperature_water_degc_low"] > 0).all()
    assert (np.diff(warm[[2, 3, 4, 5, 7, 8]]) < 0).all()
    # the pump hangs at 140 ft, 42.67 m: 27.67 m below the first 15 at 0.027 degC a metre, over 1 degC and the air
    assert warm[7] == pytest.approx(7 + 1 + 0.027 * (140 * FT - 15), abs=1e-6)
    deep = designed([50.0], Settings(draws=0), depth_completed="900 ft", depth_static="500 ft", depth_pumping="560 ft")
    assert deep["temperature_water_degc"][0] > warm[7] + 3


def test_a_place_that_is_not_known_has_no_narrower_band():
    found = designed(LATITUDES, Settings(draws=0))
    width = (found["temperature_water_degc_high"] - found["temperature_water_degc_low"]).to_numpy(float)
    assert (width[1:] <= width[0] + 1e-9).all()


def test_data_points_by_latitude_are_in_order():
    rows = pd.DataFrame(schema.rows("reference/by_latitude"))
    for quantity, part in rows.groupby("quantity"):
        points = part[["latitude_deg", "low", "base", "high"]].astype(float)
        assert points["latitude_deg"].iloc[0] == 0 and points["latitude_deg"].iloc[-1] == 90, quantity
        assert (np.diff(points["latitude_deg"]) > 0).all() and len(set(part["unit"])) == 1, quantity
        assert ((points["low"] <= points["base"]) & (points["base"] <= points["high"])).all(), quantity
    assert set(rows["reference_id"]) <= set(schema.references()) and set(rows["how"]) <= {"memory", "read", "computed"}
