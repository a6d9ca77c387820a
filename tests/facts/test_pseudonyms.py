"""Codes for operators in everything that leaves the station."""

import datetime as dt

import pytest
from queen_outcomes.base.store import Store
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
        batches=[{"kind": "graft_batch", "batch": "g", "operators": ["Alder", "Bo"]}],
        model_coefficients=[{"term": "operator", "coefficient": "Alder against Al"}],
        quarantine=[
            {"source": "x.csv", "row": "by Bo", "message": "Bo", "value": "Bo"}
        ],
    )
    # a number of operators, as one of the build's own tables has it
    made.execute("CREATE TABLE counted AS SELECT 3 AS operators")
    made.execute("UPDATE courses SET d0 = CAST(inseminated_at AS DATE)")
    return made


CODES = {"Al": "operator 1", "Bo": "operator 2", "Alder": "operator 3"}


@pytest.fixture
def told(store):
    """The same store, once the codes are set."""
    assert pseudonyms.set_pseudonyms(store) == CODES
    return store


def test_codes_follow_the_order_in_which_operators_appear(told):
    rows = told.rows("SELECT course_id, operator FROM courses ORDER BY course_id")
    assert rows == [
        ("Q1/1", "operator 2"),
        ("Q2/1", "operator 1"),
        ("Q3/1", "operator 3"),
    ]


def test_no_name_is_left_in_any_table(told):
    for name in contract.TABLES:
        rows = told.rows(f'SELECT * FROM "{name}"')
        words = str([row for row in rows if "line" not in row])
        assert "Bo" not in words, name
        assert "Al" not in words, name


def test_only_operators_are_replaced(told, store):
    assert told.rows("SELECT level FROM rates WHERE grouping = 'line'") == [("Al",)]
    assert told.rows("SELECT level FROM rates WHERE grouping = 'operator'") == [
        ("operator 1",)
    ]
    assert told.rows("SELECT operators FROM counted") == [(3,)]
    assert told.rows("SELECT coefficient FROM model_coefficients") == [
        ("operator 3 against operator 1",)
    ]


def test_no_order_tells_the_order_of_the_names(told):
    # by name Alder comes before Bo; by the codes it comes after
    assert told.rows("SELECT operators FROM batches") == [
        (["operator 2", "operator 3"],)
    ]
    assert told.rows("SELECT operator FROM courses ORDER BY operator") == [
        (code,) for code in CODES.values()
    ]


def test_the_build_s_file_is_not_changed(tmp_path, full_store):
    at = dt.datetime.combine(dt.date(2026, 5, 1), dt.time(10))
    course = {"course_id": "Q1/1", "operator": "Bo", "inseminated_at": at}
    full_store(tmp_path / "one.duckdb", courses=[course]).close()
    before = (tmp_path / "one.duckdb").read_bytes()
    with Store(tmp_path / "one.duckdb", read_only=True) as reading:
        pseudonyms.set_pseudonyms(reading)
        assert reading.rows("SELECT operator FROM courses") == [("operator 1",)]
    assert (tmp_path / "one.duckdb").read_bytes() == before


def test_a_station_that_names_no_operator_has_no_codes(full_store):
    empty = full_store()
    assert pseudonyms.set_pseudonyms(empty) == {}
    assert empty.rows("SELECT * FROM courses") == []
