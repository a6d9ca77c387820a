"""Rows of a diary, chosen for each table by what a column says was done."""

from __future__ import annotations

import pytest

DIARY = """Day,Queen,Done,Dose,Eggs
2026-05-02,Q1,inseminated,8,
2026-05-02,Q2,Inseminated ,10,
2026-05-20,Q1,check,,yes
2026-05-20,Q2,check,,
2026-06-01,Q2,found dead,,
2026-06-02,Q1,sold,,
2026-06-03,Q1,fed,,
2026-06-04,Q1,,,
"""
RULES = """
[[read]]
from = "diary.csv"
table = "inseminations"
only = { "Done" = "inseminated" }
[read.columns]
queen_id = "Queen"
inseminated_at = "Day"
dose_ul = "Dose"

[[read]]
from = "diary.csv"
table = "checks"
only = { "Done" = "check" }
[read.columns]
queen_id = "Queen"
checked_on = "Day"
eggs = "Eggs"

[[read]]
from = "diary.csv"
table = "exits"
only = { "Done" = ["sold", "found dead"] }
[read.columns]
queen_id = "Queen"
left_on = "Day"
reason = { from = "Done", words = { dead = "found dead" } }
"""


@pytest.fixture
def diary(station):
    """A station whose records are one diary, read by three rules."""
    (station / "records" / "diary.csv").write_text(DIARY, encoding="utf-8")
    with (station / "station.toml").open("a", encoding="utf-8") as settings:
        settings.write(RULES)
    return station


def rows_of(station, command, query):
    from queen_outcomes.base.store import Store

    ran = command("build", station, "--until", "derive")
    assert ran.code == 0, ran.err
    with Store(next(station.glob("build/*/station.duckdb")), read_only=True) as store:
        return store.rows(query), ran.err


def test_each_rule_takes_its_rows_and_what_none_takes_is_told(diary, command):
    query = (
        "SELECT 'i', queen_id, CAST(dose_ul AS VARCHAR) FROM accepted_inseminations "
        "UNION ALL SELECT 'c', queen_id, CAST(eggs AS VARCHAR) FROM accepted_checks "
        "UNION ALL SELECT 'e', queen_id, reason FROM accepted_exits ORDER BY ALL"
    )
    rows, told = rows_of(diary, command, query)
    assert rows == [
        ("c", "Q1", "true"),
        ("c", "Q2", None),  # chosen by name: a look, though nothing is noted
        ("e", "Q1", "sold"),
        ("e", "Q2", "dead"),
        ("i", "Q1", "8.0"),
        ("i", "Q2", "10.0"),
    ]
    said = " ".join(told.split())
    assert (
        'diary.csv: 2 rows are chosen by no [[read]]; under "Done" they have "fed" (1), '
        "nothing (1)"
    ) in said


def test_the_ledger_counts_every_row_for_every_table(diary, command):
    query = (
        'SELECT "table", rows_read, accepted, quarantined, passed_over FROM sources '
        "ORDER BY ALL"
    )
    rows, _ = rows_of(diary, command, query)
    assert rows == [
        ("checks", 8, 2, 0, 6),
        ("exits", 8, 2, 0, 6),
        ("inseminations", 8, 2, 0, 6),
    ]


def test_the_mapping_says_which_rows_a_rule_takes(diary, command):
    said = " ".join(command("check", diary, "--mapping", "--wide").out.split())
    assert (
        'diary.csv -> exits only rows with "sold" or "found dead" under "Done" queen_id'
    ) in said


def test_a_heading_that_is_not_there_is_refused_with_the_nearest(diary, command):
    settings = diary / "station.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('{ "Done" = "check"', '{ "Dne" = "check"'), "utf-8")
    ran = command("check", diary)
    assert ran.code == 3
    assert 'did you mean "Done"?' in ran.err


@pytest.mark.parametrize("given", ['{ "Done" = [] }', '{ "Done" = 3 }', '"check"'])
def test_what_chooses_nothing_is_refused(diary, command, given):
    settings = diary / "station.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('{ "Done" = "check" }', given), "utf-8")
    assert command("check", diary).code == 2


def test_two_rules_for_one_table_take_rows_of_their_own(station, command):
    rules = RULES.replace('only = { "Done" = "check" }', 'only = { "Done" = "look" }')
    more = RULES.split("\n\n")[1]
    (station / "records" / "diary.csv").write_text(
        DIARY.replace("Q2,check", "Q2,look"), encoding="utf-8"
    )
    with (station / "station.toml").open("a", encoding="utf-8") as settings:
        settings.write(f"{rules}\n\n{more}")
    query = "SELECT queen_id FROM accepted_checks ORDER BY ALL"
    rows, told = rows_of(station, command, query)
    assert rows == [("Q1",), ("Q2",)]
    assert "2 rows are chosen by no" in " ".join(told.split())
    text = (station / "station.toml").read_text(encoding="utf-8")
    (station / "station.toml").write_text(
        text.replace('"Done" = "check"', '"done" = [" Check ", "LOOK"]'), encoding="utf-8"
    )
    refused = command("check", station)
    assert refused.code == 2
    assert "two rules read the same records" in refused.err


def test_a_sheet_with_a_rule_for_every_row_has_no_row_that_none_takes(diary, command):
    with (diary / "station.toml").open("a", encoding="utf-8") as settings:
        settings.write(
            '\n[[read]]\nfrom = "diary.csv"\ntable = "co2"\n[read.columns]\n'
            'queen_id = "Queen"\ngiven_at = "Day"\n'
        )
    _, told = rows_of(diary, command, "SELECT 1")
    assert "chosen by no" not in told


def test_a_rule_that_chooses_no_row_is_told_though_another_takes_them_all(diary, command):
    text = RULES.split("\n\n", maxsplit=1)[0].replace('only = { "Done" = "inseminated" }\n', "")
    with (diary / "station.toml").open("w", encoding="utf-8") as settings:
        settings.write(f"as_of = 2026-07-01\n{text}\n")
        settings.write(RULES.split("\n\n")[1].replace('"check" }', '["chek", "glance"] }'))
    said = " ".join(command("check", diary).err.split())
    assert (
        "diary.csv: no row is chosen for checks: "
        'none has "chek" or "glance" under "Done"'
    ) in said
    assert "chosen by no" not in said


def test_what_no_rule_chooses_is_told_where_another_rule_reads_every_row(
    station, command
):
    (station / "records" / "book.csv").write_text(
        "Queen,Inseminated,Fate,Gone\nQ1,2026-05-02,sold,2026-06-02\n"
        "Q2,2026-05-02,Dead 30/6,\nQ3,2026-05-02,,\nQ4,2026-05-03,dead 1/7,\n"
        "Total,,2 gone,\n",
        encoding="utf-8",
    )
    (station / "records" / "checks.csv").write_text(
        "queen_id,checked_on,eggs\nQ1,2026-05-20,yes\n", encoding="utf-8"
    )
    with (station / "station.toml").open("a", encoding="utf-8") as settings:
        settings.write(
            '[files."book.csv"]\npass_over = ["Total"]\n'
            '[[read]]\nfrom = "book.csv"\ntable = "inseminations"\n[read.columns]\n'
            'queen_id = "Queen"\ninseminated_at = "Inseminated"\n'
            '[[read]]\nfrom = "book.csv"\ntable = "exits"\nonly = { "Fate" = ["Sold"] }\n'
            '[read.columns]\nqueen_id = "Queen"\nleft_on = "Gone"\nreason = "Fate"\n'
        )
    said = " ".join(command("check", station).err.split())
    assert (
        'book.csv: under "Fate" no [[read]] chooses the rows with these texts: '
        '"Dead 30/6" (1), "dead 1/7" (1)'
    ) in said


def with_no_record(diary, texts, file="diary.csv"):
    with (diary / "station.toml").open("a", encoding="utf-8") as settings:
        settings.write(f'\n[files."{file}"]\nno_record = {{ {texts} }}\n')


def test_rows_that_are_no_records_are_counted_and_no_longer_told(diary, command):
    with_no_record(diary, '"done" = ["FED "]')
    query = (
        'SELECT "table", rows_read, accepted, quarantined, passed_over FROM sources '
        "ORDER BY ALL"
    )
    rows, told = rows_of(diary, command, query)
    assert rows == [
        ("checks", 8, 2, 0, 6),
        ("exits", 8, 2, 0, 6),
        ("inseminations", 8, 2, 0, 6),
    ]
    said = " ".join(told.split())
    assert "1 rows are chosen by no [[read]]" in said
    assert '"fed"' not in said


@pytest.mark.parametrize(
    ("texts", "says"),
    [
        ('"Dne" = ["fed"]', 'did you mean "Done"?'),
        ('"Done" = ["fed", "Check"]', "rows are read and are no records at once"),
    ],
)
def test_rows_that_cannot_be_no_records_are_refused(diary, command, texts, says):
    with_no_record(diary, texts)
    ran = command("check", diary)
    assert ran.code == 3
    assert says in ran.err


@pytest.mark.parametrize("texts", ['"Done" = []', '"Done" = 3', '"Done" = [""]'])
def test_texts_that_tell_no_rows_are_refused(diary, command, texts):
    with_no_record(diary, texts)
    assert command("check", diary).code == 2


def test_a_day_on_a_row_that_is_no_record_holds_for_the_rows_below_it(tmp_path):
    from reading import stage

    text = "Day,Done,Queen\n2026-05-02,II,Q1\n2026-05-03,fed,\n,II,Q2\nTotal 9,,\n,II,Q3\n"
    rule = {
        "from": "diary.csv",
        "table": "inseminations",
        "only": {"Done": ["II"]},
        "columns": {"queen_id": "Queen", "inseminated_at": "Day"},
    }
    habits = {"fill_down": ["Day"], "no_record": {"Done": ["fed"]}, "pass_over": ["Total*"]}
    settings = {"read": [rule], "files": {"diary.csv": habits}}
    store, _ = stage(tmp_path, settings, diary__csv=text, inseminations__csv=None)
    rows = store.rows(
        "SELECT queen_id, CAST(inseminated_at AS DATE)::VARCHAR FROM staged_inseminations ORDER BY ref"
    )
    assert rows == [("Q1", "2026-05-02"), ("Q2", "2026-05-03"), ("Q3", "2026-05-03")]
    whys = store.rows("SELECT DISTINCT why FROM passed_over ORDER BY why")
    assert ("no_record",) not in whys


def test_what_an_exit_is_chosen_by_is_still_the_look_of_every_row(station, command):
    """What else stands in a row, here a remark, does not say whether anybody looked."""
    (station / "records" / "bench.csv").write_text(
        "queen_id,inseminated_at\nQ1,2026-05-02\nQ2,2026-05-02\nQ3,2026-05-02\n", "utf-8"
    )
    (station / "records" / "yard.csv").write_text(
        "Day,Queen,Seen,Remark\n2026-05-16,Q1,eggs,fed\n2026-05-16,Q2,eggs,\n"
        "2026-05-17,Q3,gone,\n,,,rain\n",
        "utf-8",
    )
    with (station / "station.toml").open("a", encoding="utf-8") as settings:
        settings.write(
            '[tables]\ninseminations = "bench.csv"\n'
            '[[read]]\nfrom = "yard.csv"\ntable = "checks"\n[read.columns]\nqueen_id = "Queen"\n'
            'checked_on = "Day"\nfindings = "Seen"\nnote = "Remark"\n'
            '[[read]]\nfrom = "yard.csv"\ntable = "exits"\nonly = { "Seen" = ["gone"] }\n'
            '[read.columns]\nqueen_id = "Queen"\nleft_on = "Day"\n'
            'reason = { from = "Seen", words = { missing = "gone" } }\n'
            '[words.findings]\neggs = { eggs = "yes" }\ngone = { queen_seen = "no" }\n'
        )
    rows, _ = rows_of(station, command, "SELECT queen_id FROM accepted_checks ORDER BY ALL")
    assert rows == [("Q1",), ("Q2",), ("Q3",)]
    rows, _ = rows_of(station, command, "SELECT queen_id FROM accepted_exits ORDER BY ALL")
    assert rows == [("Q3",)]
