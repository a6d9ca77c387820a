"""Facts of a whole sheet that stand above its headings."""

from __future__ import annotations

import pytest
from queen_outcomes.base.errors import AppError
from queen_outcomes.records import titles
from reading import stage

RULE = {
    "from": "series.csv",
    "table": "queens",
    "columns": {
        "queen_id": "No.",
        "emerged_on": {"title": "hatched", "dates": "dmy", "year": 2025},
        "line": {"title": "Mother"},
    },
}
SERIES = "Series 3 / 2025,\ngrafted 16.5. - Hatched 28.5. - mother B-14,\n,\nNo.,Dose\nQ1,8\nQ2,9\n"


@pytest.mark.parametrize(
    ("rows", "word", "found"),
    [
        ([["Series 3, hatched 28.5., mother B14"]], "hatched", ["28.5."]),
        ([["Series 3, hatched 28.5., mother B14"]], "Mother", ["B14"]),
        ([["grafted 6.5. – HATCHED: 18.5. – mother T 131"]], "hatched", ["18.5."]),
        ([["mother  T  131; father F 2"]], "mother", ["T 131"]),
        ([["Series 3 / 2025"]], "series", ["3"]),
        ([["stock = A-7/25 | graft 2"]], "stock", ["A-7/25"]),
        # in cells of their own
        ([["Mother:", "B14", "hatched", "28.5."]], "mother", ["B14"]),
        ([["hatched", "28.5."], ["No", "Dose"]], "hatched", ["28.5."]),
        ([["hatched on", "28.5."]], "hatched on", ["28.5."]),
        # a part of a word, or nothing behind it
        ([["unhatched 28.5."]], "hatched", []),
        ([["hatchedness 28.5."]], "hatched", []),
        ([["mother, hatched 28.5."]], "mother", []),
        ([["hatched"]], "hatched", []),
        ([], "hatched", []),
        # said twice it is one where it is the same
        ([["hatched 28.5."], ["hatched 28.5."]], "hatched", ["28.5."]),
        ([["hatched 28.5., hatched 29.5."]], "hatched", ["28.5.", "29.5."]),
    ],
)
def test_what_stands_behind_a_word(rows, word, found):
    assert titles.behind(rows, word) == found


def queens(path, text=SERIES, rule=None, file="series.csv"):
    settings = {"read": [{**RULE, **(rule or {}), "from": file}]}
    store, _ = stage(path, settings, **{file.replace(".", "__"): text})
    with store:
        return store.rows(
            "SELECT queen_id, emerged_on::VARCHAR, emerged_on__unread, line "
            "FROM staged_queens ORDER BY ref"
        )


def test_every_row_has_what_the_title_says(tmp_path):
    assert queens(tmp_path) == [
        ("Q1", "2025-05-28", None, "B-14"),
        ("Q2", "2025-05-28", None, "B-14"),
    ]


def test_what_cannot_be_read_is_told_in_every_row(tmp_path):
    assert queens(tmp_path, SERIES.replace("28.5.", "late")) == [
        ("Q1", None, "late", "B-14"),
        ("Q2", None, "late", "B-14"),
    ]


def test_a_sheet_of_a_workbook_has_its_titles_too(tmp_path):
    import xlsxwriter

    path = tmp_path / "made.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("Series 3")
        for row, line in enumerate(SERIES.splitlines()):
            sheet.write_row(row, 0, line.split(","))
    found = queens(tmp_path / "records", path.read_bytes(), file="series.xlsx")
    assert found[0] == ("Q1", "2025-05-28", None, "B-14")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (SERIES.replace("mother", "dam"), 'nothing stands behind "Mother"'),
        (SERIES.replace("Series 3", "Mother C 1"), 'what stands behind "Mother" differs'),
        (SERIES[SERIES.index("No.") :], "no rows above the headings"),
    ],
)
def test_a_word_that_is_not_there_once_is_refused(tmp_path, text, says):
    with pytest.raises(AppError) as refused:
        queens(tmp_path, text)
    assert says in refused.value.text()


def test_a_queen_of_whom_only_the_title_tells_is_a_record(tmp_path):
    text = SERIES.replace("No.,Dose", "No.,Dose,Mark,Day").replace("Q1,8", "Q1,8,red,3.6.2025")
    text = text.replace("Q2,9", "Q2,9,,3.6.2025")
    columns = RULE["columns"] | {"mark": "Mark"}
    doses = {"queen_id": "No.", "inseminated_at": {"from": "Day", "dates": "dmy"}}
    settings = {
        "read": [
            {**RULE, "columns": columns},
            {"from": "series.csv", "table": "inseminations", "columns": doses},
        ]
    }
    store, _ = stage(tmp_path, settings, series__csv=text)
    with store:
        found = store.rows("SELECT queen_id, mark, line FROM staged_queens ORDER BY ref")
    assert found == [("Q1", "red", "B-14"), ("Q2", None, "B-14")]
