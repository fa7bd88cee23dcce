"""The standards tables: geometry closes, formulas reproduce them, series are in order."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from pipeline import schema
from pipeline.units import convert

IN = 25.4


def table(name, *texts):
    frame = pd.DataFrame(schema.rows(f"reference/{name}"))
    keep = {"nominal_size", "reference_id", "how", "note", *texts}
    return frame.assign(**{c: pd.to_numeric(frame[c].replace("", np.nan)) for c in frame.columns if c not in keep})


def up(value, step):
    return math.ceil(value / step - 1e-6) * step


def test_data_sidr_walls_are_bore_over_sidr():
    """Rounded to 0.001 in, never under 0.060 in (ASTM D2239, from memory)."""
    frame = table("pipe_pe_sidr")
    expected = np.maximum(frame["diameter_inside_mm"] / frame["sidr"], 0.060 * IN)
    np.testing.assert_allclose(frame["wall_min_mm"], expected, atol=0.001 * IN)
    for basis, column in ((800, "class_pe3408_psi"), (1000, "class_pe4710_psi")):
        formula = 2 * basis / (frame["sidr"] + 1)
        assert (np.abs(frame[column] / formula - 1) < 0.03).all()


def test_data_dr_walls_are_outside_over_dr():
    frame = table("pipe_pe_dr")
    np.testing.assert_allclose(frame["wall_min_mm"], frame["diameter_outside_mm"] / frame["dr"], atol=0.001 * IN)
    assert (np.abs(frame["rating_pe4710_psi"] / (2000 / (frame["dr"] - 1)) - 1) < 0.005).all()


def test_reference_pe_and_pvc_dimensions_against_the_fluids_library():
    """The general library `fluids` holds the iron-pipe schedules, rounded to 0.01 mm."""
    import fluids

    for name, prefix in (("pipe_pvc_schedule", "wall_min_mm"), ("pipe_steel", "wall_mm")):
        frame = table(name)
        for row in frame[frame["schedule"].isin([40, 80])].to_dict("records"):
            size = sum(eval_fraction(p) for p in row["nominal_size"].removesuffix(" in").split("-"))
            if size == 3.5:
                continue
            _, _bore, outside, wall = fluids.nearest_pipe(NPS=size, schedule=str(int(row["schedule"])))
            assert outside * 1000 == pytest.approx(row["diameter_outside_mm"], abs=0.2)
            assert wall * 1000 == pytest.approx(row[prefix], abs=0.06), row


def eval_fraction(text):
    top, _, bottom = text.partition("/")
    return float(top) / float(bottom or 1)


def test_data_pvc_schedule():
    frame = table("pipe_pvc_schedule")
    average = (frame["diameter_outside_mm"] - frame["diameter_inside_mm"]) / 2
    assert (average > frame["wall_min_mm"]).all()
    assert (average <= np.maximum(1.06 * frame["wall_min_mm"], frame["wall_min_mm"] + 0.010 * IN) + 0.04).all()
    formula = 2 * 2000 * frame["wall_min_mm"] / (frame["diameter_outside_mm"] - frame["wall_min_mm"])
    assert (np.abs(frame["rating_psi"] - formula) <= 10).all()  # printed to 10 psi
    for _, group in frame.groupby("nominal_size"):
        walls = group.sort_values("schedule")["wall_min_mm"]
        assert walls.is_monotonic_increasing and walls.is_unique


def test_reference_steel_weights():
    """0.02466 (D - t) t kg/m (handbooks); 1958 Guide chapter 26 table 1: 1.68, 2.27, 2.72, 3.65 lb/ft for 1 to 2 in."""
    frame = table("pipe_steel")
    found = 0.02466 * (frame["diameter_outside_mm"] - frame["wall_mm"]) * frame["wall_mm"]
    printed = convert(frame["mass_plain_lb_per_ft"], "lb/ft", "kg/m")
    np.testing.assert_allclose(found, printed, rtol=0.005)
    sizes = frame[frame["schedule"] == 40].set_index("nominal_size")
    guide = (("1 in", 1.68, 1.049), ("1-1/4 in", 2.27, 1.380), ("1-1/2 in", 2.72, 1.610), ("2 in", 3.65, 2.067))
    for size, weight, bore in guide:
        assert sizes.loc[size, "mass_plain_lb_per_ft"] == pytest.approx(weight, rel=0.005)
        assert sizes.loc[size, "diameter_inside_mm"] == pytest.approx(bore * IN, abs=0.01)
    en = table("pipe_en10255", "series")
    found = 0.02466 * (en["diameter_outside_mm"] - en["wall_mm"]) * en["wall_mm"]
    np.testing.assert_allclose(found, en["mass_black_kg_per_m"], rtol=0.01)


def test_data_steel_geometry_closes():
    for name in ("pipe_steel", "pipe_stainless"):
        frame = table(name, "schedule") if name == "pipe_stainless" else table(name)
        bore = frame["diameter_outside_mm"] - 2 * frame["wall_mm"]
        np.testing.assert_allclose(bore, frame["diameter_inside_mm"], atol=0.03)


def test_data_pe100_walls_and_pressures():
    """ISO 4427: wall is d/SDR rounded up, not under 2.0 mm; PN = 20 x 8/(SDR - 1) bar, as named classes."""
    frame = table("pipe_pe100")
    for row in frame.to_dict("records"):
        exact = row["diameter_outside_mm"] / row["sdr"]
        assert row["wall_min_mm"] >= exact - 0.1 and row["wall_min_mm"] <= max(up(exact, 0.1) + 0.2, 3.0)
        assert row["pn_bar"] == pytest.approx(160 / (row["sdr"] - 1), rel=0.02)
    stated = frame[frame["wall_max_mm"].notna()]
    assert ((stated["wall_max_mm"] - stated["wall_min_mm"]) <= 0.1 * stated["wall_min_mm"] + 0.31).all()


def test_data_pvcu_walls_follow_from_stress():
    """e = P d/(2 S + P) (ISO 1452-2 and IS 4985), to the rounding of the tables."""
    frame = table("pipe_pvcu", "standard")
    bar = frame["pn_bar"] / 10
    formula = bar * frame["diameter_outside_mm"] / (2 * frame["stress_design_mpa"] + bar)
    assert ((frame["wall_min_mm"] - formula) > -0.06).all()
    assert ((frame["wall_min_mm"] - formula) < 0.16).all()


def test_data_pex_walls():
    frame = table("pipe_pex")
    floor = np.maximum(frame["diameter_outside_mm"] / 9, 0.070 * IN)
    np.testing.assert_allclose(frame["wall_min_mm"], floor, atol=0.0015 * IN)
    assert (np.abs(frame["rating_82degc_psi"] / frame["rating_psi"] - 0.625) < 1e-9).all()


def test_data_threads():
    frame = table("threads", "thread_code")
    np.testing.assert_allclose(frame["pitch_mm"], IN / frame["threads_per_inch"], rtol=5e-4)
    npt = frame[frame["thread_code"] == "npt"]
    np.testing.assert_allclose(npt["thread_height_mm"], 0.8 * npt["pitch_mm"], rtol=1e-4)
    iso = frame[frame["thread_code"] == "iso7"]
    np.testing.assert_allclose(iso["thread_height_mm"], 0.640327 * iso["pitch_mm"], rtol=2e-3)
    assert frame.groupby("thread_code")["diameter_root_mm"].apply(lambda s: s.is_monotonic_increasing).all()


def test_data_modulus_of_pe_falls_with_time():
    frame = table("modulus_pe", "material_class", "duration")
    for _, group in frame.groupby("material_class"):
        assert group["duration_h"].is_monotonic_increasing and group["modulus_psi"].is_monotonic_decreasing


def test_data_casing():
    """Largest bore is outside less two least walls; the bore used is no larger. A 3.75 in pump barely clears Sch 80."""
    frame = table("casing", "material", "class_label")
    bore = frame["diameter_outside_mm"] - 2 * frame["wall_min_mm"]
    np.testing.assert_allclose(bore, frame["diameter_inside_max_mm"], atol=0.06)
    assert (frame["diameter_inside_mm"] <= frame["diameter_inside_max_mm"] + 1e-9).all()
    tight = frame[(frame["nominal_size"] == "4 in") & (frame["class_label"] == "Sch 80") & (frame["material"] == "pvc")]
    assert 0 < tight["diameter_inside_mm"].iloc[0] / IN - 3.75 < 0.05
