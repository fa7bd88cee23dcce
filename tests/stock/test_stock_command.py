"""``wellstring stock`` from end to end on the sample, and the messages for files with faults."""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from pipeline import cli, io
from pipeline.errors import UsageError
from pipeline.settings import Settings
from pipeline.stock import Asked, files, plan_stock, text

ROOT = Path(__file__).resolve().parents[2]
BRANCHES, ITEMS = ROOT / "sample_data" / "stock" / "branches.csv", ROOT / "sample_data" / "stock" / "items.csv"


@pytest.fixture(scope="module")
def run_copy(sample_run, tmp_path_factory):
    out = tmp_path_factory.mktemp("stock") / "run"
    shutil.copytree(sample_run, out)
    return out


@pytest.fixture(scope="module")
def plan(run_copy):
    return plan_stock(run_copy, Asked(BRANCHES, ITEMS), Settings(units="us"))


def test_data_sample_files_are_what_the_generator_makes():
    sys.path.insert(0, str(ROOT / "sample_data"))
    try:
        from make_sample_data import stock_files
    finally:
        sys.path.remove(str(ROOT / "sample_data"))
    for name, content in stock_files().items():
        assert (ROOT / "sample_data" / name).resolve().read_bytes() == content
        assert content.startswith(b"# invented")


def test_tables_are_written_and_hang_together(plan, run_copy):
    stock = io.read_table("stock_plan", run_copy)
    assert len(stock) == len(plan.stock) and stock["branch_id"].nunique() == 5
    kept = stock[stock["hold_code"] == "branch"]
    assert (kept["order_up_to_pieces"] >= kept["reorder_point_pieces"]).all()
    # every order is whole packs, and only where stock is at or below the reorder point
    ordered = kept[kept["order_pieces"] > 0]
    assert np.allclose(ordered["order_pieces"] % ordered["lot_pieces"], 0)
    position = ordered["on_hand_pieces"].fillna(0) + ordered["on_order_pieces"].fillna(0)
    assert (position <= ordered["reorder_point_pieces"]).all()
    assert (stock.loc[stock["hold_code"] != "branch", "order_pieces"] == 0).all()
    compound = kept[kept["stock_method_code"] == "compound"]
    assert (compound["service_cycle_fraction"] >= 0.95 - 1e-9).all()
    assert np.allclose(kept["pieces_yearly"], kept["jobs_yearly"] * kept["pieces_job"])
    assert {"T-100", "K-220"} <= set(stock["sku"].dropna())


def test_pieces_of_the_plan_are_those_of_the_rates(plan, run_copy):
    # what all branches take of goods that are no coil is what the regions served ask for
    from pipeline.materials.goods import catalogue
    from pipeline.settings import of_run
    from pipeline.stock import jobs

    settings, manifest = of_run(run_copy, Settings())
    found = jobs.of_run(run_copy, settings, catalogue(settings), manifest["as_of"])
    served, _ = files.assignment(files.read(BRANCHES, "branches"), sorted(set(found.amounts["place"])), "b")
    asked = found.rates.merge(served, on="place")
    asked = (asked["pieces_year"] * asked["share"]).groupby(asked["item_id"]).sum()
    here = plan.stock[plan.stock["branch_id"] != "(central)"].groupby("item_id")["pieces_yearly"].sum()
    plain = [i for i in here.index if i not in found.steps]
    assert len(plain) > 20
    assert np.allclose(here[plain], asked[plain], rtol=1e-6)


def test_pooling_saves_what_it_says(plan):
    centre = plan.stock[plan.stock["branch_id"] == "(central)"]
    assert len(centre) and (centre["stock_average_pieces"] < centre["stock_apart_pieces"]).all()


def test_same_run_same_bytes(plan, run_copy):
    before = [p.read_bytes() for name in ("stock_plan", "coil_plan", "cutting_plan") for p in io.parts(name, run_copy)]
    plan_stock(run_copy, Asked(BRANCHES, ITEMS), Settings(units="us"))
    after = [p.read_bytes() for name in ("stock_plan", "coil_plan", "cutting_plan") for p in io.parts(name, run_copy)]
    assert before == after


def test_text_is_short_and_names_every_part(plan):
    told = text.lines(plan, "us", Settings())
    assert 10 <= len(told) <= 24
    whole = "\n".join(told)
    for word in ("To order now", "Trucks", "Coil lengths", "Wexcombe"):
        assert word in whole


def test_command_prints_json_and_writes_guarded_csv(run_copy):
    found = CliRunner().invoke(
        cli.app, ["stock", "--run", str(run_copy), "--branch", str(BRANCHES), "--items", str(ITEMS), "--json"]
    )
    assert found.exit_code == 0, found.output
    told = json.loads(found.stdout)
    assert told["branches"] == 4 and told["order"]["trucks"] >= 1
    lines = (run_copy / "csv" / "stock_plan.csv").read_text(encoding="utf-8-sig").splitlines()
    assert "Reorder point" in lines[0] and len(lines) > 20


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ("branch_id,regions\nA,x\n", "column 'regions' is not known"),
        ("branch_id,region_code,share\nA,Graysill,2\n", "row 2, column 'share': 2 is outside 0 to 1"),
        ("branch_id,region_code\nA,Graysil\n", "row 2, column 'region_code': no region 'Graysil' in the run; near it: Graysill"),
        ("branch_id,region_code\nA,Graysill\nB,Graysill\n", "served 2.00 times over"),
        ("branch_id,region_code\n,Graysill\n", "row 2, column 'branch_id': is empty"),
        ("branch_id,region_code\nA,Graysill,x\n", "row 2 has 3 cells"),
        ("", "the file is empty"),
    ],
)  # fmt: skip
def test_faults_of_a_branch_file_name_row_and_column(run_copy, tmp_path, content, told):
    path = tmp_path / "branches.csv"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(UsageError) as caught:
        plan_stock(run_copy, Asked(path), Settings())
    assert told in str(caught.value) and "branches.csv" in str(caught.value)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ("item_id,on_hand\nsplice_kit,many\n", "row 2, column 'on_hand': 'many' is no number"),
        ("item_id,on_hand\nsplice_kit,nan\n", "row 2, column 'on_hand'"),
        ("item_id,pack\nsplice_kitt,1\n", "row 2, column 'item_id': 'splice_kitt' is no item; near it: splice_kit"),
        ("item_id,branch_id\nsplice_kit,Nowhere\n", "row 2, column 'branch_id': 'Nowhere' is no branch"),
        ("item_id,on_hand\nsplice_kit,5\n", "the row names no branch"),
        ("item_id,pack\nsplice_kit,1\nsplice_kit,2\n", "row 3: the same item"),
    ],
)  # fmt: skip
def test_faults_of_an_items_file_name_row_and_column(run_copy, tmp_path, content, told):
    path = tmp_path / "items.csv"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(UsageError) as caught:
        plan_stock(run_copy, Asked(BRANCHES, path), Settings())
    assert told in str(caught.value)


def test_patterns_shares_and_unserved_regions():
    given = pd.DataFrame({"row_number": [2, 3], "branch_id": ["A", "B"], "area_code": [None, None],
                          "region_code": ["north*", "north low"], "share": [0.5, 0.5]})  # fmt: skip
    served, left = files.assignment(given, ["S / North High", "S / North Low", "S / South"], "b")
    assert served["share"].tolist() == [0.5, 0.5, 0.5] and left == ["S / North High", "S / South"]
    every, none = files.assignment(None, ["x", "y"])
    assert every["branch_id"].tolist() == ["x", "y"] and none == []


def test_rates_come_from_demand_by_year_where_a_run_has_it(run_copy, tmp_path):
    # an invented demand of the coming years stands in for that of the run
    shutil.copytree(run_copy, tmp_path / "run")
    run = tmp_path / "run"
    demand = io.read_table("demand", run)
    standing = demand[(demand["region_level"] == "region") & (demand["cause_code"] == "standing")]
    year = int(json.loads((run / "manifest.json").read_text())["as_of"][:4])
    parts = [standing.assign(year=year + k, cause_code=cause, pieces_expected=standing["pieces_expected"] * share)
             for k in (1, 2) for cause, share in (("new", 0.02), ("replaced", 0.05 * k))]  # fmt: skip
    io.write_table("demand", pd.concat([demand[demand["year"].isna()], *parts]), run)
    done = plan_stock(run, Asked(), Settings())
    assert done.basis == "demand" and done.year == year + 1 and set(done.stock["jobs_from_code"]) == {"demand"}
    here = done.stock[done.stock["branch_id"] != "(central)"]
    asked = standing.groupby("item_id")["pieces_expected"].sum() * 0.07
    found = here.groupby("item_id")["pieces_yearly"].sum()
    assert found["splice_kit"] == pytest.approx(asked["splice_kit"], rel=1e-3)
    from pipeline.export import write_duckdb

    write_duckdb(run)
    import duckdb

    with duckdb.connect(str(run / "wellstring.duckdb"), read_only=True) as base:
        assert base.execute("SELECT count(*) FROM stock_to_order").fetchone()[0] == (done.stock["order_pieces"] > 0).sum()
