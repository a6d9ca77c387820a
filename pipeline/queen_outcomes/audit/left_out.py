"""What would be expected of an operator's courses by a model of everybody else's.

The risk model is fitted with all operators in it, so somebody with many courses and many
failures has a hand in what is expected. How much that matters is shown, not hidden.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from queen_outcomes.audit.season_measure import Season
from queen_outcomes.models.closed import take
from queen_outcomes.models.questions import (
    ModelRequest,
    choose_form,
    fit_form,
    main_terms,
)
from queen_outcomes.models.risks import risk_model

FEWEST, MOST = 5, 40
"""Operators from which on this is done, and up to which: each takes a fit."""


def expected_by_others(season: Season) -> dict[str, float]:
    """Give each operator's expected failures by the others' model; empty if not done.

    An operator is not in it where the others' courses give no model.
    """
    owned = season.cases.by_operator()
    if not FEWEST <= len(owned) <= MOST:
        return {}
    outcome, _ = season.question
    terms, always = main_terms(season.settings), season.settings.models.adjust_for
    whole = ModelRequest(
        season.closed.values, season.closed.answer, terms, always, outcome
    )
    form = choose_form(whole)
    if form is None:
        return {}
    found = {}
    for name, own in owned.items():
        others = np.setdiff1d(np.arange(len(season.cases)), own)
        asked = replace(
            whole, values=take(whole.values, others), answer=whole.answer[others]
        )
        fitted, _ = fit_form(asked, form, tested=False)
        if fitted.method != "none":
            risks = risk_model(outcome, fitted).risks(take(season.values, own))
            decided = np.isfinite(season.cases.failed[own]) & np.isfinite(risks)
            found[name] = float(risks[decided].sum())
    return found
