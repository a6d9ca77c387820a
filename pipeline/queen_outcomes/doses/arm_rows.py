"""Rows of the dose comparison's tables, from what was found."""

from __future__ import annotations

import zlib
from typing import Any

import numpy as np

from queen_outcomes.doses.arm_courses import Answers, ArmCourses, Comparison
from queen_outcomes.doses.comparing import METHODS, Compared, Found, success_of
from queen_outcomes.doses.costs import ArmCost, arm_cost, frontier
from queen_outcomes.doses.differences import ADJUSTED
from queen_outcomes.doses.drone_semen import DroneSemen
from queen_outcomes.models.analysis_set import own_level
from queen_outcomes.stats.shares.clustering import (
    batch_counts,
    clustered_share,
    effective_counts,
)
from queen_outcomes.stats.shares.proportions import wilson

Row = dict[str, Any]
STATES = ("yes", "no", "undecided", "left")


def arm_rows(courses: ArmCourses, found: Found, answers: Answers) -> list[Row]:
    """Give every arm's counts and plain rate to the question that is asked.

    ``rate`` is of yes, whatever yes means; limits are Wilson's on the number of courses
    that graft batches leave. ``adjusted`` is the rate had all courses been in the arm.
    """
    comparison = found.comparison
    rows = []
    for arm in sorted(comparison.commonest):
        own = comparison.arm == arm
        at = comparison.rows[own]
        closed = answers.closed[at]
        counts = {
            name: int((answers.state[at[closed]] == name).sum()) for name in STATES
        }
        rows.append(
            {
                "trial": comparison.trial,
                "arm": arm,
                "courses": len(at),
                "closed": int(closed.sum()),
                **counts,
                **_rate(courses, answers, at[closed], found.asked.settings.min_shown),
                **_adjusted(found, arm),
                "mean_dose_ul": _mean(courses.given[at]),
                "doses": _usual(courses.doses[at]),
                "batches": _batches(courses.values["graft_batch"][at[closed]]),
                "source": comparison.source,
                "intended": comparison.intended,
                "randomised": comparison.randomised,
                "reference": arm == found.asked.reference,
                "planned": found.asked.planned,
                "said": comparison.said,
            }
        )
    return rows


def _rate(courses: ArmCourses, answers: Answers, at: np.ndarray, fewest: int) -> Row:
    yes = answers.yes[at]
    settled = np.isfinite(yes)
    if len(at) < fewest or not settled.any():
        return dict.fromkeys(("rate", "low", "high"))
    clusters = own_level(courses.values["graft_batch"][at])[settled]
    share = clustered_share(*batch_counts(yes[settled], clusters))
    found = wilson(*effective_counts(share))
    return {"rate": share.share, "low": found.low, "high": found.high}


def _adjusted(found: Found, arm: str) -> Row:
    share = (np.nan,) * 3
    if found.model is not None and arm in found.arms:
        share = found.model.share(arm)
    return dict(zip(("adjusted", "adjusted_low", "adjusted_high"), share, strict=True))


def _mean(dose: np.ndarray) -> float | None:
    known = np.sort(dose[np.isfinite(dose)])
    return float(known.mean()) if len(known) else None


def _usual(doses: np.ndarray) -> int | None:
    names, counts = np.unique(doses[np.isfinite(doses)], return_counts=True)
    return int(names[np.argmax(counts)]) if len(names) else None


def _batches(batch: np.ndarray) -> int:
    return len(np.unique(batch[batch != ""]))


def contrast_rows(found: Found) -> list[Row]:
    """Give every arm against the reference by every method; the primary one judged."""
    return [
        _contrast(found, pair, method) for pair in found.pairs for method in METHODS
    ]


def _contrast(found: Found, pair: Compared, method: str) -> Row:
    asked = found.asked
    is_primary = method == asked.method
    outcome, window = asked.question
    row: Row = {
        "trial": found.comparison.trial,
        "arm": pair.arm,
        "reference": asked.reference,
        "outcome": outcome,
        "window_days": window,
        "method": method,
        "primary": is_primary,
        "intended": found.comparison.intended,
        "closed": pair.closed,
        "overlap": pair.overlap.least if pair.overlap else None,
        "margin": asked.margin if asked.judged else None,
        "verdict": None,
        "said": pair.verdict.said if is_primary else "",
        "note": "" if pair.differences else pair.verdict.said,
    }
    if is_primary and pair.verdict.word != "none":
        row["verdict"] = pair.verdict.word
    return row | _difference(pair, method) if pair.differences else row


def _difference(pair: Compared, method: str) -> Row:
    """Give what a method found; only its remark where it found no difference."""
    one = pair.differences[method]
    if not np.isfinite(one.estimate):
        return {"note": one.said}
    return {
        "note": one.said,
        "difference": one.estimate,
        "low": one.low,
        "high": one.high,
        "p": one.p,
        "p_holm": pair.p_all[method],
        "p_margin": one.p_margin,
        "ratio": one.ratio,
        "newcombe_low": one.newcombe.low,
        "newcombe_high": one.newcombe.high,
        "unseen_low": one.unseen.low,
        "unseen_high": one.unseen.high,
        "homogeneity_p": one.homogeneity_p,
    }


def model_row(found: Found) -> Row:
    """Say what the model of arms allowed for."""
    outcome, window = found.asked.question
    model = found.model
    fitted = model is not None and model.asked is not None
    return {
        "trial": found.comparison.trial,
        "outcome": outcome,
        "window_days": window,
        "method": model.method if model else "none",
        "primary": found.asked.method == ADJUSTED,
        "rows": model.rows if model else 0,
        "factors": ", ".join(model.factors) if fitted else "",
        "left_out": "; ".join(model.left_out) if model else "",
        "message": model.message if model else "fewer than two arms can be compared",
    }


def overlap_rows(found: Found) -> list[Row]:
    """Say how far every arm meets the reference, by grouping."""
    return [
        {
            "trial": found.comparison.trial,
            "arm": pair.arm,
            "reference": found.asked.reference,
            "grouping": name,
            "shared": share,
        }
        for pair in found.pairs
        if pair.overlap
        for name, share in pair.overlap.shares.items()
    ]


def cost_rows(
    courses: ArmCourses, found: Found, answers: Answers, semen: DroneSemen
) -> list[Row]:
    """Give what a success takes in each arm that can be compared, or is the only one."""
    comparison, fewest = found.comparison, found.asked.settings.min_shown
    arms, costs = [], []
    for arm in sorted(comparison.commonest):
        at = comparison.rows[comparison.arm == arm]
        at = at[answers.closed[at]]
        if len(at) < fewest:
            continue
        success = success_of(found.asked.question[0], answers.yes[at])
        seed = zlib.crc32(f"{comparison.trial}/{arm}".encode())
        batch = own_level(courses.values["semen_batch"][at])
        arms.append(arm)
        costs.append(
            arm_cost(courses.given[at], success, batch, semen.ul_a_drone, seed=seed)
        )
    best = frontier(
        *([c.drones.estimate for c in costs], [c.queens.estimate for c in costs])
    )
    return [
        {
            "trial": comparison.trial,
            "arm": arm,
            **_cost(cost, semen),
            "frontier": bool(on),
        }
        for arm, cost, on in zip(arms, costs, best, strict=True)
    ]


def _cost(cost: ArmCost, semen: DroneSemen) -> Row:
    said = f"{semen.said}; {cost.method}; not adjusted for anything"
    return {
        "semen_ul_per_success": cost.semen.estimate,
        "low": cost.semen.low,
        "high": cost.semen.high,
        "drones_per_success": cost.drones.estimate,
        "drones_low": cost.drones.low,
        "drones_high": cost.drones.high,
        "queens_per_success": cost.queens.estimate,
        "queens_low": cost.queens.low,
        "queens_high": cost.queens.high,
        "courses": cost.courses,
        "successes": cost.successes,
        "assumptions": f"{said}; {cost.message}" if cost.message else said,
    }


def course_rows(courses: ArmCourses, comparisons: list[Comparison]) -> list[Row]:
    """Give every course's arm, trial and block, as they were read."""
    ids = courses.values["course_id"]
    return [
        {
            "course_id": str(ids[at]),
            "trial": one.trial,
            "arm": str(arm),
            "block": str(block),
            "source": one.source,
        }
        for one in comparisons
        for at, arm, block in zip(one.rows, one.arm, one.block, strict=True)
    ]
