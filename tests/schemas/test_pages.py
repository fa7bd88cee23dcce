"""The pages that are made from the declarations stand as they would be made now."""

from pathlib import Path

import pytest

from pipeline import reference_pages, schema

FOLDER = Path(__file__).resolve().parents[2] / "schemas" / "pages"


@pytest.mark.parametrize("name", list(reference_pages.pages()))
def test_docs_page_is_in_step(name):
    kept = (FOLDER / name).read_text(encoding="utf-8")
    assert kept == reference_pages.pages()[name], "run: wellstring pages --out schemas/pages"


def test_docs_dictionary_holds_every_column_of_every_table():
    text = reference_pages.pages()["data_dictionary.md"]
    for table, columns in schema.tables().items():
        assert f"## {table}\n" in text
        for column in columns:
            assert f"| `{column.field.name}` |" in text


def test_data_terms_of_the_standard_belong_to_declared_fields():
    rows = schema.rows("gwml2")
    assert {row["field"] for row in rows} <= set(schema.fields())
    assert {row["term"] for row in rows} >= {"gwWellName", "gwWellStaticWaterDepth", "gwWellYield", "gwWellStatus"}
