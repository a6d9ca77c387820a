"""Logistic models without random intercepts: what the batches are worth, by their number.

From 10 graft batches on limits are by batch; with fewer the batches are in the model
already, or each course stands by itself.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import stats

from queen_outcomes.models.analysis_set import AnalysisSet, own_level
from queen_outcomes.models.choose import Design
from queen_outcomes.models.fitted import (
    NO_TEST,
    Fitted,
    base_of,
    chi_square,
    every_test,
    join,
    no_model,
    normal_limits,
)
from queen_outcomes.stats.logistic.plain import Test, fit_plain, wald_test
from queen_outcomes.stats.logistic.robust import (
    FEW_FOR_CR2,
    MANY_FOR_CR1,
    cluster_cov,
    satterthwaite_df,
)


def cluster_codes(courses: AnalysisSet) -> np.ndarray:
    """Give the graft batch of each course; one without stands alone."""
    return own_level(courses.values["graft_batch"])


def fit_clustered(
    courses: AnalysisSet,
    design: Design,
    X: np.ndarray,
    said: str,
    weights: np.ndarray | None = None,
) -> Fitted:
    """Fit a plain logistic model, with limits by graft batch where there are enough."""
    found = fit_plain(X, courses.y, weights)
    if not found.converged:
        return no_model(courses, found.message, design)
    codes = cluster_codes(courses)
    clusters = len(np.unique(codes))
    alone = clusters == len(codes)
    base = replace(
        base_of("plain", courses, design, X, said),
        log_likelihood=found.log_likelihood,
        weights=weights,
    )
    if alone or clusters < FEW_FOR_CR2:
        return _without_clusters(base, found, clusters, alone)
    return _by_batch(base, found, codes)


def _by_batch(base: Fitted, found, codes: np.ndarray) -> Fitted:
    """Give limits by graft batch."""
    X, y, weights, beta = base.X, base.courses.y, base.weights, found.beta
    clusters = len(np.unique(codes))
    kind = "CR1" if clusters >= MANY_FOR_CR1 else "CR2"
    cov = cluster_cov(X, y, beta, codes, kind, weights)
    if not np.isfinite(cov).all():
        why = "the batches give no standard errors"
        return no_model(base.courses, why, base.design)

    def freedom(contrasts) -> np.ndarray:
        rows = np.atleast_2d(contrasts)
        if kind == "CR1":
            return np.full(len(rows), clusters - 1.0)
        return satterthwaite_df(X, beta, codes, rows, weights)

    each = freedom(np.eye(len(beta)))
    se = np.sqrt(np.maximum(np.diag(cov), 0))
    arm = stats.t.isf(0.025, each) * se
    return replace(
        base,
        method="cluster_robust",
        beta=beta,
        cov=cov,
        se=se,
        low=beta - arm,
        high=beta + arm,
        freedom=freedom,
        tests=every_test(
            base.design, lambda c: wald_test(beta, cov, c, df=float(each[c].min()))
        ),
        message=join(base.message, f"limits by {kind} over {clusters} graft batches"),
    )


def _without_clusters(base: Fitted, found, clusters: int, alone: bool) -> Fitted:
    """Give ordinary limits: each course by itself, or the batches are in the model."""
    X, y = base.X, base.courses.y

    def without(columns: list[int]) -> Test:
        less = fit_plain(np.delete(X, columns, axis=1), y)
        fall = 2 * (found.log_likelihood - less.log_likelihood)
        return chi_square(fall, len(columns)) if less.converged else NO_TEST

    few = not alone and clusters > 1
    said = f"{clusters} graft batches enter as levels" if few else ""
    if clusters == 1:
        said = "one graft batch: nothing is said of others"
    return replace(
        base,
        **normal_limits(found.beta, found.cov),
        method="fixed_batches" if few else "plain",
        tests=every_test(base.design, without),
        message=join(base.message, said),
    )
