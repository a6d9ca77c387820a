"""One model: the method that its data call for, the fit, and a test of every factor.

Random intercepts where there are levels enough, cluster-robust limits where there are
not, a penalty where answers are few or separated. Never an exception for bad data: a
model that cannot be had is `none`, with the reason in words.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from queen_outcomes.models.analysis_set import GROUPINGS, AnalysisSet, own_level
from queen_outcomes.models.choose import Design, choose
from queen_outcomes.models.mixed import MixedFit, fit_mixed
from queen_outcomes.models.penalised import fit_firth, penalised_lr_test
from queen_outcomes.models.plain import Test, fit_plain, wald_test
from queen_outcomes.models.robust import (
    FEW_FOR_CR2,
    MANY_FOR_CR1,
    cluster_cov,
    satterthwaite_df,
)
from queen_outcomes.models.separation import find_separation

RARE, TOO_RARE = 20, 5
EACH, EACH_PENALISED = 10, 5
"""Of the rarer answer for each degree of freedom, without and with a penalty."""
LEVELS, BEYOND = 5, 20
"""Levels, and courses beyond one a level, that random intercepts need."""
NO_TEST = Test(np.nan, 0, np.nan)

Freedom = Callable[[np.ndarray], np.ndarray | None]


@dataclass(frozen=True, eq=False)
class Fitted:
    """A fitted model, or why there is none.

    Attributes
    ----------
    method : str
        glmm, cluster_robust, plain, fixed_batches, firth or none.
    courses : AnalysisSet
    design : Design
    X : ndarray, shape (n, p)
    beta, low, high, se : ndarray, shape (p,)
    cov : ndarray, shape (p, p)
    log_likelihood : float
    tests : tuple of Test
        One for each factor, in the design's order.
    freedom : callable
        Contrasts (k, p) -> degrees of freedom (k,), or None for the normal.
    mixed : MixedFit or None
    converged : bool
    message : str
    """

    method: str
    courses: AnalysisSet
    design: Design
    X: np.ndarray
    beta: np.ndarray
    cov: np.ndarray
    se: np.ndarray
    low: np.ndarray
    high: np.ndarray
    log_likelihood: float
    tests: tuple[Test, ...]
    freedom: Freedom
    mixed: MixedFit | None
    converged: bool
    message: str

    @property
    def sd_total(self) -> float:
        """Deviation of all random intercepts together; 0 without any."""
        sds = self.mixed.theta_sd.values() if self.mixed else ()
        return float(np.sqrt(sum(sd**2 for sd in sds)))


def fit_courses(courses: AnalysisSet, adjust_for: Sequence[str]) -> Fitted:
    """Fit one model by the method that its data call for."""
    yes, no = int(courses.y.sum()), int((1 - courses.y).sum())
    rarer = min(yes, no)
    if rarer < TOO_RARE:
        said = f"{yes} yes and {no} no: too few of the rarer answer for any factor"
        return no_model(courses, said)
    random, fixed = groupings(courses)
    if not random and _clusters(courses) < FEW_FOR_CR2:
        fixed = list(dict.fromkeys([*fixed, *_as_levels(courses)]))
    each = EACH_PENALISED if rarer < RARE else EACH
    design = choose(courses, fixed=fixed, adjust_for=adjust_for, each=each)
    if not design.forms:
        return no_model(courses, "no factor is left to compare", design)
    X = design.matrix(courses.values)
    if X.shape[1] >= len(X):
        return no_model(courses, "more terms than courses", design)
    apart = find_separation(X, courses.y, design.names)
    if rarer < RARE or apart.kind != "none":
        return _penalised(courses, design, X, apart.message)
    if random:
        fitted = _mixed(courses, design, X, random)
        if fitted.converged:
            return fitted
        return _clustered(courses, design, X, f"no random intercepts: {fitted.message}")
    return _clustered(courses, design, X, "")


def groupings(courses: AnalysisSet) -> tuple[list[str], list[str]]:
    """Tell which groupings get random intercepts and which enter as levels."""
    random, fixed = [], []
    for name in GROUPINGS:
        levels = courses.values[name]
        count = len(np.unique(levels[levels != ""]))
        enough = len(levels) - int(own_level(levels).max(initial=0)) - 1 >= BEYOND
        if count >= LEVELS and enough:
            random.append(name)
        elif 2 <= count < LEVELS:
            fixed.append(name)
    return random, fixed


def cluster_codes(courses: AnalysisSet) -> np.ndarray:
    """Give the graft batch of each course; one without stands alone."""
    return own_level(courses.values["graft_batch"])


def _clusters(courses: AnalysisSet) -> int:
    return len(np.unique(cluster_codes(courses)))


def _as_levels(courses: AnalysisSet) -> list[str]:
    return ["graft_batch"] if 2 <= _clusters(courses) < len(courses.y) else []


def _mixed(courses: AnalysisSet, design: Design, X, random: list[str]) -> Fitted:
    codes = {name: own_level(courses.values[name]) for name in random}
    found = fit_mixed(X, courses.y, codes)
    if not found.converged:
        return no_model(courses, found.message, design)

    def without(columns: list[int]) -> Test:
        less = fit_mixed(np.delete(X, columns, axis=1), courses.y, codes)
        fall = 2 * (found.log_likelihood - less.log_likelihood)
        return _chi_square(fall, len(columns)) if less.converged else _wald(columns)

    def _wald(columns: list[int]) -> Test:
        return wald_test(found.beta, found.cov_beta, columns)

    zero = ", ".join(name.replace("_", " ") for name in found.sd_at_zero)
    said = f"no difference seen between levels of {zero}" if zero else ""
    return replace(
        _base("glmm", courses, design, X, said),
        **_normal_limits(found.beta, found.cov_beta),
        log_likelihood=found.log_likelihood,
        tests=_tests(design, without),
        mixed=found,
    )


def _clustered(courses: AnalysisSet, design: Design, X, said: str) -> Fitted:
    found = fit_plain(X, courses.y)
    if not found.converged:
        return no_model(courses, found.message, design)
    codes = cluster_codes(courses)
    clusters = len(np.unique(codes))
    alone = clusters == len(codes)
    base = replace(
        _base("plain", courses, design, X, said),
        log_likelihood=found.log_likelihood,
    )
    if alone or clusters < FEW_FOR_CR2:
        return _without_clusters(base, found, clusters, alone)
    kind = "CR1" if clusters >= MANY_FOR_CR1 else "CR2"
    cov = cluster_cov(X, courses.y, found.beta, codes, kind)
    if not np.isfinite(cov).all():
        return no_model(courses, "the batches give no standard errors", design)

    def freedom(contrasts) -> np.ndarray:
        rows = np.atleast_2d(contrasts)
        if kind == "CR1":
            return np.full(len(rows), clusters - 1.0)
        return satterthwaite_df(X, found.beta, codes, rows)

    each = freedom(np.eye(len(found.beta)))
    se = np.sqrt(np.maximum(np.diag(cov), 0))
    arm = stats.t.isf(0.025, each) * se
    return replace(
        base,
        method="cluster_robust",
        beta=found.beta,
        cov=cov,
        se=se,
        low=found.beta - arm,
        high=found.beta + arm,
        freedom=freedom,
        tests=_tests(
            design, lambda c: wald_test(found.beta, cov, c, df=float(each[c].min()))
        ),
        message=_join(base.message, f"limits by {kind} over {clusters} graft batches"),
    )


def _without_clusters(base: Fitted, found, clusters: int, alone: bool) -> Fitted:
    """Give ordinary limits: each course by itself, or the batches are in the model."""
    X, y = base.X, base.courses.y

    def without(columns: list[int]) -> Test:
        less = fit_plain(np.delete(X, columns, axis=1), y)
        fall = 2 * (found.log_likelihood - less.log_likelihood)
        return _chi_square(fall, len(columns)) if less.converged else NO_TEST

    few = not alone and clusters > 1
    said = f"{clusters} graft batches enter as levels" if few else ""
    if clusters == 1:
        said = "one graft batch: nothing is said of others"
    return replace(
        base,
        **_normal_limits(found.beta, found.cov),
        method="fixed_batches" if few else "plain",
        tests=_tests(base.design, without),
        message=_join(base.message, said),
    )


def _penalised(courses: AnalysisSet, design: Design, X, why: str) -> Fitted:
    found = fit_firth(X, courses.y)
    if not found.converged:
        return no_model(courses, found.message or why, design)
    why = why or "few of the rarer answer"
    return replace(
        _base("firth", courses, design, X, f"{why}: penalised, no random intercepts"),
        beta=found.flic_beta,
        cov=found.cov,
        se=np.sqrt(np.diag(found.cov)),
        low=found.low,
        high=found.high,
        log_likelihood=found.penalised_log_likelihood,
        tests=_tests(design, lambda c: penalised_lr_test(X, courses.y, c)),
    )


def no_model(courses: AnalysisSet, why: str, design: Design | None = None) -> Fitted:
    """Give counts only, and the reason."""
    empty = Design((), np.zeros(1, int), np.full(1, -1), ("constant",), (), "")
    design = replace(empty, left_out=design.left_out) if design else empty
    fitted = _base("none", courses, design, np.ones((len(courses.y), 1)), why)
    return replace(fitted, converged=False)


def _base(method: str, courses: AnalysisSet, design: Design, X, said: str) -> Fitted:
    p = X.shape[1]
    blank, square = np.full(p, np.nan), np.full((p, p), np.nan)
    message = _join(said, design.message, courses.message)
    return Fitted(
        *(method, courses, design, X, blank, square, blank, blank, blank, np.nan),
        *((), lambda _: None, None, True, message),
    )


def _normal_limits(beta: np.ndarray, cov: np.ndarray) -> dict[str, np.ndarray]:
    se = np.sqrt(np.maximum(np.diag(cov), 0))
    arm = stats.norm.isf(0.025) * se
    return {"beta": beta, "cov": cov, "se": se, "low": beta - arm, "high": beta + arm}


def _tests(design: Design, test: Callable[[list[int]], Test]) -> tuple[Test, ...]:
    return tuple(test(design.columns_of(k)) for k in range(len(design.forms)))


def _chi_square(fall: float, df: int) -> Test:
    fall = max(float(fall), 0.0)
    return Test(fall, df, float(stats.chi2.sf(fall, df)))


def _join(*said: str) -> str:
    return "; ".join(part for part in said if part)
