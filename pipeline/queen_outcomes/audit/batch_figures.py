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

from queen_outcomes.audit.cases import Cases
from queen_outcomes.audit.poisson_binomial import CountDistribution, batch_counts
from queen_outcomes.models.risks import BATCHES

Row = dict[str, Any]
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
    seed = zlib.crc32(f"{kind} {name}".encode())
    counts = batch_counts(own.risk, own.shared(others), seed=seed)
    hands = np.unique(own.operator[own.operator != ""]).tolist()
    return {
        "kind": kind,
        "batch": name,
        "courses": len(own),
        "failures": failures,
        "expected": expected,
        "ratio": failures / expected,
        "mid_p": counts.two_sided(failures),
        "flag": _flag(counts, failures),
        "first_on": own.d0.min().item(),
        "operators": hands,
    }


def _flag(counts: CountDistribution, failures: int) -> str:
    if counts.mid_upper(failures) < OUTSIDE:
        return "more"
    return "fewer" if counts.mid_lower(failures) < OUTSIDE else ""
