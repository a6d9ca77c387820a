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


def batch_parts(operator: str, cases: ClosedCourses) -> list[Row]:
    """Give each batch's part in an operator's excess, the largest first.

    Parameters
    ----------
    operator : str
    cases : ClosedCourses
        All courses of the station, with risks.

    Returns
    -------
    list of dict
        As in the table `operator_batches`, and ``excess``, the failures beyond the
        expected. ``alone``: batch and operator cannot be told apart.
    """
    counted = cases.some(np.flatnonzero(cases.counted))
    own = counted.operator == operator
    others = (counted.operator != operator) & (counted.operator != "")
    parts: list[Row] = []
    for kind in BATCHES:
        batch = getattr(counted, kind)
        elsewhere = set(batch[others].tolist())
        for label in np.unique(batch[own & (batch != "")]).tolist():
            here = own & (batch == label)
            failures = int(counted.failed[here].sum())
            expected = float(counted.risk[here].sum())
            parts.append(
                {
                    "operator": operator,
                    "kind": kind,
                    "batch": label,
                    "courses": int(here.sum()),
                    "failures": failures,
                    "expected": expected,
                    "excess": failures - expected,
                    "alone": label not in elsewhere,
                }
            )
    return sorted(parts, key=lambda p: (-p["excess"], p["kind"], p["batch"]))
