"""What operators and batches of a period come to, worked out from its courses."""

from __future__ import annotations

from typing import Any

from scipy.optimize import brentq
from scipy.special import expit, logit

from queen_outcomes.audit.batch_figures import batch_rows
from queen_outcomes.audit.cases import Cases
from queen_outcomes.audit.figures import operator_rows
from queen_outcomes.models.risks import RiskModel

Row = dict[str, Any]


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
