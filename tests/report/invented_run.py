"""A small invented run folder: invented wells, places and numbers, every family and outcome in it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from pipeline import demand, io, schema
from pipeline.settings import Settings

PLACES = {"Ostmark": ["Alder", "Birch", "Cedar"], "Westmark": ["Alder", "Dale", None]}
FAMILIES = ["pe", "pvc", "galvanised", "stainless", "pex"]
CAUSES = ["monitoring", "plugged", "test", "geothermal"]
FILES = ["ostmark_reports.csv", "westmark.csv"]


def _options() -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for row in schema.rows("options"):
        found.setdefault(row["family_code"], []).append(row["option_id"])
    return {family: ids[2:8] for family, ids in found.items()}


def _picked(rng: np.random.Generator, values: list, n: int, p: list[float] | None = None) -> pd.Series:
    return pd.Series([values[i] for i in rng.choice(len(values), n, p=p)], dtype=object)


def _fill(table: str, given: dict, n: int) -> pd.DataFrame:
    """A frame of a declared table; columns not given are missing."""
    return pd.DataFrame({c.field.name: given.get(c.field.name, [None] * n) for c in schema.table(table)})


def frames(wells: int = 400, seed: int = 11, draws: int = 16) -> dict[str, pd.DataFrame]:
    """Frames of every table of a run, consistent with one another."""
    rng, n = np.random.default_rng(seed), wells
    area = _picked(rng, list(PLACES), n, [0.6, 0.4])
    region = pd.Series([PLACES[a][rng.integers(0, 3)] for a in area], dtype=object)
    depth = np.round(rng.lognormal(4.1, 0.6, n), 1)
    static = np.round(depth * rng.uniform(0.1, 0.6, n), 1)
    length = np.round((depth - static) * 0.5 + static, 1)
    head = length + rng.uniform(20, 50, n)
    use = _picked(rng, ["domestic", "stock", "irrigation", "village", "unknown"], n, [0.6, 0.12, 0.1, 0.1, 0.08])
    key = {
        "source_id": np.where(area == "Ostmark", "ostmark_2020", "westmark_2021"),
        "well_id": [f"{'O' if a == 'Ostmark' else 'W'}-{i:05d}" for i, a in enumerate(area)],
    }
    family = _picked(rng, FAMILIES, n, [0.55, 0.25, 0.08, 0.08, 0.04])
    options = _options()
    option = pd.Series([options[f][rng.integers(0, len(options[f]))] for f in family], dtype=object)
    outcome = _picked(rng, ["recommended", "recommended_with_caution", "none_passes", "suction", "flowing",
                            "not_judged"], n, [0.8, 0.08, 0.03, 0.04, 0.02, 0.03])  # fmt: skip
    has_pipe = outcome.isin(["recommended", "recommended_with_caution"]).to_numpy()
    family, option = family.where(has_pipe, None), option.where(has_pipe, None)
    grade = _picked(rng, list("ABCDE"), n, [0.15, 0.35, 0.25, 0.15, 0.1])
    weight = np.where(use == "unknown", 0.6, 1.0)
    both = {"market_code": ["us"] * n, "use_code": use, "grade_code": grade, "region_code": region,
            "weight_inclusion_fraction": weight}  # fmt: skip
    lat = np.where(area == "Ostmark", 44.0, 46.5) + rng.normal(0, 0.5, n).round(5)
    lon = np.where(area == "Ostmark", -100.0, -97.0) + rng.normal(0, 0.6, n).round(5)
    placed = rng.random(n) < 0.93
    well = key | both | {
        "area_code": area, "source_file": np.where(area == "Ostmark", *FILES), "source_table": ["wells"] * n,
        "source_line": np.arange(n) + 2, "source_row": np.arange(n) + 1, "status_code": ["active"] * n,
        "latitude_deg": np.where(placed, lat, np.nan), "longitude_deg": np.where(placed, lon, np.nan),
        "depth_completed_m": depth, "depth_static_m": np.where(rng.random(n) < 0.8, static, np.nan),
        "completed_date": pd.to_datetime("2010-01-01") + pd.to_timedelta(rng.integers(0, 5000, n), unit="D"),
        "completed_precision_code": ["day"] * n, "completeness_count": rng.integers(1, 9, n),
    }  # fmt: skip
    well["completed_date"] = pd.Series(well["completed_date"]).dt.date
    out = {"wells": _fill("wells", well, n)}
    out["design"] = _design(rng, key | both, n, length, head, depth, static)
    out["selection"] = _selection(rng, key | both, n, area, outcome, has_pipe, option, family, length, head)
    out["not_chosen"] = _not_chosen(rng, out["selection"])
    out["risks"] = _risks(rng, out["selection"])
    out["bill_lines"] = _bill(out["selection"])
    out["demand"] = demand.roll_up(_draws(rng, out["selection"], draws), Settings(draws=draws), currency="XTS")
    out |= _faults(rng, key, n)
    return out


def _design(rng, both, n, length, head, depth, static) -> pd.DataFrame:
    given = both | {"pump_kind_code": ["submersible"] * n, "depth_discharge_m": np.full(n, 1.2)}
    basis = ["recorded", "derived", "neighbours", "assumed"]
    for column in schema.table("design"):
        name = column.field.name
        if name.endswith("_basis_code"):
            p = rng.dirichlet([2, 3, 1, 2])
            given[name] = _picked(rng, basis, n, list(p))
    for name, values in (("length_drop_pipe_m", length), ("depth_completed_m", depth), ("depth_static_m", static),
                         ("head_before_friction_m", head), ("depth_pump_m", length + 1.2)):  # fmt: skip
        given |= {name: values, f"{name}_low": values * 0.8, f"{name}_high": values * 1.25}
    given["flow_duty_m3_per_s"] = np.full(n, 10 * 6.309e-5)
    return _fill("design", given, n)


def _selection(rng, both, n, area, outcome, has_pipe, option, family, length, head) -> pd.DataFrame:
    checks = [row["check_code"] for row in schema.rows("checks")][:5]

    def only(values):
        return np.where(has_pipe, values, np.nan)

    given = both | {
        "area_code": area, "outcome_code": outcome, "option_id": option, "family_code": family,
        "length_drop_pipe_m": length, "head_total_dynamic_m": head, "flow_duty_m3_per_s": np.full(n, 10 * 6.309e-5),
        "governs_check_code": _picked(rng, checks, n).where(has_pipe, None),
        "utilisation_max_fraction": only(rng.uniform(0.2, 1, n)), "cost_first": only(rng.uniform(150, 3000, n)),
        "currency": ["XTS"] * n, "choice_share_fraction": only(rng.uniform(0.4, 1, n)),
        "install_method_code": _picked(rng, ["hand", "hand_roller", "winch", "hoist"], n).where(has_pipe, None),
        "practice_note_code": _picked(rng, ["agrees", "band_exceeded", "band_stricter"], n, [0.85, 0.1, 0.05]),
    }  # fmt: skip
    return _fill("selection", given, n)


def _not_chosen(rng, selection: pd.DataFrame) -> pd.DataFrame:
    checks = schema.rows("checks")
    rows = []
    for well in selection[selection["option_id"].notna()].itertuples():
        for family in FAMILIES:
            if family != well.family_code:
                check, passed = checks[rng.integers(0, 9)], rng.random() < 0.4
                rows.append({
                    "source_id": well.source_id, "well_id": well.well_id, "family_code": family,
                    "reason_code": "cost" if passed else "limit", "check_code": None if passed else check["check_code"],
                    "need": None if passed else 2.0e6, "have": None if passed else 1.1e6,
                    "unit": None if passed else check["ucum"], "cost_extra": 120.0 if passed else None,
                })  # fmt: skip
    return _fill("not_chosen", pd.DataFrame(rows).to_dict("list"), len(rows))


FLAGS = [("R04", "caution", "NEARBOTTOM"), ("R10", "stop", "FIT"), ("R33", "caution", "LIFT"),
         ("R30", "note", "STRETCH"), ("R13", "stop", "ARTESIAN"), ("R28", "caution", "OVERPRESS")]  # fmt: skip


def _risks(rng, selection: pd.DataFrame) -> pd.DataFrame:
    share = [0.1, 0.02, 0.4, 0.5, 0.02, 0.08]
    parts = []
    for (code, severity, _), p in zip(FLAGS, share, strict=True):
        hit = selection[rng.random(len(selection)) < p]
        parts.append(pd.DataFrame({
            "source_id": hit["source_id"], "well_id": hit["well_id"], "code": code, "severity_code": severity,
            "applies_to_code": "well", "value": 3.0, "limit": 5.0, "unit": "m", "input_confidence_code": "derived",
            "would_change_choice": rng.random(len(hit)) < 0.3,
        }))  # fmt: skip
    found = pd.concat(parts, ignore_index=True)
    return _fill("risks", found.to_dict("list"), len(found))


def _bill(selection: pd.DataFrame) -> pd.DataFrame:
    chosen = selection[selection["option_id"].notna()]
    return _fill("bill_lines", {
        "source_id": chosen["source_id"].tolist(), "well_id": chosen["well_id"].tolist(),
        "line_number": [1] * len(chosen),
        "item_id": chosen["option_id"].tolist(), "quantity": [1.0] * len(chosen), "sale_unit": ["piece"] * len(chosen),
        "length_m": chosen["length_drop_pipe_m"].tolist(), "mass_kg": [20.0] * len(chosen),
        "cost": [100.0] * len(chosen), "currency": ["XTS"] * len(chosen),
    }, len(chosen))  # fmt: skip


def _draws(rng, selection: pd.DataFrame, draws: int) -> pd.DataFrame:
    chosen = selection[selection["option_id"].notna()]
    parts = []
    for draw in range(draws):
        stretch = rng.normal(1, 0.1) * rng.uniform(0.8, 1.25, len(chosen))
        metres = chosen["length_drop_pipe_m"].to_numpy() * stretch
        weight = chosen["weight_inclusion_fraction"].to_numpy()
        parts.append(pd.DataFrame({
            "area_code": chosen["area_code"], "region_code": chosen["region_code"], "item_id": chosen["option_id"],
            "draw": draw, "wells_milli": (weight * 1000).astype(int), "pieces_milli": (weight * 1000).astype(int),
            "length_mm": (metres * weight * 1000).astype(int), "mass_g": (metres * 300).astype(int),
            "cost_cents": (metres * 250).astype(int),
        }))  # fmt: skip
    return pd.concat(parts, ignore_index=True)


def _faults(rng, key: dict, n: int) -> dict[str, pd.DataFrame]:
    many, lost, broken = n // 5, n // 10, max(n // 40, 1)
    out = {"issues": _fill("issues", {
        "source_id": key["source_id"][:many], "well_id": key["well_id"][:many], "source_file": [FILES[0]] * many,
        "source_row": np.arange(many) + 1, "stage": ["validate"] * many, "severity_code": ["caution"] * many,
        "code": list(_picked(rng, ["V102", "V103", "V118"], many)), "field": ["depth_static_m"] * many,
        "found": ["=1+1"] * many,
    }, many)}  # fmt: skip
    out["excluded"] = _fill("excluded", {
        "source_file": [FILES[0]] * lost, "source_table": ["wells"] * lost, "source_line": np.arange(lost) + 900,
        "source_row": np.arange(lost) + 899, "reason_code": list(_picked(rng, CAUSES, lost)),
    }, lost)  # fmt: skip
    out["quarantine"] = _fill("quarantine", {
        "source_file": [FILES[1]] * broken, "source_line": np.arange(broken) + 70, "source_table": ["wells"] * broken,
        "reason_code": ["unclosed_quote"] * broken,
        "byte_offset": np.arange(broken) * 100, "byte_length": [90] * broken,
    }, broken)  # fmt: skip
    out["metrics"] = _fill("metrics", {
        "source_id": ["ostmark_2020"] * 2, "rule_code": ["V102", "V103"], "rows_judged_count": [200, 180],
        "rows_failed_count": [2, 9], "share_failed_fraction": [0.01, 0.05], "share_allowed_fraction": [0.02, 0.02],
    }, 2)  # fmt: skip
    out["events"] = _fill("events", {
        "source_id": key["source_id"], "well_id": key["well_id"], "source_file": [FILES[0]] * n,
        "source_row": np.arange(n) + 1, "event_kind_code": ["construction"] * n,
    }, n)  # fmt: skip
    return out


def manifest(tables: dict[str, pd.DataFrame]) -> dict:
    """A manifest that fits the frames."""
    excluded = tables["excluded"]["reason_code"].value_counts().to_dict()
    by_file = tables["wells"]["source_file"].value_counts()
    broken = len(tables["quarantine"])
    one, two = (int(by_file.get(name, 0)) for name in FILES)
    return {
        "as_of": "2024-05-31",
        "draws": 16,
        "ledger": [
            {"file": FILES[0], "table": "wells", "source_id": "ostmark_2020", "lines": one + sum(excluded.values()) + 1,
             "rows_read": one + sum(excluded.values()), "rows_used": one, "excluded": excluded, "quarantined": {}},
            {"file": FILES[1], "table": "wells", "source_id": "westmark_2021", "lines": two + broken + 1,
             "rows_read": two + broken, "rows_used": two, "excluded": {}, "quarantined": {"unclosed_quote": broken}},
        ],
        "gate": {"passed": False, "failed": [{"source_id": "ostmark_2020", "rule_code": "V103"}]},
        "inputs": [{"name": name, "sha256": "0" * 64, "bytes": 1000} for name in FILES],
        "not_read": ["notes.pdf"],
        "settings": {"market": "us", "units": "us", "seed": 1, "draws": 16, "practice_overlay": {}},
        "counts": {name: len(frame) for name, frame in tables.items()},
    }  # fmt: skip


def write(folder: Path, wells: int = 400, seed: int = 11) -> dict[str, pd.DataFrame]:
    """Write the invented run into ``folder`` and return its frames."""
    tables = frames(wells, seed)
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in tables.items():
        io.write_table(name, frame, folder)
    io.write_json(folder / "manifest.json", manifest(tables))
    return tables


if __name__ == "__main__":
    import sys

    write(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 400)
