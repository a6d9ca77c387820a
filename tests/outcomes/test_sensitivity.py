"""The headline under other assumptions about what nobody saw."""

import numpy as np
import pytest
from filled_in import draw_curves
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes.derive import count_rates
from queen_outcomes.outcomes.sensitivity import shifted_shares
from station_tables import check, day, derived, insemination

SETTLED = np.array([True, True, True, False, False])
# two yes and a no are settled; of two others one is yes in 15 fillings of 20, one in 10
ANSWERS = np.array([[1, 1, 0, k < 15, k < 10] for k in range(20)], float)
NONE = np.zeros(5, bool)


def test_odds_of_the_unsettled_are_shifted_by_hand():
    told = shifted_shares(ANSWERS, SETTLED, NONE, 0.0)
    assert told["unsettled"] == pytest.approx(2 / 5)
    # odds 3 and 1 become 6 and 2, or 1.5 and 0.5
    assert told["doubled"] == pytest.approx((2 + 6 / 7 + 2 / 3) / 5)
    assert told["halved"] == pytest.approx((2 + 1.5 / 2.5 + 0.5 / 1.5) / 5)
    assert (told["all_no"], told["all_yes"]) == pytest.approx((2 / 5, 4 / 5))
    assert told["colony_lost"] == pytest.approx(ANSWERS.mean())


def test_weighing_every_filling_by_its_odds_gives_the_same():
    weight = np.where(ANSWERS[:, 3:] == 1, 2.0, 1.0)
    each = (weight * ANSWERS[:, 3:]).sum(axis=0) / weight.sum(axis=0)
    told = shifted_shares(ANSWERS, SETTLED, NONE, 0.0)
    assert told["doubled"] == pytest.approx((2 + each.sum()) / 5)


def test_a_lost_colony_is_a_failure_of_the_unsettled_alone():
    lost = np.array([True, False, False, True, False])
    told = shifted_shares(ANSWERS, SETTLED, lost, 0.0)
    assert told["colony_lost"] == pytest.approx((2 + 0.5) / 5)
    assert shifted_shares(ANSWERS, SETTLED, lost, 1.0)["colony_lost"] == pytest.approx(
        (2 + 1 + 0.5) / 5
    )


def test_who_was_at_risk_in_half_of_the_fillings_counts_half():
    answers = ANSWERS.copy()
    answers[::2, 4] = np.nan
    told = shifted_shares(answers, SETTLED, NONE, 0.0)
    assert told["all_yes"] == pytest.approx((2 + 1 + 0.5) / 4.5)
    assert told["unsettled"] == pytest.approx(1.5 / 4.5)


def test_what_is_settled_whole_hangs_on_nothing_and_nobody_at_risk_has_no_figure():
    told = shifted_shares(ANSWERS[:, :3], SETTLED[:3], NONE[:3], 0.0)
    for name in ("halved", "doubled", "all_no", "all_yes"):
        assert told[name] == pytest.approx(2 / 3)
    assert shifted_shares(np.full((20, 2), np.nan), NONE[:2], NONE[:2], 0.0) == {}
    assert shifted_shares(np.empty((0, 2)), NONE[:2], NONE[:2], 0.0) == {}


def looked_once(number):
    """Give queens of whom half had brood by the only look, on day 21, and no other sign."""
    names = [f"Q{n:02d}" for n in range(number)]
    seen = {"queen_seen": True, "mark_seen": True}
    return derived(
        day(120),
        queens=[
            {"queen_id": q, "graft_batch": f"G{n % 5}", "marked": True}
            for n, q in enumerate(names)
        ],
        inseminations=[insemination(0, q) for q in names],
        checks=[check(21, q, eggs=n % 2 == 0, **seen) for n, q in enumerate(names)],
    )


def test_the_more_looks_miss_brood_the_more_queens_lay_by_bayes_s_rule():
    store = looked_once(120)
    count_rates(store, Settings())
    draw_curves(store, Settings())
    (found,) = store.records("SELECT * FROM sensitivity WHERE outcome = 'laying'")
    misses = (0.02, 0.05, 0.1)
    shares = [found[f"overlooked_{100 * miss:.0f}"] for miss in misses]
    # of queens that lay a share e is found without brood, so of those found so a share
    # e s / (e s + 1 - s) lays, where (1 - e) s is the half that was found with brood
    assert shares == sorted(shares)
    for miss, share in zip(misses, shares, strict=True):
        assert share == pytest.approx(0.5 / (1 - miss), abs=0.02)
    assert 0 < found["overlooked"] < 0.1


def test_a_station_without_courses_supposes_nothing():
    store = looked_once(0)
    count_rates(store, Settings())
    draw_curves(store, Settings())
    assert store.rows("SELECT count(*) FROM sensitivity") == [(0,)]
