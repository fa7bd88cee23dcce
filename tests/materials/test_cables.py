"""Gauge of the power cable against the tables of the code and a trade table."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline import schema
from pipeline.materials import cables
from pipeline.settings import Settings

SETTINGS = Settings()
HP, FT = 745.6998715822702, 0.3048
US = [row["gauge"] for row in cables.ladders()["us"]]
METRIC = [row["gauge"] for row in cables.ladders()["metric"]]


def chosen(power_hp, feet, market=0, settings=SETTINGS):
    """Gauge of one run."""
    names = METRIC if market else US
    return names[cables.gauge([power_hp * HP], [feet * FT], np.array([market]), settings)[0]]


def longest_ft(power_hp, gauge, market=0):
    """Longest run that a gauge serves, on a grid of one foot."""
    feet = np.arange(1.0, 3000.0)
    size = np.full(len(feet), power_hp * HP)
    step = cables.gauge(size, feet * FT, np.full(len(feet), market), SETTINGS)
    return feet[step <= (METRIC if market else US).index(gauge)].max()


@pytest.mark.parametrize(
    ("power_hp", "gauge", "feet"),
    # trade tables of cable lengths for 230 V single-phase motors, 5 % drop, three wires (from memory): the code's motor
    # currents are a little off those of submersible motors, so that lengths agree within 15 %
    [(0.5, "14 AWG", 400), (0.75, "14 AWG", 300), (1.0, "14 AWG", 250), (1.5, "14 AWG", 190), (2.0, "14 AWG", 150),
     (1.0, "12 AWG", 400), (2.0, "12 AWG", 250), (3.0, "10 AWG", 300)],
)  # fmt: skip
def test_reference_longest_runs_of_a_trade_table(power_hp, gauge, feet):
    assert longest_ft(power_hp, gauge) == pytest.approx(feet, rel=0.15)


def test_reference_drop_of_a_run_by_hand():
    # NEC tables (from memory): 1 hp at 230 V single-phase draws 8 A; 14 AWG copper has 3.14 ohm a thousand feet at
    # 75 degC. 2 x 8 A x 3.14 / 1000 x 228.9 ft = 11.5 V, 5 % of 230 V
    assert chosen(1.0, 228.0) == "14 AWG"
    assert chosen(1.0, 230.0) == "12 AWG"


def test_reference_three_phase_by_hand():
    # NEC table 430.250 (from memory): 10 hp draws 28 A at 230 V, 14 A at 460 V; 1.732 x 14 A x 3.14 / 1000 a foot is
    # 5 % of 460 V at 302 ft of 14 AWG, but 125 % of 14 A (430.22) is past the 15 A of 14 AWG: 12 AWG
    assert chosen(10.0, 50.0) == "12 AWG"
    assert longest_ft(10.0, "12 AWG") == pytest.approx(23.0 / (1.7320508 * 14 * 1.98 / 1000), abs=1.0)


def test_reference_resistance_of_copper():
    # IEC 60028: copper of one square millimetre has 17.241 ohm a kilometre at 20 degC; a stranded or flexible
    # conductor of the tables lies 0 to 15 % above what its nominal area would have
    for rows in cables.ladders().values():
        for row in rows:
            at_20 = float(row["resistance_ohm_per_km"]) / (1 + 0.00393 * (float(row["temperature_degc"]) - 20))
            assert 0.97 <= at_20 * float(row["area_mm2"]) / 17.241 <= 1.17, row["gauge"]


def test_reference_awg_areas():
    # ASTM B258: diameter 0.127 mm x 92 ** ((36 - n) / 39); 1/0, 2/0 and 4/0 are n = 0, -1 and -3
    for row in cables.ladders()["us"]:
        name = row["gauge"].removesuffix(" AWG")
        number = 1 - int(name[0]) if "/" in name else int(name)
        area = np.pi / 4 * (0.127 * 92 ** ((36 - number) / 39)) ** 2
        assert float(row["area_mm2"]) == pytest.approx(area, rel=0.005)


def test_metric_wells_take_metric_cable():
    assert chosen(1.0, 150.0, market=1) in METRIC
    assert longest_ft(1.0, "2.5 mm2", market=1) > longest_ft(1.0, "1.5 mm2", market=1)


def test_a_smaller_allowed_drop_takes_thicker_cable():
    tight = replace(SETTINGS, practice_overlay={"drop_cable": {"low": 0.03, "base": 0.03, "high": 0.03}})
    assert US.index(chosen(1.5, 300.0, settings=tight)) > US.index(chosen(1.5, 300.0))


def test_unknown_power_takes_the_thinnest_and_no_run_is_past_the_list():
    step = cables.gauge([np.nan, 500 * HP], [100.0, 900.0], np.array([0, 0]), SETTINGS)
    assert list(step) == [0, len(US) - 1]


def test_data_thicker_is_heavier_carries_more_and_resists_less():
    items = {row["item_id"]: row for row in schema.rows("items")}
    for rows in cables.ladders().values():
        for column, sign in (("area_mm2", 1), ("resistance_ohm_per_km", -1), ("current_most_a", 1)):
            assert (sign * np.diff([float(row[column]) for row in rows]) > 0).all()
        assert (np.diff([float(items[row["item_id"]]["mass_kg_each"]) for row in rows]) > 0).all()
        assert all(row["gauge"] in items[row["item_id"]]["label"] for row in rows)


def test_property_the_bill_takes_the_gauge_of_the_module():
    from pipeline import materials

    goods = materials.catalogue(SETTINGS)
    rng = np.random.default_rng(5)
    option = rng.integers(0, len(goods.options), 400)
    depth, power = rng.uniform(5, 300, 400), rng.uniform(200, 60000, 400)
    batch = materials.Batch(goods, option, depth, depth, power)
    _, asked = batch.quantities()
    run = depth * (1 + goods.slack[option]) + SETTINGS.base("length_cable_head") + SETTINGS.base("length_cable_surface")
    step = cables.gauge(power, run, goods.market[option], SETTINGS)
    for r, rule in enumerate(goods.rules):
        if rule.step >= 0:
            assert ((asked[:, goods.vector_of[r]] > 0) == (step == rule.step)).all()
