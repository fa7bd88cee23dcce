"""Coordinates as written, and how exactly a place is known. All places are invented."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from raw_tables import METRES, intake, layout, table

from pipeline.normalise import coordinates, lattice, text, to_records
from pipeline.settings import Settings, repair_codes


@pytest.mark.parametrize(
    ("found", "lat"),
    [
        ("39:12:30", 39.2083333333), ("39°12'30\"N", 39.2083333333), ("39 12 30", 39.2083333333),
        ("39d12m30s", 39.2083333333), ("39-12-30", 39.2083333333), ("N39 12.5", 39.2083333333),
        ("39° 12.5' S", -39.2083333333), ("-39:12:30", -39.2083333333), ("39º12′30″ north", 39.2083333333),
        ("39.2083°", 39.2083), ("POINT (-77.5 39.25)", 39.25), ("SRID=4326;POINT(-77.5 39.25)", 39.25),
        ("39.25, -77.5", 39.25), ("(39.25, -77.5)", 39.25), ("39.25;-77.5", 39.25), ("-177.5, 39.25", 39.25),
        ("39.25 -77.5", 39.25), ("39°15'N, 77°30'W", 39.25), ("77°30'W 39°15'N", None),
        ('{"type":"Point","coordinates":[-77.5,39.25]}', 39.25),
        ("39:72:30", None), ("39:12:99", None), ("near the mill", None), ("39,2051", None), ("39.5:12", None),
        ("77°30'W", None), ("12/03/2001", None),
    ],
)  # fmt: skip
def test_a_latitude_as_written(found: str, lat: float | None) -> None:
    read = coordinates.parse(found, "latitude_deg")
    assert read == (None if lat is None else pytest.approx(lat, abs=1e-8))


def test_a_minus_and_three_places_behind_a_comma_are_one_number_not_a_pair() -> None:
    west = coordinates.plain(text.encode(pd.Series(["-123,206", "-123,74282", "-77,5"])), "longitude_deg")
    assert [t.replace(",", ".") for t in west.texts.to_pylist()] == ["-123.206", "-123.74282", "-77.5"]
    assert coordinates.parse("-39,-77", "longitude_deg") == -77.0 and coordinates.parse("39,-77", "latitude_deg") == 39.0


def test_the_other_half_of_a_pair() -> None:
    assert coordinates.parse("POINT (-77.5 39.25)", "longitude_deg") == -77.5
    assert coordinates.parse("39.25, -77.5", "longitude_deg") == -77.5
    assert coordinates.parse("77°30'W", "longitude_deg") == -77.5


@given(st.integers(0, 89), st.integers(0, 59), st.integers(0, 59), st.sampled_from(["N", "S", ""]))
def test_property_degrees_minutes_and_seconds_come_back(d: int, m: int, s: int, letter: str) -> None:
    value = (d + m / 60 + s / 3600) * (-1 if letter == "S" else 1)
    for form in (f"{d}:{m}:{s} {letter}", f"{d}°{m}'{s}\"{letter}", f"{d} {m} {s}{letter}"):
        assert coordinates.parse(form, "latitude_deg") == pytest.approx(value, abs=1e-9)
    if letter == "" and d:
        packed = coordinates.packed(np.array([d * 10_000.0 + m * 100 + s] * 4), 90.0)
        assert packed is not None and packed[0] == pytest.approx(value, abs=1e-9)


def records(lat: list[str], lon: list[str], accept: str = "none", accuracy: list[str] | None = None, **source):
    size = len(lat)
    rows = {"id": [f"W{i:03d}" for i in range(size)], "lat": lat, "lon": lon, "depth": [str(40 + i % 30) for i in range(size)]}
    columns = dict(METRES)
    if accuracy:
        rows["accuracy"] = accuracy
        columns["location_accuracy_m"] = {"from": "accuracy", "unit": "m"}
    return to_records(intake(layout(columns, source=source), table(rows)), Settings(accept_repairs=repair_codes(accept)))


def spread(size: int = 60, seed: int = 1) -> tuple[list[str], list[str]]:
    rng = np.random.default_rng(seed)
    return [f"{v:.5f}" for v in rng.uniform(40, 40.5, size)], [f"{v:.5f}" for v in rng.uniform(-120, -119.5, size)]


def test_packed_degrees_are_read_as_such_and_told() -> None:
    out = records([f"3912{s:02d}" for s in range(30)], [f"-07706{s:02d}" for s in range(30)])
    assert out.wells["latitude_deg"].iloc[6] == pytest.approx(39 + 12 / 60 + 6 / 3600)
    assert out.wells["longitude_deg"].iloc[6] == pytest.approx(-(77 + 6 / 60 + 6 / 3600))
    assert "N510" in set(out.issues["code"])


def test_one_cell_may_hold_both() -> None:
    columns = {**METRES, "latitude_deg": {"from": "place"}, "longitude_deg": {"from": "place"}}
    rows = {"id": ["A", "B", "C"], "depth": ["60"] * 3, "place": ["POINT (-77.5 39.25)", "39.26, -77.51", "39:15:00"]}
    found = to_records(intake(layout(columns), table(rows)), Settings()).wells.set_index("well_id")
    assert found.loc["A", ["latitude_deg", "longitude_deg"]].tolist() == [39.25, -77.5]
    assert found.loc["B", ["latitude_deg", "longitude_deg"]].tolist() == [39.26, -77.51]


def test_metres_in_a_column_of_degrees_are_told_not_guessed() -> None:
    rng = np.random.default_rng(2)
    out = records([f"{v:.0f}" for v in rng.uniform(4.4e6, 4.5e6, 30)], [f"{v:.0f}" for v in rng.uniform(4e5, 5e5, 30)])
    told = out.issues.set_index("code").loc["N511"]
    assert "UTM" in told["found"] and "crs" in told["expected"] and out.wells["latitude_deg"].isna().all()


def test_reference_web_mercator_among_degrees_is_proposed() -> None:
    # EPSG:3857 by its definition: x = R lon, y = R ln tan(pi/4 + lat/2), R = 6378137 m
    lat, lon = spread()
    y, x = 6378137 * np.log(np.tan(np.pi / 4 + np.radians(40.25) / 2)), 6378137 * np.radians(-119.75)
    lat, lon = [*lat, f"{y:.2f}"], [*lon, f"{x:.2f}"]
    out = records(lat, lon)
    assert out.repairs["code"].tolist() == ["P117"] and np.isnan(out.wells["latitude_deg"].iloc[-1])
    well = records(lat, lon, "all").wells.iloc[-1]
    assert well["latitude_deg"] == pytest.approx(40.25, abs=1e-6) and well["longitude_deg"] == pytest.approx(-119.75, abs=1e-6)


def test_reference_degrees_among_metres_of_a_zone() -> None:
    # UTM zone 33N: the central meridian is 15 degrees east, 500 km from the false origin
    rng = np.random.default_rng(2)
    north, east = [f"{v:.1f}" for v in rng.uniform(100, 20_000, 40)], [f"{v:.1f}" for v in rng.uniform(490_000, 510_000, 40)]
    out = records([*north, "0.1"], [*east, "15.01"], "all", crs="EPSG:32633")
    assert out.repairs["code"].tolist() == ["P117"]
    assert out.wells.iloc[-1][["latitude_deg", "longitude_deg"]].tolist() == [0.1, 15.01]


def test_reference_datum_of_the_layout() -> None:
    # NAD 27 against WGS 84 in the western United States: some tens of metres, mostly in longitude
    lat, lon = spread()
    moved = records(lat, lon, crs="EPSG:4267").wells
    plain = records(lat, lon).wells
    east = (moved["longitude_deg"] - plain["longitude_deg"]).abs() * 111_320 * np.cos(np.radians(40))
    assert east.between(30, 150).all()
    assert ((moved["latitude_deg"] - plain["latitude_deg"]).abs() * 111_320 < 60).all()


def lattice_points(step_m: float, side: int = 8, members: int = 4) -> tuple[list[str], list[str]]:
    rows, columns = np.meshgrid(np.arange(side), np.arange(side))
    lat = 41.0 + rows.ravel() * step_m / 111_320
    lon = -111.0 + columns.ravel() * step_m / (111_320 * np.cos(np.radians(41.03)))
    return ([f"{v:.6f}" for v in np.repeat(lat, members)], [f"{v:.6f}" for v in np.repeat(lon, members)])


@pytest.mark.parametrize(("step", "worst"), [(1609.344, 1138.0), (402.336, 284.5)])
def test_reference_middles_of_survey_squares(step: float, worst: float) -> None:
    # half the diagonal of a square mile is 1138 m, of a quarter of a quarter 284 m (geometry)
    lat, lon = lattice_points(step)
    out = records(lat, lon)
    assert out.wells["location_accuracy_m"].to_numpy() == pytest.approx(worst, rel=0.02)
    assert "N509" in set(out.issues["code"])


def test_points_of_their_own_and_told_accuracies_stay() -> None:
    lat, lon = spread(200)
    assert records(lat, lon).wells["location_accuracy_m"].isna().all()
    lat, lon = lattice_points(1609.344)
    told = records(lat, lon, accuracy=["15", *[""] * (len(lat) - 1)]).wells["location_accuracy_m"]
    assert told.iloc[0] == 15 and (told.iloc[1:] > 1000).all()


def test_few_digits_are_a_grid() -> None:
    lat, lon = spread(80)
    out = records([v[:5] for v in lat], [v[:7] for v in lon])
    # two decimals: half the diagonal of 1113 m by 852 m at 40 degrees north
    assert out.wells["location_accuracy_m"].iloc[0] == pytest.approx(0.5 * np.hypot(1113.2, 1113.2 * np.cos(np.radians(40.25))), rel=0.01)


def test_property_the_order_of_points_changes_no_pattern() -> None:
    lat, lon = (np.array([float(v) for v in values]) for values in lattice_points(1609.344))
    mixed = np.random.default_rng(0).permutation(len(lat))
    one, other = lattice.crowds(lat, lon), lattice.crowds(lat[mixed], lon[mixed])
    assert one is not None and other is not None and one.accuracy_m == pytest.approx(other.accuracy_m)
    assert pd.Series(one.shared).all() and pd.Series(other.shared).all()
