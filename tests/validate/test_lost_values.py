"""What normalise gave up is judged too: a value that was emptied shows in no well."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest
from test_gate import wells_of

from pipeline.errors import UsageError
from pipeline.settings import Settings
from pipeline.validate import judge, losses, lost_values, merge_metrics, scan


def issues_of(count: int, code: str = "P110") -> pd.DataFrame:
    return pd.DataFrame([{"source_id": "s", "well_id": f"w{i}", "code": code} for i in range(count)])


def metrics_of(lost: int, settings: Settings) -> tuple[pd.DataFrame, pd.DataFrame]:
    wells = wells_of(100, 0)
    # the level of a well that lost it is empty: the scan sees nothing there
    wells.loc[: lost - 1, "depth_static_m"] = None
    _, scanned = scan(wells, settings)
    return wells, merge_metrics([scanned, lost_values(issues_of(lost), wells, settings)])


def test_half_of_the_levels_given_up_fails_the_gate() -> None:
    allowed = next(rule.allowed for rule in losses() if rule.code == "P110")
    for lost, passes in ((int(100 * allowed), True), (50, False)):
        wells, metrics = metrics_of(lost, Settings())
        row = metrics[metrics["rule_code"] == "P110"].iloc[0]
        assert (row["rows_judged_count"], row["rows_failed_count"]) == (100, lost)
        verdict = judge(metrics, wells, Settings())
        assert verdict.passed is passes
        assert [f for f in verdict.failed if f[0] == "P110"] == ([] if passes else [("P110", "s", 0.5, allowed)])


def test_a_well_counts_once_and_one_that_was_left_out_does_not() -> None:
    wells = wells_of(10, 0)
    twice = pd.concat([issues_of(2), issues_of(2), issues_of(30)], ignore_index=True)
    metrics = lost_values(twice, wells, Settings())
    row = metrics[metrics["rule_code"] == "P110"].iloc[0]
    assert (row["rows_judged_count"], row["rows_failed_count"]) == (10, 10)
    assert set(metrics["rule_code"]) == {rule.code for rule in losses()}


def test_the_share_is_a_setting() -> None:
    kind = replace(Settings(), gate_overlay={"P110": 0.6})
    wells, metrics = metrics_of(50, kind)
    assert judge(metrics, wells, kind).passed
    with pytest.raises(UsageError, match="X999"):
        lost_values(issues_of(1), wells, replace(Settings(), gate_overlay={"X999": 0.6}))


def test_no_wells_give_no_counts() -> None:
    assert lost_values(issues_of(3), wells_of(1, 0).iloc[:0], Settings()).empty
