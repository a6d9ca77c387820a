"""The lines of a funnel: exact limits, wider where operators vary."""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.shares.funnel import funnel_lines


def test_the_lines_of_a_funnel_are_exact_limits():
    # hospital B of twelve, Spiegelhalter DJ. Stat Med 2005;24:1185-1202: 148 operations,
    # 208 deaths of 2,814; upper limit 0.1152196 (own exact arithmetic, as R gives it)
    share = 208 / 2814
    last = funnel_lines(148, share)[-1]
    assert last["size"] == 148
    assert last["high_95"] * share == pytest.approx(0.1152196, abs=1e-5)
    for line in funnel_lines(400, 0.2):
        limits = [line[name] for name in ("low_998", "low_95", "high_95", "high_998")]
        assert limits == sorted(limits)
        assert limits[0] >= 0


def test_a_variance_between_operators_widens_the_lines():
    near = funnel_lines(200, 0.2)[-1]
    wide = funnel_lines(200, 0.2, tau2=0.09)[-1]
    assert wide["high_95"] == pytest.approx(
        1 + 1.959964 * np.sqrt(0.8 / 0.2 / 200 + 0.09), abs=1e-4
    )
    assert wide["high_95"] > near["high_95"]
    assert wide["low_95"] < near["low_95"]


def test_there_are_no_lines_without_courses_or_risk():
    assert funnel_lines(0, 0.2) == funnel_lines(20, 0.0) == funnel_lines(20, 1.0) == []
