"""How well a model predicts batches that it has not seen.

The model's form is refitted without random intercepts on nine tenths of the graft batches
and predicts the rest: what it says of new batches. Nothing is chosen anew inside a fold.
"""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from queen_outcomes.models.analysis_set import complete_rows
from queen_outcomes.models.fit import Fitted, cluster_codes
from queen_outcomes.stats.logistic.collinear import independent_columns
from queen_outcomes.stats.logistic.penalised import fit_firth
from queen_outcomes.stats.logistic.plain import fit_plain
from queen_outcomes.stats.logistic.validate import (
    Validation,
    forward_split,
    group_folds,
    out_of_fold,
    validate,
)

FOLDS, REPLICATES = 10, 500
FEWEST = 20
"""Of the rarer answer in earlier seasons, to foresee the last from."""


def cross_validate(fitted: Fitted, seed: int) -> Validation | None:
    """Measure out-of-fold predictions; None where there is no model."""
    if fitted.method == "none":
        return None
    rows = _whole(fitted)
    X, y = fitted.X[rows], fitted.courses.y[rows]
    batches, pull = cluster_codes(fitted.courses)[rows], fitted.design.pull

    def fit_predict(train: np.ndarray, test: np.ndarray) -> np.ndarray:
        return _predict(X, y, pull, train, test)

    p, base = out_of_fold(fit_predict, group_folds(batches, y, FOLDS), y)
    return validate(y, p, batches, base=base, seed=seed, replicates=REPLICATES)


def look_forward(fitted: Fitted) -> str:
    """Fit on the seasons before the last and say how the last was foreseen."""
    if fitted.method == "none":
        return ""
    rows = _whole(fitted)
    X, y = fitted.X[rows], fitted.courses.y[rows]
    names, season = np.unique(fitted.courses.values["year"][rows], return_inverse=True)
    before, last = forward_split(season)
    if min(y[before].sum(), (1 - y[before]).sum()) < FEWEST or not last.any():
        return ""
    p = _predict(X, y, fitted.design.pull, before, last)
    brier, base = (
        np.mean((p - y[last]) ** 2),
        np.mean((y[before].mean() - y[last]) ** 2),
    )
    return (
        f"fitted before {names[-1]} and tried on it: mean squared error "
        f"{brier:.3f} against {base:.3f} for the earlier rate"
    )


def _whole(fitted: Fitted) -> np.ndarray:
    """Give the courses without gaps whose answer the records settle.

    What was filled in was filled with the answer in view.
    """
    rows = complete_rows(fitted.courses)
    return rows[np.isfinite(fitted.courses.y[rows])]


def _predict(
    X: np.ndarray, y: np.ndarray, pull: np.ndarray, train, test
) -> np.ndarray:
    kept = independent_columns(X[train])
    found = _coefficients(X[train][:, kept], y[train], pull[kept])
    return expit(X[test][:, kept] @ found)


def _coefficients(X: np.ndarray, y: np.ndarray, pull: np.ndarray) -> np.ndarray:
    found = fit_plain(X, y, pull=pull)
    if found.converged:
        return found.beta
    return fit_firth(X, y, profile=False).flic_beta
