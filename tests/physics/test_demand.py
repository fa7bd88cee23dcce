"""Yield rules of authorities, and what people ask of a well."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pipeline import schema
from pipeline.physics import demand, well
from pipeline.units import convert

FT, GPM, LITRE = 0.3048, float(convert(1.0, "gpm", "m**3/s")), 1e-3


def steps_of(rule):
    """Depths [m] and least flows [m3/s] of one rule of reference/yield_rules.csv."""
    rows = pd.DataFrame(schema.rows("reference/yield_rules"))
    rows = rows[rows["rule_id"] == rule]
    assert set(rows["unit_depth"]) == {"ft"} and set(rows["unit_flow"]) == {"gpm"}
    return rows["depth_from"].astype(float).to_numpy() * FT, rows["flow_least"].astype(float).to_numpy() * GPM


@pytest.mark.parametrize(
    ("depth_ft", "gpm"), [(60, 5), (150, 5), (151, 4), (200, 4), (250, 3), (300, 3), (301, 2), (900, 2)]
)
def test_reference_town_rule_by_depth(depth_ft, gpm):
    """Board of Health of a town in Massachusetts: 5 to 6 gpm to 150 ft, 4 to 200, 3 to 300, 2 beyond, for 4 h."""
    found = demand.flow_least_m3_per_s([depth_ft * FT], *steps_of("town_massachusetts"))
    assert found[0] / GPM == pytest.approx(gpm)


def test_reference_state_rule_spares_a_replacement():
    """COMAR 26.04.04.26 (Maryland): a new well gives 1 gpm for six hours; one that replaces another is exempt."""
    least = demand.flow_least_m3_per_s(np.full(4, 100.0), *steps_of("maryland"))
    short = demand.is_yield_short(np.array([0.9, 1.0, 0.9, np.nan]) * GPM, least, [False, False, True, False])
    assert short.tolist() == [True, False, False, True]


def test_a_depth_that_is_not_known_has_no_least_yield_and_shows_none():
    steps = steps_of("town_massachusetts")
    least = demand.flow_least_m3_per_s([np.nan, 0.0, -3.0], *steps)
    assert np.isnan(least).all() and demand.is_yield_short(1.0, least).all()
    assert (np.diff(steps[0]) > 0).all() and (np.diff(steps[1]) < 0).all()


def test_reference_five_hundred_people_on_one_hand_pump():
    """Sphere: 500 people at 15 L a day on 17 L/min for 8 h: 7,500 of 8,160 L; the 545th is one too many."""
    gives = well.volume_pumped_m3(17 * LITRE / 60, 8 * 3600.0) / LITRE
    assert gives == pytest.approx(8160, rel=1e-9)
    need = well.volume_need_m3(np.array([500, 544, 545]), 15 * LITRE) / LITRE
    assert need[0] == pytest.approx(7500, rel=1e-9) and (need <= gives).tolist() == [True, True, False]


def test_people_past_one_stand_ask_for_more_and_unknown_people_for_one():
    """Sphere: one stand of 17 L/min gives 8,160 L in 8 h, 544 people at 15 L."""
    found = demand.factor_people([np.nan, 0, 544, 1088], 15 * LITRE, 8 * 3600.0, 17 * LITRE / 60)
    assert found == pytest.approx([1, 1, 1, 2], rel=1e-9)
