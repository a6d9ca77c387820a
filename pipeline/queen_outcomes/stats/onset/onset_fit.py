"""Which courses lay, and when: a logistic chance with a lognormal day among layers.

Every course counts, also those undecided, open or left: with the set of days on which
its laying may have begun. Limits are robust and by batch. The model says what goes with
laying early or late; it must not be read as "ever" where the unlaid were left too soon.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from queen_outcomes.stats.onset.onset_likelihood import Courses
from queen_outcomes.stats.onset.onset_robust import Freedom, robust_cov
from queen_outcomes.stats.onset.onset_search import Peak, climb, whiten

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
