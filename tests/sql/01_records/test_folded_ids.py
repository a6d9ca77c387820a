"""Which spelling an id is taken for."""

from queen_outcomes.base.store import Store
from queen_outcomes.records.findings import FOLDER


def folded(rows, home="inseminations", guarded="inseminations"):
    """Give id and table -> label, of ids that stand in tables at some refs."""
    store = Store()
    values = ", ".join(f"('{i}', '{table}', {ref}, 1)" for i, table, ref in rows)
    store.execute(
        'CREATE TABLE id_uses (id VARCHAR, "table" VARCHAR, ref BIGINT, uses BIGINT)'
    )
    store.execute(f"INSERT INTO id_uses VALUES {values}")
    store.step(FOLDER, "folded_ids", {"home": home, "guarded": guarded})
    return {
        (row["id"], row["table"]): row["label"]
        for row in store.records("SELECT * FROM folded_ids")
    }


def test_the_first_of_the_home_table_is_the_label():
    rows = [("q1", "checks", 1), ("Q-1", "inseminations", 9), ("Q 01", "exits", 2)]
    assert folded(rows) == {("q1", "checks"): "Q-1", ("Q 01", "exits"): "Q-1"}


def test_two_of_the_guarded_table_have_none():
    rows = [
        ("Q1", "inseminations", 1),
        ("Q-1", "inseminations", 2),
        ("q1", "checks", 3),
        ("Q-1", "checks", 4),
    ]
    assert folded(rows) == {
        ("Q1", "inseminations"): None,
        ("Q-1", "inseminations"): None,
        ("q1", "checks"): None,
    }


def test_without_a_home_the_earliest_is_the_label():
    rows = [("n1", "checks", 5), ("N 1", "checks", 7), ("N-01", "placements", 6)]
    found = folded(rows, home="", guarded="")
    assert found == {("N 1", "checks"): "n1", ("N-01", "placements"): "n1"}


def test_two_spellings_are_enough():
    rows = [("Q1", "inseminations", 1), ("q1", "checks", 2)]
    assert folded(rows) == {("q1", "checks"): "Q1"}


def test_ids_that_differ_in_more_are_left():
    rows = [("Q10", "inseminations", 1), ("Q1", "checks", 2), ("Q1a", "checks", 3)]
    assert folded(rows) == {}
