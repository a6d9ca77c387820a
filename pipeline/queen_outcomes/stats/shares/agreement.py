"""How well checkers agree: kappa, weighted kappa, limits of agreement.

Cohen J. Educ Psychol Meas 1960;20:37-46 and Psychol Bull 1968;70:213-220; Fleiss JL,
Cohen J, Everitt BS. Psychol Bull 1969;72:323-327; Fleiss JL. Psychol Bull 1971;76:378-382;
Fleiss JL, Nee JCM, Landis JR. Psychol Bull 1979;86:974-977; Bland JM, Altman DG. Lancet
1986;i:307-310 and Stat Methods Med Res 1999;8:135-160.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.stats import norm, t

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
class SeveralRaters:
    """Agreement of several checkers of each queen beyond chance.

    Attributes
    ----------
    subjects, raters : int
        Queens, and checkers of each.
    observed, by_chance, kappa : float
        As for two; observed is the share of agreeing pairs.
    se0, z : float
        Standard error if there were no agreement (1979), and kappa over it.
    se_1971 : float
        The standard error printed in 1971, too large; for comparison only.
    by_category : ndarray, shape (k,)
        Kappa of each category against the rest; NaN for one never or always used.
    message : str
        Why there is no kappa; empty when there is one. Figures are NaN then.
    """

    subjects: int
    raters: int
    observed: float
    by_chance: float
    kappa: float
    se0: float
    z: float
    se_1971: float
    by_category: np.ndarray
    message: str


@dataclass(frozen=True)
class AgreementLimits:
    """By how much two measurements of a queen differ.

    Attributes
    ----------
    n : int
        Queens measured twice.
    mean, mean_low, mean_high : float
        Mean difference, first minus second, with 95 % limits.
    sd : float
        Standard deviation of the differences.
    low, high : float
        Limits of agreement: where 95 % of the differences lie.
    low_low, low_high, high_low, high_high : float
        95 % limits of each of them.
    message : str
        Why there are none; empty when there are. Figures are NaN then.
    """

    n: int
    mean: float
    mean_low: float
    mean_high: float
    sd: float
    low: float
    high: float
    low_low: float
    low_high: float
    high_low: float
    high_high: float
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
    reach = norm.isf((1.0 - level) / 2) * ase
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


def fleiss_kappa(counts) -> SeveralRaters:
    """Kappa of several checkers, the same number for each queen.

    Parameters
    ----------
    counts : array_like, shape (subjects, k)
        How many checkers gave each queen each category; (0, k) without queens.

    Returns
    -------
    SeveralRaters
    """
    counts = np.asarray(counts, float)
    subjects, each = len(counts), counts.sum(axis=1)
    m = float(each[0]) if subjects else 0.0
    words = _fault(counts, each)
    if words:
        none = np.full(counts.shape[1], np.nan)
        return SeveralRaters(subjects, int(m), *(np.nan,) * 6, none, words)
    share = counts.sum(axis=0) / (subjects * m)
    rest = share * (1.0 - share)
    pairs = subjects * m * (m - 1.0)
    observed = float((counts * (counts - 1.0)).sum() / pairs)
    by_chance = float((share**2).sum())
    kappa = (observed - by_chance) / float(rest.sum())
    skewed = (rest * (1.0 - 2.0 * share)).sum()
    inner = by_chance - (2 * m - 3) * by_chance**2 + 2 * (m - 2) * (share**3).sum()
    roots = np.sqrt(np.maximum([rest.sum() ** 2 - skewed, inner], 0.0))
    se0, older = map(float, np.sqrt(2.0 / pairs) / rest.sum() * roots)
    by_category = np.full(len(share), np.nan)
    apart = (counts * (m - counts)).sum(axis=0)
    np.divide(apart, pairs * rest, out=by_category, where=rest > 0)
    figures = (observed, by_chance, kappa, se0, kappa / se0, older)
    return SeveralRaters(subjects, int(m), *figures, 1.0 - by_category, "")


def _fault(counts: np.ndarray, each: np.ndarray) -> str:
    if not len(each) or each.min() < 2:
        return "every queen has to be scored by two or more"
    if (each != each[0]).any():
        return "queens were scored by different numbers of checkers"
    if (counts.sum(axis=0) > 0).sum() < 2:
        return "every score is the same: agreement by chance is complete"
    return ""


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
        A limit of agreement has variance ``s^2 (1/n + multiple^2 / (2 (n - 1)))``; its
        own limits are from t on n - 1 degrees of freedom.
    """
    apart = np.asarray(first, float) - np.asarray(second, float)
    apart = apart[~np.isnan(apart)]
    n = len(apart)
    if n < 2:
        words = "fewer than two queens were measured twice"
        return AgreementLimits(n, *(np.nan,) * 10, words)
    mean, sd = float(apart.mean()), float(apart.std(ddof=1))
    reach = float(t.ppf(0.975, n - 1)) * sd
    of_mean = reach / np.sqrt(n)
    of_limit = reach * np.sqrt(1.0 / n + multiple**2 / (2.0 * (n - 1)))
    low, high = mean - multiple * sd, mean + multiple * sd
    around = (low - of_limit, low + of_limit, high - of_limit, high + of_limit)
    shown = (mean, mean - of_mean, mean + of_mean, sd, low, high, *around)
    return AgreementLimits(n, *map(float, shown), "")


def _weights(k: int, kind: Weights) -> np.ndarray:
    if kind == "none" or k < 2:
        return np.eye(k)
    apart = np.abs(np.subtract.outer(np.arange(k), np.arange(k))) / (k - 1)
    return 1.0 - (apart if kind == "linear" else apart**2)
