"""Looks in cells with their days, from the sheet to the records that are accepted."""

import datetime as dt

import xlsxwriter
from mapped_stations import run
from reading import accepted

ANSWERS = {
    "word:findings:zork": "sealed = yes",
    "fates:*:exits:Gone": "yes",
    "word:reason:culled": "culled_fault",
}
AS_OF = dt.date(2025, 12, 31)
CHECKS = [
    "19/11 laying; 9/3 good brood",
    "6/11 eggs\n10/3 gone",
    "7/11 no eggs",
    "21/11 eggs; 7/12 queenless; 9/3 zork",
    "21/11 laying",
    "",
]
GONE = ["", "", "culled 2/12", "", "sold 9/1", "sold 22/1"]


def book(station, checks=CHECKS):
    """Write a bench list of a season over the turn of the year, with its looks beside it."""
    (station / "records").mkdir()
    with xlsxwriter.Workbook(station / "records" / "book.xlsx") as made:
        sheet = made.add_worksheet("23-24")
        sheet.write_row(0, 0, ["Queens 2023/24"])
        sheet.write_row(1, 0, ["Queen", "Inseminated", "Dose", "Checks", "Gone"])
        for line, (seen, gone) in enumerate(zip(checks, GONE, strict=True), 2):
            sheet.write_row(line, 0, [f"R{line}", "2023-10-25", 8, seen, gone])


def test_looks_of_a_cell_are_read_with_the_years_of_their_season(tmp_path):
    book(tmp_path)
    begun, settings = run(tmp_path, ANSWERS)
    assert not begun.open
    assert settings["files"]["book.xlsx#23-24"]["apart"] == {"Checks": 3, "Gone": 1}
    found = accepted(tmp_path, AS_OF)
    looks = {(row["queen_id"], row["checked_on"]): row for row in found["checks"]}
    assert sorted(looks) == [
        *[("R2", "2023-11-19"), ("R2", "2024-03-09"), ("R3", "2023-11-06"), ("R3", "2024-03-10")],
        *[("R4", "2023-11-07"), ("R5", "2023-11-21"), ("R5", "2023-12-07"), ("R5", "2024-03-09")],
        ("R6", "2023-11-21"),
    ]
    assert looks["R3", "2024-03-10"]["queen_seen"] == "no"
    assert looks["R5", "2024-03-09"]["sealed"] == "yes"
    gone = {row["queen_id"]: (row["reason"], row["left_on"]) for row in found["exits"]}
    assert gone["R3"] == ("missing", "2024-03-10")
    assert (gone["R6"][1], gone["R7"][1]) == ("2024-01-09", "2024-01-22")


def test_what_is_answered_later_is_read_too(tmp_path):
    book(tmp_path)
    run(tmp_path, accept=False)
    begun, settings = run(tmp_path, ANSWERS)
    assert not begun.open
    assert settings["files"]["book.xlsx#23-24"]["apart"] == {"Checks": 3, "Gone": 1}
    found = accepted(tmp_path, AS_OF)
    assert (len(found["checks"]), len(found["exits"])) == (9, 4)


def test_a_season_is_the_year_of_days_whatever_other_days_stand_in_their_row(tmp_path):
    book(tmp_path)
    with xlsxwriter.Workbook(tmp_path / "records" / "book.xlsx") as made:
        sheet = made.add_worksheet("23-24")
        sheet.write_row(0, 0, ["Queen", "Inseminated", "Dose", "Check date", "Eggs", "Gone"])
        days = ["2023-10-25", "2023-11-25", "2023-12-25", "2024-01-25", "2024-02-25"]
        for line, day in enumerate(days, 1):
            sheet.write_row(line, 0, [f"R{line}", day, 8, ["20 Dec", "20 Dec", "2 Jan", "9 Mar", "9 Mar"][line - 1], "Y", "sold 9/4"])
    _, settings = run(tmp_path, {"fates:*:exits:Gone": "yes"})
    habits = settings["files"]["book.xlsx#23-24"]
    assert (habits["year"], "year_of" in habits) == ("2023/24", False)
    found = {row["checked_on"] for row in accepted(tmp_path, AS_OF)["checks"]}
    assert found == {"2023-12-20", "2024-01-02", "2024-03-09"}
