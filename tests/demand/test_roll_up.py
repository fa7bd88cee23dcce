"""Regional sums against an independent computation, and what must always hold."""

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import settings as limits
from hypothesis import strategies as st

from pipeline import demand, io, schema
from pipeline.errors import PipelineError
from pipeline.settings import Settings

DRAWS = 8
PLACES = [("Ostmark", "Alder"), ("Ostmark", "Birch"), ("Westmark", "Alder"), ("Westmark", None), (None, None)]


def sums(seed: int = 5, rows: int = 600) -> pd.DataFrame:
    """Invented sums: several rows a place, item and draw, as chunks would leave them."""
    rng = np.random.default_rng(seed)
    place = rng.integers(0, len(PLACES), rows)
    frame = pd.DataFrame({
        "area_code": [PLACES[i][0] for i in place],
        "region_code": [PLACES[i][1] for i in place],
        "item_id": rng.choice(["coil_a", "coil_b", "stick_c", "rare_d"], rows, p=[0.5, 0.3, 0.19, 0.01]),
        "draw": rng.integers(0, DRAWS, rows),
        "wells_milli": rng.integers(300, 1001, rows),
        "pieces_milli": rng.integers(0, 9000, rows),
        "length_mm": rng.integers(0, 200_000, rows),
        "mass_g": rng.integers(0, 50_000, rows),
        "cost_cents": rng.integers(0, 90_000, rows),
    })  # fmt: skip
    return frame


def roll(frame) -> pd.DataFrame:
    return demand.roll_up(frame, Settings(draws=DRAWS), currency="XTS")


def test_fits_the_declared_table():
    got = roll(sums())
    assert list(got.columns) == [c.field.name for c in schema.table("demand")]
    assert io.to_arrow("demand", got).num_rows == len(got)
    assert not got.duplicated(["region_level", "region_code", "item_id"]).any()
    assert set(got["cause_code"]) == {"standing"} and got["year"].isna().all()


def test_reference_percentiles_agree_with_pandas():
    # linear interpolation of order statistics: type 7 of Hyndman and Fan, The American Statistician 50 (1996)
    # 361-365 (from memory); pandas is a general library that uses the same rule
    frame, got = sums(), roll(sums())
    for level, keys in (("all", []), ("area", ["area_code"]), ("region", ["area_code", "region_code"])):
        part = got[got["region_level"] == level]
        for row in part.itertuples():
            chosen = frame[frame["item_id"] == row.item_id]
            if level != "all":
                names = [_name(level, a, r) for a, r in zip(chosen["area_code"], chosen["region_code"], strict=True)]
                chosen = chosen[np.array(names) == row.region_code]
            assert len(keys) == 0 or len(chosen)
            by_draw = chosen.groupby("draw")[["pieces_milli", "length_mm", "mass_g", "cost_cents"]].sum()
            by_draw = by_draw.reindex(range(DRAWS), fill_value=0)
            for column, stem, scale in (
                ("pieces_milli", "pieces", 1000), ("length_mm", "length_m", 1000),
                ("mass_g", "mass_kg", 1000), ("cost_cents", "cost", 100),
            ):  # fmt: skip
                assert getattr(row, f"{stem}_expected") == pytest.approx(by_draw[column].mean() / scale, rel=1e-12)
                for name, q in (("p10", 0.1), ("p50", 0.5), ("p90", 0.9)):
                    want = by_draw[column].quantile(q) / scale
                    assert getattr(row, f"{stem}_{name}") == pytest.approx(want, rel=1e-12, abs=1e-9)


def _name(level, area, region) -> str:
    none = "(not stated)"
    area, region = (None if pd.isna(x) else x for x in (area, region))
    if level == "area":
        return area or none
    return f"{area} / {region or none}" if area else (region or none)


def test_property_regions_add_up_to_area_and_total_exactly():
    frame, got = sums(), roll(sums())
    for stem, column, scale in (("pieces", "pieces_milli", 1000), ("length_m", "length_mm", 1000),
                                ("mass_kg", "mass_g", 1000), ("cost", "cost_cents", 100)):  # fmt: skip
        whole = {}
        for level in ("all", "area", "region"):
            part = got[got["region_level"] == level]
            units = (part[f"{stem}_expected"] * scale * DRAWS).round().astype("int64")
            whole[level] = units.groupby(part["item_id"]).sum()
        want = frame.groupby("item_id")[column].sum()
        for level, units in whole.items():
            assert units.to_dict() == want.to_dict(), (stem, level)


def test_percentiles_do_not_add_and_are_taken_at_each_level():
    # two regions that never want the item in the same draw: P90 of the sum lies far below the sum of P90
    frame = pd.DataFrame({
        "area_code": "Ostmark", "region_code": ["Alder", "Birch"] * 4, "item_id": "coil_a", "draw": range(8),
        "wells_milli": 1000, "pieces_milli": 10_000, "length_mm": 1000, "mass_g": 10, "cost_cents": 100,
    })  # fmt: skip
    got = roll(frame).set_index(["region_level", "region_code"])["pieces_p90"]
    assert got["region", "Ostmark / Alder"] + got["region", "Ostmark / Birch"] == 20.0
    assert got["area", "Ostmark"] == 10.0


@limits(max_examples=10, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 7))
def test_property_order_and_chunks_change_nothing(seed, cuts):
    frame = sums(rows=120)
    shuffled = frame.sample(frac=1, random_state=seed)
    merged = frame.groupby(["area_code", "region_code", "item_id", "draw"], dropna=False, as_index=False).sum()
    pieces = pa.concat_tables([pa.Table.from_pandas(shuffled.iloc[i::cuts], schema=demand.DRAW_SUMS,
                                                    preserve_index=False) for i in range(cuts)])  # fmt: skip
    want = roll(frame)
    for other in (shuffled, pieces, merged):
        pd.testing.assert_frame_equal(roll(other), want, check_exact=True)


def test_same_region_name_in_two_areas_stays_apart():
    codes = set(roll(sums())["region_code"])
    assert {"Ostmark / Alder", "Westmark / Alder", "Westmark / (not stated)", "(not stated)", "(all)"} <= codes


@pytest.mark.parametrize(("one", "other"), [
    (("A / B", "C"), ("A", "B / C")), ((None, "A"), ("A", None)), (("", " "), ("A", "A")),
])  # fmt: skip
def test_region_names_cannot_collide(one, other):
    frame = sums(rows=2)
    frame[["area_code", "region_code"]] = [one, other]
    assert (roll(frame)["region_level"] == "region").sum() == 2


def test_missing_price_makes_the_cost_missing_not_smaller():
    frame = sums()
    frame["cost_cents"] = frame["cost_cents"].astype("Int64")
    frame.loc[(frame["item_id"] == "coil_a") & (frame["region_code"] == "Birch"), "cost_cents"] = None
    got = roll(frame).set_index(["region_level", "region_code", "item_id"])
    assert np.isnan(got.loc[("region", "Ostmark / Birch", "coil_a"), "cost_expected"])
    assert np.isnan(got.loc[("all", "(all)", "coil_a"), "cost_p90"])
    assert got.loc[("region", "Ostmark / Alder", "coil_a"), "cost_expected"] > 0
    assert got.loc[("all", "(all)", "coil_b"), "currency"] == "XTS"
    assert pd.isna(got.loc[("all", "(all)", "coil_a"), "currency"])


def test_faults_are_told():
    with pytest.raises(PipelineError, match="draw numbers 8 to 8"):
        demand.roll_up(sums().assign(draw=8), Settings(draws=8))
    with pytest.raises(PipelineError, match="mass_g"):
        demand.roll_up(sums().drop(columns="mass_g"), Settings(draws=8))
    with pytest.raises(PipelineError, match="cannot be added"):
        demand.roll_up(sums(rows=2).assign(currency=["XTS", "XXX"]), Settings(draws=8))


def test_no_wells_gives_no_rows():
    got = roll(sums().iloc[:0])
    assert roll(pd.DataFrame()).empty
    assert got.empty and io.to_arrow("demand", got).num_rows == 0
