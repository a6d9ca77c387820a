"""Sheets read by the rules of the settings: tables, slots, rows passed over, marks.

The rows are written out here, so that what must come of each can be read beside it.
"""

from __future__ import annotations

import datetime as dt

import pytest
from queen_outcomes.base.errors import RecordsError, UsageError
from queen_outcomes.facts.settings import parse
from queen_outcomes.records.accept import accept_records
from queen_outcomes.records.sources import loud_note
from reading import stage

WIDE = """No.,Line,Date,Time,Dose,1st date,1st look,2nd date,2nd look,Gone,Why
1,Alder,2025-06-01,10:30,8,2025-06-10,eggs,2025-06-20,all,,
2,Rowan,2025-06-01,11:00,7,2025-06-10,nothing,,,2025-06-25,dead
3,Rowan,2025-06-02,,8,,,2025-06-21,eggs,,
Total,3 queens,,,23,,,,,,
"""
RULES = {
    "files": {"wide.csv": {"pass_over": ["Total*"]}},
    "read": [
        {
            "from": "wide.csv",
            "table": "inseminations",
            "columns": {
                "queen_id": "No.",
                "line": "Line",
                "inseminated_at": ["Date", "Time"],
                "dose_ul": "Dose",
            },
        },
        {
            "from": "wide.csv",
            "table": "checks",
            "each": ["1st", "2nd"],
            "columns": {
                "queen_id": "No.",
                "checked_on": "{} date",
                "findings": "{} look",
                "checker": {"value": "Anna"},
            },
        },
        {
            "from": "wide.csv",
            "table": "exits",
            "columns": {"queen_id": "No.", "left_on": "Gone", "reason": "Why"},
        },
    ],
    "words": {
        "findings": {
            "eggs": {"eggs": "yes"},
            "all": {"eggs": "yes", "larvae": "yes", "sealed": "yes"},
            "nothing": {"eggs": "no"},
        }
    },
}
AS_OF = dt.date(2025, 12, 31)


def wide(tmp_path, text=WIDE, settings=RULES):
    """Stage one wide sheet and nothing else."""
    alone = {"inseminations__csv": None, "checks__csv": None}
    return stage(tmp_path, settings, wide__csv=text, **alone)


def changed(**sections):
    """Give the settings above with some sections in another way."""
    return RULES | sections


def with_rule(number, **parts):
    """Give the settings above with one rule in another way."""
    rules = [dict(rule) for rule in RULES["read"]]
    rules[number] |= parts
    return RULES | {"read": rules}


def test_one_sheet_feeds_three_tables(tmp_path):
    store, _ = wide(tmp_path)
    assert store.rows(
        "SELECT queen_id, CAST(inseminated_at AS VARCHAR), dose_ul, line "
        "FROM staged_inseminations "
        "ORDER BY ref"
    ) == [
        ("1", "2025-06-01 10:30:00", 8.0, "Alder"),
        ("2", "2025-06-01 11:00:00", 7.0, "Rowan"),
        ("3", "2025-06-02 00:00:00", 8.0, "Rowan"),
    ]
    assert store.rows("SELECT queen_id, left_on, reason FROM staged_exits") == [
        ("2", dt.date(2025, 6, 25), "dead")
    ]


def test_slots_choose_rows_each_by_a_heading_of_its_own(tmp_path):
    """A fate is written where a look would be."""
    text = "No.,10.6.,20.6.\n1,eggs,gone\n2,gone,\n3,eggs,eggs\n"
    slots = [{"look": "10.6.", "on": "2025-06-10"}, {"look": "20.6.", "on": "2025-06-20"}]
    exits = {
        "from": "wide.csv",
        "table": "exits",
        "each": slots,
        "only": {"{look}": ["gone"]},
        "columns": {
            "queen_id": "No.",
            "left_on": {"value": "{on}"},
            "reason": {"from": "{look}", "words": {"missing": "gone"}},
        },
    }
    store, _ = stage(tmp_path, {"read": [exits]}, wide__csv=text)
    assert store.rows("SELECT queen_id, left_on, reason FROM staged_exits ORDER BY queen_id") == [
        ("1", dt.date(2025, 6, 20), "missing"),
        ("2", dt.date(2025, 6, 10), "missing"),
    ]


def test_what_other_rules_read_of_a_slot_s_heading_is_not_told_as_passed_by(tmp_path):
    text = "No.,10.6.,20.6.\n1,eggs,gone\n2,eggs,\n"
    slots = [{"look": "10.6.", "on": "2025-06-10"}, {"look": "20.6.", "on": "2025-06-20"}]
    shared = {"from": "wide.csv", "each": slots}
    day = {"value": "{on}"}
    exits = {"queen_id": "No.", "left_on": day, "reason": {"value": "missing"}}
    looks = {"queen_id": "No.", "checked_on": day, "findings": "{look}"}
    went = {**shared, "table": "exits", "columns": exits}
    rules = [{**went, "only": {"{look}": ["gone"]}}, {**shared, "table": "checks", "columns": looks}]
    _, staged = stage(tmp_path, {"read": rules}, wide__csv=text)
    assert not [note for note in staged.notes if "chooses" in note or "chosen" in note]
    rules[0]["only"] = {"{look}": ["lost"]}
    _, staged = stage(tmp_path, {"read": rules}, wide__csv=text)
    (note,) = [note for note in staged.notes if "chosen" in note]
    assert note == 'wide.csv: no row is chosen for exits: none has "lost" under "10.6."'


def test_a_row_holds_a_check_for_each_slot_that_is_filled_in(tmp_path):
    store, _ = wide(tmp_path)
    rows = store.rows(
        "SELECT queen_id, ref_in_source(ref), checked_on, eggs, sealed, checker "
        "FROM staged_checks ORDER BY queen_id, ref"
    )
    assert rows == [
        ("1", "2/1", dt.date(2025, 6, 10), True, None, "Anna"),
        ("1", "2/2", dt.date(2025, 6, 20), True, True, "Anna"),
        ("2", "3/1", dt.date(2025, 6, 10), False, None, "Anna"),
        ("3", "4/2", dt.date(2025, 6, 21), True, None, "Anna"),
    ]


def test_the_ledger_counts_by_source_and_table_with_what_is_passed_over(tmp_path):
    store, read = wide(tmp_path)
    accept_records(
        store, parse(RULES), AS_OF, [s.name for s in read.sources], verified=False
    )
    ledger = store.rows(
        'SELECT source, "table", rows_read, accepted, quarantined, passed_over '
        "FROM sources"
    )
    assert ledger == [
        ("wide.csv", "checks", 7, 4, 0, 3),
        ("wide.csv", "exits", 4, 1, 0, 3),
        ("wide.csv", "inseminations", 4, 3, 0, 1),
    ]


def test_a_slot_that_cannot_be_placed_is_told_with_its_slot_and_its_whole_row(tmp_path):
    text = WIDE.replace("2025-06-20,all", ",all")
    store, read = wide(tmp_path, text)
    accept_records(
        store, parse(RULES), AS_OF, [s.name for s in read.sources], verified=False
    )
    (row,) = store.records("SELECT * FROM quarantine")
    assert (row["source"], row["line"], row["slot"]) == ("wide.csv", 2, 2)
    assert row["reason"] == "date_missing"
    assert '"1st look":"eggs"' in row["row"]
    assert '"2nd look":"all"' in row["row"]


def test_a_broken_line_is_one_quarantined_row_of_each_table(tmp_path):
    store, read = wide(tmp_path, WIDE + "4,Alder\n")
    accept_records(
        store, parse(RULES), AS_OF, [s.name for s in read.sources], verified=False
    )
    assert store.rows(
        'SELECT "table", line, slot, reason FROM quarantine ORDER BY ALL'
    ) == [
        ("checks", 6, 1, "cells_missing"),
        ("exits", 6, None, "cells_missing"),
        ("inseminations", 6, None, "cells_missing"),
    ]


def test_words_that_nobody_explained_are_told(tmp_path):
    store, read = wide(tmp_path, WIDE.replace("10,eggs", "10,egs"))
    accept_records(
        store, parse(RULES), AS_OF, [s.name for s in read.sources], verified=False
    )
    told = store.records("SELECT * FROM listed_records WHERE severity = 'set_aside'")
    assert [(row["line"], row["slot"], row["value"]) for row in told] == [(2, 1, "egs")]


def test_repeated_headings_are_told_apart_from_left_to_right(tmp_path):
    text = "No,look,date,look,date\n1,eggs,2025-06-10,all,2025-06-20\n"
    rule = {
        "from": "yard.csv",
        "table": "checks",
        "each": [
            {"look": "look", "on": "date"},
            {"look": "look (2)", "on": "date (2)"},
        ],
        "columns": {"queen_id": "No", "checked_on": "{on}", "findings": "{look}"},
    }
    settings = {"read": [rule], "words": RULES["words"]}
    store, _ = stage(tmp_path, settings, yard__csv=text, checks__csv=None)
    assert store.rows("SELECT checked_on, sealed FROM staged_checks ORDER BY ref") == [
        (dt.date(2025, 6, 10), None),
        (dt.date(2025, 6, 20), True),
    ]


def test_a_slot_may_carry_its_day(tmp_path):
    text = "No,June,July\n1,eggs,all\n2,,eggs\n"
    rule = {
        "from": "yard.csv",
        "table": "checks",
        "each": [
            {"look": "June", "day": "2025-06-10"},
            {"look": "July", "day": dt.date(2025, 7, 12)},
        ],
        "columns": {
            "queen_id": "No",
            "checked_on": {"value": "{day}"},
            "findings": "{look}",
        },
    }
    settings = {"read": [rule], "words": RULES["words"]}
    store, _ = stage(tmp_path, settings, yard__csv=text, checks__csv=None)
    assert store.rows(
        "SELECT queen_id, checked_on FROM staged_checks ORDER BY ref"
    ) == [
        ("1", dt.date(2025, 6, 10)),
        ("1", dt.date(2025, 7, 12)),
        ("2", dt.date(2025, 7, 12)),
    ]


DITTO = 'queen_id,checked_on,checker,note\nQ1,2025-06-20,Anna,x\nQ2,"""",do.,\nTotal,,,\nQ3,"""",,""""\n'


def test_ditto_marks_take_the_value_above_and_blanks_do_not(tmp_path):
    settings = {
        "records": {"ditto": ['"', "do."]},
        "files": {"checks.csv": {"pass_over": ["total*"]}},
    }
    store, _ = stage(tmp_path, settings, checks__csv=DITTO)
    day = dt.date(2025, 6, 20)
    assert store.rows(
        "SELECT queen_id, checked_on, checker, note FROM staged_checks ORDER BY ref"
    ) == [
        ("Q1", day, "Anna", "x"),
        ("Q2", day, "Anna", None),
        ("Q3", day, None, "x"),
    ]


def test_without_the_setting_a_mark_is_a_text_like_any_other(tmp_path):
    store, _ = stage(tmp_path, checks__csv=DITTO)
    unread = store.rows(
        "SELECT checked_on__unread FROM staged_checks "
        "WHERE checked_on__unread IS NOT NULL"
    )
    assert unread == [('"',), ('"',)]


def test_a_mark_with_nothing_above_it_stays_and_is_told(tmp_path):
    settings = {"records": {"ditto": ['"']}}
    text = 'queen_id,checked_on\nQ1,""""\n'
    store, _ = stage(tmp_path, settings, checks__csv=text)
    assert store.rows("SELECT checked_on, checked_on__unread FROM staged_checks") == [
        (None, '"')
    ]


def test_group_lines_and_cells_filled_down(tmp_path):
    text = (
        "queen_id,Graft,emerged_on\nLine Alder,,\n1,G1,2025-05-01\n2,,2025-05-02\n"
        "Line Rowan,,\n3,G2,2025-05-03\n"
    )
    settings = {
        "files": {"book.csv": {"fill_down": ["Graft"], "group": "line"}},
        "read": [
            {
                "from": "book.csv",
                "table": "queens",
                "columns": {
                    "queen_id": "queen_id",
                    "graft_batch": "Graft",
                    "emerged_on": "emerged_on",
                },
            }
        ],
    }
    store, _ = stage(tmp_path, settings, book__csv=text)
    assert store.rows(
        "SELECT queen_id, line, graft_batch FROM staged_queens ORDER BY ref"
    ) == [
        ("1", "Line Alder", "G1"),
        ("2", "Line Alder", "G1"),
        ("3", "Line Rowan", "G2"),
    ]
    assert store.rows("SELECT ref_line(ref), why FROM passed_over ORDER BY ref") == [
        (2, "group"),
        (5, "group"),
    ]


SERIES = """No;Batch line;Looked on;Seen
"1. series - hatched 14.5., mother B14";;;
1;;2.6.;eggs
Frost at night;;;
2;;3.6.;eggs
"Series 2, hatched 26.5.";;;
3;;12.6.;eggs
"""


def test_a_group_line_gives_each_of_its_facts_to_a_column(tmp_path):
    group = {"graft_batch": "series", "emerged_on": "hatched", "line": "mother"}
    habits = {"group": group, "pass_over": ["Frost*"], "dates": "dmy", "year": 2025}
    rule = {"from": "book.csv", "table": "queens", "columns": {"queen_id": "No"}}
    store, _ = stage(tmp_path, {"files": {"book.csv": habits}, "read": [rule]}, book__csv=SERIES)
    # the second line names no mother, which ends what the first one said
    assert store.rows(
        "SELECT queen_id, graft_batch, CAST(emerged_on AS VARCHAR), line FROM staged_queens ORDER BY ref"
    ) == [
        ("1", "1", "2025-05-14", "B14"),
        ("2", "1", "2025-05-14", "B14"),
        ("3", "2", "2025-05-26", None),
    ]
    assert store.rows("SELECT ref_line(ref), why FROM passed_over ORDER BY ref") == [
        (2, "group"),
        (4, "pattern"),
        (6, "group"),
    ]


@pytest.mark.parametrize("group", ["zork", {"zork": "series"}, {"line": ""}, {}, ["line"], 3])
def test_a_group_that_is_no_column_is_refused(tmp_path, group):
    with pytest.raises(UsageError, match="does not fit"):
        stage(tmp_path, {"files": {"book.csv": {"group": group}}}, book__csv=SERIES)


SHORT = """No.;1st date;1st look;2nd date;2nd look
Yard North
1;2025-06-10;eggs;2025-06-20;all
--- JUNE 2025 ---
2;2025-06-10;nothing;;
"Total; all": 2 queens
Total;2
3;2025-06-11
"""
"""Lines that end with their text, as typed in an editor: short of cells, and no records."""


def test_rows_to_pass_over_and_group_lines_may_be_short_of_cells(tmp_path):
    habits = {"pass_over": ["--- *", "Total*"], "group": "note"}
    rules = [{**RULES["read"][1], "from": "wide.csv"}]
    rules[0]["columns"] = {k: rules[0]["columns"][k] for k in ("queen_id", "checked_on")}
    settings = {"files": {"wide.csv": habits}, "read": rules}
    store, read = stage(tmp_path, settings, wide__csv=SHORT, checks__csv=None)
    assert store.rows(
        "SELECT ref_line(ref), why FROM passed_over WHERE ref_slot(ref) IS NULL ORDER BY 1"
    ) == [(2, "group"), (4, "pattern"), (6, "pattern"), (7, "pattern")]
    assert store.rows(
        "SELECT queen_id, note, broken FROM staged_checks ORDER BY ref_line(ref), ref"
    ) == [
        ("1", "Yard North", None),
        ("1", "Yard North", None),
        ("2", "Yard North", None),
        # a record that is cut short is still told
        (None, "Yard North", "cells_missing"),
    ]
    accept_records(
        store, parse(settings), AS_OF, [s.name for s in read.sources], verified=False
    )
    assert store.rows(
        "SELECT rows_read, accepted, quarantined, passed_over FROM sources "
        "WHERE source = 'wide.csv'"
    ) == [(9, 3, 1, 5)]


def test_ignored_files_are_neither_read_nor_told(tmp_path):
    settings = {"records": {"ignore": ["*.pdf", "checks (2).csv"]}}
    _, read = stage(
        tmp_path, settings, plan__pdf="x", **{"checks (2)__csv": "queen_id\n"}
    )
    assert read.unread == ()
    assert [source.name for source in read.sources] == [
        "checks.csv",
        "inseminations.csv",
    ]
    assert not any("NOT READ" in note for note in read.notes)


def test_files_that_nothing_reads_are_named_loudly(tmp_path):
    _, read = stage(tmp_path, notes__docx="x", shopping__txt="CO2 refill\n")
    assert read.unread == ("notes.docx", "shopping.txt")
    (loud,) = loud_note(read.unread)
    assert loud.startswith("NOT READ: 2 files")
    assert 'ignore = ["notes.docx", "shopping.txt"]' in loud


# --- settings that cannot hold


def refused(tmp_path, settings, kind=UsageError, text=WIDE):
    """Give the whole message of a refusal."""
    with pytest.raises(kind) as caught:
        wide(tmp_path, text, settings)
    return caught.value.text()


def test_two_patterns_of_files_that_disagree_are_refused(tmp_path):
    files = {"*.csv": {"dates": "dmy"}, "wide.csv": {"dates": "mdy"}}
    told = refused(tmp_path, changed(files=files))
    assert 'disagree on "dates"' in told
    assert 'files."*.csv"' in told
    assert "wide.csv" in told


def test_two_patterns_that_say_the_same_are_fine(tmp_path):
    files = {
        "*.csv": {"pass_over": ["Total*"]},
        "wide.csv": {"pass_over": ["Total*"], "dates": "iso"},
    }
    store, _ = wide(tmp_path, settings=changed(files=files))
    assert store.rows("SELECT count(*) FROM staged_inseminations") == [(3,)]


def test_two_rules_for_the_same_records_are_refused(tmp_path):
    rules = [*RULES["read"], RULES["read"][0]]
    told = refused(tmp_path, changed(read=rules))
    assert "two rules read the same records" in told
    assert "[[read]] no. 1 (inseminations) and [[read]] no. 4" in told


@pytest.mark.parametrize(("many", "fits"), [(63, True), (64, False)])
def test_a_row_may_hold_so_many_records_of_a_table_by_all_its_rules(tmp_path, many, fits):
    days = [f"2025-{5 + n // 28:02}-{1 + n % 28:02}" for n in range(many)]
    rule = {
        "from": "wide.csv",
        "table": "checks",
        "columns": {"queen_id": "No.", "findings": "{look}", "checked_on": {"value": "{look}"}},
    }
    rules = [
        RULES["read"][0],
        *(rule | {"each": [{"look": day} for day in part]} for part in (days[:40], days[40:])),
    ]
    text = f"No.,Date,Time,Dose,Line,{','.join(days)}\n1,2025-05-01,,8,A{',eggs' * many}\n"
    if fits:
        store, _ = wide(tmp_path, text, changed(read=rules))
        assert store.rows("SELECT count(*), count(DISTINCT ref) FROM staged_checks") == [(63, 63)]
    else:
        told = refused(tmp_path, changed(read=rules), RecordsError, text)
        assert "wide.csv, read as checks" in told
        assert "64 slots of all its [[read]] together" in told
        assert "at most 63" in told


def test_every_fault_of_the_headings_is_told_at_once(tmp_path):
    rules = [
        RULES["read"][0]
        | {"columns": RULES["read"][0]["columns"] | {"inseminated_at": "Dates"}},
        RULES["read"][1],
        RULES["read"][2]
        | {"columns": RULES["read"][2]["columns"] | {"reason": "Whys"}},
    ]
    told = refused(tmp_path, changed(read=rules), RecordsError)
    assert 'no heading "Dates"' in told
    assert 'did you mean "Date"?' in told
    assert 'no sheet of this rule has the heading "Whys"' in told


def test_faults_of_files_sheets_and_headings_are_told_in_one_run(tmp_path):
    first, second, third = RULES["read"]
    (tmp_path / "late.csv").write_text("No.,When\nQ1,2026-06-01\n", "utf-8")
    late = {"from": "late.csv", "table": "exits", "columns": {"queen_id": "No."}}
    files = {"*.csv": {"dates": "dmy"}, "wide.csv": {"dates": "mdy"}}
    told = refused(
        tmp_path,
        changed(read=[first, second, {**third, "from": "wyde.csv"}, late], files=files),
        RecordsError,
    )
    assert told.count("error: ") == 3
    assert 'no file fits the pattern "wyde.csv"' in told
    assert 'two patterns disagree on "dates"' in told
    assert 'the required column "left_on" is not named' in told


def test_every_column_that_a_file_lacks_is_told_at_once(tmp_path):
    (tmp_path / "exits.csv").write_text("Why\ndead\n", "utf-8")
    told = refused(tmp_path, RULES, RecordsError)
    assert 'the required column "queen_id" is missing' in told
    assert 'the required column "left_on" is missing' in told


def test_a_sheet_named_under_tables_and_by_a_rule_is_refused(tmp_path):
    told = refused(tmp_path, changed(tables={"lab": "wide.csv"}))
    assert "named both under [tables] and by a [[read]]" in told
    assert "[tables] lab" in told


def test_a_required_column_that_a_rule_leaves_out_is_told(tmp_path):
    told = refused(tmp_path, with_rule(2, columns={"queen_id": "No."}), RecordsError)
    assert 'the required column "left_on" is not named' in told


def test_a_pattern_that_takes_no_file_is_told_with_the_nearest_name(tmp_path):
    told = refused(tmp_path, with_rule(2, **{"from": "wyde.csv"}), RecordsError)
    assert "[[read]] no. 3" in told
    assert 'did you mean "wide.csv"?' in told


HALVES = """No.,Date,1st dose,2nd dose
1,2025-06-01,4,4
2,2025-06-01,4,
1,2025-06-01,4,4
"""


def test_two_equal_doses_of_one_row_are_two_and_the_row_pasted_again_is_none(tmp_path):
    rule = {
        "from": "halves.csv",
        "table": "inseminations",
        "each": ["1st", "2nd"],
        "columns": {"queen_id": "No.", "inseminated_at": "Date", "dose_ul": "{} dose"},
    }
    settings = {"read": [rule]}
    store, read = stage(
        tmp_path, settings, halves__csv=HALVES, inseminations__csv=None
    )
    accept_records(
        store, parse(settings), AS_OF, [s.name for s in read.sources], verified=False
    )
    assert store.rows(
        "SELECT queen_id, dose_ul, ref_in_source(ref) FROM accepted_inseminations ORDER BY ALL"
    ) == [("1", 4.0, "2/1"), ("1", 4.0, "2/2"), ("2", 4.0, "3/1")]
    assert store.rows(
        "SELECT ref_in_source(ref), ref_in_source(first) FROM repeats ORDER BY ref"
    ) == [("4/1", "2/1"), ("4/2", "2/2")]


@pytest.mark.parametrize(
    ("cells", "dose", "parts"),
    [
        ("4,4,", 8.0, 2),
        (",4,", 4.0, None),
        ("4.5,3 ul,", 7.5, 2),
        ("4,-,", 4.0, None),
        ("8,,ul", 8.0, None),
        ("8,x,", None, None),
    ],
)
def test_figures_of_several_columns_are_the_parts_of_one_dose(tmp_path, cells, dose, parts):
    rule = {
        "from": "bench.csv",
        "table": "inseminations",
        "columns": {
            "queen_id": "No.",
            "inseminated_at": "Date",
            "dose_ul": {"from": ["1st", "2nd", "Unit"], "empty": ["-"]},
        },
    }
    text = f"No.,Date,1st,2nd,Unit\n1,2025-06-01,{cells}\n"
    store, _ = stage(tmp_path, {"read": [rule]}, bench__csv=text, inseminations__csv=None)
    assert store.rows("SELECT dose_ul, dose_ul__parts FROM staged_inseminations") == [(dose, parts)]


def test_a_slot_may_have_no_text_of_its_own(tmp_path):
    rule = {
        "from": "looks.csv",
        "table": "checks",
        "each": ["", "2"],
        "columns": {"queen_id": "No.", "checked_on": "Day {}", "eggs": "Eggs {}"},
    }
    text = "No.,Day,Eggs,Day 2,Eggs 2\n1,2025-06-10,yes,2025-06-20,no\n"
    store, _ = stage(tmp_path, {"read": [rule]}, looks__csv=text, checks__csv=None)
    assert store.rows("SELECT checked_on, eggs FROM staged_checks ORDER BY ref") == [
        (dt.date(2025, 6, 10), True),
        (dt.date(2025, 6, 20), False),
    ]


def test_what_is_wrong_alike_with_many_sheets_is_told_once(tmp_path):
    rule = {"from": "looks*", "table": "checks", "columns": {"checked_on": "Day"}}
    files = {f"looks_{n}__csv": "Day,Eggs\n2025-06-10,yes\n" for n in range(5)}
    with pytest.raises(RecordsError, match="is not named") as refused:
        stage(tmp_path, {"read": [rule]}, checks__csv=None, **files)
    assert refused.value.where == "looks_0.csv, [[read]] no. 1 (checks), and 4 more"
    assert refused.value.others == ()
