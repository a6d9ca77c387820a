"""Where a sheet's headings stand, what its columns are called, and which rows are records."""

import pytest
from queen_outcomes.records.map.seen.opened import Cell, CellGrid, Row
from queen_outcomes.records.map.seen.sheet import (
    _is_datum,
    is_total,
    lay_out,
    top_texts,
)
from sheets_by_hand import grid, sheet

HEAD = "Queen,Date,Eggs,Larvae"
BODY = [f"D{n},2025-06-0{n},yes,no" for n in range(1, 6)]


def lines_of(rows):
    return [row.line for row in rows]


def laid(*lines, spans=()):
    made = grid("\n".join(lines))
    return lay_out(CellGrid(made.source, made.rows, frozenset(spans)))


@pytest.mark.parametrize(
    ("lines", "header", "names"),
    [
        ([HEAD, *BODY], [1], HEAD.split(",")),
        # below titles, whatever they say
        (["Spring,,,", "by Ada,,,", HEAD, *BODY], [3], HEAD.split(",")),
        (["Queen,,,", HEAD, *BODY], [2], HEAD.split(",")),
        # of two rows of headings alike the first one is meant
        ([HEAD, *BODY, HEAD, *BODY], [1], HEAD.split(",")),
        # of two that name as much the wider one
        (
            ["Queen,Eggs,", "zork,plonk,fleem", "Queen,Eggs,Zork", "D1,yes,z"],
            [3],
            ["Queen", "Eggs", "Zork"],
        ),
        # two words that nobody knows beside a known one, not three
        (["Queen,Eggs zork plonk", "D1,yes"], [1], ["Queen", "Eggs zork plonk"]),
        (["Queen,Eggs zork plonk fleem", "D1,yes"], [], []),
        # two known names are enough, one is not, and data count against them
        (["Queen,Eggs,Zork", "D1,yes,z"], [1], ["Queen", "Eggs", "Zork"]),
        (["Queen,Zork", "D1,yes"], [], []),
        (["Queen,Eggs,5,6", "D1,yes,1,2"], [], []),
        (["Queen,Eggs,5", "D1,yes,1"], [1], ["Queen", "Eggs", "5"]),
        (["Queen", "Eggs"], [], []),
        # a repeated heading is told apart, a blank one has no name
        (["Queen,Eggs,,eggs", "D1,yes,z,no"], [1], ["Queen", "Eggs", "", "eggs (2)"]),
        # days as headings, with findings below them
        (
            ["Queen,2025-06-01,2025-06-08", "D1,eggs,x"],
            [1],
            ["Queen", "2025-06-01", "2025-06-08"],
        ),
        (
            ["by Ada,,", "Queen,2025-06-01,2025-06-08", "D1,eggs,x", "D2,x,x"],
            [2],
            ["Queen", "2025-06-01", "2025-06-08"],
        ),
        (["Queen,2025-06-01", "D1,eggs"], [], []),
        (["2025-06-01,2025-06-08", "eggs,x"], [], []),
        (["Zork,2025-06-01,2025-06-08", "D1,eggs,x"], [], []),
        (["Queen,2025-06-01,2025-06-08", "D1,2025-06-09,x"], [], []),
        (
            ["Queen,2025-06-01,2025-06-08", "D1,2025-06-09,x", "D2,x,x", "D3,x,"],
            [1],
            ["Queen", "2025-06-01", "2025-06-08"],
        ),
        (["Queen,2025-06-01,2025-06-08", "D1,,"], [], []),
        (["", ""], [], []),
    ],
)
def test_where_the_headings_stand(lines, header, names):
    found = laid(*lines)
    assert found.header == header
    assert [column.name for column in found.columns] == names


@pytest.mark.parametrize(
    ("text", "is_datum"),
    [("yes", True), ("y", False), ("x", False), ("Eggs", False), ("8.5", True), ("2025-06-01", True), ("10:30", True), ("zork", False)],
)  # fmt: skip
def test_a_value_is_told_from_a_heading(text, is_datum):
    assert _is_datum(Cell(text)) == is_datum


@pytest.mark.parametrize(
    ("lines", "is_form"),
    [
        ([HEAD], True),
        (["Spring,,,", HEAD, ",,,", ",,,"], True),
        ([HEAD, BODY[0]], False),
        ([HEAD, "Total,,,"], False),
        # of a line that nobody knows none can say what it is
        (["Zork,Plonk"], False),
        ([""], False),
    ],
)
def test_headings_with_nothing_below_are_a_form(lines, is_form):
    assert laid(*lines).is_form == is_form


def test_a_parquet_file_without_a_row_is_a_form():
    head = Row(0, tuple(Cell(name) for name in HEAD.split(",")))
    assert lay_out(CellGrid("a.parquet", (head,))).is_form


@pytest.mark.parametrize(
    ("lines", "spans", "header", "names"),
    [
        # an upper row reaches right over cells that say something below
        (
            ["Queen,Check 1,,Check 2,", ",Eggs,Larvae,Eggs,Larvae"],
            [],
            [1, 2],
            [
                "Queen",
                "Check 1 Eggs",
                "Check 1 Larvae",
                "Check 2 Eggs",
                "Check 2 Larvae",
            ],
        ),
        (
            ["Queen,Check,", "Queen,Eggs,Larvae"],
            [],
            [1, 2],
            ["Queen", "Check Eggs", "Check Larvae"],
        ),
        # the cell below says the same, or nothing
        (
            ["Queen,Eggs,", "Queen,Eggs,Larvae"],
            [],
            [1, 2],
            ["Queen", "Eggs", "Eggs Larvae"],
        ),
        (
            ["Queen,Check,,,", ",,Eggs,Larvae,Sealed"],
            [],
            [1, 2],
            ["Queen", "Check", "Eggs", "Larvae", "Sealed"],
        ),
        # a merged one reaches as far as it is merged: "Note" is no part of a group
        (
            ["Queen,Check 1,,Check 2,,", ",Eggs,Larvae,Eggs,Larvae,Note"],
            [(0, 2), (0, 4)],
            [1, 2],
            [
                "Queen",
                "Check 1 Eggs",
                "Check 1 Larvae",
                "Check 2 Eggs",
                "Check 2 Larvae",
                "Note",
            ],
        ),
        # of as many cells each: two rows where one heading comes again
        (
            ["Queen,Check,Check,", ",Eggs,Larvae,Sealed"],
            [],
            [1, 2],
            ["Queen", "Check Eggs", "Check Larvae", "Check Sealed"],
        ),
        (
            ["Queen,Check,Round,", ",Eggs,Larvae,Sealed"],
            [],
            [1],
            ["Queen", "Check", "Round", ""],
        ),
        # both full: two rows only where the upper has merged cells
        (["Queen,Eggs", "Queen no,Eggs seen"], [], [1], ["Queen", "Eggs"]),
        (
            ["Queen,Eggs", "Queen no,Eggs seen"],
            [(0, 1)],
            [1, 2],
            ["Queen Queen no", "Eggs Eggs seen"],
        ),
        (["Queen,Eggs", "Queen no,Eggs seen"], [(1, 1)], [1], ["Queen", "Eggs"]),
        # a row of data, of one cell, or of words unknown is no second row
        (["Queen,Eggs,", "D1,yes,8"], [], [1], ["Queen", "Eggs", ""]),
        (["Queen,Eggs,", ",,Larvae"], [], [1], ["Queen", "Eggs", ""]),
        (["Queen,Eggs,", "zork,plonk,fleem"], [], [1], ["Queen", "Eggs", ""]),
        (["Queen,Eggs,", "Queen,plonk,fleem"], [], [1], ["Queen", "Eggs", ""]),
        # a title and the signs explained beside it head nothing, nor does one with a year
        (["Queens,,M = Max,", "Queen,Batch,Dose,Eggs"], [], [2], ["Queen", "Batch", "Dose", "Eggs"]),
        (["Queens 2025,,Checks,", "Queen,Batch,Day,Eggs"], [], [2], ["Queen", "Batch", "Day", "Eggs"]),
        (
            ["Queens 2025,,Check,", "Queen,Batch,Day,Eggs"],
            [(0, 1)],
            [1, 2],
            ["Queens 2025 Queen", "Queens 2025 Batch", "Check Day", "Check Eggs"],
        ),
        (
            ["Queens 2025,,Check 1,,Check 2,", "Queen,Batch,Day,Eggs,Day,Eggs"],
            [],
            [1, 2],
            [
                *["Queens 2025 Queen", "Queens 2025 Batch"],
                *["Check 1 Day", "Check 1 Eggs", "Check 2 Day", "Check 2 Eggs"],
            ],
        ),
        # six in ten known words make it one
        (
            ["Queen,Eggs,,,", "Queen,Eggs,Larvae,zork,plonk"],
            [],
            [1, 2],
            ["Queen", "Eggs", "Eggs Larvae", "Eggs zork", "Eggs plonk"],
        ),
    ],
)
def test_headings_of_two_rows(lines, spans, header, names):
    body = ["D9,yes,no,yes,no"[: 3 * lines[0].count(",") + 2]] * 3
    found = laid(*lines, *body, spans=spans)
    assert found.header == header
    assert [column.name for column in found.columns] == names


def test_a_heading_behind_merged_cells_is_counted_as_the_reader_counts_it():
    found = laid("Queen,Date,,Date", *["D1,2025-06-01,x,2025-06-09"] * 3, spans=[(0, 2)])
    assert [column.name for column in found.columns] == ["Queen", "Date", "", "Date (3)"]


def test_what_the_settings_name_is_a_heading_whatever_its_words():
    made = grid("Zork,Plonk\nD1,yes")
    assert lay_out(made).header == []
    own = {"zork": frozenset({"column:queen_id"}), "plonk": frozenset({"column:eggs"})}
    found = lay_out(made, own=own)
    assert found.header == [1]
    assert [column.heading.of("column") for column in found.columns] == [
        {"queen_id"},
        {"eggs"},
    ]
    assert found.columns[0].heading.unknown == ()


def test_rows_are_records_group_lines_or_neither():
    found = laid(
        HEAD,
        "Yard 3,,,",  # heads the group below it
        *BODY,
        "Queen,Date,Eggs,Larvae",  # the headings again, or most of them
        "queen,date,eggs,zork",
        "Total,5,5,",
        "5 queens,,,",
        "seen,by hand,,",  # two cells without a day
        "D6,2025-06-09,,",  # a day and a label
        "D7,yes,no,",
        ",,,",
        "end of it,,,",  # below the last record
    )
    assert lines_of(found.rows) == [*range(3, 8), 9, 13, 14]
    assert lines_of(found.passed) == [8, 10, 11, 12, 16]
    assert lines_of(found.groups) == [2]
    assert found.lines[13].cells[0].text == "D6"
    assert found.column("Eggs").contents.texts == ["yes"] * 5 + ["eggs", "no"]


def test_a_repeated_heading_is_known_by_four_in_five_of_its_cells():
    found = laid(
        "Queen,Date,Eggs,Larvae,Sealed", *BODY, "Queen,Date,Eggs,Larvae,x", "Queen,x,,,"
    )
    assert lines_of(found.passed) == [7, 8]
    assert lines_of(found.rows) == [2, 3, 4, 5, 6]


def test_in_a_narrow_sheet_short_rows_are_records():
    found = laid(
        "Queen,Date,Eggs",
        *["D1,2025-06-01,yes"] * 3,
        "Yard 3,,",
        "D2,yes,",
        "Queen,Date,",
    )
    assert lines_of(found.rows) == [2, 3, 4, 5, 6]


@pytest.mark.parametrize(
    ("cell", "datum"),
    [
        (Cell("zork", "time"), True),
        (Cell("2025-06-01"), True),
        (Cell("80"), True),
        (Cell("80 c"), False),  # a unit that names a column
        (Cell("8:15"), True),
        (Cell("ja"), True),
        (Cell("v"), False),
        (Cell("present"), False),
        (Cell("Eggs"), False),
    ],
)
def test_a_value_is_no_heading(cell, datum):
    assert _is_datum(cell) is datum


def test_rows_that_call_themselves_void_by_their_first_cell():
    found = laid(
        HEAD + ",Note",
        "D1,2025-06-01,yes,no,",
        "D2,2025-06-02,yes,no,Void: wrong row",
        "D3,2025-06-03,yes,no,void",
        "d3,2025-06-04,yes,no,",
        "D4,2025-06-04,yes,no,avoided",
    )
    assert found.void_lines == [3, 4]
    assert found.void == {"D2": "Void: wrong row"}


@pytest.mark.parametrize(
    ("text", "total"),
    [
        ("Total", True),
        ("total of May", True),
        ("totality", False),
        ("36 queens", True),
        ("12 checks", True),
        ("12", False),
        ("queens", False),
        ("some queens", False),
        ("12 zorks", False),
        ("...", False),
    ],
)
def test_a_row_that_counts_others(text, total):
    assert is_total(text) is total


def test_headings_are_looked_for_in_the_first_rows_and_short_texts():
    long = "x" * 61
    many = grid("\n".join([f"a{n},{'x' * 60},{long}" for n in range(40)]))
    assert len(top_texts(many)) == 60
    assert long not in top_texts(many)
    gap = CellGrid("s", (Row(1, (Cell(""),)), Row(2, (Cell("a"), Cell("")))))
    assert top_texts(gap) == ["a"]
    late = sheet("\n".join(["zork,plonk"] * 30 + ["Queen,Eggs", "D1,yes"]))
    assert late.header == []
    assert sheet("\n".join(["zork,plonk"] * 29 + ["Queen,Eggs", "D1,yes"])).header == [
        30
    ]
