"""Intermittent series against published values and what must always hold."""

import numpy as np
import pytest

from pipeline.demand.intermittent import chance_and_size, per_period, size_and_interval


def test_reference_size_120_every_third_period():
    # Syntetos and Boylan, Int. J. Forecasting 21 (2005), as manuals of open-source packages state it:
    # size 120, interval 3, alpha 0.1 give 40.0 plain and 38.0 corrected
    series = np.tile([0, 0, 120], 12)
    size, interval = size_and_interval(series, 0.1)
    assert (size[0], interval[0]) == pytest.approx((120.0, 3.0), abs=1e-12)
    assert per_period(series, 0.1, corrected=False)[0] == pytest.approx(40.0, abs=1e-9)
    assert per_period(series, 0.1)[0] == pytest.approx(38.0, abs=1e-9)


def test_one_update_by_hand():
    # begun with size 10 and interval 2; then 20 after 3 periods, alpha 0.2: size 12, interval 2.2
    size, interval = size_and_interval([0, 10, 0, 0, 20, 0], 0.2)
    assert (size[0], interval[0]) == pytest.approx((12.0, 2.2))


def test_property_a_period_without_any_lowers_only_the_chance():
    series = [0, 3, 0, 2, 5, 0, 1]
    longer = [*series, 0]
    assert per_period(longer, 0.1) == pytest.approx(per_period(series, 0.1))
    assert chance_and_size(longer, 0.1, 0.1)[0] < chance_and_size(series, 0.1, 0.1)[0]


def test_property_many_series_at_once_equal_one_by_one():
    many = np.random.default_rng(3).poisson(0.4, (50, 24))
    for method in (per_period, lambda s, a: chance_and_size(s, a, 0.2)):
        whole = method(many, 0.1)
        assert whole == pytest.approx([method(row, 0.1)[0] for row in many], rel=1e-14)
        assert (method(many * 7, 0.1) == pytest.approx(7 * whole, rel=1e-12))


def test_zeros_short_and_empty_series_give_no_wells():
    for series in (np.zeros(5), np.zeros((1, 0)), [0]):
        assert per_period(series, 0.1)[0] == 0.0 and chance_and_size(series, 0.1, 0.1)[0] == 0.0
    assert per_period([4], 0.1, corrected=False)[0] == 4.0
