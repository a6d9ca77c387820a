"""Groups that begin to lay: the score test against the log-rank test and by simulation.

Sources: the 6-MP trial of Freireich and others (Blood 1963;21:699-716), remission in
weeks, as in Kalbfleisch and Prentice (from memory; statsmodels' log-rank test of the data
is held here too); Bernoulli's law for the simulation.
"""

from types import SimpleNamespace

import numpy as np
import pytest
from queen_outcomes.stats.times.onset_score import _expected, onset_score
from scipy.stats import f
from statsmodels.duration.survfunc import survdiff

TREATED = (
    *(6, 6, 6, 6.5, 7, 9.5, 10, 10.5, 11.5, 13, 16),
    *(17.5, 19.5, 20.5, 22, 23, 25.5, 32.5, 32.5, 34.5, 35.5),
)
"""A half: still in remission when last seen, in the week before."""
PLACEBO = (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)


def remissions():
    weeks = np.array([*TREATED, *PLACEBO])
    relapsed = weeks == np.floor(weeks)
    group = np.repeat([0, 1], [len(TREATED), len(PLACEBO)])
    return np.floor(weeks), relapsed, group


def test_days_known_exactly_give_the_log_rank_test_s_observed_less_expected():
    weeks, relapsed, group = remissions()
    assert survdiff(weeks, relapsed, group)[0] == pytest.approx(16.79, abs=0.005)
    found = onset_score(
        np.where(relapsed, weeks - 1, weeks),
        np.where(relapsed, weeks, np.inf),
        ~relapsed,
        group,
        np.arange(len(weeks)),
    )
    # 9 relapses where 19.25 were expected; 21 where 10.75 were
    assert found.score == pytest.approx([-10.25, 10.25], abs=0.005)
    assert found.p < 0.001


def test_the_test_of_exact_days_by_hand():
    """The score and its variance day by day, as Lin and Wei have them, over clusters."""
    day = np.array([2, 3, 3, 5, 7, 7, 8, 9, 11, 12, 13, 15, 16, 16.0])
    ended = np.arange(14) % 5 == 4
    day[ended] = 99  # watched beyond the last day on which anybody begins
    group, cluster = np.arange(14) % 2, np.arange(14) // 2 % 7
    found = onset_score(
        np.where(ended, day, day - 1),
        np.where(ended, np.inf, day),
        ended,
        group,
        cluster,
    )
    parts = np.zeros(14)
    for at in np.unique(day[~ended]):
        risk, begins = day >= at, (day == at) & ~ended
        share = risk[group == 0].sum() / risk.sum()
        parts += ((group == 0) - share) * (begins - risk * begins.sum() / risk.sum())
    sums = np.bincount(cluster, parts)
    square = parts.sum() ** 2 / np.sum(sums**2)
    assert found.score == pytest.approx([parts.sum(), -parts.sum()])
    assert found.statistic == pytest.approx(6 * square / (7 - square))
    assert found.p == pytest.approx(f.sf(found.statistic, 1, 6))
    assert (found.clusters, found.message) == (7, "")
    # five clusters beyond the groups are enough, four are not
    six = onset_score(
        np.where(ended, day, day - 1), np.where(ended, np.inf, day), ended, group,
        cluster % 6,
    )  # fmt: skip
    assert np.isfinite(six.p)
    five = onset_score(
        np.where(ended, day, day - 1), np.where(ended, np.inf, day), ended, group,
        cluster % 5,
    )  # fmt: skip
    assert five.message == "5 batches are too few to compare 2 groups between"


def test_groups_that_are_told_alike_have_no_p_and_few_clusters_say_so():
    after, by = np.zeros(12), np.full(12, 5.0)
    same = onset_score(after, by, np.zeros(12, bool), np.arange(12) % 2, np.arange(12))
    assert same.message == "all courses of a group are told alike"
    few = onset_score(after, by, np.zeros(12, bool), np.arange(12) % 2, np.arange(12) % 4)
    assert few.message == "4 batches are too few to compare 2 groups between"
    alone = onset_score(after, by, np.zeros(12, bool), np.zeros(12, int), np.arange(12))
    assert alone.message == "fewer than two groups"
    nobody = onset_score([], [], [], [], [])
    assert (nobody.score.tolist(), nobody.clusters, nobody.message) == ([], 0, alone.message)


def test_a_course_whose_days_have_no_mass_begins_on_each_of_them_alike():
    days = np.array([[0, 1], [1, 2], [2, 3], [np.inf, np.inf]])
    fit = SimpleNamespace(support=days, mass=np.array([0, 0, 0.6, 0.4]))
    after, by = np.zeros(3), np.array([2.0, 3.0, np.inf])
    begins, waiting = _expected(fit, after, by, np.array([False, False, True]))
    # none by day 2, where nobody began; then all in the third set; then as the curve has it
    assert begins == pytest.approx(np.array([[0.5, 0.5, 0], [0, 0, 1], [0, 0, 0.6]]))
    assert waiting == pytest.approx(np.array([[1, 0.5, 0], [1, 1, 1], [1, 1, 1]]))


def test_names_of_groups_and_the_order_of_courses_change_nothing():
    rng = np.random.default_rng(2)
    after = rng.integers(0, 20, 90).astype(float)
    by = np.where(rng.random(90) < 0.3, np.inf, after + rng.integers(1, 9, 90))
    group, cluster = rng.integers(0, 3, 90), rng.integers(0, 20, 90)
    one = onset_score(after, by, np.isinf(by), group, cluster)
    order = rng.permutation(90)
    other = onset_score(
        after[order], by[order], np.isinf(by)[order], 2 - group[order], cluster[order]
    )
    assert other.p == pytest.approx(one.p, rel=1e-6)
    assert other.score[::-1] == pytest.approx(one.score, abs=1e-6)
    assert one.score.sum() == pytest.approx(0, abs=1e-9)


def station(rng, effect):
    """Give 240 courses in 24 batches that differ, two groups within each, looked at weekly."""
    batch = np.repeat(np.arange(24), 10)
    group = np.tile([0, 1], 120)
    odds = rng.normal(0, 0.6, 24)[batch] + effect * group
    lays = rng.random(240) < 1 / (1 + np.exp(-1.2 - odds))
    begun = np.exp(rng.normal(2.3, 0.4, 240) - 0.15 * odds)
    first = rng.integers(4, 8, 240).astype(float)
    looks = first[:, None] + 7 * np.arange(5)
    seen = (looks >= begun[:, None]) & lays[:, None]
    last = np.where(seen.any(axis=1), seen.argmax(axis=1), 5)
    padded = np.column_stack([np.zeros(240), looks, np.full(240, np.inf)])
    rows = np.arange(240)
    by = padded[rows, last + 1]
    return padded[rows, last], by, np.isinf(by), group, batch


def test_a_difference_is_found():
    found = [onset_score(*station(np.random.default_rng(s), 1.2)).p for s in range(10)]
    assert np.mean(np.array(found) < 0.05) > 0.7


@pytest.mark.slow
def test_where_groups_are_alike_five_in_a_hundred_lie_under_a_twentieth():
    p = [onset_score(*station(np.random.default_rng(s), 0.0)).p for s in range(1000)]
    # 1,000 at 5 % give 36 to 64 in 95 of 100 tries
    assert 30 < np.sum(np.array(p) < 0.05) < 70
