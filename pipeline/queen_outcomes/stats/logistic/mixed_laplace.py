"""The Laplace approximation to the likelihood of a crossed logistic model, with its slope.

First the crossing of the groupings: which levels meet, and the curvature over their
effects. Everything that depends only on who meets whom is worked out once; the grouping
with the most levels is eliminated as a diagonal block, and what remains is an arrow.
Works on prepared rows only (see `mixed`); searches nothing and checks nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import csr_array
from scipy.special import expit

from queen_outcomes.stats.logistic.mixed_sparse import (
    ArrowLayout,
    Factor,
    dot,
    plan,
    times,
)

PIECE = 2_000_000
"""Entries located at a time, so that the work space stays small."""


@dataclass(frozen=True)
class Crossing:
    """Cells, where each distinct combination of levels is one, and their pattern.

    The effects of all groupings stand in one vector u of length q: first those of the
    largest grouping, then the others in the order of the layout.

    Attributes
    ----------
    order : tuple of int
        The groupings' numbers, the largest first.
    where : tuple of ndarray
        For each grouping, in the caller's order, where its levels stand in u.
    at : ndarray of int, shape (K, cells)
        Place in u of each cell's level, groupings in `order`.
    owner : ndarray of int, shape (q,)
        Number of the grouping, in the caller's order, that an effect belongs to.
    layout : ArrowLayout
        Shape of what remains once the largest grouping is eliminated.
    entry : ndarray of int, shape (K - 1, cells)
        Where each cell falls among the entries between largest and other groupings.
    row, column : ndarray of int
        Those entries: level of the largest grouping, position in the layout.
    first, second, pair : ndarray of int
        Pairs of entries of one level of the largest grouping, and where their product
        lies in the layout.
    met : dict of (int, int) to ndarray
        Where in the layout the levels of two smaller groupings meet, by cell.
    corners : ndarray of int
        Where the layout's diagonal lies.
    """

    order: tuple[int, ...]
    where: tuple[np.ndarray, ...]
    at: np.ndarray
    owner: np.ndarray
    layout: ArrowLayout
    entry: np.ndarray
    row: np.ndarray
    column: np.ndarray
    first: np.ndarray
    second: np.ndarray
    pair: np.ndarray
    met: dict[tuple[int, int], np.ndarray]
    corners: np.ndarray

    @property
    def largest(self) -> int:
        """How many levels the largest grouping has."""
        return len(self.owner) - self.layout.unknowns

    def gather(self, effects: np.ndarray) -> np.ndarray:
        """Sum of the effects of each cell's levels, shape (cells,)."""
        return effects[self.at].sum(axis=0)

    def spread(self, cells: np.ndarray) -> np.ndarray:
        """Sum of the cells of each level, shape (q,)."""
        length = len(self.owner)
        return sum(np.bincount(at, cells, length) for at in self.at)


def cross(codes: np.ndarray, levels: list[int]) -> Crossing:
    """Work out the pattern.

    Parameters
    ----------
    codes : ndarray of int, shape (K, cells)
        Level of each cell in each grouping; no two cells alike.
    levels : list of int
        How many levels each grouping has.
    """
    order = tuple(sorted(range(len(levels)), key=lambda k: (-levels[k], k)))
    big, small = order[0], order[1:]
    sizes = [levels[k] for k in small]
    begin = np.cumsum([0, *sizes])
    total, cells = int(begin[-1]), codes.shape[1]
    raw = np.array([codes[k] + b for k, b in zip(small, begin, strict=False)])
    raw = raw.reshape(len(small), cells).astype(np.int64)
    keys, entry = np.unique(
        codes[big].astype(np.int64) * total + raw, return_inverse=True
    )
    row, column = np.divmod(keys, total)
    touch = csr_array((np.ones(len(keys)), (row, column)), shape=(levels[big], total))
    layout = plan(csr_array(touch.T @ touch)) if total else plan(csr_array((0, 0)))
    positions = layout.place[raw]
    at = np.vstack([codes[big][None], positions + levels[big]]).astype(np.intp)
    where = dict(
        zip(small, np.split(layout.place + levels[big], begin[1:-1]), strict=False)
    )
    where[big] = np.arange(levels[big])
    owner = np.empty(levels[big] + total, dtype=np.intp)
    for number, places in where.items():
        owner[places] = number
    first, second = _pairs(row)
    met = {
        (one, other): layout.locate(positions[one], positions[other])
        for one in range(len(small))
        for other in range(one, len(small))
    }
    column = layout.place[column]
    spots = np.arange(total)
    return Crossing(
        order, tuple(where[k] for k in range(len(levels))), at, owner, layout,
        entry.reshape(raw.shape), row, column, first, second,
        _located(layout, column[first], column[second]), met,
        layout.locate(spots, spots),
    )  # fmt: skip


def _pairs(row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """All pairs, each once and with itself, of sorted entries that share a row."""
    count = len(row)
    end = np.searchsorted(row, row, side="right")
    lengths = end - np.arange(count)
    first = np.repeat(np.arange(count), lengths)
    skipped = np.cumsum(lengths) - lengths
    second = np.arange(len(first)) - np.repeat(skipped - np.arange(count), lengths)
    return first, second


def _located(layout: ArrowLayout, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    out = np.empty(len(one), dtype=np.intp)
    for start in range(0, len(one), PIECE):
        part = slice(start, start + PIECE)
        out[part] = layout.locate(one[part], other[part])
    return out


class Curvature:
    """The matrix I + S Z'W Z S over the effects u, where S holds the deviations.

    Parameters
    ----------
    crossing : Crossing
        Who meets whom.
    deviations : ndarray, shape (K,)
        Standard deviation of each grouping, in the caller's order.
    weights : ndarray, shape (cells,)
        Sum of the rows' binomial variances in each cell.

    Notes
    -----
    With the blocks D (diagonal) of the largest grouping, B between it and the others,
    and A of the others, the determinant is |D| |A - B'D^-1 B|.
    """

    def __init__(self, crossing: Crossing, deviations: np.ndarray, weights: np.ndarray):
        self.crossing = c = crossing
        sd = self.sd = deviations[list(c.order)]
        big = c.largest
        self.diagonal = 1 + sd[0] ** 2 * np.bincount(c.at[0], weights, big)
        self.factor = None
        self.log_determinant = np.log(self.diagonal).sum()
        if not c.layout.unknowns:
            return
        scaled = sd[1:, None] * (sd[0] * weights)
        cross_block = np.bincount(c.entry.ravel(), scaled.ravel(), len(c.row))
        self.ratio = cross_block / self.diagonal[c.row]
        product = cross_block[c.first] * self.ratio[c.second]
        flat = -np.bincount(c.pair, product, c.layout.size)
        for (one, other), places in c.met.items():
            shared = sd[one + 1] * sd[other + 1] * weights
            flat += np.bincount(places, shared, c.layout.size)
        flat[c.corners] += 1
        self.factor = Factor(c.layout, flat)
        self.log_determinant += self.factor.log_determinant

    def solve_all(self, right: np.ndarray) -> np.ndarray:
        """Solve for several right-hand sides, shape (q, k)."""
        c = self.crossing
        big = c.largest
        upper = right[:big] / self.diagonal[:, None]
        if self.factor is None:
            return upper
        shape = (big, c.layout.unknowns)
        ratio = csr_array((self.ratio, (c.row, c.column)), shape)
        lower = self.factor.solve(right[big:] - ratio.T @ right[:big])
        return np.concatenate([upper - ratio @ lower, lower])

    def solve(self, right: np.ndarray) -> np.ndarray:
        """Solve for one right-hand side, shape (q,)."""
        c = self.crossing
        big = c.largest
        upper = right[:big] / self.diagonal
        if self.factor is None:
            return upper
        taken = np.bincount(c.column, self.ratio * right[c.row], c.layout.unknowns)
        lower = self.factor.solve(right[big:] - taken)
        upper -= np.bincount(c.row, self.ratio * lower[c.column], big)
        return np.concatenate([upper, lower])

    def inverse(self) -> tuple[np.ndarray, np.ndarray]:
        """Entries of the inverse that the slope of the determinant needs.

        Returns
        -------
        diagonal : ndarray, shape (q,)
            Its diagonal.
        rays : ndarray, shape (K, cells)
            For each grouping (the largest first) and cell, z_k' H^-1 S z: the inverse
            between that grouping's level and all of the cell's levels.
        """
        return self._inverse

    @cached_property
    def _inverse(self) -> tuple[np.ndarray, np.ndarray]:
        c, sd = self.crossing, self.sd
        if self.factor is None:
            diagonal = 1 / self.diagonal
            return diagonal, (sd[0] * diagonal)[c.at]
        flat = self.factor.inverse()
        corner = flat[c.corners]
        found = flat[c.pair]
        count = len(c.row)
        mixed = np.bincount(c.second, self.ratio[c.first] * found, count)
        mixed += np.bincount(c.first, self.ratio[c.second] * found, count)
        mixed -= self.ratio * corner[c.column]
        top = 1 / self.diagonal + np.bincount(c.row, self.ratio * mixed, c.largest)
        rays = np.zeros(c.at.shape)
        rays[0] = sd[0] * top[c.at[0]]
        for k in range(1, len(sd)):
            between = mixed[c.entry[k - 1]]
            rays[0] -= sd[k] * between
            rays[k] -= sd[0] * between
        for (one, other), places in c.met.items():
            entries = flat[places]
            rays[one + 1] += sd[other + 1] * entries
            if one != other:
                rays[other + 1] += sd[one + 1] * entries
        return np.concatenate([top, corner]), rays


MOST_STEPS = 100
"""Newton steps to the modes before the point is given up."""
SETTLED = 1e-18
"""Squared length of a step, in the curvature's measure, that ends a search for modes."""
ROUNDED = 1e-12
"""Squared length below which a step that shrinks no more is rounding."""
FAR = 1e-3
"""Squared length from which a step has to lower the penalised deviance."""
SLOW = 0.05
"""Shrinkage of the squared length at which an old curvature is worked out anew."""


@dataclass(frozen=True)
class CellRows:
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
    rows : CellRows
        The prepared rows.
    pull : ndarray, shape (p, p)
        Precision with which coefficients are drawn to zero.
    settled : float
        Squared length of a step, in the curvature's measure, that ends a search for modes.

    Notes
    -----
    With eta = X b + Z S u, u ~ N(0, I), and the penalised deviance
    g(u) = -sum(y eta - n log(1 + exp eta)) + |u|^2 / 2, minus the log-likelihood is
    g(m) + log|H(m)| / 2, where m minimises g and H = I + S Z'W Z S (Bates, Maechler,
    Bolker and Walker, Journal of Statistical Software 2015;67(1); Tierney and Kadane,
    Journal of the American Statistical Association 1986;81:82-86).
    """

    def __init__(self, rows: CellRows, pull: np.ndarray, settled: float = SETTLED):
        self.rows, self.pull, self.settled = rows, pull, settled
        self.modes = np.zeros(len(rows.crossing.owner))
        self.curvature: Curvature | None = None

    def value(self, coefficients: np.ndarray, deviations: np.ndarray) -> float:
        """Give the value alone."""
        eta = self._settle(times(self.rows.X, coefficients), deviations)
        value = self._penalised(eta, self.modes) + 0.5 * self.curvature.log_determinant
        return value + 0.5 * dot(coefficients, times(self.pull, coefficients))

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
        lever = self._lever(self.curvature)
        bend = 0.5 * spread * (1 - 2 * chance) * np.repeat(lever, rows.lengths)
        pulled = cross.spread(rows.cell_sums(bend))
        moved = self.curvature.solve(scale * pulled)
        answer = cross.gather(scale * moved)
        total = bend - left - spread * np.repeat(answer, rows.lengths)
        by_effect = modes * cross.spread(rows.cell_sums(total))
        by_effect += moved * cross.spread(rows.cell_sums(left))
        by_group = np.bincount(cross.owner, by_effect, len(order))
        by_group[order] += times(rays, rows.cell_sums(spread))
        by_coefficient = times(rows.X.T, total) + times(self.pull, coefficients)
        return value, by_coefficient, by_group

    def coefficient_curvature(
        self, coefficients: np.ndarray, deviations: np.ndarray, step: float
    ) -> np.ndarray:
        """Second derivatives in the coefficients, modes moving along; (p, p).

        Parameters
        ----------
        coefficients : ndarray, shape (p,)
        deviations : ndarray, shape (K,)
            At which the value was last asked for.
        step : float
            Of the differences, in coefficients.

        Notes
        -----
        With P = d eta / d b = X - Z S H^-1 S Z'W X, and h the leverage z'S H^-1 S z, the
        penalised deviance has X'WP, and the determinant
        P'(W'' h / 2 - W' a)P + P'W' dh / 2, where W' and W'' are derivatives in eta and
        a = Z S H^-1 S Z'(W' h / 2). All is exact but dh, which is a difference between
        two selected inverses: it is the smallest part, and one factorisation is cheaper
        than finding new modes.
        """
        rows, cross, curvature = self.rows, self.rows.crossing, self.curvature
        chance = expit(self.linear_predictor(coefficients, deviations))
        spread = rows.trials * chance * (1 - chance)
        first = spread * (1 - 2 * chance)
        second = spread * (1 - 6 * chance * (1 - chance))
        along, scale = self._along(spread, deviations), deviations[cross.owner]
        lever = self._lever(curvature)
        bend = 0.5 * first * np.repeat(lever, rows.lengths)
        answer = scale * curvature.solve(scale * cross.spread(rows.cell_sums(bend)))
        bent = 0.5 * second * np.repeat(lever, rows.lengths)
        bent -= first * np.repeat(cross.gather(answer), rows.lengths)
        found = times(rows.X.T, spread[:, None] * along) + self.pull
        found += times(along.T, bent[:, None] * along)
        weights = rows.cell_sums(spread)
        turned = np.column_stack([rows.cell_sums(first * x) for x in along.T])
        for k, change in enumerate(turned.T):
            near = Curvature(cross, deviations, weights + step * change)
            found[k] += times(turned.T, self._lever(near) - lever) / (2 * step)
        return found

    def lean(self, coefficients: np.ndarray, deviations: np.ndarray) -> np.ndarray:
        """Take one Newton step of the modes; give the slope of the penalised deviance, (p,).

        The curvature stays as it is known.
        """
        cross, rows = self.rows.crossing, self.rows
        scale, fixed = deviations[cross.owner], times(rows.X, coefficients)
        eta = self._eta(fixed, scale * self.modes)
        if self.curvature is None:
            self.curvature = self._curved(eta, deviations)
        left = rows.cell_sums(rows.successes - rows.trials * expit(eta))
        self.modes = self.modes - self.curvature.solve(
            self.modes - scale * cross.spread(left)
        )
        eta = self._eta(fixed, scale * self.modes)
        left = rows.successes - rows.trials * expit(eta)
        return times(self.pull, coefficients) - times(rows.X.T, left)

    def information(
        self, coefficients: np.ndarray, deviations: np.ndarray
    ) -> np.ndarray:
        """Second derivatives of the penalised deviance alone, modes moving along; (p, p)."""
        self.value(coefficients, deviations)
        chance = expit(self.linear_predictor(coefficients, deviations))
        spread = self.rows.trials * chance * (1 - chance)
        along = self._along(spread, deviations)
        return times(self.rows.X.T, spread[:, None] * along) + self.pull

    def _along(self, spread: np.ndarray, deviations: np.ndarray) -> np.ndarray:
        """How linear predictors move with each coefficient, modes moving along; (n, p)."""
        rows, cross = self.rows, self.rows.crossing
        scale = deviations[cross.owner][:, None]
        pulled = np.column_stack(
            [cross.spread(rows.cell_sums(spread * column)) for column in rows.X.T]
        )
        moved = scale * self.curvature.solve_all(scale * pulled)
        return rows.X - np.repeat(moved[cross.at].sum(axis=0), rows.lengths, axis=0)

    def _lever(self, curvature: Curvature) -> np.ndarray:
        """Leverage of each cell, z'S H^-1 S z."""
        return times(curvature.inverse()[1].T, curvature.sd)

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
            if length > max(SLOW * last, self.settled):
                curvature = self._curved(eta, deviations)
                step = curvature.solve(downhill)
                length = dot(step, downhill)
            if length < self.settled or ROUNDED > length > SLOW * last:
                break
            eta = self._move(fixed, scale, eta, step, far=length > FAR)
            last = length
        self.curvature = self._curved(eta, deviations)
        return eta

    def _move(self, fixed, scale, eta, step, *, far):
        start, share = self.modes, 1.0
        before = self._penalised(eta, start) if far else None
        while True:
            self.modes = start - share * step
            eta = self._eta(fixed, scale * self.modes)
            if share < 1e-6 or not (far and self._penalised(eta, self.modes) > before):
                return eta
            share /= 2
