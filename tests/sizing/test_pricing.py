"""Prices that are missing, goods that are not in stock, and whole coils: what they do to the ranking."""

import csv

import numpy as np
import pandas as pd
import pytest
from wells import G1, sized

from pipeline import schema
from pipeline.errors import UsageError
from pipeline.materials import catalogue, pieces
from pipeline.settings import Settings
from pipeline.sizing.checks import _bought
from pipeline.sizing.constants import market
from pipeline.sizing.layout import O
from pipeline.sizing.pricing import filled, unstocked


def price_list(folder, change):
    """Settings with the demo list after ``change`` has had its rows."""
    rows = change([dict(row) for row in schema.rows("prices")])
    path = folder / "prices.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return Settings(draws=0, prices=path)


def ranking(settings):
    """Goods of 60 m of every option, in the order of the market."""
    group = market("us", False, settings, catalogue(settings))
    return group, group.constants[O["cost_fixed"]] + 60.0 * (group.constants[O["cost_pipe"]] + group.constants[O["cost_per_m"]])


@pytest.mark.parametrize("gone", ["clamp_hose-1", "torque_arrestor", "adapter_pe_barbed-1", "coupling_pvc_threaded-1"])
def test_an_accessory_without_a_price_does_not_turn_the_ranking(tmp_path, gone):
    assert any(row["item_id"] == gone for row in schema.rows("prices"))
    settings = price_list(tmp_path, lambda rows: [row for row in rows if row["item_id"] != gone])
    group, cost = ranking(settings)
    whole, full = ranking(Settings())
    assert (~group.is_priced).any() and whole.is_priced.all()
    assert np.abs(cost / full - 1.0).max() < 0.05
    with_gap, without = sized(G1, settings=settings)["selection"].iloc[0], sized(G1)["selection"].iloc[0]
    assert with_gap["option_id"] == without["option_id"]
    assert pd.isna(with_gap["cost_first"]) == (not group.is_priced[list(group.frame["option_id"]).index(with_gap["option_id"])])


def test_pipe_without_a_price_takes_that_of_its_family_by_mass(tmp_path):
    settings = price_list(tmp_path, lambda rows: [r for r in rows if r["item_id"] != "pe4710-sidr11.5-1"])
    group, _cost = ranking(settings)
    place = list(group.frame["option_id"]).index("pe4710-sidr11.5-1")
    goods = catalogue(settings)
    own = goods.items[goods.items["item_id"].isin(goods.options.loc[goods.options["family_code"] == "pe", "option_id"])]
    per_kg = np.nanmedian(own["price"] / own["mass_kg"])
    mass = float(group.frame["mass_kg_per_m"].iloc[place])
    assert group.constants[O["cost_pipe"], place] == pytest.approx(per_kg * mass)
    assert not group.is_priced[place] and group.is_priced.sum() == len(group.is_priced) - 1


def test_goods_that_nothing_like_is_listed_of_are_left_out_for_all():
    items = pd.DataFrame({"item_id": ["a-1", "b", "c-1", "c-2"], "kind": ["pipe", "fitting", "fitting", "fitting"],
                          "sale_unit": ["m", "each", "each", "each"], "price": [2.0, np.nan, 3.0, np.nan],
                          "mass_kg": [1.0, 1.0, 1.0, 2.0]})  # fmt: skip
    assert filled(items, pd.Series({"a-1": "pe"}))["price"].tolist() == [2.0, 0.0, 3.0, 6.0]


def test_what_the_list_says_is_not_in_stock_carries_a_penalty(tmp_path):
    def change(rows):
        for row in rows:
            row["on_hand"] = "0" if row["item_id"] == "pe4710-sidr11.5-1" else ""
            row["stocked"] = "no" if row["item_id"] == "pe3408-sidr9-1" else ""
        return rows

    settings = price_list(tmp_path, change)
    names = pd.Series(["pe4710-sidr11.5-1", "pe3408-sidr9-1", "pvc-sch80-thr-1", "not-listed"])
    assert unstocked(settings, names).tolist() == [True, True, False, False]
    group, plain = market("us", False, settings, catalogue(settings)), market("us", False, Settings(), catalogue(Settings()))
    more = group.constants[O["class_penalty"]] - plain.constants[O["class_penalty"]]
    expected = np.where(group.frame["option_id"].isin(names[:2]), settings.base("penalty_not_stocked"), 0.0)
    np.testing.assert_allclose(more, expected)


@pytest.mark.parametrize(("column", "cell"), [("stocked", "perhaps"), ("on_hand", "many"), ("on_hand", "-3")])
def test_a_stock_cell_that_cannot_be_read_is_told(tmp_path, column, cell):
    settings = price_list(tmp_path, lambda rows: [row | {column: cell} for row in rows])
    with pytest.raises(UsageError, match=column):
        unstocked(settings, pd.Series(["pvc-sch80-thr-1"]))


def test_coil_is_paid_for_as_the_bill_counts_it():
    goods = catalogue(Settings())
    make_up = Settings().base("length_coil_make_up")
    for place in (0, 8, int(goods.option_index(pd.Series(["pe100-sdr11-32"]))[0])):
        for length in (5.0, 29.8, 29.9, 30.48, 60.96, 100.0, 152.0, 199.4, 304.0, 310.0, 700.0):
            bought = pieces(goods, np.array([place]), np.array([length])).length_m[0]
            assert _bought(length + make_up, goods.coils_m[place]) == pytest.approx(bought)
    sticks = int(goods.option_index(pd.Series(["pvc-sch80-thr-1"]))[0])
    assert _bought(100.0, goods.coils_m[sticks]) == 0.0
