"""How long a CUSUM runs: average run lengths, and the chance of a signal among n cases.

A second opinion on the simulated limits of running series, for independent cases.

Brook D, Evans DA. Biometrika 1972;59:539-549 (the Markov chain); Steiner SH, Cook RJ,
Farewell VT, Treasure T. Biostatistics 2000;1:441-452 (risk-adjusted). Weights are split
between two neighbouring states so that their mean is kept: rounding them to the nearest
state makes the run length jump with the number of states.
"""

from __future__ import annotations

import numpy as np
from queen_outcomes.stats.series.cusum import changed_risks, weights
from scipy.linalg import LinAlgError, solve_banded
from scipy.optimize import brentq

FIRST_CELLS, MOST_CELLS = 500, 4000
"""States of the chain at first and at most; doubled while the answer moves."""
STABLE = 1e-4
"""Relative change of the run length that ends the doubling."""
LONGEST = 1e12
"""Run length taken for infinite."""


def average_run_length(
    risks, shares, limit: float, *, odds_ratio: float = 2.0, change: float = 1.0
) -> float:
    """Average number of cases to a signal of a risk-adjusted CUSUM.

    Parameters
    ----------
    risks, shares : array_like, shape (k,)
        Risks of failure that cases have, and the share of cases with each.
    limit : float
        Limit, above 0.
    odds_ratio : float
        What the CUSUM looks for.
    change : float
        What the odds are truly multiplied by; 1 for nothing changed.

    Returns
    -------
    float
        Infinite when the limit is practically never reached.
    """
    cells, last = FIRST_CELLS, np.nan
    while True:
        moves = _moves(risks, shares, limit / cells, odds_ratio, change)
        now = _chain_run_length(*moves, cells)
        settled = now == last or abs(now - last) <= STABLE * now
        if settled or cells >= MOST_CELLS:
            return now
        cells, last = 2 * cells, now


def limit_for_run_length(
    risks, shares, wanted: float, *, odds_ratio: float = 2.0
) -> float:
    """Limit at which the average run length without change is as wanted.

    Parameters
    ----------
    risks, shares : array_like, shape (k,)
        Risks and the share of cases with each.
    wanted : float
        Average number of cases to a false signal, above 1.
    odds_ratio : float
        What the CUSUM looks for.

    Returns
    -------
    float
    """

    def over(limit: float, cells: int = 2 * FIRST_CELLS) -> float:
        moves = _moves(risks, shares, limit / cells, odds_ratio, 1.0)
        return float(np.log(_chain_run_length(*moves, cells) / wanted))

    low = high = 1.0
    while over(high) < 0:
        high *= 1.5
    while over(low) > 0:
        low /= 1.5
    return brentq(over, low, high, xtol=1e-3) if low < high else low


def lattice_run_length(risk: float, successes_per_failure: int, failures: int) -> float:
    """Exact average run length of a Bernoulli CUSUM on whole numbers.

    Parameters
    ----------
    risk : float
        Chance of a failure.
    successes_per_failure : int
        m: a failure adds m - 1, a success takes 1 away.
    failures : int
        h: a signal at m h or more, starting from 0.

    Returns
    -------
    float
        Reynolds MR, Stoumbos ZG. J Qual Technol 1999;31:87-108.
    """
    steps = np.array([successes_per_failure - 1, -1])
    chances = np.array([risk, 1.0 - risk])
    return _chain_run_length(steps, chances, successes_per_failure * failures)


def lattice_alternative(risk: float, successes_per_failure: int) -> float:
    """Raised risk for which a Bernoulli CUSUM has whole steps.

    ``log((1-p0)/(1-p1))`` is then the 1/m-th part of ``log(p1(1-p0)/(p0(1-p1)))``; m
    has to be below 1 / risk.
    """
    m = successes_per_failure

    def over(p: float) -> float:
        down = np.log1p(-risk) - np.log1p(-p)
        return float(np.log(p / risk) + (1 - m) * down)

    return brentq(over, 1.0 / m, 1.0 - 1e-12, xtol=1e-15)


def signal_chance(
    risks, limit: float, *, odds_ratio: float = 2.0, change: float = 1.0, cells=2000
) -> np.ndarray:
    """Chance that there was a signal by each case, for cases of varying risk.

    Parameters
    ----------
    risks : array_like, shape (n,)
        Risk of each case, in order.
    limit : float
        Limit, above 0.
    odds_ratio, change : float
        What the CUSUM looks for, and what the odds are truly multiplied by.
    cells : int
        States of the chain.

    Returns
    -------
    ndarray, shape (n,)
    """
    risks = np.asarray(risks, float)
    width = limit / cells
    state = np.zeros(cells)
    state[0] = 1.0
    reached = np.zeros(len(risks))
    for case, risk in enumerate(risks):
        steps, chances = _moves(risk, 1.0, width, odds_ratio, change)
        state, signals = _advance(state, steps, chances)
        reached[case] = signals
    return np.cumsum(reached)


def _moves(risks, shares, width: float, odds_ratio: float, change: float):
    """Steps of the chain in whole states, and their chances."""
    risks, shares = np.atleast_1d(risks).astype(float), np.atleast_1d(shares)
    true = changed_risks(risks, change)
    success, failure = weights(risks, odds_ratio)
    place = np.concatenate([success, failure]) / width
    chance = np.concatenate([(1.0 - true) * shares, true * shares]) / np.sum(shares)
    low = np.floor(place)
    upper = place - low
    steps = np.concatenate([low, low + 1]).astype(int)
    steps, where = np.unique(steps, return_inverse=True)
    split = np.concatenate([chance * (1.0 - upper), chance * upper])
    return steps, np.bincount(where, split, len(steps))


def _chain_run_length(steps: np.ndarray, chances: np.ndarray, cells: int) -> float:
    """Expected number of steps from state 0 to state `cells` or above."""
    up = int(np.clip(steps.max(), 0, cells - 1))
    down = int(np.clip(-steps.min(), 0, cells - 1))
    bands = np.zeros((up + down + 1, cells))
    bands[up] = 1.0
    for step, chance in zip(steps.tolist(), chances.tolist(), strict=True):
        if abs(step) < cells:
            bands[up - step, max(step, 0) : cells + min(step, 0)] -= chance
        # a sum that would fall below 0 is set to 0
        bands[up : up + min(max(-step, 0), cells), 0] -= chance
    try:
        length = float(solve_banded((down, up), bands, np.ones(cells))[0])
    except LinAlgError:
        return np.inf
    return length if 0.0 < length < LONGEST else np.inf


def _advance(state: np.ndarray, steps: np.ndarray, chances: np.ndarray):
    """Move the chances of the states by one case; give them and that of a signal."""
    cells = len(state)
    moved, signals = np.zeros(cells), 0.0
    for step, chance in zip(steps.tolist(), chances.tolist(), strict=True):
        if step >= 0:
            stay = max(cells - step, 0)
            moved[cells - stay :] += chance * state[:stay]
            signals += chance * state[stay:].sum()
        else:
            floor = min(-step, cells)
            moved[: cells - floor] += chance * state[floor:]
            moved[0] += chance * state[:floor].sum()
    return moved, signals
