"""Several spellings of one name made one, and two queens never."""

from __future__ import annotations

import datetime as dt

import pytest
from queen_outcomes.facts.settings import parse
from queen_outcomes.records.accept import accept_records
from reading import stage

AS_OF = dt.date(2025, 12, 31)
HEAD = "queen_id,inseminated_at,operator\n"
LOOKS = "queen_id,checked_on,checker\n"


def accepted(tmp_path, settings, **files):
    """Stage and accept some files."""
    store, read = stage(tmp_path, settings, **files)
    accept_records(
        store, parse(settings), AS_OF, [s.name for s in read.sources], verified=False
    )
    return store


FOLD = {"records": {"fold": ["queen_id"]}}


def test_spellings_become_that_of_the_inseminations(tmp_path):
    store = accepted(
        tmp_path,
        FOLD,
        inseminations__csv=HEAD + "Q-12,2025-06-01,A\nQ-7,2025-06-01,A\n",
        checks__csv=LOOKS + "q12,2025-06-10,A\nQ 012,2025-06-20,A\nQ-7,2025-06-10,A\n",
    )
    ids = store.rows("SELECT queen_id FROM accepted_checks ORDER BY ref")
    assert ids == [("Q-12",), ("Q-12",), ("Q-7",)]
    told = store.rows(
        "SELECT value, message FROM listed_records WHERE reason = 'spelling_folded' "
        "ORDER BY value"
    )
    assert [value for value, _ in told] == ["Q 012", "q12"]
    assert "is taken for Q-12, as the settings say (rows: 1)" in told[0][1]


def test_two_queens_that_were_both_inseminated_are_never_one(tmp_path):
    store = accepted(
        tmp_path,
        FOLD,
        inseminations__csv=HEAD + "Q-12,2025-06-01,A\nQ12,2025-06-01,A\n",
        checks__csv=LOOKS + "Q12,2025-06-10,A\nq 12,2025-06-20,A\n",
    )
    ids = "SELECT queen_id FROM {} ORDER BY ref"
    assert store.rows(ids.format("accepted_inseminations")) == [("Q-12",), ("Q12",)]
    assert store.rows(ids.format("accepted_checks")) == [("Q12",), ("q 12",)]
    unsure = store.rows(
        "SELECT \"table\", value FROM listed_records WHERE reason = 'spelling_unsure' "
        "ORDER BY ALL"
    )
    assert unsure == [
        ("checks", "q 12"),
        ("inseminations", "Q-12"),
        ("inseminations", "Q12"),
    ]


def test_without_the_setting_nothing_is_folded(tmp_path):
    store = accepted(tmp_path, {}, checks__csv=LOOKS + "q1,2025-06-10,A\n")
    assert store.rows("SELECT queen_id FROM accepted_checks") == [("q1",)]


def test_people_have_one_name(tmp_path):
    same = {"Anna Berg": ["AB", "a. berg"]}
    settings = {"records": {"same": {"operator": same, "checker": same}}}
    store = accepted(
        tmp_path,
        settings,
        inseminations__csv=HEAD + "1,2025-06-01,ab\n2,2025-06-01,A.  Berg\n",
        checks__csv=LOOKS + "1,2025-06-10,ANNA BERG\n2,2025-06-10,Bo\n",
    )
    people = store.rows("SELECT DISTINCT operator FROM accepted_inseminations")
    assert people == [("Anna Berg",)]
    assert store.rows("SELECT checker FROM accepted_checks ORDER BY ref") == [
        ("Anna Berg",),
        ("Bo",),
    ]


@pytest.mark.parametrize(
    ("prefix", "ids"),
    [("25-", [("25-1",), ("25-2",)]), ({"queen_id": "x"}, [("x1",), ("x2",)])],
)
def test_a_prefix_goes_before_the_ids_of_its_file_alone(tmp_path, prefix, ids):
    store = accepted(
        tmp_path,
        {"files": {"inseminations.csv": {"prefix": prefix}}},
        inseminations__csv=HEAD + "1,2025-06-01,A\n2.0,2025-06-01,A\n",
        checks__csv=LOOKS + "1,2025-06-10,A\n",
    )
    found = store.rows("SELECT queen_id FROM accepted_inseminations ORDER BY ref")
    assert found == ids
    assert store.rows("SELECT queen_id FROM accepted_checks") == [("1",)]


@pytest.mark.parametrize(
    ("prefix", "written", "ids"),
    [
        ("Q", "1,Q2,q3,Q-4,q 005,Queen6", "Q1,Q2,q3,Q-4,q 005,QQueen6"),
        ("Q-", "1,Q-2,q-3", "Q-1,Q-2,q-3"),
        ("25-", "1,25-2,252", "25-1,25-2,25-252"),
        # nobody can tell such a prefix from the figures behind it
        ("25", "1,252", "251,25252"),
        # what lacks may stand on both sides
        ("E-{}-26", "7,E-08-26,e 9-26,E-1", "E-7-26,E-08-26,e 9-26,E-E-1-26"),
    ],
)
def test_a_prefix_is_not_put_before_an_id_that_has_it(tmp_path, prefix, written, ids):
    rows = "".join(f"{text},2025-06-01,A\n" for text in written.split(","))
    store = accepted(
        tmp_path,
        {"files": {"inseminations.csv": {"prefix": prefix}}},
        inseminations__csv=HEAD + rows,
    )
    found = store.rows("SELECT queen_id FROM accepted_inseminations ORDER BY ref")
    assert [label for (label,) in found] == ids.split(",")
