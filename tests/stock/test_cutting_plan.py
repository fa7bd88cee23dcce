"""Coil lengths and cutting plans: exact on small cases, never below the bound, nothing lost."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as setup
from hypothesis import strategies as st

from pipeline.stock import coils, cutting

STOCKS = np.array([100, 200, 300, 400, 500, 1000])


def made(plan: cutting.Plan) -> np.ndarray:
    return (plan.patterns * plan.times[:, None]).sum(axis=0)


def test_reference_two_halves_and_a_known_best_plan():
    # 10 of 450 and 10 of 550 from 1,000: ten lengths without waste (by hand)
    plan = cutting.plan(np.array([450, 550]), np.array([10, 10]), np.array([1000]))
    assert plan.bought == 10_000 == pytest.approx(plan.bound) and plan.gap == 0.0


def test_reference_cutting_stock_example_of_three_widths():
    # stock 100; 45 x 97, 36 x 610, 31 x 395, 14 x 211: the worked example of operations research textbooks, 453 lengths
    # (bound 452.25); from memory
    plan = cutting.plan(np.array([14, 31, 36, 45]), np.array([211, 395, 610, 97]), np.array([100]))
    assert plan.bound / 100 == pytest.approx(452.25, abs=0.01)
    assert 453 <= plan.bought / 100 <= 455 and made(plan).tolist() == [211, 395, 610, 97]


@given(st.lists(st.integers(20, 500), min_size=1, max_size=25), st.sampled_from([0.0, 0.5, 0.9]))
@setup(max_examples=25, deadline=None)
def test_property_plan_gives_every_job_its_piece_and_keeps_to_its_bound(lengths, worth):
    need, count = np.unique(np.array(lengths), return_counts=True)
    plan = cutting.plan(need, count, STOCKS[:5], 100, worth)
    assert (made(plan) == count).all() and (plan.patterns @ need <= plan.stock).all()
    assert set(plan.stock) <= set(STOCKS[:5])
    assert plan.bound <= plan.cost * (1 + 1e-9) and plan.bound >= (need @ count) * (1 - 1e-9)
    assert plan.cost <= plan.bought
    one = cutting.one_coil_each(need, count, STOCKS[:5], 100, worth)
    fit = cutting.first_fit_decreasing(need, count, 500, 100, worth)
    assert plan.cost <= min(one[1], fit[1]) + 1e-6


def test_comparators_by_hand():
    need, count = np.array([60, 150]), np.array([2, 1])
    assert cutting.one_coil_each(need, count, STOCKS, 100, 0.0)[0] == 400
    assert cutting.first_fit_decreasing(need, count, 300, 100, 0.0)[0] == 300
    # two of 60 from 300 leave 180, kept at half its length
    assert cutting.first_fit_decreasing(np.array([60]), np.array([2]), 300, 100, 0.5) == (300.0, 210.0)


def terms(most: int, holding: float = 0.0) -> coils.Terms:
    return coils.Terms(most, 100, 0.5, 200, holding, 0.04, 0.08, 1.645)


def test_lengths_chosen_are_the_best_of_all_sets():
    source = np.random.default_rng(4)
    need = np.unique(source.integers(40, 480, 60))
    jobs = source.random(len(need)) * 3
    best, every = coils.choose(tuple(STOCKS), need, jobs, terms(3, 0.25))
    for n in (1, 2, 3):
        for some in combinations(tuple(int(s) for s in STOCKS), n):
            assert best.cost <= coils.cost_of(some, need, jobs, tuple(STOCKS), terms(3, 0.25)).cost + 1e-9
    assert len(best.lengths) <= 3 and every.trim <= best.trim + 1e-9


def test_one_length_of_wells_needs_one_coil():
    best, _ = coils.choose(tuple(STOCKS), np.array([198]), np.array([12.0]), terms(3, 0.25))
    assert best.lengths == (200,) and best.trim == pytest.approx(24.0) and best.special_jobs == 0


def test_strings_longer_than_the_longest_coil_are_joined():
    whole, last = coils.coil_for(np.array([150, 1000, 1120, 2150]), (100, 500, 1000))
    assert whole.tolist() == [0, 0, 1, 2] and last.tolist() == [1, 2, 1, 1]
