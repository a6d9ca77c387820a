"""What is told of single queens, in words, from rows written by hand."""

import datetime as dt

import pytest
from by_hand import answers
from staged_tables import day

FOLDER = "11_explain"
ASKED = {"queens": ["Q"]}


@pytest.mark.parametrize(
    ("outcome", "facts", "answer", "told"),
    [
        # state, closed, after, by -> window, interval, rule
        (
            ("undecided", False, None, None),
            (False, None),
            "undecided",
            ("open", "", "not settled yet"),
        ),
        (
            ("undecided", True, 20, 22),
            (False, None),
            "undecided",
            ("closed", "(20, 22]", "the looks leave it open on which side of day 21"),
        ),
        (
            ("undecided", True, 21, 22),
            (False, None),
            "undecided",
            ("closed", "(21, 22]", "no look at the right time"),
        ),
        (
            ("undecided", True, 20, 21),
            (False, None),
            "undecided",
            ("closed", "(20, 21]", "no look at the right time"),
        ),
        (
            ("undecided", True, 5, None),
            (False, None),
            "undecided",
            ("closed", "(5, not by then]", "no look at the right time"),
        ),
        (
            ("left", True, None, None),
            (True, None),
            "left",
            ("closed", "", "left observation, or inseminated again, before day 21"),
        ),
        (
            ("left", True, None, None),
            (False, "dead"),
            "left",
            ("closed", "", "her end came first: dead"),
        ),
        (
            ("yes", True, 3, 9),
            (True, None),
            "yes",
            ("closed", "(3, 9]", "as she was seen"),
        ),
        (
            ("yes", True, 3, 9),
            (False, None),
            "no",
            ("closed", "(3, 9]", "the settings have changed since this build"),
        ),
    ],
)
def test_the_rule_that_settled_an_outcome(outcome, facts, answer, told):
    found = answers(
        FOLDER,
        "outcomes_explained",
        ASKED,
        outcomes=(
            'course_id TEXT, outcome TEXT, window_days INT, state TEXT, closed BOOL, "after" INT, '
            '"by" INT, settled_by TEXT[]',
            [
                ("Q/1", "laying", 21, *outcome, ["a.csv:2", "a.csv:3"]),
                ("R/1", "laying", 21, *outcome, []),
            ],
        ),
        courses=(
            "course_id TEXT, course_no INT, queen_id TEXT, course INT",
            [("Q/1", 1, "Q", 1), ("R/1", 2, "R", 1)],
        ),
        window_facts=(
            "course_no INT, window_days INT, is_out BOOL, end_reason TEXT",
            [(n, 21, *facts) for n in (1, 2)],
        ),
        answers=(
            "course_no INT, window_days INT, outcome TEXT, state TEXT, why TEXT",
            [(n, 21, "laying", answer, "as she was seen") for n in (1, 2)],
        ),
    )
    assert [row[4:] for row in found] == [(*told, "a.csv:2, a.csv:3")]


LOOK = {
    "eggs_hers": False,
    "larvae_hers": False,
    "sealed_hers": False,
    "pattern_hers": None,
    "drone_hers": None,
    "is_seen": False,
    "mark": None,
    "is_older": False,
    "since_given": None,
    "is_empty": False,
    "day": 9,
}


@pytest.mark.parametrize(
    ("seen", "hers", "remark"),
    [
        ({}, "", ""),
        (
            {
                "eggs_hers": True,
                "larvae_hers": True,
                "sealed_hers": True,
                "pattern_hers": 80,
                "is_seen": True,
            },
            "eggs, larvae, sealed, pattern 80 %, herself",
            "",
        ),
        ({"drone_hers": 0}, "no drone brood", ""),
        ({"drone_hers": 1}, "few drone cells", ""),
        ({"drone_hers": 2, "mark": True}, "many drone cells", ""),
        (
            {"mark": False, "is_older": True},
            "",
            "another queen was there; brood too old to be hers",
        ),
        (
            {"since_given": 21, "is_empty": True},
            "",
            "brood not hers came in 21 days before; neither queen nor eggs",
        ),
        ({"since_given": 22}, "", ""),
        ({"day": 10}, "", ""),
        ({"day": 11}, "", "after her end: not used"),
    ],
)
def test_what_a_look_says_of_her(seen, hers, remark):
    look = LOOK | seen
    kinds = dict.fromkeys(look, "BOOL") | {
        "pattern_hers": "INT",
        "drone_hers": "INT",
        "since_given": "INT",
        "day": "INT",
    }
    columns = ", ".join(f"{name} {kinds[name]}" for name in look)
    found = answers(
        FOLDER,
        "looks_explained",
        {**ASKED, "sources": ["a.csv"], "emerge_days": 21},
        evidence=(
            f"course_no INT, ref BIGINT, bound_after INT, bound_by INT, {columns}",
            [(n, (1 << 36) + 4, 2, 8, *look.values()) for n in (1, 2)],
        ),
        standings=(
            "course_no INT, window_days INT, end_by INT",
            [(1, None, 10), (1, 21, 1), (2, None, 10)],
        ),
        courses=(
            "course_id TEXT, course_no INT, queen_id TEXT, course INT",
            [("Q/1", 1, "Q", 1), ("R/1", 2, "R", 1)],
        ),
    )
    assert found == [("Q/1", (1 << 36) + 4, look["day"], "a.csv:4", hers, 2, 8, remark)]


def test_a_course_with_its_onset_and_end_in_words():
    facts = "d0 DATE, operator TEXT, dose_ul DOUBLE, doses INT, protocol TEXT, semen_batch TEXT, "
    facts += (
        "graft_batch TEXT, queen_age_days INT, drone_age_days DOUBLE, co2_schedule TEXT"
    )
    rest = (day(0), "A", 8.0, 1, "p", "s", "g", 9, 14.0, "one exposure")
    found = answers(
        FOLDER,
        "courses_explained",
        ASKED,
        courses=(
            f"course_id TEXT, queen_id TEXT, course INT, {facts}",
            [("Q/2", "Q", 2, *rest), ("Q/1", "Q", 1, *rest), ("R/1", "R", 1, *rest)],
        ),
        onset=(
            'course_id TEXT, "after" INT, "by" INT',
            [("Q/1", 3, 9), ("Q/2", 5, None), ("R/1", 1, 2)],
        ),
        ends=(
            'course_id TEXT, "after" INT, "by" INT, end_reason TEXT',
            [("Q/1", 30, 40, "dead")],
        ),
    )
    assert [(row[0], *row[-2:]) for row in found] == [
        ("Q/1", "after day 3 and by day 9", "dead by day 40 (after day 30)"),
        ("Q/2", "after day 5, not seen", None),
    ]


def test_the_facts_of_the_queens_asked_for():
    found = answers(
        FOLDER,
        "window_facts_of_queens",
        ASKED,
        window_facts=("course_no INT, window_days INT", [(1, 21), (2, 21), (1, 42)]),
        courses=("course_no INT, queen_id TEXT", [(1, "Q"), (2, "R")]),
    )
    assert sorted(found) == [(1, 21), (1, 42)]


def noon(number):
    return dt.datetime.combine(day(number), dt.time(12))


CHECK = (
    "colony_id TEXT, queen_seen BOOL, mark_seen BOOL, eggs BOOL, larvae BOOL, sealed BOOL, pattern_pct INT, "
    "drone_in_worker TEXT, brood_given BOOL, multiple_eggs BOOL, queen_cells TEXT, note TEXT"
)
DONE = (
    "operator TEXT, dose_ul DOUBLE, dose_meant_ul DOUBLE, semen_batch TEXT, protocol TEXT, attempts INT, "
    "leak TEXT, note TEXT, emerged_on DATE, co2_other_at TIMESTAMP, co2_other_minutes DOUBLE"
)
NO_CHECK = (None,) * 12


def trail(**more):
    tables = {
        "accepted_queens": (
            "queen_id TEXT, emerged_on DATE, line TEXT, graft_batch TEXT, marked BOOL, mark TEXT, ref BIGINT",
            [],
        ),
        "accepted_inseminations": (
            f"queen_id TEXT, ref BIGINT, inseminated_at TIMESTAMP, {DONE}",
            [],
        ),
        "accepted_semen": (
            "semen_batch TEXT, ref BIGINT, collected_at TIMESTAMP, drone_line TEXT, volume_ul DOUBLE, "
            "drones_yielding INT, drones_handled INT",
            [],
        ),
        "accepted_co2": (
            "queen_id TEXT, ref BIGINT, given_at TIMESTAMP, minutes DOUBLE",
            [],
        ),
        "accepted_placements": (
            "queen_id TEXT, ref BIGINT, placed_on DATE, removed_on DATE, colony_id TEXT, method TEXT, brood_present BOOL",
            [],
        ),
        "linked_checks": (f"queen_id TEXT, ref BIGINT, checked_on DATE, {CHECK}", []),
        "accepted_exits": ("queen_id TEXT, ref BIGINT, left_on DATE, reason TEXT", []),
        "accepted_lab": (
            "queen_id TEXT, ref BIGINT, sampled_on DATE, sperm_millions DOUBLE, viability_pct INT",
            [],
        ),
        "quarantine": (
            'source TEXT, "table" TEXT, slot INT, line INT, reason TEXT, message TEXT, "row" JSON',
            [],
        ),
        "sources_read": (
            'source_no INT, source TEXT, "table" TEXT',
            [(1, "a.csv", "checks")],
        ),
        "courses": ("queen_id TEXT, d0 DATE", [("Q", day(0)), ("Q", day(30))]),
    }
    for name, rows in more.items():
        tables[name] = (tables[name][0], rows)
    asked = {**ASKED, "as_of": day(50), "sources": ["a.csv", "b.csv"]}
    found = answers(FOLDER, "trail", asked, **tables)
    return [
        (row[2], row[4] if row[6] == "quarantined" else row[6], row[8]) for row in found
    ]


BENCH = ("A", 8.0, 9.0, "S", "p", 1, "none", "calm", None, None, None)
PLAIN = (None, None, None, None, None, 2, None, None, day(-9), noon(1), 4.0)


def test_every_row_of_a_queen_in_the_order_of_its_day():
    found = trail(
        accepted_inseminations=[
            ("Q", 11, noon(0), *BENCH),
            ("Q", 13, noon(30), *PLAIN),
            ("R", 12, noon(0), *BENCH),
        ],
        accepted_semen=[
            ("S", 21, noon(-1), "d", 60.0, 9, 12),
            ("T", 22, noon(-1), "d", 60.0, 9, 12),
        ],
        accepted_co2=[("Q", 31, noon(-1), 3.0)],
        accepted_placements=[("Q", 41, day(2), day(20), "C", "cage", True)],
        linked_checks=[
            (
                "Q",
                51,
                day(3),
                "C",
                True,
                True,
                True,
                True,
                True,
                80,
                "few",
                True,
                True,
                "none",
                "n",
            ),
            ("Q", 52, day(29), None, False, False, False, False, False, *(None,) * 6),
            ("Q", 53, day(30), *NO_CHECK),
        ],
        accepted_exits=[("Q", 61, day(50), "dead"), ("Q", 62, day(51), None)],
        accepted_lab=[("Q", 71, day(52), 4.5, 90)],
    )
    assert found == [
        (None, "emerged", f"emerged {day(-9)}"),
        (None, "co2", "CO2 exposure, 3.0 min"),
        (None, "semen", "semen S, drone line d, 60.0 uL, from 9 drones, handled 12"),
        (
            0,
            "inseminated",
            "inseminated by A, 8.0 uL, meant 9.0 uL, semen S, protocol p, 1 attempt, leak none, calm",
        ),
        (1, "co2", "CO2 exposure, 4.0 min"),
        (
            2,
            "placed",
            f"placed in C, cage, brood of another queen there, removed {day(20)}",
        ),
        (
            3,
            "checked",
            "in C, queen seen, mark seen, eggs, larvae, sealed, pattern 80 %, drone in worker few, "
            "brood given, several eggs to a cell, queen cells none, n",
        ),
        (
            29,
            "checked",
            "queen not seen, without her mark, no eggs, no larvae, no sealed",
        ),
        (0, "checked", ""),
        (0, "inseminated", "inseminated, 2 attempts"),
        (20, "left", "left observation: dead"),
        (
            21,
            "left",
            "left observation: no reason given (after the as-of day: not used)",
        ),
        (
            22,
            "sampled",
            "spermatheca, 4.5 million sperm, 90 % live (after the as-of day: not used)",
        ),
    ]


def test_emergence_is_told_once_by_the_queens_own_row_or_her_first_insemination():
    later = (*PLAIN[:8], day(-5), None, None)
    first = (*PLAIN[:9], None, None)
    told = trail(
        accepted_inseminations=[("Q", 12, noon(30), *later), ("Q", 11, noon(0), *first)]
    )
    assert [row for row in told if row[1] == "emerged"] == [
        (None, "emerged", f"emerged {day(-9)}")
    ]
    told = trail(
        accepted_queens=[
            ("Q", day(-8), "l", "g", False, "red", 1),
            ("R", day(-8), "l", "g", True, None, 2),
        ],
        accepted_inseminations=[("Q", 11, noon(0), *first)],
    )
    assert [row[2] for row in told if row[1] == "emerged"] == [
        f"emerged {day(-8)}, line l, graft g, not marked, red"
    ]


def test_quarantined_rows_that_name_her_stand_at_the_end():
    row = '{"Queen": "Q", "Mother": "Q", "Eggs": "yes"}'
    found = trail(
        quarantine=[
            ("a.csv", "checks", None, 7, "b", "second", row),
            ("a.csv", "checks", None, 7, "a", "first", row),
            ("a.csv", "checks", None, 8, "a", "first", '{"Queen": "R"}'),
        ],
        accepted_exits=[("Q", 61, day(40), "sold")],
    )
    assert found == [
        (10, "left", "left observation: sold"),
        (None, "a.csv:7", "quarantined: first second"),
    ]
