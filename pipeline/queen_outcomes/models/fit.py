"""One model: the method that its data call for, the fit, and a test of every factor.

Random intercepts where there are levels enough, cluster-robust limits where there are
not, a penalty where answers are few or separated. Never an exception for bad data: a
model that cannot be had is `none`, with the reason in words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from queen_outcomes.models.analysis_set import GROUPINGS, AnalysisSet, own_level
from queen_outcomes.models.choose import Design, Earlier, choose, take_earlier
from queen_outcomes.models.clustered import cluster_codes, fit_clustered
from queen_outcomes.models.fitted import (
    Fitted,
    base_of,
    chi_square,
    every_test,
    no_model,
    normal_limits,
)
from queen_outcomes.stats.logistic.mixed import fit_mixed
from queen_outcomes.stats.logistic.penalised import fit_firth, penalised_lr_test
from queen_outcomes.stats.logistic.plain import Test, wald_test
from queen_outcomes.stats.logistic.robust import FEW_FOR_CR2
from queen_outcomes.stats.logistic.separation import find_separation

__all__ = ["Fitted", "cluster_codes", "fit_courses", "groupings"]

RARE, TOO_RARE = 20, 5
EACH, EACH_PENALISED = 10, 5
"""Of the rarer answer for each degree of freedom, without and with a penalty."""
LEVELS, BEYOND = 5, 20
"""Levels, and courses beyond one a level, that random intercepts need."""


def fit_courses(
    courses: AnalysisSet,
    adjust_for: Sequence[str],
    earlier: Earlier | None = None,
    *,
    tested: bool = True,
) -> Fitted:
    """Fit one model by the method that its data call for.

    Parameters
    ----------
    courses : AnalysisSet
    adjust_for : sequence of str
        Factors that the budget never drops.
    earlier : Earlier, optional
        The choice of factors and forms that was fixed earlier; not given: they are
        chosen now.
    tested : bool
        Whether the factors are tested too, which takes most of the time.
    """
    found = find_design(courses, adjust_for, earlier)
    if isinstance(found, Fitted):
        return found
    random, _ = groupings(courses)
    return _by_method(courses, found, random, tested=tested)


def find_design(
    courses: AnalysisSet, adjust_for: Sequence[str], earlier: Earlier | None = None
) -> Design | Fitted:
    """Choose factors and forms, or say in a model without numbers why there are none."""
    yes, rarer = int(courses.y.sum()), _rarer(courses)
    if rarer < TOO_RARE:
        said = f"{yes} yes and {len(courses.y) - yes} no: too few of the rarer answer"
        return no_model(courses, f"{said} for any factor")
    random, fixed = groupings(courses)
    if not random and _clusters(courses) < FEW_FOR_CR2:
        fixed = list(dict.fromkeys([*fixed, *_as_levels(courses)]))
    if earlier is not None:
        design = take_earlier(courses, earlier, fixed=fixed)
    else:
        each = EACH_PENALISED if rarer < RARE else EACH
        design = choose(courses, fixed=fixed, adjust_for=adjust_for, each=each)
    if not design.forms:
        return no_model(courses, "no factor is left to compare", design)
    if len(design.kept) >= len(courses.y):
        return no_model(courses, "more terms than courses", design)
    return design


def _rarer(courses: AnalysisSet) -> int:
    return int(min(courses.y.sum(), (1 - courses.y).sum()))


def _by_method(
    courses: AnalysisSet, design: Design, random: list[str], *, tested: bool
) -> Fitted:
    X = design.matrix(courses.values)
    apart = find_separation(X, courses.y, design.names)
    if _rarer(courses) < RARE or apart.kind != "none":
        return _penalised(courses, design, X, apart.message, tested=tested)
    if random:
        fitted = _mixed(courses, design, X, random, tested=tested)
        if fitted.converged:
            return fitted
        return fit_clustered(
            courses, design, X, f"no random intercepts: {fitted.message}"
        )
    return fit_clustered(courses, design, X, "")


def refit(fitted: Fitted, courses: AnalysisSet) -> Fitted:
    """Fit other values of the same courses by the same method, without tests."""
    design, X = fitted.design, fitted.design.matrix(courses.values)
    if fitted.method == "firth":
        return _penalised(courses, design, X, "", tested=False)
    if fitted.mixed is not None:
        return _mixed(courses, design, X, list(fitted.mixed.names), tested=False)
    return fit_clustered(courses, design, X, "")


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


def _clusters(courses: AnalysisSet) -> int:
    return len(np.unique(cluster_codes(courses)))


def _as_levels(courses: AnalysisSet) -> list[str]:
    return ["graft_batch"] if 2 <= _clusters(courses) < len(courses.y) else []


def _mixed(
    courses: AnalysisSet, design: Design, X, random: list[str], *, tested: bool = True
) -> Fitted:
    codes = {name: own_level(courses.values[name]) for name in random}
    found = fit_mixed(X, courses.y, codes)
    if not found.converged:
        return no_model(courses, found.message, design)

    def without(columns: list[int]) -> Test:
        less = fit_mixed(np.delete(X, columns, axis=1), courses.y, codes)
        fall = 2 * (found.log_likelihood - less.log_likelihood)
        return chi_square(fall, len(columns)) if less.converged else _wald(columns)

    def _wald(columns: list[int]) -> Test:
        return wald_test(found.beta, found.cov_beta, columns)

    zero = ", ".join(name.replace("_", " ") for name in found.sd_at_zero)
    said = f"no difference seen between levels of {zero}" if zero else ""
    return replace(
        base_of("glmm", courses, design, X, said),
        **normal_limits(found.beta, found.cov_beta),
        log_likelihood=found.log_likelihood,
        tests=every_test(design, without) if tested else (),
        mixed=found,
    )


def _penalised(
    courses: AnalysisSet, design: Design, X, why: str, *, tested: bool = True
) -> Fitted:
    found = fit_firth(X, courses.y)
    if not found.converged:
        return no_model(courses, found.message or why, design)
    why = why or "few of the rarer answer"
    return replace(
        base_of("firth", courses, design, X, f"{why}: penalised, no random intercepts"),
        beta=found.flic_beta,
        cov=found.cov,
        se=np.sqrt(np.diag(found.cov)),
        low=found.low,
        high=found.high,
        log_likelihood=found.penalised_log_likelihood,
        tests=every_test(design, lambda c: penalised_lr_test(X, courses.y, c))
        if tested
        else (),
    )
