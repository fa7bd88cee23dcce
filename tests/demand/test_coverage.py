"""Records found against wells that should be there; files of people and their faults."""

import pandas as pd
import pytest

from pipeline import io, schema
from pipeline.demand import coverage, replacement
from pipeline.errors import UsageError
from pipeline.settings import Settings, load

LONG = {"life_well": {"low": 1e6, "base": 1e6, "high": 1e6}}


def cohorts():
    """Invented: 100 household wells in Alder, 50 in Birch; 20 stock wells in Alder."""
    rows = [("Ostmark", "Alder", "domestic", 1980, 1985, 60), ("Ostmark", "Alder", "domestic", 2000, 2005, 40),
            ("Ostmark", "Birch", "domestic", 2000, 2005, 50), ("Ostmark", "Alder", "stock", 2000, 2005, 20)]  # fmt: skip
    out = pd.DataFrame([(*r[:5], "in_use", "", "", r[5] * 1000) for r in rows],
                       columns=[*replacement.KEYS, "wells_milli"])  # fmt: skip
    return out.astype({"completed_decade": "Int64", "start_year": "Int64"})


def with_file(tmp_path, text, **more):
    path = tmp_path / "households.csv"
    path.write_text(text, encoding="utf-8")
    return Settings(draws=4, households=path, practice_overlay=LONG, **more)


HEAD = "region_code,households_with_well,source,year\n"


def test_reference_factor_is_households_over_records(tmp_path):
    # 250 / 100 = 2.5 by hand; 10 / 50 is clipped to 1
    held = with_file(tmp_path, HEAD + 'alder,250,invented count,2020\nBirch,10,invented count,2020\n')
    got = coverage.factors(cohorts(), held, 2023).set_index("region_code")
    assert got["factor"].to_dict() == pytest.approx({"Alder": 2.5, "Birch": 1.0})
    shares = with_file(tmp_path, "region_code,households,share_with_well,source,year\nAlder,5000,0.9,invented,2020\n")
    assert coverage.factors(cohorts(), shares, 2023)["factor"].tolist() == [10.0]  # 45, clipped


def test_a_decade_of_its_own_goes_before_the_region(tmp_path):
    held = with_file(tmp_path, "region_code,completed_decade,households_with_well,source,year\n"
                     "Alder,1980,240,invented,2020\nAlder,,200,invented,2020\n")  # fmt: skip
    found = cohorts()
    got = coverage.of_cohorts(found, found, held, 2023)
    assert got.tolist() == pytest.approx([4.0, 2.0, 1.0, 1.0])


def test_with_and_without_are_two_causes(tmp_path):
    held = with_file(tmp_path, HEAD + "Alder,250,invented count,2020\n")
    plain = replacement.rates(cohorts(), Settings(draws=4, practice_overlay=LONG), "2023-06-01", ())
    more = replacement.rates(cohorts(), held, "2023-06-01", ())
    pd.testing.assert_frame_equal(more[more["cause_code"] == "replaced"].reset_index(drop=True), plain)
    extra = more[more["cause_code"] == "unrecorded"]
    assert set(extra["region_code"]) == {"Alder"} and set(extra["use_code"]) == {"domestic"}
    keys = ["region_code", "use_code", "completed_decade", "year", "draw"]
    ratio = extra.set_index(keys)["events_fraction"] / plain.set_index(keys)["events_fraction"]
    assert ratio.min() >= 0 and ratio.median() == pytest.approx(1.5, abs=0.8)
    assert "unrecorded" in schema.codes("cause")


def test_nothing_given_is_said_and_adds_nothing(sample_run):
    found = replacement.cohorts(sample_run, Settings())
    table = coverage.coverage(sample_run, found, Settings(), "2024-12-31")
    assert io.to_arrow("coverage", table).num_rows == len(table) > 0
    assert (table["factor_coverage"] == 1).all() and table["factor_coverage_high"].isna().all()
    assert table["wells_estimated_count_high"].isna().all()
    assert table["detail"].str.startswith("Not known").all()
    assert table["records_count"].sum() == len(io.read_table("wells", sample_run))
    assert table["wells_estimated_count"].equals(table["wells_count"])


def test_given_households_raise_the_estimate_and_nothing_else(sample_run, tmp_path):
    found = replacement.cohorts(sample_run, Settings())
    own = found[(found["use_code"] == "domestic") & found["region_code"].notna()]
    area, region = own.iloc[0]["area_code"], own.iloc[0]["region_code"]
    path = tmp_path / "h.csv"
    path.write_text(f"area_code,region_code,households_with_well,source,year\n{area},{region},100000,invented,2020\n")
    table = coverage.coverage(sample_run, found, Settings(households=path), "2024-12-31")
    one = table[(table["area_code"] == area) & (table["region_code"] == region)].iloc[0]
    assert one["factor_coverage"] == 10.0 and "clipped" in one["detail"]
    want = one["wells_count"] + 9 * one["wells_active_count"]
    assert one["wells_estimated_count"] == pytest.approx(want)
    assert one["wells_estimated_count_low"] < want and one["factor_coverage_high"] == 10.0
    rest = table.drop(index=one.name)
    assert (rest["factor_coverage"] == 1).all()


@pytest.mark.parametrize(("text", "told"), [
    ("region_code,year\nAlder,2020\n", "column source, households_with_well .* is missing"),
    (HEAD + "Alder,many,x,2020\n", "line 2: households_with_well 'many' is no number of nought or more"),
    (HEAD + "Alder,-5,x,2020\n", "line 2: households_with_well '-5'"),
    (HEAD + "Alder,5,,2020\n", "line 2: source is empty"),
    (HEAD + "Alder,5,x,20\n", "line 2: year '20' is no year"),
    (HEAD + "Alder,5,x,2020\nalder,6,x,2020\n", "line 3: 'alder' stands twice"),
    (HEAD + "Nowhere,5,x,2020\n", "'Nowhere' is no region of these records"),
    ("region_code,households,share_with_well,source,year\nAlder,5,1.5,x,2020\n", "from 0 to 1"),
    ("", "no rows"),
])  # fmt: skip
def test_faults_of_the_file_are_told(tmp_path, text, told):
    with pytest.raises(UsageError, match=told):
        coverage.factors(cohorts(), with_file(tmp_path, text), 2023)


def test_a_region_name_of_two_areas_asks_for_the_area(tmp_path):
    found = pd.concat([cohorts(), cohorts().assign(area_code="Westmark")])
    with pytest.raises(UsageError, match="several areas; add the column area_code"):
        coverage.factors(found, with_file(tmp_path, HEAD + "Alder,5,x,2020\n"), 2023)


def test_settings_name_the_file(tmp_path):
    (tmp_path / "s.toml").write_text('households = "h.csv"\n')
    with pytest.raises(UsageError, match="no such file of households"):
        load(tmp_path / "s.toml")
    (tmp_path / "h.csv").write_text(HEAD)
    assert load(tmp_path / "s.toml").households == (tmp_path / "h.csv").resolve()
