"""Counts and shares that stand on the pages, from a few rows counted by hand."""

from __future__ import annotations

import datetime as dt

from by_hand import answers

AS_OF = dt.date(2026, 7, 1)
LAYING = {"outcome": "laying", "window_days": 21}


def ago(days):
    return AS_OF - dt.timedelta(days)


def run(name, params=None, **tables):
    return answers("10_pages", name, params, **tables)


COURSES = (
    "course_id TEXT, course_no INT, season TEXT, iso_week TEXT, d0 DATE, graft_batch TEXT",
    [
        ("A1/1", 1, "2026", "2026-W22", dt.date(2026, 5, 25), "g1"),
        ("A2/1", 2, "2026", "2026-W22", dt.date(2026, 5, 27), "g1"),
        ("A3/1", 3, "2026", "2026-W22", dt.date(2026, 5, 27), "g2"),
        ("B1/1", 4, "2026", "2026-W23", dt.date(2026, 6, 3), "g1"),
        ("B2/1", 5, "2026", "2026-W23", dt.date(2026, 6, 2), "g1"),
        ("C1/1", 6, "2025", "2025-W22", dt.date(2025, 5, 28), "g3"),
        ("D1/1", 7, "2024", "2024-W22", dt.date(2024, 5, 28), "g1"),
        ("F1/1", 9, "2026", "2026-W27", AS_OF, "g1"),
        # their day is still to come, that of the second in the next season
        ("G1/1", 10, "2026", "2026-W27", AS_OF + dt.timedelta(1), "g1"),
        ("E1/1", 8, "2027", "2026-W27", AS_OF + dt.timedelta(1), "g1"),
    ],
)
OUTCOMES = (
    "course_id TEXT, outcome TEXT, window_days INT, state TEXT, closed BOOL",
    [
        ("A1/1", "laying", 21, "yes", True),
        ("A2/1", "laying", 21, "no", True),
        ("A3/1", "laying", 21, "no", True),
        ("B1/1", "laying", 21, "yes", False),
        ("B2/1", "laying", 21, "undecided", True),
        ("C1/1", "laying", 21, "left", True),
        ("D1/1", "laying", 21, "yes", True),
        ("E1/1", "laying", 21, "undecided", False),
        # other questions take no part, by which another graft would stand for the week
        ("A3/1", "laying", 28, "no", True),
        ("A3/1", "lost", 21, "no", True),
    ],
)


def week_rates(*rows):
    columns = '"grouping" TEXT, level TEXT, outcome TEXT, window_days INT, rate DOUBLE, '
    columns += "low DOUBLE, high DOUBLE, estimate DOUBLE, estimate_low DOUBLE, estimate_high DOUBLE"
    return columns, list(rows)


def test_a_week_has_its_estimate_once_it_is_closed_and_what_is_known_before():
    plain, made = (0.5, 0.4, 0.6), (0.55, 0.45, 0.65)
    none = (None, None, None)
    rates = week_rates(
        ("iso_week", "2026-W22", "laying", 21, *plain, *made),
        ("iso_week", "2026-W23", "laying", 21, *plain, *made),
        ("iso_week", "2025-W22", "laying", 21, *plain, *none),
        ("iso_week", "2024-W22", "laying", 21, *plain, *made),
        ("iso_week", "2026-W27", "laying", 21, *plain, *made),
        ("month", "2026-W22", "laying", 21, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1),
        ("iso_week", "2026-W22", "laying", 28, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1),
        ("iso_week", "2026-W22", "lost", 21, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1),
    )

    def weeks(*flagged):
        return run(
            "cohorts",
            {**LAYING, "as_of": AS_OF, "fails": "no"},
            courses=COURSES,
            outcomes=OUTCOMES,
            rates=rates,
            batches=("kind TEXT, batch TEXT, flag TEXT", list(flagged)),
        )

    first, second, third = weeks(("graft_batch", "g1", "more"), ("graft_batch", "g2", "more"))
    monday = dt.date(2025, 5, 26)
    assert first == ("2025-W22", "2025", monday, 1, True, 0, 0, 0, 1, *plain, 0.5, None)
    # of two grafts with as many failures the first by name stands for the week
    monday = dt.date(2026, 5, 25)
    assert second == ("2026-W22", "2026", monday, 3, True, 1, 2, 0, 0, *made, 0.5, "g1")
    # one course is still open: a yes of two so far
    monday = dt.date(2026, 6, 1)
    assert third == ("2026-W23", "2026", monday, 2, False, 1, 0, 1, 0, 0.5, None, None, None, None)
    # the worst graft is named only where it is flagged, as a graft, for more failures
    for other in (("graft_batch", "g2", "more"), ("semen_batch", "g1", "more"), ("graft_batch", "g1", "fewer")):
        assert [week[-1] for week in weeks(other)] == [None] * 3


def test_a_week_of_two_seasons_is_counted_whole_in_the_later_one():
    """Seasons that begin in July: its first day was a Wednesday in 2026."""
    days = [(dt.date(2026, 6, 29), "2025/2026"), (dt.date(2026, 7, 1), "2026/2027")]
    courses = [(f"Q{at}/1", at, season, "2026-W27", day, "g1") for at, (day, season) in enumerate(days)]
    courses.append(("P/1", 9, "2025/2026", "2026-W26", dt.date(2026, 6, 22), "g1"))
    asked = [(row[0], "laying", 21, "yes", True) for row in courses]
    found = run(
        "cohorts",
        {**LAYING, "as_of": AS_OF, "fails": "no"},
        courses=(COURSES[0], courses),
        outcomes=(OUTCOMES[0], asked),
        rates=week_rates(*(("iso_week", week, "laying", 21, *(0.5,) * 6) for week in ("2026-W26", "2026-W27"))),
        batches=("kind TEXT, batch TEXT, flag TEXT", []),
    )  # fmt: skip
    assert [row[:4] for row in found] == [
        ("2026-W26", "2025/2026", dt.date(2026, 6, 22), 1),
        ("2026-W27", "2026/2027", dt.date(2026, 6, 29), 2),
    ]


def test_each_course_has_the_first_fate_that_fits():
    told = {
        "A1/1": ("no", True, "dead", 9, True, "not_laying"),
        "A2/1": ("undecided", True, "missing", None, False, "not_laying"),
        "A3/1": ("yes", True, "superseded", 12, False, "failed"),
        "B1/1": ("yes", True, None, 12, True, "left"),
        "B2/1": ("yes", True, None, 12, False, "laying"),
        "C1/1": ("undecided", False, None, None, False, "early"),
        "D1/1": ("yes", True, None, 12, False, None),
        **dict.fromkeys(("E1/1", "F1/1", "G1/1"), ("undecided", False, None, None, False, None)),
    }
    numbers = {row[0]: row[1] for row in COURSES[1]}
    standings = [
        (numbers[name], window, end, by, is_left)
        for name, (_, _, end, by, is_left, _) in told.items()
        for window in (None, 21)
    ]
    asked = [
        (name, outcome, window, state if (outcome, window) == ("laying", 21) else "no", closed)
        for name, (state, closed, *_) in told.items()
        for outcome, window in (("laying", 21), ("laying", 28), ("lost", 21))
    ]
    found = run(
        "fates",
        {"as_of": AS_OF, "window_days": 21},
        courses=COURSES,
        standings=(
            "course_no INT, window_days INT, end_reason TEXT, onset_by INT, is_left BOOL",
            standings,
        ),
        outcomes=(OUTCOMES[0], asked),
    )
    assert found == [
        ("2025", "2025-W22", "early", 1),
        ("2026", "2026-W22", "failed", 1),
        ("2026", "2026-W22", "not_laying", 2),
        ("2026", "2026-W23", "laying", 1),
        ("2026", "2026-W23", "left", 1),
        ("2026", "2026-W27", "early", 1),
    ]


def test_a_window_that_closed_without_a_look_leaves_a_fate_unknown():
    (row,) = run(
        "fates",
        {"as_of": AS_OF, "window_days": 21},
        courses=(COURSES[0], COURSES[1][:1]),
        standings=(
            "course_no INT, window_days INT, end_reason TEXT, onset_by INT, is_left BOOL",
            [(1, None, None, None, False)],
        ),
        outcomes=(OUTCOMES[0], [("A1/1", "laying", 21, "undecided", True)]),
    )
    assert row == ("2026", "2026-W22", "unknown", 1)


def test_the_window_that_closes_first_is_told():
    def first(*rows):
        asked = [(name, outcome, window, "yes", True) for name, outcome, window in rows]
        return run("first_close", {"grace_days": 7}, outcomes=(OUTCOMES[0], asked), courses=COURSES)

    earliest = dt.date(2026, 5, 25) + dt.timedelta(28)
    assert first(("A2/1", "laying", 21), ("A1/1", "laying", 21), ("A1/1", "lost", 28)) == [
        ("laying", 21, earliest)
    ]
    assert first(("A1/1", "lost", 21), ("A1/1", "laying", 21))[0][0] == "laying"
    assert first() == []


def test_weeks_are_counted_back_from_the_as_of_day():
    """Day 0 today, a week ago and eight days ago; two that are gone, one on a week's last day."""
    courses = [(1, AS_OF), (2, ago(7)), (3, ago(8)), (4, ago(20)), (5, ago(20))]
    stands = [
        *((n, None, None, None, None) for n in (1, 2, 3)),
        (4, None, 13, None, None),
        (5, None, None, 12, 30),
        (1, 21, 0, 0, 0),
    ]
    looks = [(ago(n),) for n in (0, 6, 7, 13, 14, 21)]
    found = run(
        "weeks_past",
        {"as_of": AS_OF, "weeks": 3},
        courses=("course_no INT, d0 DATE", courses),
        standings=(
            "course_no INT, window_days INT, exit_day INT, end_by INT, next_day INT",
            stands,
        ),
        linked_checks=("checked_on DATE", looks),
    )
    # seven days ago one was gone that very day (day 13 of 20), the other the day before
    assert found == [(0, 3, 1, 2), (1, 2, 2, 2), (2, 2, 2, 1)]


def test_a_row_without_a_day_is_counted_in_the_week_of_the_row_above_it():
    source, monday = 1 << 36, dt.date(2026, 6, 1)

    def row(line, days):
        return (source + line, monday + dt.timedelta(days))

    empty = {
        f"accepted_{table}": (f"ref BIGINT, {column} {kind}", [])
        for table, column, kind in (
            ("inseminations", "inseminated_at", "TIMESTAMP"),
            ("co2", "given_at", "TIMESTAMP"),
            ("placements", "placed_on", "DATE"),
            ("exits", "left_on", "DATE"),
            ("queens", "emerged_on", "DATE"),
            ("semen", "collected_at", "TIMESTAMP"),
        )
    }
    place = 'source TEXT, "table" TEXT, line BIGINT'
    found = run(
        "rows_by_week",
        {"as_of": AS_OF},
        **{**empty, "accepted_queens": ("ref BIGINT, emerged_on DATE", [row(9, 8), (source + 10, None)])},
        accepted_checks=("ref BIGINT, checked_on DATE", [row(2, 0), row(4, 7), row(5, 8), row(99, 60)]),
        quarantine=(place, [("a.csv", "checks", 3), ("a.csv", "checks", 3), ("a.csv", "checks", 6)]),
        listed=(
            f"{place}, severity TEXT",
            [("a.csv", "checks", 2, "set_aside"), ("a.csv", "checks", 4, "look"), ("b.csv", "checks", 4, "set_aside")],
        ),
        sources_read=('source_no INT, source TEXT, "table" TEXT', [(1, "a.csv", "checks")]),
    )  # fmt: skip
    assert found == [("2026-W23", 1, 1, 1), ("2026-W24", 3, 0, 1)]


def test_a_card_names_the_colony_she_was_in_last_during_the_course():
    d0, later = ago(60), ago(20)
    card = "course_id TEXT, course_no INT, queen_id TEXT, course INT, d0 DATE, operator TEXT, "
    card += "line TEXT, graft_batch TEXT, semen_batch TEXT, protocol TEXT, dose_ul DOUBLE, next_on DATE"
    none = (None,) * 6
    placed = [
        ("Q", "old", ago(61)), ("Q", "first", d0), ("Q", None, ago(30)), ("Q", "next", later),
        ("Q", "future", AS_OF + dt.timedelta(1)), ("R", "hers", ago(30)),
    ]  # fmt: skip
    looks = [("Q", "second", ago(40)), ("Q", "aside", ago(40)), ("Q", None, ago(35)), ("Q", "third", AS_OF)]
    found = run(
        "queen_cards",
        {"as_of": AS_OF},
        courses=(card, [("Q/1", 1, "Q", 1, d0, *none, later), ("Q/2", 2, "Q", 2, later, *none, None)]),
        onset=('course_id TEXT, "after" INT, "by" INT, conflict BOOL', [("Q/1", 0, None, False), ("Q/2", 3, 9, True)]),
        ends=('course_id TEXT, end_reason TEXT, "after" INT, "by" INT, inferred BOOL', [("Q/2", "dead", 4, 8, False)]),
        standings=("course_no INT, window_days INT, exit_day INT, next_day INT", [(1, None, None, 40), (2, None, 8, None), (2, 21, 1, 1)]),
        accepted_placements=("queen_id TEXT, colony_id TEXT, placed_on DATE", placed),
        linked_checks=("queen_id TEXT, colony_id TEXT, checked_on DATE", looks),
    )  # fmt: skip
    assert [(row[0], *row[10:]) for row in found] == [
        ("Q/2", "third", 3, 9, True, "dead", 4, 8, False, 8, None),
        ("Q/1", "second", 0, None, False, None, None, None, None, None, 40),
    ]


def test_grafts_and_operators_of_a_season_are_its_own():
    grafts = run(
        "season_grafts",
        {**LAYING, "season": "2026"},
        courses=("season TEXT, graft_batch TEXT", [("2026", "g2"), ("2026", "g2"), ("2026", "g1"), ("2025", "g3")]),
        batches=(
            "kind TEXT, batch TEXT, courses INT, failures INT, expected DOUBLE, mid_p DOUBLE, "
            "flag TEXT, outcome TEXT, window_days INT, first_on DATE",
            [
                (kind, name, 9, 3, 2.0, 0.3, "", outcome, window, ago(first))
                for kind, name, outcome, window, first in (
                    ("graft_batch", "g1", "laying", 21, 30),
                    ("graft_batch", "g2", "laying", 21, 40),
                    ("graft_batch", "g3", "laying", 21, 50),
                    ("semen_batch", "g1", "laying", 21, 50),
                    ("graft_batch", "g1", "laying", 28, 50),
                    ("graft_batch", "g1", "lost", 21, 50),
                )
            ],
        ),
    )  # fmt: skip
    assert [row[0] for row in grafts] == ["g2", "g1"]
    points = [
        ("A", "a1", 1, True, 0.75, "", "level"),
        ("A", "a2", 2, False, 0.5, "worse", "level"),
        ("A", "a3", 3, None, 0.5, "better", "level"),
        ("A", "a4", 4, True, 1.25, "worse", "level"),
        ("A", "a4", 4, True, 9.0, "worse", "drift"),
        (None, "a4", 4, True, 9.0, "worse", "level"),
        ("B", "b1", 1, True, 0.9, "", "level"),
    ]
    (row,) = run(
        "season_operators",
        {"season": "2026"},
        operator_series=(
            'operator TEXT, course_id TEXT, "case" INT, failed BOOL, sum_over_expected DOUBLE, '
            "signal TEXT, series TEXT",
            points,
        ),
        courses=("course_id TEXT, season TEXT", [*((f"a{n}", "2026") for n in range(1, 5)), ("b1", "2025")]),
    )  # fmt: skip
    # two failures of three; 1.25 more than expected by now
    assert row == ("A", 3, 2, 0.75, 2)


def test_headlines_and_what_nobody_could_settle_are_of_all_courses():
    rates = (
        'outcome TEXT, window_days INT, "grouping" TEXT, estimate DOUBLE, closed INT, undecided INT, "left" INT',
        [
            ("lost", 60, "all", 0.1, 20, 5, 1),
            ("laying", 60, "all", 0.2, 10, 0, 0),
            ("pattern", 21, "all", None, 0, 0, 0),
            ("laying", 21, "all", 0.8, 1, 1, 0),
            ("laying", 21, "line", 0.7, 30, 3, 0),
        ],
    )
    assert run("headlines", rates=rates) == [
        ("laying", 21, 0.8),
        ("laying", 60, 0.2),
        ("lost", 60, 0.1),
    ]
    assert run("lacking", rates=rates) == [
        ("laying", 21, 1, 1, 0, 1.0),
        ("laying", 60, 10, 0, 0, 0.0),
        ("lost", 60, 20, 5, 1, 0.25),
    ]


def test_what_arms_share_with_other_courses_is_counted():
    courses = (
        "course_id TEXT, operator TEXT, line TEXT, season TEXT, graft_batch TEXT, d0 DATE",
        [("a", "A", "x", "2026", "g", ago(3)), ("b", "A", None, "2026", "g", ago(1)), ("c", "B", "x", "2026", "g", ago(1)), ("d", "B", "x", "2026", "g", ago(0))],
    )  # fmt: skip
    arms = ("course_id TEXT, trial TEXT, arm TEXT", [("a", None, "p"), ("b", None, "p"), ("c", "T", "p"), ("d", None, "")])
    counted = run("arm_levels", arm_courses=arms, courses=courses)
    assert (None, "p", "operator", "A", 2) in counted
    assert (None, "p", "line", "x", 1) in counted
    assert ("T", "p", "year", "2026", 1) in counted
    assert len(counted) == 8
    assert run("linked_arms", arm_courses=arms, courses=courses) == [("p", "A"), ("p", "B"), ("p", "A")]


def test_decided_courses_are_counted_and_what_is_not_known_of_them():
    rows = [
        ("laying", 21, True, 0.2, "A"), ("laying", 21, False, None, "A"), ("laying", 21, True, 0.2, ""),
        ("laying", 21, None, None, ""), ("laying", 28, True, 0.2, "A"), ("lost", 21, True, 0.2, "A"),
    ]  # fmt: skip
    table = ("outcome TEXT, window_days INT, failed BOOL, risk DOUBLE, operator TEXT", rows)
    assert run("audited_counts", LAYING, audit_courses=table) == [(4, 3, 2, 1, 1)]
    assert run("audited_counts", {**LAYING, "window_days": 60}, audit_courses=table) == [(0, 0, 0, 0, 0)]


def test_linked_courses_are_those_of_the_latest_seasons_begun():
    rows = [
        ("w", ago(n), season, "A", "g", "s", f"Q{at}")
        for at, (n, season) in enumerate([(3, "2026"), (0, "2026"), (0, "2026"), (400, "2025"), (-1, "2027")])
    ]
    courses = ("iso_week TEXT, d0 DATE, season TEXT, operator TEXT, graft_batch TEXT, semen_batch TEXT, course_id TEXT", rows)
    for seasons, days in ((1, [0, 0, 3]), (2, [0, 0, 3, 400])):
        found = run("linked_courses", {"as_of": AS_OF, "seasons": seasons}, courses=courses)
        assert [row[1] for row in found] == [ago(n) for n in days]
    checks = ("ref INT, checked_on DATE, checker TEXT", [(2, ago(0), "A"), (1, ago(0), "B"), (3, ago(-1), "C"), (4, ago(9), "D")])
    looked = run("linked_looks", {"as_of": AS_OF}, accepted_checks=checks)
    assert [row[1] for row in looked] == ["B", "A", "D"]


def test_a_season_is_one_of_the_latest_from_the_day_of_its_first_course():
    made = [("2024", ago(800)), ("2025", ago(400)), ("2026", AS_OF)]
    names = ("operator", "dose_ul", "co2_schedule", "queen_age_days", "drone_age_days", "semen_age_h")
    names += ("graft_batch", "semen_batch", "attempts", "leak", "minutes", "tip")
    courses = (
        "course_no INT, course_id TEXT, season TEXT, d0 DATE, iso_week TEXT, "
        + ", ".join(f'"{name}" TEXT' for name in names),
        [(at, f"Q{at}", *one, one[0], *(None,) * 12) for at, one in enumerate(made)],
    )
    asked = [(f"Q{at}", "laying", 21, "yes", True) for at in range(3)]
    rates = [("iso_week", season, "laying", 21, *(0.5,) * 6) for season, _ in made]
    stands = [(at, None, None, 9, False) for at in range(3)]
    found = {
        "cohorts": run(
            "cohorts",
            {**LAYING, "as_of": AS_OF, "fails": "no"},
            courses=courses,
            outcomes=(OUTCOMES[0], asked),
            rates=week_rates(*rates),
            batches=("kind TEXT, batch TEXT, flag TEXT", []),
        ),
        "fates": run(
            "fates",
            {"as_of": AS_OF, "window_days": 21},
            courses=courses,
            standings=(
                "course_no INT, window_days INT, end_reason TEXT, onset_by INT, is_left BOOL",
                stands,
            ),
            outcomes=(OUTCOMES[0], asked),
        ),
    }
    assert [row[0] for row in found["cohorts"]] == ["2025", "2026"]
    assert [row[0] for row in found["fates"]] == ["2025", "2026"]
    months = run("recorded_by_month", {"as_of": AS_OF}, courses=courses)
    assert {row[0] for row in months} == {"2025-05", "2026-07"}


def test_what_a_checker_leaves_blank_is_counted_up_to_the_as_of_day():
    what = ("queen_seen", "mark_seen", "eggs", "larvae", "sealed", "pattern_pct", "drone_in_worker", "queen_cells")
    blank = (None,) * 7
    rows = [("A", ago(0), True, *blank), ("A", ago(1), None, *blank), ("A", ago(-1), True, *blank), (None, ago(1), True, *blank)]
    found = run(
        "blanks_by_checker",
        {"as_of": AS_OF},
        accepted_checks=("checker TEXT, checked_on DATE, " + ", ".join(f"{name} TEXT" for name in what), rows),
    )
    assert {row[2]: row[:2] + row[3:] for row in found}["queen_seen"] == ("A", 2, 1)
    assert {row[3] for row in found if row[2] != "queen_seen"} == {0}


def test_what_is_recorded_of_courses_is_counted_by_month():
    names = ("operator", "dose_ul", "co2_schedule", "queen_age_days", "drone_age_days", "semen_age_h")
    names += ("graft_batch", "semen_batch", "attempts", "leak", "minutes", "tip")
    blank = ("not recorded", *(None,) * 9)
    rows = [
        ("2026", ago(0), "A", "8", "one exposure", *(None,) * 9),
        ("2026", ago(0), None, "8", *blank),
        ("2025", ago(365), "A", None, *blank),
        ("2024", ago(800), "A", None, *blank),
        ("2026", ago(-1), "A", "8", *blank),
        ("2027", ago(-200), "A", "8", *blank),
    ]
    found = run(
        "recorded_by_month",
        {"as_of": AS_OF},
        courses=("season TEXT, d0 DATE, " + ", ".join(f'"{name}" TEXT' for name in names), rows),
    )
    told = {(month, item): (courses, recorded) for month, courses, item, recorded in found}
    assert {month for month, _ in told} == {"2026-07", "2025-07"}
    assert told["2026-07", "operator"] == (2, 1)
    assert told["2026-07", "dose"] == (2, 2)
    assert told["2026-07", "co2_schedule"] == (2, 1)
    assert told["2025-07", "operator"] == (1, 1)


def test_a_failure_is_told_in_plain_words_with_its_rows():
    source = 1 << 36
    found = run(
        "failed_lately",
        {
            "as_of": AS_OF, "lately_days": 7, "grace_days": 7, "sources": ["x.csv"],
            "failures": [{**LAYING, "state": "no", "what": "not laying"}],
        },
        standings=(
            "course_no INT, window_days INT, end_by INT, end_reason TEXT, inferred BOOL, end_ref BIGINT",
            [
                (1, None, 30, "drone_layer", False, source + 4),
                (2, None, 30, "culled_other", True, source + 5),
                (3, None, 24, "dead", False, source + 6),
                (4, None, None, None, None, None),
                (4, 21, 30, "dead", False, source + 7),
            ],
        ),
        courses=(
            "course_no INT, course_id TEXT, queen_id TEXT, operator TEXT, d0 DATE",
            [(n, f"Q{n}/1", f"Q{n}", None, ago(30)) for n in (1, 2, 3)] + [(4, "Q4/1", "Q4", "A", ago(28))],
        ),
        outcomes=(
            "course_id TEXT, outcome TEXT, window_days INT, state TEXT, closed BOOL, settled_by TEXT[]",
            [
                ("Q1/1", "laying", 21, "no", True, ["x.csv:9"]),  # closed two days ago
                ("Q2/1", "laying", 21, "yes", True, []),
                ("Q4/1", "laying", 21, "no", True, ["x.csv:3", "x.csv:2"]),
                ("Q4/1", "laying", 28, "no", True, ["x.csv:1"]),
                ("Q3/1", "laying", 21, "no", False, ["x.csv:1"]),
            ],
        ),
    )  # fmt: skip
    assert found == [
        ("Q1", "Q1/1", None, AS_OF, "gone: drone-layer", "x.csv:4"),
        ("Q2", "Q2/1", None, AS_OF, "gone: culled other, as the looks say", "x.csv:5"),
        ("Q4", "Q4/1", "A", AS_OF, "not laying", "x.csv:2, x.csv:3"),
        ("Q1", "Q1/1", None, ago(2), "not laying", "x.csv:9"),
        ("Q3", "Q3/1", None, ago(6), "gone: dead", "x.csv:6"),
    ]
