"""How it is known that a queen is gone, and from when."""

import pytest
from station_tables import check, day, derived, insemination, leave, states

MARKED = [{"queen_id": "Q", "marked": True}]


def ends(*checks, exits=(), **more):
    more.setdefault("inseminations", [insemination(0)])
    records = {"queens": MARKED, "checks": list(checks), "exits": list(exits), **more}
    store = derived(until="ends", **records)
    return store.rows('SELECT end_reason, "after", "by", inferred FROM ends')


EMPTY = {"queen_seen": False, "eggs": False}


@pytest.mark.parametrize(
    ("looks", "expected"),
    [
        ([check(7, **EMPTY), check(9, **EMPTY)], []),
        ([check(7, **EMPTY), check(10, **EMPTY)], [("missing", 0, 7, True)]),
        ([check(7, **EMPTY), check(9), check(10, **EMPTY)], [("missing", 0, 7, True)]),
        ([check(7, **EMPTY), check(9, larvae=True), check(10, **EMPTY)], []),
        ([check(7, **EMPTY), check(10, **EMPTY), check(12, queen_seen=True)], []),
        (
            [
                check(7, **EMPTY),
                check(10, **EMPTY),
                check(12, queen_seen=True),
                check(20, **EMPTY),
                check(25, **EMPTY),
            ],
            [("missing", 12, 20, True)],
        ),
        (
            [
                check(5, queen_seen=True),
                check(20, queen_seen=False, eggs=True, multiple_eggs=True),
                check(24, **EMPTY),
            ],
            [("missing", 5, 20, True)],
        ),
    ],
)
def test_a_run_of_empty_looks_makes_her_missing(looks, expected):
    assert ends(*looks) == expected


def test_an_exit_gives_the_reason_and_an_earlier_inference_the_day():
    found = ends(check(7, **EMPTY), check(10, **EMPTY), exits=[leave(30, "dead")])
    assert found == [("dead", 0, 7, False)]


def test_an_exit_that_shows_her_there_undoes_an_inference():
    assert ends(check(7, **EMPTY), check(10, **EMPTY), exits=[leave(30, "sold")]) == []


def test_a_lost_colony_leaves_an_earlier_inference_standing():
    found = ends(
        check(7, **EMPTY), check(10, **EMPTY), exits=[leave(30, "colony_lost")]
    )
    assert found == [("missing", 0, 7, True)]


def test_nothing_is_inferred_after_an_exit():
    assert (
        ends(check(37, **EMPTY), check(40, **EMPTY), exits=[leave(30, "moved")]) == []
    )


def test_a_queen_inseminated_again_was_not_missing():
    found = ends(
        check(7, **EMPTY),
        check(10, **EMPTY),
        inseminations=[insemination(0), insemination(14)],
    )
    assert found == []


def test_on_one_day_the_graver_exit_counts_and_the_later_one_is_listed():
    store = derived(
        inseminations=[insemination(0)],
        exits=[leave(9, "sold"), leave(9, "dead"), leave(12, "missing")],
    )
    assert store.rows("SELECT end_reason FROM ends") == [("dead",)]
    listed = store.rows("SELECT reason, value FROM course_findings ORDER BY value")
    assert listed == [("later_exit", str(day(9))), ("later_exit", str(day(12)))]


def test_eggs_date_her_last_life_sign_to_when_they_were_laid():
    found = ends(check(14, eggs=True), exits=[leave(20, "missing")])
    assert found == [("missing", 11, 20, False)]
    found = ends(exits=[leave(0, "dead")])
    assert found == [("dead", -1, 0, False)]


def test_looks_after_her_end_are_somebody_elses_and_listed():
    store = derived(
        queens=MARKED,
        inseminations=[insemination(0)],
        checks=[check(14, eggs=False), check(30, eggs=True, sealed=True)],
        exits=[leave(16, "dead")],
    )
    assert store.rows('SELECT "after", "by" FROM onset') == [(14, None)]
    assert store.rows("SELECT reason FROM course_findings") == [("after_end",)]
    assert states(store)["laying", 21] == "no"


def test_a_run_of_empty_looks_is_known_from_the_look_that_makes_it_long_enough():
    looks = [check(number, **EMPTY) for number in (7, 8, 10, 14)]
    store = derived(
        queens=MARKED,
        inseminations=[insemination(0)],
        checks=[*looks, check(20, eggs=True), check(22, queen_seen=True), check(30, **EMPTY)],
        until="end_hints",
    )
    rows = store.rows(
        "SELECT reason, by_day, valid_from, valid_until, ref_line(ref), ref_line(second_ref) "
        "FROM end_hints"
    )
    assert rows == [("missing", 7, 10, 20, 2, 4)]


def test_a_queen_without_the_mark_is_undone_only_by_her_own_signs():
    stranger = check(20, queen_seen=True, mark_seen=False)
    brood = check(25, eggs=True, larvae=True)
    assert ends(stranger, brood) == [("superseded", 0, 20, True)]
    assert ends(stranger, check(25, queen_seen=True, mark_seen=True)) == []
    # she left in hand on that very day: it was she
    assert ends(stranger, exits=[leave(20, "sold")]) == []


def test_a_sample_counts_once_the_queen_has_not_left_before_the_course():
    def sampled(*exits, samples=(40, 30)):
        store = derived(
            inseminations=[insemination(0), insemination(0, "R")],
            lab=[{"queen_id": "Q", "sampled_on": day(number)} for number in samples],
            exits=list(exits),
            as_of=day(40),
            until="course_exits",
        )
        return store.rows(
            "SELECT exit_day, sampled_day, ref_line(sampled_ref) FROM course_exits "
            "INNER JOIN courses USING (course_no) WHERE queen_id = 'Q'"
        )

    assert sampled() == [(None, 30, 3)]
    assert sampled(leave(-5, "moved")) == []
    assert sampled(leave(-5, "moved", "R")) == [(None, 30, 3)]
    assert sampled(leave(0, "moved")) == [(0, 30, 3)]
    # one of day 0 and one of the as-of day count
    assert sampled(samples=(0,)) == [(None, 0, 2)]
    assert sampled(samples=(40,)) == [(None, 40, 2)]
    assert sampled(samples=(41, -1)) == []


def test_an_exit_counts_up_to_the_as_of_day():
    records = {"inseminations": [insemination(0)], "exits": [leave(9, "dead")]}
    found = {n: derived(day(n), until="ends", **records).rows("SELECT * FROM ends") for n in (8, 9)}
    assert (len(found[8]), len(found[9])) == (0, 1)
