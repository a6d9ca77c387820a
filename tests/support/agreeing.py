"""How far a station's main models lie from the fillings that the headline stands on."""

from __future__ import annotations

import numpy as np
from queen_outcomes.models.closed import ClosedCourses, as_columns
from queen_outcomes.models.fit import Fitted
from queen_outcomes.models.risks import risk_model


def agreement(closed: ClosedCourses, fitted: Fitted) -> list[dict]:
    """Give headline and model, for all courses, each fixed level, and what is expected.

    Shares of yes, and for "failures" the numbers that failed in the fillings and that the
    risks foretell; ``shift`` is what brings averaged chances to the headline.
    """
    place = as_columns(closed.question)
    if fitted.answer is None:
        return []
    rows = []

    def add(what: str, level: str, some: np.ndarray) -> None:
        worth = fitted.at_risk[some]
        if worth.sum() > 0:
            headline, model = (
                float(np.average(x[some], weights=worth))
                for x in (fitted.answer, fitted.chance)
            )
            rows.append(
                {**place, "what": what, "level": level, "courses": int(some.sum())}
                | {"headline": headline, "model": model, "shift": fitted.shift}
            )

    add("all", "all", np.ones(len(fitted.answer), bool))
    for form in fitted.design.forms:
        if form.term.kind == "words":
            x = fitted.courses.values[form.term.column]
            for at, level in enumerate(form.levels):
                add(form.term.name, level, (form.places(x) == at) & (x != ""))
    risks = risk_model(closed.question[0], fitted).risks(closed.values)
    worth = np.isfinite(closed.answers).mean(axis=0)
    failed = float(np.nansum(closed.failures, axis=1).mean())
    rows.append(
        {**place, "what": "failures", "level": "all", "courses": len(closed)}
        | {"headline": failed, "model": float(worth @ risks), "shift": fitted.shift}
    )
    return rows
