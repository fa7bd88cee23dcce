"""The page of one well: every line of the calculation follows from what is printed; same numbers typed or run."""

from __future__ import annotations

import math
import re
from html.parser import HTMLParser

import pytest
from wells import G1

import pipeline
from pipeline import io, schema, sheet
from pipeline.errors import SchemaError
from pipeline.explain_sheet.amounts import sheet_number, to_sheet
from pipeline.explain_sheet.formula import evaluate, names, printed
from pipeline.explain_sheet.plain import page
from pipeline.settings import Settings

DEEP = {"use": "domestic", "depth_completed": "1000 ft", "depth_static": "760 ft", "flow_tested": "15 gpm",
        "depth_pumping": "800 ft", "diameter_casing_inside": "6.065 in", "temperature_water": "60 degF"}  # fmt: skip
WELLS = {
    "coil": G1,
    "threaded plastic": G1 | {"depth_static": "390 ft", "depth_pumping": "440 ft", "depth_completed": "600 ft"},
    "galvanised": DEEP | {"acidity_ph": "7.6", "chloride": "20 mg/L"},
    "stainless": DEEP | {"acidity_ph": "5.9", "chloride": "20 mg/L"},
    "hand pump": {"use": "village", "market": "metric", "pump_kind": "hand", "depth_completed": "50 m",
                  "depth_static": "18 m", "flow_tested": "30 L/min", "depth_pumping": "24 m",
                  "diameter_casing_inside": "110 mm"},
    "recorded": {"use": "domestic", "depth_completed": "320 ft", "depth_static": "95 ft", "flow_duty": "10 gpm",
                 "depth_pump": "200 ft", "length_drop_pipe": "196 ft", "head_shutoff": "420 ft"},
    "head given": {"use": "stock", "depth_pump": "80 m", "head_total_dynamic": "90 m", "flow_duty": "0.4 L/s"},
    "depth only": {"depth_completed": "200 ft"},
    "low yield": {"use": "domestic", "depth_completed": "400 ft", "depth_static": "40 ft", "flow_tested": "1.5 gpm"},
}  # fmt: skip
# what every well with a pipe must show; the others depend on what its record tells
ALWAYS = {"velocity", "reynolds", "running", "allowed", "share_running", "hanging", "pulling", "share_lift"}


@pytest.fixture(scope="module")
def explained():
    return {name: pipeline.explain(values, settings=Settings(draws=4)) for name, values in WELLS.items()}


def half(text: str) -> float:
    """Half a unit in the last place of a printed number."""
    mantissa, _, power = text.partition("e")
    decimals = len(mantissa.partition(".")[2])
    return 0.5 * 10.0 ** (int(power or 0) - decimals)


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("name", WELLS)
def test_every_line_follows_from_what_is_printed(explained, name, units):
    """Only the printed figures are used, as with a pocket calculator; all wells, both systems of units."""
    lines = explained[name]["calculation"]
    assert {line["line_id"] for line in lines} >= ALWAYS
    for line in lines:
        shown = {i["symbol"]: printed(to_sheet(i["value"], i["unit"], units)) for i in line["inputs"]}
        result = printed(to_sheet(line["value"], line["unit"], units))
        values = {symbol: float(text) for symbol, text in shown.items()}
        found = evaluate(line["formula"], values)
        room = half(result) + 1e-6 * abs(float(result)) * (line["symbol"] in ("f", "f_4000"))
        for symbol, text in shown.items():  # what the rounding of each input may move
            room += abs(evaluate(line["formula"], values | {symbol: float(text) + half(text)}) - found)
        assert abs(found - float(result)) <= room * 1.01 + 1e-12, (line["line_id"], found, result)


def test_lines_are_chained_and_agree_with_the_checks(explained):
    for name, content in explained.items():
        lines, wanted = content["calculation"], content["selection"][0]["option_id"]
        chosen = next(o for o in content["options"] if o["option_id"] == wanted)
        by_id = {line["line_id"]: line for line in lines}
        for line in lines:
            for given in line["inputs"]:
                if match := re.fullmatch(r"line (\d+)", given["source"]):
                    other = lines[int(match[1]) - 1]
                    assert other["number"] < line["number"] and other["value"] == given["value"], name
        for check in chosen["checks"]:
            shares = [line["value"] for line in lines if line["check_code"] == check["check"]]
            assert all(share == pytest.approx(check["utilisation"], rel=1e-6) for share in shares)
        assert by_id["running"]["value"] == pytest.approx(content["selection"][0]["pressure_running_pa"], rel=1e-6)


def test_a_full_record_has_a_full_calculation(explained):
    ids = {line["line_id"] for line in explained["coil"]["calculation"]}
    wanted = {"capacity", "drawdown", "pumping_level", "deepest", "setting", "length", "head_before", "friction", "total",
              "surge", "share_surge", "share_dead", "share_pull", "share_lift", "wave"}  # fmt: skip
    assert wanted <= ids
    steel = {line["line_id"] for line in explained["galvanised"]["calculation"]}
    assert {"rating_steel", "pull_steel", "lift_steel", "stress_pump", "stress_hanger", "share_steel"} <= steel


def test_reference_lines_of_a_household_well(explained):
    """Values worked out by hand: SC 0.2 gpm/ft, 50 ft of drawdown, 110 ft and a dry season of 10, 20 ft below: 140."""
    lines = {line["line_id"]: line["value"] for line in explained["coil"]["calculation"]}
    foot = 0.3048
    assert lines["drawdown"] / foot == pytest.approx(50, abs=0.01)
    assert lines["pumping_level"] / foot == pytest.approx(120, abs=0.01)
    assert lines["setting"] / foot == pytest.approx(140, abs=0.01)
    assert lines["length"] / foot == pytest.approx(136, abs=0.01)
    assert lines["velocity"] / foot == pytest.approx(0.4085 * 10 / 1.049**2, rel=1e-3)


def test_the_evaluator_reads_arithmetic_only():
    assert evaluate("2 * x^2 + max(1, 3) - sqrt(4) / log10(100)", {"x": 3.0}) == 20
    assert names("a + min(b, a) * pi") == ["a", "b"]
    for bad in ("__import__('os')", "x.real", "x[0]", "(lambda: 1)()", "open(x)", "x if x else x", "'a'"):
        with pytest.raises(SchemaError):
            evaluate(bad, {"x": 1.0})


def test_data_every_line_of_the_sheet_is_declared_in_full():
    symbols = {row["symbol"]: row for row in schema.rows("sheet_symbols")}
    known = {row["unit"] for row in schema.rows("sheet_units")}
    assert {row["unit"] for row in symbols.values()} - {"m2/s"} <= known
    for row in schema.rows("sheet_lines"):
        assert row["symbol"] in symbols and set(names(row["formula"])) <= set(symbols), row["line_id"]


def test_typed_and_run_give_the_same_numbers(sample_run):
    """The recorded values of wells of a run, typed in, give the run's own design point, choice and calculation."""
    wells = io.read_table("wells", sample_run)
    point = io.read_table("design", sample_run).set_index(["source_id", "well_id"])
    known = [c.field.name for c in schema.table("design") if f"{schema.stem(c.field.name)}_basis_code" in point.columns]
    told = point.reset_index()
    whole = (wells["flow_tested_m3_per_s"].notna() & wells["depth_pumping_m"].notna()
             & wells["depth_static_m"].notna() & wells["depth_pump_m"].notna()).to_numpy()  # fmt: skip
    recorded = whole & wells["diameter_casing_inside_m"].notna().to_numpy()
    place = [n for n in range(len(wells)) if recorded[n]][:3]
    assert place, "the sample lacks wells with a full record"
    assert known and len(told)
    settings = Settings(draws=4)
    for n in place:
        row = wells.iloc[n]
        values = {}
        for column in schema.table("wells"):
            value, field = row[column.field.name], column.field
            if value is None or value != value or field.name in ("source_id", "well_id", "source_row", "source_line"):
                continue
            if field.name in ("weight_inclusion_fraction", "completeness_count", "repaired_count"):
                continue
            text = f"{value!r} {field.unit}" if field.type == "number" and field.unit else str(value)
            values[field.name] = "yes" if value is True else "no" if value is False else text.replace("np.float64", "")
        values = {k: v.replace("(", "").replace(")", "") if re.match(r"\([\d.e-]+\)", v) else v for k, v in values.items()}
        typed = pipeline.explain(values, settings=settings)
        ran = sheet.of_run(sample_run, f"{row['source_id']}:{row['well_id']}", Settings())
        for key, value in ran["selection"][0].items():
            if isinstance(value, float) and "choice" not in key and "share" not in key and "weight" not in key:
                assert typed["selection"][0][key] == pytest.approx(value, rel=1e-9), key
        assert typed["selection"][0]["option_id"] == ran["selection"][0]["option_id"]
        pairs = list(zip(typed["calculation"], ran["calculation"], strict=True))
        assert all(a["line_id"] == b["line_id"] and math.isclose(a["value"], b["value"], rel_tol=1e-9) for a, b in pairs)


class Reader(HTMLParser):
    """What a screen reader needs, counted."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_page_is_self_contained_and_readable_by_a_screen_reader(explained, units):
    text = sheet.html(explained["coil"], units)
    reader = Reader()
    reader.feed(text)
    tags = [tag for tag, _ in reader.found]
    assert not {"script", "img", "link", "iframe", "object"} & set(tags)
    assert "http://" not in text.replace("http-equiv", "") and "src=" not in text.replace("style-src", "")
    assert tags.count("h1") == 1 and tags.count("main") == 1 and ("html", {"lang": "en"}) in reader.found
    assert tags.count("table") == tags.count("caption") >= 5
    assert all(attrs.get("scope") in ("col", "row") for tag, attrs in reader.found if tag == "th")
    ids = [attrs["id"] for _, attrs in reader.found if "id" in attrs]
    assert len(ids) == len(set(ids))
    assert {a["href"][1:] for t, a in reader.found if t == "a"} <= set(ids)
    assert "@media print" in text


def test_values_of_records_cannot_write_into_the_page():
    nasty = "<script>alert(1)</script>\" onload='x'"
    found = pipeline.explain(G1, settings=Settings(draws=0))
    found["wells"][0]["well_id"] = nasty
    found["wells"][0]["source_file"] = nasty
    text = sheet.html(found, "us")
    assert "<script" not in text and "&lt;script&gt;" in text and "onload='x'" not in text


def test_the_page_says_what_a_contractor_signs(explained):
    content = explained["coil"]
    made = page(content, "us")
    told = {part["id"]: part for part in made["sections"]}
    wanted = ["answer", "why_not", "flags", "practice", "record", "design", "bill", "plan", "local", "measure",
              "calculation", "checks", "sources", "cautions"]  # fmt: skip
    assert set(wanted) <= set(told)
    assert [part["id"] for part in made["sections"]][:2] == ["answer", "why_not"]
    assert 8 <= len(told["answer"]["items"]) <= 14
    families = set(schema.codes("family")) - {content["selection"][0]["family_code"]}
    assert len(told["why_not"]["items"]) == len(families)
    limits = [text for text in told["why_not"]["items"] if "fails" in text]
    assert all(re.search(r"needs [\d,.]+.*has [\d,.]+", text) for text in limits)
    order = [text.split()[0] for text in told["flags"]["items"] if text.split()[0].isupper()]
    assert order == sorted(order, key=["STOP", "CAUTION", "NOTE"].index)


def test_a_danger_that_stops_the_work_stands_first():
    found = pipeline.explain(G1 | {"distance_power_line": "10 ft"}, settings=Settings(draws=0))
    first = page(found, "us")["sections"][0]["items"][0]
    assert first.startswith("STOP") and "ower line" in first


def test_no_pipe_still_has_a_page():
    """A duty that no pump of the bore's width carries: no pipe, and each family says why."""
    found = pipeline.explain({"use": "irrigation", "depth_completed": "200 ft", "depth_static": "30 ft",
                              "flow_duty": "120 gpm", "diameter_casing_inside": "4.026 in"},
                             settings=Settings(draws=0))  # fmt: skip
    assert found["selection"][0]["option_id"] is None
    text = sheet.text(found, "us")
    assert "No pipe is recommended" in text and text.count("Not ") >= 4 and sheet.html(found, "metric")
    assert found["calculation"]


def test_numbers_are_printed_in_coherent_units():
    assert sheet_number(0.3048, "m", "us") == "1 ft" and sheet_number(2.0, "m3/s", "metric") == "2 m³/s"
    # 62.4 lbf/ft³ is 9,802 N/m³; pressure in pounds a square foot is 144 times that in pounds a square inch
    assert to_sheet(6894.757293168, "Pa", "us") == pytest.approx(144, rel=1e-9)
    assert to_sheet(1000.0, "kg/m3", "us") == pytest.approx(62.42796 / 32.17405, rel=1e-6)
