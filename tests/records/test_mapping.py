"""How each column is read, in words; which headings a rule must find; its constants."""

import pytest
from queen_outcomes.base.errors import AppError
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.reading import BLANK_NO, FINDINGS, CellRule
from queen_outcomes.records.mapping import MOST_SLOTS, _how, _is_required, fill_in
from reading import stage

CHECKS = TABLES["checks"]


@pytest.mark.parametrize(
    ("ours", "rule", "told"),
    [
        ("checked_on", CellRule(), "dates iso"),
        ("checked_on", CellRule("dmy", 2025), "dates dmy of 2025"),
        (
            "checked_on",
            CellRule("mixed:dmy"),
            "dates dmy, day and month of real dates changed",
        ),
        ("pattern_pct", CellRule("dmy"), ""),
        ("pattern_pct", CellRule(decimal=","), "decimal comma"),
        ("note", CellRule(decimal=","), ""),
        ("pattern_pct", CellRule(decimal=",", unit="share"), "decimal comma, kept in share"),
        ("eggs", CellRule(blank=BLANK_NO), "blank means no on rows with a date"),
        ("eggs", CellRule(filled=True), "whatever is written means yes"),
        ("eggs", CellRule(words={"yes": ("x", "y"), "no": ("-",)}), "3 words of your own"),
        ("note", CellRule(words={"yes": ("x",)}), ""),
        (FINDINGS, CellRule(findings={"E": {"eggs": "yes"}}), "1 words of your own"),
        ("eggs", CellRule(findings={"E": {"eggs": "yes"}}), ""),
    ],
)  # fmt: skip
def test_how_a_column_is_read_is_said_in_words(ours, rule, told):
    assert _how(CHECKS, ours, rule) == told


def test_what_a_record_cannot_do_without_is_required():
    assert _is_required(CHECKS, "checked_on")
    assert not _is_required(CHECKS, "note")
    assert not _is_required(CHECKS, FINDINGS)


def test_a_slot_s_texts_are_put_into_a_heading():
    assert fill_in("{n} day", {"n": "1st"}, has_slots=True) == "1st day"
    assert fill_in("{n} {of}", {"n": "1st", "of": "May"}, has_slots=True) == "1st May"
    assert fill_in("{n} {of}", {"n": "1st"}, has_slots=True) is None
    assert fill_in("{n} day", {}, has_slots=False) == "{n} day"
    assert fill_in("{n day", {"n": "1st"}, has_slots=True) == "{n day"


def test_a_heading_that_no_sheet_has_is_told_once_and_one_that_is_there_never(tmp_path):
    columns = {"queen_id": "No.", "checked_on": "Day", "note": "Remarsk", "eggs": "EGGS"}
    settings = {"read": [{"from": "book.csv", "table": "checks", "columns": columns}]}
    with pytest.raises(AppError) as caught:
        stage(tmp_path, settings, checks__csv=None, book__csv="No.,Day,Remarks,eggs\nQ1,2025-06-20,x,yes\n")
    (told,) = [caught.value, *caught.value.others]
    assert told.what == 'no sheet of this rule has the heading "Remarsk"'
    assert told.hint == 'did you mean "Remarks"?'


def test_columns_that_no_rule_reads_are_told_of_their_own_sheet(tmp_path):
    rule = {"table": "checks", "columns": {"queen_id": "No.", "checked_on": "Day"}}
    settings = {"read": [{**rule, "from": ["a.csv", "b.csv"]}]}
    _, staged = stage(
        tmp_path,
        settings,
        checks__csv=None,
        a__csv="No.,Day,,Zork\nQ1,2025-06-20,,x\n",
        b__csv="No.,Day\nQ1,2025-06-21\n",
    )
    assert [note for note in staged.notes if "no rule reads" in note] == [
        'a.csv: no rule reads the columns "Zork"'
    ]


def test_a_column_that_another_table_reads_too_makes_no_record_by_itself(tmp_path):
    """The day is that of a look or of a death; what else is filled in tells which."""
    columns = {"queen_id": "No.", "checked_on": "Day", "eggs": "Eggs"}
    left = {"queen_id": "No.", "left_on": "Day", "reason": "Why"}
    settings = {
        "read": [
            {"from": "book.csv", "table": "checks", "columns": columns},
            {"from": "book.csv", "table": "exits", "columns": left},
        ]
    }
    text = "No.,Day,Eggs,Why\nQ1,2025-06-20,yes,\nQ2,2025-06-21,,dead\n"
    store, _ = stage(tmp_path, settings, checks__csv=None, book__csv=text)
    assert store.rows("SELECT queen_id FROM staged_checks") == [("Q1",)]
    assert store.rows("SELECT queen_id FROM staged_exits") == [("Q2",)]


def wide(path, number):
    """Stage one row that holds so many looks, by two rules."""
    each = [{"n": str(n)} for n in range(1, number + 1)]
    columns = {"queen_id": "No.", "checked_on": "{n} day"}
    rules = [
        {"from": "book.csv", "table": "checks", "each": part, "columns": columns}
        for part in (each[:30], each[30:])
    ]
    head = ",".join(["No.", *(f"{n} day" for n in range(1, number + 1))])
    row = ",".join(["Q1", *(f"2025-{5 + n // 28:02}-{1 + n % 28:02}" for n in range(number))])
    return stage(path, {"read": rules}, checks__csv=None, book__csv=f"{head}\n{row}\n")[0]


def test_a_row_holds_so_many_records_of_one_table_and_no_more(tmp_path):
    store = wide(tmp_path / "most", MOST_SLOTS)
    assert store.rows("SELECT count(*), min(ref_slot(ref)), max(ref_slot(ref)) FROM staged_checks") == [
        (MOST_SLOTS, 1, MOST_SLOTS)
    ]
    with pytest.raises(AppError, match="more records of one table") as caught:
        wide(tmp_path / "more", MOST_SLOTS + 1)
    assert caught.value.found.startswith(f"{MOST_SLOTS + 1} slots")


def test_slots_count_on_from_rule_to_rule_and_one_record_a_row_has_none(tmp_path):
    one = {"from": "book.csv", "table": "checks", "columns": {"queen_id": "No.", "checked_on": "Day"}}
    other = {**one, "columns": {"queen_id": "No.", "checked_on": "Then"}}
    text = "No.,Day,Then\nQ1,2025-06-20,2025-06-27\n"
    for name, rules, slots in (("a", [one], [None]), ("b", [one, other], [1, 2])):
        store, _ = stage(tmp_path / name, {"read": rules}, checks__csv=None, book__csv=text)
        found = store.rows("SELECT ref_slot(ref), checked_on FROM staged_checks ORDER BY 2")
        assert [slot for slot, _ in found] == slots


def test_texts_of_each_that_no_heading_has_are_refused(tmp_path):
    rule = {
        "from": "book.csv", "table": "checks", "each": [{"n": "3rd"}],
        "columns": {"queen_id": "{n} No.", "checked_on": "{n} day"},
    }  # fmt: skip
    with pytest.raises(AppError) as caught:
        stage(tmp_path, {"read": [rule]}, checks__csv=None, book__csv="1st No.,1st day\nQ1,2025-06-20\n")
    told = [caught.value, *caught.value.others]
    assert any("has a heading here" in fault.what for fault in told)
