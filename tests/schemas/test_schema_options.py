"""What can be bought, and what it is made of, against geometry, formulas and the tables it came from."""

from __future__ import annotations

import csv

import numpy as np
import pandas as pd
import pytest

from pipeline import schema
from pipeline.physics import pressure
from pipeline.units import convert

PSI_KPA = float(convert(1.0, "psi", "kilopascal"))
NUMBERS = ["diameter_outside_mm", "wall_min_mm", "diameter_inside_mm", "mass_kg_per_m", "rating_kpa",
           "coupling_outside_mm", "piece_length_m"]  # fmt: skip


def table(name):
    return pd.DataFrame(schema.rows(name))


def numeric(frame, columns):
    return frame.assign(**{c: pd.to_numeric(frame[c].replace("", np.nan)) for c in columns})


@pytest.fixture(scope="module")
def options():
    return numeric(table("options"), NUMBERS)


@pytest.fixture(scope="module")
def materials():
    frame = table("materials")
    texts = {"material_id", "family_code", "label", "temperature_rule", "life_practice_id", "surge_practice_id",
             "reference_id", "how", "note"}  # fmt: skip
    return numeric(frame, [c for c in frame.columns if c not in texts]).set_index("material_id")


def test_data_options_are_unique_and_counted(options):
    assert options["option_id"].is_unique
    assert options["option_id"].str.fullmatch(r"[a-z0-9.\-]+").all()
    count = options["market_code"].value_counts()
    assert 100 <= count["us"] <= 127 and 60 <= count["metric"] <= 127


def test_data_options_resolve(options, materials):
    for column, codes in (("market_code", "market"), ("family_code", "family"), ("joint_code", "joint")):
        assert set(options[column]) <= set(schema.codes(codes)), column
    assert set(options["material_id"]) == set(materials.index)
    assert (options["family_code"] == options["material_id"].map(materials["family_code"])).all()
    practice = {row["practice_id"] for row in schema.rows("practice")}
    assert set(materials["life_practice_id"]) | set(materials["surge_practice_id"]) - {""} <= practice
    for market in ("us", "metric"):
        families = set(options.loc[options["market_code"] == market, "family_code"])
        assert {"pe", "pvc", "galvanised", "stainless"} <= families


def test_data_options_close_in_geometry(options):
    """Bore-controlled: outside = bore + 2 least walls. Steel: the same. Plastic by outside: the average wall is
    up to 12 % of the least wall, or 0.5 mm, thicker than the least, as the tolerances of the standards allow."""
    wall = (options["diameter_outside_mm"] - options["diameter_inside_mm"]) / 2
    exact = (options["control"] == "inside") | options["family_code"].isin(["galvanised", "stainless"])
    assert np.abs(wall - options["wall_min_mm"])[exact].max() < 0.02
    over = (wall - options["wall_min_mm"])[~exact]
    assert (over > 0).all()
    assert (over <= np.maximum(0.12 * options["wall_min_mm"][~exact], 0.51) + 1e-9).all()


def test_data_mass_follows_from_geometry_and_density(options, materials):
    """Average wall times density; published PVC masses within 4 %, zinc on steel adds 4 %."""
    outside, bore = options["diameter_outside_mm"], options["diameter_inside_mm"].copy()
    inside_controlled = options["control"] == "inside"
    outside = outside.where(~inside_controlled, bore + 2.12 * options["wall_min_mm"])
    density = options["material_id"].map(materials["density_kg_per_m3"])
    expected = np.pi / 4 * (outside**2 - bore**2) * 1e-6 * density
    expected *= np.where(options["family_code"] == "galvanised", 1.04, 1.0)
    np.testing.assert_allclose(options["mass_kg_per_m"], expected, rtol=0.04)


def test_data_ratings_follow_from_the_formula(options, materials):
    """2 S/(DR - 1) or 2 S/(SIDR + 1); published figures are rounded down to classes, or to 10 psi for PVC."""
    stress = options["material_id"].map(materials["hds_mpa"]) * 1e3  # kPa
    stress = stress.where(~((options["material_id"] == "pvcu") & (options["diameter_outside_mm"] > 90)), 12.5e3)
    wall = options["wall_min_mm"]
    by_outside = pressure.rating_outside_pa(stress, options["diameter_outside_mm"], wall)
    by_inside = pressure.rating_inside_pa(stress, options["diameter_inside_mm"], wall)
    formula = np.where(options["control"] == "inside", by_inside, by_outside)
    plastic = options["rating_kpa"].notna()
    assert set(options.loc[~plastic, "family_code"]) == {"galvanised", "stainless"}
    ratio = (options["rating_kpa"] / formula)[plastic]
    strange = options.loc[plastic, "option_id"][(ratio > 1.02) | (ratio < 0.90)]
    # where the least wall of the standard governs
    thick_by_floor = {"pe4710-sidr15-0.75", "pe3408-sidr15-0.75", "pe100-sdr11-25"}
    assert set(strange) <= thick_by_floor, dict(zip(strange, ratio[strange.index], strict=True))
    pvc = options["material_id"] == "pvc1120"
    assert np.abs(options["rating_kpa"] - formula)[pvc].max() <= 10 * PSI_KPA


def test_data_walls_grow_with_schedule(options):
    order = {"Sch 40": 0, "Sch 40S": 0, "Sch 80": 1, "Sch 120": 2, "medium": 0, "heavy": 1}
    frame = options[options["class_label"].isin(order)]
    frame = frame.assign(rank=frame["class_label"].map(order)).sort_values("rank")
    for _, group in frame.groupby(["market_code", "material_id", "nominal_size", "joint_code"]):
        assert group["wall_min_mm"].is_monotonic_increasing and group["wall_min_mm"].is_unique
        assert group["diameter_inside_mm"].is_monotonic_decreasing


def test_data_stronger_class_is_never_rated_lower(options):
    frame = options[options["rating_kpa"].notna()].sort_values("wall_min_mm")
    for _, group in frame.groupby(["material_id", "nominal_size", "joint_code", "control"]):
        assert group["rating_kpa"].is_monotonic_increasing


def test_data_joints_are_what_the_trade_allows(options):
    sch40_pvc = (options["family_code"] == "pvc") & (options["class_label"] == "Sch 40")
    assert set(options.loc[sch40_pvc, "joint_code"]) == {"glued"}  # the wall is too thin to thread
    barbed = options["joint_code"] == "barbed"
    assert (options.loc[barbed, "control"] == "inside").all()
    assert (options.loc[options["control"] == "inside", "joint_code"] == "barbed").all()
    coils = options["coil_lengths_m"] != ""
    assert (coils == options["family_code"].isin(["pe", "pex"])).all()
    assert (options["piece_length_m"].notna() == ~coils).all()
    hand = options["suits_hand_pump"] == "yes"
    assert set(options.loc[hand, "joint_code"]) == {"threaded"}
    assert (options["coupling_outside_mm"] > options["diameter_outside_mm"]).all()
    for text in options.loc[coils, "coil_lengths_m"]:
        lengths = [float(x) for x in text.split("|")]
        assert lengths == sorted(lengths) and lengths[0] > 0


def test_data_every_threaded_option_has_a_thread_that_leaves_wall(options):
    threads = table("reference/threads").set_index(["thread_code", "nominal_size"])
    threaded = options[options["joint_code"] == "threaded"]
    assert (options["thread_code"] != "").eq(options["joint_code"] == "threaded").all()
    for row in threaded.itertuples():
        root = float(threads.loc[(row.thread_code, row.nominal_size), "diameter_root_mm"])
        assert row.diameter_inside_mm < root < row.diameter_outside_mm, row.option_id


SOURCES = [
    ("pipe_pe_sidr", "sidr", lambda o: o["standard"] == "ASTM D2239", "SIDR", ["diameter_inside_mm", "wall_min_mm"]),
    ("pipe_pe_dr", "dr", lambda o: o["standard"] == "ASTM D3035", "DR", ["diameter_outside_mm", "wall_min_mm"]),
    ("pipe_pvc_schedule", "schedule", lambda o: o["standard"] == "ASTM D1785", "Sch",
     ["diameter_outside_mm", "wall_min_mm", "diameter_inside_mm", "mass_kg_per_m"]),
    ("pipe_pe100", "sdr", lambda o: o["material_id"] == "pe100", "SDR", ["diameter_outside_mm", "wall_min_mm"]),
    ("pipe_pex", "sdr", lambda o: o["material_id"] == "pex", "SDR", ["diameter_outside_mm", "wall_min_mm"]),
    ("pipe_steel", "schedule", lambda o: o["material_id"] == "a53", "Sch",
     ["diameter_outside_mm", "wall_mm", "diameter_inside_mm"]),
    ("pipe_en10255", "series", lambda o: o["material_id"] == "s195t", "", ["diameter_outside_mm", "wall_mm"]),
]  # fmt: skip


@pytest.mark.parametrize("source", SOURCES, ids=lambda s: s[0])
def test_data_options_agree_with_their_table(options, source):
    name, key, pick, word, columns = source
    rows = table(f"reference/{name}").set_index([key, "nominal_size"])
    chosen = options[pick(options)]
    assert len(chosen)
    for option in chosen.to_dict("records"):
        label = option["class_label"].split(",")[0].removeprefix(word).strip()
        row = rows.loc[(label, option["nominal_size"])]
        for column in columns:
            ours = option["wall_min_mm" if column == "wall_mm" else column]
            assert ours == pytest.approx(float(row[column]), abs=1e-4), (option["option_id"], column)


def test_data_pvcu_and_stainless_agree_with_their_tables(options):
    pvcu = table("reference/pipe_pvcu").set_index(["standard", "pn_bar", "nominal_size"])
    for option in options[options["material_id"].isin(["pvcu", "pvcu_is4985"])].to_dict("records"):
        bar = option["class_label"].removeprefix("PN ").removeprefix("class ").removesuffix(" bar")
        row = pvcu.loc[(option["standard"], bar, option["nominal_size"])]
        assert option["wall_min_mm"] == float(row["wall_min_mm"]) and option["rating_kpa"] == float(bar) * 100
    steel = table("reference/pipe_stainless")
    sizes = [pd.to_numeric(steel[c]) for c in ("diameter_outside_mm", "wall_mm", "diameter_inside_mm")]
    known = set(zip(*sizes, strict=True))
    for option in options[options["family_code"] == "stainless"].to_dict("records"):
        assert (option["diameter_outside_mm"], option["wall_min_mm"], option["diameter_inside_mm"]) in known


def test_data_materials_are_the_printed_values_in_si(materials):
    """Each figure of materials.csv once more, from what its source prints and in the source's unit."""
    unit_of = {"mm": "mm", "mpa": "megapascal", "degc": "degC"}
    seen = set()
    for row in schema.rows("reference/material_sources"):
        key = (row["material_id"], row["property"])
        assert key not in seen, key
        seen.add(key)
        printed, unit = float(row["as_printed"]), row["unit"]
        if unit == "1/F":
            expected = printed * 1.8  # one degree C is 1.8 degrees F
        else:
            to = unit_of.get(row["property"].rsplit("_", 1)[-1])
            expected = float(convert(printed, unit, to)) if to else printed
        assert materials.loc[key] == pytest.approx(expected, rel=1e-5), key
    number = materials.select_dtypes("number").notna()
    held = {(material, column) for column in number for material in number.index[number[column]]}
    assert held == seen


def test_data_materials_make_sense(materials):
    assert (materials["modulus_50y_mpa"] <= materials["modulus_short_mpa"]).all()
    assert (materials["modulus_short_mpa"] <= materials["modulus_dynamic_mpa"]).all()
    assert (materials["poisson_short"] <= materials["poisson_long"]).all() and (materials["poisson_long"] < 0.5).all()
    steel = materials["family_code"].isin(["galvanised", "stainless"])
    assert materials.loc[steel, ["yield_mpa", "stress_allow_mpa"]].notna().all(axis=None)
    assert (materials.loc[steel, "stress_allow_mpa"] <= 2 / 3 * materials.loc[steel, "yield_mpa"]).all()
    assert materials.loc[~steel, "hds_mpa"].notna().all()
    basis = materials.loc[materials["temperature_rule"] == "hdb"]
    assert basis[["hdb_mpa", "hdb_hot_mpa", "temperature_hdb_degc", "temperature_hdb_hot_degc"]].notna().all(axis=None)
    tables = set(materials.index[materials["temperature_rule"] == "table"])
    assert tables == {row["material_id"] for row in schema.rows("temperature_factors")}
    assert set(materials["temperature_rule"]) == {"hdb", "table", "none"}


def test_data_temperature_tables_fall(materials):
    frame = numeric(table("temperature_factors"), ["temperature_degc", "factor"])
    for material, rows in frame.groupby("material_id"):
        assert rows["temperature_degc"].is_monotonic_increasing and rows["temperature_degc"].is_unique
        assert rows["factor"].is_monotonic_decreasing and rows["factor"].iloc[0] == 1.0 and rows["factor"].iloc[-1] > 0
        assert rows["temperature_degc"].iloc[-1] == pytest.approx(materials.loc[material, "temperature_max_degc"])


def reference_files():
    folder = schema.folder()
    names = ["options.csv", "materials.csv", "temperature_factors.csv"]
    return [folder / name for name in names] + sorted((folder / "reference").glob("*.csv"))


@pytest.mark.parametrize("path", reference_files(), ids=lambda p: p.stem)
def test_data_every_row_has_a_source_and_says_how_it_is_known(path):
    with path.open(newline="", encoding="utf-8") as handle:
        rows = list(csv.DictReader(handle))
    assert rows
    for line, row in enumerate(rows, 2):
        assert None not in row and None not in row.values(), f"{path.name}:{line} has a ragged row"
        assert row["reference_id"] in schema.references(), f"{path.name}:{line}"
        assert row["how"] in {"read", "computed", "memory"}, f"{path.name}:{line}"
    assert path.read_bytes().isascii()
