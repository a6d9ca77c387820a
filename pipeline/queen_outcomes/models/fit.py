"""One model: the method that its data call for, the fit, and Wald's test of every factor.

Random intercepts where there are levels enough, cluster-robust limits where there are
not, a penalty where answers are few or separated. Without random intercepts limits are by
graft batch from 10 of them on; with fewer the batches are in the model already, or each
course stands by itself. Never an exception for bad data: a model that cannot be had is
`none`, with the reason in words.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from queen_outcomes.models.analysis_set import GROUPINGS, AnalysisSet, own_level
from queen_outcomes.models.choose import (
    Design,
    Earlier,
    choose,
    straight,
    take_earlier,
)
from queen_outcomes.models.terms import Values
from queen_outcomes.stats.histories.pooling import (
    MOST_UNSETTLED,
    Pooled,
    freedom_by_gaps,
    unsettled_part,
)
from queen_outcomes.stats.logistic.mixed import (
    MixedFit,
    RowPattern,
    fit_again,
    fit_mixed,
    pattern_of,
)
from queen_outcomes.stats.logistic.penalised import fit_firth
from queen_outcomes.stats.logistic.plain import (
    Test,
    fit_plain,
    wald_test,
)
from queen_outcomes.stats.logistic.robust import (
    FEW_FOR_CR2,
    MANY_FOR_CR1,
    cluster_cov,
    satterthwaite_df,
)
from queen_outcomes.stats.logistic.separation import find_separation
from queen_outcomes.stats.tails import norm_isf, t_isf

Freedom = Callable[[np.ndarray], np.ndarray | None]
"""Contrasts (k, p) -> degrees of freedom (k,), or None for the normal."""
MOST_SHIFT = 0.1
"""Log odds that averaged chances may be shifted by before a model and the headline differ."""


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
        One for each factor, in the design's order; none of a single filling.
    freedom : callable
        See `Freedom`; with several fillings what gaps leave of it.
    mixed : MixedFit or None
    converged : bool
    message : str
    filled : mapping of str to ndarray, shape (k,), or None
        The courses without gaps, then those with gaps as often as they were filled.
    worth : ndarray, shape (k,), or None
        What each of these is worth.
    imputations : int
        How many fillings were fitted; 0: the courses as they are.
    pooled : Pooled or None
        Of coefficients and deviations, over the fillings.
    group_df : ndarray, shape (p,)
        Degrees of freedom of what varies only between groups; infinite for the rest.
    answer, at_risk, chance : ndarray, shape (n,), or None
        Share of yes in the fillings with the course at risk, share of those, and the
        mean chance that the fits give her with her own operator and batches.
    shift : float
        Added to log odds so that chances averaged over operators and batches come to the
        headline.
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
    filled: Values | None = None
    worth: np.ndarray | None = None
    imputations: int = 0
    pooled: Pooled | None = None
    group_df: np.ndarray | None = None
    answer: np.ndarray | None = None
    at_risk: np.ndarray | None = None
    chance: np.ndarray | None = None
    shift: float = 0.0

    @property
    def deviations(self) -> np.ndarray:
        """Standard deviation of each grouping's random intercepts; empty without any."""
        return np.array(list(self.mixed.theta_sd.values()) if self.mixed else ())

    @property
    def cov_all(self) -> np.ndarray:
        """Covariance of coefficients and, where there are some, deviations."""
        return self.mixed.cov_joint if self.mixed else self.cov

    @property
    def predicted(self) -> Values:
        """Courses to average predictions over: with the gaps filled where they were."""
        return self.courses.values if self.filled is None else self.filled

    @cached_property
    def predicted_X(self) -> np.ndarray:
        """The columns of these courses, (k, p)."""
        return self.design.matrix(self.predicted)

    @property
    def predicted_weights(self) -> np.ndarray:
        """Give what each of them is worth, by the share of fillings with her at risk."""
        if self.worth is not None:
            return self.worth
        return np.ones(len(self.courses.y)) if self.at_risk is None else self.at_risk

    def df(self, contrasts: np.ndarray, columns: Sequence[int] = ()) -> np.ndarray:
        """Give contrasts' degrees of freedom, infinite for the normal, shape (k,).

        ``columns`` are those of the factor that a contrast is about: what varies only
        between operators or batches has no more freedom than there are of these.
        """
        rows = np.atleast_2d(contrasts)
        whole = np.full(len(rows), np.inf)
        if len(columns) and self.group_df is not None:
            whole = np.minimum(whole, self.group_df[list(columns)].min())
        found = self.freedom(rows)
        if found is not None:
            whole = np.minimum(whole, found)
        if self.pooled is None:
            return whole
        return freedom_by_gaps(self.pooled, rows, whole)

    def is_told(self, contrasts: np.ndarray) -> np.ndarray:
        """Tell whether no more than half of contrasts' information is missing, (k,)."""
        rows = np.atleast_2d(contrasts)
        if self.pooled is None:
            return np.ones(len(rows), bool)
        return unsettled_part(self.pooled, rows) <= MOST_UNSETTLED


def no_model(courses: AnalysisSet, why: str, design: Design | None = None) -> Fitted:
    """Give counts only, and the reason."""
    empty = Design((), np.zeros(1, int), np.full(1, -1), ("constant",), (), "")
    design = replace(empty, left_out=design.left_out) if design else empty
    fitted = base_of("none", courses, design, np.ones((len(courses.y), 1)), why)
    return replace(fitted, converged=False)


def base_of(method: str, courses: AnalysisSet, design: Design, X, said: str) -> Fitted:
    """Give a fit without numbers, to be filled in."""
    p = X.shape[1]
    blank, square = np.full(p, np.nan), np.full((p, p), np.nan)
    message = join(said, design.message, courses.message)
    return Fitted(
        *(method, courses, design, X, blank, square, blank, blank, blank, np.nan),
        *((), lambda _: None, None, True, message),
    )


def normal_limits(beta: np.ndarray, cov: np.ndarray) -> dict[str, np.ndarray]:
    """Give estimates with limits by the normal distribution."""
    se = np.sqrt(np.maximum(np.diag(cov), 0))
    arm = norm_isf(0.025) * se
    return {"beta": beta, "cov": cov, "se": se, "low": beta - arm, "high": beta + arm}


def wald_tests(fitted: Fitted) -> tuple[Test, ...]:
    """Test every factor of a fit by Wald."""
    columns = map(fitted.design.columns_of, range(len(fitted.design.forms)))
    return tuple(slope_test(fitted, own) for own in columns)


def slope_test(fitted: Fitted, columns: Sequence[int]) -> Test:
    """Test by Wald that a factor's columns, or some of them, do nothing.

    There is no test where half of what it rests on is gaps. What varies only between
    operators or batches has no more degrees of freedom than there are of these.
    """
    each = np.eye(len(fitted.beta))[list(columns)]
    if not fitted.is_told(each).all():
        return Test(np.nan, len(columns), np.nan)
    df = float(fitted.df(each, columns).min())
    pull = fitted.design.pull
    return wald_test(fitted.beta, fitted.cov, columns, df=df, pull=pull)


def join(*said: str) -> str:
    """Join what there is to say."""
    return "; ".join(part for part in said if part)


def shift_said(shift: float | None) -> str:
    """Say that averaged chances had to be moved far to give the headline; else nothing."""
    if shift is None or abs(shift) <= MOST_SHIFT:
        return ""
    return (
        "averaged over operators and batches, chances meet the headline only after a shift "
        f"of {shift:+.2f} in log odds (more than {MOST_SHIFT}): adjusted shares are less sure "
        "than their limits say"
    )


def cluster_codes(courses: AnalysisSet) -> np.ndarray:
    """Give the graft batch of each course; one without stands alone."""
    return own_level(courses.values["graft_batch"])


def fit_clustered(
    courses: AnalysisSet, design: Design, X: np.ndarray, said: str
) -> Fitted:
    """Fit a plain logistic model, with limits by graft batch where there are enough."""
    found = fit_plain(X, courses.y, courses.weights, design.pull)
    if not found.converged:
        return no_model(courses, found.message, design)
    codes = cluster_codes(courses)
    clusters = len(np.unique(codes))
    alone = clusters == len(codes)
    base = replace(
        base_of("plain", courses, design, X, said),
        log_likelihood=found.log_likelihood,
    )
    if alone or clusters < FEW_FOR_CR2:
        return _without_clusters(base, found, clusters, alone)
    return _by_batch(base, found, codes)


def _by_batch(base: Fitted, found, codes: np.ndarray) -> Fitted:
    """Give limits by graft batch."""
    X, y, weights, beta = base.X, base.courses.y, base.courses.weights, found.beta
    clusters, pull = len(np.unique(codes)), base.design.pull
    kind = "CR1" if clusters >= MANY_FOR_CR1 else "CR2"
    cov = cluster_cov(X, y, beta, codes, kind, weights, pull)
    if not np.isfinite(cov).all():
        why = "the batches give no standard errors"
        return no_model(base.courses, why, base.design)

    def freedom(contrasts) -> np.ndarray:
        rows = np.atleast_2d(contrasts)
        if kind == "CR1":
            return np.full(len(rows), clusters - 1.0)
        return satterthwaite_df(X, beta, codes, rows, weights, pull)

    each = freedom(np.eye(len(beta)))
    se = np.sqrt(np.maximum(np.diag(cov), 0))
    arm = t_isf(0.025, each) * se
    return replace(
        base,
        method="cluster_robust",
        beta=beta,
        cov=cov,
        se=se,
        low=beta - arm,
        high=beta + arm,
        freedom=freedom,
        message=join(base.message, f"limits by {kind} over {clusters} graft batches"),
    )


def _without_clusters(base: Fitted, found, clusters: int, alone: bool) -> Fitted:
    """Give ordinary limits: each course by itself, or the batches are in the model."""
    few = not alone and clusters > 1
    said = f"{clusters} graft batches enter as levels" if few else ""
    if clusters == 1:
        said = "one graft batch: nothing is said of others"
    return replace(
        base,
        **normal_limits(found.beta, found.cov),
        method="fixed_batches" if few else "plain",
        message=join(base.message, said),
    )


RARE, TOO_RARE = 20, 5
EACH, EACH_PENALISED = 10, 5
"""Of the rarer answer for each degree of freedom, without and with a penalty."""
LEVELS, BEYOND = 5, 20
"""Levels, and courses beyond one a level, that random intercepts need."""


def find_design(
    courses: AnalysisSet, adjust_for: Sequence[str], earlier: Earlier | None = None
) -> Design | Fitted:
    """Choose factors and forms, or say in a model without numbers why there are none.

    Parameters
    ----------
    courses : AnalysisSet
    adjust_for : sequence of str
        Factors that the budget never drops.
    earlier : Earlier, optional
        The choice of factors and forms that was fixed earlier; not given: they are
        chosen now.
    """
    rarer = courses.rarer
    if rarer < TOO_RARE:
        yes, no = (int((courses.y == value).sum()) for value in (1, 0))
        said = f"{yes} yes and {no} no: too few of the rarer answer"
        return no_model(courses, f"{said} for any factor")
    random, fixed = groupings(courses)
    if not random and _clusters(courses) < FEW_FOR_CR2:
        fixed = list(dict.fromkeys([*fixed, *_as_levels(courses)]))
    if earlier is not None:
        design = take_earlier(courses, earlier, fixed=fixed)
    else:
        each = EACH_PENALISED if rarer < RARE else EACH
        kept = {"fixed": fixed, "adjust_for": adjust_for, "each": each}
        design = choose(courses, **kept, drawn=rarer >= RARE)
    if not design.forms:
        return no_model(courses, "no factor is left to compare", design)
    if len(design.kept) >= len(courses.y):
        return no_model(courses, "more terms than courses", design)
    return design


def by_method(courses: AnalysisSet, design: Design, random: list[str]) -> Fitted:
    """Fit a design by the method that the answers call for."""
    X = design.matrix(courses.values)
    at_risk = slice(None) if courses.weights is None else courses.weights > 0
    free = design.pull == 0  # what is drawn to zero does not run away
    names = tuple(n for n, is_free in zip(design.names, free, strict=True) if is_free)
    apart = find_separation(X[at_risk][:, free], courses.y[at_risk], names)
    if courses.rarer < RARE or apart.kind != "none":
        design = straight(design, courses.values)
        X = design.matrix(courses.values)
        return _penalised(courses, design, X, apart.message)
    if random:
        fitted = _mixed(courses, design, X, random)
        if fitted.converged:
            return fitted
        return fit_clustered(
            courses, design, X, f"no random intercepts: {fitted.message}"
        )
    return fit_clustered(courses, design, X, "")


def refit(fitted: Fitted, sets: Iterable[AnalysisSet]) -> Iterator[Fitted]:
    """Fit other values of the same courses by the same method, without tests.

    What is one array in the fit and in all sets is looked at once.
    """
    design, given, first = fitted.design, fitted.courses.values, fitted.X
    groups: Groups | None = None
    for courses in sets:
        X = design.matrix_from(first, given, courses.values)
        if fitted.method == "firth":
            yield _penalised(courses, design, X, "")
        elif fitted.mixed is not None:
            groups = Groups.of(courses.values, fitted.mixed.names, groups)
            yield _mixed_again(fitted, courses, X, groups)
        else:
            yield fit_clustered(courses, design, X, "")


@dataclass(frozen=True, eq=False)
class Groups:
    """The groupings of a fit: levels as they are named, as codes, and how they cross."""

    named: dict[str, np.ndarray]
    codes: dict[str, np.ndarray]
    pattern: RowPattern

    @classmethod
    def of(cls, values: Values, names: Sequence[str], known: Groups | None) -> Groups:
        """Give the groupings of these values, those that are known where they are the same."""
        named = {name: values[name] for name in names}
        if known and all(known.named[name] is x for name, x in named.items()):
            return known
        codes = {name: own_level(x) for name, x in named.items()}
        return cls(named, codes, pattern_of(codes))


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


def _mixed(courses: AnalysisSet, design: Design, X, random: list[str]) -> Fitted:
    codes = {name: own_level(courses.values[name]) for name in random}
    weights, pull = courses.weights, design.pull
    found = fit_mixed(X, courses.y, codes, weights=weights, pull=pull)
    if not found.converged:
        return no_model(courses, found.message, design)

    zero = ", ".join(name.replace("_", " ") for name in found.sd_at_zero)
    said = f"no difference seen between levels of {zero}" if zero else ""
    return replace(
        base_of("glmm", courses, design, X, said),
        **normal_limits(found.beta, found.cov_beta),
        log_likelihood=found.log_likelihood,
        mixed=found,
    )


def _mixed_again(fitted: Fitted, courses: AnalysisSet, X, groups: Groups) -> Fitted:
    """Fit answers that differ little from those of a fit."""
    found = fit_again(
        *(fitted.mixed, X, courses.y, groups.codes),
        weights=courses.weights,
        pull=fitted.design.pull,
        pattern=groups.pattern,
    )
    if not found.converged:
        return no_model(courses, found.message, fitted.design)
    return replace(
        base_of("glmm", courses, fitted.design, X, ""),
        **normal_limits(found.beta, found.cov_beta),
        log_likelihood=found.log_likelihood,
        mixed=found,
    )


def _penalised(courses: AnalysisSet, design: Design, X, why: str) -> Fitted:
    at_risk = slice(None) if courses.weights is None else courses.weights > 0
    some, y = X[at_risk], courses.y[at_risk]
    found = fit_firth(some, y, profile=False)
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
    )
