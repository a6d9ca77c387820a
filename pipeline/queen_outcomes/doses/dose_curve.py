"""Does success go with the dose: the adjusted curve, a trend, the dose for a success.

The curve is the main model's, read from its table; trend and shares are by the clock of
the first insemination, as the arms are.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.doses.arm_courses import Answers, ArmCourses, Comparison
from queen_outcomes.doses.differences import filled_counts
from queen_outcomes.facts.outcomes import question_columns
from queen_outcomes.models.analysis_set import own_level
from queen_outcomes.models.closed import yes_fails
from queen_outcomes.stats.shares.dose_response import (
    DoseFor,
    TrendTest,
    dose_on_curve,
    trend_test,
)

Row = dict[str, Any]
ASKED_FOR = 0.8
"""A share of success that is asked for beside the station's own."""


def curve_tables(
    store: Store,
    courses: ArmCourses,
    answers: Answers,
    dose: np.ndarray,
    fewest: int | None,
) -> dict[str, list[Row]]:
    """Give one question's curve over the dose, its trend, and the dose for a success.

    Parameters
    ----------
    store : Store
        Holds ``adjusted``.
    courses : ArmCourses
    answers : Answers
    dose : ndarray, shape (n,)
        As `meant_by_arm` gives it.
    fewest : int or None
        Courses that must lie at or beyond a dose for the curve to be read there; None:
        no dose for a success is asked.
    """
    place = question_columns(answers.question)
    trend = trend_of(courses, dose, answers)
    sql = resources.read("sql", "08_doses", "dose_curve.sql")
    curve = [{**place, **r, "trend_p": trend.p} for r in store.records(sql, place)]
    figures = ("slope", "z", "p", "lack_p", "scored_by", "message")
    told = {name: getattr(trend, name) for name in figures}
    return {
        "dose_response": curve,
        "dose_trends": [{**place, **told}],
        "dose_for": [] if fewest is None else dose_for_rows(curve, answers, fewest),
    }


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


def trend_of(courses: ArmCourses, dose: np.ndarray, answers: Answers) -> TrendTest:
    """Test a trend of success over the doses of `meant_by_arm`, within seasons.

    A season that was harder than another, and had other doses, is no trend. Counts are
    those that graft batches and gaps leave of each dose; the doses are the scores.
    """
    filled = answers.successes
    at_risk = np.isfinite(filled)
    kept = np.isfinite(dose) & at_risk.any(axis=0)
    clusters = own_level(courses.values["graft_batch"])
    season = courses.values["year"]
    seasons = np.unique(season[kept])
    cells = []
    for one in np.unique(dose[kept]):
        own = kept & (dose == one)
        counted = filled_counts(filled[:, own], clusters[own])
        worth = counted.n / at_risk[:, own].sum()
        for stratum, year in enumerate(seasons):
            rows = own & (season == year)
            part = worth * at_risk[:, rows].sum()
            cells.append((worth * np.nansum(filled[:, rows]), part, one, stratum))
    yes, n, doses, strata = np.array(cells).reshape(-1, 4).T
    each = ", each season by itself" if len(seasons) > 1 else ""
    return trend_test(yes, n, doses, f"doses in whole uL{each}", strata)


def dose_for_rows(curve: list[Row], answers: Answers, fewest: int) -> list[Row]:
    """Give the dose for the station's own share of success, and for `ASKED_FOR`.

    Read only where there are courses: an end of the curve with fewer than ``fewest``
    courses beyond it is not.
    """
    filled = answers.successes
    curve = within_records(curve, fewest)
    if not curve or not np.isfinite(filled).any():
        return []
    own = float(np.mean(np.nanmean(filled, axis=1)))
    rows = []
    for share, said in ((own, "the station's own share"), (ASKED_FOR, "80 %")):
        found = _dose_for(share, curve, answers.question[0])
        rows.append(
            {
                **question_columns(answers.question),
                "asked": said,
                "success": found.success,
                "dose_ul": found.dose,
                "low": found.low,
                "high": found.high,
                "said": found.message,
            }
        )
    return rows


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
