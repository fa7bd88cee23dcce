"""Layouts of long forms and of workbooks with several header rows, on invented lines."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from pipeline.ingest import read_inputs
from pipeline.normalise import to_records
from pipeline.settings import Settings

SITES = """\
MonitoringLocationIdentifier,MonitoringLocationTypeName,LatitudeMeasure,LongitudeMeasure,HorizontalAccuracyMeasure/MeasureValue,HorizontalAccuracyMeasure/MeasureUnitCode,VerticalMeasure/MeasureValue,VerticalMeasure/MeasureUnitCode,CountryCode,StateCode,CountyCode,ConstructionDateText,WellDepthMeasure/MeasureValue,WellDepthMeasure/MeasureUnitCode,WellHoleDepthMeasure/MeasureValue,WellHoleDepthMeasure/MeasureUnitCode
INV-1,Well,44.1,-93.1,30,feet,900,feet,US,27,109,19800501,200,ft,210,ft
INV-2,Well,44.2,-93.2,1,seconds,280,m,US,27,109,1981,60,m,,
INV-3,Stream,44.3,-93.3,,,,,US,27,109,,,,,
INV-4,Well: Test hole not completed as a well,44.4,-93.4,,,,,US,27,109,,90,ft,90,ft
"""
RESULTS = """\
MonitoringLocationIdentifier,ActivityStartDate,CharacteristicName,ResultMeasureValue,ResultMeasure/MeasureUnitCode
INV-1,2001-05-01,pH,6.9,std units
INV-1,2003-05-01,pH,7.4,std units
INV-1,2003-05-01,Chloride,0.25,g/L
INV-1,2003-05-01,Nitrate,9,mg/L
INV-2,2003-05-01,Specific conductance,1.2,mS/cm
INV-2,2003-05-01,"Temperature, water",50,deg F
INV-3,2003-05-01,Chloride,900,mg/L
"""


def records(folder: Path):  # type: ignore[no-untyped-def]
    settings = Settings()
    return to_records(read_inputs([folder], settings), settings)


def test_results_give_the_latest_value_in_the_unit_of_its_row(tmp_path: Path) -> None:
    (tmp_path / "sites.csv").write_text(SITES)
    (tmp_path / "results.csv").write_text(RESULTS)
    found = records(tmp_path)
    wells = found.wells.set_index("well_id")
    assert list(wells.index) == ["INV-1", "INV-2"]
    assert wells.at["INV-1", "acidity_ph"] == 7.4
    assert wells.at["INV-1", "chloride_mg_per_l"] == pytest.approx(250)
    assert wells.at["INV-2", "conductivity_us_per_cm"] == pytest.approx(1200)
    assert wells.at["INV-2", "temperature_water_degc"] == pytest.approx(10)
    assert wells.at["INV-1", "depth_completed_m"] == pytest.approx(200 * 0.3048)
    assert wells.at["INV-2", "depth_completed_m"] == 60
    assert wells.at["INV-1", "location_accuracy_m"] == pytest.approx(30 * 0.3048)
    assert wells["location_accuracy_m"].isna()["INV-2"], "seconds of arc are no length"
    excluded = dict(zip(found.excluded["well_id"], found.excluded["reason_code"], strict=True))
    assert excluded["INV-4"] == "not_water_supply"
    assert all(entry.balances() for entry in found.ledger)


def test_wide_results_are_the_same(tmp_path: Path) -> None:
    head = "Location_Identifier,Activity_StartDate,Result_Characteristic,Result_Measure,Result_MeasureUnit"
    (tmp_path / "sites.csv").write_text(SITES)
    (tmp_path / "results.csv").write_text("\n".join([head, *RESULTS.splitlines()[1:]]) + "\n")
    wells = records(tmp_path).wells.set_index("well_id")
    assert wells.at["INV-1", "acidity_ph"] == 7.4
    assert wells.at["INV-1", "chloride_mg_per_l"] == pytest.approx(250)


def test_units_and_limits_below_the_header_are_no_samples(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Localization", "Geology", "UTM-X", "UTM-Y", "Data", "Cond.", "pH", "Cl"])
    sheet.append(["", "", "Arc 1960", "Arc 1960", "", "(µS/cm)", "", "(mg/L)"])
    sheet.append(["", "", "", "", "", "", "", "0.042 mg/L"])
    sheet.append(["Brindle", "P", 548000, 9523000, "2016-03-01", 343.6, 5.61, 43.0])
    sheet.append(["Corvane", "P", 549000, 9524000, "2016-03-02", "<LOQ", 6.2, "<0.05"])
    book.save(tmp_path / "samples.xlsx")
    found = records(tmp_path)
    assert sorted(found.wells["chloride_mg_per_l"].dropna().round(2)) in ([43.0], [0.05, 43.0])
    assert len(found.wells) == 2, "the row of limits is no well"
    assert found.wells["conductivity_us_per_cm"].dropna().tolist() == [343.6]
    assert found.wells["latitude_deg"].between(-5, -4).all()
