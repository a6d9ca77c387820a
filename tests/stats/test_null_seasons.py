"""Running series against null seasons: scores, what tells the season, limits, refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from queen_outcomes.stats.series.cusum import weights
from queen_outcomes.stats.series.null_seasons import (
    DRIFT,
    LEVEL,
    PAUSE,
    STATION,
    ClosedSeason,
    Hand,
    Unknowns,
    _likeness,
    _Shifts,
    follow,
)
from scipy.special import expit, logit
from scipy.stats import norm

HANDS = 4
UNKNOWN = Unknowns(0.4, np.zeros((1, 1)), np.array([0.1]), np.array([0.05]))
HAND = {at: Hand(at + 1, 60, 0.1, 0.2) for at in range(HANDS)}


def season(days: int = 20, a_day: int = 10, seed: int = 1, moved=0.0) -> ClosedSeason:
    """Give courses of four operators, ten a day, in batches of twenty."""
    rng = np.random.default_rng(seed)
    n = days * a_day
    hand = rng.integers(HANDS, size=n)
    risk = rng.uniform(0.1, 0.3, n)
    moved = np.broadcast_to(moved, HANDS)[hand]
    q = (rng.random(n) < expit(logit(risk) + moved)).astype(float)
    q[rng.random(n) < 0.1] = np.nan
    number = np.arange(n)
    plain = (logit(risk), logit(risk), np.ones((n, 1)), (number // 20)[:, None])
    return ClosedSeason(number // a_day, hand, q, *plain)


def followed(made: ClosedSeason, hands=HAND, unknowns=UNKNOWN, **asked):
    usual = {"chance": 0.01, "planned": 240, "replicates": 1000, "seed": 3}
    return follow(made, hands, unknowns, **{**usual, **asked})


def test_null_seasons_count_by_how_their_colleagues_fared():
    shifts = _Shifts(np.array([0.0, 0.3, 0.9]), np.array([0, 1, 2, 2, 2]))
    weight = _likeness(shifts, 4)  # the season as it came stands last
    assert weight.sum() == pytest.approx(1)
    # the normal curve at 0, 4 and 6 deviations of 0.15
    np.testing.assert_allclose(
        weight[:3] / weight[3], norm.pdf([6, 4, 0]) / norm.pdf(0), rtol=1e-9
    )
    far = _likeness(_Shifts(np.array([-3.0, 3.0]), np.array([0, 0, 1])), 2)
    np.testing.assert_allclose(far, 0.5)


def some(made: ClosedSeason, rows: np.ndarray) -> ClosedSeason:
    return ClosedSeason(*(getattr(made, name)[rows] for name in made.__annotations__))


def test_the_stations_sum_is_that_of_the_days_scores():
    made = season()
    found = followed(made)[-1, STATION]
    np.testing.assert_allclose(found.expected, expit(made.logits))
    last = np.flatnonzero(np.diff(made.day, append=99))
    for way, ratio in enumerate((2.0, 0.5)):
        success, failure = weights(found.expected, ratio)
        score = np.where(made.q > 0, failure, success)
        score = np.where(np.isfinite(made.q), score, 0.0)
        value = 0.0
        for day, at in enumerate(last):
            value = max(0.0, value + score[made.day == day].sum())
            assert found.values[way, at] == pytest.approx(value, abs=1e-9)


def test_later_courses_change_nothing_of_earlier_ones():
    made = season()
    early = followed(some(made, np.flatnonzero(made.day < 12)))
    whole = followed(made)
    for place, found in early.items():
        m = len(found.rows)
        for name in ("rows", "expected", "values", "limits", "signals", "told"):
            np.testing.assert_array_equal(
                getattr(whole[place], name)[..., :m], getattr(found, name), err_msg=name
            )


def test_a_hard_season_is_the_stations_and_nobodys():
    made = season(days=30, moved=1.2, seed=4)
    found = followed(made, {h: replace(one, planned=90) for h, one in HAND.items()})
    assert found[-1, STATION].signals[0].any()
    assert not any(found[h, LEVEL].signals.any() for h in HAND)
    # what is expected against colleagues has moved with the season, not before it is told
    level = found[0, LEVEL]
    moved = logit(level.expected) - made.logits[level.rows]
    assert moved[-1] > 0.7
    assert not level.told[0]
    assert level.told[-1]


def test_one_hand_that_differs_is_signalled_against_colleagues_and_the_own_past():
    hands = {h: replace(one, planned=90) for h, one in HAND.items()}
    found = followed(season(days=30, moved=[1.8, 0, 0, 0]), hands)
    assert found[0, LEVEL].signals[0].any()
    assert found[0, DRIFT].signals[0].any()
    assert not any(found[h, LEVEL].signals[0].any() for h in (1, 2, 3))


def test_under_two_colleagues_operator_and_season_are_not_told_apart():
    made = season(days=30, moved=[2.5, 0, 0, 0])
    made = replace(made, hand=np.minimum(made.hand, 1))
    found = followed(made, {h: replace(HAND[h], planned=90) for h in (0, 1)})
    for hand in (0, 1):
        level = found[hand, LEVEL]
        assert np.isnan(level.limits).all()
        assert not level.told.any()
        assert not level.signals.any()


def test_courses_wait_until_colleagues_are_enough():
    made = season()
    level = followed(made)[0, LEVEL]
    before = ~level.told
    assert before.any()
    assert not level.values[:, before].any()


def test_a_signal_is_followed_by_a_pause_and_none_comes_after_the_planned_courses():
    made = season(days=40, moved=[2.5, 0, 0, 0])
    level = followed(made, replicates=4000)[0, LEVEL]
    at = np.flatnonzero(level.signals[0])
    assert len(at) >= 2
    assert np.diff(at).min() >= PAUSE
    assert at.max() < 60
    assert np.isnan(level.limits[:, 60:]).all()


def test_somebody_not_to_be_told_apart_has_no_verdict():
    hands = {h: replace(one, is_compared=h > 0) for h, one in HAND.items()}
    found = followed(season(days=30, moved=[2.5, 0, 0, 0]), hands)
    for series in (LEVEL, DRIFT):
        assert np.isnan(found[0, series].limits).all()
        assert found[0, series].values.any()


def test_a_part_of_a_failure_scores_between_none_and_a_whole():
    made = season(days=1, a_day=1)
    values = [
        followed(replace(made, q=np.array([q])))[-1, STATION].values[0, 0]
        for q in (0.0, 0.5, 1.0)
    ]
    p = expit(made.logits[0])
    assert values == pytest.approx(
        [0.0, np.log(1.5) - np.log1p(p), np.log(2) - np.log1p(p)]
    )


@pytest.mark.slow
def test_seasons_without_differences_seldom_signal():
    hits = np.zeros(2)
    for seed in range(120):
        rng = np.random.default_rng([seed, 1])
        found = followed(season(seed=seed, moved=rng.normal(0, 0.4)), seed=seed)
        signals = [
            one.signals.any(axis=1) for (h, s), one in found.items() if s == LEVEL
        ]
        hits += np.mean(signals, axis=0)
    # 480 seasons at a chance of 0.01: more than 14 come once in 10,000
    assert (hits * HANDS <= 14).all()
    assert hits.sum() > 0


@pytest.mark.slow
def test_a_hard_season_is_held_to_the_limits_of_hard_seasons():
    """The chance holds in a season like this one, not on average over all that may come."""
    hits, seasons = np.zeros(2), 0
    for seed in range(100):
        made = season(days=30, seed=seed, moved=0.8)
        hands = {h: replace(one, planned=80, change=0.0) for h, one in HAND.items()}
        found = followed(made, hands, planned=320, seed=seed)
        for (_, series), one in found.items():
            if series == LEVEL:
                hits += one.signals.any(axis=1)
                seasons += 1
    # at a chance of 0.01 more than 12 of 400 come once in 4,000
    assert seasons == 400
    assert (hits <= 12).all()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"logits": np.array([np.nan, 0.0])}, "a risk is missing"),
        ({"q": np.array([1.5, 0.0])}, "outside 0 to 1"),
        ({"day": np.array([2, 1])}, "order of closing"),
    ],
)
def test_nonsense_is_refused_by_name(change, said):
    made = some(season(), np.arange(2))
    with pytest.raises(ValueError, match=said):
        followed(replace(made, **change))
    with pytest.raises(ValueError, match="not between 0 and 1"):
        followed(made, chance=1.0)
