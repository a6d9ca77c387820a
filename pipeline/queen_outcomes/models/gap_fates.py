"""Whether what is not written down goes with what became of the queens.

A gap is filled in as if it depended only on what is recorded. Where courses with the gap
fare otherwise than those without, that is a warning about the records: it compares no
treatment, and says nothing of what a value would have brought.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from queen_outcomes.facts.exports.exported import (
    OUTCOME,
    WINDOW,
    ExportColumn,
    ExportTable,
    count,
    number,
    share,
)
from queen_outcomes.models.analysis_set import is_recorded, own_level
from queen_outcomes.models.closed import ClosedCourses
from queen_outcomes.models.terms import Term
from queen_outcomes.stats.histories.shares import filled_difference
from queen_outcomes.stats.shares.multiplicity import holm

FEWEST = 20
"""Courses with a gap, and without, that are compared."""

_UNKNOWN = "more than half of what it rests on is filled in"
GAP_FATES = ExportTable(
    "gap_fates",
    "an outcome, its window and a factor with gaps; the build's own",
    (
        *(OUTCOME, WINDOW),
        ExportColumn("factor", "text", "not recorded for some"),
        count("lacking", "closed courses without it"),
        count("recorded", "closed courses with it"),
        share("share_lacking", "yes among those without it", "nobody at risk"),
        share("share_recorded", "yes among those with it", "nobody at risk"),
        number("p", "of a test that they do not differ", null=_UNKNOWN),
        number("p_holm", "the same for all factors with gaps", null=_UNKNOWN),
    ),
    key=("outcome", "window_days", "factor"),
)


def gap_fates(closed: ClosedCourses, terms: Sequence[Term]) -> list[dict[str, Any]]:
    """Compare the courses that lack a factor with those that do not, in the fillings."""
    rows = []
    clusters = own_level(closed.graft_batch)
    for term in terms:
        if term.kind == "gap":
            continue
        # who went before a schedule could be seen did not lack a record of it
        column = "co2_got" if term.column == "co2_schedule" else term.column
        lacks = ~is_recorded(
            term, {**closed.values, term.column: closed.values[column]}
        )
        sizes = int(lacks.sum()), int((~lacks).sum())
        if min(sizes) < FEWEST or not len(closed.answers):
            continue
        found = filled_difference(closed.answers, lacks, clusters)
        told = (found.one, found.other, found.p)
        numbers = [None if np.isnan(x) else x for x in told]
        rows.append(
            {"factor": term.name, "lacking": sizes[0], "recorded": sizes[1]}
            | dict(zip(("share_lacking", "share_recorded", "p"), numbers, strict=True))
        )
    p = [np.nan if row["p"] is None else row["p"] for row in rows]
    raised = holm(np.array(p, float)) if rows else ()
    return [
        {**row, "p_holm": None if np.isnan(high) else float(high)}
        for row, high in zip(rows, raised, strict=True)
    ]
