"""The verdict: every rule as an expectation of Great Expectations.

Each rule is counted a second time here, and the build stops when an expectation
raised instead of answering or when the two counts differ. Great Expectations is
imported where it counts alone, because that takes seconds; a build has it count beside its
other steps, on copies of the staged tables, and asks for the verdict before it exports.
"""

from __future__ import annotations

import functools
import importlib.util
import itertools
import logging
import operator
import os
import shutil
import sys
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from queen_outcomes.base import memory
from queen_outcomes.base.errors import LedgerError, shorten
from queen_outcomes.base.store import Store, literal, path_literal, quote
from queen_outcomes.base.workers import Task, Workers
from queen_outcomes.facts.exports import EXPECTATIONS
from queen_outcomes.facts.exports.writing import write_rows
from queen_outcomes.records.rules import Rule

SEVERITIES = {"quarantine": "critical", "set_aside": "warning", "look": "info"}
"""Ours and theirs."""

FORMAT = {"result_format": "BASIC", "partial_unexpected_count": 0}
"""Counts only; anything fuller fetches every failing value."""
Answer = int | str
"""How many rows fail a rule; a text: why nobody can say."""


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
    _hold(_answers(store, listed), listed, counts)


def _hold(
    answers: Mapping[str, Answer], rules: list[Rule], counts: Mapping[str, int]
) -> None:
    """Stop the build where an expectation gave no answer, or another than the SQL."""
    for rule in rules:
        if isinstance(answers[rule.rule_id], str):
            raise LedgerError(
                "a check of the records gave no answer",
                where=rule.rule_id,
                found=str(answers[rule.rule_id]),
                hint="this is a fault of the tool; please report it with these lines",
            )
    disagreed = [
        f"{rule.rule_id}: {answers[rule.rule_id]} by the expectation, "
        f"{counts[rule.rule_id]} by the query"
        for rule in rules
        if answers[rule.rule_id] != counts[rule.rule_id]
    ]
    if disagreed:
        raise LedgerError(
            "the two ways of counting failing rows disagree",
            found=shorten(disagreed),
            expected="the same count from both",
            hint="this is a fault of the tool; please report it with these lines",
        )


@dataclass(frozen=True)
class SecondCount:
    """The second count, under way beside the build.

    Parameters
    ----------
    rules : list of Rule
    counts : mapping of str to int
        For each rule_id, the rows that its SQL found.
    task : Task
        The expectations' own counts.
    """

    rules: list[Rule]
    counts: Mapping[str, int]
    task: Task

    def join(self) -> int:
        """Give how many rules were counted twice, once all agree.

        Raises
        ------
        LedgerError
            As `verify`.
        """
        _hold(self.task.result(), self.rules, self.counts)
        return len(self.rules)


def begin(
    store: Store, rules: list[Rule], counts: Mapping[str, int], workers: Workers
) -> SecondCount:
    """Have the rules counted a second time while the build goes on.

    Notes
    -----
    No other process can open the build's file, even to read, so it is given copies,
    beside it; they are gone once they are read.
    """
    place = Path(tempfile.mkdtemp(dir=_beside(store)))
    needed = {name for rule in rules for name in (rule.relation, *rule.beside)}
    for relation in sorted(needed):
        file = literal(str(place / f"{relation}.parquet"))
        store.execute(f"COPY {quote(relation)} TO {file} (FORMAT parquet)")
    return SecondCount(rules, counts, workers.submit(_answers_on, place, rules))


def get_ready(workers: Workers) -> None:
    """Have the worker that will count load what it counts with, which takes seconds."""
    if workers.count > 1:
        workers.submit(_load)


def _load() -> None:
    """Load what counts, once, without its telling anybody or drawing bars."""
    if "great_expectations" in sys.modules:
        return
    os.environ.setdefault("GX_ANALYTICS_ENABLED", "false")
    logging.getLogger("great_expectations").setLevel(logging.WARNING)
    from tqdm.std import TqdmDefaultWriteLock

    # its progress bars, none of which is shown, would hold a lock among processes, which
    # nobody frees where a worker is ended
    TqdmDefaultWriteLock.mp_lock = None
    _load_when_used("scipy", "stats")  # a fourth of the time, for rules that are not ours
    with memory.kept_for_good():
        import great_expectations  # noqa: F401

        from queen_outcomes.records import duckdb_dialect  # noqa: F401


def _load_when_used(package: str, name: str) -> None:
    """Let a package's module be imported, and load it only once something of it is used."""
    whole = f"{package}.{name}"
    if whole in sys.modules:
        return
    spec = importlib.util.find_spec(whole)
    spec.loader = importlib.util.LazyLoader(spec.loader)
    module = importlib.util.module_from_spec(spec)
    sys.modules[whole] = module
    spec.loader.exec_module(module)
    # else `from package import name` would look at the module, and so load it
    setattr(sys.modules[package], name, module)


def _beside(store: Store) -> Path | None:
    """Give the folder of a store's file; None: it has none."""
    return None if str(store.path) == ":memory:" else Path(store.path).parent


def _answers_on(place: Path, rules: list[Rule]) -> dict[str, Answer]:
    """Count on copies of the tables, and remove them."""
    try:
        with Store() as store:
            for file in sorted(place.iterdir()):
                name, path = quote(file.stem), path_literal(file)
                store.execute(f"CREATE VIEW {name} AS SELECT * FROM {path}")
            return _answers(store, rules)
    finally:
        shutil.rmtree(place, ignore_errors=True)


def _answers(store: Store, rules: list[Rule]) -> dict[str, Answer]:
    _load()
    import great_expectations as gx

    from queen_outcomes.records import duckdb_dialect

    context = gx.get_context(mode="ephemeral")
    context.variables.progress_bars = {"globally": False}
    url = duckdb_dialect.share(store.con)
    source = context.data_sources.add_duckdb("build", connection_string=url)
    answers: dict[str, Answer] = {}
    try:
        by_relation = operator.attrgetter("relation")
        ordered = sorted(rules, key=by_relation)
        for relation, group in itertools.groupby(ordered, by_relation):
            own = list(group)
            if store.rows(f"SELECT 1 FROM {quote(relation)} LIMIT 1"):
                answers |= _run_suite(source, relation, own)
            else:  # of no rows none fails, and most stations keep few of the tables
                answers |= dict.fromkeys((rule.rule_id for rule in own), 0)
    finally:
        source.get_execution_engine().close()
        duckdb_dialect.unshare()
    return answers


def _run_suite(source: Any, relation: str, rules: list[Rule]) -> dict[str, Answer]:
    import great_expectations as gx

    asset = source.add_table_asset(relation, table_name=relation)
    batch = asset.add_batch_definition_whole_table("all").get_batch()
    # all at once: a suite writes itself out whole at every expectation it is given
    suite = gx.ExpectationSuite(
        name=relation, expectations=[_expectation(rule) for rule in rules]
    )
    results = batch.validate(suite, result_format=FORMAT)
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


def _answer(result: Any) -> tuple[str, Answer]:
    rule_id = result.expectation_config.meta["rule_id"]
    found = result.result or {}
    count = found.get("unexpected_count", found.get("observed_value"))
    if count is None and found.get("element_count") == 0:
        count = 0  # a sum over no rows
    return rule_id, _cause(result.exception_info) if count is None else int(count)


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
