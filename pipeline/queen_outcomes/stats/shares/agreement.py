"""How well checkers agree: kappa, weighted kappa, limits of agreement.

Cohen J. Educ Psychol Meas 1960;20:37-46 and Psychol Bull 1968;70:213-220; Fleiss JL,
Cohen J, Everitt BS. Psychol Bull 1969;72:323-327; Bland JM, Altman DG. Lancet
1986;i:307-310.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from queen_outcomes.stats.tails import norm_isf

Weights = Literal["none", "linear", "quadratic"]
"""How a near miss counts: not at all, by its distance, by its squared distance."""


@dataclass(frozen=True)
class Kappa:
    """Agreement of two checkers beyond chance.

    Attributes
    ----------
    n : int
        Queens that both scored.
    observed, by_chance : float
        Agreement seen, and expected of two who score independently.
    kappa, low, high : float
        (observed - by chance) / (1 - by chance), with limits from `ase`.
    ase, ase0 : float
        Standard error as it is, for limits, and if there were no agreement, for a test.
    message : str
        Why there is no kappa; empty when there is one. Figures are NaN then.
    """

    n: int
    observed: float
    by_chance: float
    kappa: float
    low: float
    high: float
    ase: float
    ase0: float
    message: str


@dataclass(frozen=True)
class AgreementLimits:
    """By how much two measurements of a queen differ.

    Attributes
    ----------
    n : int
        Queens measured twice.
    mean : float
        Mean difference, first minus second.
    sd : float
        Standard deviation of the differences.
    low, high : float
        Limits of agreement: where 95 % of the differences lie.
    message : str
        Why there are none; empty when there are. Figures are NaN then.
    """

    n: int
    mean: float
    sd: float
    low: float
    high: float
    message: str


def cohen_kappa(table, *, weights: Weights = "none", level: float = 0.95) -> Kappa:
    """Kappa of two checkers.

    Parameters
    ----------
    table : array_like, shape (k, k)
        Queens by the first checker's category (rows) and the second's (columns), both
        in the same order; that order matters for weights.
    weights : {"none", "linear", "quadratic"}
        1 - |i - j| / (k - 1), or its like with squares.
    level : float
        Coverage of the limits.

    Returns
    -------
    Kappa
        With the standard errors of Fleiss, Cohen and Everitt.
    """
    table = np.asarray(table, float)
    n = table.sum()
    if not n > 0:
        return Kappa(0, *(np.nan,) * 7, "nothing was scored twice")
    p = table / n
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    w = _weights(len(table), weights)
    observed, by_chance = float((w * p).sum()), float(rows @ w @ columns)
    if not by_chance < 1.0 - 1e-12:
        words = "both gave every queen the same score: agreement by chance is complete"
        return Kappa(int(n), observed, by_chance, *(np.nan,) * 5, words)
    kappa = (observed - by_chance) / (1.0 - by_chance)
    ase, ase0 = _errors(p, w, kappa, by_chance) / np.sqrt(n)
    reach = norm_isf((1.0 - level) / 2) * ase
    low, high = max(kappa - reach, -1.0), min(kappa + reach, 1.0)
    figures = (kappa, low, high, ase, ase0)
    return Kappa(int(n), observed, by_chance, *map(float, figures), "")


def _errors(p, w, kappa: float, by_chance: float) -> np.ndarray:
    """Root of n times the standard errors as they are and without agreement."""
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    mean = (w @ columns)[:, None] + rows @ w
    bend = (p * (w - mean * (1.0 - kappa)) ** 2).sum()
    as_is = bend - (kappa - by_chance * (1.0 - kappa)) ** 2
    none = (np.outer(rows, columns) * (w - mean) ** 2).sum() - by_chance**2
    return np.sqrt(np.maximum([as_is, none], 0.0)) / (1.0 - by_chance)


def limits_of_agreement(first, second, *, multiple: float = 1.96) -> AgreementLimits:
    """Limits of agreement of two measurements of the same queens.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        A pair with a NaN is left out.
    multiple : float
        Standard deviations from the mean to a limit of agreement.

    Returns
    -------
    AgreementLimits
        NaN, with the reason, where fewer than two queens have both.
    """
    apart = np.asarray(first, float) - np.asarray(second, float)
    apart = apart[~np.isnan(apart)]
    n = len(apart)
    if n < 2:
        words = "fewer than two queens were measured twice"
        return AgreementLimits(n, *(np.nan,) * 4, words)
    mean, sd = float(apart.mean()), float(apart.std(ddof=1))
    reach = multiple * sd
    return AgreementLimits(n, mean, sd, mean - reach, mean + reach, "")


def _weights(k: int, kind: Weights) -> np.ndarray:
    if kind == "none":
        return np.eye(k)
    apart = np.abs(np.subtract.outer(np.arange(k), np.arange(k))) / max(k - 1, 1)
    return 1.0 - (apart if kind == "linear" else apart**2)
