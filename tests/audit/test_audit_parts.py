"""Parts of the audit by hand: shared courses, and what a series says of itself."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from closed_courses import closed_courses
from queen_outcomes.audit.apart import Apart
from queen_outcomes.audit.operators import _counts, shared_courses
from queen_outcomes.audit.running_series import LEVEL, SEASON_UNTOLD, _limit_row


def test_a_course_is_shared_where_another_operator_worked_on_her_batches():
    """One hand each in graft batches a and z; b and a batch of semen are of two."""
    known = np.array([np.nan, *np.zeros(7)])
    cases = closed_courses(
        known,
        np.full(8, 0.3),
        np.full(8, np.datetime64("2026-06-01")),
        course_id=np.array(list("12345678")),
        operator=np.array(["C", "C", "B", "A", "B", "A", "B", "C"]),
        # the first is undecided: nobody shares z for her sake
        graft_batch=np.array(["z", "a", "b", "b", "z", "", "", "a"]),
        semen_batch=np.array(["", "", "s", "s", "", "t", "", ""]),
    )
    found = shared_courses(cases)
    assert found.tolist() == [False, False, True, True, *[False] * 4]


@pytest.mark.parametrize(
    ("series", "told", "apart", "said"),
    [
        (LEVEL, True, "", ""),
        (LEVEL, False, "", SEASON_UNTOLD),
        # what she cannot be told apart from comes first, and names itself
        (LEVEL, False, "the line", "cannot be told apart from the line"),
        ("drift", False, "", ""),
    ],
)
def test_a_series_without_a_figure_says_why(series, told, apart, said):
    limits = (np.array([4.0, 5.0, np.nan]), np.array([np.nan] * 3))
    found = SimpleNamespace(
        told=np.array([True, True, told]), limits=limits, detection=0.4, median=30
    )
    past = SimpleNamespace(planned=100, courses=80)
    rows = [{"signal": ""}, {"signal": "worse"}, {"signal": ""}]
    row = _limit_row("A", series, found, rows, past, apart)
    assert row["message"] == said
    assert (row["detection"], row["median_courses"]) == (
        (None, None) if said else (0.4, 30)
    )
    assert (row["limit_worse"], row["limit_better"]) == (5.0, None)
    assert (row["signals"], row["cases"]) == (1, 3)


@pytest.mark.parametrize(
    ("shared", "apart", "separable"),
    [
        (4, "", True),
        (4, "the line", True),
        (4, "the graft batches", False),  # shared, yet they decide nearly everything
        (0, "", False),
        (0, "the semen batches", False),
    ],
)
def test_an_operator_is_separable_who_shares_batches_that_do_not_decide(
    shared, apart, separable
):
    """Five courses, one of them undecided and one of unknown risk."""
    own = closed_courses(
        [1, 0, 0, 0, np.nan],
        [0.3, 0.3, 0.3, np.nan, 0.3],
        np.full(5, np.datetime64("2026-06-01")),
        course_id=np.array(list("12345")),
    )
    row = _counts("A", own, np.arange(5) < shared, 3, Apart(apart))
    assert (row["courses"], row["failures"]) == (3, 1)
    assert (row["undecided"], row["unknown_risk"]) == (1, 1)
    assert (row["separable"], row["apart_from"]) == (separable, apart)
    assert row["shown"]
    assert not _counts("A", own, np.ones(5, bool), 4, Apart(apart))["shown"]
