"""The Laplace approximation to the likelihood of a crossed logistic model, with its slope.

Works on prepared rows only (see mixed_data); searches nothing and checks nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from queen_outcomes.stats.logistic.mixed_blas import dot, times
from queen_outcomes.stats.logistic.mixed_crossing import Crossing, Curvature

MOST_STEPS = 100
"""Newton steps to the modes before the point is given up."""
SETTLED = 1e-18
"""Squared length of a step, in the curvature's measure, that ends the search."""
ROUNDED = 1e-12
"""Squared length below which a step that shrinks no more is rounding."""
FAR = 1e-3
"""Squared length from which a step has to lower the penalised deviance."""
SLOW = 0.05
"""Shrinkage of the squared length at which an old curvature is worked out anew."""


@dataclass(frozen=True)
class Rows:
    """Rows of the model, those of one cell standing together.

    Attributes
    ----------
    X : ndarray, shape (n, p)
        Columns in which the plain logistic fit has unit information.
    successes, trials : ndarray, shape (n,)
        Weighted counts; neither need be whole.
    starts, lengths : ndarray of int, shape (cells,)
        Where each cell begins and how many rows it has.
    crossing : Crossing
        Which levels each cell has.
    """

    X: np.ndarray
    successes: np.ndarray
    trials: np.ndarray
    starts: np.ndarray
    lengths: np.ndarray
    crossing: Crossing

    def cell_sums(self, values: np.ndarray) -> np.ndarray:
        """Sum over the rows of each cell."""
        return np.add.reduceat(values, self.starts)


class Laplace:
    """Minus the log-likelihood, without the constants of the binomial.

    Parameters
    ----------
    rows : Rows
        The prepared rows.

    Notes
    -----
    With eta = X b + Z S u, u ~ N(0, I), and the penalised deviance
    g(u) = -sum(y eta - n log(1 + exp eta)) + |u|^2 / 2, minus the log-likelihood is
    g(m) + log|H(m)| / 2, where m minimises g and H = I + S Z'W Z S (Bates, Maechler,
    Bolker and Walker, Journal of Statistical Software 2015;67(1); Tierney and Kadane,
    Journal of the American Statistical Association 1986;81:82-86).
    """

    def __init__(self, rows: Rows):
        self.rows = rows
        self.modes = np.zeros(len(rows.crossing.owner))
        self.curvature: Curvature | None = None

    def value(self, coefficients: np.ndarray, deviations: np.ndarray) -> float:
        """Give the value alone."""
        eta = self._settle(times(self.rows.X, coefficients), deviations)
        return self._penalised(eta, self.modes) + 0.5 * self.curvature.log_determinant

    def slope(self, coefficients: np.ndarray, deviations: np.ndarray):
        """Give the value and its exact slope.

        Parameters
        ----------
        coefficients : ndarray, shape (p,)
            Of the rows' columns.
        deviations : ndarray, shape (K,)
            Standard deviations; one below zero stands for its absolute value.

        Returns
        -------
        tuple of float, ndarray of shape (p,), ndarray of shape (K,)
            Value, slope in the coefficients, slope in the deviations.
        """
        rows, cross = self.rows, self.rows.crossing
        value = self.value(coefficients, deviations)
        scale, modes = deviations[cross.owner], self.modes
        eta = self._eta(times(rows.X, coefficients), scale * modes)
        chance = expit(eta)
        spread = rows.trials * chance * (1 - chance)
        left = rows.successes - rows.trials * chance
        _, rays = self.curvature.inverse()
        order = list(cross.order)
        lever = times(rays.T, deviations[order])
        bend = 0.5 * spread * (1 - 2 * chance) * np.repeat(lever, rows.lengths)
        pulled = cross.spread(rows.cell_sums(bend))
        moved = self.curvature.solve(scale * pulled)
        answer = cross.gather(scale * moved)
        total = bend - left - spread * np.repeat(answer, rows.lengths)
        by_effect = modes * cross.spread(rows.cell_sums(total))
        by_effect += moved * cross.spread(rows.cell_sums(left))
        by_group = np.bincount(cross.owner, by_effect, len(order))
        by_group[order] += times(rays, rows.cell_sums(spread))
        return value, times(rows.X.T, total), by_group

    def mode_errors(self) -> np.ndarray:
        """Conditional standard deviations of u at the modes, shape (q,)."""
        diagonal, _ = self.curvature.inverse()
        return np.sqrt(diagonal)

    def linear_predictor(self, coefficients, deviations) -> np.ndarray:
        """X b + Z S u at the last modes, shape (n,)."""
        scale = deviations[self.rows.crossing.owner]
        return self._eta(times(self.rows.X, coefficients), scale * self.modes)

    def _eta(self, fixed, effects):
        return fixed + np.repeat(self.rows.crossing.gather(effects), self.rows.lengths)

    def _penalised(self, eta, modes) -> float:
        rows = self.rows
        fit = dot(rows.successes, eta) - dot(rows.trials, np.logaddexp(0.0, eta))
        return 0.5 * dot(modes, modes) - fit

    def _curved(self, eta, deviations) -> Curvature:
        chance = expit(eta)
        cells = self.rows.cell_sums(self.rows.trials * chance * (1 - chance))
        return Curvature(self.rows.crossing, deviations, cells)

    def _settle(self, fixed, deviations) -> np.ndarray:
        """Move the modes to the minimum; give the linear predictor there.

        Newton's method that keeps an old curvature while it serves: near the minimum a
        row pass and a solve cost far less than a factorisation.
        """
        cross, rows = self.rows.crossing, self.rows
        scale = deviations[cross.owner]
        eta = self._eta(fixed, scale * self.modes)
        curvature, last = self.curvature, np.inf
        if curvature is None:
            curvature = self._curved(eta, deviations)
        for _ in range(MOST_STEPS):
            left = rows.cell_sums(rows.successes - rows.trials * expit(eta))
            downhill = self.modes - scale * cross.spread(left)
            step = curvature.solve(downhill)
            length = dot(step, downhill)
            if length > max(SLOW * last, SETTLED):
                curvature = self._curved(eta, deviations)
                step = curvature.solve(downhill)
                length = dot(step, downhill)
            if length < SETTLED or ROUNDED > length > SLOW * last:
                break
            eta = self._move(fixed, scale, eta, step, far=length > FAR)
            last = length
        self.curvature = self._curved(eta, deviations)
        return eta

    def _move(self, fixed, scale, eta, step, *, far):
        share = 1.0
        before = self._penalised(eta, self.modes) if far else np.inf
        while True:
            modes = self.modes - share * step
            eta = self._eta(fixed, scale * modes)
            if not far or share < 1e-6 or self._penalised(eta, modes) <= before:
                break
            share /= 2
        self.modes = modes
        return eta
