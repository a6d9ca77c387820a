"""Finds the masses of largest likelihood of a mixture with known parts.

A few steps of expectation and maximisation, then constrained Newton steps; each takes
the likelihood up. Where the maximum is not unique, one of them is given.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import nnls

KKT = 1.0 + 1e-8
"""Largest directional derivative, per unit of weight, at which a fit is accepted."""
WARM_STEPS = 15
"""Steps of expectation and maximisation before the Newton steps."""
NEWTON_STEPS = 60
HALVINGS = 30
NOISE = 1e-14
"""Difference of two mean log-likelihoods that rounding alone can make."""


def maximise(holds, share, start=None) -> tuple[np.ndarray, float, int]:
    r"""Maximise :math:`\sum_r f_r \log \sum_j a_{rj} s_j` over the simplex.

    Parameters
    ----------
    holds : ndarray, shape (R, m)
        1 where observation r holds set j; every observation holds one.
    share : ndarray, shape (R,)
        Weights f, which sum to 1.
    start : ndarray, shape (m,), optional
        Masses to start from; every observation holds some of them.

    Returns
    -------
    mass : ndarray, shape (m,)
    kkt : float
        Largest directional derivative; 1 at the maximum.
    steps : int
    """
    mass = np.full(holds.shape[1], 1.0 / holds.shape[1]) if start is None else start
    for _ in range(WARM_STEPS if start is None else 0):
        mass = mass * (holds.T @ (share / (holds @ mass)))
    mass = mass / mass.sum()
    root = np.sqrt(share)
    steps = 0
    while True:
        slope = holds.T @ (share / (holds @ mass))
        kkt = float(slope.max())
        if kkt <= 1.0 + 0.01 * (KKT - 1.0) or steps == NEWTON_STEPS:
            break
        # a set without mass gains some only where the likelihood rises with it
        own = np.flatnonzero((mass > 0) | (slope > 1.0))
        moved = _newton_step(holds[:, own], share, root, mass[own])
        if moved is None:
            break
        mass = np.zeros_like(mass)
        mass[own], steps = moved, steps + 1
    return mass, kkt, steps


def _newton_step(holds, share, root, mass) -> np.ndarray | None:
    """Go to the best mixture of the quadratic form, or part of the way; None at the end.

    The form is least squares over the simplex, which Dax's trick turns into least
    squares over the positive orthant (Dax A, SIAM J Optim 1990, as in Wang 2007).
    """
    chance = holds @ mass
    form = root[:, None] * (holds / chance[:, None] - 2.0)
    form = np.vstack([form, np.ones(holds.shape[1])])
    target = np.zeros(len(form))
    target[-1] = 1.0
    found = nnls(form, target)[0]
    towards = found / found.sum() - mass
    rise = share @ ((holds @ towards) / chance)
    gain, size = share @ np.log(chance), 1.0
    for _ in range(HALVINGS):
        tried = np.maximum(mass + size * towards, 0.0)
        with np.errstate(divide="ignore"):
            reached = share @ np.log(holds @ tried)
        if reached >= gain + 0.1 * size * rise - NOISE:
            return tried / tried.sum()
        size /= 2.0
    return None
