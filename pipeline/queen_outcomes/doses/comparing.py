"""One comparison and one question: every arm against the reference, by every method.

One method was fixed beforehand and carries the verdict: within blocks where arms were
given by lot, otherwise the main model with the arm in the place of dose and doses. The
others stand beside it. A difference is of *success*: where the outcome itself is the
failure (lost, superseded, drone-laying) it is that of the courses without it, so that
above 0 is better for the station whatever is asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from queen_outcomes.doses.arm_courses import Answers, ArmCourses, Comparison
from queen_outcomes.doses.arm_model import ArmAnswers, ArmModel, arm_model
from queen_outcomes.doses.differences import (
    ADJUSTED,
    SHARED,
    STRATIFIED,
    UNADJUSTED,
    ArmPair,
    Difference,
    Overlap,
    Verdict,
    find_overlap,
    simultaneous_level,
    simultaneous_p,
    stratified,
    unadjusted,
    verdict,
)
from queen_outcomes.facts.settings import Settings
from queen_outcomes.models.choose import Earlier
from queen_outcomes.models.closed import take

METHODS = (UNADJUSTED, STRATIFIED, ADJUSTED)


@dataclass(frozen=True, eq=False)
class ArmQuestion:
    """What is asked of a comparison.

    Attributes
    ----------
    reference : str
    method : str
        STRATIFIED or ADJUSTED: the one that was fixed beforehand.
    margin : float or None
    judged : bool
        Whether the primary method gives a verdict on this question.
    planned : int or None
        Closed courses that a trial's plan set for each arm.
    settings : Settings
    fixed : Earlier or None
        Factors and forms of the main model that the season has fixed.
    """

    reference: str
    method: str
    margin: float | None
    judged: bool
    planned: int | None
    settings: Settings
    fixed: Earlier | None = None


@dataclass(frozen=True, eq=False)
class Compared:
    """An arm against the reference: overlap, and the difference by each method.

    ``p_all`` is P raised for all arms of the comparison; ``closed`` counts both arms.
    """

    arm: str
    overlap: Overlap | None
    differences: dict[str, Difference]
    verdict: Verdict
    closed: int
    p_all: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class ArmComparison:
    """What one comparison says to one question; see `compare`."""

    asked: ArmQuestion
    comparison: Comparison
    answers: Answers
    arms: tuple[str, ...]
    model: ArmModel | None
    pairs: tuple[Compared, ...]


def shown_arms(comparison: Comparison, answers: Answers, fewest: int) -> list[str]:
    """Name the arms with enough closed courses to be compared, by name."""
    closed = answers.closed[comparison.rows]
    names, counts = np.unique(comparison.arm[closed], return_counts=True)
    return [str(n) for n, k in zip(names, counts, strict=True) if n and k >= fewest]


def compare(
    courses: ArmCourses, comparison: Comparison, answers: Answers, asked: ArmQuestion
) -> ArmComparison:
    """Compare all arms with the reference.

    Parameters
    ----------
    courses : ArmCourses
    comparison : Comparison
    answers : Answers
        To the question, by the clock of the first insemination.
    asked : ArmQuestion

    Returns
    -------
    ArmComparison
        ``arms`` are those that could be compared; an arm with fewer closed courses
        than are shown has a pair without differences, in words. Limits and P of each
        method hold for all arms together (Bonferroni).
    """
    fewest = asked.settings.min_shown
    arms = shown_arms(comparison, answers, fewest)
    others = [name for name in comparison.commonest if name != asked.reference]
    several = max(sum(name != asked.reference for name in arms), 1)
    data = _Data(courses, comparison, answers, asked, simultaneous_level(several))
    model = None
    if asked.reference in arms and len(arms) > 1:
        kept = data.closed_in(arms)
        rows = comparison.rows[kept]
        some = ArmAnswers(
            *(take(courses.values, rows), comparison.arm[kept], answers.yes[rows]),
            answers.answers[:, rows],
            courses.fillings.some(rows),
        )
        model = arm_model(
            *(some, answers.question[0], asked.settings, asked.fixed),
            comparison.stands_for,
        )
    pairs = [_pair(data, name, arms, model) for name in sorted(others)]
    return ArmComparison(
        *(asked, comparison, answers, tuple(arms), model, tuple(_raised(pairs)))
    )


@dataclass(frozen=True, eq=False)
class _Data:
    courses: ArmCourses
    comparison: Comparison
    answers: Answers
    asked: ArmQuestion
    level: float

    def closed_in(self, arms: Sequence[str]) -> np.ndarray:
        """Give places, within the comparison, of the closed courses of some arms."""
        closed = self.answers.closed[self.comparison.rows]
        return np.flatnonzero(closed & np.isin(self.comparison.arm, arms))


def _pair(data: _Data, arm: str, arms: list[str], model: ArmModel | None) -> Compared:
    asked = data.asked
    kept = data.closed_in([arm, asked.reference])
    first = data.comparison.arm[kept] == arm
    few = [name for name in (arm, asked.reference) if name not in arms]
    if few or model is None:
        least = asked.settings.min_shown
        said = f"{' and '.join(few)}: fewer than {least} closed courses, counts only"
        return Compared(arm, None, {}, Verdict("none", said), len(kept))
    rows = data.comparison.rows[kept]
    values = take(data.courses.values, rows)
    pair = ArmPair(
        *(data.answers.success[rows], data.answers.successes[:, rows]),
        *(first, values["graft_batch"]),
        *(data.comparison.block[kept], data.level, asked.margin),
    )
    shared = [name for name in SHARED if name not in data.comparison.stands_for]
    seen = find_overlap(values, first & pair.decided, ~first & pair.decided, shared)
    by_lot = data.comparison.randomised
    if seen.apart and not by_lot:
        found = {name: Difference(name, said=seen.apart) for name in METHODS}
        return Compared(arm, seen, found, Verdict("none", seen.apart), len(kept))
    found = {
        UNADJUSTED: unadjusted(pair),
        STRATIFIED: stratified(pair, by_lot=by_lot),
        ADJUSTED: model.difference(arm, asked.reference, data.level, asked.margin),
    }
    said = _judge(data, found[asked.method], first)
    return Compared(arm, seen, found, said, len(kept))


def _judge(data: _Data, primary: Difference, first: np.ndarray) -> Verdict:
    """Judge by the primary method, where this question is the one to be judged."""
    asked, comparison = data.asked, data.comparison
    if not asked.judged:
        return Verdict("none", "no verdict: the plan asks another question")
    if not comparison.intended:
        return Verdict("none", f"no verdict: {comparison.said}")
    if asked.margin is not None and not np.isfinite(primary.estimate):
        return Verdict("none", f"no verdict: {primary.said}")
    counts = (int(first.sum()), int((~first).sum()))
    planned = None if asked.planned is None else 2 * asked.planned
    # an arm that is ahead of its plan does not make up for one that is behind
    closed = sum(min(n, asked.planned) if asked.planned else n for n in counts)
    return verdict(primary.low, primary.high, asked.margin, closed, planned)


def _raised(pairs: list[Compared]) -> list[Compared]:
    """Raise P of each method for all arms of the comparison."""
    compared = [pair for pair in pairs if pair.differences]
    for method in METHODS:
        p = [pair.differences[method].p for pair in compared]
        for pair, raised in zip(compared, simultaneous_p(p), strict=True):
            pair.p_all[method] = float(raised)
    return pairs
