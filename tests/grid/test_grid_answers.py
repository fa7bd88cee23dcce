"""A seeded sample of the grid of tests/benchmarks/grid.py: an answer or a reason everywhere, and no forbidden choice."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from pipeline import schema
from pipeline.settings import Settings

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "benchmarks"))
import grid as the_grid

SEED, SAMPLE = 20, 320


@pytest.fixture(scope="module", params=["us", "metric"])
def found(request):
    cells = the_grid.cells().sample(SAMPLE, random_state=SEED).reset_index(drop=True)
    tables = the_grid.sized(cells, request.param)
    return cells, tables["selection"].reset_index(drop=True), tables["not_chosen"]


def test_the_grid_has_five_thousand_cells():
    assert len(the_grid.cells()) == 5000


def test_every_cell_has_a_pipe_or_a_reason(found):
    _, choice, others = found
    assert choice["outcome_code"].notna().all()
    none = the_grid.unanswered(choice, others)
    assert (none.str.len() > 0).all() and not none.str.rstrip().str.endswith(":").any()
    assert 0 < len(none) < len(choice)


def test_every_other_family_has_its_reason(found):
    _, choice, others = found
    with_pipe = choice[choice["option_id"].notna()]
    rows = others[others["well_id"].isin(with_pipe["well_id"])]
    families = len(schema.codes("family"))
    assert (rows.groupby("well_id").size() == families - 1).all()
    limits = rows[rows["reason_code"] == "limit"]
    assert limits["check_code"].notna().all()


def test_no_galvanised_steel_in_acid_water_and_no_coil_under_a_hand_pump(found):
    """Galvanised steel fails below pH 6.5 (source: rwsn_gi); coil under a hand pump (common practice, no source)."""
    cells, choice, _ = found
    kinds = set(the_grid.disagreement(cells, choice, Settings()).dropna())
    assert not {"galvanised_acid", "coil_hand_pump"} & kinds


@pytest.mark.parametrize("market", ["us", "metric"])
def test_plain_households_get_what_the_trade_hangs(market):
    """Small flows in cold neutral water: plastics well inside their bands, steel past the last (common practice)."""
    cells = the_grid.cells()
    plain = cells["water"].eq("neutral") & cells["flow_gpm"].le(10) & cells["use"].eq("domestic")
    cells = cells[plain & (cells["head_ft"].between(150, 250) | cells["head_ft"].ge(1000))].reset_index(drop=True)
    family = the_grid.sized(cells, market)["selection"]["family_code"].to_numpy(dtype=object)
    deep = cells["head_ft"].ge(1000).to_numpy()
    assert set(family[~deep]) <= {"pe", "pvc"} and set(family[deep]) <= {"galvanised", "stainless"}
