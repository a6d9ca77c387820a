"""Looks under days and weeks, below a title that spans them all."""

import datetime as dt

import pytest
import xlsxwriter
from mapped_stations import run
from reading import accepted


def write(path, days, head, titles):
    """Write a sheet of queens with looks under days; titles are merged over columns."""
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("2025")
        for first, last, text in titles:
            sheet.merge_range(0, first, 0, last, text) if first < last else sheet.write(
                0, first, text
            )
        day = book.add_format({"num_format": "dd/mm/yyyy"})
        for at, text in enumerate([*head, *days]):
            form = [day] if isinstance(text, dt.date) else []
            (sheet.write_datetime if form else sheet.write)(1, at, text, *form)
        for n in range(1, 9):
            sheet.write_row(
                n + 1, 0, [f"Q{n}", f"2025-06-{n:02}", "8", *["eggs"] * len(days)]
            )


@pytest.fixture
def book(tmp_path):
    (tmp_path / "records").mkdir()
    return tmp_path


DAYS = [dt.date(2025, 6, 20), "27.6.2025", "4.7.2025", dt.date(2025, 7, 11)]


@pytest.mark.parametrize("top", ["Checks", "Inspections 2025"])
def test_a_title_over_all_days_is_no_part_of_them(book, top):
    titles = [(0, 0, "Inseminations 2025"), (3, 6, top)]
    write(book / "records" / "b.xlsx", DAYS, ["Queen", "Inseminated", "Dose"], titles)
    _, settings = run(book)
    assert settings["files"]["b.xlsx#2025"]["header"] == 2
    found = {
        row["checked_on"] for row in accepted(book, dt.date(2025, 12, 31))["checks"]
    }
    assert found == {"2025-06-20", "2025-06-27", "2025-07-04", "2025-07-11"}


def test_what_other_headings_need_from_above_is_kept(book):
    titles = [(0, 0, "Queen"), (1, 2, "Insemination"), (3, 6, "Checks")]
    write(book / "records" / "b.xlsx", DAYS, ["No.", "Date", "Amount"], titles)
    _, settings = run(book)
    assert settings["files"]["b.xlsx#2025"]["header"] == [1, 2]


def test_a_week_among_days_is_the_day_that_is_answered(book):
    days = [DAYS[0], "week 26", DAYS[1], "wk 28"]
    write(
        book / "records" / "b.xlsx",
        days,
        ["Queen", "Inseminated", "Dose"],
        [(0, 0, "II"), (3, 6, "Checks")],
    )
    begun, _ = run(book, {"weekday:b.xlsx#2025:checks:checked_on": "tuesday"})
    (asked,) = [q for q in begun.asked if q.kind == "weekday"]
    assert '2 columns, from "week 26" to "wk 28"' in asked.evidence[0]
    found = {
        row["checked_on"] for row in accepted(book, dt.date(2025, 12, 31))["checks"]
    }
    assert found == {"2025-06-20", "2025-06-24", "2025-06-27", "2025-07-08"}
