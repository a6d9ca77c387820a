"""Risks moved to what the records settle: settled courses that all end alike surprise nobody."""

from __future__ import annotations

import numpy as np
import pytest
from closed_courses import closed_courses

D0 = np.datetime64("2026-05-01") + np.arange(8)


@pytest.mark.parametrize("failed", [[1.0] * 6, [0.0] * 6, [1.0, 0, 0, 1, 0, 0]])
def test_what_is_expected_of_settled_courses_sums_to_their_failures(failed):
    known = [*failed, np.nan, np.nan]
    cases = closed_courses(known, np.linspace(0.05, 0.4, 8), D0).on_settled()
    settled = cases.risk[:6]
    assert settled.sum() == pytest.approx(sum(failed), abs=2e-3)
    assert ((settled > 0) & (settled < 1)).all()
