"""Which courses lay, and when: a logistic chance with a lognormal day among layers.

Every course counts, also those undecided, open or left: with the set of days on which
its laying may have begun. Limits are robust and by batch. The model says what goes with
laying early or late; it must not be read as "ever" where the unlaid were left too soon.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.special import expit, log_expit, log_ndtr

from queen_outcomes.stats.logistic.robust import MANY_FOR_CR1, adjusters, matched_df

LOG_ROOT_2PI = 0.5 * float(np.log(2.0 * np.pi))


@dataclass(frozen=True)
class Courses:
    """What is known of each course, and its columns.

    Attributes
    ----------
    X : ndarray, shape (n, p)
        Columns of the chance of laying.
    Z : ndarray, shape (n, q)
        Columns of the log day among layers.
    log_after, log_by : ndarray, shape (n,)
        Ends of the interval; -inf and inf where open.
    never : ndarray of bool, shape (n,)
        Never laying is possible.
    everybody : bool
        The chance of laying is fixed at 1, and X has no column.
    """

    X: np.ndarray
    Z: np.ndarray
    log_after: np.ndarray
    log_by: np.ndarray
    never: np.ndarray
    everybody: bool


@dataclass(frozen=True)
class Derivatives:
    """Log-likelihood and derivatives at one parameter.

    Attributes
    ----------
    value : float
    scores : ndarray, shape (n, p + q + 1)
        Each course's gradient.
    information : ndarray, shape (p + q + 1, p + q + 1)
        Minus the second derivatives, added up.
    """

    value: float
    scores: np.ndarray
    information: np.ndarray


def log_likelihood(courses: Courses, parameter) -> float:
    """Give the log-likelihood alone; see `derivatives`."""
    with np.errstate(all="ignore"):
        eta, upper, lower, _ = _places(courses, parameter)
        return float(_parts(courses, eta, _log_between(upper, lower))[0].sum())


def derivatives(courses: Courses, parameter) -> Derivatives:
    r"""Give the log-likelihood, every course's score and the information.

    .. math:: L_i = p_i D_i + v_i (1 - p_i), \quad
              D_i = \Phi(u_i) - \Phi(l_i), \quad u_i = (\log by_i - Z_i b) / \sigma

    with v_i = 1 where never laying is possible. With r = p D / L, the chance given the
    record that she is a layer, the derivatives are those of log D times r, and r - p.

    Parameters
    ----------
    courses : Courses
    parameter : ndarray, shape (p + q + 1,)
        Coefficients of X, of Z, and log sigma.
    """
    eta, upper, lower, sigma = _places(courses, parameter)
    log_between = _log_between(upper, lower)
    value, layer = _parts(courses, eta, log_between)
    first, second = _of_between(upper, lower, log_between, sigma)
    chance = np.ones_like(eta) if courses.everybody else expit(eta)
    spread = layer * (1.0 - layer)
    lines = np.vstack([layer - chance, layer * first[0], layer * first[1]])
    curves = {
        (0, 0): spread - chance * (1.0 - chance),
        (0, 1): spread * first[0],
        (0, 2): spread * first[1],
        (1, 1): layer * second[0] + spread * first[0] ** 2,
        (1, 2): layer * second[1] + spread * first[0] * first[1],
        (2, 2): layer * second[2] + spread * first[1] ** 2,
    }
    blocks = (courses.X, courses.Z, np.ones((len(eta), 1)))
    scores = np.hstack([b * s[:, None] for b, s in zip(blocks, lines, strict=True)])
    return Derivatives(float(value.sum()), scores, -_assemble(blocks, curves))


def _assemble(blocks, curves) -> np.ndarray:
    """Put the second derivatives of the predictors onto the columns."""
    rows = []
    for i, left in enumerate(blocks):
        row = []
        for j, right in enumerate(blocks):
            curve = curves[(min(i, j), max(i, j))]
            row.append(left.T @ (right * curve[:, None]))
        rows.append(row)
    return np.block(rows)


def _places(courses: Courses, parameter):
    """Give the log odds of laying and both ends in standard deviations."""
    p, q = courses.X.shape[1], courses.Z.shape[1]
    eta = courses.X @ parameter[:p]
    middle, sigma = courses.Z @ parameter[p : p + q], np.exp(parameter[-1])
    upper = (courses.log_by - middle) / sigma
    return eta, upper, (courses.log_after - middle) / sigma, sigma


def _parts(courses: Courses, eta, log_between) -> tuple[np.ndarray, np.ndarray]:
    """Give each course's log-likelihood and its chance to be a layer, given it."""
    if courses.everybody:
        return log_between, np.ones_like(eta)
    lays = log_expit(eta) + log_between
    value = np.where(courses.never, np.logaddexp(lays, log_expit(-eta)), lays)
    return value, np.exp(lays - value)


def _log_between(upper, lower) -> np.ndarray:
    """Log of the normal probability between two places, exact far out in either tail."""
    right = lower > 0.0
    high, low = np.where(right, -lower, upper), np.where(right, -upper, lower)
    top = log_ndtr(high)
    with np.errstate(divide="ignore"):
        return top + np.log(-np.expm1(log_ndtr(low) - top))


def _of_between(upper, lower, log_between, sigma):
    """Derivatives of log D in the log day's mean and in log sigma.

    Returns the two first ones, and the second ones (mean twice, mixed, deviation twice).
    """
    (high, u), (low, v) = (_density(place, log_between) for place in (upper, lower))
    in_mean, in_spread = -(high - low) / sigma, -(u * high - v * low)
    second = (
        in_spread / sigma**2 - in_mean**2,
        -(u**2 * high - v**2 * low) / sigma - in_mean - in_mean * in_spread,
        -in_spread - (u**3 * high - v**3 * low) - in_spread**2,
    )
    return (in_mean, in_spread), second


def _density(place, log_between) -> tuple[np.ndarray, np.ndarray]:
    """Normal density at a place over D, and the place with open ends made 0."""
    there = np.isfinite(place)
    finite = np.where(there, place, 0.0)
    height = np.where(there, -0.5 * finite**2 - LOG_ROOT_2PI - log_between, -np.inf)
    return np.exp(height), finite


STEPS = 100
HALVINGS = 40
DECREMENT = 1e-14
"""Rise in log-likelihood that a full Newton step still promises at the end."""
LONGEST = 4.0
"""Longest step, in units of log odds or log days."""
DEPENDENT = 1e-9
"""Relative size of what a column adds to those before it that counts as nothing."""


@dataclass(frozen=True)
class Peak:
    """Where the search ended.

    Attributes
    ----------
    parameter : ndarray
    at : Derivatives
    promised : float
        Rise that one more Newton step would promise; about 0 at a maximum.
    lowest : float
        Smallest eigenvalue of the information per course.
    """

    parameter: np.ndarray
    at: Derivatives
    promised: float
    lowest: float


def whiten(columns) -> tuple[np.ndarray, np.ndarray] | None:
    """Make columns orthogonal with mean square 1; None where they depend on each other.

    Returns
    -------
    white : ndarray, shape (n, p)
    back : ndarray, shape (p, p)
        Turns coefficients of the white columns into those of the given ones.
    """
    if not columns.shape[1]:
        return columns, np.zeros((0, 0))
    size = np.sqrt((columns**2).mean(axis=0))
    if len(columns) < columns.shape[1] or not (size > 0).all():
        return None
    orthonormal, triangle = np.linalg.qr(columns / size)
    if np.abs(np.diag(triangle)).min() < DEPENDENT * np.sqrt(len(columns)):
        return None
    root = np.sqrt(len(columns))
    back = np.linalg.inv(triangle / root) / size[:, None]
    return orthonormal * root, back


def climb(courses: Courses, start) -> Peak:
    """Go up from ``start`` until a step promises nothing.

    Directions of negative curvature are turned round, so that the search leaves
    saddles; every step is halved until the likelihood rises enough (Armijo).
    """
    parameter, at = start, derivatives(courses, start)
    for _ in range(STEPS):
        gradient = at.scores.sum(axis=0)
        step, promised, lowest = _newton(gradient, at.information, len(courses.never))
        if promised <= DECREMENT * (1.0 + abs(at.value)):
            break
        moved = _walk(courses, parameter, step, at.value, gradient @ step)
        if moved is None:
            break
        parameter, at = moved, derivatives(courses, moved)
    return Peak(parameter, at, promised, lowest)


def _newton(gradient, information, rows: int) -> tuple[np.ndarray, float, float]:
    """Give the step, half the rise it promises, and the lowest curvature a course."""
    values, axes = np.linalg.eigh(information / rows)
    floor = 1e-10 * max(float(np.abs(values).max()), 1e-300)
    along = axes.T @ gradient / rows
    step = axes @ (along / np.maximum(np.abs(values), floor))
    promised = 0.5 * float(gradient @ step)
    return step * min(1.0, LONGEST / np.linalg.norm(step)), promised, float(values[0])


def _walk(courses, parameter, step, value, slope) -> np.ndarray | None:
    """Halve the step until it pays; None where no part of it does."""
    size = 1.0
    for _ in range(HALVINGS):
        tried = parameter + size * step
        reached = log_likelihood(courses, tried)
        if np.isfinite(reached) and reached >= value + 1e-4 * size * slope:
            return tried
        size /= 2.0
    return None


Freedom = Callable[[np.ndarray], float]
"""A contrast of the parameters -> its degrees of freedom."""


def robust_cov(
    courses: Courses, parameter, at: Derivatives, codes
) -> tuple[np.ndarray, Freedom | None]:
    r"""Give the covariance at the maximum, and the degrees of freedom of contrasts.

    Parameters
    ----------
    courses : Courses
    parameter : ndarray, shape (r,)
    at : Derivatives
        At the parameter; the information has an inverse.
    codes : ndarray of int, shape (n,)
        Batch of each course, 0 .. G - 1.

    Returns
    -------
    cov : ndarray, shape (r, r)
    freedom : callable or None
        None: G - 1.

    Notes
    -----
    With :math:`M = L L'` the inverse of the information and :math:`u_g, I_g` the score
    and the information of batch g, the covariance under 40 batches is

    .. math:: \sum_g L A_g L' u_g u_g' L A_g L', \quad
              A_g = (1 - L' I_g L)^{-1/2}

    the bias-reduced sandwich of `robust.cluster_cov` with the batch's own information
    in place of the working model's; a direction that one batch alone determines drops
    out. In 100 stations of 14 batches and 600 courses these limits held the model's own
    mean of laying by 21 in 95 of 100, those with G / (G - 1) in 83.
    """
    clusters = int(codes.max()) + 1
    scores = np.zeros((clusters, len(parameter)))
    np.add.at(scores, codes, at.scores)
    if clusters >= MANY_FOR_CR1:
        bread = np.linalg.inv(at.information)
        meat = scores.T @ scores * (clusters / (clusters - 1.0))
        return bread @ meat @ bread, None
    half = np.linalg.cholesky(np.linalg.inv(at.information))
    parts = [_information(courses, parameter, codes == g) for g in range(clusters)]
    blocks = half.T @ np.stack(parts) @ half
    raised = adjusters(blocks)
    pulls = np.einsum("gij,gj->gi", raised, scores @ half) @ half.T

    def freedom(contrast) -> float:
        found = matched_df(blocks, raised @ (half.T @ np.asarray(contrast, float)))
        return float(np.clip(found, 1.0, clusters - 1.0))

    return pulls.T @ pulls, freedom


def _information(courses: Courses, parameter, rows) -> np.ndarray:
    """Give the information of some of the courses."""
    names = ("X", "Z", "log_after", "log_by", "never")
    part = replace(courses, **{name: getattr(courses, name)[rows] for name in names})
    return derivatives(part, parameter).information


SURE = 30.0
"""Log odds that stand for a chance of 1."""
CERTAIN = 12.0
"""Log odds beyond which a fitted chance is as good as 0 or 1."""
NARROW, WIDE = 0.02, 4.0
"""Deviations of the log day beyond which the data do not determine it."""
FLAT = 1e-9
"""Curvature a course below which a direction is not determined."""


@dataclass(frozen=True)
class OnsetFit:
    """The fitted model.

    Attributes
    ----------
    gamma : ndarray, shape (p,)
        Log odds of laying, per column of X.
    beta : ndarray, shape (q,)
        Log day of onset among layers, per column of Z.
    sigma : float
        Deviation of the log day.
    cov_joint : ndarray, shape (p + q + 1, p + q + 1)
        Of gamma, beta and log sigma, robust by cluster; see `onset_robust`.
    log_likelihood : float
    converged : bool
    message : str
        Empty for a plain fit; else in words what is particular or wrong about it.
    kind : str
        "mixture"; "everybody" (the chance is fixed at 1: gamma only says so, and has no
        variance); "nobody" (the chance is 0, no coefficients); "none" (no fit).
    clusters : int
        G.
    layers : int
        Courses known to have laid.
    freedom : callable or None
        A contrast of the parameters -> degrees of freedom; None: G - 1.
    """

    gamma: np.ndarray
    beta: np.ndarray
    sigma: float
    cov_joint: np.ndarray
    log_likelihood: float
    converged: bool
    message: str
    kind: str
    clusters: int = 0
    layers: int = field(default=0)
    freedom: Freedom | None = field(default=None, compare=False)

    def df(self, contrast) -> float:
        """Give the degrees of freedom of a contrast of the parameters; nan: none."""
        if self.clusters < 2:
            return np.nan
        if self.freedom is None:
            return self.clusters - 1.0
        return self.freedom(contrast)


def fit_onset(X, Z, after, by, or_never, clusters=None) -> OnsetFit:
    r"""Fit the chance of laying and the day of onset together.

    .. math:: P(\text{lays}) = \mathrm{expit}(X g), \quad
              \log T \mid \text{lays} \sim N(Z b, \sigma^2)

    by maximum likelihood: a course contributes p (F(by) - F(after)), and 1 - p more
    where it may never lay; so p (1 - F(after)) + 1 - p when right-censored.

    Parameters
    ----------
    X : array_like, shape (n, p)
    Z : array_like, shape (n, q)
        Each with its own column of ones first.
    after, by : array_like, shape (n,)
        Laying began in ``(after, by]``; ``by`` inf includes never.
    or_never : array_like of bool, shape (n,)
    clusters : array_like, shape (n,), optional
        Batches; without them, or with one, every course stands for itself.

    Returns
    -------
    OnsetFit

    Notes
    -----
    The mixture is that of Farewell VT, Biometrics 1982;38:1041-1046; the intervals as in
    survreg of R's survival.
    """
    X, Z = np.asarray(X, float), np.asarray(Z, float)
    after, by = np.asarray(after, float), np.asarray(by, float)
    or_never = np.asarray(or_never, bool)
    shape = (X.shape[-1], Z.shape[-1])
    fault = _find_fault(X, Z, after, by, or_never)
    if fault:
        return _without(shape, fault, "none")
    never = or_never | np.isposinf(by)
    layers = int((~never).sum())
    if not layers:
        return _without(shape, "no course is known to have laid", "nobody")
    if layers < shape[1] + 2:
        words = f"{layers} courses known to have laid are too few for the day's terms"
        return _without(shape, words, "none", layers)
    with np.errstate(divide="ignore"):
        ends = np.log(np.maximum(after, 0.0)), np.log(by)
    return _fit(Courses(X, Z, *ends, never, False), _codes(clusters, len(X)), layers)


def _fit(courses: Courses, codes, layers: int) -> OnsetFit:
    """Fit the mixture, and without it where everybody lays."""
    X, Z = whiten(courses.X), whiten(courses.Z)
    shape = (courses.X.shape[1], courses.Z.shape[1])
    if X is None or Z is None:
        which = "chance" if X is None else "day"
        words = f"the columns of the {which} depend on each other"
        return _without(shape, words, "none", layers)
    ends = (courses.log_after, courses.log_by, courses.never)
    if courses.never.any():
        white = Courses(X[0], Z[0], *ends, False)
        peak = climb(white, _start(white))
        eta = white.X @ peak.parameter[: shape[0]]
        if eta.min() < CERTAIN:
            return _finish(white, peak, (X[1], Z[1]), codes, eta)
    white = Courses(X[0][:, :0], Z[0], *ends, True)
    peak = climb(white, _start(white))
    found = _finish(white, peak, (np.zeros((0, 0)), Z[1]), codes, np.zeros(1))
    return _as_everybody(found, courses.X)


def _start(courses: Courses) -> np.ndarray:
    """Start from the middles of the layers' intervals and the share of layers."""
    known = ~courses.never
    first = np.maximum(np.exp(courses.log_after[known]), 0.5)
    last = np.exp(courses.log_by[known])
    middle = np.log(0.5 * (np.minimum(first, last) + last))
    spread = float(np.clip(middle.std(), 0.2, 1.0))
    ones = np.ones(len(known))
    beta = np.linalg.lstsq(courses.Z, ones * middle.mean(), rcond=None)[0]
    gamma = np.zeros(courses.X.shape[1])
    if len(gamma):
        share = np.clip(known.mean(), 0.05, 0.95)
        target = ones * np.log(share / (1.0 - share))
        gamma = np.linalg.lstsq(courses.X, target, rcond=None)[0]
    return np.concatenate([gamma, beta, [np.log(spread)]])


def _finish(white: Courses, peak: Peak, backs, codes, eta) -> OnsetFit:
    """Turn the peak into coefficients of the given columns, with robust variance."""
    p, q = len(backs[0]), len(backs[1])
    back = np.zeros((p + q + 1, p + q + 1))
    back[:p, :p], back[p : p + q, p : p + q], back[-1, -1] = *backs, 1.0
    parameter = back @ peak.parameter
    sigma = float(np.exp(parameter[-1]))
    words = _find_trouble(peak, sigma, eta)
    cov, freedom = np.full_like(back, np.nan), None
    if peak.lowest > FLAT:
        own, of_white = robust_cov(white, peak.parameter, peak.at, codes)
        cov = back @ own @ back.T
        freedom = of_white and (lambda contrast: of_white(back.T @ contrast))
    gamma, beta = parameter[:p], parameter[p : p + q]
    fit = (gamma, beta, sigma, cov, peak.at.value, not words, words, "mixture")
    counts = (int(codes.max()) + 1, int((~white.never).sum()))
    return OnsetFit(*fit, *counts, freedom)


def _find_trouble(peak: Peak, sigma: float, eta) -> str:
    """Say in words why a peak is none; empty when it is one."""
    if not NARROW < sigma < WIDE:
        how = "narrow" if sigma <= NARROW else "wide"
        return f"the spread of the days is too {how} to be told from these records"
    if np.abs(eta).max() > CERTAIN:
        return "a term of the chance of laying separates courses that all lay, or never"
    if peak.lowest <= FLAT:
        return "the records do not determine every term"
    if peak.promised > 1e-8 * (1.0 + abs(peak.at.value)):
        return "the search stopped before the largest likelihood"
    return ""


def _as_everybody(found: OnsetFit, X) -> OnsetFit:
    """Give gamma the value that says 1 in every course, without variance."""
    p = X.shape[1]
    gamma = np.linalg.lstsq(X, np.full(len(X), SURE), rcond=None)[0]
    cov = np.zeros((p + len(found.cov_joint), p + len(found.cov_joint)))
    cov[p:, p:] = found.cov_joint
    words = "every course is fitted as laying sooner or later: the chance is fixed at 1"
    if found.message:
        words = f"{words}; {found.message}"
    fit = (gamma, found.beta, found.sigma, cov, found.log_likelihood, found.converged)
    own = found.freedom
    freedom = own and (lambda contrast: own(np.asarray(contrast)[p:]))
    counts = (found.clusters, found.layers)
    return OnsetFit(*fit, words, "everybody", *counts, freedom)


def _without(shape, words: str, kind: str, layers: int = 0) -> OnsetFit:
    """Give a result that has no coefficients, and says why."""
    gamma, beta = (np.full(columns, np.nan) for columns in shape)
    cov = np.full((sum(shape) + 1, sum(shape) + 1), np.nan)
    return OnsetFit(gamma, beta, np.nan, cov, np.nan, False, words, kind, 0, layers)


def _codes(clusters, rows: int) -> np.ndarray:
    """Number the clusters; every course its own where there is only one."""
    if clusters is None:
        return np.arange(rows)
    codes = np.unique(np.asarray(clusters), return_inverse=True)[1].ravel()
    return codes if codes.max() > 0 else np.arange(rows)


def _find_fault(X, Z, after, by, or_never) -> str:
    """Say in words what forbids a fit; empty when nothing does."""
    if X.ndim != 2 or Z.ndim != 2 or not X.size or not Z.size:
        return "there are no courses or no columns"
    if len({len(X), len(Z), len(after), len(by), len(or_never)}) > 1:
        return "the columns and days are not of one length"
    if not (np.isfinite(X).all() and np.isfinite(Z).all()):
        return "a column holds what is no number"
    wrong = ~(np.isfinite(after) & (after < by) & (by > 0))
    if wrong.any():
        return f"{int(wrong.sum())} intervals are empty, or end on day 0 or before"
    return ""
