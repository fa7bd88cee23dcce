"""Rules of stock against textbook values and general libraries."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as setup
from hypothesis import strategies as st
from scipy import stats

from pipeline.stock import compound, rules, simulate


def test_reference_safety_stock_of_the_textbook_example():
    # stock_theory: demand 50 with deviation 20, lead time 4 with deviation 1, service 95 %
    safety = float(rules.safety_stock(0.95, 20.0, 4.0, 50.0, 1.0))
    assert safety == pytest.approx(105.3, abs=0.1)
    assert 50.0 * 4.0 + safety == pytest.approx(305.3, abs=0.1)


@pytest.mark.parametrize(("mean", "level"), [(0.4, 2), (1.5, 4), (3.0, 6)])
def test_reference_poisson_reorder_points(mean, level):
    # quantiles of the Poisson distribution, SciPy
    chances = compound.distribution(mean, np.array([0.0, 1.0]))
    assert compound.quantile(chances, 0.95) == level == stats.poisson.ppf(0.95, mean)
    assert chances[:20] == pytest.approx(stats.poisson.pmf(np.arange(20), mean), abs=1e-12)


def test_reference_jobs_in_a_gamma_time_are_negative_binomial():
    # a gamma mixture of Poisson counts is negative binomial (SciPy): shape 1/spread, chance 1/(1 + mean * spread)
    mean, spread = 7.0, 0.36
    found = compound.distribution(mean, np.array([0.0, 1.0]), spread)
    told = stats.nbinom.pmf(np.arange(len(found)), 1 / spread, 1 / (1 + mean * spread))
    assert found == pytest.approx(told, abs=1e-11)


def panjer(jobs: float, sizes: np.ndarray, cells: int) -> np.ndarray:
    """Recursion of panjer_1981 for Poisson jobs."""
    out = np.zeros(cells)
    out[0] = np.exp(-jobs * (1.0 - sizes[0]))
    for total in range(1, cells):
        k = np.arange(1, min(total, len(sizes) - 1) + 1)
        out[total] = jobs / total * np.sum(k * sizes[k] * out[total - k])
    return out


@given(st.floats(0.01, 40.0), st.lists(st.floats(0.0, 1.0), min_size=2, max_size=12), st.sampled_from([0.0, 0.01, 0.1, 0.4]))
@setup(max_examples=60, deadline=None)
def test_property_compound_sum_has_the_moments_of_the_formula_and_the_recursion(jobs, weights, spread):
    sizes = np.array([0.0, *weights]) + 1e-6
    sizes[0] = 0.0
    sizes /= sizes.sum()
    size = np.arange(len(sizes))
    mean, variance = compound.moments(jobs, 1.0, np.sqrt(spread), sizes @ size, sizes @ size**2)
    found = compound.distribution(jobs, sizes, spread)
    total = np.arange(len(found))
    assert found.sum() == pytest.approx(1.0, abs=1e-6)
    assert found @ total == pytest.approx(mean, rel=1e-5)
    assert found @ total**2 - (found @ total) ** 2 == pytest.approx(variance, rel=1e-3)
    if spread == 0.0:
        assert found[:60] == pytest.approx(panjer(jobs, sizes, len(found))[:60], abs=1e-10)


def test_reference_recursion_and_transform_agree():
    sizes = np.array([0.0, 0.5, 0.2, 0.0, 0.3])
    assert compound.distribution(3.7, sizes)[:60] == pytest.approx(panjer(3.7, sizes, 60), abs=1e-12)


def test_coarse_sizes_keep_their_mean():
    sizes = np.ones(101) / 101
    found = compound.coarse(sizes, 8)
    assert found.sum() == pytest.approx(1.0)
    assert found @ np.arange(len(found)) * 8 == pytest.approx(50.0)


@pytest.mark.parametrize(
    ("interval", "variation", "kind"),
    [(1.5, 0.3, "intermittent"), (1.5, 0.6, "lumpy"), (1.1, 0.6, "erratic"), (1.1, 0.3, "smooth"),
     (1.32, 0.3, "intermittent"), (1.1, 0.49, "erratic"), (float("nan"), 0.3, "")],
)  # fmt: skip
def test_reference_classes_of_demand(interval, variation, kind):
    # limits 1.32 and 0.49: syntetos_boylan_croston_2005
    assert str(rules.demand_class(interval, variation, 1.32, 0.49)) == kind


def test_reference_smoothed_rate_of_an_intermittent_series():
    # size 120 each third period, alpha 0.1: 40.0 plain, 38.0 with the bias removed (manuals, syntetos_boylan_2005)
    series = [0, 0, 120] * 6
    assert rules.smoothed_rate(series, 0.1, corrected=False) == pytest.approx(40.0)
    assert rules.smoothed_rate(series, 0.1) == pytest.approx(38.0)
    assert np.isnan(rules.smoothed_rate([0, 0], 0.1))


def test_interval_and_variation_are_those_of_a_simulated_series():
    sizes = np.array([0.0, 0.6, 0.4])
    arrivals, drawn = simulate.jobs("one", 5, 0.05, sizes, 30 * 40_000)
    months = np.bincount((arrivals // 30).astype(int), weights=drawn, minlength=40_000)
    busy = months[months > 0]
    interval, variation = rules.period_moments(1.5, 1.4, 2.2)
    assert len(months) / len(busy) == pytest.approx(float(interval), rel=0.02)
    assert busy.var() / busy.mean() ** 2 == pytest.approx(float(variation), rel=0.03)


def test_lots_and_order_quantities():
    assert rules.in_lots([0, 1, 7, 12], 6).tolist() == [0, 6, 12, 12]
    assert rules.in_lots([1], 6, 20).tolist() == [24]
    # square-root formula: 1,000 a year, 15 an order, 25 % of 12 -> sqrt(2*1000*15/3) = 100
    assert float(rules.order_quantity(1000.0, 12.0, 15.0, 0.25, 0.01)) == pytest.approx(100.0)
    assert float(rules.order_quantity(1000.0, np.nan, 15.0, 0.25, 0.05)) == pytest.approx(50.0)


def test_simulated_fill_rate_is_that_of_the_loss_function():
    # one piece a job, order one for one: the share given at once is P(demand in the lead time < S); stock_theory
    rate, lead, level = 0.4, 6, 6
    arrivals, sizes = simulate.jobs("two", 3, rate, np.array([0.0, 1.0]), 400_000)
    played = simulate.play(arrivals, sizes, 400_000, 1, level - 1, level, 1, np.full(400_000, float(lead)), 1000)
    # goods ordered at the end of a day come lead days later: half a day more than lead from the job, on average
    assert played.fill == pytest.approx(stats.poisson.cdf(level - 1, rate * (lead + 0.5)), abs=0.004)
    assert played.stock > 0


def test_stock_is_played_through_by_hand():
    # 2 on hand; day 0 job of 1, look at day 0 orders nothing above 0; day 1 job of 2: one given, one owed
    played = simulate.play(np.array([0.5, 1.5, 5.5]), np.array([1.0, 2.0, 1.0]), 7, 1, 0, 2, 1, np.full(7, 2.0))
    assert played.fill == pytest.approx((1 + 1 + 1) / 4)
    again = simulate.play(np.array([0.5, 1.5, 5.5]), np.array([1.0, 2.0, 1.0]), 7, 1, 0, 2, 1, np.full(7, 2.0))
    assert again == played


def test_more_service_never_asks_for_less_stock():
    chances = compound.distribution(2.2, np.array([0.0, 0.5, 0.3, 0.2]))
    levels = [compound.quantile(chances, s) for s in (0.5, 0.8, 0.9, 0.95, 0.99)]
    assert levels == sorted(levels) and levels[0] < levels[-1]


def test_pooled_safety_is_less_than_the_sum_of_the_parts():
    one = np.array([0.0, 0.7, 0.3])
    apart = 8 * (compound.quantile(compound.distribution(0.3, one), 0.95) - 0.3 * 1.3)
    together = compound.quantile(compound.distribution(2.4, one), 0.95) - 2.4 * 1.3
    assert together < apart / 2


def test_rate_of_counts_fades_and_is_less_sure_with_fewer_jobs():
    rate, spread = rules.rate_from_counts([0, 0, 12], 0.5)
    assert rate == pytest.approx(12.5 / 1.75) and spread == pytest.approx(1 / 12.5)
    assert rules.rate_from_counts([1, 1, 1], 1.0) == pytest.approx((3.5 / 3, 1 / 3.5))


def test_shared_levels_reach_the_fill_with_less_stock_than_equal_service():
    rates = np.array([0.5, 2.0, 10.0, 60.0, 200.0])
    sure = [compound.distribution(r * 14 / 365.25, np.array([0.0, 1.0])) for r in rates]
    levels = rules.shared_levels(sure, rates, np.ones(5), 0.95)

    def fill(at: np.ndarray) -> float:
        return float(sum(r * stats.poisson.cdf(s - 1, r * 14 / 365.25) for r, s in zip(rates, at, strict=True)) / rates.sum())

    def stock(at: np.ndarray) -> float:
        return float(sum(np.maximum(s - np.arange(60), 0) @ stats.poisson.pmf(np.arange(60), r * 14 / 365.25)
                         for r, s in zip(rates, at, strict=True)))  # fmt: skip

    assert fill(levels) >= 0.95
    equal = next(at for s in np.arange(0.5, 1.0, 0.002)
                 if fill(at := np.array([compound.quantile(c, s) for c in sure]) + 1) >= 0.95)  # fmt: skip
    assert stock(levels) <= stock(equal) and levels[0] == 0
