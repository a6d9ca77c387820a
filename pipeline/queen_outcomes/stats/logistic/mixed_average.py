"""Averages a chance over normally distributed random intercepts, with its slopes."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import expit, roots_hermitenorm

NODES = 64
"""Nodes at which the error stays below 1e-9 up to a deviation of 2."""


def integrate_random(eta, sd_total, *, nodes: int = NODES):
    """Mean of expit(eta + sd z) over a standard normal z.

    Parameters
    ----------
    eta : array_like
        Linear predictors without random intercepts.
    sd_total : array_like
        Root of the sum of the intercepts' variances; broadcasts against `eta`.
    nodes : int
        Nodes of the Gauss-Hermite rule.

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
    places, weights = _rule(nodes)
    eta, sd = np.broadcast_arrays(np.asarray(eta, float), np.asarray(sd_total, float))
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


@lru_cache
def _rule(nodes: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Give places and weights, the weights adding up to 1."""
    places, weights = roots_hermitenorm(nodes)
    return tuple(places.tolist()), tuple((weights / weights.sum()).tolist())
