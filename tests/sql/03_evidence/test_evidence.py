"""What a look says, whose brood it is, and what that answers."""

import pytest
from station_tables import check, day, derived, insemination, leave, states

MARKED = [{"queen_id": "Q", "marked": True}]


def rows_of(table, columns, *checks, **more):
    """Give the rows of a table in the order of days; a row of the records as its line."""
    more.setdefault("inseminations", [insemination(0)])
    rows = {"queens": MARKED, "checks": list(checks), **more}
    store = derived(until=table, **rows)
    return store.records(f"SELECT {columns} FROM {table} ORDER BY ALL")


def onset(*checks, **more):
    more.setdefault("inseminations", [insemination(0)])
    store = derived(queens=MARKED, checks=list(checks), until="onset", **more)
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


SINGLE = [
    # eggs hatch on the third day and cells are sealed on the ninth: before that, or on
    # the day itself, what is there cannot be hers
    (check(0, eggs=True), {"is_older": True, "since_given": 0, "eggs_hers": False}),
    (check(1, eggs=True), {"is_older": False, "eggs_hers": True, "bound_by": 1}),
    (check(3, larvae=True), {"is_older": True, "larvae_hers": False}),
    (check(4, larvae=True), {"is_older": False, "larvae_hers": True, "bound_by": 1}),
    (check(8, sealed=True), {"is_older": True, "sealed_hers": False}),
    (check(9, sealed=True), {"is_older": False, "sealed_hers": True, "bound_by": 1}),
    # neither queen nor eggs; brood of hers, or one of both not looked for, is not that
    (check(9, queen_seen=False, eggs=False), {"is_empty": True, "shows_no_brood": True}),
    (check(9, queen_seen=False), {"is_empty": False, "shows_no_brood": False}),
    (check(9, eggs=False), {"is_empty": False, "shows_no_brood": True}),
    (
        check(9, queen_seen=False, eggs=False, larvae=True),
        {"is_empty": False, "shows_no_brood": False, "shows_brood": True},
    ),
    (
        check(9, queen_seen=False, eggs=False, sealed=True),
        {"is_empty": False, "shows_no_brood": False, "shows_brood": True},
    ),
    # several eggs to a cell are hers only where she herself is there
    (
        check(9, queen_seen=False, eggs=True, multiple_eggs=True),
        {"is_empty": True, "eggs_hers": False, "shows_brood": False},
    ),
    (check(9, eggs=True, multiple_eggs=True), {"is_empty": False, "eggs_hers": False}),
    (
        check(9, queen_seen=True, eggs=True, multiple_eggs=True),
        {"is_empty": False, "eggs_hers": True, "is_seen": True},
    ),
    # another queen: neither what is there nor what is missing is said of her
    (
        check(9, queen_seen=True, mark_seen=False, eggs=False, larvae=False, sealed=False),
        {"is_seen": False, "shows_no_brood": False, "bound_after": None},
    ),
    (
        check(40, queen_seen=True, mark_seen=False, eggs=True, larvae=True, sealed=True),
        {"eggs_hers": False, "larvae_hers": False, "sealed_hers": False},
    ),
    # what is missing bounds the onset from before, unless a later stage is there
    (check(30, eggs=True, larvae=False), {"bound_after": 26}),
    (check(30, eggs=True, larvae=False, sealed=True), {"bound_after": None}),
    (check(30, eggs=True, sealed=False), {"bound_after": 20}),
    (check(30, larvae=True, sealed=False), {"bound_after": 20}),
    (check(30, larvae=False, sealed=False), {"bound_after": None}),
    (check(30, eggs=False, sealed=True), {"bound_after": None, "bound_by": 22}),
    (check(30, eggs=True, larvae=True, sealed=True), {"bound_by": 22}),
]
"""A single look at a marked queen, and what it says of her."""


@pytest.fixture(scope="module")
def single_looks():
    """Every one of them at a queen of its own."""
    names = [f"L{at:02}" for at in range(len(SINGLE))]
    store = derived(
        queens=[{"queen_id": name, "marked": True} for name in names],
        inseminations=[insemination(0, name) for name in names],
        checks=[
            {**look, "queen_id": name} for name, (look, _) in zip(names, SINGLE, strict=True)
        ],
        until="evidence",
    )
    return store.records("SELECT * FROM evidence ORDER BY queen_no")


@pytest.mark.parametrize("at", range(len(SINGLE)))
def test_what_one_look_says_of_her(single_looks, at):
    told = SINGLE[at][1]
    assert {name: single_looks[at][name] for name in told} == told


def test_a_pattern_or_drone_cells_are_hers_once_the_given_brood_has_emerged():
    gift = check(10, brood_given=True)
    for number, hers in ((31, (None, None)), (32, (70.0, 1))):
        scored = check(number, pattern_pct=70.0, drone_in_worker="few")
        row = rows_of("evidence", "day, pattern_hers, drone_hers", gift, scored)[-1]
        assert (row["pattern_hers"], row["drone_hers"]) == hers


def test_brood_given_with_the_colony_counts_up_to_the_as_of_day():
    stay = {"queen_id": "Q", "colony_id": "C", "placed_on": day(20), "brood_present": True}
    others = [{**stay, "placed_on": day(6), "brood_present": False}]
    found = onset(check(20, eggs=True), placements=[stay, *others], as_of=day(20))
    assert found[1] is None
    assert onset(check(20, eggs=True), placements=others)[1] == 20


def test_brood_seen_before_day_0_is_old_whether_or_not_she_has_a_row_of_her_own():
    looks = check(-2, sealed=True), check(19, sealed=True), check(20, sealed=True)
    for queens in (MARKED, []):
        rows = rows_of("evidence", "day, since_given, sealed_hers", *looks, queens=queens)
        assert [tuple(row.values()) for row in rows] == [(19, 21, False), (20, 22, True)]


def test_old_brood_is_of_the_last_look_before_the_course_that_saw_any():
    doses = [insemination(number) for number in (0, 30, 60, 90)]
    looks = [
        check(14, eggs=True),
        check(20, larvae=True),
        check(25, eggs=False, larvae=False, sealed=False),
        check(62, eggs=True, queen_seen=True),
        check(75, sealed=True),
    ]
    found = rows_of("earlier_looks", "course, brood_on", *looks, inseminations=doses)
    # nobody looked in the second course nor in the fourth
    assert [tuple(row.values()) for row in found] == [
        (2, day(20)),
        (3, day(20)),
        (4, day(75)),
    ]


def test_a_mark_seen_in_an_earlier_course_is_known_of_in_the_next():
    doses = [insemination(0), insemination(30)]
    looks = [
        check(9, queen_seen=True, mark_seen=True),
        check(20, queen_seen=True),
        check(40, queen_seen=True, mark_seen=False),
    ]
    records = {"queens": [], "inseminations": doses}
    assert rows_of("earlier_looks", "course, mark_seen", *looks, **records) == [
        {"course": 2, "mark_seen": True}
    ]
    marks = rows_of("looks", "day, mark", *looks, **records)
    assert sorted((row["day"], row["mark"]) for row in marks if row["day"] > 9) == [
        (10, False),
        (20, None),
    ]


def test_looks_of_one_day_are_merged_field_by_field():
    looks = [
        check(9, queen_seen=True, mark_seen=True, pattern_pct=60.0, drone_in_worker="none"),
        check(9, queen_seen=False, eggs=True, pattern_pct=70.0, drone_in_worker="few"),
        check(9, eggs=False, larvae=False, sealed=False),
        check(10, queen_seen=False, mark_seen=True, pattern_pct=0.0, sealed=False),
        check(11, drone_in_worker="few", sealed=False),
        check(12, drone_in_worker="none", sealed=False, brood_given=True),
        check(13, pattern_pct=1.0, multiple_eggs=True),
    ]
    columns = (
        "checked_on - DATE '2025-06-01' AS day, ref_line(ref) AS line, len(refs) AS rows, "
        "queen_seen, mark_seen, eggs, larvae, sealed, pattern_pct, drone_rank, "
        "sealed_contradicted, brood_given, multiple_eggs"
    )
    found = [tuple(row.values()) for row in rows_of("queen_days", columns, *looks)]
    one = (None, None)  # eggs, larvae
    assert found == [
        (9, 2, 3, True, True, True, False, True, 70.0, 1, True, False, False),
        (10, 5, None, False, None, *one, False, 0.0, None, False, False, False),
        (11, 6, None, None, None, *one, True, None, 1, True, False, False),
        (12, 7, None, None, None, *one, False, None, 0, False, True, False),
        (13, 8, None, None, None, *one, True, 1.0, None, False, False, True),
    ]


def test_a_look_counts_up_to_the_as_of_day():
    looks = check(9, eggs=False), check(10, eggs=False)
    assert onset(*looks, as_of=day(9))[:2] == (9, None)


@pytest.mark.parametrize("ended", ["exits", "lab"])
def test_a_look_on_the_day_she_left_is_the_last_of_hers(ended):
    looks = [check(number, eggs=False) for number in (19, 20, 21)]
    more = {"exits": [leave(20, "moved")]}
    if ended == "lab":
        more = {"lab": [{"queen_id": "Q", "sampled_on": day(20)}]}
    assert [row["day"] for row in rows_of("looks", "day", *looks, **more)] == [19, 20]


STORY = [
    check(5, queen_seen=True, eggs=False),
    check(12, eggs=True, larvae=False),
    check(
        19,
        queen_seen=True, mark_seen=True, eggs=False, larvae=True,
        sealed=True, drone_in_worker="none", pattern_pct=70.0,
    ),
    check(28, queen_seen=False, eggs=False, larvae=False, sealed=False),
    check(35, eggs=True, sealed=True, drone_in_worker="few", pattern_pct=90.0),
    check(44, queen_seen=True, mark_seen=True, sealed=True, drone_in_worker="many"),
]
"""Six looks in lines 2 to 7: laying, a pause, laying again, and drone brood at last."""


def test_what_is_known_after_each_look():
    """By hand: eggs were laid in the 3 days before, sealed cells 8 days before or more."""
    columns = ", ".join(
        f"ref_line({name}) AS {name}" if name.endswith("ref") else name
        for name in (
            *("day", "next_day", "eggs_hers", "alive_before", "onset_after"),
            *("onset_after_ref", "onset_by", "onset_by_ref", "no_brood_day"),
            *("no_brood_ref", "pattern_pct", "pattern_ref", "clean_day", "calm_day"),
            *("calm_ref", "there_day", "there_ref", "alive_day", "mark_day", "mark_ref"),
        )
    )
    found = [tuple(row.values()) for row in rows_of("so_far", columns, *STORY)]
    unseen = (None,) * 5  # no pattern, no sealed brood
    last = found[-1]
    assert found == [
        (5, 12, False, None, 5, 2, None, None, 5, 2, *unseen, 5, 2, 5, None, None),
        (12, 19, True, 5, 8, 3, 12, 3, 5, 2, *unseen, 12, 3, 9, None, None),
        (19, 28, False, 9, 8, 3, 11, 4, 5, 2, 70.0, 4, 19, 19, 4, 19, 4, 19, 19, 4),
        (28, 35, False, 19, 8, 3, 11, 4, 28, 5, 70.0, 4, 19, 19, 4, 19, 4, 19, 19, 4),
        (35, 44, True, 19, 8, 3, 11, 4, 28, 5, 90.0, 6, 19, 35, 6, 35, 6, 32, 19, 4),
        (44, last[1], False, 32, 8, 3, 11, 4, 28, 5, 90.0, 6, 19, 35, 6, 44, 7, 44, 44, 7),
    ]
    assert last[1] > 10_000  # no look follows


def test_she_was_there_as_looks_and_her_leaving_show():
    exits, again = [leave(50, "sold")], [insemination(0), insemination(60)]
    rows = rows_of("end_signs", "day, is_own", *STORY, exits=exits, inseminations=again)
    assert [tuple(row.values()) for row in rows] == [
        (5, False),
        (12, False),
        (19, True),
        (35, False),
        (44, True),
        (50, True),
        (60, True),
    ]


@pytest.mark.parametrize(
    ("looks", "expected"),
    [
        # sealed brood without drone cells, seen last on day 20: she turned after it
        (
            [
                check(18, sealed=True, drone_in_worker="none"),
                check(20, sealed=True, drone_in_worker="none"),
                check(25, sealed=False, drone_in_worker="none"),
                check(30, sealed=True, drone_in_worker="few"),
                check(40, sealed=True, drone_in_worker="many"),
                check(50, sealed=True, drone_in_worker="many"),
            ],
            [(40, 6, 20)],
        ),
        # a pattern as good as it has to be is not poor
        (
            [
                check(40, pattern_pct=80.0, drone_in_worker="few"),
                check(50, pattern_pct=79.0, drone_in_worker="few"),
                check(57, pattern_pct=79.0, drone_in_worker="few"),
            ],
            [(57, 4, 0)],
        ),
        ([check(40, pattern_pct=50.0), check(50, sealed=True, drone_in_worker="few")], []),
    ],
)
def test_when_she_turned_drone_layer(looks, expected):
    columns = "drone_day, ref_line(drone_ref) AS line, drone_after"
    found = rows_of("drone_events", columns, *looks)
    assert [tuple(row.values()) for row in found] == expected
