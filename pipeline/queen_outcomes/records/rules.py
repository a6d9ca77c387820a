"""The dictionary and the settings as rules over rows: one failing condition, said twice.

One rule gives both the SQL that is TRUE for a failing row and the expectation that
says the same to Great Expectations. Nothing here reads a table or imports either. A
limit that the station set in its settings takes the dictionary's place.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from queen_outcomes.base.store import literal, quote
from queen_outcomes.facts import reasons
from queen_outcomes.facts.column import Column, Limits, Pair, Table
from queen_outcomes.facts.dictionary import IN_THE_FUTURE_DAYS
from queen_outcomes.facts.reading import FINDINGS
from queen_outcomes.facts.settings import Settings
from queen_outcomes.records.cells import FINDINGS_UNREAD

NOTHING = "CAST(NULL AS VARCHAR)"
"""SQL of the value to show where a cell is empty or the whole row is meant."""
BROKEN = {
    "cells_missing": "no line has fewer cells than the headings",
    "cells_extra": "no line has more cells than the headings",
    "quote_open": "every quotation mark is closed",
}
PAIR_REASONS = {
    "quarantine": "removed_before_placed",
    "hard": "impossible_pair",
    "soft": "unusual_pair",
}


@dataclass(frozen=True)
class Expectation:
    """An expectation by its class name; ``empty`` columns limit the rows looked at."""

    name: str
    arguments: Mapping[str, Any]
    empty: tuple[str, ...] = ()


@dataclass(frozen=True)
class Rule:
    """One rule over one table's rows."""

    rule_id: str
    table: str
    reason: str
    says: str
    predicate: str
    """SQL, TRUE for a failing row; NULL and FALSE pass."""
    expectation: Expectation
    columns: tuple[str, ...]
    """The columns that a failing row is told about, one finding each."""
    values: tuple[str, ...]
    """SQL of the value to show, for each of ``columns``."""
    parts: Mapping[str, str] = field(default_factory=dict)
    """SQL of what else the reason's sentence names."""
    unless: str = "false"
    """SQL of a graver rule: where it is TRUE this one counts but is not told."""
    reads: tuple[str, ...] = ()
    """The columns a pair is made of."""
    over: str = ""
    """The table it looks at, where that is not ``staged_<table>``."""
    beside: tuple[str, ...] = ()
    """Other tables that its SQL reads."""

    @property
    def relation(self) -> str:
        """The table the rule looks at."""
        return self.over or f"staged_{self.table}"

    @property
    def severity(self) -> str:
        """What a failure does: quarantine, set_aside or look."""
        return reasons.severity(self.reason)


def shown(column: Column) -> str:
    """Give SQL of a column's value as a person would write it."""
    text = f"CAST({quote(column.name)} AS VARCHAR)"
    if column.kind == "number":
        return rf"regexp_replace({text}, '\.0$', '')"
    if column.kind == "datetime":
        return f"regexp_replace({text}, ' 00:00:00$', '')"
    return text


def outside(column: Column, limits: Limits) -> str:
    """Give SQL that is TRUE for a value outside its limits."""
    name = quote(column.name)
    sides = []
    if limits.low is not None:
        sides.append(f"{name} {'<=' if limits.low_open else '<'} {limits.low!r}")
    if limits.high is not None:
        sides.append(f"{name} > {limits.high!r}")
    return f"({' OR '.join(sides)})" if sides else "false"


def free(predicate: str) -> Expectation:
    """Give the expectation for a rule that no ready-made one can say."""
    condition = predicate.replace("{", "{{").replace("}", "}}")
    query = f"SELECT ref FROM {{batch}} WHERE {condition}"
    return Expectation("UnexpectedRowsExpectation", {"unexpected_rows_query": query})


def row_rules(table: Table, settings: Settings, as_of: dt.date) -> list[Rule]:
    """Make the rules that one row of a table can be held against alone."""
    rules = [*_line_rules(table), *_identity_rules(table), *_date_rules(table, as_of)]
    for column in table.columns:
        rules += _cell_rules(table, column, settings)
    if table.findings:
        rules.append(_finding_rule(table))
    pairs = [_pair_rule(table, pair) for pair in table.pairs]
    return rules + [_unless_emptied(rule, [*rules, *pairs]) for rule in pairs]


def _unless_emptied(rule: Rule, rules: list[Rule]) -> Rule:
    """Keep a soft pair untold where one of its cells is set aside anyway."""
    if rule.severity != "look":
        return rule
    graver = [
        f"coalesce({other.predicate}, false)"
        for other in rules
        if other.severity == "set_aside" and set(other.columns) & set(rule.reads)
    ]
    return replace(rule, unless=" OR ".join(graver) or "false")


def _column_rule(
    table: Table,
    column: Column,
    reason: str,
    says: str,
    predicate: str,
    expectation: tuple[str, Mapping[str, Any]],
    **more: Any,
) -> Rule:
    """Make a rule over one column that an expectation of that column can say.

    ``expectation`` is its class name and its arguments but for the column; ``more`` are
    further fields of `Rule`, ``called`` the rule's name where it is not its reason, and
    ``empty`` the columns that limit the rows looked at.
    """
    name, arguments = expectation
    called, empty = more.pop("called", reason), more.pop("empty", ())
    watched = more.pop("watched", column.name)
    return Rule(
        rule_id=f"{table.name}.{column.name}.{called}",
        table=table.name,
        reason=reason,
        says=f"{column.name} {says}",
        predicate=predicate,
        expectation=Expectation(name, {"column": watched, **arguments}, empty),
        columns=(column.name,),
        **({"values": (shown(column),)} | more),
    )


def _line_rules(table: Table) -> Iterator[Rule]:
    for code, says in BROKEN.items():
        yield Rule(
            rule_id=f"{table.name}.{code}",
            table=table.name,
            reason=code,
            says=says,
            predicate=f"broken = {literal(code)}",
            expectation=Expectation(
                "ExpectColumnValuesToNotBeInSet",
                {"column": "broken", "value_set": [code]},
            ),
            columns=("",),
            values=(NOTHING,),
        )


def _identity_rules(table: Table) -> Iterator[Rule]:
    for column in table.columns:
        if column.required and column.kind == "id":
            yield _present(table, column, "id_missing", ("broken",))
    if table.either:
        names = " and ".join(table.either)
        empty = " AND ".join(f"{quote(name)} IS NULL" for name in table.either)
        predicate = f"broken IS NULL AND {empty}"
        yield Rule(
            rule_id=f"{table.name}.either",
            table=table.name,
            reason="neither_id",
            says=f"one of {names} is filled in",
            predicate=predicate,
            expectation=free(predicate),
            columns=(table.either[0],),
            values=(NOTHING,),
            parts={"columns": literal(names)},
        )


def _present(table: Table, column: Column, code: str, empty: tuple[str, ...]) -> Rule:
    """Hold a required column against being empty; an unread cell is not empty."""
    nulls = " AND ".join(
        f"{quote(name)} IS NULL" for name in (empty[0], column.name, *empty[1:])
    )
    expectation = ("ExpectColumnValuesToNotBeNull", {})
    more = {"called": "present", "empty": empty, "values": (NOTHING,)}
    return _column_rule(table, column, code, "is filled in", nulls, expectation, **more)


def _date_rules(table: Table, as_of: dt.date) -> Iterator[Rule]:
    latest = as_of + dt.timedelta(days=IN_THE_FUTURE_DAYS)
    parts = {"days": literal(str(IN_THE_FUTURE_DAYS)), "as_of": literal(str(as_of))}
    for column in table.columns:
        if column.kind not in ("date", "datetime"):
            continue
        code = "in_the_future" if column.required else "date_in_future"
        says = f"is at most {IN_THE_FUTURE_DAYS} days after the as-of day"
        yield _not_after(table, column, latest, code, says, parts)
        if column.required:
            says = "is not after the as-of day"
            yield _not_after(table, column, as_of, "after_as_of", says, parts)
            yield _present(
                table, column, "date_missing", ("broken", f"{column.unread}")
            )


def _not_after(
    table: Table,
    column: Column,
    day: dt.date,
    code: str,
    says: str,
    parts: Mapping[str, str],
) -> Rule:
    """Hold a date or time against a last day, that day's last minute included."""
    timed = column.kind == "datetime"
    if timed:
        end: dt.date = dt.datetime.combine(day, dt.time()) + dt.timedelta(days=1)
        predicate = f"{quote(column.name)} >= TIMESTAMP '{end}'"
    else:
        end = day
        predicate = f"{quote(column.name)} > DATE '{end}'"
    bounds = {"max_value": end, "strict_max": timed}
    expectation = ("ExpectColumnValuesToBeBetween", bounds)
    return _column_rule(table, column, code, says, predicate, expectation, parts=parts)


def _cell_rules(table: Table, column: Column, settings: Settings) -> Iterator[Rule]:
    if not column.unread:
        return
    yield _readable(table, column, column.unread)
    if column.kind == "word":
        yield _known_word(table, column)
    hard = settings.limit(table.name, column.name, "hard", column.hard)
    soft = settings.limit(table.name, column.name, "soft", column.soft)
    if hard:
        yield _within(table, column, hard, "impossible_value")
    if soft:
        graver = outside(column, hard) if hard else "false"
        yield _within(table, column, soft, "unusual_value", unless=graver)


def _finding_rule(table: Table) -> Rule:
    """Tell free words that no line of the settings explains."""
    unread = quote(FINDINGS_UNREAD)
    words = f"replace({unread}, '\"', '')"
    return Rule(
        rule_id=f"{table.name}.{FINDINGS}.known",
        table=table.name,
        reason="unknown_finding",
        says="free words are explained in the settings",
        predicate=f"{unread} IS NOT NULL",
        expectation=Expectation(
            "ExpectColumnValuesToBeNull", {"column": FINDINGS_UNREAD}
        ),
        columns=(FINDINGS,),
        values=(unread,),
        parts={"example": f"concat('\"', {words}, '\" = {{}}')"},
    )


def _allowed(column: Column) -> dict[str, str]:
    words = ("yes", "no") if column.kind == "yes_no" else column.words
    return {"allowed": literal(", ".join(words))}


def _readable(table: Table, column: Column, unread: str) -> Rule:
    date = "date_unreadable" if column.required else "not_a_date"
    codes = {"date": date, "datetime": date}
    codes |= {"number": "not_a_number", "integer": "not_a_number"}
    return _column_rule(
        table,
        column,
        codes.get(column.kind, "not_a_known_word"),
        "can be read",
        f"{quote(unread)} IS NOT NULL",
        ("ExpectColumnValuesToBeNull", {}),
        called="readable",
        watched=unread,
        values=(quote(unread),),
        parts=_allowed(column) | _why(column),
    )


def _why(column: Column) -> dict[str, str]:
    """Give the true cause, where the reader wrote one down."""
    kind = "date" if column.kind in ("date", "datetime") else "number"
    usual = literal(f"which is no {kind} that can be read")
    return {"why": f"coalesce({quote(column.why)}, {usual})"} if column.why else {}


def _known_word(table: Table, column: Column) -> Rule:
    words = ", ".join(literal(word) for word in column.words)
    return _column_rule(
        table,
        column,
        "not_a_known_word",
        f"is one of {', '.join(column.words)}",
        f"{quote(column.name)} NOT IN ({words})",
        ("ExpectColumnValuesToBeInSet", {"value_set": list(column.words)}),
        called="known",
        parts=_allowed(column),
    )


def _within(
    table: Table, column: Column, limits: Limits, code: str, *, unless: str = "false"
) -> Rule:
    words = limits.words(column.unit) or "any number"
    usual = "usually " if code == "unusual_value" else ""
    predicate = outside(column, limits)
    bounds = {
        "min_value": limits.low,
        "max_value": limits.high,
        "strict_min": limits.low_open and limits.low is not None,
    }
    rule = _column_rule(
        table,
        column,
        code,
        f"is {usual}{words}",
        predicate,
        ("ExpectColumnValuesToBeBetween", bounds),
        parts={"limits": literal(words)},
        unless=unless,
    )
    return rule if predicate != "false" else replace(rule, expectation=free(predicate))


def _pair_rule(table: Table, pair: Pair) -> Rule:
    smaller, larger = table.column(pair.smaller), table.column(pair.larger)
    times = "" if pair.factor == 1 else f"{pair.factor:g} times "
    bound = quote(larger.name)
    if times:  # of a whole number there is a largest, which a slip of a key passes
        bound = f"CAST({bound} AS DOUBLE) * {pair.factor!r}"
    predicate = f"{quote(smaller.name)} > {bound}"
    both = pair.severity == "hard"
    plain = Expectation(
        "ExpectColumnPairValuesAToBeGreaterThanB",
        {
            "column_A": larger.name,
            "column_B": smaller.name,
            "or_equal": True,
            "ignore_row_if": "either_value_is_missing",
        },
    )
    # nobody knows which of an impossible pair is wrong, so both are told
    told = (smaller, larger) if both else (larger if not times else smaller,)
    return Rule(
        rule_id=f"{table.name}.{smaller.name}.{larger.name}",
        table=table.name,
        reason=PAIR_REASONS[pair.severity],
        says=f"{smaller.name} is at most {times}{larger.name}",
        predicate=predicate,
        expectation=free(predicate) if times else plain,
        columns=tuple(column.name for column in told),
        values=tuple(shown(column) for column in told),
        parts={
            "smaller": literal(smaller.name),
            "smaller_value": shown(smaller),
            "larger": literal(larger.name),
            "larger_value": shown(larger),
            "factor": literal(times),
        },
        reads=(smaller.name, larger.name),
    )


def key_rule(table: Table) -> Rule:
    """Make the rule that no key is held by two rows; looks at ``keyed_<table>``."""
    column = table.column(str(table.key))
    key, over = quote(column.name), f"keyed_{table.name}"
    predicate = (
        f"{key} IN (SELECT {key} FROM {over} WHERE {key} IS NOT NULL "
        f"GROUP BY {key} HAVING count(*) > 1)"
    )
    return _column_rule(
        table,
        column,
        "key_twice",
        "stands in one row only",
        predicate,
        ("ExpectColumnValuesToBeUnique", {}),
        called="unique",
        over=over,
        values=(key,),
    )
