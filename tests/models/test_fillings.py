"""Fillings keep what stands in gaps alone, and give whole courses when asked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from closed_courses import closed_courses
from queen_outcomes.models.closed import NO_FILLINGS, Fillings, take
from queen_outcomes.models.results import digest

VALUES = {
    "dose": np.array([8.0, np.nan, 12.0, np.nan, 8.0]),
    "line": np.array(["a", "", "b", "a", ""]),
    "year": np.array(["2026"] * 5),
}
FILLINGS = Fillings(
    {"dose": np.array([1, 3]), "line": np.array([1, 4])},
    {
        "dose": np.array([[8.0, 12.0], [12.0, 12.0]]),
        "line": np.array([["b", "a"], ["long name", "b"]]),
    },
)


def test_gaps_are_filled_and_what_is_recorded_is_one_array():
    one, two = (FILLINGS.of(VALUES, number) for number in (0, 1))
    assert one["dose"].tolist() == [8.0, 8.0, 12.0, 12.0, 8.0]
    assert two["dose"].tolist() == [8.0, 12.0, 12.0, 12.0, 8.0]
    assert one["line"].tolist() == ["a", "b", "b", "a", "a"]
    assert two["line"].tolist() == ["a", "long name", "b", "a", "b"]
    assert one["year"] is VALUES["year"]
    assert np.isnan(VALUES["dose"][1])
    assert VALUES["line"][1] == ""
    assert NO_FILLINGS.of(VALUES, 7) == VALUES


@pytest.mark.parametrize(
    "rows",
    [
        np.array([4, 1, 0]),
        np.array([3, 3, 1]),
        np.array([0, 2]),
        np.array([], int),
        np.array([False, True, False, False, True]),
    ],
)
def test_some_courses_keep_their_own(rows):
    some = FILLINGS.some(rows)
    for number in (0, 1):
        found = some.of(take(VALUES, rows), number)
        expected = take(FILLINGS.of(VALUES, number), rows)
        for name, x in expected.items():
            np.testing.assert_array_equal(found[name], x)


def test_where_no_gap_is_left_there_is_nothing_to_fill():
    assert not FILLINGS.some(np.array([0, 2])).gaps
    assert list(FILLINGS.some(np.array([3])).gaps) == ["dose"]


def test_models_are_taken_over_only_where_gaps_were_filled_alike():
    """What fills them goes by other questions' answers too."""
    day = np.full(5, np.datetime64("2026-06-01"))
    courses = closed_courses([0, 1, 0, 1, 0], np.full(5, 0.3), day, **VALUES)
    one = replace(courses, fillings=FILLINGS)
    made = dict(FILLINGS.made)
    made["dose"] = np.array([[8.0, 12.0], [12.0, 8.0]])
    other = replace(courses, fillings=Fillings(FILLINGS.gaps, made))
    assert digest(one) == digest(replace(courses, fillings=FILLINGS))
    assert digest(one) != digest(other)
    assert digest(one) != digest(courses)
