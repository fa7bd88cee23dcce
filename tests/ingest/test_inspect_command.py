"""The command inspect on invented files of several conventions: what it tells, what it never shows, its exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import openpyxl
import pytest
from typer.testing import CliRunner

from pipeline.cli import app

NAMES = ("Quillon Fernsby", "Odalys Marrowfield", "12 Thistle Lane")
RUNNER = CliRunner()


def rows(count: int = 40) -> list[dict[str, str]]:
    """Invented wells: depth in feet, level above it, a person's name and an address in each."""
    out = []
    for i in range(count):
        depth = 120 + 7 * i
        out.append({
            "id": f"B-{i:03d}", "owner": NAMES[i % 2], "address": NAMES[2], "depth": str(depth),
            "level": str(20 + 2 * i), "flow": str(5 + i % 20), "date": f"{1 + i % 12}/{13 + i % 15}/20{10 + i % 10}",
            "use": ("Domestic", "Stock", "Xyzzy")[i % 3], "lat": f"{41 + i / 100:.4f}", "lon": f"{-138 - i / 100:.4f}",
        })  # fmt: skip
    return out


def lines(delimiter: str, header: list[str], keys: list[str], extra: list[str] | None = None) -> str:
    body = [delimiter.join(row[k] for k in keys) for row in rows()]
    return "\n".join([delimiter.join(header), *(extra or []), *body]) + "\n"


KEYS = ["id", "owner", "address", "depth", "level", "flow", "date", "use", "lat", "lon"]
PLAIN = ["Well No", "Owner Name", "Address", "Total Depth (ft)", "Static Water Level (ft)", "Yield (gpm)",
         "Date Completed", "Water Use", "Latitude", "Longitude"]  # fmt: skip
BARE = ["Well No", "Owner Name", "Address", "Total Depth", "Static Water Level", "Yield", "Date Completed", "Water Use",
        "Latitude", "Longitude"]  # fmt: skip


@pytest.fixture
def plain(tmp_path: Path) -> Path:
    path = tmp_path / "wells.csv"
    path.write_text(lines(",", PLAIN, KEYS), encoding="utf-8")
    return path


def inspect(*given: object) -> tuple[int, str]:
    result = RUNNER.invoke(app, ["inspect", *map(str, given)])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.output


def document(*given: object) -> dict:
    _, text = inspect(*given, "--json")
    return json.loads(text)


def column(found: dict, header: str, table: int = 0) -> dict:
    return next(c for c in found["tables"][table]["columns"] if c["header"] == header)


def line_of(text: str, header: str) -> str:
    return next(line for line in text.splitlines() if line.strip().startswith(header))


def test_own_values_stand_beside_their_reading(plain: Path) -> None:
    code, text = inspect(plain)
    assert code == 0
    told = line_of(text, "Static Water Level")
    assert "Static level, ft" in told and "20 -> 20 ft below ground" in told and "sure" in told and "%" in told
    assert "month first: 40 of 40" in text  # 13 to 27 can only be days
    assert "3/15/2012 -> 2012-03-15" in text or "1/13/2010 -> 2010-01-13" in text
    assert "'Xyzzy' 13" in text and "27 of 40 cells" in text  # every third of 40 from the third on
    assert "40 points from 41.00° N to 41.39° N, 138.39° W to 138.00° W" in text
    assert f"wellstring run {plain}" in text


def test_other_units_stand_beside_when_asked_for(plain: Path) -> None:
    _, text = inspect(plain, "--units", "metric")
    # 20 ft = 6.096 m exactly (international foot, 0.3048 m)
    assert "20 -> 20 ft below ground = 6.096 m" in text


@pytest.mark.parametrize("options", [[], ["--all"], ["--json"], ["--units", "us", "--all"]])
def test_people_and_unmapped_columns_are_never_shown(plain: Path, options: list[str]) -> None:
    _, text = inspect(plain, *options)
    assert not any(name in text for name in NAMES)
    assert "Owner Name" in text and "Address" in text


def test_people_are_told_as_dropped(plain: Path) -> None:
    _, text = inspect(plain)
    told = text[text.index("personal, dropped at the door") :].split("\n")[0]
    assert "Owner Name" in told and "Address" in told


def test_units_row_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "units.csv"
    path.write_text(lines(",", BARE, KEYS, [",,,ft,ft,gpm,,,,"]), encoding="utf-8")
    code, text = inspect(path)
    assert code == 0 and "header in line 1, units in line 2; 40 rows" in text
    assert "Well depth, ft" in line_of(text, "Total Depth") or "Drilled depth, ft" in line_of(text, "Total Depth")


def test_comment_block_and_type_row(tmp_path: Path) -> None:
    path = tmp_path / "sites.txt"
    told = "# invented sites\n# no person is in it\n"
    body = lines("\t", ["site_no", "well_depth_ft", "static_level_ft"], ["id", "depth", "level"], ["15s\t8n\t8n"])
    path.write_text(told + body, encoding="utf-8")
    _, text = inspect(path)
    assert "Text, tab separated" in text and "header in line 3, types in line 4; 40 rows" in text


def test_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    path = tmp_path / "metric.csv"
    body = [f"P{i};{30 + i},5;{5 + i / 2:.2f}".replace(".", ",") for i in range(30)]
    path.write_text("borehole no;depth (m);static water level (m)\n" + "\n".join(body) + "\n", encoding="utf-8")
    code, text = inspect(path)
    assert code == 0 and "Text, semicolon separated" in text
    assert "30,5 -> 30.5 m below ground" in text and "5,00 -> 5 m below ground" in text


def test_workbook_with_rows_above_its_header(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Invented survey of wells"])
    sheet.append([])
    sheet.append(["Well No", "Total Depth", "Static Water Level"])
    sheet.append(["", "ft", "ft"])
    for row in rows():
        sheet.append([row["id"], float(row["depth"]), float(row["level"])])
    path = tmp_path / "survey.xlsx"
    book.save(path)
    code, text = inspect(path)
    assert code == 0 and "Workbook, header in row 3" in text and "40 rows" in text
    assert "20 -> 20 ft below ground" in text


def test_related_tables_of_a_folder(tmp_path: Path) -> None:
    folder = tmp_path / "county"
    folder.mkdir()
    wells = lines(",", ["well_no", "total_depth_ft", "latitude", "longitude"], ["id", "depth", "lat", "lon"])
    levels = lines(",", ["well_no", "static_water_level_ft", "date_measured"], ["id", "level", "date"])
    (folder / "wells.csv").write_text(wells, encoding="utf-8")
    (folder / "levels.csv").write_text(levels, encoding="utf-8")
    found = document(folder)
    roles = {t["file"]: t["role"] for t in found["tables"]}
    assert roles == {"wells.csv": "wells", "levels.csv": "child"}
    child = next(t for t in found["tables"] if t["file"] == "levels.csv")
    assert "well_no" in child["link"]


def test_depth_alone_asks_for_its_unit_and_says_where_to_answer(tmp_path: Path) -> None:
    path = tmp_path / "depths.csv"
    path.write_text("hole,depth\n" + "".join(f"H{i},{20 + 3 * i}\n" for i in range(30)), encoding="utf-8")
    code, text = inspect(path)
    assert code == 2
    assert "In which unit is 'depth'" in text and "30 rows rest on it" in text and 'unit = "' in text
    assert "--write-layout depths.layout.toml" in text and "--layout depths.layout.toml" in text


def test_what_is_missing_is_told_with_what_is_taken_instead(plain: Path) -> None:
    _, text = inspect(plain)
    part = text[text.index("MISSING FOR THE JOB") :]
    assert "Pump setting" in part and "worked out from level" in part and "Static level " not in part


def test_hopeless_file_shows_nothing_of_itself(tmp_path: Path) -> None:
    path = tmp_path / "people.csv"
    path.write_text("".join(f"{NAMES[i % 2]},blue,{NAMES[2]}\n" for i in range(20)), encoding="utf-8")
    code, text = inspect(path)
    assert code in (1, 2) and "not a table of wells" in text and not any(name in text for name in NAMES)
    assert not any(name in inspect(path, "--json")[1] for name in NAMES)


def test_a_record_taken_for_the_header_is_not_shown(tmp_path: Path) -> None:
    path = tmp_path / "headless.csv"
    body = [f"{NAMES[i % 2]},{41 + i / 100:.3f},{-100 - i / 100:.3f},{120 + 3 * i},Domestic,static level" for i in range(30)]
    path.write_text("\n".join(body) + "\n", encoding="utf-8")
    for options in ([], ["--all"], ["--json"]):
        _, text = inspect(path, *options)
        assert not any(name in text for name in NAMES)


def test_unreadable_file_ends_with_one(tmp_path: Path) -> None:
    path = tmp_path / "nothing.csv"
    path.write_bytes(b"")
    code, text = inspect(path)
    assert code == 1 and "empty" in text


def test_one_bad_file_does_not_hide_the_good_one(plain: Path, tmp_path: Path) -> None:
    bad = tmp_path / "picture.csv"
    bad.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)))
    code, text = inspect(plain, bad)
    assert code == 2 and "Static level, ft" in text and "picture.csv" in text


# --- the layout written ---


def test_written_layout_runs_as_the_proposal_does(plain: Path, tmp_path: Path) -> None:
    from pipeline.ingest import read_inputs
    from pipeline.normalise import to_records
    from pipeline.settings import Settings

    target = tmp_path / "mine.layout.toml"
    code, text = inspect(plain, "--write-layout", target)
    assert code == 0 and str(target) in text and target.exists()
    with_layout = Settings(layouts=(target,))
    mine = to_records(read_inputs([plain], with_layout), with_layout).wells
    plain_run = to_records(read_inputs([plain], Settings()), Settings()).wells
    assert len(mine) == len(plain_run) == 40
    for name in ("depth_static_m", "flow_tested_m3_per_s", "latitude_deg"):
        assert mine[name].tolist() == plain_run[name].tolist()
    told = document(plain, "--layout", target)["tables"][0]
    assert told["known"] == "own" and told["understood"]


def test_an_answer_written_into_the_layout_is_taken(tmp_path: Path) -> None:
    path = tmp_path / "depths.csv"
    path.write_text("hole,depth\n" + "".join(f"H{i},{20 + 3 * i}\n" for i in range(30)), encoding="utf-8")
    target = tmp_path / "mine.toml"
    question = document(path)["questions"][0]
    inspect(path, "--write-layout", target)
    text = target.read_text(encoding="utf-8")
    if question["lines"][0] not in [line.split("  #")[0] for line in text.splitlines()]:
        target.write_text(text + "\n" + "\n".join(question["lines"]) + "\n", encoding="utf-8")
    code, told = inspect(path, "--layout", target)
    assert code == 0 and "20 -> 20 " in told


def test_a_layout_file_is_never_overwritten(plain: Path, tmp_path: Path) -> None:
    target = tmp_path / "mine.toml"
    target.write_text("precious", encoding="utf-8")
    result = RUNNER.invoke(app, ["inspect", str(plain), "--write-layout", str(target)])
    assert result.exit_code != 0 and "not overwritten" in str(result.exception)
    assert target.read_text(encoding="utf-8") == "precious"


def test_a_known_layout_is_copied_out(tmp_path: Path) -> None:
    sample = Path(__file__).resolve().parents[2] / "sample_data" / "osemba_borehole_survey.csv"
    target = tmp_path / "osemba.toml"
    code, _ = inspect(sample, "--write-layout", target)
    assert code == 0
    packaged = Path(__file__).resolve().parents[2] / "schemas" / "sources" / "sample_osemba_survey.toml"
    assert packaged.read_text(encoding="utf-8") in target.read_text(encoding="utf-8")
    assert document(sample, "--layout", target)["tables"][0]["known"] == "own"


# --- one line ---

SPANNED = (
    "# invented\nWell No,Total Depth (ft),Static Water Level (ft),Remarks\nA-1,200,30,fine\n"
    'A-2,250,45,"first line\nsecond line"\n\nA-3,300\nA-4,310,"about 50",x\n'
)


def test_lines_and_their_fate(tmp_path: Path) -> None:
    path = tmp_path / "spanned.csv"
    path.write_text(SPANNED, encoding="utf-8")
    fates = {n: document(path, "--line", n) for n in range(1, 9)}
    assert [fates[n]["fate"] for n in range(1, 9)] == [
        "comment", "header", "record", "record", "record", "blank", "quarantined", "record",
    ]  # fmt: skip
    assert (fates[4]["first"], fates[4]["last"]) == (fates[5]["first"], fates[5]["last"]) == (4, 5)
    assert fates[4]["row"] == fates[5]["row"] == 2 and fates[7]["reason"] == "too_few_fields"
    read = {c["field"]: c["reading"] for c in fates[5]["cells"]}
    assert read["depth_static_m"].startswith("45 ft")
    raw = path.read_bytes()
    for n, found in fates.items():
        begin, size = found["offset"], found["length"]
        assert raw[begin : begin + size].decode().rstrip("\r") == SPANNED.splitlines()[n - 1]


def test_line_shows_the_raw_line_and_its_cells(tmp_path: Path) -> None:
    path = tmp_path / "spanned.csv"
    path.write_text(SPANNED, encoding="utf-8")
    _, text = inspect(path, "--line", 5)
    assert 'second line"' in text and "Record 2: read" in text and "from line 4 to line 5" in text
    assert "250 ft below ground" in text
    _, text = inspect(path, "--line", 8)
    assert "about 50" in text and "50 ft below ground" in text


def test_rows_of_a_workbook(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for row in (["Invented survey"], [], ["Well No", "Total Depth", "Owner Name", "Static Water Level"],
                ["", "ft", "", "ft"], ["A-1", 200, NAMES[0], 20], [], ["A-2", 250, NAMES[1], 30]):  # fmt: skip
        book.active.append(row)
    path = tmp_path / "survey.xlsx"
    book.save(path)
    found = {n: document(path, "--line", n) for n in (1, 3, 4, 5, 6, 7)}
    assert [f["fate"] for f in found.values()] == ["above", "header", "units", "record", "blank", "record"]
    assert [found[5]["row"], found[7]["row"]] == [1, 2]
    assert next(c["reading"] for c in found[7]["cells"] if c["column"] == "Total Depth").startswith("250 ft")
    assert not any(name in json.dumps(found) for name in NAMES)


def test_a_header_over_two_rows_with_units_below(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for row in (["Borehole", "Depth", "", "Test"], ["No", "Drilled", "Static Water Level", "Yield"],
                ["", "m", "m", "L/s"]):  # fmt: skip
        book.active.append(row)
    for i in range(30):
        book.active.append([f"P-{i:03d}", 40 + i, 8 + i / 2, 1.5])
    path = tmp_path / "three_rows.xlsx"
    book.save(path)
    _, text = inspect(path)
    assert "30 rows" in text and "units in row 3" in text and "8 -> 8 m below ground" in text


def test_packed_files_are_looked_into(plain: Path, tmp_path: Path) -> None:
    import gzip

    packed = tmp_path / "wells.csv.gz"
    packed.write_bytes(gzip.compress(plain.read_bytes()))
    code, text = inspect(packed)
    assert code == 0 and "packed (.gz)" in text and "20 -> 20 ft below ground" in text
    assert document(packed, "--line", 2)["fate"] == "record"


def test_copies_are_told_once(plain: Path, tmp_path: Path) -> None:
    twin = tmp_path / "again.csv"
    twin.write_bytes(plain.read_bytes())
    _, text = inspect(tmp_path)
    assert "the same records as" in text and text.count("Static level, ft") == 1


def test_several_layouts_cannot_be_written_into_one(plain: Path, tmp_path: Path) -> None:
    sample = Path(__file__).resolve().parents[2] / "sample_data" / "osemba_borehole_survey.csv"
    result = RUNNER.invoke(app, ["inspect", str(plain), str(sample), "--write-layout", str(tmp_path / "x.toml")])
    assert result.exit_code != 0 and "several layouts" in str(result.exception) and not (tmp_path / "x.toml").exists()


def test_sources_in_short_and_in_full() -> None:
    known = RUNNER.invoke(app, ["sources"]).output
    assert all(len(line) <= 130 for line in known.splitlines()) and "sample_osemba_survey" in known
    one = RUNNER.invoke(app, ["sources", "sample_osemba_survey"]).output
    assert "static_level_m" in one and "Static level, m" in one
    assert "Did you mean" in str(RUNNER.invoke(app, ["sources", "sample_osemba"]).exception)


def test_a_line_beyond_the_end_is_told(tmp_path: Path) -> None:
    path = tmp_path / "spanned.csv"
    path.write_text(SPANNED, encoding="utf-8")
    result = RUNNER.invoke(app, ["inspect", str(path), "--line", "99"])
    assert result.exit_code != 0 and "8 lines" in str(result.exception)


def test_data_every_line_of_a_file_has_one_fate_that_adds_up_to_the_ledger(tmp_path: Path) -> None:
    from pipeline.ingest import read_inputs
    from pipeline.settings import Settings

    path = tmp_path / "spanned.csv"
    path.write_text(SPANNED, encoding="utf-8")
    entry = read_inputs([path], Settings()).ledger[0]
    found = [document(path, "--line", n) for n in range(1, entry.lines + 1)]
    records = {f["row"] for f in found if f["fate"] in ("record", "left_out", "quarantined")}
    assert entry.rows_read == len(records) and entry.lines == len(found)


# --- wide and large ---


def test_a_wide_survey_fits_on_two_screens(tmp_path: Path) -> None:
    header = [*PLAIN, *(f"question {i} of the invented survey, asked at the gate" for i in range(130))]
    body = [",".join([*(row[k] for k in KEYS), *["yes"] * 130]) for row in rows()]
    path = tmp_path / "wide.csv"
    path.write_text("\n".join([",".join(f'"{h}"' for h in header), *body]) + "\n", encoding="utf-8")
    _, text = inspect(path)
    told = text.splitlines()
    assert len(told) <= 100 and all(len(line) <= 100 for line in told if "wellstring" not in line)
    _, whole = inspect(path, "--all")
    assert all(f"question {i} of" in " ".join(whole.split()) for i in range(130)) and "yes" not in text.split("NEXT")[0]


def test_a_large_file_is_sampled_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from pipeline.ingest import glance

    monkeypatch.setattr(glance, "WHOLE_BYTES", 50_000)
    monkeypatch.setattr(glance, "ROWS_A_PIECE", 200)
    body = [f"W{i:05d},{100 + i % 300},{10 + i % 80}" for i in range(20_000)]
    path = tmp_path / "large.csv"
    path.write_text("well no,total depth (ft),static water level (ft)\n" + "\n".join(body) + "\n", encoding="utf-8")
    table = document(path)["tables"][0]
    assert not table["rows_exact"] and table["pieces"] == 3 and table["looked_at"] == 600
    assert abs(table["rows"] - 20_000) < 200
    _, text = inspect(path)
    assert "Looked at 3 x 200 rows, from head, middle and tail, of about" in text


def test_pieces_of_a_file_with_records_over_lines_hold_no_fault_of_the_cut(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pipeline.ingest import glance

    monkeypatch.setattr(glance, "WHOLE_BYTES", 10_000)
    monkeypatch.setattr(glance, "ROWS_A_PIECE", 50)
    body = [f'W{i:05d},{100 + i % 300},"a note\nof two lines, and more"' for i in range(3_000)]
    path = tmp_path / "notes.csv"
    path.write_text("well no,total depth (ft),remarks\n" + "\n".join(body) + "\n", encoding="utf-8")
    table = document(path)["tables"][0]
    assert table["faults"] == {} and abs(table["rows"] - 3_000) <= 90
