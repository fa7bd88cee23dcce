"""Demand by year and cause: whole-number sums that add up, hand-worked factors, percentiles at each level."""

import numpy as np
import pandas as pd
import pytest

from pipeline import io
from pipeline.demand import replacement, years
from pipeline.settings import Settings

DRAWS = 6


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A run folder of 240 invented wells in two areas, its draw sums, its goods."""
    folder = tmp_path_factory.mktemp("run")
    rng = np.random.default_rng(5)
    n = 240
    area = np.where(np.arange(n) < 150, "Ostmark", "Westmark")
    region = np.array(["Alder", "Birch", "Cedar"])[rng.integers(0, 3, n)]
    family = np.array(["pe", "pvc"])[rng.integers(0, 2, n)]
    date = pd.to_datetime([f"{y}-07-01" for y in rng.integers(1985, 2024, n)]).date
    key = {"source_id": "invented", "well_id": [f"W{k:04d}" for k in range(n)]}
    common = {**key, "market_code": "us", "use_code": "domestic", "area_code": area, "region_code": region,
              "weight_inclusion_fraction": 1.0}  # fmt: skip
    io.write_table("wells", pd.DataFrame({
        **common, "source_file": "a.csv", "source_line": 1, "source_row": 1, "source_table": "wells",
        "status_code": "active", "completed_date": date, "completed_precision_code": "day", "completeness_count": 3,
    }), folder)  # fmt: skip
    length = rng.uniform(20, 90, n)
    io.write_table("selection", pd.DataFrame({
        **common, "grade_code": "C", "outcome_code": "recommended", "family_code": family,
        "option_id": np.where(family == "pe", "pe4710-sidr11.5-1", "pvc-sch80-thr-1"), "length_drop_pipe_m": length,
    }), folder)  # fmt: skip
    rows = []
    frame = pd.DataFrame({"area_code": area, "region_code": region, "family": family, "length": length})
    for draw in range(DRAWS):
        moved = frame.assign(length=frame["length"] * (1 + 0.05 * draw))
        for (a, r, f), part in moved.groupby(["area_code", "region_code", "family"]):
            item = "pe4710-sidr11.5-1" if f == "pe" else "pvc-sch80-thr-1"
            mm = round(part["length"].sum() * 1000)
            rows.append((a, r, item, draw, len(part) * 1000, len(part) * 1000, mm, mm // 2, mm // 10))
        for (a, r), part in moved.groupby(["area_code", "region_code"]):
            rows.append((a, r, "splice_kit", draw, len(part) * 1000, len(part) * 1000, None, 100 * len(part), 500 * len(part)))
    goods = pd.DataFrame(rows, columns=["area_code", "region_code", "item_id", "draw", "wells_milli", "pieces_milli",
                                        "length_mm", "mass_g", "cost_cents"]).astype({"length_mm": "Int64"})  # fmt: skip
    items = pd.DataFrame({"item_id": ["pe4710-sidr11.5-1", "pvc-sch80-thr-1", "splice_kit"], "family": ["pe", "pvc", ""],
                          "at_pull": ["pipe", "pipe", "always"]})  # fmt: skip
    return folder, goods, items


def new_wells(per_year):
    return pd.DataFrame([
        ("Ostmark", "Alder", "domestic", 2025 + k, d, per_year * 1000) for k in range(5) for d in range(DRAWS)
    ], columns=["area_code", "region_code", "use_code", "year", "draw", "wells_milli"])  # fmt: skip


@pytest.fixture(scope="module")
def told(made):
    folder, goods, items = made
    return years.by_year(folder, goods, items, Settings(draws=DRAWS), "2024-06-30", new_wells(10), "XTS")


def test_property_regions_add_up_to_areas_and_the_whole(told):
    demand, _ = told
    keys = ["cause_code", "year", "item_id"]
    for name in ("length_m_expected", "pieces_expected", "mass_kg_expected", "cost_expected", "wells_count"):
        sums = {level: part.groupby(keys)[name].sum() for level, part in demand.groupby("region_level")}
        assert np.allclose(sums["region"], sums["area"].reindex(sums["region"].index), rtol=0, atol=1e-9), name
        assert np.allclose(sums["region"], sums["all"].reindex(sums["region"].index), rtol=0, atol=1e-9), name


def test_every_cause_is_the_sum_of_the_causes(told):
    demand, _ = told
    whole = demand[(demand["region_level"] == "all") & (demand["item_id"] == "splice_kit")]
    by_cause = whole.pivot_table(index="year", columns="cause_code", values="pieces_expected")
    assert by_cause["every"].to_numpy() == pytest.approx(by_cause.drop(columns="every").sum(axis=1).to_numpy(), abs=1e-9)


def test_replaced_wells_are_those_of_the_hazards(made, told):
    folder, _, _ = made
    demand, _ = told
    settings = Settings(draws=DRAWS)
    rates = replacement.rates(replacement.cohorts(folder, settings), settings, "2024-06-30")
    cohorts = io.read_table("wells", folder)
    decade = pd.to_datetime(cohorts["completed_date"]).dt.year // 10 * 10
    count = cohorts.assign(completed_decade=decade).groupby(["area_code", "region_code", "use_code", "completed_decade"]).size()
    one = rates[(rates["cause_code"] == "replaced") & (rates["family_code"] == "")]
    keys = ["area_code", "region_code", "use_code", "completed_decade"]
    events = (one["events_fraction"] * count.reindex(pd.MultiIndex.from_frame(one[keys].astype(object))).to_numpy())
    want = events.groupby(one["year"]).sum() / DRAWS
    got = demand[(demand["region_level"] == "all") & (demand["item_id"] == "splice_kit")
                 & (demand["cause_code"] == "replaced")].set_index("year")["wells_count"]  # fmt: skip
    # every well has a pipe here, so a splice kit goes with every event
    assert got.to_numpy() == pytest.approx(want.reindex(got.index).to_numpy(), rel=2e-3)


def test_ten_new_wells_take_what_recent_wells_of_the_region_took(made, told):
    folder, goods, _ = made
    demand, _ = told
    selection, wells = io.read_table("selection", folder), io.read_table("wells", folder)
    here = (selection["area_code"] == "Ostmark") & (selection["region_code"] == "Alder")
    since = pd.to_datetime(wells["completed_date"]).dt.year > 2024 - 15
    recent = here & since
    least = Settings().base("wells_recent_least")
    area = (selection["area_code"] == "Ostmark") & since
    group = recent if recent.sum() >= least else area
    if group is area:  # then the goods of the area are the base
        base = goods[(goods["area_code"] == "Ostmark") & (goods["item_id"] == "pe4710-sidr11.5-1")]
        whole = selection[(selection["area_code"] == "Ostmark") & (selection["family_code"] == "pe")]
    else:
        base = goods[(goods["area_code"] == "Ostmark") & (goods["region_code"] == "Alder")
                     & (goods["item_id"] == "pe4710-sidr11.5-1")]  # fmt: skip
        whole = selection[here & (selection["family_code"] == "pe")]
    took = selection[group & (selection["family_code"] == "pe")]["length_drop_pipe_m"].sum() / group.sum()
    by_draw = base.groupby("draw")["length_mm"].sum().astype(float) / 1000
    want = (by_draw * 10 * took / whole["length_drop_pipe_m"].sum()).to_numpy()
    row = demand[(demand["region_level"] == "all") & (demand["cause_code"] == "new") & (demand["year"] == 2025)
                 & (demand["item_id"] == "pe4710-sidr11.5-1")].iloc[0]  # fmt: skip
    assert row["length_m_expected"] == pytest.approx(want.mean(), rel=1e-4)
    assert row["length_m_p10"] == pytest.approx(np.quantile(want, 0.1), rel=1e-4)
    assert row["length_m_p90"] == pytest.approx(np.quantile(want, 0.9), rel=1e-4)


def test_parts_of_a_band_are_shares(told):
    _, parts = told
    sums = parts.groupby(["region_level", "region_code", "cause_code", "item_id"])["share_band_fraction"].sum()
    assert np.isclose(sums, 1.0).all()
    # in these draws lengths move together and each well keeps its pipe: nothing of the band is choice
    new = parts[(parts["cause_code"] == "new") & (parts["region_level"] == "all")].groupby("part_code")["share_band_fraction"]
    assert new.max()["choice"] < 1e-6 and new.max()["number"] < 1e-6 and new.min()["setting"] > 0.99


def test_without_a_date_nothing_is_told(made):
    folder, goods, items = made
    demand, parts = years.by_year(folder, goods, items, Settings(draws=DRAWS), "", new_wells(1))
    assert demand.empty and parts.empty
