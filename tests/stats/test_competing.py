"""Competing ends and states by day: hand-made cases, ties, late entry, batches."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from incidence import cumulative_incidence
from queen_outcomes.stats.times.competing import known_courses, with_limits
from queen_outcomes.stats.times.curve_limits import wilson_limits
from scipy.special import logit
from scipy.stats import t


def incidence(rows, days, **more):
    entry, exit_, event = np.array(rows, float).T
    return cumulative_incidence(
        entry, exit_, event.astype(int), causes=[1, 2], days=days, **more
    )


def test_an_event_comes_before_a_leaving_on_its_day():
    # day 5: one of four dies, one leaves; day 7: one of two is superseded
    rows = [(0, 5, 1), (0, 5, 0), (0, 7, 2), (0, 9, 0)]
    curves = incidence(rows, [4, 5, 7, 9])
    np.testing.assert_allclose(curves.estimate[0], [0, 0.25, 0.25, 0.25])
    np.testing.assert_allclose(curves.estimate[1], [0, 0, 0.375, 0.375])
    assert curves.known.tolist() == [4, 4, 3, 3]


def test_a_late_comer_counts_only_from_behind_its_entry():
    # at day 5 the second is not yet under observation: one of one
    rows = [(0, 5, 1), (5, 9, 0)]
    assert incidence(rows, [5]).estimate[0, 0] == 1
    assert incidence([(0, 5, 1), (4, 9, 0)], [5]).estimate[0, 0] == 0.5


def test_an_event_on_day_0_counts_with_an_entry_before_it():
    assert incidence([(-1, 0, 1), (-1, 9, 0)], [0]).estimate[0, 0] == 0.5
    assert incidence([(0, 0, 1), (0, 9, 0)], [0]).estimate[0, 0] == 0


def test_without_leaving_the_incidence_is_the_plain_share():
    rng = np.random.default_rng(1)
    exit_, event = rng.integers(1, 30, 200), rng.integers(1, 3, 200)
    curves = incidence(np.column_stack([np.zeros(200), exit_, event]), [10, 20, 29])
    for cause in (1, 2):
        share = [((exit_ <= d) & (event == cause)).mean() for d in (10, 20, 29)]
        np.testing.assert_allclose(curves.estimate[cause - 1], share, atol=1e-12)
        error = np.sqrt(np.array(share) * (1 - np.array(share)) / 200)
        np.testing.assert_allclose(curves.se[cause - 1], error, atol=1e-12)


def simulated(seed, courses=300, batches=30):
    rng = np.random.default_rng(seed)
    batch = rng.integers(0, batches, courses)
    entry = rng.integers(0, 6, courses)
    exit_ = entry + rng.integers(0, 40, courses) + rng.integers(0, 5, batches)[batch]
    return entry, exit_, rng.integers(0, 3, courses), batch


@pytest.mark.slow
def test_the_errors_are_the_derivatives_in_the_batches_weights():
    entry, exit_, event, batch = simulated(2, courses=60, batches=7)
    found = cumulative_incidence(
        entry, exit_, event, causes=[1, 2], days=[20], clusters=batch
    )
    # a batch's weight raised by 1 / 2000, with 2000 copies standing for weight 1
    copies, squares = 2000, np.zeros(2)
    for number in range(7):
        often = copies + (batch == number)
        rows = [np.repeat(v, often) for v in (entry, exit_, event)]
        more = cumulative_incidence(*rows, causes=[1, 2], days=[20])
        squares += ((more.estimate - found.estimate)[:, 0] * copies) ** 2
    np.testing.assert_allclose(found.se[:, 0], np.sqrt(squares), rtol=2e-3)


def test_rows_of_their_own_are_clusters_of_one():
    entry, exit_, event, _ = simulated(3)
    given_ = {"causes": [1, 2], "days": [10, 30]}
    one = cumulative_incidence(entry, exit_, event, **given_)
    rows = np.arange(len(entry))
    other = cumulative_incidence(entry, exit_, event, clusters=rows, **given_)
    np.testing.assert_allclose(one.se, other.se, atol=1e-12)
    assert one.clusters == other.clusters == (exit_ > entry).sum()


def test_limits_of_few_batches_are_widened_and_use_t():
    entry, exit_, event, batch = simulated(7, courses=90, batches=6)
    curves = cumulative_incidence(
        entry, exit_, event, causes=[1], days=[20], clusters=batch
    )
    assert curves.clusters == 6
    share, se = curves.estimate[0, 0], curves.se[0, 0] * np.sqrt(6 / 5)
    reach = t.ppf(0.975, 5) * se / (share * (1 - share))
    assert logit(curves.high[0, 0]) - logit(share) == pytest.approx(reach)
    assert logit(share) - logit(curves.low[0, 0]) == pytest.approx(reach)


@given(
    st.lists(
        st.tuples(st.integers(0, 9), st.integers(0, 30), st.integers(0, 2)), max_size=30
    ),
    st.randoms(use_true_random=False),
)
@settings(max_examples=60, deadline=None)
def test_shares_add_up_rise_and_do_not_mind_the_order(rows, random):
    days = np.arange(0, 45)
    shuffled = rows.copy()
    random.shuffle(shuffled)
    table = [(e, e + stay, what) for e, stay, what in rows]
    other = [(e, e + stay, what) for e, stay, what in shuffled]
    one = incidence(np.reshape(table, (-1, 3)), days)
    two = incidence(np.reshape(other, (-1, 3)), days)
    np.testing.assert_allclose(one.estimate, two.estimate, atol=1e-12)
    np.testing.assert_allclose(one.se, two.se, atol=1e-12)
    assert (np.diff(one.estimate, axis=1) >= 0).all()
    assert one.estimate.sum(axis=0).max(initial=0) <= 1 + 1e-12
    assert (one.low <= one.high).all()


def test_nothing_and_one_batch_have_limits_too():
    none = incidence(np.empty((0, 3)), [21])
    assert (none.estimate[0, 0], none.low[0, 0], none.high[0, 0]) == (0, 0, 1)
    alone = incidence(
        [(0, 5, 1), (0, 9, 0), (0, 9, 0), (0, 9, 0)], [9], clusters=np.zeros(4)
    )
    # Wilson, 1 of 4
    assert alone.low[0, 0] == pytest.approx(0.0455873, abs=1e-6)
    assert alone.high[0, 0] == pytest.approx(0.6993582, abs=1e-6)


def test_known_are_those_under_observation_and_those_whose_end_is_known():
    rng = np.random.default_rng(3)
    entry = rng.integers(0, 9, 60).astype(float)
    upto = entry + rng.integers(0, 9, 60)
    by, ended = upto + rng.integers(1, 4, 60), rng.random(60) < 0.5
    days = np.arange(-1.0, 25)
    counted = [
        sum(
            (a <= day <= b) or (done and day >= known)
            for a, b, known, done in zip(entry, upto, by, ended, strict=True)
        )
        for day in days
    ]
    assert known_courses(entry, upto, by, ended, days).tolist() == counted


def test_two_batches_have_limits_by_t_and_one_those_of_its_courses():
    days, share, se = np.array([5.0]), np.array([0.4]), np.array([0.05])
    found = with_limits(days, share, se, np.array([30]), 2)
    reach = t.ppf(0.975, 1) * 0.05 * np.sqrt(2) / 0.24
    odds = np.log(0.4 / 0.6)
    assert found.low == pytest.approx(1 / (1 + np.exp(reach - odds)))
    assert found.high == pytest.approx(1 / (1 + np.exp(-reach - odds)))
    one = with_limits(days, share, se, np.array([30]), 1)
    assert (one.low, one.high) == tuple(wilson_limits(share, [30]))


def test_who_is_known_on_each_day():
    # under observation from 0 to 5, from 3 to 3, and ended by 4 after 0 to 2
    found = known_courses(
        [0, 3, 0], [5, 3, 2], [9, 9, 4], [False, False, True], [0, 2, 3, 4, 5, 6]
    )
    assert found.tolist() == [2, 2, 2, 2, 2, 1]
