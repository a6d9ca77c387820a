"""How a season is foreseen from those before it, by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from queen_outcomes.models import predictive_checks
from queen_outcomes.models.predictive_checks import FEWEST, look_forward


@pytest.fixture(autouse=True)
def _no_gaps(monkeypatch):
    monkeypatch.setattr(
        predictive_checks, "complete_rows", lambda courses: np.arange(len(courses.y))
    )


def fitted(*cells, method="logistic"):
    """Courses of two groups, by year, group, yes and no."""
    year, group, y = [], [], []
    for season, of, yes, no in cells:
        year += [season] * (yes + no)
        group += [of] * (yes + no)
        y += [1.0] * yes + [0.0] * no
    return SimpleNamespace(
        method=method,
        X=np.column_stack([np.ones(len(y)), group]),
        courses=SimpleNamespace(y=np.array(y), values={"year": np.array(year)}),
        design=SimpleNamespace(pull=np.zeros(2)),
    )


BEFORE = (("2024", 0, 20, 30), ("2025", 1, 40, 10))
LAST = (("2026", 0, 2, 3), ("2026", 1, 2, 3))


def test_the_last_season_is_foreseen_by_the_groups_of_those_before():
    # 0.4 and 0.8 were foretold: 2 x 0.6^2 + 3 x 0.4^2 and 2 x 0.2^2 + 3 x 0.8^2, by 10;
    # the rate before was 0.6: 4 x 0.4^2 + 6 x 0.6^2, by 10
    assert look_forward(fitted(*BEFORE, *LAST)) == (
        "fitted before 2026 and tried on it: mean squared error 0.320 against 0.280 "
        "for the earlier rate"
    )


def test_what_is_not_settled_is_not_foreseen():
    open_one = fitted(*BEFORE, *LAST)
    open_one.courses.y[-1] = np.nan
    # 2 x 0.2^2 + 2 x 0.8^2 of the second group, by 9; 4 x 0.4^2 + 5 x 0.6^2, by 9
    assert "0.284 against 0.271" in look_forward(open_one)


def test_too_few_before_or_no_model_say_nothing():
    few = (("2025", 0, 5, FEWEST - 1), ("2025", 1, FEWEST - 6, 30))
    assert look_forward(fitted(*few, *LAST)) == ""
    enough = (("2025", 0, 5, FEWEST - 1), ("2025", 1, FEWEST - 5, 30))
    assert look_forward(fitted(*enough, *LAST)) != ""
    assert look_forward(fitted(BEFORE[0])) == ""
    assert look_forward(fitted(*BEFORE, *LAST, method="none")) == ""
