"""What a look says, whose brood it is, and what that answers."""

import pytest
from station_tables import check, day, derived, insemination, leave, states

MARKED = [{"queen_id": "Q", "marked": True}]


def onset(*checks, **more):
    more.setdefault("inseminations", [insemination(0)])
    store = derived(queens=MARKED, checks=list(checks), **more)
    return store.rows('SELECT "after", "by", conflict FROM onset ORDER BY course_id')[
        -1
    ]


@pytest.mark.parametrize(
    ("looks", "expected"),
    [
        # textbook stage lengths: eggs hatch in 3 days, cells are sealed 8 days after laying
        ([check(20, sealed=True)], (0, 12)),
        ([check(20, larvae=True)], (0, 17)),
        ([check(20, eggs=True)], (0, 20)),
        ([check(20, eggs=False)], (20, None)),
        ([check(20, eggs=False, larvae=True)], (0, 17)),
        ([check(20, eggs=True, larvae=False)], (16, 20)),
        ([check(20, larvae=True, sealed=False)], (10, 17)),
        ([check(20, eggs=True, sealed=False)], (10, 20)),
        # a later look without brood is a pause
        ([check(14, eggs=True), check(20, eggs=False)], (0, 14)),
        # looks of one day are merged: yes beats no
        ([check(14, eggs=False), check(14, eggs=True)], (0, 14)),
        # a pattern says that sealed brood was there
        ([check(20, sealed=False, pattern_pct=70.0)], (0, 12)),
    ],
)
def test_one_look_bounds_the_onset(looks, expected):
    assert onset(*looks)[:2] == expected


def test_looks_that_contradict_each_other_leave_only_the_brood():
    assert onset(check(15, eggs=False), check(20, sealed=True)) == (0, 12, True)


@pytest.mark.parametrize(
    ("given_on", "stage", "last_day"),
    [(10, "eggs", 13), (10, "larvae", 19), (10, "sealed", 31)],
)
def test_given_brood_is_not_hers_until_it_has_passed(given_on, stage, last_day):
    gift = check(given_on, brood_given=True)
    assert onset(gift, check(last_day, **{stage: True}))[1] is None
    assert onset(gift, check(last_day + 1, **{stage: True}))[1] is not None


def test_brood_present_at_placement_counts_as_given_that_day():
    placed = [
        {"queen_id": "Q", "colony_id": "C", "placed_on": day(1), "brood_present": True}
    ]
    assert onset(check(22, sealed=True), placements=placed)[1] is None


def test_brood_older_than_hers_could_be_counts_as_given():
    assert onset(check(3, larvae=True), check(12, larvae=True))[1] is None
    assert onset(check(3, larvae=True), check(13, larvae=True))[1] == 10


def test_brood_of_the_course_before_is_not_of_this_one():
    found = onset(
        check(11, eggs=True),
        check(32, sealed=True),
        inseminations=[insemination(0), insemination(12)],
    )
    # sealed cells on day 20 of the second course may come from eggs of the first
    assert found[:2] == (0, None)


def test_laying_workers_are_not_her():
    assert onset(check(20, eggs=True, multiple_eggs=True))[1] is None
    assert onset(check(20, eggs=True, multiple_eggs=True, queen_seen=True))[1] == 20


def test_a_queen_without_the_mark_says_nothing_of_hers():
    assert onset(
        check(9, eggs=False), check(20, queen_seen=True, mark_seen=False, eggs=True)
    ) == (
        9,
        None,
        False,
    )


def test_a_missing_mark_counts_only_for_a_queen_known_to_be_marked():
    store = derived(
        inseminations=[insemination(0)],
        checks=[check(20, queen_seen=True, mark_seen=False, eggs=True)],
    )
    assert store.rows("SELECT * FROM ends") == []
    seen_before = derived(
        inseminations=[insemination(0)],
        checks=[
            check(8, queen_seen=True, mark_seen=True),
            check(20, queen_seen=True, mark_seen=False, eggs=True),
        ],
    )
    assert seen_before.rows("SELECT end_reason FROM ends") == [("superseded",)]


LAYING = [check(14, eggs=True, larvae=True)]


@pytest.mark.parametrize(
    ("looks", "expected"),
    [
        ([check(40, sealed=True, drone_in_worker="many")], "yes"),
        (
            [
                check(40, pattern_pct=50.0, drone_in_worker="few"),
                check(47, pattern_pct=50.0, drone_in_worker="few"),
            ],
            "yes",
        ),
        (
            [
                check(40, pattern_pct=50.0, drone_in_worker="few"),
                check(46, pattern_pct=50.0, drone_in_worker="few"),
            ],
            "undecided",
        ),
        (
            [
                check(40, pattern_pct=50.0, drone_in_worker="few"),
                check(44, sealed=True, drone_in_worker="none"),
                check(48, pattern_pct=50.0, drone_in_worker="few"),
            ],
            "undecided",
        ),
        ([check(61, sealed=True, drone_in_worker="few")], "no"),
        ([check(59, sealed=True, drone_in_worker="none")], "undecided"),
        ([check(68, sealed=True, drone_in_worker="none")], "undecided"),
    ],
)
def test_drone_laying_by_60(looks, expected):
    store = derived(
        queens=MARKED, inseminations=[insemination(0)], checks=[*LAYING, *looks]
    )
    assert states(store)["drone_layer", 60] == expected


def test_the_last_pattern_counts_and_given_brood_has_none():
    looks = [
        *LAYING,
        check(35, pattern_pct=90.0),
        check(45, pattern_pct=70.0),
        check(50, brood_given=True, pattern_pct=95.0),
    ]
    store = derived(queens=MARKED, inseminations=[insemination(0)], checks=looks)
    assert states(store)["pattern", 60] == "no"


def test_a_queen_not_known_to_be_marked_is_not_at_risk_of_a_known_supersedure():
    store = derived(inseminations=[insemination(0)], checks=LAYING)
    assert ("superseded", 90) not in states(store)


@pytest.mark.parametrize(
    ("exits", "outcome", "expected"),
    [
        ([leave(30, "dead")], ("superseded", 90), "left"),
        ([leave(30, "superseded")], ("superseded", 90), "yes"),
        ([leave(15, "superseded")], ("lost", 21), "left"),
        ([leave(15, "dead")], ("lost", 21), "yes"),
        ([leave(20, "sold")], ("lost", 21), "left"),
        ([leave(21, "sold")], ("lost", 21), "no"),
        ([leave(30, None)], ("established", 60), "undecided"),
        ([leave(30, "colony_lost")], ("established", 60), "left"),
        ([leave(30, "drone_layer")], ("drone_layer", 60), "yes"),
        ([leave(30, "culled_fault")], ("drone_layer", 60), "left"),
    ],
)
def test_an_exit_answers_or_ends_observation(exits, outcome, expected):
    store = derived(
        queens=MARKED, inseminations=[insemination(0)], checks=LAYING, exits=exits
    )
    assert states(store)[outcome] == expected


def test_a_laboratory_result_alone_counts_as_sampled():
    sampled = [{"queen_id": "Q", "sampled_on": day(30)}]
    store = derived(
        queens=MARKED, inseminations=[insemination(0)], checks=LAYING, lab=sampled
    )
    assert states(store)["established", 60] == "left"
    with_exit = derived(
        queens=MARKED,
        inseminations=[insemination(0)],
        checks=LAYING,
        lab=sampled,
        exits=[leave(29, "dead")],
    )
    assert states(with_exit)["established", 60] == "no"


def test_an_exit_after_the_close_is_as_if_not_yet_written():
    store = derived(
        queens=MARKED,
        inseminations=[insemination(0)],
        checks=[*LAYING, check(62, queen_seen=True)],
        exits=[leave(90, "dead")],
    )
    assert states(store)["established", 60] == "yes"
