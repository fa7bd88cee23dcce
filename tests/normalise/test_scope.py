"""What needs no drop pipe leaves with its reason, as people write it. All texts are invented."""

from __future__ import annotations

import pytest
from raw_tables import intake, layout, table

from pipeline.normalise import to_records
from pipeline.settings import Settings


def run(**cells: list[str]):
    size = len(next(iter(cells.values())))
    rows = {"id": [f"W{i}" for i in range(size)], "depth": ["60"] * size, **cells}
    return to_records(intake(layout(), table(rows)), Settings())


@pytest.mark.parametrize(
    ("said", "use"),
    [
        ("2 in. monitoring well", "monitoring"), ("Observation bore - state network", "monitoring"),
        ("Piezometer P3", "monitoring"), ("EXPLORATORY BORING", "test"), ("test hole no. 4", "test"),
        ("Geotechnical investigation", "test"), ("Closed-loop heat pump", "geothermal"), ("oil & gas supply", "oil_gas"),
        ("Gas well", "oil_gas"), ("hillside spring", "not_a_well"), ("Spring", "not_a_well"), ("Injection (class V)", "injection"),
        ("Temporary dewatering", "injection"), ("cathodic protection", "test"), ("well not in use", "unused"),
        ("Destruction, domestic", "unused"),
    ],
)  # fmt: skip
def test_other_uses_leave_by_their_words(said: str, use: str) -> None:
    out = run(use=[said, "domestic"])
    assert list(out.wells["well_id"]) == ["W1"], said
    assert out.excluded["reason_code"].tolist() == ["not_water_supply"]
    assert out.excluded["detail"].tolist() == [f"use is {use}"]


@pytest.mark.parametrize(
    ("said", "use"),
    [
        ("Domestic/irrigation", "domestic"), ("Private home (weekend)", "domestic"), ("cattle trough", "stock"),
        ("town supply bore 2", "public_supply"), ("Primary school borehole", "village"), ("sports ground lawn", "irrigation"),
        ("Springfield", "unknown"), ("damaged", "unknown"), ("non-domestic", "unknown"),
        ("Domestic, later monitoring", "unknown"), ("xyz", "unknown"),
    ],
)  # fmt: skip
def test_supplies_stay(said: str, use: str) -> None:
    out = run(use=[said])
    assert out.wells["use_code"].tolist() == [use]


@pytest.mark.parametrize(
    ("said", "reason"),
    [
        ("Abandoned 1998", "plugged"), ("plugged and sealed", "plugged"), ("DESTROYED by flood", "plugged"),
        ("decommissioned per code", "plugged"), ("dry at 80 m", "dry"), ("unsuccessful - no water", "dry"),
        ("Not functional since May", None), ("working", None), ("standby", None), ("not abandoned", None),
    ],
)  # fmt: skip
def test_states_leave_by_their_words(said: str, reason: str | None) -> None:
    out = run(status=[said])
    assert out.excluded["reason_code"].tolist() == ([reason] if reason else [])
    assert all(entry.balances() for entry in out.ledger)


def test_a_word_that_decides_is_told_once_a_spelling() -> None:
    out = run(use=["old monitoring well"] * 3 + ["domestic"])
    told = out.issues[out.issues["code"] == "N403"]
    assert len(told) == 1 and told["used"].iloc[0] == "monitoring" and "3 rows" in told["expected"].iloc[0]


def test_a_spelling_read_by_a_word_is_told_without_what_may_be_a_name() -> None:
    out = run(use=["Zorvanek monitoring well"] * 2 + ["domestic"])
    found = out.issues.loc[out.issues["code"] == "N403", "found"].tolist()
    assert found == ["… monitoring well"]
