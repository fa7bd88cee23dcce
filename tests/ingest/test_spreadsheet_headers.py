"""Invented spreadsheets as people keep them: understood aright, or refused with a proposal; never wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import SourceError
from pipeline.ingest import describe, read_inputs
from pipeline.ingest.header_words import is_units_row
from pipeline.normalise import to_records
from pipeline.settings import Settings

WATER, DEEP, HOLE = "depth_static_m", "depth_completed_m", "depth_drilled_m"
PUMPED, PUMP, YIELD, BORE = "depth_pumping_m", "depth_pump_m", "flow_tested_m3_per_s", "diameter_casing_inside_m"
# file: text, what every column means to a person of the trade, whether the header alone suffices to read it
CASES: dict[str, tuple[str, dict[str, tuple[str, str]], bool]] = {
    "pull_list": (
        "Job #,Cust,Well Tag,TD,SWL,Set @,HP,GPM,Drop,Csg,Notes\n1101,X,T-44,240,60,180,1,10,1in poly,6,ok\n",
        {"Well Tag": ("well_id", ""), "TD": (DEEP, "ft"), "SWL": (WATER, "ft"), "Set @": (PUMP, "ft"),
         "HP": ("power_motor_w", "hp"), "GPM": (YIELD, "gpm"), "Csg": (BORE, "in")}, False,
    ),
    "units_row": (
        "WELLNO,COUNTY,TOTDEPTH,STATLVL,PMPLVL,YLD,CSGDIA,COMPDATE\n,,ft,ft,ft,gpm,in,\n"
        "A1,Fenmark,240,60,110,12,6,2001-05-04\n",
        {"WELLNO": ("well_id", ""), "COUNTY": ("region_code", ""), "TOTDEPTH": (DEEP, "ft"), "STATLVL": (WATER, "ft"),
         "PMPLVL": (PUMPED, "ft"), "YLD": (YIELD, "gpm"), "CSGDIA": (BORE, "in"), "COMPDATE": ("completed_date", "")},
        True,
    ),
    "brackets": (
        "Well No.,Total Depth [m],Static WL [m bgl],Dyn. WL [m bgl],Yield [l/s],Pump Set [m],Csg ID [mm]\n"
        "B1,60,12,20,1.2,45,152\n",
        {"Well No.": ("well_id", ""), "Total Depth [m]": (DEEP, "m"), "Static WL [m bgl]": (WATER, "m"),
         "Dyn. WL [m bgl]": (PUMPED, "m"), "Yield [l/s]": (YIELD, "L/s"), "Pump Set [m]": (PUMP, "m"),
         "Csg ID [mm]": (BORE, "mm")}, True,
    ),
    "bom_semicolons": (
        "\ufeffPoint ID;District;Borehole depth (m);SWL (m);Yield (m3/h);Pump intake (m)\n"
        "C1;Fenmark;45,5;9,25;1,8;36,0\nC2;Fenmark;60,25;11,5;2,4;48,75\n",
        {"Point ID": ("well_id", ""), "District": ("region_code", ""), "Borehole depth (m)": (HOLE, "m"),
         "SWL (m)": (WATER, "m"), "Yield (m3/h)": (YIELD, "m**3/h"), "Pump intake (m)": (PUMP, "m")}, True,
    ),
    "questions": (
        "_id,District,GPS Lat,GPS Long,1. Depth of borehole (metres),2. Static water level (metres),"
        "3. Yield (litres per second),4. Type of pump installed,5. Depth of pump installation (m),6. No. of users\n"
        "1,Fenmark,-7.1,64.2,45,9,0.4,handpump,30,250\n",
        {"_id": ("well_id", ""), "District": ("region_code", ""), "GPS Lat": ("latitude_deg", "deg"),
         "GPS Long": ("longitude_deg", "deg"), "1. Depth of borehole (metres)": (HOLE, "m"),
         "2. Static water level (metres)": (WATER, "m"), "3. Yield (litres per second)": (YIELD, "L/s"),
         "4. Type of pump installed": ("pump_kind_code", ""), "5. Depth of pump installation (m)": (PUMP, "m"),
         "6. No. of users": ("people_served_count", "")}, True,
    ),
    "county_export": (
        "PERMIT_NO,TWP,RNG,SEC,WELL_DEPTH_FT,STATIC_FT,YIELD_GPM,DRAWDOWN_FT,CASING_DIA_IN,DATE_DRILL,USE\n"
        "P1,1N,2W,3,240,60,12,50,6,5/14/2001,domestic\n",
        {"PERMIT_NO": ("well_id", ""), "WELL_DEPTH_FT": (DEEP, "ft"), "STATIC_FT": (WATER, "ft"),
         "YIELD_GPM": (YIELD, "gpm"), "DRAWDOWN_FT": ("drawdown_test_m", "ft"), "CASING_DIA_IN": (BORE, "in"),
         "DATE_DRILL": ("completed_date", ""), "USE": ("use_code", "")}, True,
    ),
    "two_depths": (
        "Well ID,Depth (ft),Total Depth (ft),SWL (ft)\nD1,240,245,60\n",
        {"Well ID": ("well_id", ""), "SWL (ft)": (WATER, "ft")}, False,
    ),
    "other_depths": (
        "Well ID,Depth to Pump (ft),Depth to Bedrock (ft),Casing Depth (ft),Water Depth (ft),Elev (ft)\n"
        "E1,180,40,60,60,900\n",
        {"Well ID": ("well_id", ""), "Depth to Pump (ft)": (PUMP, "ft"), "Elev (ft)": ("elevation_ground_m", "ft"),
         "Depth to Bedrock (ft)": ("depth_bedrock_m", "ft"), "Casing Depth (ft)": ("depth_casing_bottom_m", "ft"),
         "Water Depth (ft)": (WATER, "ft")}, True,
    ),
    "casing_top": (
        "Site ID,Hole Depth (ft),DTW (ft btoc),Test Rate (igpm),Test Hrs\nF1,240,62,10,4\n",
        {"Site ID": ("well_id", ""), "Hole Depth (ft)": (HOLE, "ft"), "Test Rate (igpm)": (YIELD, "imp gpm"),
         "Test Hrs": ("duration_test_s", "hour")}, False,
    ),
    "grouped": (
        "Well,,Water levels,,Pump,\nWell No,Depth (ft),Static (ft),Pumping (ft),Setting (ft),Rate (gpm)\n"
        "G1,240,60,110,180,10\n",
        {"Well No": ("well_id", ""), "Well Well No": ("well_id", ""), "Well Depth (ft)": (DEEP, "ft"),
         "Water levels Static (ft)": (WATER, "ft"), "Water levels Pumping (ft)": (PUMPED, "ft"),
         "Pump Setting (ft)": (PUMP, "ft"), "Pump Rate (gpm)": (YIELD, "gpm")}, True,
    ),
    "both_units": (
        "Well ID,Depth (ft),Depth (m),SWL (ft),SWL (m),Pump capacity (gpm)\nH1,240,73.2,60,18.3,10\n",
        {"Well ID": ("well_id", ""), "Pump capacity (gpm)": ("flow_duty_m3_per_s", "gpm")}, False,
    ),
    "pumps": (
        "Well ID,Well Depth (ft),Pump,Pump (hp),Pump (ft),Pump Rate (gpm)\nI1,240,submersible,1,180,10\n",
        {"Well ID": ("well_id", ""), "Well Depth (ft)": (DEEP, "ft"), "Pump": ("pump_kind_code", ""),
         "Pump (hp)": ("power_motor_w", "hp"), "Pump (ft)": (PUMP, "ft"), "Pump Rate (gpm)": (YIELD, "gpm")}, True,
    ),
}  # fmt: skip


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("name", CASES)
def test_columns_are_understood_aright_or_left(tmp_path: Path, name: str) -> None:
    text, truth, suffices = CASES[name]
    path = tmp_path / f"{name}.csv"
    path.write_text(text, encoding="utf-8")
    for row in describe([path], Settings()):
        if row["sure"]:
            assert truth.get(str(row["column"])) == (row["field"], row["unit"]), row["column"]
    if suffices:
        records = to_records(read_inputs([path], Settings()), Settings())
        assert len(records.wells) == text.count("\n") - 1 - (name in ("units_row", "grouped")) and records.ledger[0].balances()
        return
    with pytest.raises(SourceError) as raised:
        read_inputs([path], Settings())
    assert raised.value.exit_code == 2 and "--layout" in str(raised.value)
    assert "# Open:" in (tmp_path / f"{name}.layout.toml").read_text(encoding="utf-8")


def test_most_columns_of_the_readable_ones_are_read(tmp_path: Path) -> None:
    known = read = 0
    for name, (text, truth, suffices) in CASES.items():
        path = tmp_path / f"{name}.csv"
        path.write_text(text, encoding="utf-8")
        if suffices:
            known += len(truth)
            read += sum(bool(row["sure"]) for row in describe([path], Settings()))
    assert read >= 0.85 * known, f"{read} of {known}"


def test_decimal_commas_arrive(tmp_path: Path) -> None:
    path = tmp_path / "bom.csv"
    path.write_text(CASES["bom_semicolons"][0], encoding="utf-8")
    wells = to_records(read_inputs([path], Settings()), Settings()).wells
    assert sorted(wells["depth_drilled_m"]) == [45.5, 60.25] and sorted(wells["depth_static_m"]) == [9.25, 11.5]


def test_a_row_of_units() -> None:
    assert is_units_row(["", "ft", "(gpm)", "in"]) and is_units_row(["m bgl", "l/s"])
    assert not is_units_row(["", "", "ft"]) and not is_units_row(["A1", "ft", "m"]) and not is_units_row(["", ""])


def test_units_rows_and_headers_said_again_are_no_records(tmp_path: Path) -> None:
    head = "Well No,Depth (ft),SWL (ft)\n"
    path = tmp_path / "pages.csv"
    path.write_text(head + ",ft,ft\nA,240,60\n" + head + ",ft,ft\nB,300,80\n", encoding="utf-8")
    intake = read_inputs([path], Settings())
    assert intake.tables[0].frame["Well No"].tolist() == ["A", "B"]
    assert (intake.ledger[0].lines, intake.ledger[0].rows_read) == (6, 2)
