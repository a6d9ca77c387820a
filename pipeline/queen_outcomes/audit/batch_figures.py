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
    names, batch = np.unique(getattr(cases, kind), return_inverse=True)
    failures = np.bincount(batch, cases.failed, len(names))
    expected = np.bincount(batch, cases.risk, len(names))
    strays = np.sqrt(_variances(batch, len(names), cases, others))
    parts = np.split(np.argsort(batch, kind="stable"), np.bincount(batch).cumsum()[:-1])
    rows = []
    for at in np.flatnonzero(names != "").tolist():
        z = float((failures[at] - expected[at]) / strays[at])
        own, name = parts[at], str(names[at])
        tails = (
            (float(ndtr(z)), float(ndtr(-z)))
            if abs(z) < NEAR
            else _tails(f"{kind} {name}", cases.some(own), others)
        )
        rows.append({"kind": kind, "batch": name, **_figures(cases, own, tails)})
    return rows


def _figures(cases: Cases, own: np.ndarray, tails: tuple[float, float]) -> Row:
    below, above = tails
    failures, expected = int(cases.failed[own].sum()), float(cases.risk[own].sum())
    hands = sorted({name for name in cases.operator[own].tolist() if name})
    return {
        "courses": len(own),
        "failures": failures,
        "expected": expected,
        "ratio": failures / expected,
        "mid_p": min(1.0, 2.0 * min(below, above)),
        "flag": "more" if above < OUTSIDE else "fewer" if below < OUTSIDE else "",
        "first_on": cases.d0[own].min().item(),
        "operators": hands,
    }


def _tails(name: str, own: Cases, others: Mapping[str, float]) -> tuple[float, float]:
    """Give both mid-P tails of a batch's failures."""
    seed, failures = zlib.crc32(name.encode()), int(own.failed.sum())
    counts = batch_counts(own.risk, own.shared(others), seed=seed)
    return counts.mid_lower(failures), counts.mid_upper(failures)


def _variances(
    batch: np.ndarray, batches: int, cases: Cases, others: Mapping[str, float]
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
