"""Finds the largest likelihood of the onset model by damped Newton steps.

Works on columns made orthonormal and gives the answer in those; no words, no limits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from queen_outcomes.stats.onset.onset_likelihood import (
    Courses,
    Derivatives,
    derivatives,
    log_likelihood,
)

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
