"""Rates, reasons and axes as pages write them."""

from __future__ import annotations

import pytest
from queen_outcomes.dashboard import figures, this_week
from queen_outcomes.dashboard.charts import adjusted, theme
from queen_outcomes.facts import words
from queen_outcomes.facts.settings import Settings

RATE = {
    "rate": 0.8,
    "low": 0.71,
    "high": 0.87,
    "yes": 80,
    "no": 20,
    "closed": 110,
    "undecided": 8,
    "left": 2,
}


def test_a_rate_is_said_with_everything_it_stands_on():
    assert words.rate_in_words(RATE, 10) == (
        "80 %, 95 % limits 71–87, 110 closed courses, 8 undecided, 2 left"
    )


def test_a_rate_of_few_decided_courses_says_how_many():
    few = {**RATE, "closed": 300, "undecided": 198}
    assert words.rate_in_words(few, 10).startswith("80 % of only 100 decided, 95 %")


def test_outcomes_stand_in_the_order_in_which_they_are_asked(full_store):
    settings = Settings()
    rows = [
        {"outcome": outcome, "window_days": days, "grouping": "all", "closed": 0}
        for outcome, days in reversed(settings.outcomes.windows)
    ]
    for row in rows:
        row.update(yes=0, no=0, undecided=0, left=0, open=0, courses=0)
    shown = this_week._overall(full_store(rates=rows), settings)
    asked = [(row["outcome"], row["window_days"]) for row in shown]
    assert asked == settings.outcomes.windows
    assert asked[0][0] == "laying"


def test_differences_of_shares_are_in_points_and_others_as_they_are():
    points = theme.signed_axis("+.0%").to_dict()["labelExpr"]
    assert "format(100 * datum.value, '+.0f')" in points
    assert (
        "format(datum.value, '+.1f')"
        in theme.signed_axis("+.1f").to_dict()["labelExpr"]
    )


def test_months_begin_on_the_days_that_the_axis_marks():
    months = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30]
    assert list(theme.FIRSTS) == [1 + sum(months[:n]) for n in range(12)]


def test_a_factor_s_own_capitals_stay():
    rows = [
        {"label": "22 h", "probability": 0.6},
        {"label": "49 h", "probability": 0.5},
    ]
    said = adjusted.curve_said("time between CO2 exposures", rows)
    assert said == "Time between CO2 exposures: 60 % at 22 h; 50 % at 49 h"


@pytest.mark.parametrize(("count", "told"), [(7, "7"), (12345, "12,345")])
def test_counts_have_their_thousands_apart(count, told):
    assert figures.FILTERS["thousands"](count) == told
