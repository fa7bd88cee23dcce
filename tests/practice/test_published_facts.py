"""Defaults of use and lifting against what is published: housing, extension, Sphere, NIOSH; sources beside each."""

from __future__ import annotations

import pytest

from pipeline.settings import Settings

GALLON, GPM, LITRE, HOUR = 3.785411784e-3, 3.785411784e-3 / 60, 1e-3, 3600.0


@pytest.fixture(scope="module")
def practice():
    return Settings().practice


def test_reference_a_household_duty_meets_the_shared_well_rule(practice):
    """A new shared well gives 5 gpm over four hours: 1,200 gallons (source: hud_shared_wells)."""
    assert practice["flow_domestic"].low == pytest.approx(5 * GPM)
    assert practice["flow_domestic"].low * 4 * HOUR == pytest.approx(1200 * GALLON)


def test_reference_three_bedrooms_want_330_gallons_a_day_within_two_hours(practice):
    """110 gallons a bedroom (source: ny_fact_sheet_2); 400 gallons in two hours are 3.33 gpm (source: psu_planning)."""
    day = practice["bedrooms_household"].base * practice["volume_bedroom"].base
    assert day == pytest.approx(330 * GALLON)
    assert practice["duration_draw_house"].base == 2 * HOUR
    assert 400 * GALLON / practice["duration_draw_house"].base == pytest.approx(3.33 * GPM, rel=2e-3)
    # the usual pump covers it: 330 gallons in two hours are 2.75 gpm
    assert day / practice["duration_draw_house"].base < practice["flow_domestic"].low


def test_reference_a_person_wants_fifty_to_a_hundred_gallons(practice):
    """50 to 100 gallons a person a day (source: psu_planning), around the 76.7 of the country (usgs_domestic)."""
    band = practice["volume_person_house"]
    assert (band.low, band.high) == pytest.approx((50 * GALLON, 100 * GALLON))
    assert band.low < 76.7 * GALLON < band.high


def test_reference_stock_drinks_what_extension_pages_say(practice):
    """Horse 10, nursing cow 11 to 18, dairy cow 15 to 40 gallons a day (source: extension_stock_water)."""
    band = practice["volume_animal"]
    assert (band.low, band.high) == pytest.approx((10 * GALLON, 40 * GALLON))
    assert 11 * GALLON < band.base < 18 * GALLON


def test_reference_one_hand_pump_serves_five_hundred_people(practice):
    """17 L/min for eight hours give 8,160 L, 500 people at 15 L want 7,500 L (source: sphere)."""
    stand = practice["flow_village"].base * practice["duration_draw_village"].base
    assert stand == pytest.approx(8160 * LITRE)
    assert 500 * practice["volume_person_village"].base == pytest.approx(7500 * LITRE)
    assert 500 * practice["volume_person_village"].base <= stand < 560 * practice["volume_person_village"].base


def test_reference_an_ideal_lift_is_51_pounds(practice):
    """51 lb or 23 kg a person; an 80 lb box is 1.6 times that (source: niosh_94_110)."""
    person = practice["lift_person"].base
    assert person == pytest.approx(51 * 0.45359237) and person == pytest.approx(23, abs=0.2)
    assert 80 * 0.45359237 / person == pytest.approx(1.6, abs=0.05)
    assert practice["lift_two"].base == pytest.approx(2 * person)
