"""What the documents say holds: commands exist, rooms exist, words and sources are there."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from pipeline import schema

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_docs_readme_has_two_set_up_commands():
    blocks = re.findall(r"<!-- (run|test) command -->\n```\n(.+?)\n```", README, flags=re.S)
    assert [name for name, _ in blocks] == ["run", "test"]
    for _, command in blocks:
        assert command.startswith("python3 -m venv .venv && ") and "\n" not in command


def test_docs_every_command_named_exists():
    told = subprocess.run([sys.executable, "-m", "pipeline", "--help"], capture_output=True, text=True, cwd=ROOT).stdout
    known = set(re.findall(r"^  ([a-z]+)  ", told, flags=re.M))
    named = set(re.findall(r"wellstring ([a-z]+)\b", README + GUIDE))
    assert named - {"run"} <= known, named - known
    assert {"run", "explain", "inspect", "fields", "rules", "sources", "options", "report"} <= known


def test_docs_every_room_stands_in_the_guide():
    rooms = {p.name.removesuffix(".py") for p in (ROOT / "pipeline").iterdir() if not p.name.startswith("_")}
    plain = {"cli", "errors", "compiled", "schemas"}
    missing = [room for room in sorted(rooms - plain) if f"pipeline/{room}" not in GUIDE and f"`{room}`" not in GUIDE]
    assert not missing


def test_docs_files_named_in_the_guide_exist():
    for name in re.findall(r"`((?:schemas|pipeline|tests|sample_data)/[\w/.]+)`", GUIDE + README):
        assert (ROOT / name).exists(), name


def test_docs_every_table_is_told_in_the_run_folder_page():
    page = (ROOT / "outputs" / "README.md").read_text(encoding="utf-8")
    for row in schema.rows("tables_about"):
        if row["written"] == "yes":
            assert f"`{row['table']}`" in page, row["table"]


def test_data_every_fact_has_its_source():
    known = schema.references()
    for path in sorted(schema.folder().rglob("*.csv")):
        rows = schema.read_rows(path)
        if rows and "reference_id" in rows[0]:
            for row in rows:
                assert row["reference_id"] in known, f"{path.name}: {row['reference_id']!r}"
            if "how" in rows[0]:
                assert {row["how"] for row in rows} <= {"read", "computed", "memory"}, path.name


def test_data_fields_measure_what_their_names_say():
    for field in schema.fields().values():
        suffix = schema.suffix_of(field.name)
        if field.unit:
            assert suffix and suffix["unit"] == field.unit, field.name
        assert field.description.endswith("."), field.name
        if field.codes:
            assert schema.codes(field.codes), field.name
        for low, high in ((field.hard_min, field.hard_max), (field.typical_min, field.typical_max)):
            assert low is None or high is None or low < high, field.name


def test_data_invented_prices_say_so():
    rows = schema.rows("prices")
    assert rows and all(row["invented"] == "yes" and row["valid_from"] for row in rows)


def test_docs_the_well_named_in_the_readme_is_in_the_sample():
    well = re.search(r"explain --run outputs/sample --well (\S+)", README)[1]
    told = (ROOT / "sample_data" / "brindle_state_completions.csv").read_text(encoding="cp1252")
    assert f"{well}," in told


def test_docs_practice_table_is_as_the_program_works_it_out():
    from pipeline import practice_table

    kept = re.search(r"<!-- practice table -->\n(.+?)\n<!-- end -->", GUIDE, flags=re.S)[1]
    assert kept == practice_table.excerpt(practice_table.table("us")), "print it again with practice_table.excerpt"
