"""Operators' and batches' figures over the courses of a period, from a finished build."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import polars as pl
from scipy.optimize import brentq
from scipy.special import expit, logit

from queen_outcomes.audit.audit_tables import ORDER
from queen_outcomes.audit.batches import batch_rows
from queen_outcomes.audit.cases import Cases, Question, read_risk_model
from queen_outcomes.audit.operators import operator_rows
from queen_outcomes.base.store import Store
from queen_outcomes.models.risks import RiskModel

Row = dict[str, Any]


@dataclass(frozen=True, eq=False)
class Period:
    """What an audit of a period stands on.

    Attributes
    ----------
    question : tuple of str and int
    since, until : date or None
        First and last day 0; None: from the first, to the last.
    cases : Cases
        With risks such that expected and observed failures of the period agree.
    model : RiskModel
    operators, batches : list of dict
        As in the tables of these names.
    """

    question: Question
    since: dt.date | None
    until: dt.date | None
    cases: Cases
    model: RiskModel
    operators: list[Row]
    batches: list[Row]

    @property
    def is_whole(self) -> bool:
        """Tell whether all closed courses are in it."""
        return self.since is None and self.until is None


def read_period(
    store: Store,
    question: Question,
    since: dt.date | None,
    until: dt.date | None,
    fewest: int,
) -> Period:
    """Audit the closed courses of a period.

    Parameters
    ----------
    store : Store
        A finished build.
    question : tuple of str and int
    since, until : date or None
        First and last day 0.
    fewest : int
        Courses below which an operator's figures are held back.

    Notes
    -----
    Ranks and shrunken rates come from the joint model of all courses, so they are given
    only for the whole.
    """
    cases = read_audited(store, question)
    model = read_risk_model(store, question)
    if since is None and until is None:  # the build has done it
        operators, batches = (
            _stored(store, name, question) for name in ("operators", "batches")
        )
        return Period(question, None, None, cases, model, operators, batches)
    inside = np.ones(len(cases), bool)
    if since is not None:
        inside &= cases.d0 >= np.datetime64(since)
    if until is not None:
        inside &= cases.d0 <= np.datetime64(until)
    cases = levelled(cases.some(np.flatnonzero(inside)))
    rows = period_rows(cases, model, fewest)
    return Period(question, since, until, cases, model, *rows)


def _stored(store: Store, name: str, question: Question) -> list[Row]:
    return store.records(
        f"SELECT * FROM {name} WHERE outcome = $outcome AND "
        f"window_days = $window_days ORDER BY {ORDER[name]}",
        dict(zip(("outcome", "window_days"), question, strict=True)),
    )


def read_audited(store: Store, question: Question) -> Cases:
    """Read the courses of a question with their risks, as the build left them."""
    frame = store.frame(
        "SELECT * FROM audit_courses WHERE outcome = $outcome AND "
        "window_days = $window_days ORDER BY course_id",
        dict(zip(("outcome", "window_days"), question, strict=True)),
    ).with_columns(pl.col("inseminated_at").dt.strftime("%Y-%m-%dT%H:%M:%S"))
    kinds = dict.fromkeys(("d0", "known_on"), "datetime64[D]")
    kinds |= dict.fromkeys(("operator_case", "failed", "risk"), "float64")
    columns = {}
    for field in fields(Cases):
        column = frame[field.name].to_numpy()
        columns[field.name] = column.astype(kinds.get(field.name, "str"))
    return Cases(**columns)


def levelled(cases: Cases) -> Cases:
    """Move all risks alike so that expected and observed failures agree."""
    counted = cases.counted
    observed = float(cases.failed[counted].sum())
    if not 0 < observed < counted.sum():
        return cases
    levels = logit(cases.risk)

    def gap(move: float) -> float:
        return float(expit(levels[counted] + move).sum()) - observed

    if gap(-30.0) * gap(30.0) > 0:
        return cases
    return cases.with_risk(expit(levels + brentq(gap, -30.0, 30.0, xtol=1e-12)))


def period_rows(
    cases: Cases, model: RiskModel, fewest: int
) -> tuple[list[Row], list[Row]]:
    """Give operators and batches of some courses, without ranks and shrunken rates.

    Parameters
    ----------
    cases : Cases
        With risks that are `levelled`.
    model : RiskModel
        For how far batches deviate.
    fewest : int
        Courses below which an operator's figures are held back.
    """
    operators = operator_rows(cases, model, {}, fewest)
    return operators, batch_rows(cases, model.deviations)
