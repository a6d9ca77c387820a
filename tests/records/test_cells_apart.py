"""Cells of a day and words, taken apart; what must come of each is written out beside it."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest
from queen_outcomes.base.errors import RecordsError, UsageError
from reading import stage

BOOK = """Queen,Looks,Fate,Remarks
Q1,"10.6. E+ L-; 19.6.2026 E+ L+
3. Juli - all stages",tot 26.6.,calm
Q2,10/6: E- L-;,"sold, 2026-07-14",
Q3,seen; 12.6. 7/10,gone,
Q4,2026-W25-3 E+; 20.6. E+; 24.6. E+; 30.6. E+,Superseded 14 July 2026 (by her daughter),
Q5,8.5 frames,"gone 3/7 or 4/7",
Total,1.6. E+,,
"""
HABITS = {
    "dates": "dmy",
    "year": 2026,
    "apart": {"looks": 3, "Fate": 1},
    "pass_over": ["Total"],
}
LOOKS = {
    "from": "book.csv",
    "table": "checks",
    "each": ["1", "2", "3"],
    "columns": {
        "queen_id": "Queen",
        "checked_on": "Looks (day {})",
        "note": "Looks (words {})",
    },
}
ENDS = {
    "from": "book.csv",
    "table": "exits",
    "columns": {
        "queen_id": "Queen",
        "left_on": "Fate (day)",
        "reason": {"from": "Fate (words)", "words": {"dead": "tot", "sold": "sold"}},
    },
}


def staged(path, habits=HABITS, rules=(LOOKS, ENDS), **more):
    settings = {"files": {"book.*": habits}, "read": list(rules)}
    files = {"book__csv": BOOK, "checks__csv": None} | more
    return stage(path, settings, **files)


def day(month, number):
    return dt.date(2026, month, number)


def test_every_part_with_a_day_is_a_look(tmp_path):
    store, _ = staged(tmp_path)
    found = store.rows(
        "SELECT queen_id, checked_on, note, checked_on__unread FROM staged_checks "
        "ORDER BY queen_id, checked_on NULLS LAST"
    )
    assert found == [
        ("Q1", day(6, 10), "E+ L-", None),
        ("Q1", day(6, 19), "E+ L+", None),
        ("Q1", day(7, 3), "all stages", None),
        ("Q2", day(6, 10), "E- L-", None),
        # two that may be days: nobody can say which is, so neither is taken
        ("Q3", None, "12.6. 7/10", "12.6. 7/10"),
        # Wednesday of the 25th week of 2026, by a calendar
        ("Q4", day(6, 17), "E+", None),
        ("Q4", day(6, 20), "E+", None),
        # one look more than there are headings for
        ("Q4", None, "24.6. E+; 30.6. E+", "24.6. E+; 30.6. E+"),
    ]


def test_a_remark_with_a_day_is_an_exit(tmp_path):
    store, _ = staged(tmp_path)
    found = store.rows(
        "SELECT queen_id, left_on, reason, reason__unread, left_on__unread "
        "FROM staged_exits ORDER BY queen_id"
    )
    assert found == [
        ("Q1", day(6, 26), "dead", None, None),
        ("Q2", day(7, 14), "sold", None, None),
        ("Q4", day(7, 14), None, "Superseded (by her daughter)", None),
        ("Q5", None, None, "gone 3/7 or 4/7", "gone 3/7 or 4/7"),
    ]


def test_what_holds_no_day_is_told_where_no_rule_reads_the_column_whole(tmp_path):
    _, read = staged(tmp_path)
    told = [note for note in read.notes if "no day" in note]
    assert told == [
        'book.csv: under "Looks" no day stands in these texts, so that no heading of its '
        'parts has them: "8.5 frames" (1), "seen" (1)',
        'book.csv: under "Fate" no day stands in these texts, so that no heading of its '
        'parts has them: "gone" (1)',
    ]
    assert 'book.csv: no rule reads the columns "Remarks"' in read.notes
    whole = {**ENDS, "columns": ENDS["columns"] | {"reason": "Fate"}}
    _, read = staged(tmp_path / "whole", rules=(LOOKS, whole))
    assert ['under "Fate"' in note for note in read.notes].count(True) == 0


def test_a_part_that_no_rule_reads_is_told(tmp_path):
    first = {**LOOKS, "each": ["1", "2"]}
    _, read = staged(tmp_path, rules=(first, ENDS))
    assert (
        'book.csv: no rule reads the columns "Remarks", "Looks (day 3)", "Looks (words 3)"'
    ) in read.notes


def test_a_file_that_is_read_where_it_lies(tmp_path):
    frame = pl.DataFrame({"Queen": ["Q1", "Q2"], "Fate": ["tot 26.6.", None]})
    tmp_path.joinpath("made").mkdir()
    frame.write_parquet(tmp_path / "made" / "book.parquet")
    book = (tmp_path / "made" / "book.parquet").read_bytes()
    store, _ = staged(
        tmp_path / "station",
        HABITS | {"apart": {"Fate": 1}},
        ({**ENDS, "from": "book.parquet"},),
        book__csv=None,
        book__parquet=book,
        checks__csv="queen_id,checked_on\nQ1,2026-06-10\n",
    )
    assert store.rows("SELECT queen_id, left_on, reason FROM staged_exits") == [
        ("Q1", day(6, 26), "dead")
    ]


def test_a_heading_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(RecordsError, match="to take apart") as caught:
        staged(tmp_path, HABITS | {"apart": {"Fates": 1}})
    assert 'did you mean "Fate"?' in caught.value.text()


@pytest.mark.parametrize("apart", [{"": 1}, {"Fate": 0}, {"Fate": "1"}, {"Fate": True}, ["Fate"]])
def test_how_many_parts_there_may_be_is_a_number(tmp_path, apart):
    with pytest.raises(UsageError, match="does not fit"):
        staged(tmp_path, HABITS | {"apart": apart})
