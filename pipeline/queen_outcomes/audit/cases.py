"""What the audit reads of a question's closed courses, and how an operator's lie in batches."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.facts.outcomes import question_columns
from queen_outcomes.models.closed import BATCHES, ClosedCourses, Question, read_closed
from queen_outcomes.models.risks import RiskModel, read_risks

Row = dict[str, Any]
LARGE = 0.5
"""Share of an operator's excess that makes one batch worth naming first."""


def read_risk_model(store: Store, question: Question) -> RiskModel:
    """Read the risks that the models' step wrote down for an outcome and window."""
    ((text,),) = store.rows(
        "SELECT risks FROM risk_models WHERE outcome = $outcome AND "
        "window_days = $window_days",
        question_columns(question),
    )
    return read_risks(json.loads(text))


def read_audited(store: Store, question: Question, grace_days: int) -> ClosedCourses:
    """Read the closed courses of a question with their risks, as the build left them.

    Their values are the groups that an audit needs, and no factors.
    """
    sql = resources.read("sql", "07_audit", "audited_courses.sql")
    # by code point, as `read_closed` puts them, so that risks stay with their courses
    found = store.frame(sql, question_columns(question)).sort("course_id")
    values = {
        name: found[name].to_numpy().astype(str)
        for name in ("course_id", "operator", "year", *BATCHES)
    }
    values["operator_case"] = found["operator_case"].to_numpy().astype(float)
    closed = read_closed(store, values, question, grace_days)
    return closed.with_risk(found["risk"].to_numpy().astype(float))


def batch_parts(cases: ClosedCourses, only: str | None = None) -> list[Row]:
    """Give each batch's part in each operator's excess, an operator's largest first.

    Parameters
    ----------
    cases : ClosedCourses
        All courses of the station, with risks.
    only : str, optional
        An operator; not given: all of them.

    Returns
    -------
    list of dict
        As in the table `operator_batches`, and ``excess``, the failures beyond the
        expected. ``alone``: batch and operator cannot be told apart.
    """
    counted, failed, owned = cases.counted, cases.failed, cases.by_operator()
    named = counted & (cases.operator != "")
    batches = {}
    for kind in BATCHES:
        labels, codes = np.unique(getattr(cases, kind), return_inverse=True)
        batches[kind] = labels, codes, np.bincount(codes[named], None, len(labels))
    found: list[Row] = []
    for operator in owned if only is None else {only} & set(owned):
        own = owned[operator][counted[owned[operator]]]
        parts: list[Row] = []
        for kind, (labels, codes, everybody) in batches.items():
            rows = own[labels[codes[own]] != ""]
            here, place, size = np.unique(
                codes[rows], return_inverse=True, return_counts=True
            )
            failures = np.bincount(place, failed[rows], len(here))
            expected = np.bincount(place, cases.risk[rows], len(here))
            parts += [
                {
                    "operator": operator,
                    "kind": kind,
                    "batch": str(labels[here[at]]),
                    "courses": int(size[at]),
                    "failures": int(failures[at]),
                    "expected": float(expected[at]),
                    "excess": float(failures[at] - expected[at]),
                    "alone": bool(everybody[here[at]] == size[at]),
                }
                for at in range(len(here))
            ]
        found += sorted(parts, key=lambda p: (-p["excess"], p["kind"], p["batch"]))
    return found
