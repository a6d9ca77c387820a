"""What would be expected of an operator's courses by a model of everybody else's.

The risk model is fitted with all operators in it, so somebody with many courses and many
failures has a hand in what is expected. How much that matters is shown, not hidden.
"""

from __future__ import annotations

import numpy as np

from queen_outcomes.audit.season_measure import Season
from queen_outcomes.models.analysis_set import take
from queen_outcomes.models.questions import Asked, choose_form, fit_form, main_terms
from queen_outcomes.models.risks import risk_model
from queen_outcomes.models.weighted import Closed

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
    form = choose_form(Asked(season.closed, terms, always, outcome))
    if form is None:
        return {}
    found = {}
    for name, own in owned.items():
        others = np.setdiff1d(np.arange(len(season.cases)), own)
        asked = Asked(_some(season.closed, others), terms, always, outcome)
        fitted, _ = fit_form(asked, form, tested=False)
        if fitted.method != "none":
            risks = risk_model(outcome, fitted).risks(take(season.values, own))
            decided = np.isfinite(season.cases.failed[own]) & np.isfinite(risks)
            found[name] = float(risks[decided].sum())
    return found


def _some(closed: Closed, rows: np.ndarray) -> Closed:
    return Closed(
        take(closed.values, rows),
        closed.answer[rows],
        closed.laid[rows],
        closed.month[rows],
    )
