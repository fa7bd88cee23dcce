"""Bores of a nest and wells that replace a plugged one. All records are invented."""

from __future__ import annotations

from raw_tables import METRES, intake, layout, table

from pipeline.normalise import to_records
from pipeline.settings import Settings


def run(rows: dict[str, list[str]], **more):
    return to_records(intake(layout(METRES, **more), table(rows)), Settings())


def nest(**more: list[str]):
    rows = {"id": ["N12A", "N12B", "N12C", "N13"], "depth": ["20", "45", "90", "60"], "lat": ["10.1", "10.1", "10.1", "10.3"],
            "lon": ["30.2"] * 4, "use": ["", "", "", "domestic"], "level": ["5"] * 4, **more}  # fmt: skip
    return run(rows)


def test_a_nest_of_unknown_use_is_for_monitoring() -> None:
    out = nest()
    assert list(out.wells["well_id"]) == ["N13"]
    assert out.excluded["detail"].tolist() == ["use is monitoring"] * 3
    assert (out.issues["code"] == "N607").sum() == 3


def test_bores_that_are_pumped_are_wells_of_their_own() -> None:
    out = nest(pump=["", "40", "", ""])
    assert list(out.wells["well_id"]) == ["N12A", "N12B", "N12C", "N13"]
    assert out.issues.loc[out.issues["code"] == "N607", "used"].str.contains("a well of its own").all()
    assert len(nest(use=["domestic"] * 4).wells) == 4


def test_letters_alone_make_no_nest() -> None:
    # other points, or one depth: nothing is said
    for more in ({"lat": ["10.1", "10.2", "10.4", "10.3"]}, {"depth": ["60", "60", "60", "60"]}):
        out = nest(**more)
        assert len(out.wells) == 4 and "N607" not in set(out.issues["code"])


def test_a_new_well_beside_a_plugged_one_is_its_replacement() -> None:
    rows = {"id": ["old", "old", "new", "far", "late"], "depth": ["60", "", "80", "80", "80"],
            "lat": ["10.1000", "", "10.1003", "10.2", "10.1002"], "lon": ["30.2"] * 5,
            "done": ["1970-05-06", "2001-06-01", "2001-05-20", "2001-05-20", "2015-05-20"],
            "report": ["new", "plugging", "new", "new", "new"]}  # fmt: skip
    out = run(rows, events={"kind_from": "report"})
    assert list(out.wells["well_id"]) == ["far", "late", "new"]
    told = out.issues[out.issues["code"] == "N608"]
    assert told["well_id"].tolist() == ["new"] and told["found"].tolist() == ["old"]
    # a third of a thousandth of a degree is 33 m
    assert "33 m" in told["used"].iloc[0]
    assert out.ledger[0].excluded == {"plugged": 2} and out.ledger[0].balances()


def test_the_middle_of_a_survey_square_is_beside_nothing() -> None:
    rows = {"id": ["old", "old", "new"], "depth": ["60", "", "80"], "lat": ["10.1", "", "10.1"], "lon": ["30.2"] * 3,
            "done": ["1970-05-06", "2001-06-01", "2001-05-20"], "report": ["new", "plugging", "new"],
            "accuracy": ["1138"] * 3}  # fmt: skip
    columns = {**METRES, "location_accuracy_m": {"from": "accuracy", "unit": "m"}}
    out = to_records(intake(layout(columns, events={"kind_from": "report"}), table(rows)), Settings())
    assert "N608" not in set(out.issues["code"])
