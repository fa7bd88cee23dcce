"""Lists of the user's own beside the records are told and left aside; a table of wells never is."""

from pipeline.ingest.own_lists import own_list
from pipeline.ingest.survey import Reader
from pipeline.settings import Settings


def test_lists_are_known_by_their_header():
    assert "branches" in own_list(["branch_id", "region_code"])
    assert "items" in own_list(["item_id", "on_hand", "lead_time_days"])
    assert "prices" in own_list(["item_id", "price", "sale_unit", "invented"])


def test_a_table_of_wells_is_none():
    assert own_list(["well_id", "region_code", "depth"]) == ""
    assert own_list(["item_id"]) == ""
    assert own_list(["branch_id", "region_code", "well_depth_ft"]) == ""


def test_a_folder_with_lists_reads_its_wells(tmp_path):
    (tmp_path / "branches.csv").write_text("branch_id,region_code\nNorth,Alder\n")
    (tmp_path / "wells.csv").write_text("Well ID,Well Depth (ft),Static Water Level (ft)\nA1,120,40\nA2,200,60\nA3,300,95\n")
    found = Reader(Settings()).survey([tmp_path])
    by_name = {entry.name: entry for entry in found.entries}
    assert by_name["branches.csv"].aside.startswith("Of no use for the job: ")
    assert by_name["wells.csv"].found is not None
