"""Averages a chance over normally distributed random intercepts, with its slopes."""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise

import numpy as np
from scipy.special import expit, roots_hermitenorm

ENOUGH = ((0.2, 8), (0.3, 10), (0.5, 12), (0.7, 16), (1.0, 24), (1.5, 48), (np.inf, 64))
"""Up to these deviations so many nodes keep the error of the mean and of both slopes below
1e-9; 64 do so up to a deviation of 2. The time goes with the nodes."""
MANY = 2_000
"""Predictors with one deviation, from which on they are read off a table."""
FEW = 8_000
"""Predictors times nodes up to which all are worked out at once."""
MESH = 1 / 64
"""Of that table, in log odds: what lies between is then within 1e-10."""


def integrate_random(eta, sd_total, *, nodes: int | None = None):
    """Mean of expit(eta + sd z) over a standard normal z.

    Parameters
    ----------
    eta : array_like
        Linear predictors without random intercepts.
    sd_total : array_like
        Root of the sum of the intercepts' variances; broadcasts against `eta`.
    nodes : int, optional
        Nodes of the Gauss-Hermite rule; as many as the largest deviation needs (`ENOUGH`)
        when not given.

    Returns
    -------
    tuple of ndarray
        The mean, its slope in `eta` and its slope in `sd_total`, each of the shape of
        `eta` and `sd_total` together. At a deviation of zero the last is zero.

    Notes
    -----
    sum_j w_j expit(eta + sd z_j), with z_j and w_j the roots and weights of the Hermite
    polynomials for the standard normal density (Abramowitz and Stegun 1964, 25.4.46).
    For a single intercept of several, d sd_total / d sd_k = sd_k / sd_total.
    """
    eta, one = np.asarray(eta, float), np.ndim(sd_total) == 0
    if one and nodes is None and eta.size >= MANY:
        first, last = np.min(eta), np.max(eta)
        if (last - first) / MESH < eta.size:  # not where it is no number
            return _read_off(eta, float(sd_total), first, last)
    eta, sd = np.broadcast_arrays(eta, np.asarray(sd_total, float))
    largest = float(np.max(np.abs(sd), initial=0.0))
    places, weights = _rule(nodes or _enough(largest))
    if eta.size * len(places) <= FEW:  # all nodes at once: calls cost more than these
        places, weights = np.array(places), np.array(weights)
        chance = expit(eta[..., None] + sd[..., None] * places)
        steep = chance * (1 - chance)
        return chance @ weights, steep @ weights, steep @ (weights * places)
    mean, by_eta, by_sd = (np.zeros(eta.shape) for _ in range(3))
    chance, part = np.empty(eta.shape), np.empty(eta.shape)
    for place, weight in zip(places, weights, strict=True):
        np.multiply(sd, place, out=part)
        part += eta
        expit(part, out=chance)
        np.multiply(chance, weight, out=part)
        mean += part
        np.subtract(1, chance, out=chance)
        part *= chance  # the slope at this node
        by_eta += part
        part *= place
        by_sd += part
    return mean, by_eta, by_sd


def _read_off(eta: np.ndarray, sd: float, first: float, last: float):
    """Read mean and slopes off cubics between predictors a mesh apart (Hermite's).

    The slope in the deviation is the deviation times the second slope in the predictor.
    """
    places, weights = (np.array(x) for x in _rule(_enough(abs(sd))))
    grid = first + MESH * np.arange(int((last - first) / MESH) + 2)
    p = expit(grid[:, None] + sd * places)
    q = 1 - p
    steep = p * q
    levels = (p, steep, steep * (q - p), steep * (1 - 6 * steep))
    at_grid = [level @ weights for level in levels]
    at, between = np.divmod((eta - first) / MESH, 1.0)
    at = at.astype(np.intp)
    mean, by_eta, twice = (
        _cubic(value, MESH * slope, at, between)
        for value, slope in pairwise(at_grid)
    )
    return mean, by_eta, sd * twice


def _cubic(value: np.ndarray, slope: np.ndarray, at: np.ndarray, between: np.ndarray):
    """Give Hermite's cubic on the intervals ``at``, ``between`` 0 and 1 within them."""
    rise, lean = np.diff(value), slope[:-1] + slope[1:]
    bent, turned = 3 * rise - lean - slope[:-1], lean - 2 * rise
    found = turned[at] * between
    found += bent[at]
    found *= between
    found += slope[at]
    found *= between
    found += value[at]
    return found


def _enough(deviation: float) -> int:
    return next((nodes for upto, nodes in ENOUGH if deviation <= upto), ENOUGH[-1][1])


@lru_cache
def _rule(nodes: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Give places and weights, the weights adding up to 1."""
    places, weights = roots_hermitenorm(nodes)
    return tuple(places.tolist()), tuple((weights / weights.sum()).tolist())
