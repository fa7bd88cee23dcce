"""Dates of every form, with their precision."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from pipeline.normalise import dates, text
from pipeline.normalise.issues import IssueLog

LATEST = date(2026, 11, 30)


def read(texts: list[str], order: str = "ymd", market: str = "metric", latest: date | None = LATEST):
    keys = pd.DataFrame({"source_row": range(len(texts))}).assign(source_id="s", well_id="a", source_file="f.csv")
    log = IssueLog()
    days, precision = dates.read(text.encode(pd.Series(texts, dtype="str")), "completed_date", order, market, latest,
                                 ("",), keys, log)  # fmt: skip
    return [None if np.isnat(d) else str(d) for d in days], list(precision), log.table()


@pytest.mark.parametrize(
    ("found", "day", "precision"),
    [
        ("1998-03-05", "1998-03-05", 1), ("1998-03-05T10:00:00Z", "1998-03-05", 1), ("19700000", "1970-07-01", 3),
        ("19701100", "1970-11-15", 2), ("19701119.0", "1970-11-19", 1), ("1987", "1987-07-01", 3),
        ("1998-03", "1998-03-15", 2), ("03/1998", "1998-03-15", 2), ("5-Mar-1998", "1998-03-05", 1),
        ("March 5, 1998", "1998-03-05", 1), ("Mar 1998", "1998-03-15", 2), ("888710400000", "1998-03-01", 1),
        ("35859", "1998-03-05", 1), ("25/12/1999", "1999-12-25", 1), ("2004-00-00", "2004-07-01", 3),
        ("2004-05-00", "2004-05-15", 2), ("00/00/2004", "2004-07-01", 3), ("00/05/2004", "2004-05-15", 2),
        ("circa 1975", "1975-07-01", 3), ("~1975", "1975-07-01", 3), ("1975?", "1975-07-01", 3), ("about March 1998", "1998-03-15", 2),
        ("Spring 1998", "1998-07-01", 3), ("888710400", "1998-03-01", 1), ("-284428800000", "1960-12-27", 1),
        ("35859.75", "1998-03-05", 1), ("1998-03-05 00:00:00", "1998-03-05", 1), ("Mar-98", "1998-03-15", 2),
    ],
)  # fmt: skip
def test_one_form(found: str, day: str, precision: int) -> None:
    # 888710400000 ms after 1970 and serial day 35859 were worked out with the standard library's datetime
    days, precisions, _ = read([found])
    assert (days[0], precisions[0]) == (day, precision)


def test_order_is_decided_by_the_dates_of_the_column() -> None:
    assert read(["13/02/2001", "03/04/2001"])[0] == ["2001-02-13", "2001-04-03"]
    assert read(["02/13/2001", "03/04/2001"])[0] == ["2001-02-13", "2001-03-04"]


def test_order_of_the_layout_then_of_the_market_when_no_date_tells() -> None:
    assert read(["03/04/2001"], order="mdy")[0] == ["2001-03-04"]
    assert read(["03/04/2001"], market="us")[0] == ["2001-03-04"]
    assert read(["03/04/2001"], market="metric")[0] == ["2001-04-03"]


def test_two_digit_years_never_reach_the_future() -> None:
    days, _, issues = read(["05-Mar-29", "05-Mar-19"])
    assert days == ["1929-03-05", "2019-03-05"]
    assert set(issues["code"]) == {"N303"}


def test_future_and_unreadable_dates_are_missing_with_an_issue() -> None:
    days, precision, issues = read(["2031-01-01", "31/02/2001x", "2001-13-40", "soon"])
    assert days == [None] * 4 and precision == [0] * 4
    assert sorted(issues["code"]) == ["N301", "N301", "N301", "N302"]


def test_first_of_a_calendar_is_not_a_day() -> None:
    assert read(["1900-01-01"])[0] == [None]


def test_years_stored_as_first_of_january_are_years() -> None:
    texts = [f"{year}-01-01" for year in range(1980, 2000)] + ["1999-05-06"]
    days, precision, issues = read(texts)
    assert days[0] == "1980-07-01" and precision[0] == 3
    assert days[-1] == "1999-05-06" and precision[-1] == 1
    assert "N306" in set(issues["code"])


def test_as_of_wins_over_retrieved() -> None:
    assert dates.newest("2020-05-06", "2026-11") == date(2020, 5, 6)
    assert dates.newest("", "2026-11") == date(2026, 11, 30)
    assert dates.newest("", "") is None


def test_firsts_of_january_few_among_many_days_are_years_too() -> None:
    days = [f"{1 + i % 12}/{2 + i % 27}/2001" for i in range(960)]
    found, precision, issues = read([*days, *(f"1/1/{1980 + i % 20}" for i in range(40))], order="mdy")
    assert "N306" in set(issues["code"]) and precision[-40:] == [3] * 40 and found[-1] == "1999-07-01"
    # about as many as chance gives stay days
    _, precision, issues = read([*days, *["1/1/1990"] * 12], order="mdy")
    assert "N306" not in set(issues["code"]) and precision[-1] == 1


def test_midnight_east_of_greenwich_is_the_day_after() -> None:
    evening = [f"2001-03-{d:02d}T22:00:00Z" for d in range(1, 12)]
    days, _, issues = read(evening)
    assert days[0] == "2001-03-02" and "N308" in set(issues["code"])
    # 888703200000 ms is 1998-02-28 22:00 in universal time (standard library)
    assert read(["888703200000", "888789600000", "888876000000"])[0] == ["1998-03-01", "1998-03-02", "1998-03-03"]
    west = [f"2001-03-{d:02d}T06:00:00Z" for d in range(1, 12)]
    assert read(west)[0][0] == "2001-03-01"
    mixed = [f"2001-03-{d:02d}T{d + 8:02d}:00:00Z" for d in range(1, 12)]
    assert read(mixed)[0][10] == "2001-03-11"
    assert read([f"2001-03-{d:02d}T22:00:00" for d in range(1, 12)])[0][0] == "2001-03-01"  # a local clock


def test_one_day_on_many_records_is_told_and_kept() -> None:
    texts = [f"19{60 + i}-05-06" for i in range(35)] + ["1999-12-30"] * 20
    days, _, issues = read(texts)
    assert days[-1] == "1999-12-30"
    assert issues.loc[issues["code"] == "N309", "found"].tolist() == ["1999-12-30"]


def test_the_order_is_told_with_its_reason() -> None:
    _, _, issues = read(["13/02/2001", "03/04/2001"], order="dmy")
    told = issues[issues["code"] == "N305"].iloc[0]
    assert told["found"] == "dmy" and "1 dates only day first" in told["used"]


def test_headers_of_the_office() -> None:
    assert dates.is_office_day("DATE_RECEIVED") and dates.is_office_day("Permit Date")
    assert not dates.is_office_day("DATE_DRLL") and not dates.is_office_day("Completion Date")
