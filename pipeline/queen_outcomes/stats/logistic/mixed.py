"""Logistic model with crossed random intercepts, by Laplace maximum likelihood.

Rows are checked, merged where they are alike, and scaled; the plain logistic model is
where the search starts. The search is in units of about one standard error, so that steps
and slopes mean the same in every problem; whether it is over is judged by the slope alone.
Arrays in, one frozen result out. Data that forbid a fit give a result that says so in
words; nothing here raises for bad data.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import eigh, solve_triangular
from scipy.special import expit, gammaln

from queen_outcomes.stats.logistic.mixed_laplace import (
    CellRows,
    Crossing,
    Laplace,
    cross,
)

DEPENDENT = 1e-11
"""Share of a column's variation, left by the columns before it, that counts as none."""
CERTAIN = 20.0
"""Log odds beyond which a fitted chance is 0 or 1: the sign of a separated term."""
WORTH_MERGING = 0.8
"""Share of distinct rows above which merging saves less than it costs."""
STEPS = 60
"""Newton steps of the plain fit."""


@dataclass(frozen=True)
class PreparedRows:
    """Rows ready to be fitted.

    Attributes
    ----------
    rows : CellRows
        Rows with whitened columns.
    back : ndarray, shape (p, p)
        Turns coefficients of the whitened columns into those of the caller's.
    start : ndarray, shape (p,)
        Coefficients of the plain logistic fit, whitened.
    constant : float
        What the log-likelihood has beside the part that depends on the model.
    level_information : ndarray, shape (K,)
        Information of a typical level of each grouping about its own effect.
    pull : ndarray, shape (p, p)
        Precision with which whitened coefficients are drawn to zero.
    """

    rows: CellRows
    back: np.ndarray
    start: np.ndarray
    constant: float
    level_information: np.ndarray
    pull: np.ndarray


def find_fault(X, y, codes, trials, weights, pull) -> str:
    """Say in words what forbids a fit; empty when nothing does.

    Parameters
    ----------
    X, y, codes, trials, weights, pull : ndarray
        As in `prepare`.
    """
    for words in (
        _misshapen(X, y, codes, trials, weights),
        _unnumbered(X=X, y=y, trials=trials, weights=weights),
    ):
        if words:
            return words
    if pull.shape != X.shape[1:] or not np.isfinite(pull).all() or (pull < 0).any():
        return (
            "what draws coefficients to zero is not a number from 0 on for each column"
        )
    if any(code.dtype.kind not in "iu" or code.min() < 0 for code in codes):
        return "a grouping holds codes that are not whole numbers from 0 on"
    if (
        (trials <= 0).any()
        or (weights < 0).any()
        or (y < 0).any()
        or (y > trials).any()
    ):
        return "an answer lies outside 0 to its trials, or a weight is negative"
    wins, total = float(weights @ y), float(weights @ trials)
    if wins <= 0 or wins >= total:
        return "all answers are equal"
    return ""


def _misshapen(X, y, codes, trials, weights) -> str:
    if X.ndim != 2 or not X.size or {len(y), len(trials), len(weights)} != {len(X)}:
        return (
            "the columns, answers and counts are not of one length, or there are none"
        )
    if not len(codes):
        return "no grouping was given"
    if any(len(code) != len(X) for code in codes):
        return "a grouping is not as long as the answers"
    return ""


def _unnumbered(**arrays) -> str:
    for name, values in arrays.items():
        bad = ~np.isfinite(values)
        if bad.any():
            rows = bad.any(axis=1) if values.ndim == 2 else bad
            return f"{name} holds what is no number in {int(rows.sum())} rows"
    return ""


def prepare(X, y, codes, trials, weights, pull) -> PreparedRows | str:
    """Merge, scale and start.

    Parameters
    ----------
    X : ndarray, shape (n, p)
        Columns, that of ones among them where wanted.
    y, trials, weights : ndarray, shape (n,)
        Successes, of how many, and the weight of each row in the log-likelihood.
    codes : list of ndarray of int, shape (n,)
        Levels of each grouping.
    pull : ndarray, shape (p,)
        Precision of the normal around zero that each coefficient comes from; 0: any.

    Returns
    -------
    PreparedRows or str
        Words when the columns cannot be told apart or the answers are separated.
    """
    levels = [int(code.max()) + 1 for code in codes]
    kept = weights > 0
    X, y, trials, weights = X[kept], y[kept], trials[kept], weights[kept]
    codes = [code[kept].astype(np.int64) for code in codes]
    constant = _constant(y, trials, weights)
    cells, cell = _cells(codes, levels)
    X, wins, total, cell = _merged(X, weights * y, weights * trials, cell)
    order = np.argsort(cell, kind="stable")
    X, wins, total, cell = X[order], wins[order], total[order], cell[order]
    lengths = np.bincount(cell, minlength=cells.shape[1])
    scaled, back = _scaled(X)
    words = _dependent(scaled)
    if words:
        return words
    drawn = (back.T * pull) @ back
    coefficients, information, words = _plain(scaled, wins, total, drawn)
    if words:
        return words
    root = np.linalg.cholesky(information).T
    inverse = solve_triangular(root, np.eye(len(root)))
    white = np.asfortranarray(scaled @ inverse)
    starts = np.cumsum(lengths) - lengths
    rows = CellRows(white, wins, total, starts, lengths, cross(cells, levels))
    start = root @ coefficients
    return PreparedRows(
        *(rows, back @ inverse, start, constant),
        _per_level(rows, start, len(codes)),
        inverse.T @ drawn @ inverse,
    )


def _constant(y, trials, weights) -> float:
    some = trials > 1.0
    y, trials = y[some], trials[some]
    terms = gammaln(trials + 1) - gammaln(y + 1) - gammaln(trials - y + 1)
    return float(weights[some] @ terms)


def _cells(codes, levels) -> tuple[np.ndarray, np.ndarray]:
    """Distinct combinations of levels, shape (K, cells), and each row's number."""
    key = np.zeros(len(codes[0]), dtype=np.int64)
    for code, count in zip(codes, levels, strict=True):
        if float(key.max()) * count > 2.0**62:  # else their product might wrap round
            key = np.unique(key, return_inverse=True)[1]
        key = key * count + code
    _, first, cell = np.unique(key, return_index=True, return_inverse=True)
    return np.array([code[first] for code in codes], dtype=np.int64), cell


def _merged(X, wins, total, cell):
    """Add up rows of one cell whose columns are the same to the bit."""
    mark = cell.astype(np.uint64)
    for column in (X + 0.0).T:
        mark = (mark ^ (mark >> np.uint64(29))) * np.uint64(0xBF58476D1CE4E5B9)
        mark ^= np.ascontiguousarray(column).view(np.uint64)
    _, first, which = np.unique(mark, return_index=True, return_inverse=True)
    few = len(first) < WORTH_MERGING * len(cell)
    if not few or (cell[first][which] != cell).any() or (X[first][which] != X).any():
        return X, wins, total, cell
    count = len(first)
    return (
        X[first],
        np.bincount(which, wins, count),
        np.bincount(which, total, count),
        cell[first],
    )


def _scaled(X) -> tuple[np.ndarray, np.ndarray]:
    """Centre (where a column is constant) and scale; give also the way back."""
    top, bottom = X.max(axis=0), X.min(axis=0)
    flat = np.flatnonzero((top == bottom) & (top != 0))
    size = np.maximum(np.maximum(np.abs(top), np.abs(bottom)), np.finfo(float).tiny)
    shape = X / size
    middle = np.zeros(X.shape[1])
    if len(flat):
        middle = shape.mean(axis=0)
        middle[flat[0]] = 0.0
        shape = shape - middle
    spread = np.sqrt(np.mean(shape**2, axis=0))
    # what rounding leaves of a constant column is no variation
    spread[spread < 1e-13] = 0.0
    safe = np.where(spread > 0.0, spread, 1.0)
    back = np.diag(1 / (size * safe))
    if len(flat):
        constant = flat[0]
        others = np.arange(X.shape[1]) != constant
        back[constant, others] = -(middle / safe)[others] / top[constant]
    return shape / safe, back


def _dependent(scaled) -> str:
    """Name the columns that those before them make up."""
    gram = scaled.T @ scaled / len(scaled)
    kept: list[int] = []
    lost: list[str] = []
    for j in range(len(gram)):
        rest, share = gram[j, j], np.zeros(len(kept))
        if kept:
            share = np.linalg.solve(gram[np.ix_(kept, kept)], gram[kept, j])
            rest = rest - share @ gram[kept, j]
        if rest > DEPENDENT:
            kept.append(j)
            continue
        by = [k for k, part in zip(kept, share, strict=True) if abs(part) > 1e-6]
        made = f" (made up of {', '.join(map(str, by))})" if by else " (constant)"
        lost.append(f"{j}{made}")
    if not lost:
        return ""
    return f"columns of X that follow from the columns before them: {', '.join(lost)}"


def _plain(X, wins, total, drawn) -> tuple[np.ndarray, np.ndarray, str]:
    """Plain logistic fit by Newton's method: coefficients, information, words."""
    coefficients = np.zeros(X.shape[1])
    for _ in range(STEPS):
        eta = X @ coefficients
        chance = expit(eta)
        information = (X * (total * chance * (1 - chance))[:, None]).T @ X + drawn
        slope = X.T @ (wins - total * chance) - drawn @ coefficients
        errors = 1 / np.sqrt(np.maximum(np.diag(information), 1e-300))
        if np.abs(eta).max() > CERTAIN or not np.isfinite(eta).all():
            break
        step = np.linalg.lstsq(information, slope, rcond=None)[0]
        # one whole unit of log odds at a time keeps the early steps from overshooting
        step *= min(1.0, 4.0 / max(np.abs(X @ step).max(), 1e-300))
        coefficients = coefficients + step
        if step @ slope < 1e-14:
            return coefficients, information, ""
    runaway = np.flatnonzero((np.abs(coefficients) > 3.0) | (errors > 20))
    named = ", ".join(map(str, runaway)) or "none by itself"
    words = (
        f"separation: the answers fix a chance at 0 or 1; columns running away: {named}"
    )
    return coefficients, information, words


def _per_level(rows: CellRows, start, groupings) -> np.ndarray:
    chance = expit(rows.X @ start)
    per = rows.crossing.spread(rows.cell_sums(rows.trials * chance * (1 - chance)))
    owner = rows.crossing.owner
    squares = np.bincount(owner, per**2, groupings)
    return squares / np.maximum(np.bincount(owner, per, groupings), 1e-300)


FIRST = 0.3
"""Deviation, in log odds, from which the search sets out."""
TOO_WIDE = 30.0
"""Largest deviation looked at; answers alike within every level drive it here."""
NEGLIGIBLE = 0.01
"""Deviation, against the error of one level's effect, that is taken for zero."""
GOAL = 2e-6
"""Slope, in log-likelihood a standard error, at which the quasi-Newton search stops."""
GOOD = 1e-4
"""Slope up to which the end of a search is a maximum."""
NEAR = 2e-3
"""The same for answers that differ little from those of a fit: a five hundredth of a
standard error is far less than what such answers differ by."""
NEAR_MODES = 1e-11
"""Squared length of a step of the modes that ends their search then."""
APPROACHES = 3
"""Steps with the determinant's slope as it was."""
NUDGE = 2e-4
"""Step of the differences, in standard errors."""
FINE_NUDGE = 2e-5
"""The same where only the determinant's part is differenced, to one side."""
POLISHINGS = 2
"""Newton steps from the end of the quasi-Newton search."""
ROUNDS = 4
"""How often deviations may be set to zero or let go again."""


@dataclass(frozen=True)
class Optimum:
    """End of a search.

    Attributes
    ----------
    coefficients : ndarray, shape (p,)
        Of the whitened columns.
    deviations : ndarray, shape (K,)
        Those at zero are exactly zero.
    covariance : ndarray, shape (p + K, p + K)
        Inverse curvature over coefficients and deviations above zero; 0 for the rest,
        NaN where the curvature is not positive.
    value : float
        Minus the log-likelihood, without its constant.
    slope : float
        Largest slope left, in log-likelihood a standard error.
    """

    coefficients: np.ndarray
    deviations: np.ndarray
    covariance: np.ndarray
    value: float
    slope: float


class Search:
    """One search.

    Parameters
    ----------
    model : Laplace
        What is minimised.
    start : ndarray, shape (p,)
        Coefficients of the plain fit.
    level_information : ndarray, shape (K,)
        Information of a typical level about its own effect.
    """

    def __init__(
        self, model: Laplace, start: np.ndarray, level_information: np.ndarray
    ):
        self.model = model
        self.p = len(start)
        owner = model.rows.crossing.owner
        levels = np.bincount(owner, minlength=len(level_information))
        signal = FIRST**2 * level_information
        shrinkage = signal / (1 + signal)
        self.unit = 1 / np.maximum(np.sqrt(2 * levels) * shrinkage / FIRST, 0.5)
        self.floor = NEGLIGIBLE / np.sqrt(np.maximum(level_information, 1e-6))
        self.free = np.ones(len(levels), dtype=bool)
        self.point = np.concatenate([start, FIRST / self.unit])
        self.covariance = np.full((len(self.point), len(self.point)), np.nan)

    def split(self, point: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Coefficients and deviations of a point in search units."""
        return point[: self.p], point[self.p :] * self.unit

    def slope(self, point: np.ndarray) -> tuple[float, np.ndarray]:
        """Value and slope in search units; none along deviations held at zero."""
        value, by_coefficient, by_deviation = self.model.slope(*self.split(point))
        held = np.where(self.free, by_deviation * self.unit, 0.0)
        return value, np.concatenate([by_coefficient, held])

    def run(self) -> Optimum:
        """Search, settle which deviations are zero, polish and measure the curvature."""
        for _ in range(ROUNDS):
            self._descend()
            small = self.free & (self.split(self.point)[1] < self.floor)
            if small.any():
                self._hold(small)
            let_go = self._pulled_up()
            if not small.any() and not let_go.any():
                break
            self.free |= let_go
            self.point[self.p :][let_go] = (10 * self.floor / self.unit)[let_go]
        self.covariance = self._inverse(self._curvature())
        self._polish(self.covariance)
        return self._optimum()

    def follow(
        self, covariance: np.ndarray, bent: np.ndarray | None = None
    ) -> Optimum | None:
        """Step the coefficients from a known curvature, deviations as they are.

        Quasi-Newton (BFGS): each step mends the inverse curvature by how the slope moved.
        None where that does not lead to the maximum. With ``bent``, the determinant's part
        of the slope before, the first steps take it as it was: that part moves little,
        and it alone needs a factorisation.
        """
        self.covariance, lowest = covariance, np.inf
        inside = self._interior()
        curvature = np.linalg.inv(covariance[np.ix_(inside, inside)])
        inverse = np.linalg.inv(curvature[: self.p, : self.p])
        for _ in range(0 if bent is None else APPROACHES):
            slope = self.model.lean(*self.split(self.point)) + bent
            self.point[: self.p] -= inverse @ slope
        before, falls = None, np.zeros(self.p)
        for _ in range(AGAIN):
            value, slope = self.slope(self.point)
            slope = slope[: self.p]
            steepest = float(np.abs(slope).max())
            if steepest < NEAR:
                coefficients, deviations = self.split(self.point)
                cov = self._in_units()
                return Optimum(coefficients, deviations, cov, value, steepest)
            if value > lowest:  # too far: half of the way back
                self.point[: self.p] += falls / 2
                falls = falls / 2
                continue
            if before is not None:
                inverse = _mended(inverse, -falls, slope - before)
            lowest, before = value, slope
            falls = inverse @ slope
            self.point[: self.p] -= falls
        return None

    def _optimum(self) -> Optimum:
        value, slope = self.slope(self.point)
        coefficients, deviations = self.split(self.point)
        steepest = float(np.abs(slope).max())
        return Optimum(coefficients, deviations, self._in_units(), value, steepest)

    def _in_units(self) -> np.ndarray:
        units = np.concatenate([np.ones(self.p), self.unit])
        return self.covariance * np.outer(units, units)

    def _descend(self) -> None:
        """Go downhill.

        Zero itself is level whatever the data, so that a long step onto it would end
        the search: the bound is a little above.
        """
        from scipy.optimize import minimize  # late, as `stats/tails.py` says

        low = np.where(self.free, 0.5 * self.floor / self.unit, 0.0)
        high = np.where(self.free, TOO_WIDE / self.unit, 0.0)
        bounds = [(None, None)] * self.p + list(zip(low, high, strict=True))
        options = {"maxiter": 300, "ftol": 1e-15, "gtol": GOAL, "maxcor": 30}
        found = minimize(
            self.slope, self.point, jac=True, method="L-BFGS-B", bounds=bounds,
            options=options,
        )  # fmt: skip
        self.point = found.x

    def _hold(self, which: np.ndarray) -> None:
        self.free &= ~which
        self.point[self.p :][which] = 0.0

    def _pulled_up(self) -> np.ndarray:
        """Which deviations at zero would lower the value by rising.

        The slope in a deviation is zero at zero whatever the data, so it is read a
        little above.
        """
        pulled = np.zeros(len(self.free), dtype=bool)
        coefficients, deviations = self.split(self.point)
        for k in np.flatnonzero(~self.free):
            tried = deviations.copy()
            tried[k] = self.floor[k]
            pulled[k] = (
                self.model.slope(coefficients, tried)[2][k] * self.floor[k] < -1e-7
            )
        return pulled

    def _interior(self) -> np.ndarray:
        return np.concatenate([np.arange(self.p), self.p + np.flatnonzero(self.free)])

    def _curvature(self) -> np.ndarray:
        """Curvature over what lies inside its bounds.

        Central differences of the slope along the deviations; what is left are the
        coefficients among themselves.
        """
        inside = self._interior()
        out = np.zeros((len(inside), len(inside)))
        self.slope(self.point)
        out[: self.p, : self.p] = self.model.coefficient_curvature(
            *self.split(self.point), FINE_NUDGE
        )
        modes = self.model.modes
        for row, place in enumerate(inside[self.p :], start=self.p):
            ends = []
            for sign in (1, -1):
                point = self.point.copy()
                point[place] += sign * NUDGE
                self.model.modes = modes
                ends.append((point[place], self.slope(point)[1][inside]))
            (high, up), (low, down) = ends
            out[row] = (up - down) / (high - low)
        out[: self.p, self.p :] = out[self.p :, : self.p].T
        self.model.modes = modes
        return (out + out.T) / 2

    def _inverse(self, curvature: np.ndarray) -> np.ndarray:
        """Inverse where it is positive, spread over all parameters."""
        inside = self._interior()
        full = np.zeros((len(self.point), len(self.point)))
        size = np.sqrt(np.abs(np.diag(curvature)))
        size = np.where(size > 0.0, size, 1.0)
        good = np.isfinite(curvature).all()
        if good:
            roots, axes = eigh(curvature / np.outer(size, size))
            good = roots[0] > 1e-9
        if not good:
            full[np.ix_(inside, inside)] = np.nan
            return full
        inverse = (axes / roots) @ axes.T / np.outer(size, size)
        full[np.ix_(inside, inside)] = inverse
        return full

    def _polish(self, covariance: np.ndarray) -> None:
        """Newton steps with the measured curvature, kept while the slope shrinks."""
        if not np.isfinite(covariance).all():
            return
        _, slope = self.slope(self.point)
        for _ in range(POLISHINGS):
            point = self.point - covariance @ slope
            if (point[self.p :][self.free] < 0.0).any():
                return
            _, after = self.slope(point)
            if np.abs(after).max() >= np.abs(slope).max():
                return
            self.point, slope = point, after


WIDE = 10.0
"""Deviation, in log odds, that no data of queens have: answers alike within levels."""
EXTREME = 30.0
"""Log odds beyond which a fitted chance is 0 or 1."""


@dataclass(frozen=True, eq=False)
class SearchEnd:
    """Where a search ended, for answers that are nearly the same to start from.

    Attributes
    ----------
    back : ndarray, shape (p, p)
        As in `PreparedRows`.
    point : ndarray, shape (p + K,)
        In search units.
    unit, floor : ndarray, shape (K,)
    free : ndarray of bool, shape (K,)
        Deviations that are not held at zero.
    covariance : ndarray, shape (p + K, p + K)
        In search units.
    modes : ndarray, shape (q,)
    bent : ndarray, shape (p,)
        The determinant's part of the slope.
    """

    back: np.ndarray
    point: np.ndarray
    unit: np.ndarray
    floor: np.ndarray
    free: np.ndarray
    covariance: np.ndarray
    modes: np.ndarray
    bent: np.ndarray


@dataclass(frozen=True)
class MixedFit:
    """A fitted model, or why there is none.

    Attributes
    ----------
    names : tuple of str
        The groupings, in the caller's order: that of the deviations in `cov_joint`.
    beta : ndarray, shape (p,)
        Coefficients, within levels of the groupings.
    cov_beta : ndarray, shape (p, p)
        Their covariance, from the curvature over coefficients and deviations together.
    theta_sd : dict of str to float
        Standard deviation of each grouping's intercepts, in log odds.
    cov_joint : ndarray, shape (p + K, p + K)
        Covariance of coefficients and deviations; rows and columns of deviations at
        zero are zero.
    sd_at_zero : tuple of str
        Groupings whose deviation is exactly zero: a result, not a fault.
    modes : dict of str to ndarray, shape (levels,)
        Most likely intercept of each level.
    mode_se : dict of str to ndarray, shape (levels,)
        Standard deviation of each intercept given coefficients and deviations.
    log_likelihood : float
        With the binomial's constants; NaN when there is no fit.
    converged : bool
        Whether this is a maximum with positive curvature and usable numbers.
    message : str
        Why not, or what to know; empty when there is nothing to say.
    gradient_max : float
        Largest slope left, in log-likelihood a standard error.
    end : SearchEnd or None
    """

    names: tuple[str, ...]
    beta: np.ndarray
    cov_beta: np.ndarray
    theta_sd: dict[str, float]
    cov_joint: np.ndarray
    sd_at_zero: tuple[str, ...]
    modes: dict[str, np.ndarray]
    mode_se: dict[str, np.ndarray]
    log_likelihood: float
    converged: bool
    message: str
    gradient_max: float
    end: SearchEnd | None = None


def fit_mixed(
    X: np.ndarray,
    y: np.ndarray,
    groups: Mapping[str, np.ndarray],
    *,
    trials: np.ndarray | None = None,
    weights: np.ndarray | None = None,
    pull: np.ndarray | None = None,
) -> MixedFit:
    """Fit logit P = X b + sum of one normal intercept for each grouping.

    Parameters
    ----------
    X : ndarray, shape (n, p)
        Columns, with their own column of ones.
    y : ndarray, shape (n,)
        0 or 1, or successes out of `trials`.
    groups : mapping of str to ndarray of int, shape (n,)
        Level of each row, 0 to k - 1, for each grouping.
    trials : ndarray, shape (n,), optional
        How many each row's successes are out of; one when not given.
    weights : ndarray, shape (n,), optional
        Multiplies each row's log-likelihood.
    pull : ndarray, shape (p,), optional
        Precision of the normal around zero that each coefficient is taken to come from;
        0, or not given: from anywhere.

    Returns
    -------
    MixedFit
        With NaN for numbers where there is no fit.

    Notes
    -----
    The likelihood is Laplace's approximation at spherical intercepts (Bates, Maechler,
    Bolker and Walker, Journal of Statistical Software 2015;67(1)), maximised over
    coefficients and deviations together with its exact slope; covariance is the inverse
    of its curvature over both. Laplace puts deviations low when levels have few rows.
    A coefficient that is drawn adds ``pull b^2 / 2`` to minus the log-likelihood, so that
    its covariance is what data and that normal leave together (as of penalised splines:
    Wahba G. J R Stat Soc B 1983;45:133-150).
    """
    names = tuple(groups)
    X, y = np.asarray(X, float), np.asarray(y, float)
    trials = np.ones_like(y) if trials is None else np.asarray(trials, float)
    weights = np.ones_like(y) if weights is None else np.asarray(weights, float)
    codes = [np.asarray(groups[name]) for name in names]
    pull = np.zeros(X.shape[-1]) if pull is None else np.asarray(pull, float)
    words = find_fault(X, y, codes, trials, weights, pull)
    if words:
        return _nothing(X, names, codes, words)
    try:
        ready = prepare(X, y, codes, trials, weights, pull)
        if isinstance(ready, str):
            return _nothing(X, names, codes, ready)
        ready = _eased(ready, len(names))
        model = Laplace(ready.rows, ready.pull)
        search = Search(model, ready.start, ready.level_information)
        found = search.run()
    except np.linalg.LinAlgError:
        return _nothing(X, names, codes, UNFACTORISED)
    return _result(names, ready, search, found, GOOD)


def _eased(ready: PreparedRows, groupings: int) -> PreparedRows:
    """Turn columns so that their information is one where the search sets out.

    What varies mostly between levels tells far less than the plain fit takes it to.
    """
    rows = ready.rows
    model = Laplace(rows, ready.pull)
    told = model.information(ready.start, np.full(groupings, FIRST))
    root = np.linalg.cholesky(told).T
    inverse = solve_triangular(root, np.eye(len(root)))
    return replace(
        ready,
        rows=replace(rows, X=np.asfortranarray(rows.X @ inverse)),
        back=ready.back @ inverse,
        start=root @ ready.start,
        pull=inverse.T @ ready.pull @ inverse,
    )


def _mended(inverse: np.ndarray, step: np.ndarray, rise: np.ndarray) -> np.ndarray:
    """Bring an inverse curvature into line with how a slope rose along a step (BFGS)."""
    along = step @ rise
    if not along > 0:
        return inverse
    turn = np.eye(len(step)) - np.outer(step, rise) / along
    return turn @ inverse @ turn.T + np.outer(step, step) / along


@dataclass(frozen=True, eq=False)
class RowPattern:
    """How rows fall into cells, which hangs on the groups alone.

    Attributes
    ----------
    order : ndarray of int, shape (n,)
        Rows, those of one cell together.
    lengths : ndarray of int, shape (cells,)
    crossing : Crossing
    """

    order: np.ndarray
    lengths: np.ndarray
    crossing: Crossing


def pattern_of(groups: Mapping[str, np.ndarray]) -> RowPattern:
    """Work out how rows fall into cells; ``groups`` in the order of the fit's names."""
    codes = [np.asarray(code).astype(np.int64) for code in groups.values()]
    levels = [int(code.max()) + 1 for code in codes]
    cells, cell = _cells(codes, levels)
    lengths = np.bincount(cell, minlength=cells.shape[1])
    order = np.argsort(cell, kind="stable")
    return RowPattern(order, lengths, cross(cells, levels))


UNFACTORISED = "the curvature over the intercepts could not be factorised"
AGAIN = 20
"""Steps from an old curvature, after which a search begins anew."""


def fit_again(
    before: MixedFit,
    X: np.ndarray,
    y: np.ndarray,
    groups: Mapping[str, np.ndarray],
    *,
    weights: np.ndarray | None = None,
    pull: np.ndarray | None = None,
    pattern: RowPattern | None = None,
) -> MixedFit:
    """Fit answers that differ little from those of a fit, from where that one ended.

    Parameters
    ----------
    before : MixedFit
        Of the same rows.
    X, y, groups, weights, pull
        See `fit_mixed`; a weight is 0 or above.
    pattern : RowPattern, optional
        What `pattern_of` gives of these groups, where several fits share them.

    Returns
    -------
    MixedFit
        Coefficients and intercepts of these answers, with deviations and covariance of
        the fit before: they hang little on so small a change. Where that one's curvature
        does not lead to the maximum, the search begins anew.
    """
    names, end = before.names, before.end
    weights = np.ones(len(X)) if weights is None else weights
    pull = np.zeros(X.shape[1]) if pull is None else pull
    if end is None or not np.isfinite(end.covariance).all():
        return fit_mixed(X, y, groups, weights=weights, pull=pull)
    pattern = pattern or pattern_of({name: groups[name] for name in names})
    order, lengths = pattern.order, pattern.lengths
    rows = CellRows(
        np.asfortranarray(X[order] @ end.back),
        *((weights * y)[order], weights[order]),
        *(np.cumsum(lengths) - lengths, lengths, pattern.crossing),
    )
    drawn = (end.back.T * pull) @ end.back
    model = Laplace(rows, drawn, NEAR_MODES)
    model.modes = end.modes.copy()
    search = Search(model, end.point[: X.shape[1]], np.ones(len(names)))
    search.unit, search.floor, search.free = end.unit, end.floor, end.free.copy()
    search.point = end.point.copy()
    try:
        found = search.follow(end.covariance, end.bent)
    except np.linalg.LinAlgError:
        found = None
    if found is None:
        return fit_mixed(X, y, groups, weights=weights, pull=pull)
    ready = PreparedRows(rows, end.back, end.point[: X.shape[1]], 0.0, end.unit, drawn)
    return _result(names, ready, search, found, NEAR)


def _result(names, ready, search: Search, found: Optimum, good: float) -> MixedFit:
    p, model = len(found.coefficients), search.model
    turn = np.eye(p + len(names))
    turn[:p, :p] = ready.back
    joint = turn @ found.covariance @ turn.T
    deviations = dict(zip(names, found.deviations.tolist(), strict=True))
    where = dict(zip(names, ready.rows.crossing.where, strict=True))
    errors = model.mode_errors()
    words = _doubt(names, model, found, good)
    return MixedFit(
        names=names,
        beta=ready.back @ found.coefficients,
        cov_beta=joint[:p, :p],
        theta_sd=deviations,
        cov_joint=joint,
        sd_at_zero=tuple(name for name in names if deviations[name] == 0),
        modes={k: deviations[k] * model.modes[at] for k, at in where.items()},
        mode_se={k: deviations[k] * errors[at] for k, at in where.items()},
        log_likelihood=float(ready.constant - found.value),
        converged=not words,
        message=words,
        gradient_max=found.slope,
        end=SearchEnd(
            *(ready.back, search.point, search.unit, search.floor, search.free),
            *(search.covariance, model.modes),
            # at a maximum the two parts of the slope take each other away
            -model.lean(found.coefficients, found.deviations),
        ),
    )


def _doubt(names, model: Laplace, found: Optimum, good: float) -> str:
    """Say why the end of the search is no usable maximum; empty when it is."""
    wide = [k for k, sd in zip(names, found.deviations, strict=True) if sd > WIDE]
    if wide:
        named = ", ".join(wide)
        return (
            f"a deviation runs away: answers are nearly alike within levels of {named}"
        )
    eta = model.linear_predictor(found.coefficients, found.deviations)
    if np.abs(eta).max() > EXTREME:
        return "separation: the answers fix a chance at 0 or 1"
    if not found.slope < good:
        return f"the search ended on a slope of {found.slope:.1g}"
    if not np.isfinite(found.covariance).all():
        return "the curvature at the maximum is not positive: no standard errors"
    return ""


def _nothing(X, names, codes, words: str) -> MixedFit:
    """Give a result without numbers."""
    p = X.shape[1] if X.ndim == 2 else 0
    size = p + len(names)

    def empty(code):
        whole = code.size and code.dtype.kind in "iu" and code.min() >= 0
        return np.full(int(code.max()) + 1 if whole else 0, np.nan)

    levels = dict(zip(names, map(empty, codes), strict=True))
    return MixedFit(
        names=names,
        beta=np.full(p, np.nan),
        cov_beta=np.full((p, p), np.nan),
        theta_sd=dict.fromkeys(names, float("nan")),
        cov_joint=np.full((size, size), np.nan),
        sd_at_zero=(),
        modes=levels,
        mode_se={name: values.copy() for name, values in levels.items()},
        log_likelihood=float("nan"),
        converged=False,
        message=words,
        gradient_max=float("nan"),
    )
