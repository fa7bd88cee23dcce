"""Invented registries of many countries and manners: what is used without asking is right, and most is used."""

from __future__ import annotations

import pytest
from proposal_wells import table

from pipeline.ingest.proposal.model import DECIDING
from pipeline.ingest.proposal.score import guess_table

ID, DAY, USE, KIND = "well_id", "completed_date", "use_code", "pump_kind_code"
HOLE, DEEP, WATER, PUMPED = "depth_drilled_m", "depth_completed_m", "depth_static_m", "depth_pumping_m"
PUMP, YIELD, BORE, PIPE = "depth_pump_m", "flow_tested_m3_per_s", "diameter_casing_inside_m", "length_drop_pipe_m"
TOP, BOTTOM, CASED, ROCK = "depth_screen_top_m", "depth_screen_bottom_m", "depth_casing_bottom_m", "depth_bedrock_m"
LAT, LON, GROUND, FALL = "latitude_deg", "longitude_deg", "elevation_ground_m", "drawdown_test_m"
# table: metric?, columns of (header, recipe, field, unit); a field in brackets may be asked about, "" must not be used
Row = tuple[str, str, str, str]
TABLES: dict[str, tuple[bool, list[Row]]] = {
    "prairie_state": (False, [
        ("WELL_LOG_ID", "id", ID, ""), ("COUNTY_NAME", "county", "region_code", ""), ("DATE_COMPLETED", "day mdy", DAY, ""),
        ("TOTAL_DEPTH", "hole ft", f"({DEEP})", "ft"), ("STATIC_WATER_LEVEL", "static ft", f"({WATER})", "ft"),
        ("TEST_YIELD_GPM", "flow gpm", YIELD, "gpm"), ("CASING_DIAMETER_IN", "bore in", BORE, "in"),
        ("WELL_USE", "use", USE, ""), ("LATITUDE_DD", "lat", LAT, ""), ("LONGITUDE_DD", "lon", LON, ""),
        ("LL_METHOD", "tape", "", ""), ("DRILLER_NAME", "person", "", ""), ("OWNER_LICENSE_NO", "row", "", "")]),
    "lake_state": (False, [
        ("WELLID", "id", ID, ""), ("WELL_DEPTH", "done ft", DEEP, "ft"), ("WELL_TYPE", "use", f"({USE})", ""),
        ("CASE_DIA", "bore in", BORE, "in"), ("CASE_DEPTH", "casing ft", CASED, "ft"), ("SWL", "static ft", WATER, "ft"),
        ("PMP_RATE", "flow gpm", f"({YIELD})", "gpm"), ("TEST_HOURS", "time h", "duration_test_s", "hour"),
        ("LATITUDE", "lat", LAT, ""), ("LONGITUDE", "lon", LON, ""), ("ELEV_ACC", "error ft", "", "")]),
    "mountain_state": (False, [
        ("PermitNumber", "id", f"({ID})", ""), ("DepthTotal", "done ft", DEEP, "ft"), ("TopPerfCasing", "top ft", TOP, "ft"),
        ("BottomPerfCasing", "bottom ft", BOTTOM, "ft"), ("StaticLevel", "static ft", WATER, "ft"),
        ("PumpingLevelFt", "pumping ft", PUMPED, "ft"), ("YieldGPM", "flow gpm", YIELD, "gpm"),
        ("Latdecdeg", "lat", LAT, ""), ("Longdecdeg", "lon", LON, ""), ("WellConstructedDate", "day ymd", DAY, "")]),
    "dbf_of_a_state": (False, [
        ("WELLNUMBER", "id", ID, ""), ("DEPTHDRILL", "hole ft", HOLE, "ft"), ("COMPLDEPTH", "done ft", DEEP, "ft"),
        ("STATICWATE", "static ft", WATER, "ft"), ("PUMPDEPTH_", "pump ft", PUMP, "ft"), ("CASINGDIAM", "bore in", BORE, "in"),
        ("BEDROCKDEP", "bedrock ft", ROCK, "ft"), ("YIELD_GPM", "flow gpm", YIELD, "gpm"), ("LATITUDE", "lat", LAT, ""),
        ("LONGITUDE", "lon", LON, ""), ("COMPLDATE", "day mdy", DAY, ""), ("WATERLEV_M", "tape", "", "")]),
    "suffix_codes": (False, [
        ("site_no", "id", ID, ""), ("well_depth_va", "done ft", DEEP, "ft"), ("hole_depth_va", "hole ft", HOLE, "ft"),
        ("lev_va", "static ft", f"({WATER})", "ft"), ("lev_dt", "later ymd", "(event_date)", ""), ("lev_meth_cd", "tape", "", ""),
        ("lev_acy_cd", "error ft", "", ""), ("alt_va", "ground ft", f"({GROUND})", "ft"), ("alt_acy_va", "error ft", "", ""),
        ("dec_lat_va", "lat", LAT, ""), ("dec_long_va", "lon", LON, "")]),
    "traps_in_feet": (False, [
        ("Well No", "id", ID, ""), ("Finished Depth (ft)", "done ft", DEEP, "ft"), ("Total Depth Drilled (ft)", "hole ft", HOLE, "ft"),
        ("Depth to Bedrock (ft)", "bedrock ft", ROCK, "ft"), ("Water Level Elevation (ft)", "water ft", "", ""),
        ("Elevation of water level (ft)", "water ft", "", ""), ("Screen length (ft)", "screen ft", "", ""),
        ("Casing wall (in)", "wall in", "", ""), ("Well depth accuracy (ft)", "error ft", "", ""),
        ("Pump rating", "power hp", "", ""), ("Depth to water date", "later mdy", "", ""), ("Water level method", "tape", "", ""),
        ("Pump test date", "later mdy", "(event_date)", ""), ("Depth to water (ft)", "static ft", WATER, "ft"),
        ("Distance to septic (ft)", "casing ft", "", ""), ("Grout depth (ft)", "bedrock ft", "", ""),
        ("Specific capacity (gpm/ft)", "capacity", "", ""), ("Yield source", "tape", "", "")]),
    "ngo_survey": (True, [
        ("1. Borehole number", "id", ID, ""), ("2. District", "county", "region_code", ""),
        ("3. Depth of the borehole (m)", "hole m", HOLE, "m"), ("4. Static water level (m)", "static m", WATER, "m"),
        ("5. Dynamic water level (m)", "pumping m", PUMPED, "m"), ("6. Pump installation depth (m)", "pump m", PUMP, "m"),
        ("7. Yield (m3/hr)", "flow m3/h", YIELD, "m**3/h"), ("8. Number of people served", "people", "people_served_count", ""),
        ("9. Is the pump working?", "yes", "(status_code)", ""), ("10. Date of construction", "day dmy", DAY, ""),
        ("11. Distance to nearest latrine (m)", "casing m", "", ""), ("12. Name of caretaker", "person", "", ""),
        ("_GPS_latitude", "lat", LAT, ""), ("_GPS_longitude", "lon", LON, ""), ("_GPS_precision", "error m", "", "")]),
    "water_committee": (True, [
        ("WP_ID", "id", ID, ""), ("Pump type", "kind", KIND, ""), ("Cylinder depth (m)", "pump m", PUMP, "m"),
        ("Riser pipe material", "material", "material_drop_pipe_code", ""), ("Length of rising main (m)", "pipe m", PIPE, "m"),
        ("Depth (m)", "done m", DEEP, "m"), ("SWL (m)", "static m", WATER, "m"), ("Functionality", "state", "status_code", ""),
        ("Monthly fee paid", "people", "", ""), ("Households", "people", "", "")]),
    "brackets": (True, [
        ("Bore No.", "id", ID, ""), ("Drilled Depth [m]", "hole m", HOLE, "m"), ("Casing ID [mm]", "bore mm", BORE, "mm"),
        ("SWL [mbgl]", "static m", WATER, "m"), ("PWL [mbgl]", "pumping m", PUMPED, "m"), ("Q [L/s]", "flow l/s", YIELD, "L/s"),
        ("EC [uS/cm]", "ec", "conductivity_us_per_cm", "uS/cm"), ("pH", "ph", "acidity_ph", ""), ("RL [mAHD]", "ground m", f"({GROUND})", "m"),
        ("Slot aperture [mm]", "wall mm", "", "")]),
    "southern_continent": (True, [
        ("RegisteredNumber", "id", ID, ""), ("BoreDepth", "done m", "", ""), ("DrilledDepth", "hole m", f"({HOLE})", "m"),
        ("StandingWaterLevel", "static m", f"({WATER})", "m"), ("DrilledDate", "day dmy", DAY, ""), ("Yield_Lps", "flow l/s", YIELD, "L/s"),
        ("Purpose", "use", USE, ""), ("Latitude", "lat", LAT, ""), ("Longitude", "lon", LON, ""), ("WaterQualityRemark", "text", "", "")]),
    "spanish": (True, [
        ("Clave del pozo", "id", ID, ""), ("Municipio", "county", "region_code", ""), ("Profundidad total (m)", "done m", DEEP, "m"),
        ("Nivel estático (m)", "static m", WATER, "m"), ("Nivel dinámico (m)", "pumping m", PUMPED, "m"),
        ("Caudal (l/s)", "flow l/s", YIELD, "L/s"), ("Diámetro del ademe (pulgadas)", "bore in", BORE, "in"),
        ("Profundidad de la bomba (m)", "pump m", PUMP, "m"), ("Uso del agua", "text", f"({USE})", ""), ("Observaciones", "text", "", "")]),
    "french": (True, [
        ("N° du forage", "id", ID, ""), ("Profondeur forée (m)", "hole m", HOLE, "m"), ("Profondeur équipée (m)", "done m", DEEP, "m"),
        ("Niveau statique (m)", "static m", WATER, "m"), ("Niveau dynamique (m)", "pumping m", PUMPED, "m"),
        ("Débit (m3/h)", "flow m3/h", YIELD, "m**3/h"), ("Diamètre tubage (mm)", "bore mm", BORE, "mm"),
        ("Haut crépine (m)", "top m", TOP, "m"), ("Bas crépine (m)", "bottom m", BOTTOM, "m"), ("Entreprise", "person", "", "")]),
    "portuguese": (True, [
        ("Código do poço", "id", ID, ""), ("Profundidade perfurada (m)", "hole m", HOLE, "m"), ("Nível estático (m)", "static m", WATER, "m"),
        ("Nível dinâmico (m)", "pumping m", PUMPED, "m"), ("Vazão (m3/h)", "flow m3/h", YIELD, "m**3/h"),
        ("Latitude", "lat", LAT, ""), ("Longitude", "lon", LON, "")]),
    "german": (True, [
        ("Brunnen-Nr.", "id", ID, ""), ("Bohrtiefe (m)", "hole m", HOLE, "m"), ("Ausbautiefe (m)", "done m", DEEP, "m"),
        ("Ruhewasserspiegel (m)", "static m", WATER, "m"), ("Filteroberkante (m)", "top m", TOP, "m"),
        ("Filterunterkante (m)", "bottom m", BOTTOM, "m"), ("Pumpeneinbautiefe (m)", "pump m", PUMP, "m"), ("Bemerkung", "text", "", "")]),
    "dutch": (True, [
        ("Putnummer", "id", f"({ID})", ""), ("Diepte put (m)", "done m", DEEP, "m"), ("Debiet (m3/h)", "flow m3/h", YIELD, "m**3/h"),
        ("Bovenkant filter (m)", "top m", TOP, "m"), ("Onderkant filter (m)", "bottom m", BOTTOM, "m"), ("Opmerking", "text", "", "")]),
    "owner_sheet": (False, [
        ("Tag #", "id", ID, ""), ("Well depth ft", "done ft", DEEP, "ft"), ("Water level ft", "static ft", WATER, "ft"),
        ("Pump set at ft", "pump ft", PUMP, "ft"), ("GPM", "flow gpm", f"({YIELD})", "gpm"), ("HP", "power hp", "power_motor_w", "hp"),
        ("Casing size in", "bore in", BORE, "in"), ("Notes", "text", "", ""), ("Invoice", "row", "", "")]),
    "camel_case": (False, [
        ("wellTagNumber", "id", ID, ""), ("finishedWellDepthFt", "done ft", DEEP, "ft"), ("staticWaterLevelFt", "static ft", WATER, "ft"),
        ("pumpIntakeDepthFt", "pump ft", PUMP, "ft"), ("dropPipeLengthFt", "pipe ft", PIPE, "ft"), ("casingDiameterIn", "bore in", BORE, "in"),
        ("wellYieldUsgpm", "flow gpm", YIELD, "gpm"), ("yieldMethodCode", "method", "test_method_code", ""),
        ("constructionEndDate", "day ymd", DAY, ""), ("waterLevelRemark", "text", "", "")]),
    "screens": (False, [
        ("Well Tag", "id", ID, ""), ("Screen From (ft)", "top ft", TOP, "ft"), ("Screen To (ft)", "bottom ft", BOTTOM, "ft"),
        ("Slot Size", "wall in", "", ""), ("Screen Diameter (in)", "bore in", "", "")]),
    "cut_screens": (False, [
        ("WELL_ID", "id", ID, ""), ("TOP_SCREEN", "top ft", f"({TOP})", "ft"), ("BOT_SCREEN", "bottom ft", f"({BOTTOM})", "ft"),
        ("SCREEN_LEN", "screen ft", "", ""), ("SCREEN_MAT", "material", "", "")]),
    "no_coordinates_no_units": (True, [
        ("Borehole", "id", f"({ID})", ""), ("Depth", "done m", f"({DEEP})", ""), ("Static level", "static m", f"({WATER})", ""),
        ("Discharge", "flow m3/h", f"({YIELD})", "")]),
    "imperial_gallons": (True, [
        ("Borehole No", "id", ID, ""), ("Latitude", "lat", LAT, ""), ("Longitude", "lon", LON, ""), ("Depth (ft)", "done ft", DEEP, "ft"),
        ("Yield (gpm)", "flow igpm", f"({YIELD})", "gpm"), ("SWL (ft)", "static ft", WATER, "ft")]),
    "casing_top": (False, [
        ("Well ID", "id", ID, ""), ("Depth (ft)", "done ft", DEEP, "ft"), ("DTW (ft btoc)", "static ft", f"({WATER})", "ft")]),
    "projected": (True, [
        ("BH_ID", "id", ID, ""), ("UTM_E", "east", f"({LON})", ""), ("UTM_N", "north", f"({LAT})", ""), ("Depth_m", "done m", DEEP, "m"),
        ("SWL_m", "static m", WATER, "m"), ("Elev_m", "ground m", GROUND, "m")]),
    "test_drawdowns": (True, [
        ("well_no", "id", ID, ""), ("swl_m", "static m", WATER, "m"), ("drawdown_m", "pumping m", f"({FALL})", "m"),
        ("test_duration_hrs", "time h", "duration_test_s", "hour"), ("depth_m", "done m", DEEP, "m")]),
    "real_drawdowns": (True, [
        ("well_no", "id", ID, ""), ("swl_m", "static m", WATER, "m"), ("drawdown_m", "drawdown m", FALL, "m"), ("depth_m", "done m", DEEP, "m")]),
    "chemistry": (True, [
        ("Sample point code", "id", f"({ID})", ""), ("pH value", "ph", "acidity_ph", ""), ("Chloride (mg/l)", "chloride", "chloride_mg_per_l", "mg/L"),
        ("EC (µS/cm)", "ec", "conductivity_us_per_cm", "uS/cm"), ("Water temperature (°C)", "warmth", "temperature_water_degc", "degC"),
        ("Hardness (mg/l)", "chloride", "", ""), ("Sampling date", "later dmy", "(event_date)", "")]),
    "slips": (True, [
        ("Borehole Nmuber", "id", f"({ID})", ""), ("Total Dpeth (m)", "done m", f"({DEEP})", "m"), ("Static Watter Level (m)", "static m", WATER, "m"),
        ("Latitiude", "lat", LAT, ""), ("Longtitude", "lon", LON, ""), ("Pump Intke Depth (m)", "pump m", f"({PUMP})", "m")]),
    "words_that_turn": (True, [
        ("id", "id", ID, ""), ("yield unit", "text", "", ""), ("pump depth unknown flag", "yes", "", ""), ("number of pumps", "people", "", ""),
        ("depth of water strike (m)", "bedrock m", "", ""), ("depth of gravel pack (m)", "bedrock m", "", ""),
        ("max allowed pumping rate (m3/d)", "flow m3/d", "", ""), ("previous static level (m)", "static m", "", ""),
        ("static level change (m)", "drawdown m", "", ""), ("well depth source", "tape", "", ""), ("depth of well (m)", "done m", DEEP, "m")]),
}  # fmt: skip


def _guesses(name: str) -> tuple[list[Row], dict[str, object]]:
    metric, rows = TABLES[name]
    headers, sample = table([(h, r) for h, r, _, _ in rows], metric, seed=len(name))
    return rows, {g.header: g for g in guess_table(headers, sample)}


@pytest.mark.parametrize("name", TABLES)
def test_what_is_used_without_asking_is_right(name: str) -> None:
    rows, found = _guesses(name)
    for header, _, field, unit in rows:
        guess = found[header]
        if guess.sure:  # type: ignore[attr-defined]
            assert guess.field == field.strip("()"), (header, guess)  # type: ignore[attr-defined]
            assert not unit or guess.unit == unit, (header, guess)  # type: ignore[attr-defined]


def test_most_columns_that_can_be_known_are_used() -> None:
    known = used = 0
    missed = []
    for name in TABLES:
        rows, found = _guesses(name)
        for header, _, field, _ in rows:
            if field and not field.startswith("("):
                known += 1
                used += found[header].sure  # type: ignore[attr-defined]
                if not found[header].sure:  # type: ignore[attr-defined]
                    missed.append((name, header, found[header].field, found[header].why_not))  # type: ignore[attr-defined]
    assert used >= 0.95 * known, (used, known, missed)


def test_traps_are_no_depths_at_all_or_said_to_be_doubtful() -> None:
    for name in TABLES:
        rows, found = _guesses(name)
        for header, _, field, _ in rows:
            if not field:
                assert not (found[header].sure and found[header].field in DECIDING), (name, header)  # type: ignore[attr-defined]


def test_a_drawdown_that_holds_the_pumping_level_is_told_with_evidence() -> None:
    _, found = _guesses("test_drawdowns")
    guess = found["drawdown_m"]
    assert "pumping level" in guess.why_not and "rows" in guess.why_not  # type: ignore[attr-defined]
    assert guess.runner_up == PUMPED  # type: ignore[attr-defined]


def test_gallons_are_asked_about_where_they_may_be_imperial() -> None:
    _, found = _guesses("imperial_gallons")
    assert "imperial" in found["Yield (gpm)"].why_not  # type: ignore[attr-defined]


def test_projected_coordinates_need_a_crs() -> None:
    _, found = _guesses("projected")
    assert "crs" in found["UTM_E"].why_not and "crs" in found["UTM_N"].why_not  # type: ignore[attr-defined]


def test_levels_from_the_casing_top_are_not_used_without_its_height() -> None:
    _, found = _guesses("casing_top")
    assert found["DTW (ft btoc)"].below_casing_top and "casing top" in found["DTW (ft btoc)"].why_not  # type: ignore[attr-defined]


# headers that speak of depths, levels, flows and bores and are none that decide the length of the pipe
DECOYS = (
    "Depth to first water (ft)|bedrock ft", "Max depth to water (ft)|static ft",
    "Highest water level (ft)|static ft", "Planned depth (ft)|done ft", "Proposed pump depth (ft)|pump ft",
    "Permitted depth (ft)|done ft", "Bit diameter (in)|bore in", "Borehole diameter (in)|bore in",
    "Hole diameter (in)|bore in", "Screen diameter (in)|bore in", "Drop pipe diameter (in)|bore in",
    "Pump diameter (in)|bore in", "Casing OD (in)|bore in", "Surface casing depth (ft)|casing ft",
    "Depth of surface seal (ft)|casing ft", "Depth to clay (ft)|bedrock ft", "Sample depth (ft)|static ft",
    "Depth of overburden (ft)|bedrock ft", "Transducer depth (ft)|static ft", "Airline depth (ft)|pump ft",
    "Water level after test (ft)|pumping ft", "Recovery level (ft)|static ft",
    "Level of basement floor (ft)|casing ft", "Stream flow (cfs)|flow gpm", "Spring discharge (gpm)|flow gpm",
    "Annual withdrawal (gpm)|flow gpm", "Permitted rate (gpm)|flow gpm", "Allocated flow (gpm)|flow gpm",
    "Yield increase (gpm)|flow gpm", "Yield of fracture (gpm)|flow gpm", "Depth interval (ft)|screen ft",
    "Depth of liner (ft)|done ft", "Packer depth (ft)|pump ft", "Depth pipe (ft)|pump ft",
    "Old well depth (ft)|done ft", "Depth before deepening (ft)|done ft", "Water column (ft)|screen ft",
    "Saturated thickness (ft)|screen ft", "Height of water in well (ft)|screen ft",
    "Well depth below MSL (ft)|done ft", "Depth of Sump (ft)|done ft", "Distance to well (ft)|casing ft",
    "Tank capacity (gpm)|flow gpm", "Booster pump rate (gpm)|flow gpm", "Pipe size (in)|bore in",
    "Discharge pipe diameter (in)|bore in", "Depth of aquifer (ft)|top ft", "Dry season water level (ft)|static ft",
    "Latrine depth (ft)|static ft", "Pump cylinder diameter (in)|bore in", "Depth uncased (ft)|screen ft",
    "Open hole from (ft)|top ft", "Depth frozen (ft)|static ft", "River level (ft)|static ft",
    "Reservoir level (ft)|static ft", "water level range (ft)|static ft", "depth category|use",
    "Depth_m_rounded|done m", "Number of yields|people", "max drawdown allowed (ft)|drawdown ft",
    "Level switch depth (ft)|pump ft", "Cable length (ft)|pipe ft", "Motor depth (ft)|pump ft",
    "Suction pipe length (ft)|pipe ft",
)  # fmt: skip


@pytest.mark.parametrize("decoy", DECOYS)
def test_what_only_sounds_like_a_depth_a_level_or_a_flow_decides_nothing(decoy: str) -> None:
    header, recipe = decoy.split("|")
    headers, sample = table([("well_id", "id"), (header, recipe)], False, 9)
    found = guess_table(headers, sample)[1]
    assert not (found.sure and found.field in DECIDING), (found.field, found.score)
