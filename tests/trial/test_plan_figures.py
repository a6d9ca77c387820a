"""The figures of a plan: the station's own, by hand, and what stands in for them."""

from __future__ import annotations

import numpy as np
import pytest
from planned_station import AS_OF, D0, course, planned_store, rate, request
from queen_outcomes.base.errors import UsageError
from queen_outcomes.facts.settings import Settings
from queen_outcomes.stats.shares.clustering import anova_icc, arms_within_batches
from queen_outcomes.trial import plan_figures
from queen_outcomes.trial.plan_figures import (
    ASSUMED,
    EVERTED,
    RULE_OF_THUMB,
    STATED,
    STATION,
    _fullest,
    _icc,
    station_figures,
)


def figures(store, **asked):
    return station_figures(store, Settings(), AS_OF, request(**asked))


def station_courses(batches=12, each=10, seed=3):
    """Two arms in every graft batch, a semen load for five queens."""
    rng = np.random.default_rng(seed)
    made = []
    for number in range(batches * each):
        graft = number // each
        state = "yes" if rng.random() < 0.6 + 0.3 * (graft % 2) else "no"
        made.append(
            course(
                number,
                "undecided" if number % each == 0 else state,
                graft_batch=f"g{graft}",
                semen_batch=f"s{number // 5}",
                protocol="a" if number % 2 else "b",
            )
        )
    return made


def test_every_figure_of_a_station_is_its_own(full_store):
    made = station_courses()
    semen = [
        {"semen_batch": "s1", "volume_ul": 60.0, "drones_handled": 100},
        {"semen_batch": "s2", "volume_ul": 30.0, "drones_handled": 50},
        {"semen_batch": "s3", "drones_handled": 40, "drones_yielding": 20},
        {"semen_batch": "s4", "volume_ul": 99.0},
    ]
    estimate = {"estimate": 0.77, "estimate_low": 0.7, "estimate_high": 0.83}
    rates = [rate(120, 81, 27, **estimate)]
    found = figures(planned_store(full_store, made, rates, semen))
    assert {f.source for f in found.listed()} == {STATION}
    assert found.share.value == 0.77
    # one season, all of it; semen of s1 to s3 has drones counted
    assert (found.queens_a_season.value, found.drones_a_season.value) == (120, 190)
    assert "120 closed courses, 95 % limits 70-83 %" in found.share.basis
    assert found.asked.value == 1.0
    assert found.decided.value == pytest.approx(108 / 120)
    assert (found.per_graft.value, found.cv.value) == (10, 0)
    assert found.per_load.value == 5
    assert found.yielding.value == 0.5
    assert found.ul_a_drone.value == pytest.approx(90 / 150)
    y = np.array([{"yes": 1.0, "no": 0.0}.get(a["state"], np.nan) for _, a in made])
    graft, arm = (
        np.array([r[k] for r, _ in made]) for k in ("graft_batch", "protocol")
    )
    assert found.icc.value == pytest.approx(anova_icc(y, graft).icc)
    within = arms_within_batches(y, arm, graft).arm_by_batch
    assert found.arm_by_batch.value == pytest.approx(max(within, 0))


def test_a_correlation_below_nothing_is_told_and_not_counted_on():
    graft, request_ = np.repeat(["a", "b", "c"], 4), request()
    alike = _icc(np.array([1.0, 1, 1, 0, 0, 0, 0, 1, 1, 1, 1, np.nan]), graft, request_)
    assert 0 < alike.value < 1
    assert alike.basis == "11 decided courses in 3 graft batches; from 3 batches: rough"
    # in every batch as many yes as no: by hand, (0 - 1 / 3) / (0 + 3 x 1 / 3)
    apart = _icc(np.tile([1.0, 0], 6), graft, request_)
    assert apart.value == 0
    said = "12 decided courses in 3 graft batches; estimated -0.333, a plan counts on no less than 0"
    assert apart.basis == said


def test_batches_of_one_arm_do_not_tell_how_alike_arms_are(full_store):
    alone = [course(200 + n, "yes", graft_batch="alone", protocol="a") for n in range(4)]
    found = figures(planned_store(full_store, [*station_courses(), *alone], [rate(124, 85, 27)]))
    assert found.arm_by_batch.basis.startswith("12 graft batches held two arms or more")


def test_without_semen_records_the_usual_stands_in_with_its_source(full_store):
    store = planned_store(full_store, station_courses(), [rate(120, 81, 27)])
    found = figures(store)
    assert found.share.value == pytest.approx(0.75)
    assert (found.yielding.value, found.yielding.source) == (0.595, EVERTED)
    assert found.ul_a_drone.value == pytest.approx(0.595)
    assert found.ul_a_drone.source == RULE_OF_THUMB


def test_the_station_s_yield_goes_with_the_rule_of_thumb(full_store):
    semen = [{"semen_batch": "s", "drones_handled": 40, "drones_yielding": 30}]
    store = planned_store(full_store, station_courses(), [rate(120, 81, 27)], semen)
    found = figures(store)
    assert found.ul_a_drone.value == pytest.approx(0.75)
    assert found.yielding.source == STATION


@pytest.mark.parametrize(
    ("row", "ul", "source"),
    [
        ({"volume_ul": 90.0, "volume_drones": 120}, 0.75, STATION),
        ({"volume_ul": 0.0, "volume_drones": 9}, 0.595, RULE_OF_THUMB),
        ({"volume_ul": 9.0}, 0.595, RULE_OF_THUMB),
        ({"yielding": 30, "yield_drones": 0}, 0.595, RULE_OF_THUMB),
    ],
)
def test_a_drone_s_semen_is_the_station_s_own_where_it_says(
    monkeypatch, row, ul, source
):
    every = ("volume_ul", "volume_drones", "yielding", "yield_drones")
    told = {**dict.fromkeys(every), "loads": 4, **row}
    monkeypatch.setattr(plan_figures, "read_drone_yield", lambda *_: told)
    yielding, semen = plan_figures._drones(None, AS_OF)
    assert (semen.value, semen.source) == (pytest.approx(ul), source)
    assert (yielding.value, yielding.source) == (0.595, EVERTED)


def test_what_is_stated_outranks_the_station(full_store):
    store = planned_store(full_store, station_courses(), [rate(120, 81, 27)])
    stated = {"share": 0.9, "icc": 0.2, "queens_per_graft": 33, "queens_per_load": 7}
    found = figures(store, **stated)
    used = (found.share, found.icc, found.per_graft, found.per_load)
    assert [f.value for f in used] == [0.9, 0.2, 33, 7]
    assert {f.source for f in used} == {STATED}


def test_success_is_the_no_of_an_outcome_that_is_a_failure(full_store):
    row, answer = course(1, "yes", graft_batch="g")
    other, kept = course(2, "no", graft_batch="g")
    for one in (answer, kept):
        one |= {"outcome": "lost"}
    lost = rate(40, 8, 32) | {"outcome": "lost", "low": 0.1, "high": 0.35}
    store = planned_store(full_store, [(row, answer), (other, kept)], [lost])
    found = figures(store, outcome="lost")
    assert found.share.value == pytest.approx(0.8)
    assert "65-90 %" in found.share.basis
    assert found.share.name == "not lost by day 21"


def test_queens_of_whom_it_is_not_asked_are_counted(full_store):
    made = [course(n, "yes" if n % 4 else None, graft_batch="g") for n in range(40)]
    store = planned_store(full_store, made, [rate(30, 29, 1)])
    assert figures(store).asked.value == pytest.approx(0.75)


def test_open_courses_say_nothing_yet(full_store):
    late = [course(n, "yes", graft_batch="h", d0=AS_OF) for n in range(500, 510)]
    store = planned_store(full_store, station_courses() + late, [rate(120, 81, 27)])
    found = figures(store)
    assert found.decided.basis == "108 of 120 closed courses"
    assert found.per_graft.basis == "mean of 12 graft batches"


def test_one_batch_cannot_say_how_alike_its_queens_are(full_store):
    made = [course(n, "yes" if n % 4 else "no", graft_batch="g") for n in range(20)]
    found = figures(planned_store(full_store, made, [rate(20, 15, 5)]))
    assert (found.icc.value, found.icc.source) == (0.05, ASSUMED)
    assert "two batches" in found.icc.basis
    assert (found.arm_by_batch.value, found.arm_by_batch.source) == (0.025, ASSUMED)
    assert found.cv.source == ASSUMED


def test_a_correlation_below_nothing_is_not_counted_on(full_store):
    # every batch has exactly one failure in two
    made = [
        course(n, "yes" if n % 2 else "no", graft_batch=f"g{n // 4}") for n in range(40)
    ]
    found = figures(planned_store(full_store, made, [rate(40, 20, 20)]))
    assert found.icc.value == 0
    assert "estimated -0." in found.icc.basis


def test_no_share_to_plan_with_is_told_with_the_way_out(full_store):
    few = rate(3, 2, 1) | {"rate": None}
    for rates in ([], [few]):
        made = [course(n, graft_batch="g") for n in range(3)]
        store = planned_store(full_store, made, rates)
        with pytest.raises(UsageError) as refused:
            figures(store)
        assert "--share 0.8" in refused.value.text()
        counted = f"{3 if rates else 0} closed courses, {3 if rates else 0} of them"
        assert refused.value.found == f"{counted} decided"
    # and the way out leads out
    assert figures(store, share=0.8).share.source == STATED


@pytest.mark.parametrize(("yes", "no"), [(30, 0), (0, 30)])
def test_all_alike_leaves_nothing_to_plan_with(full_store, yes, no):
    made = [course(n, "yes" if yes else "no", graft_batch="g") for n in range(30)]
    store = planned_store(full_store, made, [rate(30, yes, no)])
    with pytest.raises(UsageError) as refused:
        figures(store)
    assert "alike" in refused.value.text()
    assert "95 % limits 70-90 %" in refused.value.text()


def test_an_empty_station_plans_with_what_is_stated(full_store):
    store = planned_store(full_store, [])
    with pytest.raises(UsageError) as refused:
        figures(store, share=0.8)
    assert "--queens-per-graft 30" in refused.value.text()
    found = figures(store, share=0.8, queens_per_graft=30)
    assert (found.decided.value, found.decided.source) == (0.9, ASSUMED)
    assert found.per_load.value == 30
    assert found.asked.source == ASSUMED


def test_the_order_of_the_rows_changes_nothing(full_store):
    made = station_courses()
    rates = [rate(120, 81, 27)]
    one = figures(planned_store(full_store, made, rates))
    other = figures(planned_store(full_store, made[::-1], rates))
    assert one == other
    assert made[0][0]["d0"] == D0


class Seasons:
    """A store of seasons, some of them without a number."""

    def __init__(self, **drones):
        self.rows = [{"season": year, "drones": n} for year, n in drones.items()]

    def records(self, _):
        return self.rows


def test_a_season_without_a_number_is_less_than_one_drone():
    found = _fullest(Seasons(first=None, second=1.0, third=0.0), "drones")
    assert (found.value, found.basis) == (1.0, "season second")
    none = _fullest(Seasons(first=None, second=0.0), "drones")
    assert (none.value, none.basis) == (0.0, "none recorded")
    assert _fullest(Seasons(), "drones").basis == "none recorded"
