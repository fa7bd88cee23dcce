"""Names misspelt now and then, and names that only look so."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.normalise import places, spelling
from pipeline.normalise.issues import IssueLog


@pytest.mark.parametrize(
    ("left", "right", "gap"),
    # worked out by hand from the definition: put in, left out, changed, neighbours exchanged, each counts one
    [("kettuma", "ketuma", 1), ("balindo", "baldino", 2), ("ca", "ac", 1), ("fenmark", "fenmark", 0),
     ("corvale", "corvail", 2), ("dunmoor plain", "dunmore plain", 2), ("abcdef", "badcfe", 3)],
)  # fmt: skip
def test_distance_counts_slips(left: str, right: str, gap: int) -> None:
    assert spelling.distance(left, right, 3) == gap == spelling.distance(right, left, 3)


@given(st.text("abc", max_size=7), st.text("abc", max_size=7))
def test_property_distance_is_bounded_and_symmetric(left: str, right: str) -> None:
    gap = spelling.distance(left, right, 9)
    assert gap == spelling.distance(right, left, 9) and (gap == 0) == (left == right)
    assert abs(len(left) - len(right)) <= gap <= max(len(left), len(right))
    assert spelling.distance(left, right, 1) == min(gap, 2)


def test_a_rare_slip_is_taken_for_the_frequent_name() -> None:
    assert spelling.slips({"Fenmark": 100, "Fenmrk": 5}) == {"Fenmrk": "Fenmark"}
    assert spelling.slips({"Cinder Basin": 200, "Cindr Basn": 3}) == {"Cindr Basn": "Cinder Basin"}


@pytest.mark.parametrize(
    "counts",
    [
        {"Marlow": 300, "Harlow": 280},  # both frequent, one letter apart
        {"Marlow": 300, "Marlew": 16},  # not twenty times rarer
        {"Marlow": 300, "Barlow": 3},  # another first letter
        {"Lane": 300, "Lake": 2},  # too short to tell
        {"Ward 1": 300, "Ward 2": 3},  # a figure is no slip
        {"Fork North": 300, "Fork South": 2},
        {"Kings II": 300, "Kings III": 2},
        {"Zone Aster A": 300, "Zone Aster B": 2},
        {"Marlow": 300, "Merlow": 300, "Mirlow": 2},  # two names as near
        {"Marlow": 300, "Marlaw": 2, "Marlav": 14},  # another spelling as near that is no slip
        {"Marlow": 300, "Marxyw": 2},  # two letters in a name of six
    ],
)  # fmt: skip
def test_what_may_be_a_name_of_its_own_stays(counts: dict[str, int]) -> None:
    assert spelling.slips(counts) == {}


def test_each_area_stands_alone_and_every_spelling_is_told_once() -> None:
    names = pd.Series(["Fenmark"] * 60 + ["Fenmrk"] * 2 + ["Fenmrk"] * 60 + ["Fenmark"], dtype="str")
    areas = pd.Series(["East"] * 62 + ["West"] * 61, dtype="str")
    log = IssueLog()
    out = spelling.settle(names, areas, "region_code", "s", log)
    assert (out[:62] == "Fenmark").all() and (out[62:] == "Fenmrk").all()
    told = log.table()
    assert list(told["code"]) == ["N402"] * 2 and set(told["severity_code"]) == {"note"}
    assert set(zip(told["found"], told["used"], strict=True)) == {("Fenmrk", "Fenmark"), ("Fenmark", "Fenmrk")}


def test_a_damaged_accent_is_the_same_name() -> None:
    log = IssueLog()
    names = pd.Series(["Choravé"] * 3 + ["Choravé".encode().decode("cp1252")], dtype="str")
    assert set(places.merge_spellings(names, "region_code", "s", log)) == {"Choravé"}
    assert list(log.table()["code"]) == ["N506"]
