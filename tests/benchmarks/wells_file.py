"""A CSV of thirty columns of invented wells, of any length, and the layout that tells what they mean.

Every place, person and number is made up; nothing is drawn from real records.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

ROWS_AT_ONCE = 200_000
COUNTIES = np.array([f"Invented County {k:03d}" for k in range(120)], dtype=object)
# raw header, canonical column, unit, column format
COLUMNS = (
    ("WELLNO", "", "", "%s"), ("COUNTYNAME", "region_code", "", "%s"), ("PURPOSE", "use_code", "", "%s"),
    ("FINISHED", "completed_date", "", "%s"), ("LATITUDE", "latitude_deg", "degree", "%.5f"),
    ("LONGITUDE", "longitude_deg", "degree", "%.5f"), ("GROUND_FT", "elevation_ground_m", "ft", "%.0f"),
    ("HOLE_FT", "depth_drilled_m", "ft", "%.0f"), ("DEPTH_FT", "depth_completed_m", "ft", "%.0f"),
    ("CASING_IN", "diameter_casing_inside_m", "in", "%.3f"), ("CASED_FT", "depth_casing_bottom_m", "ft", "%.0f"),
    ("SCREENTOP_FT", "depth_screen_top_m", "ft", "%.0f"), ("SCREENEND_FT", "depth_screen_bottom_m", "ft", "%.0f"),
    ("ROCK_FT", "depth_bedrock_m", "ft", "%.0f"), ("STATIC_FT", "depth_static_m", "ft", "%.1f"),
    ("PUMPING_FT", "depth_pumping_m", "ft", "%.1f"), ("TESTED_GPM", "flow_tested_m3_per_s", "gpm", "%.1f"),
    ("TEST_H", "duration_test_s", "h", "%.1f"), ("TESTKIND", "test_method_code", "", "%s"),
    ("PUMPKIND", "pump_kind_code", "", "%s"), ("PUMP_FT", "depth_pump_m", "ft", "%.0f"),
    ("PUMP_GPM", "flow_duty_m3_per_s", "gpm", "%.0f"), ("MOTOR_HP", "power_motor_w", "hp", "%.2f"),
    ("CUTOUT_PSI", "pressure_cutout_pa", "psi", "%.0f"), ("WATER_F", "temperature_water_degc", "degF", "%.0f"),
    ("PH", "acidity_ph", "", "%.1f"), ("CHLORIDE", "chloride_mg_per_l", "mg/L", "%.0f"),
    ("HOLDER", "", "", "%s"), ("CREW", "", "", "%s"), ("NOTES", "", "", "%s"),
)  # fmt: skip


def _some(pick: np.random.Generator, values: np.ndarray, share: float) -> np.ndarray:
    """Values kept for a share of the rows, NaN for the others."""
    return np.where(pick.random(len(values)) < share, values, np.nan)


def _rows(start: int, size: int) -> pd.DataFrame:
    """Invented wells number ``start`` and on; a function of the numbers alone."""
    pick = np.random.default_rng([77, start])
    depth = np.clip(pick.lognormal(5.1, 0.6, size), 40, 1500)
    static = depth * pick.uniform(0.08, 0.5, size)
    tested = np.clip(pick.lognormal(2.5, 0.8, size), 0.5, 900)
    pumping = np.minimum(static + pick.uniform(0.02, 0.5, size) * (depth - static), depth - 8)
    pump = np.minimum(pumping + pick.uniform(10, 40, size), depth - 5)
    day = np.datetime64("1975-01-01") + pick.integers(0, 18_000, size).astype("timedelta64[D]")
    values = {
        "WELLNO": [f"INV-{k:09d}" for k in range(start, start + size)],
        "COUNTYNAME": COUNTIES[pick.integers(0, len(COUNTIES), size)],
        "PURPOSE": np.array(["DOMESTIC", "STOCK", "IRRIGATION", "PUBLIC"], dtype=object)[
            pick.choice(4, size, p=[0.82, 0.08, 0.06, 0.04])
        ],
        "FINISHED": day.astype(str), "LATITUDE": pick.uniform(39, 43, size), "LONGITUDE": pick.uniform(-139, -133, size),
        "GROUND_FT": pick.uniform(100, 6000, size), "HOLE_FT": depth + pick.integers(0, 20, size), "DEPTH_FT": depth,
        "CASING_IN": pick.choice([4.026, 5.047, 6.065, 6.065, 6.065, 7.981], size),
        "CASED_FT": _some(pick, depth * pick.uniform(0.2, 0.95, size), 0.8),
        "SCREENTOP_FT": _some(pick, depth - 22, 0.3), "SCREENEND_FT": _some(pick, depth - 2, 0.3),
        "ROCK_FT": _some(pick, depth * 0.3, 0.5), "STATIC_FT": _some(pick, static, 0.9),
        "PUMPING_FT": _some(pick, pumping, 0.55), "TESTED_GPM": _some(pick, tested, 0.85),
        "TEST_H": _some(pick, pick.choice([1.0, 2.0, 4.0, 8.0, 24.0], size), 0.6),
        "TESTKIND": pick.choice(np.array(["pumped", "bailed", "air", ""], dtype=object), size),
        "PUMPKIND": pick.choice(np.array(["submersible", "submersible", ""], dtype=object), size),
        "PUMP_FT": _some(pick, pump, 0.4), "PUMP_GPM": _some(pick, np.clip(tested * 0.6, 3, 400), 0.3),
        "MOTOR_HP": _some(pick, pick.choice([0.5, 0.75, 1.0, 1.5, 2.0, 3.0], size), 0.3),
        "CUTOUT_PSI": _some(pick, pick.choice([40.0, 50.0, 60.0], size), 0.2),
        "WATER_F": _some(pick, pick.uniform(44, 78, size), 0.5), "PH": _some(pick, pick.normal(7.2, 0.5, size), 0.4),
        "CHLORIDE": _some(pick, pick.lognormal(3, 1, size), 0.4),
        "HOLDER": [f"HOLDER {k % 9973:04d} (INVENTED)" for k in range(size)],
        "CREW": [f"CREW {k % 311:03d}" for k in range(size)],
        "NOTES": pick.choice(np.array(["", "", "invented record", "clay over sand, then rock"], dtype=object), size),
    }  # fmt: skip
    return pd.DataFrame(values)


def write(path: Path, rows: int) -> Path:
    """Write ``rows`` invented wells as CSV; the first rows are the same whatever the length."""
    header = [name for name, *_ in COLUMNS]
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(",".join(header) + "\n")
        for start in range(0, rows, ROWS_AT_ONCE):
            frame = _rows(start, ROWS_AT_ONCE).iloc[: rows - start]
            for name, _, _, form in COLUMNS:
                if form != "%s":
                    digits = int(form[2])
                    frame[name] = frame[name].round(digits)
                    if digits == 0:
                        frame[name] = frame[name].astype("Int64")
            frame[[f'{name}' for name in header]].to_csv(file, header=False, index=False, lineterminator="\n")
    return path


def write_layout(path: Path) -> Path:
    """Write the layout file of :func:`write`."""
    lines = [
        '[source]\nid = "invented_benchmark"\ntitle = "Invented wells for benchmarks"\npublisher = "Nobody"',
        'licence = "as this project"\nretrieved = "2026-01"\nedition = "1"\ninvented = true\nmarket = "us"',
        'area = "Nowhere"\ncrs = "EPSG:4326"\ndate_order = "ymd"\ncannot_tell = ["anything real"]',
        '[file]\ndelimiter = ","\nmissing = [""]\n[tables.wells]\nrole = "wells"',
        'match = ["WELLNO", "CASING_IN", "PUMPING_FT", "CREW"]\nid = "WELLNO"',
        '[tables.wells.columns.status_code]\ndefault = "unknown"',
    ]
    codes = {"use_code": 'codes = { DOMESTIC = "domestic", STOCK = "stock", IRRIGATION = "irrigation", '
                         'PUBLIC = "public_supply" }\ndefault = "unknown"'}  # fmt: skip
    for header, field, unit, _ in COLUMNS:
        if field:
            lines.append(f'[tables.wells.columns.{field}]\nfrom = "{header}"')
            if unit:
                lines.append(f'unit = "{unit}"')
            if field in codes:
                lines.append(codes[field])
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
