"""Operators' and batches' figures over the courses of a period, from a finished build."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.special import expit, logit

from queen_outcomes.audit.apart import Apart
from queen_outcomes.audit.batches import batch_rows
from queen_outcomes.audit.cases import read_audited, read_risk_model
from queen_outcomes.audit.operators import operator_rows
from queen_outcomes.base.store import Store
from queen_outcomes.facts.exports.audit import BATCHES, OPERATORS
from queen_outcomes.facts.exports.exported import ExportTable
from queen_outcomes.facts.exports.writing import filled
from queen_outcomes.facts.outcomes import question_columns
from queen_outcomes.facts.pseudonyms import Mask
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.closed import BATCHES as KINDS
from queen_outcomes.models.closed import ClosedCourses, Question
from queen_outcomes.stats.logistic.odds_shift import odds_shift

Row = dict[str, Any]


@dataclass(frozen=True, eq=False)
class Period:
    """What an audit of a period stands on.

    Attributes
    ----------
    question : tuple of str and int
    cases : ClosedCourses
        With risks such that expected and observed failures of the period agree.
    operators, batches : list of dict
        As in the tables of these names.
    """

    question: Question
    cases: ClosedCourses
    operators: list[Row]
    batches: list[Row]


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
    cases = read_audited(store, question, settings.outcomes.grace_days)
    if since is None and until is None:  # the build has done it
        tables = (_stored(store, table, question) for table in (OPERATORS, BATCHES))
        return Period(question, cases, *tables)
    inside = np.ones(len(cases), bool)
    if since is not None:
        inside &= cases.d0 >= np.datetime64(since)
    if until is not None:
        inside &= cases.d0 <= np.datetime64(until)
    cases = levelled(cases.some(np.flatnonzero(inside)))
    model = read_risk_model(store, question)
    # what somebody cannot be told apart from over all courses, no part of them can tell
    apart = {
        row["operator"]: Apart(row["apart_from"], row["expected"] is not None)
        for row in _stored(store, OPERATORS, question)
    }
    # ranks and shrunken rates are the joint model's, of all courses: none here
    rows = operator_rows(cases, model, {}, settings.min_shown, apart)
    operators = filled(OPERATORS, rows)
    batches = batch_rows(cases.on_settled(), model.deviations)
    return Period(question, cases, operators, batches)


def _stored(store: Store, table: ExportTable, question: Question) -> list[Row]:
    return store.records(
        f"SELECT * FROM {table.name} WHERE outcome = $outcome AND "
        f"window_days = $window_days ORDER BY {', '.join(table.order)}",
        question_columns(question),
    )


def masked(period: Period, mask: Mask) -> Period:
    """Put codes in the place of names, and what stood in their order in that of the codes.

    The figures are made before, so that they are those of the names.
    """
    values = dict(period.cases.values)
    for name, way in (("operator", mask.code), *((kind, mask.label) for kind in KINDS)):
        texts, at = np.unique(values[name], return_inverse=True)
        codes = [way(text) if text else "" for text in texts.tolist()]
        values[name] = np.array(codes, dtype=str)[at]
    operators = [mask.row(row) for row in period.operators]
    batches = [mask.row(row) for row in period.batches]
    return Period(
        period.question,
        replace(period.cases, values=values),
        sorted(operators, key=lambda row: row["operator"]),
        sorted(batches, key=lambda row: (row["kind"], row["batch"])),
    )


def levelled(cases: ClosedCourses) -> ClosedCourses:
    """Move all risks alike so that expected and filled-in failures agree."""
    known = np.isfinite(cases.risk)
    worth = np.isfinite(cases.failures).mean(axis=0)[known]
    if not len(cases.answers) or not worth.sum():
        return cases
    failures = float(np.nansum(cases.failures[:, known], axis=1).mean())
    if not 0 < failures < worth.sum():
        return cases
    levels = logit(cases.risk)
    step = odds_shift(levels[known], failures, lambda x: worth * expit(x))
    return cases.with_risk(expit(levels + step))
