"""What cannot be is refused by name, and never answered with a number."""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.refusals import refuse_counts
from queen_outcomes.stats.shares.clustering import clustered_share
from queen_outcomes.stats.shares.funnel import binomial_limit
from queen_outcomes.stats.shares.planning import margin_size
from queen_outcomes.stats.shares.poisson_binomial import batch_tails, independent_counts
from queen_outcomes.stats.shares.proportions import (
    newcombe_difference,
    score_limits,
    score_test,
    wilson,
)
from queen_outcomes.stats.shares.strata import strata_of

NAN = float("nan")


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda: wilson(5, 4), "5.0 of 4.0"),
        (lambda: wilson(-1, 4), "outside 0"),
        (lambda: wilson(NAN, 4), "no number"),
        (lambda: wilson(1, np.inf), "no number"),
        (lambda: newcombe_difference(1, 4, 9, 8), "9.0 of 8.0"),
        (lambda: score_limits(3, 2, 1, 2), "3.0 of 2.0"),
        (lambda: score_test(1, 2, 1, 2, 1.5), "difference of shares of 1.5"),
        (lambda: score_test(1, 2, 1, 2, NAN), "outside -1 to 1"),
        (lambda: strata_of([3], [2], [1], [2]), "outside 0"),
        (lambda: clustered_share([3], [2]), "outside 0"),
        (lambda: independent_counts([0.2, NAN]), "a risk lies outside 0 to 1"),
        (lambda: batch_tails([0.2, 1.2], 1), "a risk lies outside 0 to 1"),
        (lambda: batch_tails([0.2, 0.2], 3), "3.0 of 2.0"),
        (lambda: margin_size(0.8, 0.8, -2.0), "difference of shares of -2.0"),
        (lambda: binomial_limit(0.5, 10, NAN), "a share lies outside 0 to 1"),
    ],
)
def test_nonsense_is_refused_by_name(ask, said):
    with pytest.raises(ValueError, match=said):
        ask()


def test_sums_of_decimals_are_no_nonsense():
    refuse_counts(0.1 + 0.2, 0.3)
    assert wilson(0.1 + 0.2, 0.3).high == 1.0
