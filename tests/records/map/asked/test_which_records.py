"""Which sheets and rows are asked about as perhaps no records."""

from dataclasses import replace

import pytest
from queen_outcomes.records.map.asked import which_records
from queen_outcomes.records.map.seen.opened import Cell, CellGrid, Row
from queen_outcomes.records.map.seen.sheet import Sheet
from queen_outcomes.records.map.seen.station import Part, Station
from sheets_by_hand import ids, part, sheet, station

BENCH = part("b.csv", "inseminations", queen_id=["D1", "D2", "7"])


def test_struck_and_hidden_rows():
    looks = part("c.csv", "checks", eggs=["yes"] * 9)
    looks.sheet.rows = [
        replace(row, struck=row.line > 3, hidden=row.line < 4)
        for row in looks.sheet.rows
    ]
    struck, hidden = which_records.rows_apart(station(looks))
    assert (struck.id, struck.default) == ("struck:c.csv:*:*", None)
    assert struck.evidence == ["rows 4, 5, 6, 7, 8 ..."]
    assert (hidden.id, hidden.default, hidden.evidence) == (
        "hidden:c.csv:*:*",
        "read",
        ["rows 2, 3"],
    )
    assert which_records.rows_apart(Station([looks.sheet], [])) == []
    looks.sheet.rows = [
        replace(row, struck=row.line < 7, hidden=False) for row in looks.sheet.rows
    ]
    (struck,) = which_records.rows_apart(station(looks))
    assert struck.evidence == ["rows 2, 3, 4, 5, 6"]


@pytest.mark.parametrize(
    ("table", "rows", "asked"),
    [
        ("inseminations", 10, False),
        ("inseminations", 11, True),
        ("exits", 6, False),
        ("exits", 7, True),
        ("checks", 50, False),
    ],
)
def test_more_rows_a_queen_than_a_table_allows(table, rows, asked):
    listed = part("j.csv", table, queen_id=[f"D{n % 5}" for n in range(rows)])
    found = which_records.journals(station(listed))
    assert ids(found) == [f"rows:j.csv:{table}:*"] * asked
    if asked:
        assert found[0].evidence == [f"5 queens stand in {rows} rows"]


@pytest.mark.parametrize(
    ("text", "evidence", "default"),
    [
        ("Zorb,Plonk\nred,blue", [], "yes"),
        ("1,2\n3,4", [], "yes"),
        ("Zorb,Plonk\nD 1,blue", ["1 labels of inseminated queens stand in it"], "yes"),
        ("Zorb,Plonk\nD1,D2", ["1 labels of inseminated queens stand in it"], "yes"),
        (
            "Zorb,Plonk\nD1,x\nD2,x",
            ["2 labels of inseminated queens stand in it"],
            None,
        ),
        ("Zorb,Plonk\n7,D1", ["1 labels of inseminated queens stand in it"], "yes"),
        ("Zorb,Plonk\nx,2025-05-14", ["1 days stand in one column"], None),
        ("Zorb,Plonk\n14 May,y\n8.5.,y", [], "yes"),
        (
            "Zorb,Plonk\n2025-05-14,2025-05-15\n2025-05-16,y",
            ["2 days stand in one column"],
            None,
        ),
    ],
)
def test_a_sheet_that_feeds_nothing(text, evidence, default):
    odd = sheet(text, "odd.csv")
    (asked,) = which_records.no_records(Station([BENCH.sheet, odd], [BENCH]))
    assert asked.id == "ignore:odd.csv:*:*"
    assert asked.evidence == ["no headings were found", *evidence]
    assert asked.default == default


def test_a_sheets_known_headings_are_told():
    odd = sheet("Queen,Eggs,Larvae\nx,y,z", "odd.csv")
    (asked,) = which_records.no_records(Station([odd], []))
    assert asked.evidence == ["headings: Queen, Eggs, Larvae"]


@pytest.mark.parametrize(
    ("source", "default"),
    [
        ("checks 2026.csv", None),
        ("book.xlsx#Exits", None),
        ("lab.xlsx#A", None),
        ("book.xlsx#Checks #2", None),
        ("book #2.xlsx#A", "yes"),
        ("label.csv", "yes"),
    ],
)
def test_what_has_the_name_of_a_table_is_never_left_out_unasked(source, default):
    odd = sheet("Zorb,Plonk\nx,y", source)
    (asked,) = which_records.no_records(Station([odd], []))
    assert asked.default == default


def test_a_form_that_nobody_has_filled_in_is_not_asked_about():
    titled = sheet("Spring,,\nQueen,Eggs,Larvae\n,,", "form.csv")
    assert which_records.no_records(Station([titled], [])) == []


def test_more_looks_than_a_row_may_hold_are_told():
    days = ",".join(f"2025-{5 + n // 28:02}-{1 + n % 28:02}" for n in range(64))
    odd = sheet(f"Queen,{days}\nD1{',eggs' * 64}", "odd.csv")
    (asked,) = which_records.no_records(Station([odd], []))
    assert asked.evidence[-1].startswith("64 looks or doses stand side by side, and a row may hold 63")
    assert asked.default is None


def test_days_as_a_workbook_holds_them_count_as_well():
    grid = CellGrid("odd.xlsx#A", (Row(1, (Cell("x"), Cell("2025-05-14", "date"))),))
    (asked,) = which_records.no_records(Station([Sheet(grid)], []))
    assert asked.evidence[1:] == ["1 days stand in one column"]


@pytest.mark.parametrize(
    ("source", "default"),
    [
        ("a.XLS", None),
        ("a #2.csv", None),
        ("a.parquet", None),
        ("a.jpg", "yes"),
        # a table without an ending, and one in a form that nothing reads
        ("2026/bench", None),
        ("checks 2026.pdf", None),
        ("checks/a.jpg", "yes"),
    ],
)
def test_a_file_that_was_not_opened(source, default):
    closed = Sheet(CellGrid(source, problem="it is broken"))
    (asked,) = which_records.no_records(Station([closed], []))
    assert (asked.evidence, asked.default) == (["it is broken"], default)


def test_rows_that_call_themselves_void():
    text = "Queen,Date,Eggs,Note\n" + "".join(
        f"{queen},2025-06-1{n},yes,{note}\n"
        for n, (queen, note) in enumerate(
            [("D1", ""), ("D2", "void"), ("D3", "x"), ("D3", "void")]
        )
    )
    laid = sheet(text, "c.csv")
    looks = part("c.csv", "checks", eggs=["yes"])
    seen = Station(
        [laid, sheet("Queen,Eggs\nD1,yes", "d.csv")], [Part(laid, looks.feed)]
    )
    (asked,) = which_records.void(seen)
    assert (asked.id, asked.evidence) == ("void:c.csv:*:*", ['"D2": "void"'])
    assert which_records.void(Station([laid], [])) == []


def test_fates_of_some_queens_make_no_diary_of_their_sheet():
    queens = [f"D{n}" for n in range(10)]
    fates = ["drone layer", "sold", "gone", *[""] * 7]
    looks = part("d.csv", "checks", queen_id=queens, fate=fates, eggs=["yes"])
    del looks.feed.uses["fate"]
    assert which_records.journals(station(looks)) == []


def test_a_sheet_that_feeds_a_table_twice_is_asked_about_once():
    listed = part("j.csv", "inseminations", queen_id=["D1"] * 3 + ["D2"] * 3)
    found = which_records.journals(station(listed, listed))
    assert ids(found) == ["rows:j.csv:inseminations:*"]


@pytest.mark.parametrize(
    ("deeds", "asked"),
    [
        (["inseminated", "CO2", "introduced", "check", "check", "sold"], True),
        (["unasienianie", "poddanie", "przegląd", "przegląd", "padła"], True),
        (["check", "inspection", "check", "visit"], False),
        (["check", "gentle", "angry", "inseminated", "gentle"], False),
        (["check"] * 4, False),
    ],
)
def test_a_diary_of_all_that_was_done_is_no_list_of_looks(deeds, asked):
    queens = ["D1", "D2"] * 3
    looks = part(
        "d.csv", "checks", queen_id=queens[: len(deeds)], done=deeds, eggs=["yes"]
    )
    del looks.feed.uses["done"]
    found = which_records.journals(station(looks))
    assert ids(found) == ["rows:d.csv:checks:*"] * asked
    if asked:
        assert found[0].evidence[1].startswith('"done" says "')
        assert "`only` for each thing done" in found[0].options["no"]


LOOKS = {"queen_id": [f"D{n}" for n in range(10)], "eggs": ["yes"] * 10}


def test_a_sheet_whose_rows_nearly_all_stand_in_another_is_its_copy():
    whole = part("checks.csv", "checks", **LOOKS)
    nine = {"queen_id": [*LOOKS["queen_id"][:9], "Z"], "eggs": ["yes"] * 10}
    (asked,) = which_records.copies(station(whole, part("looks.csv", "checks", **nine)))
    assert (asked.id, asked.sources) == ("copy:checks.csv:*:*", ("checks.csv",))
    assert asked.evidence == ["9 of its 10 rows stand in the other as well"]
    # the name of a copy gives way first, then the shorter
    (asked,) = which_records.copies(station(whole, part("checks (2).csv", "checks", **LOOKS)))
    assert asked.id == "copy:checks (2).csv:*:*"
    (asked,) = which_records.copies(
        station(whole, part("a.csv", "checks", queen_id=["D1"], eggs=["yes"]))
    )
    assert asked.text == 'Is "a.csv" a copy of "checks.csv"?'


def test_a_copy_is_told_by_its_files_name_not_by_its_sheets():
    assert which_records.looks_copied("2025/checks (2).csv#A")
    assert not which_records.looks_copied("old/checks.csv#copy")


def test_what_is_no_copy():
    whole = part("checks.csv", "checks", **LOOKS)
    eight = {"queen_id": [*LOOKS["queen_id"][:8], "Y", "Z"], "eggs": ["yes"] * 10}
    assert which_records.copies(station(whole, part("looks.csv", "checks", **eight))) == []
    assert which_records.copies(station(whole, part("looks.csv", "exits", **LOOKS))) == []
    assert which_records.copies(station(whole, part("looks.csv", "checks", queen_id=[]))) == []
