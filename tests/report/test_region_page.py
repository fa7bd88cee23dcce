"""The page of one region speaks of its own wells only."""

import invented_run
import pytest

from pipeline import io, report
from pipeline.errors import UsageError
from pipeline.report.facts import Facts


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("made") / "run"
    invented_run.write(made, 300)
    return made


def test_tables_are_those_of_the_region(folder):
    selection = io.read_table("selection", folder)
    want = selection[(selection["area_code"] == "Ostmark") & (selection["region_code"] == "Birch")]
    with Facts(folder, "us", "Ostmark / Birch") as facts:
        assert facts.ask("SELECT count(*) AS n FROM selection")[0]["n"] == len(want) > 10
        (row,) = facts.ask("SELECT count(*) AS n FROM risks WHERE well_id NOT IN (SELECT well_id FROM selection)")
        assert row["n"] == 0
        found = facts.ask("SELECT sum(pieces_expected) AS p FROM demand WHERE region_level = 'all'")[0]["p"]
    demand = io.read_table("demand", folder)
    own = demand[(demand["region_level"] == "region") & (demand["region_code"] == "Ostmark / Birch")]
    assert found == pytest.approx(own["pieces_expected"].sum())


def test_page_names_its_region_and_no_well_of_another(folder):
    path = report.write_region(folder, "Westmark / Dale", "metric")
    text = path.read_text(encoding="utf-8")
    assert path.parent.name == "regions" and "<h1>Westmark / Dale</h1>" in text and "http" not in text.split("<body>")[1]
    selection = io.read_table("selection", folder)
    others = selection[selection["region_code"] != "Dale"]["well_id"]
    assert not [well for well in others if well in text]


def test_unknown_region_names_those_that_are_known(folder):
    with pytest.raises(UsageError, match="Ostmark / Alder"):
        report.write_region(folder, "Nowhere", "us")
