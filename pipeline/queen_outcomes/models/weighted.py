"""The main model again, its decided courses standing for all that closed.

Right if being decided depends only on what is recorded; the figures say so wherever
they stand. Limits are by graft batch and there are no random intercepts.
"""

from __future__ import annotations

import numpy as np

from queen_outcomes.models.analysis_set import is_recorded
from queen_outcomes.models.closed import ClosedCourses, take
from queen_outcomes.models.clustered import cluster_codes, fit_clustered
from queen_outcomes.models.fitted import Fitted, join, no_model
from queen_outcomes.stats.logistic.collinear import find_aliased
from queen_outcomes.stats.logistic.robust import FEW_FOR_CR2
from queen_outcomes.stats.logistic.weighting import decided_weights

IF = "right if being decided depends only on what is recorded"


def fit_weighted(main: Fitted, closed: ClosedCourses) -> Fitted:
    """Fit the main model's form with weights for being decided.

    Having laid explains being decided, except where laying is itself the answer.
    """
    if main.method in ("none", "firth"):
        return no_model(main.courses, "too few answers to weight", main.design)
    clusters = len(np.unique(cluster_codes(main.courses)))
    if clusters < FEW_FOR_CR2:
        said = f"{clusters} graft batches are too few for limits of a weighted model"
        return no_model(main.courses, said, main.design)
    complete = np.ones(len(closed.answer), bool)
    for term in main.courses.terms:
        complete &= is_recorded(term, closed.values)
    rows = np.flatnonzero(complete)
    Z = _explaining(main, closed, rows, with_laid=closed.question[0] != "laying")
    decided = closed.decided[rows]
    weights = decided_weights(Z, decided)
    if not np.isfinite(weights.mean):
        return no_model(main.courses, weights.message, main.design)
    said = (
        f"{int(decided.sum())} decided courses stand for {len(rows)}, with weights from "
        f"{weights.least:.2g} to {weights.most:.2g}, worth {weights.effective:.0f} equal "
        f"ones; {IF}"
    )
    used = weights.weights[decided]
    said = join(said, weights.message)
    return fit_clustered(main.courses, main.design, main.X, said, used)


def _explaining(
    main: Fitted, closed: ClosedCourses, rows: np.ndarray, *, with_laid: bool
) -> np.ndarray:
    """Give what being decided may depend on, without repetition."""
    values = take(closed.values, rows)
    parts = [main.design.matrix(values)]
    for words in (values["operator"], closed.month[rows]):
        names = np.unique(words)[1:]
        parts += [(words == name).astype(float)[:, None] for name in names]
    if with_laid:
        parts.append(closed.laid[rows].astype(float)[:, None])
    Z = np.column_stack(parts)
    return Z[:, list(find_aliased(Z).kept)]
