"""Does success go with the dose: the adjusted curve, a trend, the dose for a success.

The curve is the main model's, read from its table; trend and shares are by the clock of
the first insemination, as the arms are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from queen_outcomes.base.store import Store
from queen_outcomes.doses.arm_courses import Answers, ArmCourses, Comparison
from queen_outcomes.doses.comparing import success_of
from queen_outcomes.models.analysis_set import own_level
from queen_outcomes.models.closed import yes_fails
from queen_outcomes.stats.shares.clustering import (
    batch_counts,
    clustered_share,
    effective_counts,
)
from queen_outcomes.stats.shares.dose_response import (
    DoseFor,
    TrendTest,
    dose_on_curve,
    trend_test,
)

Row = dict[str, Any]
ASKED_FOR = 0.8
"""A share of success that is asked for beside the station's own."""
CURVE = """
SELECT "value" AS dose_ul, probability, low, high, courses_near
FROM adjusted
WHERE
    model = 'main' AND factor = 'dose' AND "value" IS NOT NULL
    AND outcome = $outcome AND window_days = $window_days
ORDER BY "value"
"""


@dataclass(frozen=True, eq=False)
class Curve:
    """What is asked of doses: the question, each course's dose, and whether to read it.

    ``fewest`` courses must lie at or beyond a dose for the curve to be read there; None:
    no dose for a success is asked.
    """

    question: tuple[str, int]
    dose: np.ndarray
    fewest: int | None


def curve_tables(
    store: Store, courses: ArmCourses, answers: Answers, asked: Curve
) -> dict[str, list[Row]]:
    """Give one question's curve over the dose, its trend, and the dose for a success."""
    question = asked.question
    trend = trend_of(courses, asked.dose, answers, question)
    curve = curve_rows(store, question, trend)
    figures = ("slope", "z", "p", "lack_p", "scored_by", "message")
    told = {name: getattr(trend, name) for name in figures}
    read = []
    if asked.fewest is not None:
        read = dose_for_rows(curve, answers, question, asked.fewest)
    return {
        "dose_response": curve,
        "dose_trends": [{**_place(question), **told}],
        "dose_for": read,
    }


def _place(question: tuple[str, int]) -> Row:
    return dict(zip(("outcome", "window_days"), question, strict=True))


def curve_rows(store: Store, question: tuple[str, int], trend: TrendTest) -> list[Row]:
    """Give the adjusted share of yes by dose, with P of the trend; empty without one."""
    place = _place(question)
    return [{**place, **row, "trend_p": trend.p} for row in store.records(CURVE, place)]


def meant_by_arm(courses: ArmCourses, comparisons: list[Comparison]) -> np.ndarray:
    """Give the dose that every course was meant for, in whole uL; NaN: not known.

    The median of its arm, so that a queen that died between two doses keeps both;
    without an arm, and where arms were guessed, the course's own.
    """
    dose = np.round(courses.values["dose"])
    for one in comparisons:
        for arm in one.commonest if one.intended else ():
            at = one.rows[one.arm == arm]
            known = courses.values["dose"][at]
            known = known[np.isfinite(known)]
            if len(known):
                dose[at] = np.round(np.median(known))
    return dose


def trend_of(
    courses: ArmCourses, dose: np.ndarray, answers: Answers, question: tuple[str, int]
) -> TrendTest:
    """Test a trend of success over the doses of `meant_by_arm`.

    Counts are those that graft batches leave; the doses are the scores.
    """
    success = success_of(question[0], answers.yes)
    kept = np.isfinite(success) & np.isfinite(dose)
    clusters = own_level(courses.values["graft_batch"])
    doses = np.unique(dose[kept])
    counts = []
    for one in doses:
        own = kept & (dose == one)
        share = clustered_share(*batch_counts(success[own], clusters[own]))
        counts.append(effective_counts(share))
    yes, n = np.array(counts).reshape(-1, 2).T
    return trend_test(yes, n, doses, "doses in whole uL")


def dose_for_rows(
    curve: list[Row], answers: Answers, question: tuple[str, int], fewest: int
) -> list[Row]:
    """Give the dose for the station's own share of success, and for `ASKED_FOR`.

    Read only where there are courses: an end of the curve with fewer than ``fewest``
    courses beyond it is not.
    """
    success = success_of(question[0], answers.yes)
    settled = np.isfinite(success)
    curve = within_records(curve, fewest)
    if not curve or not settled.any():
        return []
    own = float(success[settled].mean())
    place = _place(question)
    return [
        {**place, "asked": said, **_dose_row(_dose_for(share, curve, question[0]))}
        for share, said in ((own, "the station's own share"), (ASKED_FOR, "80 %"))
    ]


def within_records(curve: list[Row], fewest: int) -> list[Row]:
    """Leave out both ends of a curve up to where enough courses lie."""
    near = np.array([row["courses_near"] for row in curve], float)
    inside = np.minimum(np.cumsum(near), np.cumsum(near[::-1])[::-1]) >= fewest
    return [row for row, there in zip(curve, inside, strict=True) if there]


def _dose_for(share: float, curve: list[Row], outcome: str) -> DoseFor:
    dose, p, low, high = (
        np.array([row[name] for row in curve], float)
        for name in ("dose_ul", "probability", "low", "high")
    )
    if yes_fails(outcome):
        p, low, high = 1 - p, 1 - high, 1 - low
    return dose_on_curve(share, dose, p, low, high)


def _dose_row(found: DoseFor) -> Row:
    return {
        "success": found.success,
        "dose_ul": found.dose,
        "low": found.low,
        "high": found.high,
        "said": found.message,
    }
