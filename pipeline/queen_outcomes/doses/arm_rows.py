"""Rows of the dose comparison's tables, from what was found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from queen_outcomes.doses.arm_courses import Answers, ArmCourses, Comparison
from queen_outcomes.doses.comparing import METHODS, ArmComparison, Compared
from queen_outcomes.doses.costs import DroneSemen, for_success, frontier, mean_used
from queen_outcomes.doses.differences import ADJUSTED
from queen_outcomes.facts.exports.doses import ARM_COURSES, FOR, RESOURCES
from queen_outcomes.facts.exports.writing import schema
from queen_outcomes.facts.outcomes import question_columns
from queen_outcomes.models.analysis_set import own_level
from queen_outcomes.stats.histories.pooling import MOST_UNSETTLED
from queen_outcomes.stats.histories.shares import filled_share
from queen_outcomes.stats.shares.clustering import batch_counts, icc_of_counts
from queen_outcomes.stats.shares.planning import (
    POWER,
    arm_plan,
    design_effect,
    margin_size,
)
from queen_outcomes.stats.shares.proportions import Interval, more_than

Row = dict[str, Any]
MARGINS = (0.05, 0.10, 0.15)
"""Losses of success that a margin is chosen among."""
STATES = ("yes", "no", "undecided", "left")


def arm_rows(courses: ArmCourses, found: ArmComparison) -> list[Row]:
    """Give every arm's counts and plain rate to the question that is asked.

    ``rate`` is of yes, whatever yes means, over the fillings, as the station's groups have
    it. ``adjusted`` is the rate had all courses been in the arm.
    """
    comparison, answers = found.comparison, found.answers
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
    known = int(np.isfinite(answers.yes[at]).sum())
    if len(at) < fewest or not known or not len(answers.answers):
        return {}
    clusters = own_level(courses.values["graft_batch"][at])
    found = filled_share(answers.answers[:, at], clusters, known)
    if not found.unsettled <= MOST_UNSETTLED:
        return {}
    return {"rate": found.estimate, "low": found.low, "high": found.high}


def _adjusted(found: ArmComparison, arm: str) -> Row:
    if found.model is None or arm not in found.arms:
        return {}
    names = ("adjusted", "adjusted_low", "adjusted_high")
    return dict(zip(names, found.model.share(arm), strict=True))


def _mean(dose: np.ndarray) -> float | None:
    known = np.sort(dose[np.isfinite(dose)])
    return float(known.mean()) if len(known) else None


def _usual(doses: np.ndarray) -> int | None:
    names, counts = np.unique(doses[np.isfinite(doses)], return_counts=True)
    return int(names[np.argmax(counts)]) if len(names) else None


def _batches(batch: np.ndarray) -> int:
    return len(np.unique(batch[batch != ""]))


def contrast_rows(found: ArmComparison) -> list[Row]:
    """Give every arm against the reference by every method; the primary one judged."""
    return [
        _contrast(found, pair, method) for pair in found.pairs for method in METHODS
    ]


def _contrast(found: ArmComparison, pair: Compared, method: str) -> Row:
    asked = found.asked
    is_primary = method == asked.method
    row: Row = {
        **question_columns(found.answers.question),
        "trial": found.comparison.trial,
        "arm": pair.arm,
        "reference": asked.reference,
        "method": method,
        "primary": is_primary,
        "intended": found.comparison.intended,
        "closed": pair.closed,
        "overlap": pair.overlap.least if pair.overlap else None,
        "margin": asked.margin if asked.judged else None,
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
    same = ("low", "high", "p", "p_margin", "ratio", "homogeneity_p")
    return {
        **{name: getattr(one, name) for name in same},
        "note": one.said,
        "difference": one.estimate,
        "p_holm": pair.p_all[method],
        "newcombe_low": one.newcombe.low,
        "newcombe_high": one.newcombe.high,
        "unseen_low": one.unseen.low,
        "unseen_high": one.unseen.high,
    }


def model_row(found: ArmComparison) -> Row:
    """Say what the model of arms allowed for."""
    model = found.model
    fitted = model is not None and model.asked is not None
    return {
        **question_columns(found.answers.question),
        "trial": found.comparison.trial,
        "method": model.method if model else "none",
        "primary": found.asked.method == ADJUSTED,
        "rows": model.rows if model else 0,
        "factors": ", ".join(model.factors) if fitted else "",
        "left_out": "; ".join(model.left_out) if model else "",
        "message": model.message if model else "fewer than two arms can be compared",
    }


def overlap_rows(found: ArmComparison) -> list[Row]:
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


@dataclass(frozen=True)
class ArmCost:
    """What one success of an arm takes, by the names of `RESOURCES`."""

    arm: str
    takes: dict[str, Interval]
    courses: int
    successes: int
    said: str


def arm_costs(
    courses: ArmCourses, found: ArmComparison, semen: DroneSemen
) -> list[ArmCost]:
    """Give what a success takes in each arm that can be compared, or is the only one."""
    comparison, answers = found.comparison, found.answers
    fewest = found.asked.settings.min_shown
    made = []
    for arm in sorted(comparison.commonest):
        at = comparison.rows[comparison.arm == arm]
        at = at[answers.closed[at]]
        if len(at) < fewest:
            continue
        share, said = _success(courses, found, arm, at)
        batch = own_level(courses.values["semen_batch"][at])
        dose = mean_used(courses.given[at], batch)
        ul = semen.ul_a_drone
        used = {
            "semen_ul": dose,
            "drones": Interval(dose.estimate / ul, dose.low / ul, dose.high / ul),
            "queens": Interval(1.0, 1.0, 1.0),
            "minutes": mean_used(courses.values["bench_minutes"][at], batch),
            "visits": mean_used(courses.values["visits"][at], batch),
        }
        takes = {name: for_success(x, share) for name, x in used.items()}
        one = takes["queens"]
        takes["queens"] = Interval(one.estimate, max(one.low, 1.0), one.high)
        gained = int(np.nansum(answers.success[at]))
        made.append(ArmCost(arm, takes, len(at), gained, f"{semen.said}; {said}"))
    return made


def _success(
    courses: ArmCourses, found: ArmComparison, arm: str, at: np.ndarray
) -> tuple[Interval, str]:
    """Give an arm's share of success, adjusted where the model has it, and say which."""
    row, said = _adjusted(found, arm), "success adjusted for what the main model holds"
    ends = [row.get(f"adjusted{end}", np.nan) for end in ("", "_low", "_high")]
    if not np.isfinite(ends[0]):
        row = _rate(courses, found.answers, at, found.asked.settings.min_shown)
        ends = [row.get(name, np.nan) for name in ("rate", "low", "high")]
        said = "success as it is, not adjusted"
    if found.answers.is_yes_failure:
        ends = [1 - ends[0], 1 - ends[2], 1 - ends[1]]
    return Interval(*ends), said


def cost_rows(costs: list[ArmCost], trial: str | None) -> list[Row]:
    """Give the rows of `arm_costs`."""
    best = frontier(
        *([one.takes[name].estimate for one in costs] for name in ("drones", "queens"))
    )
    rows = []
    for one, on in zip(costs, best, strict=True):
        row: Row = {"trial": trial, "arm": one.arm, "frontier": bool(on)}
        for name, x in one.takes.items():
            ends = "" if name == "semen_ul" else f"{name}_"
            row[f"{name}_per_success"] = x.estimate
            row |= {f"{ends}low": x.low, f"{ends}high": x.high}
        counts = {"courses": one.courses, "successes": one.successes}
        rows.append(row | counts | {"assumptions": one.said})
    return rows


def exchange_rows(costs: list[ArmCost], found: ArmComparison) -> list[Row]:
    """Give how many more, or fewer, of everything 1,000 successes take than by the reference.

    Arms whose success is not adjusted alike are not set against each other.
    """
    by_arm = {one.arm: one for one in costs}
    reference = by_arm.get(found.asked.reference)
    apart = {pair.arm for pair in found.pairs if not pair.differences}
    rows = []
    for one in costs if reference else ():
        if one is reference or one.arm in apart or one.said != reference.said:
            continue
        for name in RESOURCES:
            more = more_than(one.takes[name], reference.takes[name])
            if all(np.isfinite([more.estimate, more.low, more.high])):
                rows.append(
                    {
                        "trial": found.comparison.trial,
                        "arm": one.arm,
                        "reference": reference.arm,
                        "resource": name,
                        "more": FOR * more.estimate,
                        "low": FOR * more.low,
                        "high": FOR * more.high,
                    }
                )
    return rows


def course_frame(courses: ArmCourses, comparisons: list[Comparison]) -> pl.DataFrame:
    """Give every course's arm, trial and block, as they were read."""
    names = schema(ARM_COURSES)
    parts = [
        pl.DataFrame(
            {
                "course_id": courses.values["course_id"][one.rows],
                "arm": one.arm,
                "block": one.block,
            }
        ).select(
            pl.col("course_id"),
            pl.lit(one.trial, pl.String).alias("trial"),
            pl.col("arm", "block"),
            pl.lit(one.source).alias("source"),
        )
        for one in comparisons
    ]
    return pl.concat([pl.DataFrame(schema=names), *parts])


def margins_needed(
    success: np.ndarray, batch: np.ndarray, filled: np.ndarray | None = None
) -> list[dict[str, Any]]:
    """Give the queens an arm with which "not worse" would be seen for some margins.

    Parameters
    ----------
    success : ndarray, shape (n,)
        Of the closed courses, 1, 0, or NaN: not settled.
    batch : ndarray of str, shape (n,)
        Graft batch; empty: not recorded.
    filled : ndarray, shape (m, n), optional
        ``success`` in every filling, whose share is planned with as a trial's plan does;
        without, or without rows, that of the settled.

    Returns
    -------
    list of dict
        margin, queens_alone (as if independent), queens (whole batches to one arm);
        both None where no number would do. For arms that are equally good at the
        station's own share, with a chance of 80 %. Empty where all decided courses
        answered alike.
    """
    settled = np.isfinite(success)
    if not settled.any():
        return []
    yes, n = batch_counts(success[settled], own_level(batch)[settled])
    share, alike = float(yes.sum() / n.sum()), icc_of_counts(yes, n)
    if not 0 < share < 1:
        return []
    if filled is not None and len(filled):
        share = float(np.nanmean(filled, axis=1).mean())
    icc = alike.for_planning if np.isfinite(alike.icc) else 0.0
    effect = design_effect(alike.mean_size, icc, alike.cv)
    rows = []
    for margin in MARGINS:
        size = margin_size(share, share, -margin, power=POWER).first
        decided = float(settled.mean())
        plans = [arm_plan(size, 1.0, e, decided) for e in (1.0, effect)]
        alone, whole = (plan.queens or None for plan in plans)
        rows.append({"margin": margin, "queens_alone": alone, "queens": whole})
    return rows
