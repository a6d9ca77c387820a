"""Codes for operators in everything that leaves the station."""

import datetime as dt

import pytest
from queen_outcomes.facts import exports as contract
from queen_outcomes.facts import pseudonyms

FIRST = dt.datetime.combine(dt.date(2026, 5, 1), dt.time(10))


@pytest.fixture
def store(full_store):
    def course(number, operator, after):
        at = FIRST + dt.timedelta(days=after)
        return {"course_id": f"Q{number}/1", "operator": operator, "inseminated_at": at}

    made = full_store(
        courses=[course(1, "Bo", 1), course(2, "Al", 0), course(3, "Alder", 2)],
        rates=[
            {"outcome": "laying", "grouping": "operator", "level": "Al"},
            {"outcome": "laying", "grouping": "line", "level": "Al"},
        ],
        batches=[{"kind": "graft_batch", "batch": "g", "operators": ["Bo", "Alder"]}],
        model_coefficients=[{"term": "operator", "coefficient": "Alder against Al"}],
        quarantine=[
            {"source": "x.csv", "row": "by Bo", "message": "Bo", "value": "Bo"}
        ],
    )
    made.execute("UPDATE courses SET d0 = CAST(inseminated_at AS DATE)")
    return made


def test_codes_follow_the_order_in_which_operators_appear(store):
    assert pseudonyms.codes(store) == {
        "Al": "operator 1",
        "Bo": "operator 2",
        "Alder": "operator 3",
    }


def test_no_name_is_left_in_any_table(store):
    copy = pseudonyms.masked(store)
    for name in contract.TABLES:
        rows = copy.rows(f'SELECT * FROM "{name}"')
        words = str([row for row in rows if "line" not in row])
        assert "Bo" not in words, name
        assert "Al" not in words, name


def test_only_operators_are_replaced(store):
    copy = pseudonyms.masked(store)
    assert copy.rows("SELECT level FROM rates WHERE grouping = 'line'") == [("Al",)]
    assert copy.rows("SELECT coefficient FROM model_coefficients") == [
        ("operator 3 against operator 1",)
    ]
    assert copy.columns("courses") == store.columns("courses")
