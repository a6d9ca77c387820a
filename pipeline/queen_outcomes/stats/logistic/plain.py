"""Logistic regression by maximum likelihood, the tests that follow, and steady bases.

One fit, no random effects and no penalty: where these are called for, this module
is not the one. Every fit works in an orthonormal basis of its columns, so that the units
of a factor (mm or m) change nothing. Data that cannot be fitted give a result that says
so in words; nothing here raises for them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.special import expit

from queen_outcomes.stats.logistic.collinear import column_scale, dependent
from queen_outcomes.stats.tails import chi2_sf, f_sf

APART = 1e-3
"""What is left of a column of length 1 by those before it, from which on they are apart."""


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows of a fit that count: weight above zero.

    Attributes
    ----------
    X : ndarray, shape (n, p)
    y, weights : ndarray, shape (n,)
    """

    X: np.ndarray
    y: np.ndarray
    weights: np.ndarray


@dataclass(frozen=True, eq=False)
class Basis:
    """``X = Z @ R`` with ``Z.T @ Z = n I`` and ``R`` upper triangular."""

    Z: np.ndarray
    R: np.ndarray

    def to_gamma(self, beta: np.ndarray) -> np.ndarray:
        """Give the coefficients on ``Z`` that belong to ``beta`` on ``X``."""
        return self.R @ beta

    def to_beta(self, gamma: np.ndarray) -> np.ndarray:
        """Give the coefficients on ``X`` that belong to ``gamma`` on ``Z``."""
        return solve_triangular(self.R, gamma)

    def to_cov(self, information: np.ndarray) -> np.ndarray:
        """Invert an information matrix of ``gamma`` into the covariance of ``beta``."""
        root = np.linalg.cholesky(information)
        half = solve_triangular(self.R, np.linalg.inv(root).T)
        return half @ half.T

    def log_det(self) -> float:
        """Give ``log |det R|``."""
        return float(np.sum(np.log(np.abs(np.diag(self.R)))))


def rows_of(X, y, weights=None) -> tuple[Rows | None, str]:
    """Check the input of a fit.

    Parameters
    ----------
    X : array_like, shape (n, p)
    y : array_like, shape (n,)
        0/1, or the share of yes in a row that stands for ``weights`` courses.
    weights : array_like, shape (n,), optional

    Returns
    -------
    rows : Rows or None
        None when the data cannot be fitted.
    message : str
        Why not; empty when they can.
    """
    X, y = np.asarray(X, float), np.asarray(y, float)
    weights = np.ones(len(y)) if weights is None else np.asarray(weights, float)
    message = _fault(X, y, weights)
    if message:
        return None, message
    used = weights > 0
    rows = Rows(X[used], y[used], weights[used])
    if len(rows.y) == 0:
        return None, "there are no courses to fit"
    if X.shape[1] > len(rows.y):
        return None, f"more terms ({X.shape[1]}) than rows ({len(rows.y)})"
    return rows, ""


def _fault(X, y, weights) -> str:
    if (
        X.ndim != 2
        or X.shape[1] == 0
        or any(a.shape != (len(X),) for a in (y, weights))
    ):
        return "the factors and the answers differ in length"
    if not all(np.isfinite(a).all() for a in (X, y, weights)):
        return "a value is missing or not finite"
    if ((y < 0) | (y > 1)).any():
        return "an answer is neither no (0) nor yes (1)"
    if (weights < 0).any():
        return "a weight is below zero"
    return ""


def same_answer(rows: Rows) -> str:
    """Say that every answer is alike, or nothing."""
    if np.all(rows.y == 1):
        return "every answer is yes"
    return "every answer is no" if np.all(rows.y == 0) else ""


def basis_of(X: np.ndarray) -> tuple[Basis | None, str]:
    """Give an orthonormal basis of the columns, or say which are not independent."""
    scale, root = column_scale(X), np.sqrt(len(X))
    scaled = X / scale
    R = _plainly_apart(scaled.T @ scaled / len(X))
    if R is not None:
        return Basis(scaled @ solve_triangular(R, np.eye(len(R))), R * scale), ""
    Q, R = np.linalg.qr(scaled)
    aliased = dependent(R)
    if aliased:
        listed = ", ".join(map(str, aliased))
        return None, f"columns that the earlier ones determine: {listed}"
    return Basis(Q * root, R * scale / root), ""


def _plainly_apart(products: np.ndarray) -> np.ndarray | None:
    """Give the upper root of columns' mean products; None where rounding would be felt.

    It takes a third of a QR's time; squares of what is nearly dependent lose half of
    their digits.
    """
    try:
        R = np.linalg.cholesky(products).T
    except np.linalg.LinAlgError:
        return None
    return R if np.diag(R).min() > APART else None


def log_likelihood(eta: np.ndarray, y: np.ndarray, weights: np.ndarray) -> float:
    """Give the Bernoulli log-likelihood, without binomial constants.

    ``sum w (y eta - log(1 + exp eta))``
    """
    return float(np.sum(weights * (y * eta - np.logaddexp(0.0, eta))))


def collapse_rows(X, y, weights=None) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Join rows with equal factors into one row that stands for all of them.

    The likelihood of a logistic model is unchanged by it, and the result does not
    depend on the order of the rows.

    Parameters
    ----------
    X : array_like, shape (n, p)
    y, weights : array_like, shape (n,)

    Returns
    -------
    X : ndarray, shape (m, p)
        The distinct rows, in ascending order.
    share : ndarray, shape (m,)
        Weighted share of yes.
    weights : ndarray, shape (m,)
        Summed weights.
    """
    X, y = np.asarray(X, float), np.asarray(y, float)
    weights = np.ones(len(y)) if weights is None else np.asarray(weights, float)
    code = np.zeros(len(y), np.int64)
    for column in X.T:
        values, inverse = np.unique(column, return_inverse=True)
        code = np.unique(code * len(values) + inverse, return_inverse=True)[1]
    first = np.unique(code, return_index=True)[1]
    total = np.bincount(code, weights)
    yes = np.bincount(code, weights * y)
    share = np.divide(yes, total, out=np.zeros_like(yes), where=total > 0)
    return X[first], np.clip(share, 0.0, 1.0), total


MOST_STEPS = 60
STEP = 1e-9
"""A Newton step below this, in standard deviations of eta, is the last."""
FAR = 30.0
"""An eta beyond this is a probability of 0 or 1 in all but name."""


@dataclass(frozen=True, eq=False)
class PlainFit:
    """A fitted logistic model.

    Attributes
    ----------
    beta : ndarray, shape (p,)
    cov : ndarray, shape (p, p)
        Inverse Fisher information.
    log_likelihood : float
        Without binomial constants; the deviance is minus twice it.
    converged : bool
    message : str
        Why there is no fit; empty when there is. The numbers are then NaN.
    """

    beta: np.ndarray
    cov: np.ndarray
    log_likelihood: float
    converged: bool
    message: str

    @property
    def se(self) -> np.ndarray:
        """Standard errors, shape (p,)."""
        return np.sqrt(np.diag(self.cov))


@dataclass(frozen=True)
class Test:
    """A test of several coefficients at once."""

    __test__ = False  # not for pytest to collect

    statistic: float
    df: int
    p: float


def fit_plain(X, y, weights=None, pull=None) -> PlainFit:
    """Fit a logistic model by iteratively reweighted least squares.

    Parameters
    ----------
    X : array_like, shape (n, p)
        With its own column of ones.
    y : array_like, shape (n,)
        0/1, or shares of yes with ``weights`` courses a row.
    weights : array_like, shape (n,), optional
        Counts of collapsed rows or probability weights; with the latter only a
        robust covariance is right.
    pull : array_like, shape (p,), optional
        Precision of the normal around zero that each coefficient is taken to come from;
        0, or not given: from anywhere.

    Returns
    -------
    PlainFit

    Notes
    -----
    Newton's method on ``sum w (y eta - log(1 + e^eta))``; the information is
    ``X' diag(w p (1 - p)) X``. McCullagh P, Nelder JA. Generalized Linear Models,
    2nd ed. 1989, ch. 4. A drawn coefficient takes ``pull b^2 / 2`` off and adds its
    precision to the information.
    """
    rows, message = rows_of(X, y, weights)
    if rows is not None:
        message = same_answer(rows)
    if rows is None or message:
        return _no_fit(X, message)
    basis, message = basis_of(rows.X)
    if basis is None:
        return _no_fit(X, message)
    inverse = basis.to_beta(np.eye(len(basis.R)))
    drawn = (inverse.T * (0.0 if pull is None else np.asarray(pull, float))) @ inverse
    gamma, message = _climb(rows, basis, drawn)
    if message:
        return _no_fit(X, message)
    value, _, information = _at(rows, basis, gamma, drawn)
    cov = basis.to_cov(information)
    return PlainFit(basis.to_beta(gamma), cov, value, True, "")


def _at(rows: Rows, basis: Basis, gamma: np.ndarray, drawn: np.ndarray):
    eta = basis.Z @ gamma
    p = expit(eta)
    back = drawn @ gamma
    score = basis.Z.T @ (rows.weights * (rows.y - p)) - back
    spread = rows.weights * p * (1.0 - p)
    information = (basis.Z * spread[:, None]).T @ basis.Z + drawn
    value = log_likelihood(eta, rows.y, rows.weights) - 0.5 * float(gamma @ back)
    return value, score, information


def _climb(rows: Rows, basis: Basis, drawn: np.ndarray) -> tuple[np.ndarray, str]:
    gamma = np.zeros(basis.Z.shape[1])
    now = _at(rows, basis, gamma, drawn)
    for _ in range(MOST_STEPS):
        try:
            step = np.linalg.solve(now[2], now[1])
        except np.linalg.LinAlgError:
            break
        for _ in range(40):  # a full Newton step can overshoot: halve until it climbs
            new = _at(rows, basis, gamma + step, drawn)
            if new[0] >= now[0] - 1e-10 * (1.0 + abs(now[0])):
                break
            step = step / 2
        gamma, now = gamma + step, new
        if np.max(np.abs(basis.Z @ gamma)) > FAR:
            break
        if np.max(np.abs(step)) < STEP:
            return gamma, ""
    return gamma, "no finite estimate: the factors separate yes from no"


def _no_fit(X, message: str) -> PlainFit:
    p = np.shape(X)[1] if np.ndim(X) == 2 else 0
    return PlainFit(np.full(p, np.nan), np.full((p, p), np.nan), np.nan, False, message)


def wald_test(
    beta, cov, columns, *, df: float | None = None, pull: np.ndarray | None = None
) -> Test:
    """Test that the coefficients in ``columns`` are all zero, by any covariance.

    Parameters
    ----------
    beta : array_like, shape (p,)
    cov : array_like, shape (p, p)
    columns : sequence of int
    df : float, optional
        Denominator degrees of freedom: F in place of chi-square, unless infinite.
    pull : ndarray, shape (p,), optional
        Precision with which the fit drew each coefficient to zero.

    Returns
    -------
    Test
        ``b' V^-1 b``; NaN where the covariance cannot be inverted, and where every
        coefficient is as uncertain as it was drawn, so that the data say nothing of it.

    Notes
    -----
    With nothing to find a drawn coefficient varies less than its covariance says, by
    ``s = 1 - pull V_jj``: the statistic is then a sum of chi-squares times 1 and s, and is
    matched to one by mean and variance (Satterthwaite FE. Biometrics 1946;2:110-114).
    """
    columns = list(columns)
    b = np.asarray(beta, float)[columns]
    V = np.asarray(cov, float)[np.ix_(columns, columns)]
    try:
        statistic = float(b @ np.linalg.solve(V, b))
    except np.linalg.LinAlgError:
        statistic = np.nan
    share = np.ones(len(columns))
    if pull is not None:
        share = np.clip(1.0 - pull[columns] * np.diag(V), 0.0, 1.0)
    total = float(share.sum())
    if not total > 0:
        return Test(np.nan, len(columns), np.nan)
    k = total**2 / float(np.sum(share**2))
    size = statistic * k / total
    if df is None or np.isinf(df):
        return Test(statistic, len(columns), float(chi2_sf(size, k)))
    return Test(statistic, len(columns), float(f_sf(size / k, k, df)))
