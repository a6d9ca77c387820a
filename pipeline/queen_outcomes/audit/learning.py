"""What operators make of experience: success by case number, and beginners' learning curves.

ClosedCourses are numbered from an operator's first ever, those before the first record included.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from queen_outcomes.facts.words import percent
from queen_outcomes.models.analysis_set import own_level
from queen_outcomes.models.closed import ClosedCourses
from queen_outcomes.stats.series.cusum import changed_risks
from queen_outcomes.stats.series.learning import (
    LearningLimit,
    learning_curve,
    learning_limit,
)
from queen_outcomes.stats.shares.clustering import (
    batch_counts,
    clustered_share,
    effective_counts,
)
from queen_outcomes.stats.shares.proportions import wilson

Row = dict[str, Any]
FIRST_STRETCH = 25
"""ClosedCourses of the first stretch; the next is as long, and then each is twice as long."""


def numbered(cases: ClosedCourses, prior: Mapping[str, int]) -> np.ndarray:
    """Number each course among all that its operator ever did; NaN without an operator."""
    before = np.array([prior.get(name, 0) for name in cases.operator.tolist()], float)
    return cases.operator_case + before


def stretch_of(number: np.ndarray) -> np.ndarray:
    """Give the stretch of a case number: 0 for 1-25, 1 for 26-50, 2 for 51-100 ..."""
    past = np.maximum(np.ceil(number / FIRST_STRETCH), 1.0)
    return np.ceil(np.log2(past)).astype(int)


def stretch_ends(stretch: int) -> tuple[int, int]:
    """Give the first and last case number of a stretch."""
    last = FIRST_STRETCH * 2**stretch
    return (1 if stretch == 0 else last // 2 + 1), last


def experience_rows(
    cases: ClosedCourses, prior: Mapping[str, int], fewest: int
) -> list[Row]:
    """Give each operator's stretches with a decided course.

    Parameters
    ----------
    cases : ClosedCourses
        With risks.
    prior : mapping of str to int
        Operators' cases before the first record.
    fewest : int
        Decided courses below which a stretch has counts only.

    Returns
    -------
    list of dict
        ``share`` succeeding, its Wilson limits on the number that the courses are
        worth (Rao-Scott by graft batch, never above it), and ``expected``: what
        the average hand would have had with the courses of known risk.
    """
    number = numbered(cases, prior)
    known = cases.decided & np.isfinite(number)
    rows: list[Row] = []
    for name, own in cases.by_operator().items():
        decided = own[known[own]]
        stretches = stretch_of(number[decided])
        for stretch in np.unique(stretches).tolist():
            here = decided[stretches == stretch]
            rows.append(
                {
                    "operator": name,
                    **_ends(stretch, number[here]),
                    **_figures(cases.some(here), fewest),
                }
            )
    return rows


def _ends(stretch: int, numbers: np.ndarray) -> Row:
    first, last = stretch_ends(stretch)
    return {
        "from_case": first,
        "to_case": last,
        "middle": float(np.exp(np.log(numbers).mean())),
    }


def _figures(own: ClosedCourses, fewest: int) -> Row:
    courses, yes = len(own), float(len(own) - own.failed.sum())
    counts = {"courses": courses, "failures": int(own.failed.sum())}
    if courses < fewest:
        none = dict.fromkeys(("share", "low", "high", "expected"))
        return {**counts, **none, "shown": False}
    limits = wilson(*_worth(own))
    known = own.risk[np.isfinite(own.risk)]
    return {
        **counts,
        "share": yes / courses,
        "low": limits.low,
        "high": limits.high,
        "expected": float(1.0 - known.mean()) if len(known) else None,
        "shown": True,
    }


def _worth(own: ClosedCourses) -> tuple[float, float]:
    """Give successes and courses that these are worth; a course without a batch is one."""
    success, batch = 1.0 - own.failed, own_level(own.graft_batch)
    yes, n = batch_counts(success, batch)
    if (n == 1).all():  # no batch holds two: courses are what they are
        return float(yes.sum()), float(n.sum())
    return effective_counts(clustered_share(yes, n))


BEGINNER = 100
"""Case number by which the records have to have begun."""
WATCHED = 100
"""Decided cases watched, from the first on record."""
FALSE_CHANCE = 0.05
"""Chance of taking one with the inadequate rate for adequate within them."""
ODDS_RATIO = 2.0


def learning_rows(
    cases: ClosedCourses, prior: Mapping[str, int], fewest: int
) -> tuple[list[Row], list[Row]]:
    """Give the curves of beginners, and what each is held against.

    Parameters
    ----------
    cases : ClosedCourses
    prior : mapping of str to int
        Operators' cases before the first record.
    fewest : int
        Decided courses, own and of others, below which there is no curve.

    Returns
    -------
    list of dict, list of dict
        A row a case; a row an operator, its ``message`` saying why there is no curve.
    """
    number, failed = numbered(cases, prior), cases.failed
    curves: list[Row] = []
    limits: list[Row] = []
    for name, own in cases.by_operator().items():
        begun = number[own]
        if not len(own) or not np.nanmin(begun) < BEGINNER:
            continue
        limit, rate = _limit(failed, own, fewest)
        found: list[Row] = []
        if not limit.message:
            found = _curve(name, cases.some(own), begun, limit, rate)
        curves += found
        limits.append(_said(name, begun, limit, rate, found))
    return curves, limits


def _limit(
    failed: np.ndarray, own: np.ndarray, fewest: int
) -> tuple[LearningLimit, float]:
    """Give the limit and the adequate rate; a message where there is none."""
    others = np.isfinite(failed)
    others[own] = False
    decided = int(np.isfinite(failed[own]).sum())
    rate = float(failed[others].mean()) if others.any() else np.nan
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
    # to the tenth of a percent: a network's beginners then share a few limits
    rate = min(max(round(rate, 3), 0.001), 0.999)
    inadequate = float(changed_risks(rate, ODDS_RATIO))
    return learning_limit(inadequate, rate, WATCHED, false_chance=FALSE_CHANCE), rate


def _curve(
    name: str, own: ClosedCourses, number: np.ndarray, limit: LearningLimit, rate: float
) -> list[Row]:
    failed = own.failed
    rows = np.flatnonzero(np.cumsum(np.isfinite(failed)) <= WATCHED)
    inadequate = float(changed_risks(rate, ODDS_RATIO))
    found = learning_curve(failed[rows], inadequate, rate, limit.limit)
    reached = found.competent_at
    return [
        {
            "operator": name,
            "case": at + 1,
            "number": int(number[at]),
            "d0": own.d0[at].item(),
            "known_on": own.known_on[at].item(),
            "failed": bool(failed[at]) if np.isfinite(failed[at]) else None,
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


def learning_said(row: Row) -> str:
    """Say what a beginner's curve is held against, and how it went."""
    start = f"{row['operator']}'s records begin at case {row['first_number']}."
    if row["message"]:
        return f"{start} There is no curve: {row['message']}."
    rates = (
        f"The line climbs when the cases speak for {percent(row['adequate'])} failing "
        f"(the rate of the station's other operators) rather than for "
        f"{percent(row['inadequate'])} (twice their odds)."
    )
    if row["limit"] is None:
        return (
            f"{start} {rates} {row['watched']} cases are too few to tell the two apart."
        )
    chance = (
        f"The limit is set for {row['watched']} decided cases: at the higher rate the line "
        f"reaches it in {percent(row['false_chance'])} of such runs, at the lower in "
        f"{percent(row['true_chance'])}."
    )
    if row["reached_at"]:
        end = f"It was reached at case {row['reached_at']}."
    elif row["decided"] < row["watched"]:
        end = f"It has not been reached in {row['decided']} decided cases so far."
    else:
        end = (
            f"It was not reached in {row['decided']} decided cases; that alone does not "
            "speak for the higher rate."
        )
    return f"{start} {rates} {chance} {end}"
