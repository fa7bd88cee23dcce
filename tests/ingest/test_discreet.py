"""What of a raw text may be shown."""

from __future__ import annotations

import pytest

from pipeline.ingest.discreet import shown, title


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ("ask Ilvarette Quillbywort 555-0147-8832", "…"),
        ("see zib@mail.example", "see …"),
        ("6 (Vexmoorland)", "6 (…)"),
        ("(555) 014 7883", "…"),
        ("PX-0417-88-2291", "PX-…"),
        ("before Ilvarette came", "before …"),
        # what helps to mend a record stays
        ("1,200 gpm", "1,200 gpm"), ("5'6\"", "5'6\""), ("6 5/8", "6 5/8"), (">500", ">500"), ("100-120", "100-120"),
        ("9999999", "9999999"), ("44.123456789", "44.123456789"), ("2016-03-01", "2016-03-01"), ("31/12/1999", "31/12/1999"),
        ("dry", "dry"), ("artesian", "artesian"), ("N 44° 12' 30\"", "N 44° 12' 30\""), ("hand pump", "hand pump"),
    ],
)  # fmt: skip
def test_words_of_the_trade_and_numbers_stay(text: str, seen: str) -> None:
    assert shown(text) == seen


def test_a_sheet_is_called_by_its_number_when_its_title_may_be_a_name() -> None:
    assert title("Well data 2016", 1) == "Well data 2016"
    assert title("Quillbywort", 3) == "sheet 3"
