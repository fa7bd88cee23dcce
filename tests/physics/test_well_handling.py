"""Storage, drawdown, cooling, power, chemistry, pieces and lifting."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.physics import chemistry, handling, well
from pipeline.units import convert

FT, IN = 0.3048, 0.0254
GPM, GALLON, LB = (float(convert(1.0, u, to)) for u, to in (("gpm", "m**3/s"), ("gallon", "m**3"), ("lb", "kg")))


@pytest.mark.parametrize(("inches", "gallons"), [(4, 0.653), (5, 1.020), (6, 1.469), (8, 2.611)])
def test_reference_gallons_a_foot(inches, gallons):
    """D^2/24.5 (common practice; 0.65, 1.47 and 2.61 read in a well owner's guide)."""
    assert well.volume_bore_m3(inches * IN, FT) / GALLON == pytest.approx(gallons, rel=0.005)


def test_reference_storage_meets_a_day():
    """Groundwater Project, Domestic Wells, example 1 and box 1: 726 L and 181 L; 152 mm bore."""
    litres = well.volume_bore_m3(0.152, np.array([50.0, 20.0, 40.0, 36.5, 36.4]) - 5.0 - 5.0) * 1000
    assert litres[:3] == pytest.approx([726, 181, 544], abs=1.0)
    assert litres[0] + 2 * 120 == pytest.approx(966, abs=1) and litres[0] + 240 >= 860
    assert litres[1] + 9 * 120 == pytest.approx(1261, abs=2)
    assert litres[2] + 6 * 120 == pytest.approx(1264, abs=2)
    assert litres[3] + 6 * 120 >= 1200 > litres[4] + 6 * 120


def test_reference_unit_words():
    """US and imperial gallons (NIST Handbook 44): 1 gpm is 0.06309 L/s, 3.785 L/min, 0.2271 m3/h."""
    assert pytest.approx(0.06309, rel=1e-3) == GPM * 1000
    assert pytest.approx(3.785, rel=1e-3) == GPM * 60000
    assert pytest.approx(0.2271, rel=1e-3) == GPM * 3600
    assert float(convert(1.0, "igpm", "gpm")) == pytest.approx(1.201, rel=1e-3)


def test_reference_drawdown():
    """0.5 gpm/ft at 10 gpm: 20 ft, 16.7 to 25 ft at 20 % either way (USGS SIR 2010-5212 for the band)."""
    capacity = well.specific_capacity_m2_per_s(5 * GPM, 10 * FT) * np.array([1.0, 1.2, 0.8])
    assert well.drawdown_m(10 * GPM, capacity) / FT == pytest.approx([20, 16.7, 25], abs=0.1)
    assert np.isnan(well.specific_capacity_m2_per_s(1e-3, 0.0)) and np.isnan(well.drawdown_m(1e-3, np.nan))


def test_reference_capacity_falls_with_time():
    """24 h against 1 h at T 1,000 gpd/ft, S 1e-4, r 0.25 ft: 18 % less (Cooper and Jacob's straight line)."""
    transmissivity = 1000 * GALLON / 86400 / FT
    found = well.ratio_capacity_time(transmissivity, 1e-4, 0.25 * FT, 3600.0, 86400.0)
    assert 1 - found == pytest.approx(0.18, abs=0.005)
    assert np.isnan(well.ratio_capacity_time(1e-9, 0.2, 1.0, 60.0, 86400.0))


def test_capacity_in_time_against_the_theis_well_function():
    """W(u) = E1(u), Theis 1935, by scipy: the straight line is within 0.3 % where it is allowed."""
    from scipy.special import exp1

    transmissivity, storage, radius = 1e-4, 1e-3, 0.1
    u = radius**2 * storage / (4 * transmissivity * np.array([600.0, 86400.0]))
    exact = exp1(u[0]) / exp1(u[1])
    assert well.ratio_capacity_time(transmissivity, storage, radius, 600.0, 86400.0) == pytest.approx(exact, rel=3e-3)


def test_reference_cooling_of_a_motor():
    """3.75 in motor: 13.9, 7.0, 1.3 gpm for 0.25 ft/s in 6.065, 5.047, 4.026 in; 10 gpm gives 0.180 and 1.90 ft/s.

    A trade table prints 13, 7 and 1.2 gpm for 6, 5 and 4 in.
    """
    bores = np.array([6.065, 5.047, 4.026]) * IN
    assert well.flow_cooling_m3_per_s(0.25 * FT, bores, 3.75 * IN) / GPM == pytest.approx([13.9, 7.0, 1.3], rel=0.03)
    found = well.velocity_cooling_m_per_s(10 * GPM, bores[[0, 2]], 3.75 * IN) / FT
    assert found == pytest.approx([0.180, 1.90], rel=0.005)
    assert np.isnan(well.velocity_cooling_m_per_s(1e-3, 0.09, 0.095))


def test_reference_power_and_torque():
    """12 gpm at 265 ft: 0.803 hp (Q H/3960); 1 hp at 3,450 rpm 1.52 ft lbf (5252 hp/rpm, handbooks)."""
    horsepower = float(convert(1.0, "hp", "W"))
    weight = float(convert(62.34, "lbf/ft**3", "N/m**3"))
    assert well.power_water_w(12 * GPM, 265 * FT, weight) / horsepower == pytest.approx(0.803, rel=0.002)
    torque = float(convert(1.0, "foot*lbf", "N*m"))
    assert well.torque_motor_n_m(horsepower, 3450.0) / torque == pytest.approx(1.52, rel=0.005)


def test_reference_hand_pump_stroke():
    """50 mm cylinder at 45 m: 867 N (arithmetic)."""
    assert well.load_stroke_n(0.050, 45.0, 9806.65) == pytest.approx(867, rel=0.005)


def test_reference_bleach():
    """5.25 % bleach, 100 gal, 50 mg/L: 12.2 fl oz (computed; a state page rounds to 12)."""
    found = chemistry.volume_bleach_m3(100 * GALLON, 50.0, 0.0525) / float(convert(1.0, "fluid_ounce", "m**3"))
    assert found == pytest.approx(12.2, rel=0.01)


@pytest.mark.parametrize(("water", "ph", "lsi", "rsi"), [
    ((320, 25, 150, 34), 7.5, -0.73, 8.96), ((320, 82, 150, 34), 7.5, 0.27, 6.97),
    ((120, 15, 20, 25), 6.2, -3.19, 12.58),
])  # fmt: skip
def test_reference_saturation_indices(water, ph, lsi, rsi):
    """Two-temperature example of a saturation index page (its water recalled), and one by its formula."""
    saturation = chemistry.acidity_saturation_ph(*(float(x) for x in water))
    assert chemistry.index_langelier(ph, saturation) == pytest.approx(lsi, abs=0.01)
    assert chemistry.index_ryznar(ph, saturation) == pytest.approx(rsi, abs=0.02)
    assert np.isnan(chemistry.acidity_saturation_ph(0.0, 10.0, 100.0, 100.0))


def test_reference_lifting():
    """NIOSH 94-110: 23 kg (51 lb) ideal; an awkward 21 ft joint 22.3 lb in the inch form."""
    ideal = handling.mass_lift_kg(0.25, 0.75, 0.25, 0.0, 1.0, 1.0)
    assert ideal == pytest.approx(23.0) and ideal / LB == pytest.approx(51, rel=0.01)
    joint = handling.mass_lift_kg(15 * IN, 40 * IN, 30 * IN, 30.0, 0.94, 0.95) / LB
    assert joint == pytest.approx(22.3, rel=0.03)  # centimetre form against inch form
    assert handling.mass_lift_kg(0.7, 0.75, 0.25, 0.0, 1.0, 1.0) == 0.0


@pytest.mark.parametrize("value", [0, 1, 2, 3])
def test_reference_ends_of_the_lifting_equation(value):
    """NIOSH 94-110: reach to 63 cm, height and travel to 175 cm, twist to 135 deg; a load from the floor is covered."""
    ends, past = (0.63, 1.75, 1.75, 135.0), (0.64, 1.76, 1.76, 136.0)
    lift = [0.25, 0.75, 0.25, 0.0]
    lift[value] = ends[value]
    assert handling.mass_lift_kg(*lift, 1.0, 1.0) > 0.0
    lift[value] = past[value]
    assert handling.mass_lift_kg(*lift, 1.0, 1.0) == 0.0
    lift[value] = np.nan
    assert np.isnan(handling.mass_lift_kg(*lift, 1.0, 1.0))
    assert handling.mass_lift_kg(0.25, 0.05, 0.25, 0.0, 1.0, 1.0) == pytest.approx(23 * 0.79)
    assert handling.mass_lift_kg(0.25, -0.01, 0.25, 0.0, 1.0, 1.0) == 0.0


def test_pieces_of_any_length():
    assert handling.piece_count(1.0, 0.05) == 20.0 and np.isnan(handling.piece_count(1.0, 0.0))
    assert handling.piece_count(3.00105, 3.0) == 2.0 and handling.piece_count(3.0009, 3.0) == 1.0


def test_reference_pieces():
    """150 ft of 20 ft sticks: 8 sticks, 7 couplings (count); an exact multiple needs no further piece."""
    count = handling.piece_count(np.array([150.0, 140.0, 140.001]) * FT, 20 * FT)
    assert list(count) == [8.0, 7.0, 7.0] and count[0] - 1 == 7
    assert handling.piece_count(30.0, 3.0) == 10.0 and handling.piece_count(30.1, 3.0) == 11.0


def test_reference_saturation_terms_of_very_pure_water_and_of_none():
    """The forms hold for any quantity above 0 (logarithms, by hand); nothing dissolved has no saturation."""
    assert chemistry.term_solids(0.01) == pytest.approx(-0.3)
    assert chemistry.term_calcium(0.01) == pytest.approx(-2.4)
    assert chemistry.term_alkalinity(0.01) == pytest.approx(-2.0)
    for term in (chemistry.term_solids, chemistry.term_calcium, chemistry.term_alkalinity):
        assert np.isnan(term(0.0)) and np.isnan(term(np.nan))
