"""The parts of null seasons by hand: what is drawn, counted, scored, limited and passed."""

from __future__ import annotations

import numpy as np
import pytest
from queen_outcomes.stats.series import null_seasons
from queen_outcomes.stats.series.null_seasons import (
    CLEAR,
    PAUSE,
    TIED,
    ClosedSeason,
    Hand,
    Unknowns,
)
from scipy.special import expit, logit

REPLICATES = 4000


def worlds(batches, *, tau=0.5, variances=(0.0,), ses=(0.0,), root=0.3):
    """Draws for courses of one day, log odds 1, with a column of twos."""
    n = len(batches)
    season = ClosedSeason(
        *(np.full(n, 7), np.zeros(n, int), np.zeros(n), np.zeros(n), np.ones(n)),
        *(np.full((n, 1), 2.0), np.array(batches)[:, None]),
    )
    hands = {0: Hand(5, 60, 0.8, 0.2), 1: Hand(6, 60, np.nan, 0.0)}
    unknowns = Unknowns(tau, np.array([[root]]), np.array(variances), np.array(ses))
    return null_seasons._Worlds(season, hands, unknowns, REPLICATES, 1)


def test_what_is_drawn_has_the_deviations_it_is_known_with():
    found = worlds([-1], variances=(9.0,), ses=(0.5,))
    assert found.usual.std() == pytest.approx(0.5, rel=0.05)
    # Student's t with 5 degrees of freedom has variance 5/3
    assert found.shift.std() == pytest.approx(0.5 * np.sqrt(5 / 3), rel=0.1)
    squares = found.deviations**2
    assert (squares.mean(), squares.std()) == pytest.approx((9, 0.5), rel=0.05)
    assert found.coefficients.std() == pytest.approx(0.3, rel=0.05)
    assert found.own[0].mean() == pytest.approx(0.8, abs=0.02)
    assert found.own[0].std() == pytest.approx(0.2, rel=0.05)
    assert not found.own[1].any()
    assert (found.change(0), found.change(1)) == (0.8, 0)


def test_luck_is_logistic_about_what_the_course_brings():
    found = worlds([-1], root=0.0).luck(np.arange(1), 7)[0]
    assert found.mean() == pytest.approx(1, abs=0.1)
    # a quarter lies beyond log 3 on either side
    assert (found > 1 + np.log(3)).mean() == pytest.approx(0.25, abs=0.03)
    assert (found < 1 - np.log(3)).mean() == pytest.approx(0.25, abs=0.03)
    made = worlds([-1])
    luck, plain = made.luck(np.arange(1), 7), worlds([-1], root=0.0).luck([0], 7)
    assert luck - plain == pytest.approx(2 * made.coefficients, abs=1e-5)
    assert not np.array_equal(made.luck([0], 7), made.luck([0], 8))
    assert made.luck(np.arange(0), 7).shape == (0, REPLICATES)


def test_courses_of_one_batch_share_their_luck_and_unknown_batches_none():
    made = worlds([-1, 0, 0, 1], variances=(400.0,), root=0.0)
    alone, one, other, apart = made.luck(np.arange(4), 7)
    logistic = np.pi / np.sqrt(3)
    assert alone.std() == pytest.approx(logistic, rel=0.05)
    assert one.std() == pytest.approx(np.hypot(20, logistic), rel=0.05)
    assert (one - other).std() == pytest.approx(np.sqrt(2) * logistic, rel=0.05)
    assert (one - apart).std() == pytest.approx(
        np.sqrt(2) * np.hypot(20, logistic), rel=0.05
    )


def test_failures_are_counted_in_every_season_with_what_was_not_settled():
    luck = np.array([[1.0, -1, 0.5], [-2, -0.5, 3], [9, 9, 9]])
    moved = np.array([0.0, 0, -4])
    # doubled odds move the log odds by 0.69; the third course failed with chance 0.4
    found = null_seasons._Worlds.failures(None, luck, np.array([0.0, 1, 0.4]), moved)
    assert found == pytest.approx([1.4, 0.4, 0.4, 1.4, 1.4, 0.4, 1.4])


def test_colleagues_tell_the_season_from_ten_failures_expected_of_two():
    hands = {h: Hand(h, 60, 0.0, 0.1) for h in range(3)}
    sums = null_seasons._Sums(hands, 2)
    width = 5  # two seasons, both with odds doubled, and the season as it came
    sums.add(1, np.zeros(18), np.array([7.0, 9, 50, 50, 14]))
    sums.add(2, np.zeros(1), np.zeros(width))
    assert not sums.season_by_others(0)[1]
    sums.add(2, np.zeros(1), np.zeros(width))
    shifts, told = sums.season_by_others(0)
    assert told
    assert len(shifts.values) == 8  # as many failures as 7 to 14 have no two shifts
    shift = shifts.values[shifts.which]
    # 20 courses at even odds: 20 expit(s) + s is what failed, by a prior of deviation 1;
    # seasons with an operator's odds doubled have the colleagues of the seasons without
    assert 20 * expit(shift) + shift == pytest.approx([7, 9, 7, 9, 14], abs=1e-3)
    assert not sums.season_by_others(2)[1]  # one colleague has courses
    alone = null_seasons._Sums({0: hands[0], 1: hands[1]}, 2)
    alone.add(1, np.zeros(40), np.zeros(width))
    assert not alone.season_by_others(0)[1]


def test_seasons_of_unsettled_courses_have_the_shifts_between():
    expected = null_seasons.GRID
    for failures in ([1.0, 2, 1, -1], [0.25, 2, -1, 0.25]):
        found = null_seasons._Shifts.found(np.array(failures), expected)
        assert found.values[found.which] == pytest.approx(failures)
        assert found.read(2 * expected) == pytest.approx(2 * np.array(failures))
        assert found.as_it_came == pytest.approx(failures[-1])


def test_a_day_scores_what_the_odds_ratio_makes_of_it_in_every_season():
    # chances of failing of 1/2, 1/4 and one nothing was seen of; the first failed with a
    # chance of 0.4, the second surely in the first season and in the one that came
    day = null_seasons._Day(
        np.arange(3), np.array([0.0, -np.log(3), 5]), np.array([0.4, 1, np.nan]),
        np.array([1.4, 0.4, 1.4]), shifts([0.0, 1, 0]), told=True,
    )  # fmt: skip
    every, each = day.scores()
    for way, ratio in enumerate((2.0, 0.5)):
        more = ratio - 1
        part, whole = np.log(1 + more * 0.4), np.log(ratio)
        usual = np.log(1 + more / 2), np.log(1 + more / 4)
        hard = np.log(1 + more * expit([1.0, 1 - np.log(3)]))
        assert each[way] == pytest.approx([part - usual[0], whole - usual[1], 0])
        assert every[way] == pytest.approx(
            [part + whole - sum(usual), part - hard.sum(), each[way].sum()]
        )


def test_few_of_the_largest_are_sorted_and_equal_ones_stay_in_order(monkeypatch):
    values, weight = np.array([3.0, 1, 5, 3, 3, 0]), np.full(6, 1.0)
    for asked in (1, 2, 500):
        monkeypatch.setattr(null_seasons, "ASKED", asked)
        for allowed in range(7):
            order, passing = null_seasons._passing(values, weight, float(allowed))
            assert passing == allowed
            assert len(order) > passing or passing == 6
            assert order.tolist() == [2, 0, 3, 4, 1, 5][: len(order)]


def shifts(values) -> null_seasons._Shifts:
    return null_seasons._Shifts(np.array(values, float), np.arange(len(values)))


def track(**changed):
    """Ten seasons whose sums are 1 to 10; 0.4 may be spent, 50 of 100 courses closed."""
    made = null_seasons._Track(planned=100, chance=0.8, replicates=10)
    made.value[:, :10] = np.arange(1.0, 11)
    made.failures[:] = 2.0
    made.seen, made.decided, made.expected = 50, 5, 2.0
    for name, value in changed.items():
        setattr(made, name, value)
    return made


EVEN = np.full(10, 0.1)


@pytest.mark.parametrize("way", [0, 1])
def test_a_limit_is_the_least_of_the_sums_that_may_pass(way):
    assert track()._limit(way, EVEN) == 7.0
    spent = track()
    spent.crossed[way, 9] = True  # the largest sum has signalled: 0.1 is spent
    spent.spent[way] = 0.1
    assert spent._limit(way, EVEN) == 7.0
    # the season of the largest sum counts for four
    heavy = np.append(np.full(9, 0.6 / 9), 0.4)
    assert track()._limit(way, heavy) == 10.0


@pytest.mark.parametrize("way", [0, 1])
def test_where_there_is_no_limit(way):
    after = [50 - PAUSE + 1] * 2
    for changed in ({"decided": 4}, {"after": after}, {"seen": 101}):
        assert np.isnan(track(**changed)._limit(way, EVEN))
    for changed in ({"after": [50 - PAUSE] * 2}, {"seen": 100}):
        assert np.isfinite(track(**changed)._limit(way, EVEN))
    # as much as one season weighs may be spent, but no less
    assert track(chance=0.2)._limit(way, EVEN) == 10.0
    assert np.isnan(track(chance=0.19)._limit(way, EVEN))


def test_a_limit_where_few_may_pass_or_all_are_alike():
    few = track()
    few.failures[3:] = 1.9  # three seasons have seen failures enough
    assert few._limit(0, EVEN) == TIED
    none = track(expected=1.9)
    assert none._limit(1, EVEN) == TIED
    alike = track()
    alike.value[:] = 5.0
    assert alike._limit(0, EVEN) == pytest.approx(CLEAR * 5 + TIED, abs=1e-12)


def test_who_reaches_a_limit_has_signalled_and_begins_anew():
    made = track(seen=50)
    made.value[:, 10:] = np.arange(11.0)  # ten with odds doubled, and the one that came
    made.found_at[9] = 33.0
    assert made._pass(0, 8.0, EVEN)
    assert made.crossed[0].tolist() == [False] * 7 + [True] * 3
    assert made.found_at.tolist() == [0] * 8 + [50, 33]
    assert made.after == [50, -PAUSE]
    assert not made.value[0, :10].any()
    assert made.value[0, -1] == 0
    assert made.value[0, 10:-1].tolist() == list(range(10))
    other = track()
    other.value[:, 10:] = np.arange(11.0)
    assert other._pass(1, 10.0, EVEN)  # as much is enough
    assert not other.found_at.any()
    assert other.crossed[1].tolist() == [False] * 9 + [True]
    assert not other._pass(1, np.nan, EVEN)
    assert not track()._pass(0, 8.0, EVEN)


def test_a_signals_chance_is_spent_as_it_weighed_that_day():
    made = track()
    made.value[:, -1] = -1.0  # the season as it came does not signal
    heavy = np.append(np.full(9, 0.7 / 9), 0.3)
    assert not made._pass(1, 10.0, heavy)
    assert made.spent.tolist() == [0.0, 0.3]
    # later the season that signalled weighs next to nothing: 0.1 is left, not 0.4
    light = np.append(np.full(9, 1.0 / 9), 0.0)
    assert np.isnan(made._limit(1, light))
    # who has signalled spends nothing a second time
    assert not made._pass(1, 9.0, light)
    assert made.spent[1] == pytest.approx(0.3 + 1 / 9)


@pytest.mark.parametrize(
    ("found", "share", "median"),
    [
        ([9, 0, 3, 0], 0.5, 9),
        ([0, 0, 3, 0], 0.25, np.nan),
        ([9, 5, 3, 0, 0], 0.6, 9),
        ([9, 5, 0, 0, 0], 0.4, np.nan),
    ],
)
def test_half_of_the_seasons_with_doubled_odds_have_signalled(found, share, median):
    made = track(found_at=np.array(found, float), said=[tuple(np.zeros((6, 1)))])
    done = made.followed()
    assert done.detection == share
    assert done.median == pytest.approx(median, nan_ok=True)


def test_a_days_courses_are_taken_together():
    made = null_seasons._Track(planned=100, chance=0.5, replicates=2)
    day = null_seasons._Day(
        np.array([4, 8, 9]), logit([0.5, 0.25, 0.1]), np.array([1, 0, np.nan]),
        np.array([1.0, 0, 1, 1, 1]), shifts(np.zeros(5)), told=False,
    )  # fmt: skip
    made.take(day, has_verdict=False)
    assert (made.seen, made.decided, made.expected) == (3, 2, pytest.approx(0.75))
    done = made.followed()
    worse = np.log(4 / 3), np.log(4 / 3 / 1.25), np.log(4 / 3 / 1.25)
    assert done.values[0] == pytest.approx(worse)
    assert not done.values[1, 0]
    assert done.expected == pytest.approx([0.5, 0.25, 0.1])
    assert np.isnan(done.limits).all()
    assert not done.told.any()
    assert done.rows.tolist() == [4, 8, 9]


def test_chances_at_their_ends_are_no_nonsense_and_courses_come_by_day():
    season = ClosedSeason(
        *(np.array([1, 1, 2]), np.zeros(3, int), np.array([0.0, 1, np.nan])),
        *(np.zeros(3), np.zeros(3), np.zeros((3, 1)), np.zeros((3, 1), int)),
    )
    null_seasons._refuse(season, 0.5)
    with pytest.raises(ValueError, match="not between 0 and 1"):
        null_seasons._refuse(season, 0.0)
    assert [rows.tolist() for rows in null_seasons._days(season.day)] == [[0, 1], [2]]
    assert null_seasons._days(season.day[:0]) == []
