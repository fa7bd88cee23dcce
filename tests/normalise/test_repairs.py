"""Repairs of depths, yields and places: only where one explanation alone fits."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from raw_tables import intake, layout, table

from pipeline.normalise import to_records
from pipeline.settings import Settings, repair_codes

RECORDS = Path(__file__).resolve().parents[3] / "shared" / "records"


def run(rows: dict[str, list], accept: str = "all", **more):
    size = len(rows["depth"])
    base = {"id": [f"W{i}" for i in range(size)], "use": ["village"] * size}
    settings = Settings(accept_repairs=repair_codes(accept))
    return to_records(intake(layout(**more), table({**base, **rows})), settings)


def repairs(out) -> pd.DataFrame:
    return out.issues[out.issues["code"].str.startswith("P")].set_index("well_id")


def test_each_slip_is_mended_by_its_own_repair() -> None:
    # exchanged level and depth; feet; ten-foot pipes typed as feet (17 pipes: 5.18 m stands for 51.8 m)
    out = run({"depth": ["30.5", "82.2", "66.1", "60"], "level": ["64", "18.2", "29.6", "10"],
               "pump": ["39.6", "120", "5.18", "40"]})  # fmt: skip
    assert repairs(out)["code"].to_dict() == {"W0": "P101", "W1": "P102", "W2": "P104"}
    found = out.wells.set_index("well_id")
    assert found.loc["W0", ["depth_completed_m", "depth_static_m"]].tolist() == [64.0, 30.5]
    assert found.loc["W1", "depth_pump_m"] == pytest.approx(120 * 0.3048)
    assert found.loc["W2", "depth_pump_m"] == pytest.approx(170 * 0.3048, abs=0.01)
    assert (repairs(out)["severity_code"] == "caution").all()


def test_what_no_single_slip_explains_is_given_up() -> None:
    out = run({"depth": ["67.06", "60", "20"], "level": ["33.53", "10", "50"], "pump": ["33.53", "300", ""]})
    assert repairs(out)["code"].to_dict() == {"W0": "P109", "W1": "P109", "W2": "P110"}
    found = out.wells.set_index("well_id")
    assert np.isnan(found.loc["W0", "depth_pump_m"]) and found.loc["W0", "depth_static_m"] == 33.53
    assert np.isnan(found.loc["W2", "depth_static_m"]) and found.loc["W2", "depth_completed_m"] == 20.0


def test_property_wells_in_order_are_never_touched() -> None:
    rng = np.random.default_rng(3)
    depth = rng.uniform(20, 200, 300).round(2)
    level = (depth * rng.uniform(0.01, 0.7, 300)).round(2)
    pump = (level + (depth - level) * rng.uniform(0.1, 0.95, 300)).round(2)
    rows = {"depth": depth, "level": level, "pump": pump}
    out = run({name: values.astype(str).tolist() for name, values in rows.items()})
    assert repairs(out).empty
    whole = out.wells.dropna(subset=["depth_pump_m"])
    assert (whole["depth_static_m"] < whole["depth_pump_m"]).all()
    assert (whole["depth_pump_m"] <= whole["depth_completed_m"]).all()


def test_village_yields_sixty_times_too_large() -> None:
    usual = [f"{x:.2f}" for x in np.linspace(0.4, 12, 30)]
    rows = {"depth": ["60"] * 32, "yield": [*usual, "180", "2000"]}
    out = run(rows)
    assert repairs(out)["code"].to_dict() == {"W30": "P105"}
    assert out.wells.set_index("well_id").loc["W30", "flow_tested_m3_per_s"] == pytest.approx(3 / 3600)
    town = run({**rows, "use": ["public supply"] * 32})
    assert repairs(town).empty


def _points(last: list[tuple[str, str]]) -> dict[str, list]:
    rng = np.random.default_rng(1)
    lat, lon = 40 + rng.uniform(0, 0.5, 60), -120 + rng.uniform(0, 0.5, 60)
    points = [*zip(lat.round(4).astype(str), lon.round(4).astype(str), strict=True), *last]
    return {"depth": ["60"] * len(points), "lat": [p[0] for p in points], "lon": [p[1] for p in points]}


def test_places_are_mended_only_by_their_neighbours() -> None:
    odd = [("40.2", "119.8"), ("-119.8", "40.2"), ("13.4", "144.8"), ("0", "0"), ("40.2", ""), ("40.2", "999")]
    out = run(_points(odd))
    codes = out.issues[out.issues["field"] == "latitude_deg"].set_index("well_id")["code"].to_dict()
    assert codes == {"W60": "P106", "W61": "P108", "W63": "N502", "W64": "N505", "W65": "N501"}
    found = out.wells.set_index("well_id")
    assert found.loc["W60", "longitude_deg"] == -119.8
    assert found.loc["W61", ["latitude_deg", "longitude_deg"]].tolist() == [40.2, -119.8]
    assert found.loc["W62", "longitude_deg"] == 144.8  # a far island is no fault
    assert found.loc[["W63", "W64", "W65"], ["latitude_deg", "longitude_deg"]].isna().all().all()


def test_reference_projected_coordinates() -> None:
    # UTM zone 33N: 500000 m east is the central meridian 15 deg E; the equator is 0 m north (definition of the grid)
    out = run({"depth": ["60"], "lat": ["0.0001"], "lon": ["500000"]}, source={"crs": "EPSG:32633"})
    row = out.wells.iloc[0]
    assert row["longitude_deg"] == pytest.approx(15.0, abs=1e-9)
    assert row["latitude_deg"] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.records
def test_reference_open_borehole_records() -> None:
    """ugabore borehole data set, doi 10.5281/zenodo.12188178, counted by hand: see uganda_boreholes."""
    path = RECORDS / "ug-uganda-boreholes" / "ugabore.csv"
    if not path.is_file():
        pytest.skip("the open records are not beside this checkout")
    raw = pd.read_csv(path, dtype="str", keep_default_na=False)
    columns = {
        "depth_completed_m": {"from": "well_depth", "unit": "m"},
        "depth_static_m": {"from": "static_water_depth", "unit": "m", "missing": ["0"]},
        "depth_pump_m": {"from": "pump_installation_depth", "unit": "m"},
        "flow_tested_m3_per_s": {"from": "well_yield", "unit": "m3/h"}, "use_code": {"default": "village"},
    }  # fmt: skip
    rows = {name: raw[name].tolist() for name in raw}
    rows["id"] = rows.pop("source_id")
    out = to_records(intake(layout(columns, file={"missing": ["", "NA"]}), table(rows)), Settings())
    assert out.ledger[0].rows_read == 171 and len(out.wells) == 170
    counts = out.issues["code"].value_counts()
    assert counts[["P104", "P102", "P101", "P105"]].tolist() == [4, 2, 2, 11]
    level, pump, depth = (pd.to_numeric(raw[c], errors="coerce")
                          for c in ("static_water_depth", "pump_installation_depth", "well_depth"))  # fmt: skip
    untouched = (level > 0) & (level < pump) & (pump <= depth)
    assert untouched.sum() == 156
    mended = set(out.issues.loc[out.issues["code"].isin(["P101", "P102", "P104", "P109", "P110"]), "source_row"])
    assert mended.isdisjoint(set(np.flatnonzero(untouched) + 1))
    ratio = (pump / depth)[untouched].quantile([0.1, 0.5, 0.9])
    assert ratio.tolist() == pytest.approx([0.45, 0.68, 0.88], abs=0.01)
