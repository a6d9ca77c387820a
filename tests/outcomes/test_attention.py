"""What needs a person: each kind told from rows written out here, and nothing else."""

from __future__ import annotations

import datetime as dt

import pytest
from queen_outcomes.facts.exports.audit import OPERATOR_SIGNALS, SIGNAL_BATCHES
from queen_outcomes.facts.exports.writing import write_rows
from queen_outcomes.facts.pseudonyms import hide_names, mask_of
from queen_outcomes.facts.settings import Settings
from queen_outcomes.outcomes import attention
from queen_outcomes.stats.shares.proportions import newcombe_difference, wilson

AS_OF = dt.date(2026, 7, 19)
SETTINGS = Settings()
QUESTION = SETTINGS.plan.question
OUTCOME = {"outcome": QUESTION[0], "window_days": QUESTION[1]}


def ago(days: int) -> dt.date:
    return AS_OF - dt.timedelta(days)


@pytest.fixture
def gathered(full_store, tmp_path):
    """Give a maker of stores with their matters; what a table holds is given by its name."""

    def gather(*, signals=(), batches_of=(), looks=(), checks=(), earlier=None, **rows):
        store = full_store(**rows)
        store.drop("attention")
        write_rows(store, OPERATOR_SIGNALS, signals)
        write_rows(store, SIGNAL_BATCHES, batches_of)
        store.execute("ALTER TABLE courses ADD COLUMN course_no BIGINT")
        store.execute("UPDATE courses SET course_no = 1")
        store.execute("ALTER TABLE changes ADD COLUMN was_closed BOOLEAN")
        store.execute("UPDATE changes SET was_closed = because <> 'window open'")
        store.execute("CREATE TABLE looks (course_no BIGINT, day BIGINT)")
        store.execute("CREATE TABLE linked_checks (checker TEXT, checked_on DATE)")
        store.execute(
            "CREATE TABLE audit_courses (course_id TEXT, outcome TEXT, "
            "window_days BIGINT, graft_batch TEXT, semen_batch TEXT)"
        )
        for name, many in (("looks", looks), ("linked_checks", checks)):
            for row in many:
                store.con.execute(f"INSERT INTO {name} VALUES (?, ?)", list(row))
        if earlier is not None:
            (tmp_path / "tables").mkdir()
            before = full_store(rates=earlier).frame("SELECT * FROM rates")
            before.write_parquet(tmp_path / "tables" / "rates.parquet")
        attention.gather(store, SETTINGS, AS_OF, tmp_path if earlier else None)
        return store

    return gather


def sentences(store):
    return [row["sentence"] for row in attention.worst_first(store)]


def signal(known_on, **more):
    row = {"operator": "Ane", "series": "level", "case": 40, "direction": "worse"}
    row |= {"episode": 1, "courses": 30, "failures": 12, "expected": 5.0}
    return {**row, "known_on": known_on, **more}


def due(colony, until, course="Q1/1", status="due"):
    row = {"course_id": course, "queen_id": course[:-2], "colony_id": colony}
    return {**row, "useful_until": until, "status": status, "on": AS_OF, "day": 21}


def test_nothing_needs_attention(gathered):
    store = gathered()
    assert sentences(store) == []
    assert attention.told(store) == ["nothing needs attention"]


def test_a_signal_for_the_worse_is_told_once_a_change_and_not_for_ever(gathered):
    batch = {"operator": "Ane", "series": "level", "case": 40, "kind": "graft_batch"}
    store = gathered(
        signals=[
            signal(ago(2)),
            signal(ago(1), series="drift", case=44),
            signal(ago(1), operator="Bo", direction="better", case=9),
            signal(ago(attention.RECENT_DAYS), operator="Cy", case=7),
        ],
        batches_of=[
            {**batch, "batch": "G1", "courses": 9, "failures": 8, "expected": 2.0}
        ],
    )
    (row,) = attention.worst_first(store)
    assert row["kind"] == "signal"
    assert row["known_on"] == ago(2)
    assert row["sentence"] == (
        "Ane: more failures than expected, 12 of 30 courses, 5.0 expected; most of them "
        "in graft G1."
    )


def test_windows_about_to_close_are_counted_with_the_first_colony(gathered):
    courses = [{"course_id": "Q1/1"}, {"course_id": "Q2/1"}, {"course_id": "Q3/1"}]
    store = gathered(
        courses=courses,
        looks=[(1, -3)],
        due=[
            due("H2", ago(-3)),
            due("H1", ago(-3), "Q2/1", "missed"),
            due("H3", ago(-attention.SOON_DAYS - 1), "Q3/1"),
        ],
    )
    assert sentences(store) == [
        "The window closes in the next 7 days for 2 queens still to be looked at, 2 of "
        f"them never looked at; first H1, until {ago(-3)}."
    ]


@pytest.mark.parametrize(("last", "told"), [(14, True), (13, False), (70, False)])
def test_records_of_a_steady_checker_stopped_while_checks_are_due(gathered, last, told):
    checks = [("Eli", ago(last + n)) for n in range(attention.FEWEST_LOOKS)]
    checks += [("Visitor", ago(20))]
    far = due("H1", ago(-30))
    assert len(sentences(gathered(checks=checks, due=[far]))) == told
    assert sentences(gathered(checks=checks)) == []  # nothing is due: no news


def rate(level, n, yes, grouping="season", **more):
    found = wilson(yes, n)
    limits = {"estimate_low": found.low, "estimate_high": found.high}
    row = {**OUTCOME, "grouping": grouping, "level": level, "estimate": yes / n}
    return {**row, **limits, **more}


def test_a_season_is_told_when_its_difference_leaves_nought():
    """Newcombe's own example: 56 of 70 against 48 of 80 differ by 0.2, 0.0524 to 0.3339
    (Statistics in Medicine 1998;17:873-890, table II, column a, method 10)."""
    found = newcombe_difference(56, 70, 48, 80)
    assert (found.low, found.high) == pytest.approx((0.0524, 0.3339), abs=5e-5)


@pytest.mark.parametrize(
    ("yes", "told"), [(48, "-20.0 points (-33.4 to -5.2)"), (75, "")]
)
def test_this_season_stands_against_the_last(gathered, yes, told):
    worse = (
        [rate("2025", 70, 56), rate("2026", 80, yes)]
        if told
        else [rate("2025", 70, 56), rate("2026", 80, 64)]
    )
    found = [row for row in sentences(gathered(rates=worse)) if "2026" in row]
    assert len(found) == bool(told)
    if told:
        assert told in found[0]


def test_only_answers_that_had_closed_flip(gathered):
    change = {**OUTCOME, "was": "yes", "is": "no", "because": "records corrected"}
    store = gathered(
        changes=[
            {**change, "course_id": "Q1/1"},
            {**change, "course_id": "Q2/1", "because": "window open"},
            {**change, "course_id": "Q3/1", "was": "undecided"},
        ]
    )
    (said,) = sentences(store)
    assert said.startswith("Corrected records turned 1 settled answer on ")
    assert said.endswith("for instance Q1/1: no, was yes.")


def test_a_headline_that_moved_is_told_from_two_points_on(gathered):
    now = [rate("all", 1000, 700, "all")]
    moved = gathered(rates=now, earlier=[rate("all", 1000, 721, "all")])
    assert "moved from 72 % to 70 %" in sentences(moved)[0]


def test_a_headline_that_hardly_moved_is_no_news(gathered):
    now = [rate("all", 1000, 700, "all")]
    assert sentences(gathered(rates=now, earlier=[rate("all", 1000, 719, "all")])) == []


def test_a_flagged_batch_of_this_season_is_known_when_its_last_course_closed(gathered):
    flagged = {**OUTCOME, "kind": "graft_batch", "flag": "more", "courses": 20}
    flagged |= {"failures": 9, "expected": 3.0, "operators": ["Ane"]}
    store = gathered(
        batches=[{**flagged, "batch": "G1"}, {**flagged, "batch": "G2", "flag": ""}],
    )
    assert sentences(store) == []  # no course of it closed
    store.drop("attention")
    for course, d0 in (("Q1/1", ago(60)), ("Q2/1", ago(50))):
        store.con.execute(
            "INSERT INTO courses (course_id, d0, season) VALUES (?, ?, '2026')",
            [course, d0],
        )
        store.con.execute(
            "INSERT INTO audit_courses VALUES (?, ?, ?, 'G1', '')", [course, *QUESTION]
        )
    attention.gather(store, SETTINGS, AS_OF, None)
    (row,) = attention.worst_first(store)
    close = QUESTION[1] + SETTINGS.outcomes.grace_days
    assert row["known_on"] == ago(50 - close)
    assert row["sentence"].startswith(
        "Graft batch G1: more failures than expected, 9 of 20"
    )


def test_quarantined_rows_are_counted_once_each(gathered):
    row = {"source": "a.csv", "line": 2, "table": "checks"}
    store = gathered(quarantine=[{**row, "reason": "x"}, {**row, "reason": "y"}])
    assert sentences(store) == ["1 row is in quarantine, to be mended: 1 of checks."]


def test_the_worst_comes_first_and_no_name_leaves_under_pseudonyms(gathered):
    row = {"source": "a.csv", "line": 2, "table": "checks", "reason": "x"}
    store = gathered(
        quarantine=[row],
        signals=[signal(ago(2))],
        courses=[{"course_id": "Q1/1", "operator": "Ane", "inseminated_at": AS_OF}],
    )
    kinds = [matter["kind"] for matter in attention.worst_first(store)]
    assert kinds == ["signal", "quarantine"]
    mask = mask_of(store, b"a station's own", SETTINGS)
    hide_names(store, mask)
    assert sentences(store)[0].startswith(f"{mask.codes['Ane']}: more failures")


@pytest.mark.parametrize(("found", "last"), [(10, "needs attention: row 9"), (11, "and 1 more on the first page"), (0, "nothing needs attention")])
def test_a_terminal_is_told_ten_lines_and_how_many_more(full_store, found, last):
    kind = attention.KINDS[0]
    rows = [
        {"kind": kind, "severity": 1, "sentence": f"row {n}", "known_on": dt.date(2026, 7, 1)}
        for n in range(found)
    ]
    lines = attention.told(full_store(attention=rows))
    assert (lines[-1], len(lines)) == (last, max(found, 1))
