"""Days written without a year: of a year, of a season over its turn, below years in rows."""

import datetime as dt

import pytest
from queen_outcomes.base.errors import RecordsError, UsageError
from queen_outcomes.facts.settings import parse
from queen_outcomes.records.evidence import OrdersSeen, unread_columns
from reading import stage

LOOKS = "Date;Queen;Seen\n"


def looks(tmp_path, text, year_of_file, **said):
    settings = {
        "files": {"looks.csv": {"dates": "dmy", "year": year_of_file}},
        "read": [
            {
                "from": "looks.csv",
                "table": "checks",
                "columns": {
                    "queen_id": "Queen",
                    "checked_on": {"from": "Date", **said},
                    "note": "Seen",
                },
            }
        ],
    }
    return stage(tmp_path, settings, looks__csv=LOOKS + text, checks__csv=None)[0]


def days_of(store):
    return [
        day.isoformat() if day else None
        for (day,) in store.rows("SELECT checked_on FROM staged_checks ORDER BY source_line")
    ]


@pytest.mark.parametrize(
    ("year", "days"),
    [
        ("2025/26", ["2025-10-31", "2026-01-07", "2026-06-30", "2025-07-01", "2024-12-24"]),
        ("2025/2026", ["2025-10-31", "2026-01-07", "2026-06-30", "2025-07-01", "2024-12-24"]),
        ("2025-05", ["2025-10-31", "2026-01-07", "2025-06-30", "2025-07-01", "2024-12-24"]),
        (2025, ["2025-10-31", "2025-01-07", "2025-06-30", "2025-07-01", "2024-12-24"]),
    ],
)
def test_days_without_a_year_are_of_the_season_over_its_turn(tmp_path, year, days):
    rows = "31 Oct;1;\n7 Jan;1;\n30/6;1;\n1.7.;1;\n24.12.2024;1;\n"
    assert days_of(looks(tmp_path, rows, year)) == days


def test_a_column_may_have_a_season_of_its_own(tmp_path):
    store = looks(tmp_path, "31 Oct;1;\n7 Jan;1;\n", 2020, year="2025/26")
    assert days_of(store) == ["2025-10-31", "2026-01-07"]


@pytest.mark.parametrize("year", ["2025/27", "2025/25", "25/26", "2025", "2025-13", "row", True])
def test_what_is_no_year_and_no_season_is_refused(year):
    with pytest.raises(UsageError) as refused:
        parse({"files": {"looks.csv": {"year": year}}})
    assert '"2025/26"' in refused.value.expected


def test_a_column_has_no_years_in_rows():
    columns = {"queen_id": "Q", "checked_on": {"from": "Date", "year": "rows"}}
    with pytest.raises(UsageError) as refused:
        parse({"read": [{"from": "a.csv", "table": "checks", "columns": columns}]})
    assert '"2025/26"' in refused.value.expected
    assert '"rows"' not in refused.value.expected


def test_days_below_a_year_in_a_row_of_its_own_are_of_that_year(tmp_path):
    rows = (
        "3/11;1;before any year\n2024;;\n4/11;1;\nMon 2/12;1;\n26 Dec;1;\n2025;;\n3.1.;1;\n"
        "3.1;1;\n2025-12-31;1;\n12.01.24;1;2025\n;;\n2026.;;\nFeb 3;1;\n4/2 10:30;1;\n31/2;1;\n"
    )
    store = looks(tmp_path, rows, "rows")
    assert days_of(store) == [
        None,
        *("2024-11-04", "2024-12-02", "2024-12-26", "2025-01-03", "2025-01-03"),
        *("2025-12-31", "2024-01-12", "2026-02-03", "2026-02-04", None),
    ]
    assert store.rows("SELECT ref_line(ref), why FROM passed_over ORDER BY ref") == [
        (3, "group"),
        (7, "group"),
        (13, "group"),
    ]
    assert store.rows(
        "SELECT checked_on__unread, checked_on__why FROM staged_checks "
        "WHERE checked_on IS NULL ORDER BY source_line"
    ) == [
        ("3/11", "which has no year: none stands alone in a row above it"),
        ("31/2/2026", "and there is no such day"),
    ]


def test_a_year_holds_for_days_that_ditto_marks_repeat(tmp_path):
    settings = {
        "records": {"ditto": ['"']},
        "files": {"looks.csv": {"dates": "dmy", "year": "rows"}},
        "read": [
            {
                "from": "looks.csv",
                "table": "checks",
                "columns": {"queen_id": "Queen", "checked_on": "Date"},
            }
        ],
    }
    rows = LOOKS + '2024;;\n4/11;1;\n"""";2;\n'
    store, _ = stage(tmp_path, settings, looks__csv=rows, checks__csv=None)
    assert store.rows("SELECT queen_id, checked_on FROM staged_checks ORDER BY source_line") == [
        ("1", dt.date(2024, 11, 4)),
        ("2", dt.date(2024, 11, 4)),
    ]


@pytest.mark.parametrize("day", ["31.6.", "31/6", "31 Jun", "31.6"])
@pytest.mark.parametrize("year", [2024, "2024/25"])
def test_a_day_that_does_not_exist_is_told_as_such_where_its_year_is_set(tmp_path, day, year):
    store = looks(tmp_path, f"{day};1;\n", year)
    assert store.rows("SELECT checked_on__why FROM staged_checks") == [
        ("and there is no such day",)
    ]


def test_a_day_whose_order_alone_is_not_set_is_told_as_such(tmp_path):
    store = looks(tmp_path, "3/6;1;\n", 2024, dates="iso")
    ((why,),) = store.rows("SELECT checked_on__why FROM staged_checks")
    assert why.startswith("whose order is not set")


def advised(tmp_path, text, name="looks", more=""):
    """Give the settings that the evidence of the column of days proposes."""
    settings = {
        "files": {"*.csv": {"dates": "dmy"}},
        "read": [
            {
                "from": f"{name}.csv",
                "table": "checks",
                "columns": {"queen_id": "Queen", "checked_on": "Date", "note": "Seen"},
            }
        ],
    }
    bench = f"queen_id,inseminated_at\n1,2025-10-20\n{more}"
    store, read = stage(
        tmp_path,
        settings,
        checks__csv=None,
        inseminations__csv=bench,
        **{f"{name}__csv": LOOKS + text},
    )
    found = unread_columns(OrdersSeen(store, read.sources, parse(settings).reading))
    return [setting.split("\n")[-1] for one in found for setting in one.settings]


DAYS = "4/11;1;eggs\n5/11;1;eggs\n"


@pytest.mark.parametrize(
    ("text", "name", "more", "setting"),
    [
        (DAYS, "looks", "", ["year = 2025"]),
        (DAYS, "looks 2024", "", ["year = 2024"]),
        (DAYS, "looks 2025-26", "", ['year = "2025/26"']),
        ("2024;;\n" + DAYS, "looks", "", ['year = "rows"']),
        ("2024;;\n" + DAYS, "looks 2024", "", ['year = "rows"']),
        # of two years nobody but the station can tell
        (DAYS, "looks", "2,2026-01-07\n", []),
        (DAYS, "looks 2024 and 2026", "", []),
    ],
)
def test_no_year_is_advised_where_two_are_possible(tmp_path, text, name, more, setting):
    assert advised(tmp_path, text, name, more) == setting


BENCH = "Queen,Inseminated,Gone,Why\nA,29.04.2024,03.08.,sold\nB,29.04.2025,3/8,sold\nC,29.09.2024,12.01.,dead\nD,,1.8.,sold\nE,1.8.2025,1.8.,sold\nF,29.04.2024,3.8.2025,sold\n"
GONE = [
    {"from": "b.csv", "table": "inseminations", "columns": {"queen_id": "Queen", "inseminated_at": "Inseminated"}},
    {"from": "b.csv", "table": "exits", "columns": {"queen_id": "Queen", "left_on": "Gone", "reason": "Why"}},
]


def test_days_without_a_year_are_the_first_from_another_day_of_their_row_on(tmp_path):
    habits = {"b.csv": {"dates": "dmy", "year_of": "inseminated"}}
    alone = {"inseminations__csv": None}
    store, _ = stage(tmp_path, {"files": habits, "read": GONE}, b__csv=BENCH, **alone)
    rows = store.rows("SELECT queen_id, left_on::VARCHAR, left_on__unread FROM staged_exits ORDER BY ref")
    assert rows == [
        ("A", "2024-08-03", None),
        ("B", "2025-08-03", None),
        ("C", "2025-01-12", None),
        ("D", None, "1.8."),  # its row has no day that says so
        ("E", "2025-08-01", None),
        ("F", "2025-08-03", None),
    ]
    days = store.rows("SELECT inseminated_at::DATE::VARCHAR FROM staged_inseminations ORDER BY ref")
    assert [day for (day,) in days] == ["2024-04-29", "2025-04-29", "2024-09-29", "2025-08-01", "2024-04-29"]


def test_a_heading_of_years_that_is_not_there_is_refused(tmp_path):
    habits = {"b.csv": {"dates": "dmy", "year_of": "Insemnated"}}
    alone = {"inseminations__csv": None}
    with pytest.raises(RecordsError) as refused:
        stage(tmp_path, {"files": habits, "read": GONE}, b__csv=BENCH, **alone)
    assert 'did you mean "Inseminated"?' in refused.value.text()


def test_a_day_with_its_month_in_letters_is_put_into_no_year_before_the_other_day(tmp_path):
    """It was read as of the other day's year, months before it."""
    habits = {"b.csv": {"dates": "dmy", "year_of": "Inseminated"}}
    text = "Queen,Inseminated,Gone\nA,2022-12-25,2 Jan\nB,2022-12-25,2.1.\n"
    columns = {"queen_id": "Queen", "left_on": "Gone", "reason": {"value": "sold"}}
    read = [{"from": "b.csv", "table": "exits", "columns": columns}]
    store, _ = stage(tmp_path, {"files": habits, "read": read}, b__csv=text)
    assert store.rows("SELECT queen_id, left_on::VARCHAR, left_on__unread FROM staged_exits ORDER BY ref") == [
        ("A", None, "2 Jan"),
        ("B", "2023-01-02", None),
    ]
