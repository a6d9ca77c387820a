"""Whether an operator shares enough batches with others to be told apart from them."""

import numpy as np
import pytest
from queen_outcomes.audit.apart import _shares


def batches_of(*batches):
    """From (batch, hers, of others): each of hers, all sizes, which have a name."""
    hers = np.repeat(np.arange(len(batches)), [own for _, own, _ in batches])
    size = np.array([own + others for _, own, others in batches])
    return hers, size, np.array([name != "" for name, _, _ in batches])


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
    assert _shares(*batches_of(*batches)) == enough
