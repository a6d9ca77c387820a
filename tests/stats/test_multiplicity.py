"""Adjusted P values against the example of Benjamini and Hochberg 1995."""

from __future__ import annotations

import numpy as np
from queen_outcomes.stats.shares.multiplicity import benjamini_hochberg, holm

P = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240]
P = [*P, 0.4262, 0.5719, 0.6528, 0.7590, 1.0]


def test_fifteen_p_values_of_the_paper():
    # R 4.2.2 p.adjust; the paper rejects four at 0.05, Bonferroni and Holm three
    bh = [0.0015, 0.0030, 0.0095, 0.035625, 0.0603, 0.06385714, 0.06385714, 0.0645]
    bh += [0.0765, 0.486, 0.5811818, 0.714875, 0.7532308, 0.8132143, 1.0]
    held = [0.0015, 0.0056, 0.0247, 0.1140, 0.2211, 0.2780, 0.2780, 0.2780, 0.3213]
    np.testing.assert_allclose(benjamini_hochberg(P), bh, rtol=1e-6)
    np.testing.assert_allclose(holm(P), [*held, *[1.0] * 6], rtol=1e-12)
    assert np.sum(benjamini_hochberg(P) <= 0.05) == 4
    assert np.sum(holm(P) <= 0.05) == 3


def test_order_does_not_matter_and_missing_tests_do_not_count():
    turned = np.array(P[::-1])
    np.testing.assert_array_equal(holm(turned), holm(P)[::-1])
    gap = np.insert(np.array(P), 3, np.nan)
    for adjust in (holm, benjamini_hochberg):
        found = adjust(gap)
        assert np.isnan(found[3])
        np.testing.assert_array_equal(np.delete(found, 3), adjust(P))


def test_nothing_to_adjust_gives_nothing():
    assert holm([]).shape == benjamini_hochberg([]).shape == (0,)
