"""Operators and batches counted anew over a part of the closed courses."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
from scipy.special import expit, logit

from queen_outcomes.audit.apart import Apart
from queen_outcomes.audit.batches import batch_rows
from queen_outcomes.audit.cases import read_audited, read_risk_model
from queen_outcomes.audit.operators import operator_rows
from queen_outcomes.base.store import Store
from queen_outcomes.facts.exports.audit import OPERATORS
from queen_outcomes.facts.exports.writing import filled
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.closed import ClosedCourses, Question
from queen_outcomes.stats.logistic.odds_shift import odds_shift

Row = dict[str, Any]


def audit_part(
    store: Store,
    settings: Settings,
    question: Question,
    days: tuple[dt.date | None, dt.date | None],
    of_all: list[Row],
) -> tuple[ClosedCourses, list[Row], list[Row]]:
    """Audit the closed courses of some days.

    Parameters
    ----------
    store : Store
        A finished build.
    settings : Settings
    question : tuple of str and int
    days : tuple of date or None
        First and last day 0.
    of_all : list of dict
        The rows of `operators` over all courses.

    Returns
    -------
    cases : ClosedCourses
    operators, batches : list of dict
        As in the tables of these names.
    """
    cases = read_audited(store, question, settings.outcomes.grace_days)
    since, until = days
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
        for row in of_all
    }
    # ranks and shrunken rates are the joint model's, of all courses: none here
    rows = operator_rows(cases, model, {}, settings.min_shown, apart)
    return (
        cases,
        filled(OPERATORS, rows),
        batch_rows(cases.on_settled(), model.deviations),
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
