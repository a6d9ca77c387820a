"""The verdict: every rule as an expectation of Great Expectations.

Each rule is counted a second time here, and the build stops when an expectation
raised instead of answering or when the two counts differ. Great Expectations is
imported inside `verify` alone, because that takes seconds.
"""

from __future__ import annotations

import functools
import itertools
import logging
import operator
import os
from collections.abc import Iterable, Mapping
from typing import Any

from queen_outcomes.base.errors import LedgerError, shorten
from queen_outcomes.base.store import Store, quote
from queen_outcomes.facts.exports import EXPECTATIONS
from queen_outcomes.facts.exports.writing import write_rows
from queen_outcomes.records.rules import Rule

SEVERITIES = {"quarantine": "critical", "set_aside": "warning", "look": "info"}
"""Ours and theirs."""

FORMAT = {"result_format": "BASIC", "partial_unexpected_count": 0}
"""Counts only; anything fuller fetches every failing value."""


def verify(store: Store, rules: Iterable[Rule], counts: Mapping[str, int]) -> None:
    """Run every rule's expectation, and hold its count against the SQL's.

    Parameters
    ----------
    store : Store
        Holds the tables the rules look at, committed.
    rules : iterable of Rule
        The rules, in the order they are to be shown.
    counts : mapping of str to int
        For each rule_id, the rows that its SQL found.

    Raises
    ------
    LedgerError
        An expectation raised, or counts otherwise than the SQL.
    """
    listed = list(rules)
    answers = _answers(store, listed)
    disagreed = [
        f"{rule.rule_id}: {answers[rule.rule_id]} by the expectation, "
        f"{counts[rule.rule_id]} by the query"
        for rule in listed
        if answers[rule.rule_id] != counts[rule.rule_id]
    ]
    if disagreed:
        raise LedgerError(
            "the two ways of counting failing rows disagree",
            found=shorten(disagreed),
            expected="the same count from both",
            hint="this is a fault of the tool; please report it with these lines",
        )


def _answers(store: Store, rules: list[Rule]) -> dict[str, int]:
    os.environ.setdefault("GX_ANALYTICS_ENABLED", "false")
    logging.getLogger("great_expectations").setLevel(logging.WARNING)
    import great_expectations as gx

    from queen_outcomes.records import duckdb_dialect

    context = gx.get_context(mode="ephemeral")
    context.variables.progress_bars = {"globally": False}
    url = duckdb_dialect.share(store.con)
    source = context.data_sources.add_duckdb("build", connection_string=url)
    answers: dict[str, int] = {}
    try:
        by_relation = operator.attrgetter("relation")
        ordered = sorted(rules, key=by_relation)
        for relation, group in itertools.groupby(ordered, by_relation):
            answers |= _run_suite(context, source, relation, list(group))
    finally:
        source.get_execution_engine().close()
        duckdb_dialect.unshare()
    return answers


def _run_suite(
    context: Any, source: Any, relation: str, rules: list[Rule]
) -> dict[str, int]:
    import great_expectations as gx

    asset = source.add_table_asset(relation, table_name=relation)
    batch = asset.add_batch_definition_whole_table("all")
    suite = context.suites.add(gx.ExpectationSuite(name=relation))
    for rule in rules:
        suite.add_expectation(_expectation(rule))
    definition = gx.ValidationDefinition(name=relation, data=batch, suite=suite)
    results = context.validation_definitions.add(definition).run(result_format=FORMAT)
    return dict(_answer(result) for result in results.results)


def _expectation(rule: Rule) -> Any:
    import great_expectations as gx
    from great_expectations.expectations.row_conditions import Column

    expectation = rule.expectation
    conditions = [Column(name).is_null() for name in expectation.empty]
    where = (
        {"row_condition": functools.reduce(operator.and_, conditions)}
        if conditions
        else {}
    )
    return getattr(gx.expectations, expectation.name)(
        **expectation.arguments,
        **where,
        meta={"rule_id": rule.rule_id},
        severity=SEVERITIES[rule.severity],
    )


def _answer(result: Any) -> tuple[str, int]:
    rule_id = result.expectation_config.meta["rule_id"]
    found = result.result or {}
    count = found.get("unexpected_count", found.get("observed_value"))
    if count is None and found.get("element_count") == 0:
        count = 0  # a sum over no rows
    if count is None:
        raise LedgerError(
            "a check of the records gave no answer",
            where=rule_id,
            found=_cause(result.exception_info),
            hint="this is a fault of the tool; please report it with these lines",
        )
    return rule_id, int(count)


def _cause(information: Any) -> str:
    """Dig the message out; it is keyed by metric when the expectation raised."""
    entries = [information, *(information or {}).values()]
    messages = [
        str(entry["exception_message"])
        for entry in entries
        if isinstance(entry, Mapping) and entry.get("exception_message")
    ]
    return messages[0].splitlines()[0] if messages else "no message"


def write(store: Store, rules: list[Rule], counts: Mapping[str, int]) -> None:
    """Write the table `expectations`: each rule, and the rows that fail it."""
    rows = {
        relation: store.rows(f"SELECT count(*) FROM {quote(relation)}")[0][0]
        for relation in {rule.relation for rule in rules}
    }
    write_rows(
        store,
        EXPECTATIONS,
        [
            {
                "table": rule.table,
                "expectation": rule.says,
                "column": rule.columns[0] or None,
                "rows": rows[rule.relation],
                "failed": counts[rule.rule_id],
                "severity": rule.severity,
            }
            for rule in rules
        ],
    )
