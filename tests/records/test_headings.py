"""Headings become our columns, or the station is told what to mend."""

import datetime as dt

import pytest
from queen_outcomes.base.errors import RecordsError
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.records.headings import (
    SEARCHED_ROWS,
    AskedNames,
    TableNames,
    absent,
    canonical,
    joined,
    map_columns,
    unique,
)
from reading import stage

CHECKS = TABLES["checks"]


def mapped(headings, columns=None):
    return map_columns(TableNames.of(CHECKS, columns or {}), headings, "checks.csv")


def test_case_blanks_hyphens_and_invisible_signs_do_not_matter():
    assert canonical("\ufeff Queen  -ID\u200b") == "queen_id"
    assert mapped(["QUEEN id", "Checked-on"]) == {"queen_id": 0, "checked_on": 1}


def test_the_stations_own_heading_comes_before_ours():
    columns = {"queen_id": "Königin  Nr."}
    headings = ["queen_id", "königin nr.", "checked_on"]
    assert mapped(headings, columns)["queen_id"] == 1


@pytest.mark.parametrize(
    ("rows", "found"),
    [
        ([["x"], ["day", "No.", "z"]], (1, 2, True)),
        ([["No."], ["x", "day"], ["No."]], (0, 1, False)),
        ([["No.", "y"], ["NO.", "Day"]], (1, 2, True)),
        ([["x"], ["y"]], (0, 0, False)),
    ],
)
def test_the_row_with_most_of_the_headings_asked_for_is_theirs(rows, found):
    assert AskedNames(("No.", "Day")).find(rows) == found


@pytest.mark.parametrize(
    ("rows", "found"),
    [
        # the first that has all that is required, though a later one has more
        ([["queen_id"], ["queen_id", "checked_on"], ["queen_id", "checked_on", "eggs"]], (1, 2, True)),
        # else the one with most, and of like ones the first
        ([["x"], ["eggs"], ["eggs", "note"], ["larvae", "note"]], (2, 2, False)),
        # else the first with anything in it, or the first
        ([["", None], ["x"], ["y"]], (1, 0, False)),
        ([["", None], [" "]], (0, 0, False)),
        ([], (0, 0, False)),
        # and no further down than headings are looked for
        ([["x"]] * (SEARCHED_ROWS - 1) + [["queen_id", "checked_on"]], (SEARCHED_ROWS - 1, 2, True)),
        ([["x"]] * SEARCHED_ROWS + [["queen_id", "checked_on"]], (0, 0, False)),
    ],
)  # fmt: skip
def test_the_row_of_headings_is_the_first_that_has_what_a_table_must_have(rows, found):
    assert TableNames.of(CHECKS, {}).find(rows) == found


def test_either_the_queen_or_the_colony_is_enough():
    assert mapped(["colony_id", "checked_on"]) == {"colony_id": 0, "checked_on": 1}
    with pytest.raises(RecordsError, match="queen_id or colony_id"):
        mapped(["checked_on"])


def test_two_headings_for_one_column_are_refused():
    with pytest.raises(RecordsError, match="two headings"):
        mapped(["queen_id", "Queen ID", "checked_on"])


def test_a_missing_column_is_told_with_the_nearest_heading():
    with pytest.raises(RecordsError, match='"checked_on" is missing') as caught:
        mapped(["queen_id", "chekced on"])
    assert 'checked_on = "chekced on"' in caught.value.hint


def test_a_mapped_heading_that_no_file_has_is_refused(tmp_path):
    settings = {"columns": {"checks": {"note": "Remarsk"}}}
    text = "queen_id,checked_on,Remarks\nQ1,2025-06-20,x\n"
    with pytest.raises(RecordsError, match='heading "Remarsk"') as caught:
        stage(tmp_path, settings, checks__csv=text)
    assert "Remarks" in caught.value.hint
    assert caught.value.found == "queen_id, checked_on, Remarks"


def test_headings_are_told_as_there_are_or_that_there_are_none():
    def found(*sources):
        return [one.found for one in absent("checks", {"note": "Remarsk"}, sources)]

    # two of a name are told apart by their number, and each heading is told once
    assert found(["Queen", "Egg", "Egg"], ["QUEEN"]) == ["QUEEN, Egg, Egg (2)"]
    assert found(["", " "], []) == ["no headings"]
    assert found(["remarsk"]) == []


def test_columns_that_are_not_used_are_noted_with_the_nearest(tmp_path):
    text = "queen_id,checked_on,egs,egs\nQ1,2025-06-20,x,y\n"
    store, read = stage(tmp_path, checks__csv=text)
    assert sum("is not used" in note for note in read.notes) == 2
    assert 'checks.csv: the column "egs" is not used; was "eggs" meant?' in read.notes
    assert store.rows('SELECT egs, "egs (2)" FROM raw_1') == [("x", "y")]


def test_a_repeated_heading_is_named_by_its_number():
    columns = {"checked_on": "date", "note": "date (2)"}
    headings = ["queen_id", "Date", "eggs", "date"]
    found = mapped(headings, columns)
    assert (found["checked_on"], found["note"]) == (1, 3)


@pytest.mark.parametrize(
    ("upper", "lower", "names"),
    [
        # an upper cell reaches right to the next
        (
            ["No.", "1st", "", "2nd", ""],
            ["", "date", "eggs", "date", "eggs"],
            ["No.", "1st date", "1st eggs", "2nd date", "2nd eggs"],
        ),
        # one with nothing below it is a name of its own
        (["No.", "", "1st"], ["", "Date", "eggs"], ["No.", "Date", "1st eggs"]),
        # before the first group there is none; rows of unequal length
        (["", "", "1st"], ["No.", "Day", "eggs", "larvae"], ["No.", "Day", "1st eggs", "1st larvae"]),
        # some programs repeat the text of a cell merged downwards
        (["Queen", "1st"], ["queen", "eggs"], ["Queen", "1st eggs"]),
    ],
)  # fmt: skip
def test_two_rows_of_headings_are_joined(upper, lower, names):
    assert joined([upper, lower]) == names


def test_of_three_rows_only_a_text_that_stands_right_above_is_left_out():
    assert joined([["A"], ["B"], ["a"]]) == ["A B a"]
    assert joined([["A"], ["a"], ["B"]]) == ["A B"]


def test_merged_cells_reach_as_far_as_they_cover():
    upper, lower = ["Q", "1st", None, None], [None, "date", "eggs", "note"]
    assert joined([upper, lower], [{0: 0, 1: 2}, {0: 0}]) == [
        "Q",
        "1st date",
        "1st eggs",
        "note",
    ]


def test_a_text_file_of_two_heading_lines_is_read(tmp_path):
    text = (
        "Our checks;;;\n\nQueen;1st;;2nd\n;date;eggs;date\n"
        "Q1;2025-06-20;yes;2025-07-01\n"
    )
    settings = {
        "files": {"book.csv": {"header": [3, 4]}},
        "read": [
            {
                "from": "book.csv",
                "table": "checks",
                "columns": {
                    "queen_id": "Queen",
                    "checked_on": "1st date",
                    "eggs": "1st eggs",
                },
            }
        ],
    }
    store, _ = stage(tmp_path, settings, book__csv=text, checks__csv=None)
    rows = store.rows("SELECT source_line, queen_id, checked_on, eggs FROM staged_checks")
    assert rows == [(5, "Q1", dt.date(2025, 6, 20), True)]


def test_a_heading_line_that_is_not_there_is_refused(tmp_path):
    settings = {"files": {"checks.csv": {"header": 2}}}
    text = "\n\nqueen_id,checked_on\nQ1,2025-06-20\n"
    with pytest.raises(RecordsError, match="no headings on the line") as caught:
        stage(tmp_path, settings, checks__csv=text)
    assert "begin on lines 3, 4" in caught.value.text()


def test_names_of_raw_columns_differ_whatever_their_case():
    assert unique(["Line", "line", "", "source_line"]) == [
        "Line",
        "line (2)",
        "column 3",
        "source_line (2)",
    ]


def test_a_dam_line_and_a_files_line_do_not_mix(tmp_path):
    text = "queen_id,line\nQ1,North\n"
    store, _ = stage(tmp_path, queens__csv=text)
    assert store.rows("SELECT source_line, line FROM staged_queens") == [(2, "North")]
