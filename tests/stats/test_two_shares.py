"""Wilson's and Newcombe's limits against the published tables."""

from __future__ import annotations

from pathlib import Path

import pytest
import queen_outcomes
from queen_outcomes.stats.shares.proportions import newcombe_difference, wilson
from statsmodels.stats.proportion import confint_proportions_2indep


@pytest.mark.parametrize(
    ("yes", "n", "low", "high"),
    [
        (81, 263, 0.2552885, 0.3662096),
        (15, 148, 0.0623864, 0.1604872),
        (0, 20, 0.0, 0.1611252),
    ],
)
def test_wilson_s_limits(yes, n, low, high):
    # Newcombe 1998, table I (.0624 to .1605, 0 to .1611); ratesci 1.0.0
    found = wilson(yes, n)
    assert (found.low, found.high) == (
        pytest.approx(low, abs=5e-8),
        pytest.approx(high, abs=5e-8),
    )


EXAMPLES = [
    ((56, 70, 48, 80), 0.0524315, 0.3338727),
    ((9, 10, 3, 10), 0.1705227, 0.8090180),
    ((6, 7, 2, 7), 0.0582279, 0.8062496),
    ((5, 56, 0, 29), -0.0381371, 0.1925600),
]


@pytest.mark.parametrize(("counts", "low", "high"), EXAMPLES)
def test_newcombe_s_method_10(counts, low, high):
    # Newcombe 1998, table II, examples a to d; ratesci 1.0.0
    found = newcombe_difference(*counts)
    assert found.low == pytest.approx(low, abs=5e-8)
    assert found.high == pytest.approx(high, abs=5e-8)


def test_the_library_s_score_limits_are_off_so_nothing_here_calls_them():
    # Miettinen and Nurminen's limits of 56/70 - 48/80 are 0.0528297 to 0.3381729
    _, high = confint_proportions_2indep(56, 70, 48, 80, method="score", compare="diff")
    assert abs(high - 0.3381729) > 0.005
    (folder,) = queen_outcomes.__path__
    sources = [path.read_text("utf-8") for path in Path(folder).rglob("*.py")]
    assert sources
    assert not any("confint_proportions_2indep" in text for text in sources)
