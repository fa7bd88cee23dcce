"""What must not change the meaning of a column: order, company, case; and what every guess holds to."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from proposal_wells import table
from test_proposal_tables import TABLES

from pipeline import schema
from pipeline.ingest.proposal.model import Guess
from pipeline.ingest.proposal.place import Context
from pipeline.ingest.proposal.score import guess_table

# columns that lean on the column beside them are left out: there the order means something
STEADY = ("prairie_state", "ngo_survey", "brackets", "spanish", "traps_in_feet", "camel_case", "no_coordinates_no_units")


def _meant(found: list[Guess]) -> dict[str, tuple[str, str, str, float]]:
    return {g.header: (g.field, g.unit, g.why_not, round(g.score, 9)) for g in found}


def _table(name: str) -> tuple[tuple[str, ...], pd.DataFrame]:
    metric, rows = TABLES[name]
    return table([(h, r) for h, r, _, _ in rows], metric, seed=3)


@pytest.mark.parametrize("name", STEADY)
@given(seed=st.integers(0, 2**31))
@settings(max_examples=5, deadline=None)
def test_property_the_order_of_columns_means_nothing(name: str, seed: int) -> None:
    headers, sample = _table(name)
    order = np.random.default_rng(seed).permutation(len(headers))
    moved = tuple(headers[i] for i in order)
    assert _meant(guess_table(headers, sample)) == _meant(guess_table(moved, sample[list(moved)]))


@pytest.mark.parametrize("name", STEADY)
def test_property_a_column_that_says_nothing_changes_nothing(name: str) -> None:
    headers, sample = _table(name)
    plain = _meant(guess_table(headers, sample))
    wider = sample.assign(qwzx=["zz top", "abc def"] * (len(sample) // 2))
    with_it = _meant(guess_table((*headers, "qwzx"), wider))
    assert with_it.pop("qwzx")[0] == "" and with_it == plain


@pytest.mark.parametrize("name", STEADY)
@pytest.mark.parametrize("change", [str.upper, str.lower])
def test_property_the_case_of_headers_means_nothing(name: str, change: object) -> None:
    headers, sample = _table(name)
    # capitals part words, so only headers that are parted otherwise can be told in any case
    parted = [h for h in headers if h.lower() == h or h.upper() == h or " " in h]
    plain = _meant(guess_table(tuple(parted), sample[parted]))
    other = tuple(change(h) for h in parted)  # type: ignore[operator]
    found = _meant(guess_table(other, sample[parted].set_axis(list(other), axis=1)))
    assert [v[:3] for v in found.values()] == [v[:3] for v in plain.values()]


@given(st.lists(st.text(max_size=30), min_size=1, max_size=6, unique=True), st.lists(st.text(max_size=12), max_size=8))
@settings(max_examples=60, deadline=None)
def test_property_any_header_and_any_cells_give_a_guess(headers: list[str], cells: list[str]) -> None:
    sample = pd.DataFrame({h: cells for h in headers}, dtype="str")
    found = guess_table(tuple(headers), sample, None, {headers[0]: "depth in feet"}, Context())
    assert [g.header for g in found] == headers
    for guess in found:
        assert 0 <= guess.score <= 1 and 0 <= guess.field_score <= 1 and 0 <= guess.unit_score <= 1
        assert not guess.field or guess.field in schema.fields()
        assert not guess.sure or guess.samples


def test_property_a_table_read_twice_is_read_alike() -> None:
    headers, sample = _table("traps_in_feet")
    first, second = guess_table(headers, sample), guess_table(headers, sample)
    assert first == second


def test_reasons_add_up_to_the_odds_of_the_field() -> None:
    headers, sample = _table("ngo_survey")
    for guess in guess_table(headers, sample):
        assert bool(guess.evidence) == bool(guess.field)


def test_an_empty_table_and_no_rows_are_no_fault() -> None:
    assert guess_table((), pd.DataFrame()) == []
    found = guess_table(("Depth (ft)",), pd.DataFrame({"Depth (ft)": []}, dtype="str"))
    assert found[0].field == "depth_completed_m" and not found[0].sure
