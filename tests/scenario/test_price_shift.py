"""Moved prices over the sample run."""

import pytest

from pipeline import io, price_shift
from pipeline.errors import UsageError
from pipeline.settings import Settings


def test_shifts_are_read_and_faults_told():
    assert price_shift.shifts(["pe=+20%", "steel=-10%"]) == pytest.approx(
        {"pe": 1.2, "galvanised": 0.9, "stainless": 0.9}
    )
    for text, told in (("pe", "not understood"), ("gold=+5%", "not understood"), ("pe=-100%", "above nought")):
        with pytest.raises(UsageError, match=told):
            price_shift.shifts([text])
    with pytest.raises(UsageError, match="two shifts"):
        price_shift.shifts(["pe=+5%", "resin=+5%"])


def test_dear_polyethylene_turns_wells_away_from_it(sample_run, tmp_path):
    same = price_shift.shift_prices(sample_run, ["pe=+0%"], tmp_path / "same", Settings())
    assert same["scenario"]["switch"] == 0
    dear = price_shift.shift_prices(sample_run, ["pe=+300%"], tmp_path / "dear", Settings())
    table = io.read_table("switch_wells", tmp_path / "dear")
    turned = table[table["family_before_code"] != table["family_code"]]
    assert len(turned) == dear["scenario"]["switch_family"] > 0
    assert (turned["family_before_code"] == "pe").all() and (turned["cost_extra"].dropna() >= 0).all()
    assert price_shift.lines(dear)[0].startswith("Price of pipe: pe +300 %")
