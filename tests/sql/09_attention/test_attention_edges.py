"""What needs attention, each statement at its very edge; all counted by hand."""

import datetime as dt

import pytest
from queen_outcomes.base import resources
from queen_outcomes.base.store import Store

AS_OF = dt.date(2026, 7, 19)


def ago(days):
    return AS_OF - dt.timedelta(days)


def answer(name, tables, **parameters):
    """Run a statement over tables given as rows; a column is typed by its values."""
    store = Store()
    for table, rows in tables.items():
        columns = list(rows[0])
        types = {}
        for column in columns:
            value = next((r[column] for r in rows if r[column] is not None), "")
            types[column] = {bool: "BOOLEAN", int: "BIGINT", float: "DOUBLE"}.get(
                type(value), "DATE" if isinstance(value, dt.date) else "VARCHAR"
            )
        described = ", ".join(f'"{column}" {types[column]}' for column in columns)
        store.execute(f"CREATE TABLE {table} ({described})")
        marks = ", ".join("?" * len(columns))
        for row in rows:
            store.con.execute(
                f"INSERT INTO {table} VALUES ({marks})", list(row.values())
            )
    return store.rows(resources.read("sql", "09_attention", f"{name}.sql"), parameters)


def due(course, until, colony=None, status="due"):
    return {
        "course_id": course,
        "queen_id": course[:2],
        "colony_id": colony,
        "useful_until": until,
        "status": status,
    }


def test_a_look_on_day_0_is_none_and_both_ends_of_the_days_ahead_count():
    tables = {
        "due": [
            due("Q1/1", ago(0), "H9"),
            due("Q1/1", ago(-7), "H1"),
            due("Q2/1", ago(-7)),
            due("Q3/1", ago(0)),
            due("Q4/1", ago(1)),
            due("Q5/1", ago(-8)),
        ],
        "courses": [{"course_id": f"Q{n}/1", "course_no": n} for n in range(1, 6)],
        "looks": [{"course_no": 1, "day": 0}, {"course_no": 2, "day": 1}],
    }
    ahead = {"as_of": AS_OF, "soon_days": 7}
    # three queens; of Q1 a look of day 0 alone, of Q3 none
    assert answer("closing", tables, **ahead) == [(3, 2, AS_OF, "H9")]
    tables["due"] = tables["due"][4:]
    assert answer("closing", tables, **ahead) == []


def signal(operator, known_on, episode=1, case=40, **more):
    row = {"operator": operator, "series": "level", "case": case, "direction": "worse"}
    row |= {"episode": episode, "courses": 30, "failures": 12, "expected": 5.0}
    return {**row, "known_on": known_on, **more}


def batch(name, failures, expected, operator="Ane", **more):
    row = {"operator": operator, "series": "level", "case": 40, "kind": "graft_batch"}
    return {**row, "batch": name, "failures": failures, "expected": expected, **more}


def told(signals, batches):
    rows = answer(
        "signals",
        {"operator_signals": signals, "signal_batches": batches},
        as_of=AS_OF, recent_days=35,
    )
    return [(operator, series, on, name) for operator, series, on, *_, name in rows]


def test_a_change_is_told_by_its_first_signal_the_level_before_the_drift():
    signals = [
        signal("Ane", ago(2), series="drift"),
        signal("Ane", ago(2)),
        signal("Ane", ago(1), case=44),
        signal("Ane", ago(1), episode=2, case=50),
        signal("Bo", ago(34)),
        signal("Cy", ago(35)),
        signal("Di", ago(3), direction="better"),
        signal(None, ago(1)),
    ]
    assert told(signals, [batch("G1", 1, 0.0)]) == [
        (None, "level", ago(1), None),
        ("Ane", "level", ago(1), None),
        ("Ane", "level", ago(2), None),
        ("Bo", "level", ago(34), None),
    ]


@pytest.mark.parametrize(
    ("batches", "named"),
    [
        # 7 more than expected in all: half of it is 3.5
        ([batch("G1", 5, 1.5)], "G1"),
        ([batch("G1", 5, 1.6)], None),
        ([batch("G1", 5, 1.0), batch("G2", 6, 1.0)], "G2"),
        # alike, the first by name; a larger one of another kind, case or hand is not hers
        ([batch("G2", 5, 1.0), batch("G1", 5, 1.0)], "G1"),
        ([batch("S1", 9, 1.0, kind="semen_batch"), batch("G1", 5, 1.0)], "G1"),
        ([batch("G1", 9, 1.0, case=41)], None),
        ([batch("G1", 9, 1.0, series="drift")], None),
        ([batch("G1", 9, 1.0, operator="Bo")], None),
        ([batch("G1", 9, 1.0, operator=None)], None),
    ],
)
def test_a_batch_is_named_that_holds_half_of_what_is_beyond(batches, named):
    assert told([signal("Ane", ago(2))], batches) == [("Ane", "level", ago(2), named)]


def test_the_station_s_own_signal_has_a_batch_too():
    found = told([signal(None, ago(2))], [batch("G1", 9, 1.0, operator=None)])
    assert found == [(None, "level", ago(2), "G1")]


def looks_of(checker, last, number):
    return [{"checker": checker, "checked_on": ago(last + n)} for n in range(number)]


@pytest.mark.parametrize(
    ("last", "number", "listed"),
    [(14, 5, 5), (13, 5, None), (55, 5, 5), (56, 5, None), (14, 4, None), (14, 60, 56)],
)
def test_a_steady_checker_is_missed_after_two_weeks_and_for_six(last, number, listed):
    tables = {
        "linked_checks": [
            *looks_of("Eli", last, number),
            *looks_of("", 20, 9),
            *looks_of(None, 20, 9),
        ],
        "due": [
            due("Q1/1", AS_OF),
            due("Q2/1", AS_OF),
            due("Q3/1", AS_OF, None, "missed"),
        ],
    }
    asked = {"as_of": AS_OF, "silent_days": 14, "before_days": 56, "fewest_looks": 5}
    expected = [] if listed is None else [("Eli", ago(last), listed, 2)]
    assert answer("stopped", tables, **asked) == expected
    tables["due"] = tables["due"][2:]
    assert answer("stopped", tables, **asked) == []


def change(course, was, now, was_closed=True, window=21):
    row = {"course_id": course, "outcome": "laying", "window_days": window}
    return {**row, "was": was, "is": now, "was_closed": was_closed}


def test_settled_answers_that_turned_are_counted_by_window_the_most_first():
    changes = [
        change("Q5/1", "no", "yes", window=60),
        change("Q4/1", "yes", "no"),
        change("Q3/1", "no", "left"),
        change("Q0/1", "undecided", "no"),
        change("Q1/1", "yes", None),
        change("Q2/1", "yes", "no", was_closed=False),
    ]
    assert answer("flipped", {"changes": changes}) == [
        ("laying", 21, 2, "Q3/1", "no", "left"),
        ("laying", 60, 1, "Q5/1", "no", "yes"),
    ]


def rate(window, estimate, grouping="all"):
    row = {"outcome": "laying", "window_days": window, "grouping": grouping}
    return {**row, "level": "all", "estimate": estimate}


def test_an_estimate_has_moved_by_the_least_move_itself_either_way():
    tables = {
        "rates": [rate(21, 0.5), rate(28, 0.5), rate(35, 0.5), rate(21, 0.5, "line")],
        "previous_rates": [
            *(rate(21, 0.75), rate(28, 0.25), rate(35, 0.3)),
            *(rate(21, 0.9, "line"), rate(42, 0.9)),
        ],
    }
    assert answer("headlines_moved", tables, least_move=0.25) == [
        ("laying", 21, 0.75, 0.5),
        ("laying", 28, 0.25, 0.5),
    ]


def test_a_batch_is_known_once_the_last_of_its_courses_closed():
    asked = {"outcome": "laying", "window_days": 21}

    def flagged(kind, name, **more):
        row = {**asked, "kind": kind, "batch": name, "courses": 20, "failures": 9}
        return {**row, "expected": 3.0, "operators": "Ane", "flag": "more", **more}

    def course(course_id, d0, season, graft, semen):
        named = {"graft_batch": graft, "semen_batch": semen}
        return (
            {"course_id": course_id, "d0": d0, "season": season},
            {"course_id": course_id, **asked, **named},
        )

    both = [
        course("Q1/1", ago(60), "2026", "G1", "S1"),
        course("Q2/1", ago(50), "2026", "G1", "S2"),
        course("Q3/1", ago(400), "2025", "G3", "S2"),
        # one of next season stands in the records, its day is still to come
        course("Q4/1", ago(-300), "2027", "G4", "S4"),
    ]
    tables = {
        "courses": [one for one, _ in both],
        "audit_courses": [one for _, one in both],
        "batches": [
            flagged("graft_batch", "G1"),
            flagged("graft_batch", "G2"),
            flagged("graft_batch", "G3"),
            flagged("semen_batch", "S1"),
            flagged("semen_batch", "S2", flag="fewer"),
            flagged("semen_batch", "G1", failures=1),
            flagged("graft_batch", "G1", window_days=60),
            flagged("graft_batch", "G1", outcome="lost"),
        ],
    }
    rows = answer("batches_flagged", tables, **asked, grace_days=7, as_of=AS_OF)
    assert [(kind, name, on) for kind, name, *_, on in rows] == [
        ("graft_batch", "G1", ago(50 - 28)),
        ("semen_batch", "S1", ago(60 - 28)),
    ]


def test_the_season_is_the_one_that_began_by_the_as_of_day():
    """A course of the very day begins a season; batches of the one before are let go."""
    asked = {"outcome": "laying", "window_days": 21}
    known = {"courses": 9, "failures": 9, "expected": 3.0, "operators": "Ane"}
    rows = [("Q1/1", ago(300), "2025", "G1"), ("Q2/1", AS_OF, "2026", "G2")]
    tables = {
        "courses": [{"course_id": q, "d0": on, "season": s} for q, on, s, _ in rows],
        "audit_courses": [
            {"course_id": q, **asked, "graft_batch": g, "semen_batch": ""}
            for q, _, _, g in rows
        ],
        "batches": [
            {**asked, **known, "kind": "graft_batch", "batch": g, "flag": "more"}
            for *_, g in rows
        ],
    }
    for as_of, named in ((AS_OF, "G2"), (ago(1), "G1")):
        found = answer("batches_flagged", tables, **asked, grace_days=7, as_of=as_of)
        assert [row[1] for row in found] == [named]
