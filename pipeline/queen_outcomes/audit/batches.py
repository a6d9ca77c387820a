"""Batches and days of insemination against what was expected of their courses.

They come before any operator's figure: most bad weeks are a graft, a semen batch or the
weather. A batch is measured by chance alone and by how far the other kind of batch deviates,
not by how far its own kind does; a day by chance alone, so that a bad batch or bad weather
is to be seen. Both are flagged outside the 99.8 % limits.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.special import ndtr

from queen_outcomes.models.closed import BATCHES, ClosedCourses
from queen_outcomes.stats.shares.poisson_binomial import batch_tails, independent_counts
from queen_outcomes.stats.shares.shared_effects import (
    SharedEffects,
    conditional_logits,
    effect_columns,
)

Row = dict[str, Any]
NEAR = 1.5
"""Standard deviations within which the normal curve gives the tails: above 0.06, far from
any limit. A large station has tens of thousands of such batches."""
OUTSIDE = 0.001
"""Tail beyond which a batch lies outside the 99.8 % limits."""


def batch_rows(cases: ClosedCourses, deviations: Mapping[str, float]) -> list[Row]:
    """Give a row for every graft and semen batch with a decided course of known risk.

    Parameters
    ----------
    cases : ClosedCourses
        With risks.
    deviations : mapping of str to float
        Of the random intercepts of both kinds of batch.
    """
    counted = cases.some(np.flatnonzero(cases.counted))
    rows: list[Row] = []
    for kind in BATCHES:
        rows += _of_kind(kind, counted, {**deviations, kind: 0.0})
    return rows


def _of_kind(kind: str, cases: ClosedCourses, others: Mapping[str, float]) -> list[Row]:
    names, batch = np.unique(getattr(cases, kind), return_inverse=True)
    if not len(names):
        return []
    order = np.argsort(batch, kind="stable")
    courses = np.bincount(batch)
    starts = np.cumsum(courses) - courses
    failures = np.bincount(batch, cases.failed).astype(int)
    expected = np.bincount(batch, cases.risk)
    strays = np.sqrt(_variances(batch, len(names), cases, others))
    z = (failures - expected) / strays
    below, above = ndtr(z), ndtr(-z)
    far = np.flatnonzero((names != "") & (np.abs(z) >= NEAR))
    parts = [order[starts[at] : starts[at] + courses[at]] for at in far.tolist()]
    labels = [f"{kind} {name}" for name in names[far].tolist()]
    below[far], above[far] = _tails(labels, parts, cases, others)
    columns = {
        "batch": names.tolist(),
        "courses": courses.tolist(),
        "failures": failures.tolist(),
        "expected": expected.tolist(),
        "ratio": (failures / expected).tolist(),
        "mid_p": np.minimum(1.0, 2.0 * np.minimum(below, above)).tolist(),
        "flag": _flags(below, above).tolist(),
        "first_on": np.minimum.reduceat(cases.d0[order], starts).tolist(),
        "operators": _hands(batch, len(names), cases.operator),
    }
    rows = zip(*columns.values(), strict=True)
    made = [{"kind": kind, **dict(zip(columns, row, strict=True))} for row in rows]
    return [row for row in made if row["batch"]]


def _flags(below: np.ndarray, above: np.ndarray) -> np.ndarray:
    return np.where(above < OUTSIDE, "more", np.where(below < OUTSIDE, "fewer", ""))


def _hands(batch: np.ndarray, batches: int, operator: np.ndarray) -> list[list[str]]:
    """Give the operators named in each batch, in order."""
    names, who = np.unique(operator, return_inverse=True)
    pairs = np.unique(batch * len(names) + who)
    of, name = pairs // len(names), names[pairs % len(names)]
    of, name = of[name != ""], name[name != ""]
    ends = np.cumsum(np.bincount(of, minlength=batches))
    return [part.tolist() for part in np.split(name, ends[:-1])]


def _tails(
    labels: list[str],
    parts: list[np.ndarray],
    cases: ClosedCourses,
    others: Mapping[str, float],
) -> np.ndarray:
    """Give both mid-P tails of the failures of some batches, shape (2, batches)."""
    shared, found = cases.shared(others), np.empty((2, len(parts)))
    failed = cases.failed
    asked = np.concatenate(parts) if parts else np.empty(0, int)
    spread = effect_columns(shared, len(cases)).total_deviation[asked]
    logits = np.full(len(cases), np.nan)
    logits[asked] = conditional_logits(cases.risk[asked], spread)
    for at, (label, own) in enumerate(zip(labels, parts, strict=True)):
        tails = batch_tails(
            cases.risk[own],
            int(failed[own].sum()),
            SharedEffects(shared.levels[own], shared.deviations),
            seed=zlib.crc32(label.encode()),
            logits=logits[own],
        )
        found[:, at] = tails.below, tails.above
    return found


def _variances(
    batch: np.ndarray, batches: int, cases: ClosedCourses, others: Mapping[str, float]
) -> np.ndarray:
    """Give each batch's variance of failures, by chance and by the other kind of batch."""
    each = cases.risk * (1 - cases.risk)
    variances = np.bincount(batch, each, batches)
    for kind in BATCHES:
        deviation = others.get(kind, 0.0)
        if deviation > 0:
            levels, codes = np.unique(getattr(cases, kind), return_inverse=True)
            pairs, place = np.unique(batch * len(levels) + codes, return_inverse=True)
            together = np.bincount(place, each) ** 2
            variances += deviation**2 * np.bincount(
                pairs // len(levels), together, batches
            )
    return variances


TAIL = 0.025


def day_rows(cases: ClosedCourses) -> list[Row]:
    """Give a row for every day 0 with a decided course of known risk.

    Parameters
    ----------
    cases : ClosedCourses
        With risks.

    Returns
    -------
    list of dict
        ``low`` and ``high``: the failures that chance gives on 95 of 100 such days or
        more; ``flag``: more or fewer, outside what it gives on 998 of 1,000.
    """
    counted = cases.some(np.flatnonzero(cases.counted))
    order = np.argsort(counted.d0, kind="stable")
    days, starts = np.unique(counted.d0[order], return_index=True)
    parts = np.split(order, starts[1:]) if len(order) else []
    return [
        _row(day.item(), counted.some(part))
        for day, part in zip(days, parts, strict=True)
    ]


def _row(day: Any, own: ClosedCourses) -> Row:
    counts = independent_counts(own.risk)
    below = np.cumsum(counts.pmf)
    failures = int(own.failed.sum())
    low, high = (int(np.searchsorted(below, at)) for at in (TAIL, 1.0 - TAIL))
    flag = "more" if counts.mid_upper(failures) < OUTSIDE else ""
    flag = "fewer" if counts.mid_lower(failures) < OUTSIDE else flag
    return {
        "d0": day,
        "season": str(own.season[0]),
        "courses": len(own),
        "failures": failures,
        "expected": float(own.risk.sum()),
        "low": low,
        "high": min(high, len(own)),
        "mid_p": counts.two_sided(failures),
        "flag": flag,
        "operators": np.unique(own.operator[own.operator != ""]).tolist(),
        "graft_batches": np.unique(own.graft_batch[own.graft_batch != ""]).tolist(),
        "semen_batches": np.unique(own.semen_batch[own.semen_batch != ""]).tolist(),
    }
