"""Headings of two rows with merged cells: what `map` writes has the reader's names."""

import datetime as dt

import xlsxwriter
from mapped_stations import run
from queen_outcomes.records.map.running import begin
from reading import accepted

AS_OF = dt.date(2025, 12, 31)
LOOK = ["Date", "Eggs", "Larvae"]


def write_book(path, groups, names, rows):
    """Write a sheet whose upper headings are (first column, last column, text)."""
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("2025")
        for first, last, text in groups:
            sheet.merge_range(0, first, 0, last, text)
        sheet.write_row(1, 0, names)
        for line, row in enumerate(rows, 2):
            sheet.write_row(line, 0, row)


def test_a_column_right_of_the_last_merged_heading_is_read(tmp_path):
    (tmp_path / "records").mkdir()
    looks = ["2025-05-26", "yes", "no", "2025-06-14", "yes", "yes"]
    write_book(
        tmp_path / "records" / "bench.xlsx",
        [(0, 1, "Queens"), (2, 3, "Insemination"), (4, 6, "Check 1"), (7, 9, "Check 2")],
        ["Queen no", "Line", "Date", "Dose", *LOOK, *LOOK, "Remarks"],
        [
            [f"D{n}", "north", "2025-05-13", "8", *looks, "calm"]
            for n in range(1, 8)
        ],
    )
    run(tmp_path)
    read = accepted(tmp_path, AS_OF)
    assert len(read["checks"]) == 14
    assert {row["note"] for row in read["inseminations"]} == {"calm"}


def test_remarks_under_a_look_are_findings_whatever_they_are_called(tmp_path):
    (tmp_path / "records").mkdir()
    look = ["datum", "e", "l", "g", "opm."]
    seen = ["2025-05-26", "+", "-", "-", "", "2025-06-14", "+", "+", "+"]
    write_book(
        tmp_path / "records" / "bench.xlsx",
        [(0, 1, "gegevens"), (2, 3, "KI"), (4, 8, "1e controle"), (9, 13, "2e controle")],
        ["nr", "lijn", "KI datum", "µl", *look, *look, "opmerkingen"],
        [
            [f"1-0{n}", "noord", "2025-05-13", "8", *seen, ("weg", "paar darrencellen")[n % 2], "ok"]
            for n in range(1, 8)
        ],
    )
    begun = begin(tmp_path)
    begun.accept()
    asked = {question.id for question in begun.open}
    assert "word:findings:paar darrencellen" in asked
    (gone,) = [word for word in begun.proposal.words if word.text == "weg"]
    assert (gone.column, gone.means["exit"]) == ("findings", "missing")
