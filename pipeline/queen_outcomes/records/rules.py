"""What a rule over the records is: one failing condition, said twice.

One rule gives both the SQL that is TRUE for a failing row and the expectation that
says the same to Great Expectations. Nothing here reads a table or imports either;
`row_rules.py` makes the rules of the dictionary.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from queen_outcomes.base.store import quote
from queen_outcomes.facts import reasons
from queen_outcomes.facts.column import Column, Limits, Table


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


def key_rule(table: Table) -> Rule:
    """Make the rule that no key is held by two rows; looks at ``keyed_<table>``."""
    name = str(table.key)
    key, over = quote(name), f"keyed_{table.name}"
    return Rule(
        rule_id=f"{table.name}.{name}.unique",
        table=table.name,
        reason="key_twice",
        says=f"{name} stands in one row only",
        predicate=(
            f"{key} IN (SELECT {key} FROM {over} WHERE {key} IS NOT NULL "
            f"GROUP BY {key} HAVING count(*) > 1)"
        ),
        expectation=Expectation("ExpectColumnValuesToBeUnique", {"column": name}),
        columns=(name,),
        values=(key,),
        over=over,
    )
