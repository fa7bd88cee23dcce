"""What the place, the name and the other columns of a table tell of its columns. All wells are invented."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from proposal_wells import ROWS, quantities, texts

from pipeline import schema
from pipeline.ingest.proposal.assemble import assemble
from pipeline.ingest.proposal.calibration import chance_of
from pipeline.ingest.proposal.model import Guess
from pipeline.ingest.proposal.place import Context, of_headers, of_names, of_point
from pipeline.ingest.proposal.score import guess_table
from pipeline.ingest.proposal.unknown import Unknown

RNG = np.random.default_rng(11)
CODES = [f"ZK-{n}" for n in RNG.choice(9000, ROWS, replace=False)]


def _read(columns: dict[str, Any], context: Context | None = None) -> dict[str, Guess]:
    frame = pd.DataFrame({h: list(map(str, cells)) for h, cells in columns.items()}, dtype="str")
    return {g.header: g for g in guess_table(tuple(columns), frame, None, None, context)}


def _wells(metric: bool, place: tuple[float, float] | None = None, **columns: str) -> dict[str, Any]:
    wells = quantities(metric, 3, place)
    return {header.replace("_", " "): texts(recipe, wells) for header, recipe in columns.items()}


def _pick(*values: str) -> list[str]:
    return list(RNG.choice(values, ROWS))


def test_units_follow_the_united_states_where_values_fit() -> None:
    found = _read(_wells(False, (39.1, -98.2), Bore_Tag="id", Latitude="lat", Longitude="lon", Finished_Depth="done ft",
                         Rest_Level="static ft", Discharge="flow gpm", Casing_Dia="bore in"))  # fmt: skip
    units = {h: g.unit for h, g in found.items() if g.sure and g.unit}
    assert units == {"Latitude": "deg", "Longitude": "deg", "Finished Depth": "ft", "Rest Level": "ft",
                     "Discharge": "gpm", "Casing Dia": "in"}  # fmt: skip


def test_units_follow_a_metric_country_for_depths_and_not_for_yields() -> None:
    found = _read(_wells(True, (-13.9, 33.6), Hole_Ref="id", Latitude="lat", Longitude="lon", Drilled_Depth="hole m",
                         Rest_Level="static m", Discharge="flow m3/h"))  # fmt: skip
    assert (found["Drilled Depth"].unit, found["Rest Level"].unit) == ("m", "m")
    assert found["Drilled Depth"].sure and found["Rest Level"].sure and not found["Discharge"].sure


@pytest.mark.parametrize("against", ["grid", "size", "sister"])
def test_what_speaks_against_the_unit_of_the_place_stops_it(against: str) -> None:
    columns = _wells(False, (39.1, -98.2), Latitude="lat", Longitude="lon")
    depth = quantities(False, 3)["done"]
    if against == "grid":
        columns["Finished Depth"] = [f"{d:.2f}" for d in depth]
    elif against == "size":
        columns["Finished Depth"] = [f"{d / 3:.0f}" for d in depth]
    else:
        columns |= {"Finished Depth": [f"{d + 3:.0f}" for d in depth], "Screen Length (m)": _pick("6", "8", "9")}
    found = _read(columns)["Finished Depth"]
    assert not (found.sure and found.unit == "ft")
    assert found.sure or found.unit_score <= 0.95


def test_a_unit_that_is_asked_about_is_not_called_certain() -> None:
    found = _read(_wells(False, (43.1, -80.9), Latitude="lat", Longitude="lon", Well_Depth="done ft", Yield_GPM="flow gpm"))
    assert found["Well Depth"].why_not and found["Well Depth"].unit_score <= 0.9
    assert "imperial" in found["Yield GPM"].why_not


@pytest.mark.parametrize(("point", "custom"), [
    ((42.98, -81.25), "mixed"), ((45.5, -73.6), "mixed"), ((46.5, -66.2), "mixed"), ((48.45, -123.5), "mixed"),
    ((48.4, -89.3), "mixed"), ((50.9, -114.0), "mixed"), ((42.28, -84.4), "us"), ((44.9, -93.2), "us"),
    ((47.6, -117.4), "us"), ((43.0, -76.1), "us"), ((35.7, -78.6), "us"), ((31.0, -97.5), "us"), ((33.5, -112.0), "us"),
    ((28.6, -106.1), "metric"), ((25.6, -100.3), "metric"), ((19.4, -99.1), "metric"),
])  # fmt: skip
def test_points_near_the_borders_of_the_united_states(point: tuple[float, float], custom: str) -> None:
    """Towns inland of each border, read off an atlas from memory."""
    assert of_point(*point).length == custom


def test_abbreviated_states_settle_the_place_unless_two_countries_share_them() -> None:
    assert of_names(["KS", "OK", "NE"]).length == "us"
    assert of_names(["NSW", "QLD", "VIC"]).length == "metric"
    assert of_names(["WA"]).length == "mixed"
    assert of_names(["WA"], by_county=True).length == "us"
    assert of_names(["XQ", "ZZ"]).length == "unknown"


def test_the_land_survey_beside_counties_tells_the_place() -> None:
    assert of_headers(["COUNTY", "TWP", "RNG", "SECT", "Depth"]).length == "us"
    assert of_headers(["County", "Twp", "Rng", "Sec", "LSD"]).length == "unknown"
    assert of_headers(["County", "Range of test"]).length == "unknown"


@pytest.mark.parametrize("header", ["REG_CODE", "Driller Log Num", "Pozo Punto", "Ticket Job No."])
def test_codes_that_all_differ_are_the_id_where_no_other_is(header: str) -> None:
    found = _read({header: CODES} | _wells(True, Remark="text", Total_Depth_m="done m"))
    assert found[header].field == "well_id" and found[header].sure


def test_constants_prose_and_samples_are_no_ids() -> None:
    found = _read({"TOC": ["AB"] * ROWS, "Notes": [f"clay from {n} on" for n in range(ROWS)], "Sample No": CODES}
                  | _wells(True, Total_Depth_m="done m"))  # fmt: skip
    assert not any(g.field == "well_id" and g.sure for g in found.values())


def test_the_id_of_an_activity_stands_back_behind_that_of_the_place() -> None:
    sites = [f"Q{n % 50}" for n in range(ROWS)]
    found = _read({"Activity ID": CODES, "Monitoring Site Identifier": sites} | _wells(True, Water_Depth_m="static m"))
    assert found["Monitoring Site Identifier"].field == "well_id" and found["Activity ID"].field != "well_id"


def test_of_two_columns_of_use_the_one_that_is_spelled_out_is_read() -> None:
    found = _read({"Use Cd": _pick("D", "R", "S"), "Use Text": _pick("Household", "Irrigation", "Livestock")}
                  | _wells(True, Total_Depth_m="done m"))  # fmt: skip
    assert found["Use Text"].field == "use_code" and found["Use Text"].sure and not found["Use Cd"].sure


def _unknown(name: str, columns: dict[str, Any]) -> Unknown:
    frame = pd.DataFrame({h: list(map(str, cells)) for h, cells in columns.items()}, dtype="str")
    return Unknown(name, tuple(columns), frame, None, len(frame), True, lambda names: frame[names], [name])


def test_the_names_of_tables_tell_what_their_bare_columns_are() -> None:
    wells = quantities(True, 4, (-30.4, 150.1))
    number = [str(n) for n in wells["id"]]
    twice = number + number[:90]
    top = RNG.uniform(20, 40, len(twice)).round()

    def part(name: str, **columns: Any) -> Unknown:
        return _unknown(name, {"Bore_Num": twice} | columns)

    days = [f"2004-{n % 12 + 1:02d}-11" for n in range(len(twice))]
    main = _unknown("register.csv", {"Bore_Num": number, "Drilled_m": texts("hole m", wells)})
    out = assemble([
        main, part("perforated_screens.csv", START_DEPTH=top, END_DEPTH=top + 6),
        part("lithology log.csv", START_DEPTH=top - 5, END_DEPTH=top),
        part("book.xlsx: Water levels", Measured_on=days, Measure=(top / 3).round(1)),
        part("pumping test.csv", Yield_Ls=RNG.uniform(0.4, 3, len(twice)).round(1), Hrs=RNG.choice(["2", "8"], len(twice))),
    ], [])  # fmt: skip
    (source,) = out.sources
    read = {(t.name, g.header): g.field for t in source.proposal.tables for g in t.guesses if g.field_score >= 0.5}
    assert read["perforated_screens", "START_DEPTH"] == "depth_screen_top_m"
    assert read["perforated_screens", "END_DEPTH"] == "depth_screen_bottom_m"
    assert read["water_levels", "Measure"] == "depth_static_m"
    assert read["pumping_test", "Hrs"] == "duration_test_s"
    assert [profile.name for profile, _ in out.aside] == ["lithology log.csv"]


@pytest.mark.parametrize(("question", "field", "unit"), [
    ("How deep is the borehole, in metres?", "depth_drilled_m", "m"),
    ("What was the tested yield in litres per minute?", "flow_tested_m3_per_s", "L/min"),
    ("Quelle est la profondeur du forage (m) ?", "depth_drilled_m", "m"),
    ("How many persons use this well?", "people_served_count", ""),
])  # fmt: skip
def test_questions_serve_as_headers(question: str, field: str, unit: str) -> None:
    recipe = {"depth_drilled_m": "hole m", "flow_tested_m3_per_s": "flow l/min", "people_served_count": "people"}[field]
    found = _read({"Well code": CODES, question: texts(recipe, quantities(True, 5))})[question]
    assert (found.field, found.unit) == (field, unit) and found.sure


def test_a_rare_unit_is_believed_where_values_are_possible_in_it() -> None:
    found = _read({"Well code": CODES, "Casing Dia cm": _pick("10", "12.5", "15", "20", "25")})["Casing Dia cm"]
    assert (found.field, found.unit, found.sure) == ("diameter_casing_inside_m", "cm", True)


def test_the_only_date_of_a_list_of_wells_is_its_completion() -> None:
    columns = {"Ticket No": CODES, "Date": texts("day mdy", quantities(False, 6)), "Client": _pick("Oda", "Merit")}
    built = _read(columns | _wells(False, Well_Depth_ft="done ft"))["Date"]
    assert built.field == "completed_date" and built.sure
    seen = _read(columns | _wells(False, Well_Depth_ft="done ft", Sampled="yes"))["Date"]
    assert not (seen.field == "completed_date" and seen.sure)


def test_fractions_pipes_and_pumps_are_told_by_cells() -> None:
    found = _read({"Well code": CODES, "Motor HP": _pick("1/2", "3/4", "1 1/2", "2"), "Pipe": _pick("poly", "PVC", "galv"),
                   "Equipment": _pick("Hand pump", "Submersible", "None"), "Casing": _pick("PVC", "galv")})  # fmt: skip
    assert found["Motor HP"].field == "power_motor_w" and found["Motor HP"].sure
    assert found["Pipe"].field == "material_drop_pipe_code" and found["Equipment"].field == "pump_kind_code"
    assert found["Casing"].field != "material_drop_pipe_code"


def test_levels_at_the_end_of_a_test_are_pumping_levels_and_those_of_recovery_are_not() -> None:
    found = _read({"Well code": CODES} | _wells(True, Static_level_m="static m", Final_level_after_pumping_m="pumping m",
                                                Recovered_level_m="static m", Total_depth_m="done m"))  # fmt: skip
    assert found["Final level after pumping m"].field == "depth_pumping_m"
    assert found["Final level after pumping m"].sure and found["Static level m"].sure
    assert not found["Recovered level m"].sure


def test_one_column_of_units_serves_all_columns_of_its_kind() -> None:
    found = _read({"Well code": CODES} | _wells(False, Rest_Level="static ft", Well_Depth="done ft", Colour="text",
                                                Dynamic_Level="pumping ft")
                  | {"WATER_TEMP": _pick("11", "13"), "DEPTH_LEVEL_UOM": ["FT"] * ROWS})  # fmt: skip
    for header in ("Rest Level", "Well Depth", "Dynamic Level"):
        assert (found[header].unit_from, found[header].unit, found[header].sure) == ("DEPTH_LEVEL_UOM", "ft", True)
    assert not found["WATER_TEMP"].unit_from


def test_symbols_of_elements_lend_their_letters_to_nothing() -> None:
    values = [f"{v:.2f}" for v in RNG.lognormal(1, 0.5, ROWS)]
    found = _read({"Sample": CODES, "Na": values, "Mg": values, "Nd": values, "La": values, "Lu": values, "column_m": values})
    assert not any(g.field for h, g in found.items() if h in ("Nd", "La", "Lu", "column_m"))
    alone = _read({"Well code": CODES, "ND (m)": values, "NE (m)": values})
    assert alone["NE (m)"].field == "depth_static_m"


def test_a_water_column_is_no_pipe_and_a_pump_column_is() -> None:
    values = texts("pipe m", quantities(True, 8))
    found = _read({"Well code": CODES, "Column (m)": values, "Pump column length (m)": values})
    assert found["Column (m)"].field != "length_drop_pipe_m"
    assert found["Pump column length (m)"].field == "length_drop_pipe_m"


def test_data_scores_become_chances_that_rise_with_the_evidence() -> None:
    rows = schema.rows("score_map")
    assert {(r["kind"], r["state"]) for r in rows} == {(k, s) for k in ("code", "written", "inferred") for s in ("read", "asked")}
    for row in rows:
        assert float(row["slope"]) >= 0 and int(row["right"]) <= int(row["guesses"])
        if float(row["slope"]) == 0:
            share = (int(row["right"]) + 1) / (int(row["guesses"]) + 2)
            assert 1 / (1 + np.exp(-float(row["offset"]))) == pytest.approx(share, abs=1e-3)


def test_a_guess_that_is_read_has_the_higher_chance_than_the_same_that_is_asked_about() -> None:
    for kind in ("inferred", "written"):
        read = Guess("Depth", "depth_static_m", "ft", 0.97, unit_written=kind == "written")
        asked = Guess("Depth", "depth_static_m", "ft", 0.97, why_not="no unit is written", unit_written=kind == "written")
        assert chance_of(read) > 0.97 > chance_of(asked)


def test_intervals_of_a_table_of_holes_end_at_the_drilled_depth() -> None:
    ends = [f"{d:.0f}" for d in quantities(False, 3)["done"]]
    columns = {"Ref No": CODES, "From Ft": ["0"] * ROWS, "To Ft": ends, "Hole Dia": _pick("8", "9.875")}
    found = _read(columns, Context(table="DrillHoles.csv"))
    assert (found["To Ft"].field, found["To Ft"].unit, found["To Ft"].sure) == ("depth_drilled_m", "ft", True)
    # how wide it was drilled is not how wide the casing is, and its upper end is nothing
    assert not found["Hole Dia"].sure and not found["From Ft"].sure
    # without a name that says so, and in a table of layers, an interval's end is no depth of a well
    for name in ("Extract.csv", "Hole lithology.csv"):
        again = _read(columns, Context(table=name))["To Ft"]
        assert not (again.sure and again.field == "depth_drilled_m"), name
