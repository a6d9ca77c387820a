"""A fitted model as every method gives it, and the parts that they share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from queen_outcomes.models.analysis_set import AnalysisSet
from queen_outcomes.models.choose import Design
from queen_outcomes.models.terms import Values
from queen_outcomes.stats.logistic.mixed import MixedFit
from queen_outcomes.stats.logistic.plain import Test

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
    weights : ndarray, shape (n,), or None
        Of the courses, where they are not all worth the same.
    filled : mapping of str to ndarray, shape (imputations * n,), or None
        The courses as often as gaps were filled, one filling after the other.
    imputations : int
        How often gaps were filled; 0: never.
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
    weights: np.ndarray | None = None
    filled: Values | None = None
    imputations: int = 0

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
    arm = stats.norm.isf(0.025) * se
    return {"beta": beta, "cov": cov, "se": se, "low": beta - arm, "high": beta + arm}


def every_test(design: Design, test: Callable[[list[int]], Test]) -> tuple[Test, ...]:
    """Test every factor of a design by its columns."""
    return tuple(test(design.columns_of(k)) for k in range(len(design.forms)))


def chi_square(fall: float, df: int) -> Test:
    """Test a fall of twice the log-likelihood."""
    fall = max(float(fall), 0.0)
    return Test(fall, df, float(stats.chi2.sf(fall, df)))


def join(*said: str) -> str:
    """Join what there is to say."""
    return "; ".join(part for part in said if part)
