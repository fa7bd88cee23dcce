"""Sample data: made again byte for byte, marked as invented, and its planted faults found by the chain."""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from pipeline import io, schema
from pipeline.ingest import read_inputs
from pipeline.normalise import to_records
from pipeline.settings import Settings
from pipeline.validate import judge, newest_date, scan

SAMPLE = Path(__file__).resolve().parents[2] / "sample_data"
LAYOUT = {
    "brindle": "sample_brindle_completions",
    "osemba": "sample_osemba_survey",
    "veldran": "sample_veldran_registry",
}
LARGEST_BYTES = 1_500_000


@pytest.fixture(scope="module")
def made() -> tuple[dict[str, bytes], dict[str, dict[str, list[str]]]]:
    sys.path.insert(0, str(SAMPLE))
    try:
        from make_sample_data import make
    finally:
        sys.path.remove(str(SAMPLE))
    return make()


@pytest.fixture(scope="module")
def run(made) -> SimpleNamespace:
    settings = Settings()
    intake = read_inputs([SAMPLE / name for name in made[0]], settings)
    records = to_records(intake, settings)
    settings = Settings(as_of=newest_date(records.wells))
    issues, metrics = scan(records.wells, settings)
    return SimpleNamespace(
        truth=made[1],
        intake=intake,
        records=records,
        metrics=metrics,
        settings=settings,
        issues=pd.concat([records.issues, issues], ignore_index=True),
        ledger={entry.file: entry for entry in records.ledger},
    )


def test_data_files_are_what_the_generator_makes(made) -> None:
    for name, content in made[0].items():
        assert (SAMPLE / name).read_bytes() == content, f"{name}: run sample_data/make_sample_data.py"


def test_data_same_seed_same_bytes_and_another_seed_others(made) -> None:
    module = sys.modules["make_sample_data"]
    assert module.make()[0] == made[0]
    other = module.make(1)[0]
    assert all(other[name] != content for name, content in made[0].items())


def test_data_size_and_shape(made) -> None:
    assert sum(map(len, made[0].values())) < LARGEST_BYTES
    records = {
        source: int(truth.get("records", truth.get("records veldran_wells.txt"))[0])
        for source, truth in made[1].items()
    }  # type: ignore[index]
    assert records["brindle"] >= 1800 and 2900 <= sum(records.values()) <= 3500
    made[0]["brindle_state_completions.csv"].decode("cp1252")
    with pytest.raises(UnicodeDecodeError):
        made[0]["brindle_state_completions.csv"].decode("utf-8")


def test_data_everything_is_marked_as_invented(made) -> None:
    for name, content in made[0].items():
        assert content.split(b"\n", 1)[0].startswith(b"# Invented sample data"), name
    assert "Nothing here is real" in (SAMPLE / "README.md").read_text(encoding="utf-8")
    layouts = sorted((schema.folder() / "sources").glob("sample_*.toml"))
    assert [path.stem for path in layouts] == sorted(LAYOUT.values())
    for path in layouts:
        assert tomllib.loads(path.read_text(encoding="utf-8"))["source"]["invented"] is True


def in_scope(run, source: str, fault: str) -> set[str]:
    """Ids with a planted fault that became wells and of whose records no line is broken."""
    wells, truth = run.records.wells, run.truth[source]
    broken = {i for name, ids in truth.items() if name.startswith("line_too_") for i in ids}
    return set(wells.loc[wells["source_id"] == LAYOUT[source], "well_id"]) & set(truth[fault]) - broken


def test_files_are_known_by_their_headers(run) -> None:
    assert {entry.source_id for entry in run.records.ledger} == set(LAYOUT.values())
    assert {entry.table for entry in run.records.ledger if "veldran" in entry.file} == {
        "wells",
        "casing",
        "screens",
        "tests",
        "levels",
    }
    assert run.intake.not_read == []


def test_ledger_adds_up(run, made) -> None:
    assert set(run.ledger) == set(made[0])
    for entry in run.records.ledger:
        parts = entry.rows_used + sum(entry.excluded.values()) + sum(entry.quarantined.values())
        assert entry.rows_read == parts, entry.file


def test_records_read_are_the_records_made(run) -> None:
    counts = {"brindle_state_completions.csv": "brindle", "osemba_borehole_survey.csv": "osemba"}
    for file, source in counts.items():
        planted = int(run.truth[source]["records"][0])
        # a totals row is a line of the table too, whichever way it then goes
        assert run.ledger[file].rows_read - planted in (0, len(run.truth[source]["totals_row"]))
    for file in run.ledger:
        if file.startswith("veldran"):
            assert run.ledger[file].rows_read == int(run.truth["veldran"][f"records {file}"][0])


def test_broken_lines_are_quarantined(run) -> None:
    for file, truth, suffix in (
        ("brindle_state_completions.csv", run.truth["brindle"], ""),
        ("osemba_borehole_survey.csv", run.truth["osemba"], ""),
        ("veldran_wells.txt", run.truth["veldran"], " veldran_wells.txt"),
        ("veldran_levels.txt", run.truth["veldran"], " veldran_levels.txt"),
    ):
        found = run.ledger[file].quarantined
        assert found.get("too_few_fields", 0) == len(truth[f"line_too_short{suffix}"]), file
        assert found.get("too_many_fields", 0) == len(truth[f"line_too_long{suffix}"]), file


def test_records_without_id_are_quarantined(run) -> None:
    files = {
        "brindle": "brindle_state_completions.csv",
        "osemba": "osemba_borehole_survey.csv",
        "veldran": "veldran_wells.txt",
    }
    for source, file in files.items():
        truth = run.truth[source]
        broken = [key for key in truth if key.startswith("line_too_") and (source != "veldran" or key.endswith(file))]
        also_broken = sum(identity == "" for key in broken for identity in truth[key])
        assert run.ledger[file].quarantined["no_id"] == len(truth["no_id"]) - also_broken, file


def test_what_needs_no_drop_pipe_is_excluded(run) -> None:
    wells = run.records.wells
    for source, kinds in {
        "brindle": ("monitoring", "geothermal", "test_hole", "dry_hole", "plugged_later"),
        "osemba": ("abandoned", "dry_hole"),
        "veldran": ("sealed", "observation"),
    }.items():
        there = set(wells.loc[wells["source_id"] == LAYOUT[source], "well_id"])
        for kind in kinds:
            assert run.truth[source][kind] and not there & set(run.truth[source][kind]), (source, kind)


def test_wells_sent_twice_are_merged(run) -> None:
    wells, events = run.records.wells, run.records.events
    assert not wells.duplicated(["source_id", "well_id"]).any()
    doubled = events[events["event_kind_code"] == "duplicate"]
    for source, names in {"brindle": ("sent_twice",), "osemba": ("sent_twice", "sent_twice_exchanged")}.items():
        found = set(doubled.loc[doubled["source_id"] == LAYOUT[source], "well_id"])
        for name in names:
            kept = in_scope(run, source, name)
            assert kept and kept <= found, (source, name)
    # the same well under another id: only one of the two stays
    for source, other in (("brindle", lambda i: i + "R"),):
        there = set(wells.loc[wells["source_id"] == LAYOUT[source], "well_id"])
        assert not any(i in there and other(i) in there for i in run.truth[source]["same_well_other_id"])
    for name, kind in (("deepened", "deepening"), ("pump_report", "pump_work")):
        found = set(events.loc[events["event_kind_code"] == kind, "well_id"])
        assert in_scope(run, "brindle", name) <= found


FOUND_BY = [
    ("brindle", "level_below_bottom", {"V102", "P110"}),
    ("brindle", "pump_below_bottom", {"V103", "P109"}),
    ("brindle", "screen_below_bottom", {"V105"}),
    ("brindle", "screen_above_level", {"V137"}),
    ("brindle", "casing_below_hole", {"V119"}),
    ("brindle", "flowing_with_deep_level", {"V122"}),
    ("brindle", "above_ground_not_flowing", {"V134"}),
    ("brindle", "bore_of_a_pipe", {"V111"}),
    ("brindle", "bore_in_the_wrong_unit", {"V110", "P112"}),
    ("brindle", "pipe_longer_than_well", {"V117"}),
    ("brindle", "duty_above_yield", {"V124"}),
    ("brindle", "motor_too_weak", {"V127"}),
    ("brindle", "heads_exchanged", {"V128"}),
    ("brindle", "metres_in_the_cell", {"N106"}),
    ("brindle", "not_a_number", {"N101"}),
    ("brindle", "beyond_all_bounds", {"N201"}),
    ("brindle", "depth_888", {"V125", "N102"}),
    ("osemba", "latitude_without_sign", {"P107"}),
    ("osemba", "one_coordinate", {"N505"}),
    ("osemba", "drilling_stopped", {"V126"}),
    ("osemba", "level_below_bottom", {"V102", "P110"}),
    ("osemba", "conductivity_in_millisiemens", {"V135", "P114"}),
    ("veldran", "drawdown_is_the_level", {"V121", "P115"}),
    ("veldran", "drawdown_beyond_the_water", {"V120"}),
    ("veldran", "level_below_bottom_while_pumping", {"V109"}),
    ("brindle", "level_and_depth_exchanged", {"P101"}),
    ("brindle", "pipe_count_as_depth", {"P104", "P109"}),
    ("brindle", "drawdown_as_level", {"V108"}),
    ("brindle", "screen_ends_exchanged", {"V106"}),
    ("brindle", "yield_by_the_hour", {"P105", "P113", "V123", "V139", "V230"}),
    ("brindle", "longitude_without_sign", {"P106"}),
    ("brindle", "latitude_and_longitude_exchanged", {"P108"}),
    ("brindle", "date_in_the_future", {"N302", "V113"}),
    ("osemba", "level_and_depth_exchanged", {"P101"}),
    ("osemba", "sent_twice_exchanged", {"P101"}),
    ("osemba", "feet_in_a_metre_column", {"P102"}),
    ("osemba", "pipe_count_as_depth", {"P104"}),
    ("osemba", "yield_by_the_minute", {"P105", "V123", "V139", "V230"}),
    ("osemba", "latitude_and_longitude_exchanged", {"P108"}),
    ("osemba", "place_zero", {"N502", "V115"}),
    ("osemba", "date_in_the_future", {"N302", "V113"}),
    ("osemba", "hand_pump_too_deep", {"V116"}),
    ("veldran", "longitude_without_sign", {"P106"}),
    ("veldran", "date_before_1850", {"N301", "V112"}),
    ("veldran", "completed_below_hole", {"V107"}),
    ("veldran", "screen_ends_exchanged", {"V106"}),
    ("veldran", "rate_in_the_wrong_unit", {"P105", "V123", "V139", "V230"}),
]


@pytest.mark.parametrize(("source", "fault", "codes"), FOUND_BY, ids=lambda x: x if isinstance(x, str) else "")
def test_planted_faults_are_found(run, source: str, fault: str, codes: set[str]) -> None:
    there = in_scope(run, source, fault)
    mine = run.issues[(run.issues["source_id"] == LAYOUT[source]) & run.issues["code"].isin(codes)]
    assert there, "the scenario must keep some of these wells in scope"
    missed = there - set(mine["well_id"])
    assert not missed, f"{len(missed)} of {len(there)} missed: {sorted(missed)[:5]}"


def test_rules_of_order_find_what_was_planted_and_little_more(run) -> None:
    counts = run.metrics.set_index(["source_id", "rule_code"])["rows_failed_count"]
    for source, fault, code in (("brindle", "drawdown_as_level", "V108"), ("veldran", "completed_below_hole", "V107")):
        planted = len(in_scope(run, source, fault))
        assert planted <= counts[LAYOUT[source], code] <= planted + 2


def test_values_for_not_known_are_missing(run) -> None:
    wells = run.records.wells.set_index(["source_id", "well_id"])
    for source, fault, field in (
        ("brindle", "level_minus_99", "depth_static_m"),
        ("brindle", "yield_zero", "flow_tested_m3_per_s"),
        ("brindle", "yield_9999", "flow_tested_m3_per_s"),
        ("osemba", "level_zero", "depth_static_m"),
        ("osemba", "yield_zero", "flow_tested_m3_per_s"),
        ("osemba", "people_minus_99", "people_served_count"),
    ):
        ids = [(LAYOUT[source], i) for i in run.truth[source][fault] if (LAYOUT[source], i) in wells.index]
        if fault.startswith("level"):
            # a merged second report may bring the level back; none was planted on these
            assert ids
        assert wells.loc[ids, field].isna().all(), fault


def test_values_come_through_in_si(run) -> None:
    wells = run.records.wells
    middle = wells.groupby("region_code")[
        ["depth_static_m", "depth_completed_m", "temperature_water_degc", "acidity_ph"]
    ].median()
    # what scenario/regions.toml declares, with room for season, spread and faults
    assert middle.loc["Graysill", "depth_static_m"] == pytest.approx(235, abs=12)
    assert middle.loc["Drennholt", "depth_static_m"] == pytest.approx(180, abs=12)
    assert middle.loc["Kettuma", "depth_static_m"] == pytest.approx(6, abs=1.5)
    assert middle.loc["Emberlow", "temperature_water_degc"] == pytest.approx(33, abs=1.5)
    assert middle.loc["Balindo", "acidity_ph"] == pytest.approx(5.85, abs=0.3)
    assert (wells["depth_static_m"] < 0).sum() > 30
    bores = wells.groupby("region_code")["diameter_casing_inside_m"].median()
    # a recorded nominal size is taken as the bore
    assert bores["Tallow Hills"] == pytest.approx(4 * 0.0254, abs=1e-6)
    assert bores["Birkfell"] == pytest.approx(0.154, abs=1e-6)


def test_scenario_reaches_every_corner(run) -> None:
    wells = run.records.wells
    ask = wells["flow_tested_m3_per_s"]
    corners = {
        "shallow": wells["depth_pump_m"] < 20,
        "lift of 250 m": wells["depth_static_m"] > 250,
        "20 L/s": ask > 0.02,
        "low yield": ask < 0.00015,
        "acid": wells["acidity_ph"] < 6.5,
        "saline": wells["chloride_mg_per_l"] > 1000,
        "warm": wells["temperature_water_degc"] > 30,
        "hot": wells["temperature_water_degc"] > 43,
        "tight": wells["diameter_casing_inside_m"] < 0.105,
        "flowing": wells["is_flowing"].fillna(False).astype(bool),
        "hand pump": wells["pump_kind_code"] == "hand",
        "sand": wells["has_sand"].fillna(False).astype(bool),
        "sulfide": wells["has_hydrogen_sulfide"].fillna(False).astype(bool),
        "crooked": wells["is_crooked"].fillna(False).astype(bool),
        "methane": wells["methane_mg_per_l"] > 10,
        "drop pipe": wells["length_drop_pipe_m"].notna(),
        "shutoff head": wells["head_shutoff_m"].notna(),
        "use unknown": wells["use_code"] == "unknown",
    }
    empty = [name for name, mask in corners.items() if int(mask.sum()) < (1 if name == "methane" else 5)]
    assert not empty
    years = pd.to_datetime(wells["completed_date"]).dt.year
    assert np.sort(years.dropna().unique()).tolist() == list(range(2011, 2026))


def test_no_person_comes_through(run) -> None:
    words = ("OWNER", "PLACEHOLDER RD", "DRILLER", "SURVEYOR", "000-")
    raw = b"".join((SAMPLE / name).read_bytes() for name in run.ledger)
    assert all(word.encode() in raw for word in words)
    records = run.records
    tables = (records.wells, records.events, records.excluded, records.quarantine, run.issues)
    for frame in tables:
        for name in frame.columns[[not pd.api.types.is_numeric_dtype(t) for t in frame.dtypes]]:
            text = frame[name].dropna().astype(str).str.upper()
            for word in words:
                assert not text.str.contains(word, regex=False).any(), (name, word)


def test_gate_passes_with_the_declared_shares(run) -> None:
    verdict = judge(run.metrics, run.records.wells, run.settings)
    assert verdict.passed, verdict.failed
    counts = run.metrics.groupby("rule_code")[["rows_judged_count", "rows_failed_count"]].sum()
    assert all(counted == tuple(counts.loc[code]) for code, counted in verdict.counted.items())


def test_tables_are_as_declared(run) -> None:
    io.to_arrow("wells", run.records.wells)
    io.to_arrow("issues", run.issues)
    io.to_arrow("metrics", run.metrics)
