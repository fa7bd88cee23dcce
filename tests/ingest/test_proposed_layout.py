"""Proposals written as layout files: read back as meant, applied by the printed command, honest about what is open."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline import cli
from pipeline.errors import PipelineError, SourceError
from pipeline.ingest import from_dict, read_inputs, read_layout
from pipeline.ingest.proposal.document import to_document, to_toml
from pipeline.ingest.proposal.model import Evidence, Guess, Proposal, Question, TableProposal
from pipeline.ingest.survey import Reader
from pipeline.settings import Settings

WELLS = "Well no,Depth,Static level (ft),Yield (gpm),Owner\n" + "".join(
    f"F{n},{180 + 3 * n},{20 + n % 9},{5 + n % 4},Somebody Else\n" for n in range(24)
)  # fmt: skip


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def names() -> st.SearchStrategy[str]:
    """Headers of any sign, made unique by those who draw them."""
    return st.text(min_size=1, max_size=20).map(lambda t: " ".join(t.split())).filter(bool)


FIELDS = (("depth_completed_m", "ft"), ("depth_static_m", "m"), ("flow_tested_m3_per_s", "gpm"), ("use_code", ""),
          ("completed_date", ""), ("diameter_casing_inside_m", "in"), ("latitude_deg", "deg"))  # fmt: skip


@st.composite
def proposals(draw: st.DrawFn) -> Proposal:
    """Invented proposals of one to three tables with headers of any sign."""
    tables = []
    for number in range(draw(st.integers(1, 3))):
        headers = draw(st.lists(names(), min_size=9, max_size=12, unique_by=lambda h: " ".join(h.split()).lower()))
        guesses = [Guess(headers[0], "well_id", "", 0.99, 0.99)]
        for header, (name, unit) in zip(headers[1:], FIELDS, strict=False):
            why = draw(st.sampled_from(("", "", "no unit is written", "the evidence is too thin")))
            score = draw(st.floats(0, 1))
            guesses.append(Guess(header, name, unit, score, score, score, [Evidence("header", f"says {header}", 2.0)],
                                 "depth_pump_m", 0.1, why, samples=[(header, header)]))  # fmt: skip
        table = TableProposal(f"t{number}" if number else "wells", f"{headers[1]}.csv", tuple(headers), guesses,
                              "child" if number else "wells", (headers[0],), 10, files=(f"{headers[1]}.csv",))  # fmt: skip
        if number:
            table.pick = {"depth_static_m": "last", "flow_tested_m3_per_s": "max"}
            table.order_by = headers[-1]
            table.where = {"depth_static_m": {headers[-2]: (headers[3], "x")}}
            table.reasons = {"depth_static_m": headers[2]}
        table.missing = {headers[1]: ("-888",)}
        tables.append(table)
    asked = Question(f"Is it {tables[0].headers[1]}?", "wells", tables[0].headers[1], "unit", ("ft",), 3)
    return Proposal(tables, [f"doubt about {tables[0].headers[2]}"], [asked], [("depth_pump_m", "worked out")], "us")


@given(proposals())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_property_a_written_layout_reads_back_as_meant(proposal: Proposal) -> None:
    text = to_toml(proposal, "fenmark", "wellstring run x.csv")
    document = to_document(proposal, "fenmark", with_likely=True)
    assert from_dict(tomllib.loads(text), "x") == from_dict(document, "x")
    only_sure = from_dict(to_document(proposal, "fenmark"), "x")
    for table in proposal.tables:
        sure = {g.field for g in table.guesses if g.sure and g.field != "well_id"}
        assert set(only_sure.tables[table.name].columns) == sure


def run(arguments: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> tuple[int, str]:
    """Exit code and messages of the command."""
    monkeypatch.setattr("sys.argv", ["wellstring", *arguments])
    code = 0
    try:
        cli.main()
    except SystemExit as end:
        code = int(end.code or 0)
    return code, capsys.readouterr().err


def test_exit_2_prints_the_next_command_which_then_works(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "my wells.csv").write_text(WELLS, encoding="utf-8")
    code, told = run(["run", "my wells.csv", "--out", "one"], capsys, monkeypatch)
    assert code == 2 and "tells no unit" in told and not (tmp_path / "one").exists()
    assert told.count("?") <= 3 and "In which unit is 'Depth'" in told
    command = re.search(r"then: wellstring (.*)$", told.strip().splitlines()[-1])
    assert command is not None
    code, told = run(shlex.split(command.group(1)), capsys, monkeypatch)
    assert code == 0, told
    manifest = (tmp_path / "DIR" / "manifest.json").read_text(encoding="utf-8")
    assert '"how": "layout"' in manifest and "Somebody" not in manifest


def test_the_layout_shows_answers_evidence_and_no_person(tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    path.write_text(WELLS, encoding="utf-8")
    with pytest.raises(SourceError):
        read_inputs([path], Settings())
    text = Path("mine.layout.toml").read_text(encoding="utf-8")
    assert re.search(r"\[tables\.wells\.columns\.depth_completed_m\]  # please confirm: no unit is written", text)
    assert "# Question, worth 24 rows: In which unit is 'Depth'" in text
    assert "score 0." in text or "score 1.0" in text
    assert "Somebody" not in text and '"Owner"' in text
    assert "# No column tells" in text and "wellstring run" in text
    assert read_layout(Path("mine.layout.toml")).wells_table().id == ("Well no",)


def test_a_layout_that_no_longer_fits_says_what_is_lacking(tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    path.write_text(WELLS, encoding="utf-8")
    with pytest.raises(SourceError):
        read_inputs([path], Settings())
    layout = Path("mine.layout.toml")
    path.write_text(WELLS.replace("Static level (ft)", "Water stands at"), encoding="utf-8")
    with pytest.raises(PipelineError, match=r"mine\.layout\.toml.*expects \['Static level \(ft\)'\]") as raised:
        read_inputs([path], Settings(layouts=(layout,)))
    assert raised.value.exit_code == 2


def test_a_depth_alone_suffices_and_says_what_is_assumed(tmp_path: Path) -> None:
    path = tmp_path / "deep.csv"
    path.write_text("Well no,Depth (ft)\n" + "".join(f"F{n},{180 + 3 * n}\n" for n in range(9)), encoding="utf-8")
    source = Reader(Settings()).survey([path]).assembled.sources[0]
    assert source.proposal.certain and source.proposal.questions == []
    missing = dict(source.proposal.missing)
    assert "0.35" in missing["depth_static_m"] and "depth_drilled_m" not in missing


def test_at_most_three_questions_the_most_rows_first(tmp_path: Path) -> None:
    head = "Well no,Depth,SWL,Pump depth,Pumping level,Yield\n"
    rows = "".join(f"F{n},{200 + n},{40 if n < 30 else ''},{150 if n < 20 else ''},{90 if n < 10 else ''},5\n"
                   for n in range(40))  # fmt: skip
    path = tmp_path / "plain.csv"
    path.write_text(head + rows, encoding="utf-8")
    questions = Reader(Settings()).survey([path]).assembled.sources[0].proposal.questions
    assert 1 <= len(questions) <= 3
    assert [q.rows for q in questions] == sorted((q.rows for q in questions), reverse=True)
    assert questions[0].rows == 40 and all(q.text.endswith("?") and q.choices for q in questions)


def test_words_for_missing_are_found_by_their_distance(tmp_path: Path) -> None:
    path = tmp_path / "marked.csv"
    path.write_text("Well no,Depth (ft),SWL (ft)\n" + "".join(
        f"F{n},{180 + 3 * n},{-777 if n % 5 == 0 else 20 + n % 9}\n" for n in range(60)), encoding="utf-8")  # fmt: skip
    intake = read_inputs([path], Settings())
    assert intake.layouts["marked"].wells_table().columns["depth_static_m"].missing == ("-777",)
    assert any("-777 stands for missing" in note for _, note in intake.notes)


def test_projected_coordinates_want_a_zone_unless_it_is_told(tmp_path: Path) -> None:
    rows = "".join(f"F{n},{60 + n},{548000 + 100 * n},{9523000 + 100 * n}\n" for n in range(30))
    path = tmp_path / "grid.csv"
    path.write_text("Borehole no,Depth (m),Easting,Northing\n" + rows, encoding="utf-8")
    source = Reader(Settings()).survey([path]).assembled.sources[0]
    assert source.proposal.certain and any(q.key == "crs" for q in source.proposal.questions)
    assert "latitude_deg" not in to_document(source.proposal, "grid")["tables"]["wells"]["columns"]
    path.write_text("Borehole no,Depth (m),Easting (UTM zone 37S),Northing (UTM zone 37S)\n" + rows, encoding="utf-8")
    layout = read_inputs([path], Settings()).layouts["grid"]
    assert layout.crs == "EPSG:32737" and "latitude_deg" in layout.wells_table().columns
