"""Install plan: loads, people, power lines, disinfection and notes."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pipeline import install, io, schema
from pipeline.physics.water import GRAVITY
from pipeline.settings import Settings

FT, LB = 0.3048, 0.45359237
SETTINGS = Settings(as_of="2025-06-01")
COUNT = 4


def frames(option_id="pe3408-sidr9-1", n=1, method="hand_roller", pulled_lb=180.5, lowered_lb=128.1, piece_lb=60.0,
           length_ft=300.0, **more):  # fmt: skip
    """Selection, design and wells of invented wells, all alike but for what is given."""
    keys = pd.DataFrame({"source_id": "invented", "well_id": [f"w{i:03d}" for i in range(n)]})
    selection = keys.assign(
        option_id=option_id, install_method_code=method, length_drop_pipe_m=length_ft * FT,
        load_pulling_n=np.multiply(pulled_lb, LB * GRAVITY), mass_lowered_kg=np.multiply(lowered_lb, LB),
        mass_piece_kg=np.multiply(piece_lb, LB), piece_count=1, joint_count=0, outcome_code="recommended",
    )  # fmt: skip
    design = keys.assign(
        depth_static_m=200 * FT, depth_discharge_m=0.0, depth_completed_m=320 * FT, temperature_water_degc=12.0,
        diameter_casing_inside_m=6 * 0.0254, pump_kind_code="submersible", is_flowing=None,
        power_motor_w=560.0, depth_pump_m=30.0,
    )  # fmt: skip
    wells = keys.assign(distance_power_line_m=np.nan, depth_frost_m=np.nan, material_drop_pipe_code=None, completed_date=None,
                        pump_installed_date=None)  # fmt: skip
    for frame in (selection, design, wells):
        for name in set(more) & set(frame.columns):
            frame[name] = more[name]
    return selection, design, SETTINGS, wells


def one(*args, **more):
    """The plan of one well."""
    return install.plan(*frames(*args, **more)).iloc[0]


def codes(row):
    """Codes of the notes of one well."""
    return row["install_note_codes"].split("|")


def test_reference_people_for_an_ideal_lift():
    # NIOSH 94-110: 51 lb (23 kg) is the load constant of one person's ideal lift. 300 ft of 1 in SIDR 9 pulled full
    # to water at 200 ft: 180.5 lb (worked by hand) are 3.54 ideal lifts: four people, or gear
    assert one()["people_ideal_count"] == 4
    assert one(pulled_lb=102.0)["people_ideal_count"] == 2
    assert one(pulled_lb=102.1)["people_ideal_count"] == 3
    assert "lift_piece" in codes(one("galv-sch40-1.5", piece_lb=51.2, method="hoist"))
    assert "lift_piece" not in codes(one("galv-sch40-1.5", piece_lb=51.0, method="hoist"))


def test_reference_water_of_a_deep_steel_string():
    # 800 ft of 1-1/2 in schedule 40 steel (bore 1.610 in, heating guide of 1958, table 1) with water at 700 ft holds
    # 617 lb of water: 700 ft x 0.01414 ft2 x 62.4 lb/ft3
    row = one("galv-sch40-1.5", length_ft=800.0, depth_static_m=700 * FT, method="hoist")
    assert row["mass_water_held_kg"] / LB == pytest.approx(617, rel=0.01)
    assert row["mass_lowered_full_kg"] == pytest.approx(row["mass_lowered_kg"] + row["mass_water_held_kg"])


@pytest.mark.parametrize(
    ("feet", "method", "code"),
    # 29 CFR 1926.1407: a line that equipment could come within 20 ft of is dealt with before work begins
    [(20.0, "hoist", "stop"), (20.1, "hoist", "clear"), (5.0, "winch", "stop"), (15.0, "hand", "near"),
     (np.nan, "hoist", "not_judged")],
)  # fmt: skip
def test_reference_power_line(feet, method, code):
    row = one(distance_power_line_m=feet * FT, method=method)
    assert row["power_line_code"] == code
    assert ("power_line_stop" in codes(row)) == (code == "stop")


def test_a_long_stick_near_a_line_is_a_stop_without_a_mast():
    assert one("pvc-sch80-thr-1", method="hand", distance_power_line_m=4.0)["power_line_code"] == "stop"


def test_reference_clearance_told():
    # 29 CFR 1926.1408, table A: 10 ft up to 50 kV
    said = " ".join(install.sentences("power_line_stop", SETTINGS))
    assert "10 ft" in said and "50 kV" in said and "20 ft" in said
    assert "3.05 m" in " ".join(install.sentences("power_line_stop", SETTINGS, "metric"))


def test_reference_bleach_of_the_standing_water():
    # 100 US gal at 50 mg/L with 5.25 % bleach: 12.2 fl oz. 100 gal stand in 68.1 ft of 6 in bore (1.469 gal/ft)
    row = one(depth_static_m=0.0, depth_completed_m=100 / 1.469 * FT)
    assert row["volume_bleach_ml"] / 29.5735 == pytest.approx(12.2, rel=0.01)
    assert row["dose_chlorine_mg_per_l"] == 50


def test_unknown_bore_gives_no_dose():
    row = one(diameter_casing_inside_m=np.nan)
    assert np.isnan(row["volume_bleach_ml"]) and np.isnan(row["dose_chlorine_mg_per_l"])
    assert "dose_unknown" in codes(row)


def test_coils_always_carry_the_note_of_cold_and_sticks_never():
    assert {"coil_cold", "coil_straighten"} <= set(codes(one()))
    assert {"coil_cold", "coil_straighten"} <= set(codes(one("pex-sdr9-1")))
    assert not {"coil_cold", "coil_straighten"} & set(codes(one("pvc-sch80-thr-1")))


@pytest.mark.parametrize(
    ("record", "told"),
    [
        ({"material_drop_pipe_code": "galvanised", "completed_date": "1999-01-01"}, True),
        ({"material_drop_pipe_code": "galvanised", "completed_date": "2020-01-01"}, False),
        ({"material_drop_pipe_code": "galvanised", "completed_date": "1980-01-01",
          "pump_installed_date": "2020-01-01"}, False),
        ({"material_drop_pipe_code": "galvanised"}, True),
        ({"material_drop_pipe_code": "pvc", "completed_date": "1960-01-01"}, False),
    ],
)  # fmt: skip
def test_old_galvanised_string_is_a_fishing_risk(record, told):
    # common practice, no source: past 20 years a galvanised string may part; an unknown age is not young
    assert ("fishing_risk" in codes(one(**record))) == told


def test_hand_pump_has_rods_and_no_power_to_lock_out():
    row = one("galv-medium-32", pump_kind_code="hand", method="hand")
    assert "hand_rods" in codes(row)
    assert not {"lock_out", "ties", "water_held"} & set(codes(row))


@pytest.mark.parametrize(
    ("leaves", "frost", "told"),
    [(-0.3, 1.2, "drain_back"), (0.6, 1.2, "drain_back"), (1.2, 1.2, None), (-0.3, np.nan, "frost_unknown"),
     (1.2, np.nan, None)],
)  # fmt: skip
def test_reference_pipe_above_frost_drains_back(leaves, frost, told):
    # New York 5-B.5 and common practice: the discharge lies below frost, or the pipe drains back
    found = {"drain_back", "frost_unknown"} & set(codes(one(depth_discharge_m=leaves, depth_frost_m=frost)))
    assert found == ({told} if told else set())


def test_goods_that_no_bill_holds_are_named():
    assert "jet_goods" in codes(one(pump_kind_code="jet")) and "shaft_goods" in codes(one(pump_kind_code="turbine"))
    assert "flowing_goods" in codes(one(is_flowing=True)) and "hand_goods" in codes(one(pump_kind_code="hand"))
    assert "gauge_unknown" in codes(one(power_motor_w=np.nan)) and "gauge_unknown" not in codes(one())


def test_rods_of_a_hand_pump_are_lifted_with_it():
    # ten rods of 3 m at 2.7 kg (items.csv): 27 kg beside pipe and water, a second ideal lift
    rods, bare = one("galv-medium-32", pump_kind_code="hand", method="hand", pulled_lb=50.0), one(pulled_lb=50.0)
    assert rods["mass_pulled_full_kg"] - bare["mass_pulled_full_kg"] == pytest.approx(27.0)
    assert (rods["people_ideal_count"], bare["people_ideal_count"]) == (3, 1)


def test_a_flowing_well_is_told_first():
    assert codes(one(outcome_code="flowing"))[0] == "flowing"
    assert codes(one(is_flowing=True))[0] == "flowing"


def test_crew_is_never_one_and_never_missing_where_the_load_is_known():
    assert one(method="hand", pulled_lb=40.0)["people_crew_count"] == 2
    assert one(method="hand_roller")["people_crew_count"] == 3
    assert pd.isna(one(method="hand", pulled_lb=np.nan)["people_crew_count"])


def test_wells_without_a_pipe_get_no_row_and_the_table_is_typed():
    selection, design, settings, wells = frames(n=COUNT)
    selection.loc[1, "option_id"] = None
    found = install.plan(selection, design, settings, wells)
    assert list(found["well_id"]) == ["w000", "w002", "w003"]
    assert io.to_arrow("install_plan", found).num_rows == COUNT - 1
    empty = install.plan(selection[:0], design[:0], settings, wells[:0])
    assert io.to_arrow("install_plan", empty).num_rows == 0


def test_property_order_and_chunks_change_nothing():
    ids = [row["option_id"] for row in schema.rows("options")]
    selection, design, settings, wells = frames(option_id=ids, n=len(ids), pulled_lb=np.linspace(10, 2000, len(ids)))
    whole = install.plan(selection, design, settings, wells)
    turned = install.plan(selection, design.iloc[::-1], settings, wells.sample(frac=1.0, random_state=3))
    pd.testing.assert_frame_equal(whole, turned)
    parts = [install.plan(selection[a : a + 40], design[a : a + 40], settings, wells[a : a + 40])
             for a in range(0, len(ids), 40)]  # fmt: skip
    pd.testing.assert_frame_equal(whole, pd.concat(parts, ignore_index=True))


def test_without_the_table_of_wells_nothing_is_called_clear():
    selection, design, settings, _ = frames()
    assert install.plan(selection, design, settings)["power_line_code"].iloc[0] == "not_judged"


def test_data_every_note_has_its_sentence():
    said = install.sentences("|".join(install.NOTES), replace(SETTINGS))
    assert len(said) == len(install.NOTES) and all(text.endswith(".") for text in said)
