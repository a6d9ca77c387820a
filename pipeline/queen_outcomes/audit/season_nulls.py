"""What a season without differences may hold: drawn from courses that closed before it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import expit, logit

from queen_outcomes.models.closed import BATCHES, ClosedCourses
from queen_outcomes.models.risks import RiskModel
from queen_outcomes.stats.series.null_seasons import GRID, Unknowns
from queen_outcomes.stats.shares.shared_effects import conditional_logits

TAU, TAU_SEASONS = 0.4, 3
"""Deviation of seasons' log odds (a judgement), and how many seasons it weighs as."""
OWN = 0.5
"""Deviation between operators' log odds that an own past is drawn by (a judgement)."""
RIDGE = 1e-3
"""Share added to each coefficient's information, so that what data do not tell is finite."""
SPENT = 0.8
"""Share of the stated chance of a false signal that limits are set by.

No null season knows what the model that draws it has wrong. Over 2,150 stations that others
draw, a quarter of them in hard seasons, limits that spend the whole chance signalled up to
1.33 times as often as stated; where null seasons are the truth they signal as often as
stated (`tests/benchmarks/false_signals.py`).
"""
SMALLEST = 1e-4
"""Risk nearest to 0 and 1 that a course is followed by."""


@dataclass(frozen=True)
class OwnPast:
    """An operator's earlier seasons.

    Attributes
    ----------
    courses : int
        Decided and of known risk.
    change, change_se : float
        Log odds of failing against the average hand, drawn to zero; NaN without courses.
    planned : int
        Courses of this season that the limits hold for.
    """

    courses: int
    change: float
    change_se: float
    planned: int


def season_numbers(
    cases: ClosedCourses, model: RiskModel
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give log odds of failing averaged over batches, given batches, and the columns."""
    risk = np.clip(cases.risk, SMALLEST, 1 - SMALLEST)
    spread = np.sqrt(np.sum(model.batch_deviations() ** 2))
    columns = model.columns(cases.values)
    columns = np.nan_to_num(columns if model.is_yes_failure else -columns)
    return logit(risk), conditional_logits(risk, spread), columns


def unknowns_of(
    earlier: ClosedCourses, model: RiskModel, *, is_known: bool
) -> Unknowns:
    """Give what null seasons draw, from the counted courses of earlier seasons.

    Parameters
    ----------
    earlier : ClosedCourses
    model : RiskModel
        Fitted to them.
    is_known : bool
        The season's own courses gave the model: its coefficients are not drawn.

    Notes
    -----
    Coefficients vary as those of a logistic model whose courses share batches and hands:
    A^-1 (A + sum_k sd_k^2 M_k' M_k) A^-1, A the information and M_k its sums by level.
    A batch variance v has the standard error sqrt(2 / sum_g (i_g / (1 + i_g v))^2), i_g
    the information of batch g.
    """
    _, _, columns = season_numbers(earlier, model)
    steep = earlier.risk * (1 - earlier.risk)
    within = columns.T @ (steep[:, None] * columns)
    within += RIDGE * np.diag(np.diag(within) + RIDGE)
    between = within.copy()
    for kind in (*BATCHES, "operator"):
        deviation = model.deviations.get(kind, 0.0)
        sums = _by_level(earlier.values[kind], steep[:, None] * columns)
        between += deviation**2 * sums.T @ sums
    inverse = np.linalg.inv(within)
    values, vectors = np.linalg.eigh(inverse @ between @ inverse)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    variances = model.batch_deviations() ** 2
    ses = [
        _variance_se(_by_level(earlier.values[kind], steep[:, None])[:, 0], variance)
        for kind, variance in zip(BATCHES, variances.tolist(), strict=True)
    ]
    tau = season_deviation(earlier, variances)
    return Unknowns(tau, root[:, :0] if is_known else root, variances, np.array(ses))


def _by_level(names: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Add up rows by level; those without a level are left out."""
    levels, codes = np.unique(names[names != ""], return_inverse=True)
    sums = np.zeros((len(levels), values.shape[1]))
    np.add.at(sums, codes, values[names != ""])
    return sums


def _variance_se(information: np.ndarray, variance: float) -> float:
    """Give a batch variance's standard error; 0 where no kind of batch is recorded."""
    squares = np.sum((information / (1 + information * variance)) ** 2)
    return float(np.sqrt(2 / squares)) if squares > 0 else 0.0


def season_deviation(earlier: ClosedCourses, variances: np.ndarray) -> float:
    """Give how far seasons deviate: the judgement `TAU`, and what past seasons tell.

    From three seasons on their squared shifts, less what chance and batches give, are
    averaged with it.
    """
    seasons = np.unique(earlier.season)
    if len(seasons) < TAU_SEASONS:
        return TAU
    excess = []
    for name in seasons.tolist():
        own = earlier.some(np.flatnonzero(earlier.season == name))
        over, information, variance = _deviation_of(own, variances)
        excess.append((over**2 - variance) / information**2)
    told = max(0.0, sum(excess) / (len(excess) - 1))
    weight = len(excess) - 1
    squared = (TAU_SEASONS * TAU**2 + weight * told) / (TAU_SEASONS + weight)
    return float(np.sqrt(squared))


def _deviation_of(
    own: ClosedCourses, variances: np.ndarray
) -> tuple[float, float, float]:
    """Give failures beyond the expected, their information, and variance with batches."""
    steep = own.risk * (1 - own.risk)
    variance = steep.sum()
    for kind, of_kind in zip(BATCHES, variances.tolist(), strict=True):
        sums = _by_level(getattr(own, kind), steep[:, None])
        variance += of_kind * float((sums**2).sum())
    return float((own.failed - own.risk).sum()), float(steep.sum()), float(variance)


def own_past(earlier: ClosedCourses, model: RiskModel) -> dict[str, Any]:
    """Give an operator's change of log odds in earlier seasons, drawn to zero.

    Parameters
    ----------
    earlier : ClosedCourses
        The operator's counted courses.
    model : RiskModel

    Notes
    -----
    The likeliest change with a normal prior of deviation `OWN`, the courses' information
    divided by how much wider their failures vary because of batches.
    """
    if not len(earlier):
        return {"courses": 0, "change": np.nan, "change_se": np.nan}
    _, steep, variance = _deviation_of(earlier, model.batch_deviations() ** 2)
    wider = variance / steep
    expected = expit(logit(earlier.risk)[:, None] + GRID).sum(axis=0)
    drawn = expected + GRID * wider / OWN**2
    change = float(np.interp(earlier.failed.sum(), drawn, GRID))
    spread = (steep / wider + OWN**-2) ** -0.5
    return {"courses": len(earlier), "change": change, "change_se": float(spread)}
