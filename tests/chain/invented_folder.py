"""An invented folder of related tables that no layout knows, with the flaws of real ones; for tests of whole runs."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

WELLS = 90
_DISTRICTS = ("Aldermoor", "Brindle End", "Corvane", "Élsinby")


def write(folder: Path, seed: int = 1) -> list[Path]:
    """Tables of bores, casing, screens, levels, tests and a dictionary beside them, and polygons of districts.

    In them: ids with and without leading zeros and decimals, ids on the first row of a group only, rows in another
    unit, exchanged coordinates, two spellings of a district, nests, one bore under two forms of its id, equal
    children, lines of totals, cells of several words for missing. Returns the files to read.
    """
    rng = np.random.default_rng([21, seed])
    folder.mkdir(parents=True, exist_ok=True)
    number = rng.choice(9000, WELLS, replace=False) + 1000
    ids = np.array([f"{n:06d}" for n in number], dtype=object)
    depth = np.round(rng.lognormal(4.1, 0.35, WELLS))
    static = np.round(depth * rng.uniform(0.1, 0.4, WELLS), 1)
    lat, lon = 10 + rng.uniform(0, 1, WELLS), 30 + rng.uniform(0, 1, WELLS)
    district = np.array(_DISTRICTS, dtype=object)[(2 * (lat > 10.5) + (lon > 30.5)).astype(int)]
    day = pd.Timestamp("1991-01-01") + pd.to_timedelta(rng.integers(0, 9000, WELLS), "D")
    wells = pd.DataFrame({
        "Bore No": ids, "District": district, "Latitude": np.round(lat, 5), "Longitude": np.round(lon, 5),
        "Total depth (m)": np.round(depth), "Static water level (m)": np.round(static, 1),
        "Date completed": day.strftime("%Y-%m-%d"), "Use": rng.choice(("Domestic", "Stock", "Irrigation", ""), WELLS),
        "Remarks": rng.choice(("clay", "grey rock, \"hard\"", ""), WELLS),
    }).astype(object)  # fmt: skip
    depths, levels = "Total depth (m)", "Static water level (m)"
    odd = rng.choice(WELLS, 24, replace=False)
    wells.loc[odd[:4], levels] = np.round(static[odd[:4]] * 3.28084, 0)
    wells.loc[odd[4:6], depths] = 0
    wells.loc[odd[6:8], ["Latitude", "Longitude"]] = wells.loc[odd[6:8], ["Longitude", "Latitude"]].to_numpy()
    wells.loc[odd[8:10], "Longitude"] = -wells.loc[odd[8:10], "Longitude"]
    wells.loc[odd[10:13], "District"] = "brindle  end"
    wells.loc[odd[13:15], levels] = "-9999"
    wells.loc[odd[15], "Date completed"] = "1994"
    # the same bores once more, under another form of the id, and a nest of three at one point
    twice = wells.loc[odd[16:19]].assign(**{"Bore No": [i.lstrip("0") for i in ids[odd[16:19]]]})
    nest = wells.loc[[odd[19]] * 3].assign(**{
        "Bore No": [f"{ids[odd[19]]}{letter}" for letter in "ABC"], depths: [20, 45, 80], "Use": ""})  # fmt: skip
    equal = wells.loc[odd[20:22]]
    wells = pd.concat([wells.drop(index=odd[19]), twice, nest, equal]).sample(frac=1, random_state=seed)
    total = dict.fromkeys(wells.columns, "") | {"Bore No": f"Total: {len(wells)}"}
    wells = pd.concat([wells, pd.DataFrame([total])], ignore_index=True)

    child = np.sort(rng.choice(WELLS, 60, replace=False))
    screens: dict[str, list[Any]] = {"Bore No": [], "Screen top (m)": [], "Screen bottom (m)": []}
    for k in child:
        for n in range(int(rng.integers(1, 4))):
            top = round(float(depth[k]) * (0.5 + 0.15 * n), 1)
            row = (ids[k] if n == 0 else "", top, round(top + 3, 1))
            for name, cell in zip(screens, row, strict=True):
                screens[name].append(cell)
    some = rng.choice(WELLS, 120)
    measured = pd.Timestamp("2012-03-01") + pd.to_timedelta(rng.integers(0, 20, 120), "D")
    level = pd.DataFrame({
        "Bore No": [str(int(n)) for n in number[some]], "Date measured": measured.strftime("%d/%m/%Y"),
        "Depth to water (m)": np.round(static[some] + rng.integers(-1, 2, 120), 1),
    })  # fmt: skip
    tested = rng.choice(WELLS, 70)
    tests = pd.DataFrame({
        "Bore No": [f"{n}.0" for n in number[tested]], "Yield (L/s)": np.round(rng.lognormal(-0.3, 0.6, 70), 2),
        "Pumping water level (m)": np.round((static[tested] + 5), 1), "Duration (h)": rng.choice((1, 4, 24), 70),
    })  # fmt: skip
    casing = pd.DataFrame({
        "Bore No": ids, "Casing depth (m)": np.round(depth * 0.5),
        "Casing diameter (mm)": rng.choice((100, 125, 150), WELLS),
    })  # fmt: skip
    casing = pd.concat([casing, casing.head(9)]).sample(frac=1, random_state=seed + 1)
    words = pd.DataFrame({
        "Column": list(wells.columns), "Description": ["number of the bore", "district", "latitude", "longitude",
        "depth of the finished bore", "depth to water at rest", "day of completion", "use of the water", "remarks"],
    })  # fmt: skip
    out = []
    tables = {"bores": wells, "screens": pd.DataFrame(screens), "levels": level, "pump_tests": tests, "casing": casing,
              "fields": words}  # fmt: skip
    for name, table in tables.items():
        out.append(folder / f"{name}.csv")
        table.to_csv(out[-1], index=False, lineterminator="\n", encoding="utf-8")
    return out


def districts(path: Path) -> Path:
    """Four squares that hold the bores; one name differs from the records."""
    squares = []
    for k, name in enumerate(("Aldermoor", "Brindle End", "Corvayne", "Élsinby")):
        west, south = 30 + 0.5 * (k % 2), 10 + 0.5 * (k // 2)
        ring = [[west, south], [west + 0.5, south], [west + 0.5, south + 0.5], [west, south + 0.5], [west, south]]
        squares.append({"type": "Feature", "properties": {"name": name},
                        "geometry": {"type": "Polygon", "coordinates": [ring]}})  # fmt: skip
    path.write_text(json.dumps({"type": "FeatureCollection", "features": squares}), encoding="utf-8")
    return path
