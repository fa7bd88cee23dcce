"""Rows in another unit than their column: proposed only with evidence from two sides. All records are invented."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from raw_tables import METRES, intake, layout, table

from pipeline.errors import UsageError
from pipeline.normalise import to_records
from pipeline.settings import Settings, load, repair_codes

MORE = {
    "depth_pumping_m": {"from": "pumping", "unit": "m"},
    "drawdown_test_m": {"from": "fall", "unit": "m"},
    "diameter_casing_inside_m": {"from": "bore", "unit": "mm"},
    "conductivity_us_per_cm": {"from": "ec", "unit": "uS/cm"},
    "chloride_mg_per_l": {"from": "cl", "unit": "mg/L"},
}
SIZE = 60


def usual(seed: int = 4) -> dict[str, list[str]]:
    """Sixty records in good order, metres and litres."""
    rng = np.random.default_rng(seed)
    depth = rng.uniform(50, 70, SIZE)
    level = rng.uniform(8, 16, SIZE)
    pump = rng.uniform(38, 45, SIZE)
    fall = rng.uniform(5, 15, SIZE)
    rows = {"depth": depth, "level": level, "pump": pump, "fall": fall, "pumping": level + fall,
            "yield": rng.uniform(1, 6, SIZE), "ec": rng.uniform(400, 900, SIZE), "cl": rng.uniform(20, 90, SIZE)}  # fmt: skip
    out = {name: [f"{v:.2f}" for v in values] for name, values in rows.items()}
    out["bore"] = list(rng.choice(["103", "127", "152"], SIZE))
    out["use"] = ["domestic"] * SIZE
    return out


def run(rows: dict[str, list[str]], accept: str = "none", columns: dict | None = None):
    found = layout({**METRES, **MORE, **(columns or {})})
    base = {"id": [f"W{i:02d}" for i in range(len(rows["depth"]))]}
    return to_records(intake(found, table({**base, **rows})), Settings(accept_repairs=repair_codes(accept)))


def put(rows: dict[str, list[str]], at: int, **values: str) -> dict[str, list[str]]:
    for name, value in values.items():
        rows[name] = [*rows[name][:at], value, *rows[name][at + 1 :]]
    return rows


@pytest.mark.parametrize(
    ("values", "field", "code", "found", "proposed"),
    [
        # a level in feet below a shallow bottom
        ({"level": "45", "pumping": "", "fall": "", "pump": "", "depth": "44.10"}, "depth_static_m", "P111", 45.0, 45 * 0.3048),
        ({"depth": "5760", "pump": "40.00"}, None, "N201", None, None),
        ({"bore": "1270"}, "diameter_casing_inside_m", "P112", 1.27, 0.127),
        ({"bore": "6"}, "diameter_casing_inside_m", "P112", 0.006, 0.1524),
        ({"yield": "60", "bore": "103"}, "flow_tested_m3_per_s", "P113", 60 / 3600, 0.06 / 60),
        ({"ec": "0.55", "cl": "60"}, "conductivity_us_per_cm", "P114", 0.55, 550.0),
        ({"fall": "30.00", "pumping": "30.00", "level": "12.00"}, "drawdown_test_m", "P115", 30.0, 18.0),
        ({"fall": "9.00", "pumping": "9.00", "level": "15.00"}, "depth_pumping_m", "P116", 9.0, 24.0),
    ],
)  # fmt: skip
def test_a_slip_of_one_row_is_proposed(values, field, code, found, proposed) -> None:
    rows = put(usual(), 7, **values)
    out = run(rows)
    if field is None:
        assert out.repairs.empty and code in set(out.issues["code"])
        return
    assert out.repairs["code"].tolist() == [code], out.repairs["evidence"].tolist()
    row = out.repairs.iloc[0]
    assert (row["well_id"], row["field"], bool(row["is_accepted"])) == ("W07", field, False)
    assert float(row["found"]) == pytest.approx(found, rel=1e-4)
    assert float(row["proposed"]) == pytest.approx(proposed, rel=1e-4)
    assert row["evidence"] and row["strength_code"] in ("strong", "fair")
    # not accepted: given up; accepted: used, counted, and said
    assert np.isnan(out.wells.set_index("well_id").loc["W07", field])
    taken = run(rows, "all")
    well = taken.wells.set_index("well_id").loc["W07"]
    assert well[field] == pytest.approx(proposed, rel=1e-4) and well["repaired_count"] == 1
    assert taken.issues.loc[taken.issues["code"] == code, "used"].notna().all()
    assert run(rows, code).wells.equals(taken.wells)


def test_an_outlier_alone_is_left() -> None:
    # far deeper than all others, and a high yield in a wide bore: nothing contradicts them
    out = run(put(usual(), 3, depth="310.00", bore="305", **{"yield": "60"}, use="irrigation", ec="5", cl=""))
    assert out.repairs.empty
    assert out.wells.set_index("well_id").loc["W03", "depth_completed_m"] == 310.0


def test_the_use_alone_does_not_contradict_a_yield() -> None:
    out = run(put(usual(), 3, **{"yield": "60"}, bore="250"))
    assert out.repairs.empty and out.wells["flow_tested_m3_per_s"].notna().all()


def test_a_contradiction_that_two_units_explain_is_left_open() -> None:
    out = run(put(usual(), 3, level="4500.00", depth="60.00"))
    assert out.repairs.empty


def test_a_column_that_is_wrong_as_a_whole_is_not_repaired_by_rows() -> None:
    rows = usual()
    rows["level"] = [f"{float(v) * 3.2808 * 2:.0f}" for v in rows["level"]]
    assert "P111" not in set(run(rows).repairs["code"])


def test_round_feet_among_converted_feet_are_told_by_their_digits() -> None:
    rng = np.random.default_rng(1)
    rows = usual()
    rows["depth"] = [f"{v * 0.3048:.2f}" for v in rng.integers(150, 240, SIZE)]
    rows["level"] = [f"{v * 0.3048:.2f}" for v in rng.integers(25, 60, SIZE)]
    for name in ("pump", "fall", "pumping"):
        rows[name] = [""] * SIZE
    out = run(put(rows, 9, level="58", depth="54.86"))
    assert out.repairs["code"].tolist() == ["P111"] and "digits" in out.repairs["evidence"][0]


def test_property_random_contradictions_are_not_explained_away() -> None:
    # levels and bottoms drawn at random: no unit is at fault, so hardly any may be proposed
    rng = np.random.default_rng(11)
    wrong = 0
    for seed in range(10):
        rows = usual(seed)
        for at in range(0, 10, 2):
            rows = put(rows, at, level=f"{rng.uniform(71, 250):.2f}", pump="", pumping="", fall="")
        wrong += len(run(rows).repairs)
    assert wrong <= 1, f"{wrong} of 50"


def test_property_the_order_of_rows_changes_nothing() -> None:
    rows = put(put(put(usual(), 7, bore="1270"), 20, level="45", depth="44.10", pump="", pumping="", fall=""), 30, ec="0.55")
    one = run(rows)
    ids = [f"W{i:02d}" for i in range(SIZE)]
    mixed = np.random.default_rng(2).permutation(SIZE)
    other = run({**{k: [v[i] for i in mixed] for k, v in rows.items()}, "id": [ids[i] for i in mixed]})
    keys = ["well_id", "code", "field", "found", "proposed", "strength_code", "is_accepted"]
    pd.testing.assert_frame_equal(one.repairs[keys], other.repairs[keys])
    values = [c for c in one.wells if not c.startswith("source_")]
    pd.testing.assert_frame_equal(one.wells[values], other.wells[values])


def test_property_what_is_accepted_was_proposed() -> None:
    rows = put(put(usual(), 7, bore="1270"), 30, ec="0.55")
    none, some, everything = run(rows), run(rows, "P114"), run(rows, "all")
    keys = ["well_id", "code", "field", "found", "proposed"]
    pd.testing.assert_frame_equal(none.repairs[keys], everything.repairs[keys])
    assert everything.repairs["is_accepted"].all() and not none.repairs["is_accepted"].any()
    assert some.repairs.loc[some.repairs["is_accepted"], "code"].tolist() == ["P114"]


def test_settings_take_none_all_or_codes(tmp_path) -> None:
    assert load(None).accept_repairs == ()
    assert "P101" in load(None, accept_repairs="all").accept_repairs
    assert "P109" not in load(None, accept_repairs="all").accept_repairs
    assert load(None, accept_repairs="p104, P101").accept_repairs == ("P101", "P104")
    for text, wanted in (('accept_repairs = "none"', ()), ('accept_repairs = ["P102"]', ("P102",))):
        path = tmp_path / "s.toml"
        path.write_text(text, encoding="utf-8")
        assert load(path).accept_repairs == wanted
    for wrong in ("P109", "P999", "yes"):
        with pytest.raises(UsageError, match="accept_repairs"):
            load(None, accept_repairs=wrong)
    path.write_text("accept_repairs = 3", encoding="utf-8")
    with pytest.raises(UsageError, match="accept_repairs"):
        load(path)
