"""Graft and semen batches against what was expected of their courses.

They come before any operator's figure: most bad weeks are a graft, a semen batch or the
weather. A batch is measured by chance alone and by how far the other kind of batch deviates,
not by how far its own kind does; it is flagged outside the 99.8 % limits of the funnel.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.special import ndtr

from queen_outcomes.audit.cases import Cases
from queen_outcomes.audit.poisson_binomial import batch_counts
from queen_outcomes.models.risks import BATCHES

Row = dict[str, Any]
NEAR = 1.5
"""Standard deviations within which the normal curve gives the tails: above 0.06, far from
any limit. A large station has tens of thousands of such batches."""
OUTSIDE = 0.001
"""Tail beyond which a batch lies outside the 99.8 % limits."""


def batch_rows(cases: Cases, deviations: Mapping[str, float]) -> list[Row]:
    """Give a row for every graft and semen batch with a decided course of known risk.

    Parameters
    ----------
    cases : Cases
        With risks.
    deviations : mapping of str to float
        Of the random intercepts of both kinds of batch.
    """
    counted = cases.some(np.flatnonzero(cases.counted))
    rows: list[Row] = []
    for kind in BATCHES:
        rows += _of_kind(kind, counted, {**deviations, kind: 0.0})
    return rows


def _of_kind(kind: str, cases: Cases, others: Mapping[str, float]) -> list[Row]:
    names = getattr(cases, kind)
    order = np.argsort(names, kind="stable")
    found, starts = np.unique(names[order], return_index=True)
    parts = np.split(order, starts[1:]) if len(order) else []
    return [
        _row(kind, str(name), cases.some(part), others)
        for name, part in zip(found, parts, strict=True)
        if name != ""
    ]


def _row(kind: str, name: str, own: Cases, others: Mapping[str, float]) -> Row:
    failures, expected = int(own.failed.sum()), float(own.risk.sum())
    below, above = _tails(f"{kind} {name}", own, failures, others)
    hands = np.unique(own.operator[own.operator != ""]).tolist()
    return {
        "kind": kind,
        "batch": name,
        "courses": len(own),
        "failures": failures,
        "expected": expected,
        "ratio": failures / expected,
        "mid_p": min(1.0, 2.0 * min(below, above)),
        "flag": "more" if above < OUTSIDE else "fewer" if below < OUTSIDE else "",
        "first_on": own.d0.min().item(),
        "operators": hands,
    }


def _tails(
    name: str, own: Cases, failures: int, others: Mapping[str, float]
) -> tuple[float, float]:
    """Give both mid-P tails; of a batch near what was expected by the normal curve."""
    z = (failures - own.risk.sum()) / np.sqrt(_variance(own, others))
    if abs(z) < NEAR:
        return float(ndtr(z)), float(ndtr(-z))
    seed = zlib.crc32(name.encode())
    counts = batch_counts(own.risk, own.shared(others), seed=seed)
    return counts.mid_lower(failures), counts.mid_upper(failures)


def _variance(own: Cases, others: Mapping[str, float]) -> float:
    """Give the variance of failures, by chance and by the other kind of batch."""
    each = own.risk * (1 - own.risk)
    variance = float(each.sum())
    for kind in BATCHES:
        deviation = others.get(kind, 0.0)
        if deviation > 0:
            codes = np.unique(getattr(own, kind), return_inverse=True)[1]
            together = np.bincount(codes, each)
            variance += float(deviation**2 * (together**2).sum())
    return variance
