"""Rules as declared: each trips on a faulty well and on no sound one, and none judges what is missing."""

from __future__ import annotations

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from pipeline import schema
from pipeline.errors import SchemaError, UsageError
from pipeline.settings import Settings
from pipeline.validate import declared, predicate, scan
from pipeline.validate.rules import ADDED, allowed_shares

AS_OF = Settings(as_of="2025-12-31")
DAY = pd.Timestamp

# code -> a faulty well, a sound well; the other columns are missing
WELLS: dict[str, tuple[dict, dict]] = {
    "V101": ({}, {"depth_drilled_m": 40.0}),
    "V102": ({"depth_static_m": 61.0, "depth_completed_m": 60.0}, {"depth_static_m": 60.0, "depth_completed_m": 60.0}),
    "V103": ({"depth_pump_m": 120.0, "depth_completed_m": 82.2}, {"depth_pump_m": 36.6, "depth_completed_m": 82.2}),
    "V104": ({"depth_pump_m": 3.05, "depth_static_m": 20.0}, {"depth_pump_m": 30.5, "depth_static_m": 20.0}),
    "V105": (
        {"depth_screen_bottom_m": 62.0, "depth_completed_m": 60.0},
        {"depth_screen_bottom_m": 60.5, "depth_completed_m": 60.0},
    ),
    "V106": (
        {"depth_screen_top_m": 50.0, "depth_screen_bottom_m": 40.0},
        {"depth_screen_top_m": 40.0, "depth_screen_bottom_m": 50.0},
    ),
    "V107": (
        {"depth_completed_m": 82.0, "depth_drilled_m": 80.0},
        {"depth_completed_m": 80.9, "depth_drilled_m": 80.0},
    ),
    "V108": ({"depth_pumping_m": 8.0, "depth_static_m": 30.0}, {"depth_pumping_m": 38.0, "depth_static_m": 30.0}),
    "V109": (
        {"depth_pumping_m": 90.0, "depth_completed_m": 80.0},
        {"depth_pumping_m": 79.0, "depth_completed_m": 80.0},
    ),
    "V110": (
        {"diameter_casing_inside_m": 1.5, "depth_completed_m": 60.0},
        {"diameter_casing_inside_m": 1.5, "depth_completed_m": 9.0},
    ),
    "V111": ({"diameter_casing_inside_m": 0.032}, {"diameter_casing_inside_m": 0.1}),
    "V112": ({"completed_date": DAY("1763-05-01")}, {"completed_date": DAY("1850-01-01")}),
    "V113": ({"completed_date": DAY("2026-01-01")}, {"completed_date": DAY("2025-12-31")}),
    "V115": ({"latitude_deg": 0.0, "longitude_deg": 0.0}, {"latitude_deg": 0.0, "longitude_deg": 33.0}),
    "V116": ({"pump_kind_code": "hand", "depth_pump_m": 128.0}, {"pump_kind_code": "solar", "depth_pump_m": 128.0}),
    "V117": (
        {"length_drop_pipe_m": 90.0, "depth_completed_m": 80.0},
        {"length_drop_pipe_m": 82.0, "depth_completed_m": 80.0},
    ),
    "V118": ({"length_drop_pipe_m": 30.0, "depth_pump_m": 60.0}, {"length_drop_pipe_m": 58.5, "depth_pump_m": 60.0}),
    "V119": (
        {"depth_casing_bottom_m": 90.0, "depth_drilled_m": 80.0},
        {"depth_casing_bottom_m": 80.0, "depth_drilled_m": 80.0},
    ),
    "V120": (
        {"drawdown_test_m": 55.0, "depth_completed_m": 60.0, "depth_static_m": 10.0},
        {"drawdown_test_m": 45.0, "depth_completed_m": 60.0, "depth_static_m": 10.0},
    ),
    "V121": (
        {"drawdown_test_m": 30.0, "depth_pumping_m": 30.0, "depth_static_m": 10.0},
        {"drawdown_test_m": 20.5, "depth_pumping_m": 30.0, "depth_static_m": 10.0},
    ),
    "V122": ({"is_flowing": True, "depth_static_m": 12.0}, {"is_flowing": True, "depth_static_m": -2.0}),
    "V123": (
        {"flow_tested_m3_per_s": 0.02, "diameter_casing_inside_m": 0.1},
        {"flow_tested_m3_per_s": 0.02, "diameter_casing_inside_m": 0.152},
    ),
    "V124": (
        {"flow_duty_m3_per_s": 0.004, "flow_tested_m3_per_s": 0.002},
        {"flow_duty_m3_per_s": 0.002, "flow_tested_m3_per_s": 0.002},
    ),
    "V125": ({"depth_completed_m": 999 * 0.3048}, {"depth_completed_m": 99.0}),
    "V126": ({"depth_completed_m": 3.5}, {"depth_completed_m": 6.0}),
    # 1 L/s against 100 m of head is 981 W of water power
    "V127": (
        {"power_motor_w": 900.0, "flow_duty_m3_per_s": 0.001, "head_total_dynamic_m": 100.0},
        {"power_motor_w": 1500.0, "flow_duty_m3_per_s": 0.001, "head_total_dynamic_m": 100.0},
    ),
    "V128": (
        {"head_shutoff_m": 80.0, "head_total_dynamic_m": 100.0},
        {"head_shutoff_m": 130.0, "head_total_dynamic_m": 100.0},
    ),
    "V129": (
        {"pump_kind_code": "hand", "people_served_count": 1200.0},
        {"pump_kind_code": "hand", "people_served_count": 500.0},
    ),
    "V130": ({"use_code": "unknown"}, {"use_code": "domestic"}),
    "V131": ({"latitude_deg": 41.0}, {"latitude_deg": 41.0, "longitude_deg": -138.0}),
    "V132": ({}, {"depth_static_m": 0.0}),
    "V133": ({}, {"flow_tested_m3_per_s": 0.001}),
    "V134": ({"is_flowing": False, "depth_static_m": -3.0}, {"is_flowing": True, "depth_static_m": -3.0}),
    "V135": (
        {"chloride_mg_per_l": 300.0, "conductivity_us_per_cm": 1.6},
        {"chloride_mg_per_l": 300.0, "conductivity_us_per_cm": 1600.0},
    ),
    "V136": ({"completed_precision_code": "year"}, {"completed_precision_code": "day"}),
    "V137": (
        {"depth_screen_bottom_m": 20.0, "depth_static_m": 40.0},
        {"depth_screen_bottom_m": 60.0, "depth_static_m": 40.0},
    ),
    "V138": (
        {"flow_tested_m3_per_s": 0.2, "drawdown_test_m": 1.0},
        {"flow_tested_m3_per_s": 0.02, "drawdown_test_m": 1.0},
    ),
    "V139": (
        {"use_code": "domestic", "flow_tested_m3_per_s": 0.05},
        {"use_code": "irrigation", "flow_tested_m3_per_s": 0.05},
    ),
}
REGIONAL = "V114"
RULES = {rule.code: rule for rule in declared()}
RANGED = [rule for rule in declared() if rule.low is not None or rule.high is not None]


def frame(*wells: dict) -> pd.DataFrame:
    rows = [
        {"source_id": "s", "well_id": f"w{i}", "source_file": "f.csv", "source_row": i + 1, **w}
        for i, w in enumerate(wells)
    ]
    return pd.DataFrame(rows)


def ranged_wells(rule) -> tuple[dict, dict]:
    ends = [x for x in (rule.low, rule.high) if x is not None]
    outside = rule.high * 1.01 + 1e-9 if rule.high is not None else rule.low - 1.0
    return {rule.field: outside}, {rule.field: sum(ends) / len(ends)}


def cases() -> list[tuple[str, dict, dict]]:
    named = [(code, *pair) for code, pair in WELLS.items()]
    return named + [(rule.code, *ranged_wells(rule)) for rule in RANGED]


def metric(metrics: pd.DataFrame, code: str) -> pd.Series:
    return metrics.set_index("rule_code").loc[code]


def test_data_each_rule_has_a_faulty_and_a_sound_well() -> None:
    assert {code for code, *_ in cases()} | {REGIONAL} == set(RULES)


@pytest.fixture(scope="module")
def tripped() -> tuple[pd.DataFrame, pd.DataFrame]:
    """One scan for all cases: each rule has a source of its own with a faulty and a sound well."""
    wells = [{"source_id": code, **well} for code, faulty, sound in cases() for well in (faulty, sound)]
    return scan(frame(*wells), AS_OF)


@pytest.mark.parametrize(("place", "code"), list(enumerate(code for code, *_ in cases())))
def test_rule_trips_on_the_faulty_well_only(place: int, code: str, tripped) -> None:
    issues, metrics = tripped
    found = metrics.set_index(["source_id", "rule_code"]).loc[(code, code)]
    assert (found["rows_judged_count"], found["rows_failed_count"]) == (2, 1)
    assert found["share_failed_fraction"] == 0.5
    mine = issues[(issues["source_id"] == code) & (issues["code"] == code)]
    if RULES[code].by_row:
        assert mine["well_id"].tolist() == [f"w{2 * place}"]
        assert mine["severity_code"].iloc[0] == RULES[code].severity
        assert mine["stage"].iloc[0] == "validate" and mine["field"].iloc[0] in schema.fields()
    else:
        assert mine.empty


def test_rule_of_the_region_finds_the_lost_sign() -> None:
    rng = np.random.default_rng(5)
    lat, lon = rng.uniform(41.0, 41.5, 40), rng.uniform(-139.0, -138.5, 40)
    wells = [
        {"area_code": "A", "region_code": "R", "latitude_deg": a, "longitude_deg": b}
        for a, b in zip(lat, lon, strict=True)
    ]
    wells[7]["longitude_deg"] *= -1
    issues, metrics = scan(frame(*wells), AS_OF)
    assert issues.loc[issues["code"] == REGIONAL, "well_id"].tolist() == ["w7"]
    assert metric(metrics, REGIONAL)["rows_judged_count"] == 40
    # a region of few wells has no bulk and is not judged
    _, metrics = scan(frame(*wells[:10]), AS_OF)
    assert metric(metrics, REGIONAL)["rows_judged_count"] == 0


def test_property_missing_is_never_judged() -> None:
    gaps = []
    for code, *pair in cases():
        for name in set(RULES[code].needs) - set(ADDED):
            nothing = np.nan if schema.fields()[name].type == "number" else None
            gaps += [{"source_id": code, **well, name: nothing} for well in pair]
    issues, metrics = scan(frame(*gaps), AS_OF)
    own = metrics[metrics["source_id"] == metrics["rule_code"]]
    assert len(own) > 60
    assert (own["rows_judged_count"] == 0).all() and (own["share_failed_fraction"] == 0).all()
    assert not (issues["source_id"] == issues["code"]).any()


def test_nan_inside_a_masked_column_is_missing() -> None:
    wells = frame({"depth_static_m": 5.0}, {"depth_static_m": 5.0})
    held = pd.arrays.FloatingArray(np.array([np.nan, 4.0]), np.array([False, False]))
    wells["depth_completed_m"] = held
    _, metrics = scan(wells, AS_OF)
    found = metric(metrics, "V102")
    assert (found["rows_judged_count"], found["rows_failed_count"]) == (1, 1)


def test_future_dates_are_not_judged_without_a_day() -> None:
    _, metrics = scan(frame({"completed_date": DAY("2098-01-01")}), Settings())
    assert metric(metrics, "V113")["rows_judged_count"] == 0


def test_data_tests_read_only_what_they_need() -> None:
    for rule in declared():
        read = predicate.columns(rule.test)
        about_absence = " IS NULL" in rule.test
        assert about_absence or read <= set(rule.needs), rule.code
        assert set(rule.reads) <= {c.field.name for c in schema.table("wells")}, rule.code
        assert 0 <= rule.allowed <= 1, rule.code
        assert rule.severity in schema.codes("severity"), rule.code
        assert rule.reference_id in schema.references(), rule.code
        assert rule.title and rule.why.endswith(".") and rule.action.endswith("."), rule.code


def test_data_every_typical_range_has_its_rule() -> None:
    wells = [c.field for c in schema.table("wells")]
    ranged = {f.name for f in wells if f.typical_min is not None or f.typical_max is not None}
    assert {rule.field for rule in RANGED} == ranged
    for rule in RANGED:
        field = schema.fields()[rule.field or ""]
        assert (rule.low, rule.high) == (field.typical_min, field.typical_max)


def test_golden_codes_of_ranges_are_stable() -> None:
    # 200 and the place in fields.csv; these never move, since fields are only appended
    codes = {rule.field: rule.code for rule in RANGED}
    assert codes["depth_completed_m"] == "V219"
    assert codes["depth_static_m"] == "V220"
    assert codes["temperature_water_degc"] == "V239"
    assert codes["people_served_count"] == "V252"


def test_expected_says_what_should_be() -> None:
    assert RULES["V102"].expected == "depth_static_m <= depth_completed_m"
    assert RULES["V219"].expected == "depth_completed_m from 1 to 600"
    issues, _ = scan(frame(WELLS["V102"][0]), AS_OF)
    assert issues.set_index("code").loc["V102", "found"] == "depth_static_m 61; depth_completed_m 60"


@pytest.mark.parametrize(
    "sql",
    [
        "1; DROP TABLE wells",
        "read_csv('x') > 1",
        "(SELECT 1) > 0",
        "a > 1 -- b",
        "a ** 2 > 1",
        "1 < a < 3",
        "a IS b",
        "a if b else c",
        "lambda > 1",
        'a > "b"',
        "a[1] > 2",
        "abs(a, b) > 1",
    ],
)
def test_predicate_refuses_what_rules_may_not_use(sql: str) -> None:
    with pytest.raises(SchemaError):
        predicate.tree(sql)


def test_reference_predicate_forms_as_the_database_reads_them() -> None:
    values = {
        "a": np.array([1.0, 2.0, np.nan]),
        "b": np.array(["x", "y", None], dtype=object),
        "c": np.array([True, False, None], dtype=object),
        "d": np.array(["2020-01-01", "2024-06-01", "NaT"], dtype="datetime64[D]"),
    }
    expected = {
        "a > 1": [False, True, False],
        "NOT (a > 1)": [True, False, False],
        "a <> 1": [False, True, False],
        "b IN ('x', 'z')": [True, False, False],
        "b = 'y' OR c": [True, True, False],
        "NOT c": [False, True, False],
        "a IS NULL": [False, False, True],
        "b IS NOT NULL AND a * 2 - 1 >= 3": [False, True, False],
        "NOT (a > 1 AND c)": [True, True, False],
        "a IN (1, 3) OR a IS NULL": [True, False, True],
        "b NOT IN ('x')": [False, True, False],
        "d > DATE '2022-01-01'": [False, True, False],
        "abs(a - 3) < 1.5 AND -a < 0": [False, True, False],
    }
    table = pa.table(
        {"a": pa.array([1.0, 2.0, None]), "b": ["x", "y", None], "c": [True, False, None], "d": pa.array(values["d"])}
    )
    for sql, wanted in expected.items():
        assert predicate.evaluate(sql, values).tolist() == wanted, sql
        # the database reads the same text and agrees
        with duckdb.connect() as base:
            base.register("t", table)
            found = base.execute(f"SELECT coalesce({sql}, false) AS x FROM t").fetchall()
        assert [x for (x,) in found] == wanted, sql


def test_settings_change_shares_and_unknown_rules_are_refused() -> None:
    assert allowed_shares(Settings(gate_overlay={"V102": 0.5}))["V102"] == 0.5
    with pytest.raises(UsageError, match="V999"):
        allowed_shares(Settings(gate_overlay={"V999": 0.5}))
    with pytest.raises(UsageError, match="between 0 and 1"):
        allowed_shares(Settings(gate_overlay={"V102": 5}))
