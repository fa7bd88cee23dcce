"""The workbook: the same numbers as the tables, text that never runs, headers that can be filtered."""

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from pipeline import io, words
from pipeline.workbook import write_workbook

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "report"))

import invented_run

FEET = 1 / 0.3048  # exact, international foot


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("made") / "run"
    invented_run.write(made, 120)
    write_workbook(made, "us")
    return made


def sheet(folder, name):
    book = openpyxl.load_workbook(folder / "workbook.xlsx", data_only=False)
    rows = list(book[words.say(name)].values)
    return pd.DataFrame(rows[1:], columns=rows[0])


def test_wells_hold_the_numbers_of_the_tables(folder):
    found = sheet(folder, "sheet.wells")
    want = io.read_table("selection", folder).sort_values(["source_id", "well_id"], ignore_index=True)
    assert found["Well"].tolist() == want["well_id"].tolist() if "Well" in found else len(found) == len(want)
    (column,) = [name for name in found.columns if name.startswith(words.label("length_drop_pipe_m") + " [")]
    assert "[ft]" in column
    got = pd.to_numeric(found[column]).to_numpy(float)
    pd.testing.assert_series_equal(
        pd.Series(got), (want["length_drop_pipe_m"] * FEET).round(1).astype(float), check_names=False, atol=0.051
    )


def test_material_is_that_of_the_demand_table(folder):
    found = sheet(folder, "sheet.buy_list")
    want = io.read_table("demand", folder).query("region_level == 'all' and cause_code == 'standing'")
    (column,) = [name for name in found.columns if name.startswith(words.label("pieces_expected"))]
    assert pd.to_numeric(found[column]).sum() == pytest.approx(want["pieces_expected"].sum(), rel=1e-6)


def test_headers_are_frozen_and_can_be_filtered_and_nothing_runs(folder):
    book = openpyxl.load_workbook(folder / "workbook.xlsx")
    for page in book.worksheets[1:-1]:
        assert page.freeze_panes and page.auto_filter.ref, page.title
        assert all(cell.data_type != "f" for row in page.iter_rows() for cell in row), page.title
    with zipfile.ZipFile(folder / "workbook.xlsx") as parts:
        assert not [n for n in parts.namelist() if "vba" in n.lower() or "externalLink" in n]


def test_text_that_looks_like_a_formula_stays_text(folder, tmp_path):
    made = shutil.copytree(folder, tmp_path / "run")
    risks = io.read_table("risks", made)
    selection = io.read_table("selection", made)
    evil = '=HYPERLINK("http://example.invalid","x")'
    for name, frame in (("risks", risks), ("selection", selection)):
        frame.loc[frame["well_id"] == frame["well_id"].iloc[0], "well_id"] = evil
        io.write_table(name, frame, made)
    write_workbook(made, "us")
    found = sheet(made, "sheet.flags")
    assert evil in found.to_numpy().tolist()[0] or evil in set(found.astype(str).to_numpy().ravel())
    page = openpyxl.load_workbook(made / "workbook.xlsx")[words.say("sheet.flags")]
    assert all(cell.data_type == "s" for row in page.iter_rows(min_row=2) for cell in row if cell.value == evil)


def test_same_tables_same_bytes(folder, tmp_path):
    again = shutil.copytree(folder, tmp_path / "run")
    write_workbook(again, "us")
    assert (again / "workbook.xlsx").read_bytes() == (folder / "workbook.xlsx").read_bytes()


def test_a_run_of_too_many_wells_says_what_is_left_out(folder, tmp_path):
    again = shutil.copytree(folder, tmp_path / "run")
    write_workbook(again, "us", most_rows=10)
    found = sheet(again, "sheet.wells")
    assert "120" in str(found.iloc[0, 0])


@pytest.mark.skipif(not (shutil.which("soffice") or shutil.which("libreoffice")), reason="LibreOffice is not installed")
def test_libreoffice_reads_the_same_numbers(folder, tmp_path):
    office = shutil.which("soffice") or shutil.which("libreoffice")
    subprocess.run([office, "--headless", f"-env:UserInstallation=file://{tmp_path}/profile", "--convert-to",
                    "xlsx:Calc MS Excel 2007 XML", "--outdir", str(tmp_path), str(folder / "workbook.xlsx")],
                   check=True, capture_output=True, timeout=180)  # fmt: skip
    ours = openpyxl.load_workbook(folder / "workbook.xlsx", data_only=True)
    theirs = openpyxl.load_workbook(tmp_path / "workbook.xlsx", data_only=True)
    assert ours.sheetnames == theirs.sheetnames
    for name in ours.sheetnames:
        for mine, other in zip(ours[name].values, theirs[name].values, strict=False):
            for a, b in zip(mine, other, strict=False):
                assert a == b or (isinstance(a, float | int) and b == pytest.approx(a, rel=1e-9)), (name, a, b)
