"""Cells of a day and words, taken apart; what must come of each is written out beside it."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest
from queen_outcomes.base.errors import RecordsError, UsageError
from queen_outcomes.base.store import Store, literal
from queen_outcomes.records import apart
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


BENCH = """No,Day,Dose,Who
Q1,2/6,8,T
Q2,2/6+4/6,2x4,T
Q3,3/6 + 5/6,5+4 ul,B
Q4,3/6,4+4,B
Q5,4/6; 6/6,9,B
Q6,4/6+6/6+8/6,4+4+4,B
"""
TWICE = {
    "from": "bench.csv",
    "table": "inseminations",
    "each": ["1 of 2", "2 of 2"],
    "columns": {
        "queen_id": "No",
        "inseminated_at": "Day ({})",
        "dose_ul": "Dose ({})",
        "operator": "Who",
    },
}


def test_days_one_after_the_other_are_a_dose_each(tmp_path):
    habits = {"dates": "dmy", "year": 2026, "several": {"Day": 2, "Dose": 2}}
    store, _ = stage_bench(tmp_path, habits)
    found = store.rows(
        "SELECT queen_id, inseminated_at::DATE, dose_ul, operator FROM staged_inseminations "
        "WHERE inseminated_at IS NOT NULL ORDER BY ALL"
    )
    assert found == [
        ("Q1", day(6, 2), 8, "T"),
        ("Q2", day(6, 2), 4, "T"),
        ("Q2", day(6, 4), 4, "T"),
        ("Q3", day(6, 3), 5, "B"),
        ("Q3", day(6, 5), 4, "B"),
        ("Q4", day(6, 3), 8, "B"),  # two doses of one day: the day says that it is one row
        ("Q5", day(6, 4), 9, "B"),
        ("Q5", day(6, 6), None, "B"),
        ("Q6", day(6, 4), 4, "B"),
    ]
    # a third day stays with the second, and is no day
    assert store.rows("SELECT count(*) FROM staged_inseminations")[0][0] == 10


def stage_bench(path, habits):
    settings = {"files": {"bench.*": habits}, "read": [TWICE]}
    return stage(path, settings, bench__csv=BENCH, inseminations__csv=None)


def test_values_are_taken_apart_alike_by_map_and_when_read(tmp_path):
    for text, values in (
        ("2/6+4/6", ["2/6", "4/6"]),
        ("2x4", ["4", "4"]),
        ("3 × 4 µl", ["4 µl"] * 3),
        ("1x8", ["1x8"]),
        ("5 + 4", ["5", "4"]),
        ("+", []),
        ("8", ["8"]),
    ):
        assert apart.values_in(text) == values
        with Store() as store:
            sql = apart._listed_values(literal(text))
            assert store.rows(f"SELECT {sql}")[0][0] == values


@pytest.mark.parametrize(
    ("texts", "parts"),
    [
        (["10.6. E; 19.6.2026 L", "3.7. E"], 2),
        (["10.6. E"] * 4 + ["no day"], 1),  # four in five
        (["10.6. E"] * 3 + ["no day"], 0),
        (["10.6. E; L"], 0),  # a part without a day
        (["10.6.2026 and 11.6.2026 E"], 0),  # one with two
        (["10.6."], 0),  # one without words
        (["10.6. E\n11.6. L\n; 12.6. Q"], 3),
        ([], 0),
    ],
)
def test_how_many_days_with_words_cells_hold(texts, parts):
    assert apart.parts_in(texts) == parts


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("5+4", ["5", "4"]),
        ("5 + 4 + ", ["5", "4"]),
        ("2x4", ["4", "4"]),
        ("1x4", ["1x4"]),
        ("3 x 2,5", ["2,5"] * 3),
        ("8", ["8"]),
        ("", []),
    ],
)
def test_values_of_a_cell_one_after_the_other(text, values):
    assert apart.values_in(text) == values
