"""Units: words met in open records, what tells a unit that is not written, and unit columns."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from proposal_wells import table

from pipeline import schema
from pipeline.ingest.header_words import unit_of
from pipeline.ingest.proposal.concepts import parse
from pipeline.ingest.proposal.place import Context, of_names, of_point
from pipeline.ingest.proposal.score import guess_table
from pipeline.units import line, registry, spelled

RECORDS = Path(__file__).resolve().parents[3] / "shared" / "records"
# unit words as they stand in headers, unit columns, units rows and dictionaries of open records
MET = (
    "ft", "feet", "ft-bgl", "ft-btoc", "ft-asl", "ft-agl", "inches", "in", "m", "mbgl", "metres", "miters", "mm",
    "gpm", "GPM", "usgpm", "USGPM", "L/s", "lps", "liters_per_second", "m3/h", "m^3/hr", "hours", "hrs", "mins",
    "psi", "hp", "mg/l", "mgl", "mg_l", "ug/L", "uS/cm", "uS/cm @25C", "ms_cm", "deg C", "celcius", "deg F", "Decdeg", "km",
)  # fmt: skip
APART = ("NTU", "ppt", "m/s", "m^2/s", "1/m", "std units", "PCU", "cfu/100ml", "mV", "acres", "sq mi", "tons/day", "%")


@pytest.mark.parametrize("word", MET)
def test_data_unit_words_met_in_records_resolve(word: str) -> None:
    unit = unit_of(" ".join(word.replace("@", " at ").replace("_", " ").split()))
    assert unit, word
    registry().Unit(spelled(unit))


def _apart() -> set[str]:
    return {w for row in schema.rows("unit_words_apart") for w in row["words"].split("|")}


@pytest.mark.parametrize("word", APART)
def test_data_other_unit_words_met_in_records_are_declared_not_convertible(word: str) -> None:
    plain = " ".join(re.findall(r"[a-z0-9]+", word.lower().replace("^", "").replace("%", "percent")))
    assert plain in _apart(), plain
    assert not unit_of(plain)


def test_data_no_word_is_both_a_unit_and_none() -> None:
    words = {w for row in schema.rows("unit_words") for w in row["words"].split("|")}
    assert not words & _apart()


def test_data_units_of_choice_measure_what_their_fields_do() -> None:
    shapes = {row["field"]: row["measure"] for row in schema.rows("value_shapes")}
    by_measure: dict[str, list[str]] = {}
    for row in schema.rows("unit_choices"):
        by_measure.setdefault(row["measure"], []).append(row["unit"])
    for name, measure in shapes.items():
        for unit in by_measure[measure]:
            line(unit, schema.fields()[name].unit)


def test_data_rules_of_headers_name_fields_and_concepts() -> None:
    concepts = {row["concept"] for row in schema.rows("header_concepts")}
    made = {"length_unit", "flow_unit", "time_unit", "power_unit", "pressure_unit", "ANY"}
    for row in schema.rows("header_meanings"):
        assert row["field"] in schema.fields()
        named = {c for part in ("needs", "allows", "forbids") for group in row[part].split() for c in group.split("/")}
        assert named <= concepts | made, (row["field"], named - concepts - made)


def test_unit_words_of_dictionaries_resolve_where_the_open_records_lie_beside() -> None:
    path = RECORDS / "ke-kwale-gwchemistry" / "dictionary.csv"
    if not path.is_file():
        pytest.skip("the open records are not beside the checkout")
    with path.open(newline="", encoding="utf-8") as handle:
        words = {row["unit_type"].strip() for row in csv.DictReader(handle)}
    plain = {w: " ".join(re.findall(r"[a-z0-9]+", w.lower().replace("%", "percent").replace("‰", "per mille"))) for w in words}
    unknown = {w for w in words if w and w.lower() != "na" and not unit_of(w) and plain[w] not in _apart()}
    assert not unknown


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("Depth (ft)", "ft"), ("swl_m", "m"), ("Yield [m³/h]", "m**3/h"), ("well_yield_(m^3/hr)", "m**3/h"), ("YIELD_GPM", "gpm"),
        ("discharge in litres per second", "L/s"), ("static level ft bgl", "ft"), ("Casing size in", "in"), ("Hours pumped", "hour"),
        ("depth in m below ground", "m"), ("conductivity (µS/cm)", "uS/cm"), ("yield (imp gpm)", "imp gpm"), ("Depth", ""),
        ("min depth", ""), ("in use", ""), ("EC_uS_cm", "uS/cm"), ("Profundidad (metros)", "m"), ("temp °F", "degF"),
    ],
)  # fmt: skip
def test_units_written_in_headers(header: str, unit: str) -> None:
    assert parse(header).unit == unit


def _depths(unit: str, metric: bool, place: tuple[float, float] | None, context: Context | None = None) -> dict[str, object]:
    rows = [("id", "id"), ("well depth", f"done {unit}"), ("static level", f"static {unit}"), ("lat", "lat"), ("lon", "lon")]
    headers, sample = table(rows if place else rows[:3], metric, 5, place)
    return {g.header: g for g in guess_table(headers, sample, None, {}, context or Context())}


def test_feet_in_the_united_states_and_metres_elsewhere_are_told_by_place_and_round_numbers() -> None:
    here = _depths("ft", False, (43.0, -93.0))["well depth"]
    there = _depths("m", True, (-14.0, 34.0))["well depth"]
    assert here.unit == "ft" and here.sure and there.unit == "m"  # type: ignore[attr-defined]
    assert any(e.kind == "place" for e in here.evidence)  # type: ignore[attr-defined]


def test_without_a_place_an_unwritten_unit_is_asked_about() -> None:
    found = _depths("ft", False, None)["well depth"]
    assert found.field == "depth_completed_m" and not found.sure  # type: ignore[attr-defined]


def test_places_named_outside_the_table_count() -> None:
    found = _depths("ft", False, None, Context(areas=("Minnesota",)))["well depth"]
    assert found.unit == "ft" and found.unit_score > 0.97  # type: ignore[attr-defined]


def test_reference_customs_of_places() -> None:
    # NIST Handbook 44 for the United States, the metric system elsewhere; Canadian well records in feet: common practice
    assert of_point(43.0, -93.0).length == "us" and of_point(-14.0, 34.0).length == "metric"
    assert of_point(52.0, -110.0).length == "mixed"
    assert of_names(["Ethiopia", "Uganda"]).length == "metric" and of_names(["Nowhere"]).length == "unknown"


def test_a_column_of_units_is_found_for_its_column_and_row_by_row() -> None:
    headers, sample = table([("well_id", "id"), ("depth", "done m"), ("yield", "flow l/s")], True)
    rng = np.random.default_rng(2)
    sample = sample.assign(depth_unit=rng.choice(["m", "mbgl", "ft"], len(sample)), yield_uom="l/s")
    found = {g.header: g for g in guess_table((*headers, "depth_unit", "yield_uom"), sample)}
    assert (found["depth"].unit_from, found["yield"].unit_from) == ("depth_unit", "yield_uom")
    assert not found["depth_unit"].sure and not found["yield_uom"].sure


def test_units_in_cells_count() -> None:
    headers, sample = table([("well_id", "id"), ("depth", "done ft")], False)
    sample["depth"] = sample["depth"] + " ft"
    found = {g.header: g for g in guess_table(headers, sample)}
    assert found["depth"].unit == "ft" and found["depth"].sure


def test_a_row_of_units_counts() -> None:
    headers, sample = table([("well_id", "id"), ("depth", "done ft"), ("yield", "flow gpm")], False)
    found = {g.header: g for g in guess_table(headers, sample, ["", "(ft)", "gpm"])}
    assert found["depth"].unit == "ft" and found["depth"].sure and found["yield"].unit == "gpm"


def test_a_dictionary_tells_meaning_and_unit_of_coded_headers() -> None:
    headers, sample = table([("V1", "id"), ("V2", "done ft"), ("V3", "static ft"), ("V4", "tape")], False)
    told = {"V2": "Depth of the finished well below ground, in feet", "V3": "Static water level in feet", "V4": "Method of measurement"}
    found = {g.header: g for g in guess_table(headers, sample, None, told)}
    assert (found["V2"].field, found["V2"].unit) == ("depth_completed_m", "ft")
    assert (found["V3"].field, found["V3"].unit) == ("depth_static_m", "ft") and not found["V4"].sure


def test_metres_that_were_feet_show_on_their_grid() -> None:
    headers, sample = table([("well_id", "id"), ("depth", "done ft")], False)
    sample["depth"] = [f"{float(v) * 0.3048:.2f}" for v in sample["depth"]]
    found = {g.header: g for g in guess_table(headers, sample)}
    assert found["depth"].unit == "m" and any(e.kind == "grid" for e in found["depth"].evidence)


@pytest.mark.parametrize(("values", "order", "clear"), [
    (["25/12/2001", "01/02/2003"], "dmy", True), (["12/25/2001", "01/02/2003"], "mdy", True),
    (["01/02/2003", "03/04/2005"], "dmy", False), (["2001-12-25"], "ymd", True), (["20011225", "20030201"], "ymd", True),
    (["1009238400000"], "ymd", True), (["1987", "2001"], "ymd", True), (["25-Dec-2001"], "ymd", True),
])  # fmt: skip
def test_orders_of_dates(values: list[str], order: str, clear: bool) -> None:
    sample = pd.DataFrame({"date completed": values * 20}, dtype="str")
    (found,) = guess_table(("date completed",), sample)
    assert found.field == "completed_date" and found.date_order == order
    assert ("day and month" in found.why_not) == (not clear)


def test_samples_are_the_column_s_own_and_spread() -> None:
    headers, sample = table([("SWL (ft)", "static ft"), ("Well ID", "id")], False)
    found = guess_table(headers, sample)[0]
    assert len(found.samples) == 3 and len({raw for raw, _ in found.samples}) == 3
    assert all(raw in set(sample["SWL (ft)"]) and reading.endswith("ft below ground") for raw, reading in found.samples)


def test_values_veto_what_words_say() -> None:
    headers, sample = table([("Well depth", "text"), ("pH", "done ft"), ("Date drilled", "text"), ("Casing diameter (in)", "north")], False)
    assert not any(g.sure for g in guess_table(headers, sample))


@pytest.mark.parametrize(("text", "name", "code"), [
    ("Uso doméstico", "use", "domestic"), ("Water well - domestic", "use", "domestic"), ("Riego agrícola", "use", "irrigation"),
    ("Domestic and irrigation", "use", ""), ("not domestic", "use", ""), ("Non fonctionnel", "status", ""), ("En panne", "status", "inactive"),
    ("Not functional", "status", "inactive"), ("Pompe à main", "pump_kind", "hand"), ("grey clay", "use", ""), ("Pompe immergée", "pump_kind", "submersible"),
])  # fmt: skip
def test_words_of_codes_in_other_words_and_languages(text: str, name: str, code: str) -> None:
    from pipeline.ingest.proposal.code_words import code_of

    assert code_of(text, name) == code


def test_data_words_of_codes_name_codes_and_no_word_stands_for_two() -> None:
    seen: dict[tuple[str, str], str] = {}
    for row in schema.rows("code_words"):
        assert row["code"] in schema.codes(row["list"])
        for word in row["words"].split("|"):
            assert seen.setdefault((row["list"], word), row["code"]) == row["code"], word


def test_texts_beyond_the_spellings_come_with_their_code() -> None:
    sample = pd.DataFrame({"Uso del agua": ["Uso doméstico", "Riego agrícola", "otro"] * 10}, dtype="str")
    (found,) = guess_table(("Uso del agua",), sample)
    assert found.field == "use_code" and found.sure
    assert found.codes == {"Uso doméstico": "domestic", "Riego agrícola": "irrigation"}
