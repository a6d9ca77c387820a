"""Twelve queens whose fate is worked out by hand, in the order of the methods page.

Each was marked, inseminated on 1 June and looked at as below; the answers are as of
1 October with the default settings. Stage lengths: common practice.
"""

import pytest
from station_tables import check, derived, insemination, leave, states

SEALED = {"eggs": True, "larvae": True, "sealed": True}
NONE_LEFT = {"queen_seen": False, "eggs": False}

CASES = {
    "1 laid between two looks": (
        [
            check(7, eggs=False),
            check(14, eggs=True, larvae=False),
            check(63, queen_seen=True, drone_in_worker="none", **SEALED),
        ],
        [],
        (10, 14),
        "yes",
        "yes",
    ),
    "2 sold after laying": (
        [check(14, eggs=True, larvae=True, sealed=False)],
        [leave(30, "sold")],
        (4, 11),
        "yes",
        "left",
    ),
    "3 the interval straddles the window": (
        [check(18, eggs=False), check(25, eggs=True, larvae=True, sealed=False)],
        [],
        (18, 22),
        "undecided",
        "undecided",
    ),
    "4 missing at two looks": (
        [check(7, **NONE_LEFT), check(12, **NONE_LEFT)],
        [],
        (7, None),
        "no",
        "no",
    ),
    "5 dead on day 3": ([], [leave(3, "dead")], (0, None), "no", "no"),
    "6 never looked at": ([], [], (0, None), "undecided", "undecided"),
    "7 superseded": (
        [check(20, **SEALED), check(40, queen_seen=True, mark_seen=False, eggs=True)],
        [],
        (0, 12),
        "yes",
        "no",
    ),
    "8 drone-layer": (
        [
            check(10, eggs=False),
            check(20, queen_seen=True, sealed=True, drone_in_worker="many"),
            check(62, queen_seen=True),
        ],
        [],
        (10, 12),
        "yes",
        "no",
    ),
    "9 brood from elsewhere": (
        [
            check(9, brood_given=True, **SEALED),
            check(14, eggs=True, larvae=False, sealed=True),
        ],
        [],
        (10, 14),
        "yes",
        "undecided",
    ),
    "11 missing, nobody had looked lately": (
        [check(3, queen_seen=True, eggs=False)],
        [leave(20, "missing")],
        (3, None),
        "undecided",
        "no",
    ),
    "12 seen again much too late": (
        [check(14, eggs=True, larvae=True), check(300, queen_seen=True)],
        [],
        (0, 11),
        "yes",
        "undecided",
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_worked_case(name):
    checks, exits, interval, laying, established = CASES[name]
    store = derived(
        queens=[{"queen_id": "Q", "marked": True}],
        inseminations=[insemination()],
        checks=checks,
        exits=exits,
    )
    assert store.rows('SELECT "after", "by", conflict FROM onset') == [
        (*interval, False)
    ]
    found = states(store)
    assert (found["laying", 21], found["established", 60]) == (laying, established)


def test_a_queen_inseminated_again_before_laying_has_failed_the_first_time():
    store = derived(
        queens=[{"queen_id": "Q", "marked": True}],
        inseminations=[insemination(), insemination(12)],
        checks=[check(7, eggs=False), check(11, eggs=False)],
    )
    assert store.rows('SELECT "after", "by" FROM onset ORDER BY course_id LIMIT 1') == [
        (11, None)
    ]
    found = states(store)
    assert (found["laying", 21], found["established", 60]) == ("no", "no")


@pytest.mark.parametrize(
    ("name", "end"),
    [
        ("4 missing at two looks", ("missing", 0, 7, True)),
        ("5 dead on day 3", ("dead", 0, 3, False)),
        ("7 superseded", ("superseded", 17, 40, True)),
        ("11 missing, nobody had looked lately", ("missing", 3, 20, False)),
    ],
)
def test_the_end_of_a_worked_case(name, end):
    checks, exits, *_ = CASES[name]
    store = derived(
        queens=[{"queen_id": "Q", "marked": True}],
        inseminations=[insemination()],
        checks=checks,
        exits=exits,
    )
    ends = store.rows('SELECT end_reason, "after", "by", inferred FROM ends')
    assert ends == [end]


def test_the_drone_layer_of_case_8_turned_between_day_0_and_20():
    checks = CASES["8 drone-layer"][0]
    store = derived(
        queens=[{"queen_id": "Q", "marked": True}],
        inseminations=[insemination()],
        checks=checks,
    )
    assert store.rows(
        'SELECT state, "after", "by" FROM outcomes WHERE outcome = \'drone_layer\''
    ) == [("yes", 0, 20)]
