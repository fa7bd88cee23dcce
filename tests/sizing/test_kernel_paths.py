"""Two ways to the cheapest option, threads, and draws: the same answer to the last bit."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from test_kernel import wells

from pipeline import rng
from pipeline.materials import catalogue
from pipeline.settings import Settings
from pipeline.sizing.blocks import MORE_IS_BETTER, lay_out
from pipeline.sizing.choose import blocks, cheapest, decide
from pipeline.sizing.constants import market, temperature_factors
from pipeline.sizing.inputs import FARTHEST, NORMAL_P90, deviates_of, drawn
from pipeline.sizing.kernel import LANES
from pipeline.sizing.layout import OPTION, O, R, W


@pytest.fixture(scope="module")
def groups():
    settings = Settings()
    goods = catalogue(settings)
    return {(code, hand): market(code, hand, settings, goods) for code in ("us", "metric") for hand in (False, True)}


@pytest.mark.parametrize("hand", [False, True])
@pytest.mark.parametrize("code", ["us", "metric"])
def test_cheapest_is_the_choice_over_all(groups, code, hand):
    group = groups[code, hand]
    found = wells(6000, seed=11)
    found[:, W["hand"]] = float(hand)
    found[::7, W["temperature"]] = 15.0
    found[::11, W["head"]] = 30.0
    chosen = decide(group, found).chosen()
    assert np.array_equal(cheapest(group, found), chosen)
    assert (chosen >= 0).any() and (chosen < 0).any()


def test_cheapest_holds_without_bounds_and_for_odd_numbers(groups):
    group = groups["us", False]
    found = wells(1500, seed=12)
    pick = np.random.default_rng(3)
    odd = np.array([0.0, -1.0, np.nan, np.inf, -np.inf, 1e30, 1e-30, -50.0])
    rows = np.arange(len(found))
    found[rows, pick.integers(0, len(W), len(found))] = pick.choice(odd, len(found))
    assert np.array_equal(cheapest(group, found), decide(group, found).chosen())
    # a negative cost takes the bounds away; the answer must not change
    run = group.run.copy()
    run[R["penalty_splice"]] = -20.0
    unbound = type(group)(**(group.__dict__ | {"run": run}))
    assert blocks(unbound).ideal_material.size == 0 and blocks(group).ideal_material.size > 0
    assert np.array_equal(cheapest(unbound, found), decide(unbound, found).chosen())


def test_blocks_hold_every_option_once_and_their_ideal_is_no_worse(groups):
    for group in groups.values():
        laid = lay_out(group)
        assert sorted(set(laid.number.reshape(-1))) == list(range(len(group.index)))
        for block, lanes in enumerate(laid.number):
            assert len(set(group.materials[lanes])) == 1 and len(set(group.families[lanes])) == 1
            assert laid.material[block] == group.materials[lanes[0]] and laid.family[block] == group.families[lanes[0]]
            own = laid.pack[block].reshape(-1, LANES)[: len(OPTION)]
            assert np.array_equal(own, group.constants[:, lanes])
        ideal = laid.ideal.reshape(len(laid.ideal), -1, laid.ideal_material.shape[1]).transpose(1, 0, 2)
        ideal = ideal.reshape(len(ideal), -1)[:, : len(laid.number)]
        for name, place in O.items():
            if name == "turbulent_4000" or name in ("stress_pull", "stress_hoop", "stress_radial"):
                continue
            own = group.constants[place][laid.number]
            best = own.max(axis=1) if name in MORE_IS_BETTER else own.min(axis=1)
            assert np.array_equal(ideal[place], best), name


def test_threads_and_chunks_change_nothing(groups):
    group = groups["us", False]
    found = wells(3000, seed=13)
    whole, least = decide(group, found), cheapest(group, found)
    for threads, size in ((2, 1500), (2, 97), (4, 10)):
        cuts = [slice(a, a + size) for a in range(0, len(found), size)]
        with ThreadPoolExecutor(threads) as pool:
            parts = list(pool.map(lambda cut: decide(group, found[cut]), cuts))
            picked = np.concatenate(list(pool.map(lambda cut: cheapest(group, found[cut]), cuts)))
        for name in ("best", "score", "closest", "worst"):
            joined = np.concatenate([getattr(part, name) for part in parts])
            assert joined.tobytes() == getattr(whole, name).tobytes(), (threads, size, name)
        assert np.array_equal(picked, least)


def test_reference_random_numbers_are_splitmix_and_box_muller():
    # finaliser and increment as published for SplitMix64 (splitmix64 in references.csv), here in plain integers
    mask = (1 << 64) - 1

    def mix(x: int) -> int:
        x = (x ^ (x >> 30)) * 0xBF58476D1CE4E5B9 & mask
        x = (x ^ (x >> 27)) * 0x94D049BB133111EB & mask
        return x ^ (x >> 31)

    names = rng.keys([f"well {k}" for k in range(200)])
    word = int(rng.word(5, "well/flow", 3))
    plain = [((mix((mix((int(k) + word) & mask) + 0x9E3779B97F4A7C15) & mask) >> 11) + 0.5) * 2.0**-53 for k in names]
    assert np.array_equal(rng.uniform(5, "well/flow", names, 3), plain)
    first, second = rng.uniform(5, "a/radius", names, 1), rng.uniform(5, "a/angle", names, 1)
    expected = np.sqrt(-2.0 * np.log(first)) * np.cos(2.0 * np.pi * second)
    np.testing.assert_allclose(rng.normal(5, "a", names, 1), expected, rtol=0, atol=2e-15)


def test_moved_inputs_are_the_written_rule_to_the_last_bit():
    settings = Settings()
    base = wells(400, seed=14)
    low, high = base * 0.8, base * 1.3
    keys = rng.keys([f"w{k}" for k in range(400)])
    region = np.arange(400) % 7
    region_keys = rng.keys([f"r{k}" for k in range(7)])
    draw = deviates_of(settings, region_keys, 9)
    found = drawn(base, low, high, keys, region, draw)
    share = settings.base("spread_regional")
    moved = {"level": ("head", "length", "depth_pump", "level_static", "level_pumping"), "flow": ("flow",),
             "place": ("bore", "weight_pump", "volume_pump", "temperature", "gamma", "viscosity")}  # fmt: skip
    least = {"flow": 1e-6, "length": 0.5, "head": 0.1, "depth_pump": 0.5, "bore": 0.02, "weight_pump": 1.0,
             "volume_pump": 0.0}  # fmt: skip
    for stream, names in moved.items():
        own = rng.normal(settings.seed, f"well/{stream}", keys, 9)
        shared = rng.normal(settings.seed, f"region/{stream}", region_keys, 9)
        z = np.sqrt(share) * shared[region] + np.sqrt(1.0 - share) * own
        z = np.clip(z, -FARTHEST, FARTHEST) / NORMAL_P90
        for name in names:
            k = W[name]
            value = base[:, k] + np.where(z > 0, high[:, k] - base[:, k], base[:, k] - low[:, k]) * z
            assert np.array_equal(found[:, k], np.maximum(value, least.get(name, -np.inf))), name
    still = [k for name, k in W.items() if name not in {n for names in moved.values() for n in names}]
    assert np.array_equal(found[:, still], base[:, still], equal_nan=True)


def test_draws_do_not_depend_on_how_wells_are_cut():
    settings = Settings()
    base = wells(300, seed=15)
    keys, region = rng.keys([f"w{k}" for k in range(300)]), np.zeros(300, np.int64)
    draw = deviates_of(settings, rng.keys(["r"]), 0)
    whole = drawn(base, base * 0.9, base * 1.1, keys, region, draw)
    parts = [
        drawn(base[a : a + 41], base[a : a + 41] * 0.9, base[a : a + 41] * 1.1, keys[a : a + 41], region[a : a + 41], draw)
        for a in range(0, 300, 41)
    ]
    assert np.concatenate(parts).tobytes() == whole.tobytes()


def test_a_missing_value_stays_missing_in_a_draw():
    base = wells(20, seed=16)
    base[:, W["length"]] = np.nan
    keys, region = rng.keys([f"w{k}" for k in range(20)]), np.zeros(20, np.int64)
    settings = Settings()
    found = drawn(base, base, base, keys, region, deviates_of(settings, rng.keys(["r"]), 0))
    assert np.isnan(found[:, W["length"]]).all()
    group = market("us", False, settings, catalogue(settings))
    assert (cheapest(group, found, temperature_factors(group, found[:, W["temperature"]])) == -1).all()
