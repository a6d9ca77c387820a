"""Operators' and batches' figures over the courses of a period, from a finished build.

Those of all courses stand in the build's tables. What counts anew is loaded when a part of
them is asked for, or one operator's own courses: it takes longer to load than to read these.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from queen_outcomes.base.store import Store
from queen_outcomes.facts.exports.audit import BATCHES, OPERATORS
from queen_outcomes.facts.exports.exported import ExportTable
from queen_outcomes.facts.outcomes import question_columns
from queen_outcomes.facts.pseudonyms import Mask
from queen_outcomes.facts.settings import Settings

if TYPE_CHECKING:
    from queen_outcomes.models.closed import ClosedCourses, Question

Row = dict[str, Any]


@dataclass(frozen=True, eq=False)
class Period:
    """What an audit of a period stands on.

    Attributes
    ----------
    question : tuple of str and int
    operators, batches : list of dict
        As in the tables of these names.
    read_cases : callable
        Gives ``cases``, once they are asked for.
    """

    question: Question
    operators: list[Row]
    batches: list[Row]
    read_cases: Callable[[], ClosedCourses]

    @cached_property
    def cases(self) -> ClosedCourses:
        """The closed courses, with risks by which expected and observed failures agree."""
        return self.read_cases()


def read_period(
    store: Store,
    settings: Settings,
    question: Question,
    since: dt.date | None,
    until: dt.date | None,
) -> Period:
    """Audit the closed courses of a period.

    Parameters
    ----------
    store : Store
        A finished build.
    settings : Settings
    question : tuple of str and int
    since, until : date or None
        First and last day 0.

    Notes
    -----
    Ranks and shrunken rates come from the joint model of all courses, so they are given
    only for the whole.
    """
    operators = stored(store, OPERATORS, question)
    if since is None and until is None:  # the build has done it

        def read_cases() -> ClosedCourses:
            from queen_outcomes.audit.cases import read_audited

            return read_audited(store, question, settings.outcomes.grace_days)

        return Period(question, operators, stored(store, BATCHES, question), read_cases)
    from queen_outcomes.audit.part import audit_part

    cases, *tables = audit_part(store, settings, question, (since, until), operators)
    return Period(question, *tables, lambda: cases)


def stored(store: Store, table: ExportTable, question: Question) -> list[Row]:
    """Read a table's rows of a question, in its order."""
    return store.records(
        f"SELECT * FROM {table.name} WHERE outcome = $outcome AND "
        f"window_days = $window_days ORDER BY {', '.join(table.order)}",
        question_columns(question),
    )


def masked(period: Period, mask: Mask) -> Period:
    """Put codes in the place of names, and what stood in their order in that of the codes.

    The figures are made before, so that they are those of the names: the store must not
    hide them yet.
    """
    import numpy as np  # late, as most audits only show what the build holds

    from queen_outcomes.models.closed import BATCHES as KINDS

    values = dict(period.cases.values)
    for name, way in (
        ("operator", mask.code),
        *((kind, mask.label) for kind in KINDS),
    ):
        texts, at = np.unique(values[name], return_inverse=True)
        codes = [way(text) if text else "" for text in texts.tolist()]
        values[name] = np.array(codes, dtype=str)[at]
    operators = [mask.row(row) for row in period.operators]
    batches = [mask.row(row) for row in period.batches]
    cases = replace(period.cases, values=values)
    return Period(
        period.question,
        sorted(operators, key=lambda row: row["operator"]),
        sorted(batches, key=lambda row: (row["kind"], row["batch"])),
        lambda: cases,
    )
