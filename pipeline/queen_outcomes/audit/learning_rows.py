"""The learning-curve CUSUM of everybody whose records begin before case 100.

Adequate is the failure rate of the station's other operators, inadequate has twice its
odds. The limit comes from the number of cases that are watched, so that it does not hang
on how many there happen to be so far.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from queen_outcomes.audit.cases import Cases
from queen_outcomes.audit.experience import numbered
from queen_outcomes.stats.series.cusum import changed_risks
from queen_outcomes.stats.series.learning import (
    LearningLimit,
    learning_curve,
    learning_limit,
)

Row = dict[str, Any]
BEGINNER = 100
"""Case number by which the records have to have begun."""
WATCHED = 100
"""Decided cases watched, from the first on record."""
FALSE_CHANCE = 0.05
"""Chance of taking one with the inadequate rate for adequate within them."""
ODDS_RATIO = 2.0


def learning_rows(
    cases: Cases, prior: Mapping[str, int], fewest: int
) -> tuple[list[Row], list[Row]]:
    """Give the curves of beginners, and what each is held against.

    Parameters
    ----------
    cases : Cases
    prior : mapping of str to int
        Operators' cases before the first record.
    fewest : int
        Decided courses, own and of others, below which there is no curve.

    Returns
    -------
    list of dict, list of dict
        A row a case; a row an operator, its ``message`` saying why there is no curve.
    """
    number = numbered(cases, prior)
    curves: list[Row] = []
    limits: list[Row] = []
    for name, own in cases.by_operator().items():
        begun = number[own]
        if not len(own) or not np.nanmin(begun) < BEGINNER:
            continue
        limit, rate = _limit(cases, name, own, fewest)
        found: list[Row] = []
        if not limit.message:
            found = _curve(name, cases.some(own), begun, limit, rate)
        curves += found
        limits.append(_said(name, begun, limit, rate, found))
    return curves, limits


def _limit(
    cases: Cases, name: str, own: np.ndarray, fewest: int
) -> tuple[LearningLimit, float]:
    """Give the limit and the adequate rate; a message where there is none."""
    others = (cases.operator != name) & np.isfinite(cases.failed)
    decided = int(np.isfinite(cases.failed[own]).sum())
    rate = float(cases.failed[others].mean()) if others.any() else np.nan
    words = ""
    if decided < fewest:
        words = f"{decided} decided cases are too few"
    elif int(others.sum()) < fewest:
        words = "too few courses of others to take a failure rate from"
    elif not 0 < rate < 1:
        words = (
            "the others' courses all ended alike, so there is no rate to compare with"
        )
    if words:
        return LearningLimit(WATCHED, np.nan, np.nan, np.nan, words), rate
    inadequate = float(changed_risks(rate, ODDS_RATIO))
    return learning_limit(inadequate, rate, WATCHED, false_chance=FALSE_CHANCE), rate


def _curve(
    name: str, own: Cases, number: np.ndarray, limit: LearningLimit, rate: float
) -> list[Row]:
    decided = np.cumsum(np.isfinite(own.failed))
    rows = np.flatnonzero(decided <= WATCHED)
    inadequate = float(changed_risks(rate, ODDS_RATIO))
    found = learning_curve(own.failed[rows], inadequate, rate, limit.limit)
    reached = found.competent_at
    return [
        {
            "operator": name,
            "case": at + 1,
            "number": int(number[at]),
            "d0": own.d0[at].item(),
            "known_on": own.known_on[at].item(),
            "failed": bool(own.failed[at]) if np.isfinite(own.failed[at]) else None,
            "value": found.value[at],
            "reached": reached is not None and at + 1 == reached,
        }
        for at in rows.tolist()
    ]


def _said(
    name: str,
    begun: np.ndarray,
    limit: LearningLimit,
    rate: float,
    curve: list[Row],
) -> Row:
    reached = [row["number"] for row in curve if row["reached"]]
    return {
        "operator": name,
        "first_number": int(np.nanmin(begun)),
        "watched": limit.horizon,
        "decided": sum(row["failed"] is not None for row in curve),
        "adequate": rate,
        "inadequate": float(changed_risks(rate, ODDS_RATIO)),
        "limit": limit.limit,
        "false_chance": limit.false_chance,
        "true_chance": limit.true_chance,
        "reached_at": reached[0] if reached else None,
        "message": limit.message,
    }
