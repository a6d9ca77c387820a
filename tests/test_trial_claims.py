"""A trial claims "not worse" as often as planned, and at the margin hardly ever."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.append(str(Path(__file__).parent / "benchmarks"))

from trials import Made, power, run

TRIALS = 300


def error(share: float) -> float:
    """Give three standard errors of counting."""
    return 3 * float(np.sqrt(share * (1 - share) / TRIALS))


@pytest.mark.slow
@pytest.mark.parametrize("reference", [0.70, 0.82])
def test_equal_arms_are_called_not_worse_as_often_as_planned(reference):
    truth = Made(reference, reference, sd=0.5)
    planned = power(truth)
    found = run(truth, TRIALS, seed=7)["stratified"]
    assert 0.6 < planned < 0.9
    assert found.not_worse == pytest.approx(planned, abs=error(planned))
    assert found.covered > 0.95 - error(0.95)


@pytest.mark.slow
def test_an_arm_at_the_margin_is_hardly_ever_called_not_worse():
    found = run(Made(0.75, 0.65), TRIALS, seed=11)
    for method in found.values():
        assert method.not_worse < 0.025 + error(0.025)
