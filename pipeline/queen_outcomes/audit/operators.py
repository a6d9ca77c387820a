"""Each operator's failures against what the same courses would give with the average hand.

Failures are those of the fillings, in which every closed course has an answer: what the
records settle leans on who was looked at, and that may differ from hand to hand.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from scipy.special import expit, logit, ndtr, ndtri

from queen_outcomes.audit.apart import Apart
from queen_outcomes.base import resources
from queen_outcomes.base.store import Store
from queen_outcomes.facts.outcomes import question_columns
from queen_outcomes.models.closed import (
    BATCHES,
    NO_FILLINGS,
    ClosedCourses,
    Question,
)
from queen_outcomes.models.risks import RiskModel
from queen_outcomes.stats.histories.pooling import MOST_UNSETTLED
from queen_outcomes.stats.logistic.mixed_average import integrate_random
from queen_outcomes.stats.logistic.odds_shift import odds_shift
from queen_outcomes.stats.shares.adjusted_rate import adjusted_rate
from queen_outcomes.stats.shares.funnel import adjusted_z, flags, overdispersion
from queen_outcomes.stats.shares.poisson_binomial import batch_tails
from queen_outcomes.stats.shares.ranks import rank_limits
from queen_outcomes.stats.shares.shared_effects import conditional_logits
from queen_outcomes.stats.tails import norm_isf

Row = dict[str, Any]
SEPARABLE = 0.30
"""Share of an operator's courses in batches shared with others, below which operator and
batch cannot be told apart."""
FEWEST = 20
"""Operators from which on the variance between them is worth estimating."""
MOST_RISKS = 4_096
"""Risks that stand for a station's mix of courses."""
OFTEN = 0.5
"""Share of fillings with a course at risk, from which on it counts as followed."""
LEAST = 0.25
"""Failures, and successes, taken for none where log odds are compared."""
Z_95 = float(norm_isf(0.025))


@dataclass(frozen=True)
class Intercept:
    """An operator's random intercept in the joint model, in log odds of yes."""

    effect: float
    se: float


def read_intercepts(store: Store, question: Question) -> dict[str, Intercept]:
    """Give the operators' random intercepts in the main model of a question."""
    found = store.rows(
        resources.read("sql", "07_audit", "operator_intercepts.sql"),
        question_columns(question),
    )
    return {
        level: Intercept(effect, (high - low) / (2 * Z_95))
        for level, effect, low, high in found
    }


def operator_rows(
    cases: ClosedCourses,
    model: RiskModel,
    intercepts: Mapping[str, Intercept],
    fewest: int,
    apart: Mapping[str, Apart],
) -> list[Row]:
    """Give a row for every operator of these courses.

    Parameters
    ----------
    cases : ClosedCourses
        With risks; expected and observed failures agree over all of them.
    model : RiskModel
        For the deviations of batches, and the direction of failing.
    intercepts : mapping of str to Intercept
        Empty where the joint model has none: then nothing is shrunken or ranked.
    fewest : int
        Courses below which an operator's figures are held back.
    apart : mapping of str to Apart
        What each operator cannot be told apart from; of some there is no figure then.
    """
    rows = []
    shared, asked = shared_courses(cases), followed(cases)
    station = thinned(cases.risk[asked])
    batches = {name: cases.values[name] for name in BATCHES}
    # what is cut out for every operator is only what is looked at
    lean = replace(cases, values=batches, fillings=NO_FILLINGS)
    for name, own in cases.by_operator().items():
        row = _counts(name, lean.some(own), shared[own], fewest, apart[name])
        if row["courses"] and apart[name].has_figure:
            some = lean.some(own[asked[own]])
            row |= _against_expected(name, some, station, model)
        row["shown"] = row["shown"] and row.get("expected") is not None
        rows.append(row)
    _flag(rows)
    _rank(rows, intercepts, model, cases)
    return rows


def thinned(risks: np.ndarray) -> np.ndarray:
    """Give fewer risks with the same mean rate at any odds, to 1e-6, for large stations."""
    if len(risks) <= MOST_RISKS:
        return risks
    parts = np.array_split(np.sort(logit(risks)), MOST_RISKS)
    return expit(np.array([part.mean() for part in parts]))


def _counts(
    name: str, own: ClosedCourses, shared: np.ndarray, fewest: int, apart: Apart
) -> Row:
    counted, decided = own.counted, np.isfinite(own.failed)
    courses = int(counted.sum())
    part = float(shared[counted].mean()) if courses else None
    return {
        "operator": name,
        "courses": courses,
        "failures": int(own.failed[counted].sum()),
        "undecided": int((~decided).sum()),
        "unknown_risk": int((decided & ~counted).sum()),
        "shared_pct": None if part is None else 100 * part,
        "separable": (part or 0.0) >= SEPARABLE and "batch" not in apart.name,
        "apart_from": apart.name if courses >= fewest else "",
        "shown": courses >= fewest and apart.has_figure,
    }


def followed(cases: ClosedCourses) -> np.ndarray:
    """Tell which courses are at risk in half of the fillings or more, at a known risk."""
    if not len(cases.answers):
        return np.zeros(len(cases), bool)
    at_risk = np.isfinite(cases.answers).mean(axis=0)
    return np.isfinite(cases.risk) & (at_risk >= OFTEN)


def _against_expected(
    name: str, own: ClosedCourses, station: np.ndarray, model: RiskModel
) -> Row:
    """Measure the failures of every filling; nothing where most of it is filled in.

    Limits and tails are those of the whole number of failures that is nearest to the
    fillings' mean, widened by how far the fillings differ (Rubin's rules on the log odds).
    """
    if not len(own):
        return {}
    failed = own.failures
    at_risk = np.isfinite(failed)
    failures, sizes = np.nansum(failed, axis=1), at_risk.sum(axis=1)
    seed, shared = zlib.crc32(name.encode()), own.shared(model.deviations)
    nearest = int(np.clip(round(float(failures.mean())), 0, len(own)))
    found = adjusted_rate(own.risk, nearest, station, shared=shared, seed=seed)
    whole, levels = logit(station), logit(own.risk)

    @cache  # many fillings hold as many failures of the same courses
    def rate(yes: float, asked: bytes) -> float:
        of = levels[np.frombuffer(asked, bool)]
        step = odds_shift(of, float(np.clip(yes, LEAST, len(of) - LEAST)))
        return float(expit(whole + step).mean())

    each = np.array(
        [
            logit(rate(yes, some.tobytes()))
            for yes, some in zip(failures.tolist(), at_risk, strict=True)
            if some.any()
        ]
    )
    everybody = np.ones(len(own), bool).tobytes()
    middle, anchor = float(each.mean()), logit(rate(nearest, everybody))
    apart = (1 + 1 / len(each)) * float(each.var(ddof=1)) if len(each) > 1 else 0.0
    down, up = anchor - logit(found.low), logit(found.high) - anchor
    reach = np.array([arm for arm in (down, up) if np.isfinite(arm)])
    within = float(np.mean(reach / Z_95) ** 2) if len(reach) else np.inf
    unsettled = apart / (apart + within)
    expected = float((at_risk.mean(axis=0) * own.risk).sum())
    tails = batch_tails(own.risk, nearest, shared, seed=seed)
    calm = np.sqrt(1.0 - unsettled)
    below, above = (float(ndtr(ndtri(x) * calm)) for x in (tails.below, tails.above))
    row = {
        "at_risk": float(sizes.mean()),
        "filled": float(failures.mean()),
        "crude": float((failures / np.maximum(sizes, 1)).mean()),
        "expected": expected,
        "ratio": float(failures.mean()) / expected,
    }
    if unsettled > MOST_UNSETTLED:
        return {}
    if np.ptp(failures) == 0 and np.ptp(sizes) == 0:
        limits = (found.adjusted, found.low, found.high)
    else:
        far = Z_95 * np.sqrt(apart)
        limits = (
            float(expit(middle)),
            float(expit(middle - np.hypot(down, far))),
            float(expit(middle + np.hypot(up, far))),
        )
    return {
        **row,
        **dict(zip(("adjusted", "low", "high"), limits, strict=True)),
        "mid_p": min(1.0, 2.0 * min(below, above)),
        "tails": (below, above),
    }


def _flag(rows: list[Row]) -> None:
    """Flag by one rule over all operators that can be told apart and are shown."""
    blank = (np.nan, np.nan)
    tails = [row.pop("tails", blank) for row in rows]
    asked = [row["shown"] and not row["apart_from"] for row in rows]
    pairs = [p if is_asked else blank for is_asked, p in zip(asked, tails, strict=True)]
    pairs = np.array(pairs).reshape(len(rows), 2)
    words = {1: "more", -1: "fewer", 0: ""}
    found = flags(pairs[:, 0], pairs[:, 1])
    directions = zip(rows, asked, found.direction.tolist(), strict=True)
    for row, is_asked, direction in directions:
        row["flag"] = words[direction] if is_asked else None


def _rank(
    rows: list[Row],
    intercepts: Mapping[str, Intercept],
    model: RiskModel,
    cases: ClosedCourses,
) -> None:
    """Give shrunken rates and ranks, 1 for the fewest failures, from the joint model."""
    ranked = [row for row in rows if row["operator"] in intercepts and row["courses"]]
    ranked = [row for row in ranked if not row["apart_from"]]
    if len(ranked) < 2:
        return
    found = [intercepts[row["operator"]] for row in ranked]
    effects = np.array([one.effect for one in found])
    errors = np.array([one.se for one in found])
    worse = effects if model.is_yes_failure else -effects
    ranks = rank_limits(worse, errors**2)
    sizes = np.array([row["courses"] for row in ranked], float)
    usual = float(sizes @ effects / sizes.sum())
    spread = float(np.sqrt(np.sum(model.batch_deviations() ** 2)))
    levels = conditional_logits(thinned(cases.risk[followed(cases)]), spread)
    sign = 1.0 if model.is_yes_failure else -1.0
    for at, row in enumerate(ranked):
        around = effects[at] - usual + np.array([0.0, -1.0, 1.0]) * Z_95 * errors[at]
        rates = [_moved(levels, sign * step, spread) for step in around]
        limited = errors[at] > 0  # a deviation of zero has no limits of its own
        row |= {
            "shrunken": rates[0],
            "shrunken_low": min(rates) if limited else None,
            "shrunken_high": max(rates) if limited else None,
            "rank_low": int(ranks.low[at]),
            "rank_high": int(ranks.high[at]),
        }


def _moved(levels: np.ndarray, step: float, spread: float) -> float:
    """Average risks over batches, with all log odds (within batches) moved by a step."""
    mean, _, _ = integrate_random(levels + step, spread)
    return float(mean.mean())


def shared_courses(cases: ClosedCourses) -> np.ndarray:
    """Tell which courses lie in a graft and a semen batch that others worked on too.

    A kind of batch that is not recorded for a course is not asked.
    """
    shared = np.ones(len(cases), bool)
    asked = np.zeros(len(cases), bool)
    counted = cases.counted & (cases.operator != "")
    who = np.unique(cases.operator, return_inverse=True)[1]
    for name in BATCHES:
        batch = getattr(cases, name)
        codes = np.unique(batch, return_inverse=True)[1]
        pairs = np.unique(np.column_stack([codes[counted], who[counted]]), axis=0)
        hands = np.bincount(pairs[:, 0], minlength=len(cases))
        known = batch != ""
        shared &= ~known | (hands[codes] > 1)
        asked |= known
    return shared & asked


def spread_rows(cases: ClosedCourses, fewest: int) -> list[Row]:
    """Give one row with phi and tau squared on the scale of observed over expected.

    Parameters
    ----------
    cases : ClosedCourses
        With risks.
    fewest : int
        Courses below which an operator takes no part.

    Returns
    -------
    list of dict
        Empty with fewer than `FEWEST` operators.
    """
    sums, counted, failed = [], cases.counted, cases.failed
    for own in cases.by_operator().values():
        rows = own[counted[own]]
        if len(rows) >= max(fewest, 1):
            risk = cases.risk[rows]
            variance = (risk * (1.0 - risk)).sum()
            sums.append((failed[rows].sum(), risk.sum(), variance))
    if len(sums) < FEWEST:
        return []
    compared = adjusted_z(*np.array(sums).T)
    found = overdispersion(compared.z, compared.s)
    return [{"operators": len(sums), "phi": found.phi, "tau2": found.tau2}]
