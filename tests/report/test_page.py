"""report.html: whole, self-contained, escaped, reachable without eyes, and its numbers add up."""

import base64
import hashlib
import itertools
import json
import re
import shutil
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

import invented_run
import pandas as pd
import pytest

from pipeline import io, report, schema, words
from pipeline.errors import UsageError
from pipeline.report import answers, charts
from pipeline.report.facts import Facts, share

VOID = {"meta", "br", "hr", "img", "input", "link"}


class Page(HTMLParser):
    """Elements with their attributes and text; fails on tags that do not nest."""

    def __init__(self, text):
        super().__init__()
        self.open, self.found = [], []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        element = {"tag": tag, "attrs": dict(attrs), "text": "", "within": [e["tag"] for e in self.open]}
        self.found.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag, attrs):
        self.found.append({"tag": tag, "attrs": dict(attrs), "text": "", "within": [e["tag"] for e in self.open]})

    def handle_endtag(self, tag):
        assert self.open and self.open[-1]["tag"] == tag, (tag, [e["tag"] for e in self.open][-4:])
        self.open.pop()

    def handle_data(self, data):
        for element in self.open:
            element["text"] += data

    def all(self, tag):
        return [element for element in self.found if element["tag"] == tag]


def tables(page):
    """Tables of a page by caption: rows of cell texts."""
    out, rows = {}, None
    for element in page.found:
        if element["tag"] == "table":
            rows = []
        elif element["tag"] == "caption":
            out[element["text"]] = rows
        elif element["tag"] == "tr":
            rows.append([])
        elif element["tag"] in ("th", "td"):
            rows[-1].append(element["text"].strip())
    return out


def number(text):
    return int(text.replace(",", ""))


def test_nothing_is_loaded_and_nothing_runs(told):
    _, _, text = told
    page = Page(text)
    for element in page.found:
        assert element["tag"] not in ("script", "link", "img", "iframe", "object", "embed", "base", "form"), element
        for name, value in element["attrs"].items():
            assert not name.startswith("on") and name != "style", element
            if name in ("href", "src", "xlink:href"):
                assert value.startswith("#"), element
    assert "http://" not in text and "https://" not in text and "@import" not in text and "url(" not in text


def test_policy_allows_only_the_style_of_the_page(told):
    _, _, text = told
    policy = next(e["attrs"]["content"] for e in Page(text).all("meta") if "http-equiv" in e["attrs"])
    style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)[1]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert policy == f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"


def test_readable_without_eyes(told):
    # headers of tables, names of images, landmarks: Web Content Accessibility Guidelines 2.2, criteria 1.1.1,
    # 1.3.1, 2.4.1, 3.1.1
    page = Page(told[2])
    assert page.all("html")[0]["attrs"]["lang"] == "en"
    for landmark in ("header", "nav", "main", "footer"):
        assert len(page.all(landmark)) == 1
    ids = [e["attrs"]["id"] for e in page.found if "id" in e["attrs"]]
    assert len(set(ids)) == len(ids)
    for element in page.found:
        attrs = element["attrs"]
        for target in (attrs.get("aria-labelledby") or "").split():
            assert target in ids
        if attrs.get("href"):
            assert attrs["href"][1:] in ids
        if element["tag"] == "th":
            assert attrs["scope"] in ("col", "row")
        if element["tag"] == "svg":
            assert attrs.get("aria-hidden") == "true" or (attrs["role"] == "img" and attrs["aria-labelledby"])
    assert len(page.all("caption")) == len(page.all("table")) > 12
    levels = [int(e["tag"][1]) for e in page.found if re.fullmatch(r"h\d", e["tag"])]
    assert levels[0] == 1 and levels.count(1) == 1 and all(b - a <= 1 for a, b in itertools.pairwise(levels))


def test_every_figure_has_its_table(told):
    figures_open = False
    for element in Page(told[2]).found:
        if element["tag"] == "figure":
            assert not figures_open, "two figures without a table between"
            figures_open = True
        elif element["tag"] == "table":
            figures_open = False
        elif element["tag"] == "section":
            assert not figures_open, "a figure without a table after it"
            figures_open = False
    assert not figures_open


def test_every_section_and_caution_is_there(told):
    page = Page(told[2])
    ids = [e["attrs"]["id"] for e in page.all("section")]
    assert ids == ["asked", "ledger", "records", "families", "places", "material", "years", "governs", "why_not", "flags",
                   "practice", "look_first", "method", "cautions"]  # fmt: skip
    text = page.all("main")[0]["text"]
    for line in words.cautions():
        assert line in text


def test_numbers_agree_with_the_tables(told):
    _, frames, text = told
    found = tables(Page(text))
    ledger = found["Rows by file and table"]
    body, total = ledger[1:-1], ledger[-1]
    for row in body:
        read, used, out, broken = map(number, row[3:7])
        assert read == used + out + broken
    assert [sum(number(row[i]) for row in body) for i in range(3, 7)] == [number(cell) for cell in total[3:7]]
    selection = frames["selection"]
    equipped = selection[selection["outcome_code"].isin(["recommended", "recommended_with_caution"])]
    family = {row[0]: number(row[1]) for row in found["Wells by family of the recommended pipe"][1:]}
    labels = schema.codes("family")
    assert family.pop("Total") == len(equipped)
    assert family == {labels[k]: v for k, v in equipped["family_code"].value_counts().items()}
    outcomes = {row[0]: number(row[1]) for row in found["Wells by outcome"][1:-1]}
    assert outcomes == {schema.codes("outcome")[k]: v for k, v in selection["outcome_code"].value_counts().items()}
    both = equipped.merge(frames["design"], on=["source_id", "well_id"], suffixes=("", "_design"))
    feet = (both["length_drop_pipe_m_design"] * both["weight_inclusion_fraction"]).sum() / 0.3048
    caption = next(key for key in found if key.startswith("Families and length"))
    assert number(found[caption][-1][-2]) == pytest.approx(feet, abs=1)
    flags = {row[0].split()[0]: number(row[2]) for row in found["Risk flags by severity"][1:]}
    assert flags == frames["risks"]["code"].value_counts().to_dict()
    pipe = {row[0]: number(row[2]) for row in found["Pipe of the whole run"][1:]}
    demand = frames["demand"].query("region_level == 'all'").set_index("item_id")["length_m_expected"] / 0.3048
    for item, expected in demand.items():
        name = report.opening.names.pipe(item)
        if name in pipe:
            assert pipe[name] == pytest.approx(expected, abs=0.51)
    assert len(pipe) == min(len(demand), 25)


def test_points_on_the_map_are_the_points_of_the_wells(told):
    _, frames, text = told
    placed = frames["wells"]["latitude_deg"].notna().sum()
    shapes = sum(text.count(shape) for shape in charts.SHAPES.values())
    legends = sum(text.count(f'd="M0 0{shape}"') for shape in charts.SHAPES.values())
    outside = sum(int(n) for n in re.findall(r"(\d+) points lie outside", text))
    assert shapes - legends + outside == placed


def test_whatever_the_records_say_is_text(tmp_path):
    bad = '<script>alert(1)</script>"><img src=x onerror=alert(2)>'
    folder = tmp_path / "run"
    frames = invented_run.write(folder, 60)
    for table, columns in (("selection", ["well_id", "region_code", "area_code", "source_id"]),
                           ("risks", ["well_id", "source_id", "code"]), ("wells", ["well_id", "source_id"]),
                           ("design", ["well_id", "source_id"]), ("excluded", ["reason_code", "source_file"]),
                           ("issues", ["code", "source_file"])):  # fmt: skip
        frame = frames[table].copy()
        for column in columns:
            if column == "well_id":
                frame[column] = frame[column] + bad
            else:
                frame[column] = bad
        io.write_table(table, frame, folder)
    found = invented_run.manifest(frames)
    found["ledger"][0]["file"] = found["not_read"][0] = found["as_of"] = bad
    found["settings"]["prices"] = bad
    io.write_json(folder / "manifest.json", found)
    report.write_report(folder, "metric")
    text = (folder / "report.html").read_text(encoding="utf-8")
    page = Page(text)
    assert not page.all("script") and not page.all("img")
    assert "&lt;script&gt;" in text
    assert all("onerror" not in element["attrs"] for element in page.found)


def test_same_run_gives_the_same_bytes(told, tmp_path, monkeypatch):
    folder, _, text = told
    copy = shutil.copytree(folder, tmp_path / "elsewhere")
    monkeypatch.setenv("TZ", "Pacific/Apia")
    monkeypatch.chdir(tmp_path)
    report.write_report(copy, "us")
    assert (copy / "report.html").read_text(encoding="utf-8") == text
    assert str(folder) not in text


@pytest.mark.parametrize("content", [None, "{}", "no json", '{"ledger": [], "gate": {}, "settings": {}}'])
def test_a_poor_manifest_is_borne(told, tmp_path, content):
    copy = shutil.copytree(told[0], tmp_path / "run")
    (copy / "manifest.json").unlink()
    if content is not None:
        (copy / "manifest.json").write_text(content, encoding="utf-8")
    report.write_report(copy, "us")
    assert "does not say whether the gate passed" in (copy / "report.html").read_text(encoding="utf-8")
    assert len(report.last_lines(copy)) == 10


def test_an_empty_run_and_missing_tables_are_borne(tmp_path):
    folder = tmp_path / "run"
    frames = invented_run.frames(20)
    for name in ("wells", "selection", "design", "demand"):
        io.write_table(name, frames[name].iloc[:0], folder)
    report.write_report(folder, "us")
    Page((folder / "report.html").read_text(encoding="utf-8"))
    lines = report.last_lines(folder)
    assert len(lines) == 10 and "no well is left" in lines[-1]
    with pytest.raises(UsageError, match="no table 'selection'"):
        report.write_report(tmp_path, "us")
    with pytest.raises(UsageError, match="write us or metric"):
        report.write_report(folder, "cubits")


def test_many_points_become_squares_that_count_every_well(tmp_path, monkeypatch):
    folder = tmp_path / "run"
    frames = invented_run.write(folder, 200)
    monkeypatch.setattr(answers, "MOST_POINTS", 20)
    with Facts(folder, "us") as facts:
        (block, table) = answers.places(facts)["blocks"]
        assert all("cells" in panel and "layers" not in panel for panel in block["drawn"])
        cells = 0
        for box in facts.rows("point_boxes"):
            panel = charts.Panel(*charts.box_of(box), 440.0)
            rows = facts.rows("grid", source=box["source_id"], west=panel.west, east=panel.east, south=panel.south,
                              north=panel.north, step_lon=0.01, step_lat=0.01)  # fmt: skip
            cells += sum(row["wells"] for row in rows)
    placed = frames["wells"]["latitude_deg"].notna().sum()
    assert 0.97 * placed <= cells <= placed
    assert sum(number(row[2]) for row in table["rows"]) == placed


def test_drawings_are_well_formed(told):
    for drawing in re.findall(r"<svg.*?</svg>", told[2], re.DOTALL):
        ET.fromstring(drawing)


def test_metric_report_speaks_metric(tmp_path):
    folder = tmp_path / "run"
    invented_run.write(folder, 60)
    report.write_report(folder, "metric")
    text = (folder / "report.html").read_text(encoding="utf-8")
    assert "Drop pipe [m]" in text and "[ft]" not in text and " psi</td>" not in text


def test_shares_never_round_to_nothing_or_all():
    assert [share(0, 10), share(1, 1000), share(1, 3), share(999, 1000), share(10, 10), share(1, 0)] == [
        "0 %", "<1 %", "33 %", ">99 %", "100 %", "–"]  # fmt: skip


def test_closing_lines_tell_of_proposed_repairs(told, tmp_path):
    folder = tmp_path / "run"
    invented_run.write(folder, 30)
    plain = report.last_lines(folder)
    row = {"source_id": "invented", "well_id": "A-1", "source_file": "invented.csv", "source_row": 2,
           "field": "depth_pump_m", "found": "36.6", "proposed": "11.2",
           "evidence": "one pipe is 3.048 m", "strength_code": "strong"}  # fmt: skip
    accepted = [False, False, False, True]
    frame = pd.DataFrame([row | {"code": code, "is_accepted": used} for code, used in
                          zip(["P101", "P104", "P104", "P101"], accepted, strict=True)])  # fmt: skip
    io.write_table("repairs", frame.reindex(columns=[c.field.name for c in schema.table("repairs")]), folder)
    lines = report.last_lines(folder)
    assert len(lines) == 10 and "epair" not in plain[5]
    assert lines[5].startswith(plain[5]) and "Repairs used: 1." in lines[5]
    assert "not used: 3 (P101 1, P104 2); --accept-repairs all" in lines[5]


def test_closing_lines(told):
    folder, frames, _ = told
    lines = report.last_lines(folder)
    assert len(lines) == 10
    manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    read = sum(entry["rows_read"] for entry in manifest["ledger"])
    used = sum(entry["rows_used"] for entry in manifest["ledger"])
    assert f"{read:,} read = {used:,} used" in lines[0] and "GATE FAILED: V103" in lines[0]
    assert lines[1].count(";") <= 5 and ("line " in lines[1] or "record " in lines[1])
    assert f"{len(frames['selection'])} in scope" in lines[2]
    assert lines[3].startswith("Families: polyethylene coil")
    assert " ft" in lines[4] and lines[6].count("(") == 3
    named = lines[9].split("--well ")[1]
    assert named in set(frames["selection"]["well_id"]) and named in lines[6]
    assert all("\n" not in line for line in lines)
