"""The dictionary and the settings as rules over single rows.

Makes, for each table, what its lines, ids, dates, cells and pairs of cells must
fulfil. A limit that the station set in its settings takes the dictionary's place.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import replace

from queen_outcomes.base.store import literal, quote
from queen_outcomes.facts.column import Column, Limits, Pair, Table
from queen_outcomes.facts.dictionary import IN_THE_FUTURE_DAYS, TABLES
from queen_outcomes.facts.settings import Settings
from queen_outcomes.records.rules import Expectation, Rule, free, outside, shown

BROKEN = {
    "cells_missing": "no line has fewer cells than the headings",
    "cells_extra": "no line has more cells than the headings",
    "quote_open": "every quotation mark is closed",
}


def row_rules(table: Table, settings: Settings, as_of: dt.date) -> list[Rule]:
    """Make the rules that one row of a table can be held against alone."""
    rules = [*_line_rules(table), *_identity_rules(table), *_date_rules(table, as_of)]
    for column in table.columns:
        rules += _cell_rules(table, column, settings)
    pairs = [_pair_rule(table, pair) for pair in table.pairs]
    return rules + [_unless_emptied(rule, [*rules, *pairs]) for rule in pairs]


def all_row_rules(settings: Settings, as_of: dt.date) -> dict[str, list[Rule]]:
    """Make the row rules of every table of the dictionary."""
    return {name: row_rules(table, settings, as_of) for name, table in TABLES.items()}


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
            values=("CAST(NULL AS VARCHAR)",),
        )


def _identity_rules(table: Table) -> Iterator[Rule]:
    ids = [c for c in table.columns if c.required and c.kind == "id"]
    for name in [column.name for column in ids]:
        yield Rule(
            rule_id=f"{table.name}.{name}.present",
            table=table.name,
            reason="id_missing",
            says=f"{name} is filled in",
            predicate=f"broken IS NULL AND {quote(name)} IS NULL",
            expectation=Expectation(
                "ExpectColumnValuesToNotBeNull", {"column": name}, ("broken",)
            ),
            columns=(name,),
            values=("CAST(NULL AS VARCHAR)",),
        )
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
            values=("CAST(NULL AS VARCHAR)",),
            parts={"columns": literal(names)},
        )


def _date_rules(table: Table, as_of: dt.date) -> Iterator[Rule]:
    latest = as_of + dt.timedelta(days=IN_THE_FUTURE_DAYS)
    parts = {"days": literal(str(IN_THE_FUTURE_DAYS)), "as_of": literal(str(as_of))}
    for column in table.columns:
        if column.kind not in ("date", "datetime"):
            continue
        code = "in_the_future" if column.required else "date_in_future"
        says = f"{column.name} is at most {IN_THE_FUTURE_DAYS} days after the as-of day"
        yield _not_after(table, column, latest, code, says, parts)
        if column.required:
            says = f"{column.name} is not after the as-of day"
            yield _not_after(table, column, as_of, "after_as_of", says, parts)
            yield _date_present(table, column)


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
    return Rule(
        rule_id=f"{table.name}.{column.name}.{code}",
        table=table.name,
        reason=code,
        says=says,
        predicate=predicate,
        expectation=Expectation(
            "ExpectColumnValuesToBeBetween",
            {"column": column.name, "max_value": end, "strict_max": timed},
        ),
        columns=(column.name,),
        values=(shown(column),),
        parts=parts,
    )


def _date_present(table: Table, column: Column) -> Rule:
    unread = f"{column.name}__unread"
    return Rule(
        rule_id=f"{table.name}.{column.name}.present",
        table=table.name,
        reason="date_missing",
        says=f"{column.name} is filled in",
        predicate=(
            f"broken IS NULL AND {quote(column.name)} IS NULL "
            f"AND {quote(unread)} IS NULL"
        ),
        expectation=Expectation(
            "ExpectColumnValuesToNotBeNull",
            {"column": column.name},
            ("broken", unread),
        ),
        columns=(column.name,),
        values=("CAST(NULL AS VARCHAR)",),
    )


def _cell_rules(table: Table, column: Column, settings: Settings) -> Iterator[Rule]:
    if column.kind in ("id", "label", "text"):
        return
    yield _readable(table, column)
    if column.kind == "word":
        yield _known_word(table, column)
    hard = settings.limit(table.name, column.name, "hard", column.hard)
    soft = settings.limit(table.name, column.name, "soft", column.soft)
    if hard:
        yield _within(table, column, hard, "impossible_value")
    if soft:
        graver = outside(column, hard) if hard else "false"
        yield _within(table, column, soft, "unusual_value", unless=graver)


def _allowed(column: Column) -> str:
    return "yes, no" if column.kind == "yes_no" else ", ".join(column.words)


def _readable(table: Table, column: Column) -> Rule:
    unread = f"{column.name}__unread"
    date = "date_unreadable" if column.required else "not_a_date"
    codes = {"date": date, "datetime": date}
    codes |= {"number": "not_a_number", "integer": "not_a_number"}
    return Rule(
        rule_id=f"{table.name}.{column.name}.readable",
        table=table.name,
        reason=codes.get(column.kind, "not_a_known_word"),
        says=f"{column.name} can be read",
        predicate=f"{quote(unread)} IS NOT NULL",
        expectation=Expectation("ExpectColumnValuesToBeNull", {"column": unread}),
        columns=(column.name,),
        values=(quote(unread),),
        parts={"allowed": literal(_allowed(column))},
    )


def _known_word(table: Table, column: Column) -> Rule:
    words = ", ".join(literal(word) for word in column.words)
    return Rule(
        rule_id=f"{table.name}.{column.name}.known",
        table=table.name,
        reason="not_a_known_word",
        says=f"{column.name} is one of {', '.join(column.words)}",
        predicate=f"{quote(column.name)} NOT IN ({words})",
        expectation=Expectation(
            "ExpectColumnValuesToBeInSet",
            {"column": column.name, "value_set": list(column.words)},
        ),
        columns=(column.name,),
        values=(quote(column.name),),
        parts={"allowed": literal(_allowed(column))},
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
    bounded = predicate != "false"
    expectation = Expectation(
        "ExpectColumnValuesToBeBetween", {"column": column.name, **bounds}
    )
    return Rule(
        rule_id=f"{table.name}.{column.name}.{code}",
        table=table.name,
        reason=code,
        says=f"{column.name} is {usual}{words}",
        predicate=predicate,
        expectation=expectation if bounded else free(predicate),
        columns=(column.name,),
        values=(shown(column),),
        parts={"limits": literal(words)},
        unless=unless,
    )


PAIR_REASONS = {
    "quarantine": "removed_before_placed",
    "hard": "impossible_pair",
    "soft": "unusual_pair",
}


def _pair_rule(table: Table, pair: Pair) -> Rule:
    smaller, larger = table.column(pair.smaller), table.column(pair.larger)
    times = "" if pair.factor == 1 else f"{pair.factor:g} times "
    bound = quote(larger.name) + (f" * {pair.factor!r}" if times else "")
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
