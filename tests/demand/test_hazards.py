"""Hazards against a general library, simulation, and printed values."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as limits
from hypothesis import strategies as st
from scipy.stats import weibull_min

from pipeline.demand import hazards


@given(st.floats(1, 80), st.floats(0.8, 4), st.floats(0, 100))
@limits(max_examples=50, deadline=None)
def test_reference_curves_agree_with_scipy(median, shape, age):
    # scipy.stats.weibull_min, a general library
    known = weibull_min(shape, scale=float(hazards.scale_years(median, shape)))
    assert known.median() == pytest.approx(median, rel=1e-9)
    assert float(hazards.survival(age, median, shape)) == pytest.approx(known.sf(age), rel=1e-9, abs=1e-300)
    if known.sf(age) > 1e-200:
        want = 1.0 - np.exp(known.logsf(age + 1) - known.logsf(age))
        assert float(hazards.chance_next_year(age, median, shape)) == pytest.approx(want, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize(("median", "shape", "scale", "chances"), [
    (22, 3, 24.86, {10: 0.0213, 20: 0.0788, 30: 0.1661}),
    (12, 2.5, 13.89, {5: 0.0439, 10: 0.1115, 20: 0.2756}),
])  # fmt: skip
def test_reference_scale_and_next_year(median, shape, scale, chances):
    # worked from F(a) = 1 - exp(-(a / scale)^shape) by hand
    assert float(hazards.scale_years(median, shape)) == pytest.approx(scale, rel=0.01)
    for age, want in chances.items():
        assert float(hazards.chance_next_year(age, median, shape)) == pytest.approx(want, rel=0.01)


def test_property_causes_share_the_chance_of_any():
    first, second = np.meshgrid([0.0, 1e-9, 0.1, 0.5, 1.0], [0.0, 1e-9, 0.2, 0.9, 1.0])
    one, two = hazards.compete(first, second)
    np.testing.assert_allclose(one + two, 1.0 - (1.0 - first) * (1.0 - second), atol=1e-12)
    assert (one >= 0).all() and (two >= 0).all() and (one[second == 0] >= first[second == 0] - 1e-12).all()


def plain(years: int, **given) -> hazards.Strings:
    """One material throughout: what a simulation can follow."""
    held = {
        "pump": hazards.yearly_chances(hazards.AGES_PUMP, 12, 2.5),
        "pipe": hazards.yearly_chances(hazards.AGES_PIPE, 22, 3)[None, :],
        "renewed": np.full((1, hazards.AGES_PIPE), 0.5), "installed": np.ones((1, years)),
        "turns": np.array([True]),
        "pump_with_pipe": 0.6, "goods_pull": 0.5, "goods_failure": 0.7, "recorded": 0.0,
    }  # fmt: skip
    return hazards.Strings(**(held | given))


def simulated(strings: int, years: int, renewed: float, with_pump: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Events and renewed strings in each year after that of installation, drawn event by event in continuous time."""
    rng = np.random.default_rng(seed)
    pump_life, pipe_life = (weibull_min(k, scale=m / np.log(2) ** (1 / k)) for m, k in ((12, 2.5), (22, 3)))
    now = rng.uniform(0, 1, strings)
    pump, pipe = now + pump_life.rvs(strings, random_state=rng), now + pipe_life.rvs(strings, random_state=rng)
    events, pipes = np.zeros(years + 1), np.zeros(years + 1)
    while True:
        now = np.minimum(pump, pipe)
        going = now < years + 1
        if not going.any():
            return events[1:] / strings, pipes[1:] / strings
        pulled = going & (pump <= pipe)
        failed = going & ~pulled
        new_pipe = failed | (pulled & (rng.uniform(size=strings) < renewed))
        new_pump = pulled | (failed & (rng.uniform(size=strings) < with_pump))
        np.add.at(events, now[going].astype(int), 1)
        np.add.at(pipes, now[new_pipe].astype(int), 1)
        pump[new_pump] = now[new_pump] + pump_life.rvs(int(new_pump.sum()), random_state=rng)
        pipe[new_pipe] = now[new_pipe] + pipe_life.rvs(int(new_pipe.sum()), random_state=rng)


def test_reference_renewals_against_simulation():
    # event-by-event simulation with scipy's Weibull law; 200,000 strings, four standard errors and 3 % for yearly steps
    strings, years = 200_000, 45
    want, pipes = simulated(strings, years, 0.5, 0.6, 3)
    got = hazards.needs(plain(years + 1), years)[0, 0]
    for mine, seen in ((got[:, 0], want), (got[:, 1], pipes)):
        error = 4.0 * np.sqrt(seen / strings) + 0.03 * seen + 3e-4
        assert (np.abs(mine - seen) < error).all(), (mine - seen)
    # the first string alone: cumulative incidence of either cause
    assert got[:, 0].sum() == pytest.approx(want.sum(), rel=0.01)


def test_reference_steady_state_is_one_over_the_mean_life():
    # renewal theorem: events a year tend to one over the mean interval; mean of Weibull's law from scipy
    mean = weibull_min(2.5, scale=float(hazards.scale_years(12, 2.5))).mean()
    held = plain(100, pipe=np.zeros((1, hazards.AGES_PIPE)))
    assert hazards.needs(held, 5)[0, 0, :, 0] == pytest.approx(1.0 / mean, rel=0.01)
    assert 1.0 / mean == pytest.approx(0.081, abs=0.001)


def test_events_that_always_leave_a_record_give_the_conditional_chance():
    # with every event on record a string without one still hangs: the chance of the next year alone decides
    held = plain(21, pipe=np.zeros((1, hazards.AGES_PIPE)), recorded=1.0)
    want = hazards.chance_next_year(19.5, 12, 2.5)
    assert hazards.needs(held, 1)[0, 0, 0, 0] == pytest.approx(float(want), rel=1e-9)


def test_a_renewed_string_starts_anew():
    # renewals in the years told count: without them the chance of events would go on rising with age
    renewing = hazards.needs(plain(31, recorded=1.0), 10)[0, 0, :, 0]
    assert renewing[0] > renewing[-1]
    sure = np.concatenate([[0.0, 0.0, 1.0], np.ones(hazards.AGES_PUMP - 3)])
    held = plain(10, pump=sure, pipe=np.zeros((1, hazards.AGES_PIPE)))
    np.testing.assert_allclose(hazards.needs(held, 9)[0, 0, :, 0], [0, 0, 1] * 3, atol=1e-12)
