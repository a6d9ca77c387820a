"""The expectations give a verdict of their own, and the build stops when it differs."""

from __future__ import annotations

import dataclasses

import pytest
from queen_outcomes.base.errors import LedgerError
from queen_outcomes.base.store import Store
from queen_outcomes.base.workers import Workers
from queen_outcomes.facts.dictionary import TABLES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.records import expectations
from queen_outcomes.records.rules import Expectation, row_rules
from staged_tables import AS_OF, accepted, stage, staged
from test_findings import LISTED, QUARANTINED


def everything_wrong() -> dict[str, list[dict]]:
    rows: dict[str, list[dict]] = {}
    for _, case, _ in QUARANTINED + LISTED:
        for table, given in case.items():
            rows.setdefault(table, []).extend(given)
    return rows


@pytest.mark.slow
def test_both_ways_of_counting_agree_when_everything_is_wrong(capsys):
    store = accepted(**everything_wrong())
    failed = store.rows(
        'SELECT "table", expectation FROM expectations WHERE failed > 0'
    )
    assert ("inseminations", "dose_ul is above 0 and at most 40 uL") in failed
    assert len(failed) > 20
    assert capsys.readouterr() == ("", "")


def test_empty_tables_fulfil_every_expectation():
    store = accepted()
    assert store.rows("SELECT count(*) > 100, max(failed) FROM expectations") == [
        (True, 0)
    ]


def test_a_row_that_fails_in_an_empty_table_stops_the_build():
    rules = exits_rules()
    with pytest.raises(LedgerError, match="disagree"):
        expectations.verify(staged(), rules, {rule.rule_id: 1 for rule in rules})


def exits_rules():
    return row_rules(TABLES["exits"], Settings(), AS_OF)[:4]


@pytest.mark.slow
def test_a_count_that_differs_stops_the_build():
    rules = exits_rules()
    counts = dict.fromkeys((rule.rule_id for rule in rules), 0)
    with pytest.raises(LedgerError, match="disagree") as stopped:
        expectations.verify(staged(exits=[{}]), rules, counts)
    assert "exits.queen_id.present: 1 by the expectation, 0" in stopped.value.text()


def test_an_expectation_that_raises_stops_the_build():
    absent = Expectation("ExpectColumnValuesToNotBeNull", {"column": "no_such"})
    rule = dataclasses.replace(exits_rules()[0], expectation=absent)
    with pytest.raises(LedgerError, match="gave no answer") as stopped:
        expectations.verify(staged(exits=[{}]), [rule], {rule.rule_id: 0})
    assert "no_such" in stopped.value.text()


@pytest.mark.slow
@pytest.mark.parametrize("cores", [1, 2])
def test_beside_the_build_the_count_is_the_same_and_leaves_no_copy(cores, tmp_path):
    place = tmp_path / "a [b]* folder"
    place.mkdir()
    store = Store(place / "station.duckdb")
    stage(store, exits=[{}])
    rules = exits_rules()
    counts = dict.fromkeys((rule.rule_id for rule in rules), 0)
    with Workers(cores) as workers:
        verdict = expectations.begin(store, rules, counts, workers)
        store.drop("staged_exits")
        with pytest.raises(LedgerError, match="disagree") as stopped:
            verdict.join()
        assert "exits.queen_id.present: 1 by the expectation, 0" in stopped.value.text()
        counts["exits.queen_id.present"] = 1
        assert verdict.join() == len(rules)
    assert not [path for path in place.iterdir() if path.is_dir()]


def test_a_module_is_loaded_once_something_of_it_is_used():
    """What loads it is the standard library's; here, when that happens."""
    expectations._load_when_used("wsgiref", "validate")
    from wsgiref import validate

    waits = type(validate)
    assert waits is not type(dataclasses)
    assert validate.check_environ.__module__ == "wsgiref.validate"
    assert type(validate) is type(dataclasses)
    again = validate
    expectations._load_when_used("wsgiref", "validate")
    from wsgiref import validate

    assert validate is again


def test_copies_to_count_on_stand_beside_the_store_s_file(tmp_path):
    with Store(tmp_path / "station.duckdb") as store:
        assert expectations._beside(store) == tmp_path
    with Store() as store:
        assert expectations._beside(store) is None
