"""Searches the maximum of the Laplace likelihood, and measures its curvature there.

Everything is in units of about one standard error, so that steps and slopes mean the
same in every problem. Whether the search is over is judged by the slope alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import eigh
from scipy.optimize import minimize

from queen_outcomes.stats.logistic.mixed_laplace import Laplace

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
NUDGE = 2e-4
"""Step of the differences, in standard errors."""
ROUNDS = 4
"""How often deviations may be set to zero or let go again."""


@dataclass(frozen=True)
class Found:
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

    def split(self, point: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Coefficients and deviations of a point in search units."""
        return point[: self.p], point[self.p :] * self.unit

    def slope(self, point: np.ndarray) -> tuple[float, np.ndarray]:
        """Value and slope in search units; none along deviations held at zero."""
        value, by_coefficient, by_deviation = self.model.slope(*self.split(point))
        held = np.where(self.free, by_deviation * self.unit, 0.0)
        return value, np.concatenate([by_coefficient, held])

    def run(self) -> Found:
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
        curvature = self._curvature()
        covariance = self._inverse(curvature)
        self._polish(covariance)
        value, slope = self.slope(self.point)
        coefficients, deviations = self.split(self.point)
        units = np.concatenate([np.ones(self.p), self.unit])
        covariance = covariance * np.outer(units, units)
        steepest = float(np.abs(slope).max())
        return Found(coefficients, deviations, covariance, value, steepest)

    def _descend(self) -> None:
        """Go downhill.

        Zero itself is level whatever the data, so that a long step onto it would end
        the search: the bound is a little above.
        """
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
        """Central differences of the slope over what lies inside its bounds."""
        inside = self._interior()
        out = np.zeros((len(inside), len(inside)))
        modes = self.model.modes
        for row, place in enumerate(inside):
            ends = []
            for sign in (1, -1):
                point = self.point.copy()
                point[place] += sign * NUDGE
                self.model.modes = modes
                ends.append((point[place], self.slope(point)[1][inside]))
            (high, up), (low, down) = ends
            out[row] = (up - down) / (high - low)
        self.model.modes = modes
        return (out + out.T) / 2

    def _inverse(self, curvature: np.ndarray) -> np.ndarray:
        """Inverse where it is positive, spread over all parameters."""
        inside = self._interior()
        full = np.zeros((len(self.point), len(self.point)))
        size = np.sqrt(np.abs(np.diag(curvature)))
        size = np.where(size > 0, size, 1.0)
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
        for _ in range(2):
            point = self.point - covariance @ slope
            if (point[self.p :][self.free] < 0).any():
                return
            _, after = self.slope(point)
            if np.abs(after).max() >= np.abs(slope).max():
                return
            self.point, slope = point, after
