"""The catalogue of human words."""

import re

import pytest

from pipeline import schema, words
from pipeline.errors import SchemaError
from pipeline.report import names


@pytest.mark.parametrize("table", list(schema.tables()))
def test_data_every_declared_column_has_words(table):
    for column in schema.table(table):
        assert words.label(column.field.name), column.field.name


def test_labels_of_bands_and_basis():
    assert words.label("depth_static_m") == "Static level"
    assert words.label("depth_static_m_low") == "Static level, low"
    assert words.label("depth_static_basis_code") == "Static level, how known"
    assert words.label("length_m_p90") == "Length, P90"
    assert words.label("choice_holds_low") == "Choice holds at the low end"


def test_what_is_missing_is_an_error():
    with pytest.raises(SchemaError, match=r"no message 'report\.nothing'"):
        words.say("report.nothing")
    with pytest.raises(SchemaError, match="was not given"):
        words.say("report.more", shown=3)


def test_values_with_braces_are_put_in_as_they_are():
    assert words.say("report.size", size="{0} {x}") == "{0} {x}"


def test_data_cautions_name_the_dangers():
    text = " ".join(words.cautions()).lower()
    for danger in ("lift", "power lines", "supply", "pressure", "drink", "disinfect", "local code", "licensed",
                   "screening"):  # fmt: skip
        assert danger in text, danger


def test_data_texts_are_plain():
    for key, text in words.catalogue().items():
        assert text.strip() == text and text, key
        # a unit is named as pint writes it
        assert re.fullmatch(r"[a-z_]+\.[A-Za-z0-9_.]+|unit\.[A-Za-z0-9_*/]+", key), key
        assert "!" not in text and "—" not in text, key


def test_names_of_goods_are_words():
    options = schema.rows("options")
    assert all(row["nominal_size"] in names.pipe(row["option_id"]) for row in options)
    assert len({names.pipe(row["option_id"]) for row in options}) == len(options)
    assert names.item("coupling_pvc_threaded-1.25") == "Coupling of the pipe's own joint (PVC, threaded, 1-1/4 in)"
    assert names.item("coupling_pvc_stainless-1") == "Stainless coupling for threaded PVC (1 in)"
    assert names.item("cable-awg12") == "Submersible power cable, three wires and earth, 12 AWG"
    assert names.item("something_new") == "something_new"
    assert names.rule("V103")["title"] == "Pump below the bottom"
    place = list(schema.fields()).index("depth_static_m") + 1
    assert names.rule(f"V{200 + place}")["title"] == "Outside the typical range: Static level"
