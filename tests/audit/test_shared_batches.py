"""Whether an operator shares enough batches with others to be told apart from them."""

import numpy as np
import pytest
from queen_outcomes.audit.apart import _shares


def courses(*batches):
    """Courses from (batch, hers, of others): which are hers, and each one's batch."""
    own = [
        first
        for _, hers, others in batches
        for first in [True] * hers + [False] * others
    ]
    names = [name for name, hers, others in batches for _ in range(hers + others)]
    return np.array(own), np.array(names, dtype=str)


@pytest.mark.parametrize(
    ("batches", "enough"),
    [
        # twenty courses in three batches of both are the fewest
        ([("a", 1, 6), ("b", 6, 1), ("c", 3, 3)], True),
        ([("a", 1, 6), ("b", 6, 1), ("c", 3, 2)], False),
        ([("a", 5, 5), ("b", 5, 5)], False),
        # what is hers or others' alone is not shared
        ([("a", 1, 6), ("b", 6, 1), ("c", 6, 0)], False),
        ([("a", 1, 6), ("b", 6, 1), ("c", 0, 6)], False),
        # nor is what has no batch; hers without any are not asked
        ([("a", 1, 6), ("b", 6, 1), ("", 3, 3)], False),
        ([("", 4, 9), ("b", 0, 9)], True),
    ],
)
def test_twenty_courses_of_three_batches_have_to_be_shared(batches, enough):
    assert _shares(*courses(*batches)) == enough
